"""How to find out: what to change, for how long, what it would show, what it may cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import msgspec
import numpy as np

from drybank.learn.compare import smallest
from drybank.learn.past import noise
from drybank.learn.price import sight
from drybank.learn.step import smallest_step
from drybank.records.errors import InputError
from drybank.records.learn import F64, Experiment, Option, WeeklyUse
from drybank.records.working import Assumption

MOST_WEEKS: Final = 26
OWN_SIGN: Final = (
    "Customers must see the true price: give the changed pockets a bank and a sign of their own for the trial."
)
SWITCHING: Final = "Pockets against pockets also count customers who only switch: a loss looks up to twice as large."


class Stakes(msgspec.Struct, frozen=True, kw_only=True):
    """Money at risk: takings of each unit a week (NaN: not known), and the worse end of the assumed response (share of loads lost, 0 to 1).

    ``visit_frac``: what a lost load takes along beside its drying, as a share of its drying price.
    """

    takings_minor_week: tuple[float, ...]
    worst_lost_frac: float
    visit_frac: float = 0.0
    how: str = "assumed"


class Beside(NamedTuple):
    """Other stores that would be left as they are: their names, and hours of each by the same weeks (S, W)."""

    names: tuple[str, ...]
    hours: F64


def design(
    store: str, use: WeeklyUse, stakes: Stakes, *, effect_frac: float, beside: Beside | None = None
) -> Experiment:  # fmt: skip
    """Options to learn an effect of a given size (a fall of ``effect_frac`` in use), the soonest first.

    Half of a bank against its other half, one bank against the others, the whole store against its own past, and the whole
    store beside others left as they are. Raises `InputError` for an effect that cannot be.
    """
    if not 0.005 <= effect_frac <= 0.9:
        raise InputError(f"An effect of {100 * effect_frac:.3g} % cannot be asked for.", allowed="0.5 to 90 %")
    if len(stakes.takings_minor_week) != len(use.units) or not 0 <= stakes.worst_lost_frac <= 1:
        raise InputError("Takings want one figure a control, and the worst loss is a share.", where="stakes")
    weeks = _whole(use.hours)
    whole = [_whole_store(use, weeks.sum(axis=0), stakes, effect_frac)]
    if beside is not None and beside.names:
        line = use.hours.sum(axis=0) / beside.hours.sum(axis=0)
        whole.append(_whole_store(use, line, stakes, effect_frac, beside=beside.names))
    options = [*_splits(use, weeks, stakes, effect_frac), *whole]
    options.sort(key=lambda o: (o.weeks_after is None, o.weeks_after or 0, o.cost_if_wrong_minor or 0.0))
    seen = sight(weeks, changed=max(1, len(use.units) // 2))
    taken = Assumption(
        name="worst response", taken=f"{100 * stakes.worst_lost_frac:.0f} % of loads lost", source=stakes.how,
        matters="what the trial may cost",
    )  # fmt: skip
    return Experiment(
        store=store, effect_frac=effect_frac, options=tuple(options), sight=seen, says=_says(options, effect_frac),
        assumed=(taken, *seen.assumed),
    )  # fmt: skip


def pair_off(levels: Sequence[float]) -> tuple[int, ...]:
    """Every other one by size, turn about (1st, 4th, 5th, 8th ...), so that both halves are alike in trade."""
    order = np.argsort(-np.asarray(levels), kind="stable")
    return tuple(sorted(int(i) for n, i in enumerate(order) if n % 4 in (0, 3)))


def _whole(hours: F64) -> F64:
    """The latest run of weeks that every unit knows."""
    known = np.isfinite(hours).all(axis=0)
    gaps = np.flatnonzero(~known)
    return hours[:, int(gaps[-1]) + 1 if gaps.size else 0 :]


def _splits(use: WeeklyUse, weeks: F64, stakes: Stakes, effect: float) -> list[Option]:
    out: list[Option] = []
    banks = list(dict.fromkeys(use.banks))
    level = weeks.mean(axis=1) if weeks.size else np.ones(len(use.units))
    for bank in banks:
        mine = [i for i, b in enumerate(use.banks) if b == bank]
        if len(mine) >= 3:
            picked = [mine[k] for k in pair_off([float(level[i]) for i in mine])]
            cautions: tuple[str, ...] = (OWN_SIGN, SWITCHING, "Read every control on the day of the change.")
            out.append(_option(f"half of bank {bank}", use, weeks, stakes, (picked, [i for i in mine if i not in picked]), effect, cautions))  # fmt: skip
        if len(banks) > 1 and len(use.units) >= 3:
            others = [i for i in range(len(use.units)) if i not in mine]
            cautions = (SWITCHING, "Banks must serve the same kind of loads for this to hold.")
            out.append(_option(f"all of bank {bank}", use, weeks, stakes, (mine, others), effect, cautions))
    return out


def _option(
    name: str, use: WeeklyUse, weeks: F64, stakes: Stakes, split: tuple[list[int], list[int]], effect: float,
    cautions: tuple[str, ...],
) -> Option:  # fmt: skip
    changed, kept = split
    both = weeks[[*changed, *kept]]
    needed, sees = None, None
    for w in (2, 3, 4, 6, 8, 10, 12, 16, 20, 26):
        heard = noise(both, w, w)
        se = heard.unit_sd * math.sqrt(1 / len(changed) + 1 / len(kept))
        sees = -math.expm1(-smallest(se, len(changed) + len(kept) - 2))
        if sees <= effect:
            needed = w
            break
    return Option(
        name=name, changed=tuple(use.units[i] for i in changed), kept=tuple(use.units[i] for i in kept),
        weeks_before=needed or MOST_WEEKS, weeks_after=needed, sees_frac=sees,
        cost_if_wrong_minor=_cost(stakes, changed, needed or MOST_WEEKS), measures="pockets against pockets", cautions=cautions,
    )  # fmt: skip


def _whole_store(use: WeeklyUse, line: F64, stakes: Stakes, effect: float, *, beside: Sequence[str] = ()) -> Option:
    needed = sees = None
    known = int(np.isfinite(line).sum())
    for w in (4, 6, 8, 10, 12, 16, 20, 26):
        least = smallest_step(line, w)
        if least is None:
            break
        now = -math.expm1(-least)
        sees = now if sees is None else min(sees, now)
        if now <= effect:
            needed = w
            break
    everything = list(range(len(use.units)))
    named = ", ".join(beside)
    words = f"Nothing may be changed meanwhile in {named}." if beside else (
        "Weather and a neighbour's doings count as chance here; a store left as it is, read in the same weeks, would help."
    )  # fmt: skip
    return Option(
        name=f"the whole store beside {named}" if beside else "the whole store", changed=use.units, kept=tuple(beside),
        weeks_before=known, weeks_after=needed, sees_frac=sees, cost_if_wrong_minor=_cost(stakes, everything, needed or MOST_WEEKS),
        measures="the store's total beside theirs" if beside else "the store's total against its own past", cautions=(words,),
    )  # fmt: skip


def _cost(stakes: Stakes, changed: Sequence[int], weeks: int) -> float | None:
    """What the worse end of the response loses over the trial; None where a unit's takings are not known."""
    takings = sum(stakes.takings_minor_week[i] for i in changed)
    return None if math.isnan(takings) else takings * stakes.worst_lost_frac * (1 + stakes.visit_frac) * weeks


def _says(options: Sequence[Option], effect: float) -> str:
    best = options[0] if options else None
    if best is None or best.weeks_after is None:
        return (
            f"A fall of {100 * effect:.0f} % cannot be told from chance in this store within half a year, whatever is changed. "
            "Try it in several stores at once, or ask a smaller question: watch an hour before and after."
        )
    return (
        f"A fall of {100 * effect:.0f} % would be seen four times in five by changing {best.name}: {best.weeks_before} weeks "
        f"of readings before, {best.weeks_after} after."
    )
