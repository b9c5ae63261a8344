"""What was learned in a few lines, answer first, and what to do next to learn more."""

from __future__ import annotations

from collections.abc import Sequence

from drybank.records.learn import ChangeSeen, FuelLearned, NeedsLearned, UseLearned


def answers(
    changes: Sequence[ChangeSeen], fuel: FuelLearned | None, use: UseLearned, needs: NeedsLearned | None
) -> tuple[str, ...]:  # fmt: skip
    """One line each on the last change, fuel, use, needs."""
    return (_change(changes), _fuel(fuel), _use(use), needs.says if needs is not None else "Minutes needed: not known.")


def _change(changes: Sequence[ChangeSeen]) -> str:
    if not changes:
        return (
            "Changes: none with two weeks of readings on both sides, so how customers answer to a price is not known."
        )
    last = changes[-1]
    move = next((m for m in last.store if m.what == "hours"), last.store[-1])
    ends = move.effect.interval
    size = f"{100 * move.effect.value:+.0f} %"
    if ends is None:
        return f"Since {last.on} ({last.what}): the store's {move.what} {size}; whether that is chance is not known."
    sure = "more than chance" if move.verdict in ("less", "more") else "no more than chance"
    return f"Since {last.on} ({last.what}): the store's {move.what} {size} ({100 * ends.low:+.0f} to {100 * ends.high:+.0f}), {sure}."


def _fuel(fuel: FuelLearned | None) -> str:
    if fuel is None:
        return "Fuel of an hour: not known, no bill is in the book."
    if fuel.verdict == "cannot tell":
        return f"Fuel of an hour: cannot be told from {fuel.bills} bills; {fuel.per_hour.value:.3g} {fuel.unit} by the drying runs (assumed)."
    return fuel.says


def _use(use: UseLearned) -> str:
    week = next((a for a in use.per_week if a.at == "store" and a.what == "hours"), None)
    quarter = next((a for a in use.ahead if a.at == "store" and a.what == "hours" and a.weeks > 4), None)
    if week is None or week.total.interval is None:
        return "Use: readings do not reach over enough weeks in a row."
    text = f"Use: next week {week.total.value:,.0f} hours ({week.total.interval.low:,.0f} to {week.total.interval.high:,.0f})"
    if quarter is not None and quarter.total.interval is not None:
        ends = quarter.total.interval
        text += f"; the next {quarter.weeks} weeks {quarter.total.value:,.0f} ({ends.low:,.0f} to {ends.high:,.0f})"
    return text + "."


def next_steps(
    store: str, changes: Sequence[ChangeSeen], fuel: FuelLearned | None, needs: NeedsLearned | None, fresh: int
) -> tuple[str, ...]:  # fmt: skip
    """What to do to learn more, the cheapest first."""
    out = []
    if fresh:
        kept = f"{fresh} values can be" if fresh > 1 else "One value can be"
        out.append(f"Keep what was learned, so that plans use it: drybank learn {store} --keep ({kept} kept).")
    if fuel is None:
        out.append(f"Enter fuel bills: drybank bill {store} gas 2026-05 ...")
    elif fuel.verdict == "cannot tell" and "washes" in fuel.says:
        out.append(f"Count washes for each month that was billed: drybank learn {store} --washes 2026-05=812 ...")
    if needs is None:
        out.append(f'Time a dozen loads until they are dry: drybank learn {store} --timed "POCKET=28:30 33:05 ..."')
    if not changes:
        out.append(f"Before you change a price, see what this store could show: drybank experiment {store}")
    return tuple(out)
