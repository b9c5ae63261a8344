"""`drybank learn`, `drybank experiment`: what the book tells of a store, and how to find out more."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.learning import Learned
    from drybank.records.learn import ChangeSeen, FuelLearned, Option, Sight, UseLearned
    from drybank.records.working import Estimate


@app.command(epilog="Example: drybank learn saddle --keep")
def learn(
    store: StoreKey,
    keep: Annotated[bool, typer.Option("--keep", help="Enter what was learned; later plans then use it.")] = False,
    air: Annotated[
        str,
        typer.Option("--air", help="Mean outdoor temperature of the twelve months in °C, January first, with commas."),
    ] = "",
    washes: Annotated[
        list[str] | None,
        typer.Option("--washes", help="Enter washes counted, as 2026-05=812, before learning; repeat."),
    ] = None,
    timed: Annotated[
        list[str] | None,
        typer.Option(
            "--timed", help='Enter loads stop-watched until dry, as "31=28:30 33:05", before learning; repeat.'
        ),
    ] = None,
    weighed: Annotated[
        list[str] | None,
        typer.Option(
            "--weighed", help='Enter loads weighed dry and wet, as "31=5.2kg/8.1kg", before learning; repeat.'
        ),
    ] = None,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """What changes did, what an hour of heat burns, how use goes on, what loads need; each with its interval."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import learning as desk

    with opened(book) as it, say.progress("Reading the book", shown=not as_json):
        air_c = _months(air)
        for period, count in [_washes(text) for text in washes or ()]:
            desk.enter_washes(it, store, period, count, pen(by))
        for text in timed or ():
            desk.enter_timed(it, store, text, pen(by))
        for text in weighed or ():
            desk.enter_weighed(it, store, text, pen(by))
        seen = desk.learn(it, store, pen(by), air_c=air_c)
        entries = desk.keep(it, seen, pen(by)) if keep else ()
    if as_json:
        say.as_json({"learned": seen, "entries": entries})
        raise typer.Exit(3 if seen.findings else 0)
    _show(seen)
    if keep:
        say.line(f"Entered: {len(entries)} learned values." if entries else "Nothing new to enter.")
    raise typer.Exit(3 if seen.findings else 0)


def _months(text: str) -> tuple[float, ...]:
    from drybank.records.errors import InputError

    try:
        return tuple(float(part) for part in text.split(",")) if text else ()
    except ValueError:
        raise InputError(f"“{text}” is not twelve temperatures.", where="--air", mend="Write 1.2,0.8,... twelve of them.") from None  # fmt: skip


def _washes(text: str) -> tuple[str, int]:
    from drybank.records.errors import InputError

    period, _, count = text.partition("=")
    if not count.strip().isdecimal():
        raise InputError(f"“{text}” is not a count of washes.", where="--washes", mend="Write 2026-05=812.")
    return period.strip(), int(count)


def _show(seen: Learned) -> None:
    from drybank.cli import say

    say.head(f"{seen.name}, {seen.today}: what the book tells")
    for line in seen.answers:
        say.line(line)
    say.head("Next")
    for step in seen.next_steps:
        say.line(f"  {step}")
    if not seen.next_steps:
        say.line("  Nothing: all that the book can tell today is kept.")
    for change in seen.changes:
        _change(change)
    if seen.sight is not None:
        say.head("What a change would have to be to be seen")
        _sight(seen.sight)
    if seen.fuel is not None:
        _fuel(seen.fuel)
    _use(seen.use)
    if seen.needs is not None:
        say.head("Minutes needed")
        say.line(seen.needs.says)
        say.table(("of 100 loads", "minutes", "low", "high"), [(f"{100 * q:.0f}", *_figures(e)) for q, e in seen.needs.quantiles], right=(0, 1, 2, 3))  # fmt: skip
        for note in seen.needs.notes:
            say.quiet(note)
    for finding in seen.findings:
        say.heed(f"{finding.says} Look at: {', '.join(c.name for c in finding.causes)}. Next: {finding.next_check}")
    for value in seen.kept:
        ends = "" if value.low is None or value.high is None else f" ({value.low:.4g} to {value.high:.4g})"
        say.quiet(f"Kept: {value.name} at {value.at}: {value.value:.4g}{ends} {value.unit}, {value.data_from} to {value.data_to}; {value.method}")  # fmt: skip
    for note in seen.notes:
        say.quiet(note)


def _change(change: ChangeSeen) -> None:
    from drybank.cli import say

    say.head(f"{change.on}: {change.what} ({change.weeks_before} weeks before, {change.weeks_after} after)")
    for one in change.contrasts:
        relabeled = "" if one.p_relabel is None else f", all {one.relabelings} relabelings {one.p_relabel:.3f}"
        say.line(one.says)
        say.quiet(f"  chance of as much by luck: t with {one.df} degrees {one.p_t:.3f}{relabeled}; decided by {one.decided_by}")  # fmt: skip
    for move in change.store:
        say.line(move.says)
    if change.diversion is not None:
        say.line(change.diversion.says)
    for narrowed in change.narrowed:
        say.line(narrowed.says)
    say.quiet(change.sight.says)


def _sight(sight: Sight) -> None:
    from drybank.cli import say

    say.line(sight.says)
    rows = [(f"{r.weeks}", f"{r.changed} of {r.units}", _fall(r.within_frac), _fall(r.store_frac)) for r in sight.rows]
    say.table(("weeks after", "changed", "pockets show a fall of", "the total shows a fall of"), rows, right=(0, 2, 3))
    for taken in sight.assumed:
        say.quiet(f"Assumed: {taken.name}: {taken.taken} ({taken.source})")


def _fall(frac: float | None) -> str:
    return "not known" if frac is None else f"{100 * frac:.0f} %"


def _fuel(fuel: FuelLearned) -> None:
    from drybank.cli import say

    say.head(f"Fuel of an hour, {fuel.bills} bills")
    say.line(fuel.says)
    if fuel.last_off is not None and fuel.last_off.interval is not None:
        ends = fuel.last_off.interval
        say.line(
            f"Last bills against the ones before: {100 * fuel.last_off.value:+.0f} % ({100 * ends.low:+.0f} to {100 * ends.high:+.0f})."
        )
    for note in fuel.notes:
        say.quiet(note)


def _use(use: UseLearned) -> None:
    from drybank.cli import say

    say.head(f"Use, {use.weeks} weeks of readings")
    rows = [(a.at, a.what, "1", *_figures(a.total)) for a in use.per_week]
    rows += [(a.at, a.what, str(a.weeks), *_figures(a.total)) for a in use.ahead]
    say.table(("where", "what", "weeks ahead", "expected", "low", "high"), rows, right=(2, 3, 4, 5))
    if use.season_swing is not None and use.season_swing.interval is not None:
        ends = use.season_swing.interval
        say.line(f"The year swings by {100 * use.season_swing.value:.0f} % up and down ({100 * ends.low:.0f} to {100 * ends.high:.0f}).")  # fmt: skip
    if use.trend_year is not None and use.trend_year.interval is not None:
        ends = use.trend_year.interval
        say.line(f"Beside the season it goes {100 * use.trend_year.value:+.0f} % a year ({100 * ends.low:+.0f} to {100 * ends.high:+.0f}).")  # fmt: skip
    _seasons(use)
    for test in use.back_test:
        say.quiet(f"Back-test, {test.weeks} weeks ahead: {test.tried} tried, {100 * test.held_frac:.0f} % held (meant: {100 * test.level:.0f} %)")  # fmt: skip
    if use.starts is not None:
        say.line(use.starts.says)
    for timing in use.timing:
        say.quiet(f"{timing.what.capitalize()}: {timing.how} ({timing.source})")
    for note in use.notes:
        say.quiet(note)


def _seasons(use: UseLearned) -> None:
    from drybank.cli import say

    months = list(dict.fromkeys(q.months for q in use.by_season))
    rows: dict[tuple[str, str], dict[str, str]] = {}
    for q in use.by_season:
        rows.setdefault((q.at, q.what), {})[q.months] = f"{q.per_week:,.1f}"
    if rows:
        say.line("A week of the last year, as read:")
        say.table(("where", "what", *months), [(*k, *(v.get(m, "not known") for m in months)) for k, v in rows.items()], right=tuple(range(2, 2 + len(months))))  # fmt: skip


def _figures(estimate: Estimate) -> tuple[str, str, str]:
    ends = estimate.interval
    if ends is None:
        return f"{estimate.value:.1f}", "not known", "not known"
    return f"{estimate.value:.1f}", f"{ends.low:.1f}", f"{ends.high:.1f}"


@app.command(epilog="Example: drybank experiment saddle --effect 15")
def experiment(
    store: StoreKey,
    effect: Annotated[float, typer.Option("--effect", help="The fall in use to be seen, in percent.")] = 15.0,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Which pockets to change, for how many weeks, to see an effect of a given size, and what it may cost."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.learning import experiment as work_out

    with opened(book) as it:
        made = work_out(it, store, pen(by), effect_frac=effect / 100)
    if as_json:
        say.as_json(made)
        return
    say.head(made.says)
    for option in made.options:
        _option(option, made.currency)
    say.head("What this store could see")
    _sight(made.sight)
    for taken in made.assumed:
        say.quiet(f"Assumed: {taken.name}: {taken.taken} ({taken.source})")


def _option(option: Option, currency: str) -> None:
    from drybank.cli import say
    from drybank.records.money import Money

    weeks = "not within half a year" if option.weeks_after is None else f"{option.weeks_before} weeks before, {option.weeks_after} after"  # fmt: skip
    say.head(f"Change {option.name}: {weeks}")
    say.line(f"  Change {', '.join(option.changed)}; leave {', '.join(option.kept) or 'none'}.")
    if option.cost_if_wrong_minor is None:
        cost = "what it may cost is not known, because not all of these controls count their pieces"
    else:
        cost = f"if customers mind as much as they may, it costs {Money(round(option.cost_if_wrong_minor), currency)} in takings"
    say.line(f"  Measures {option.measures}; {cost}.")
    for caution in option.cautions:
        say.heed(f"  {caution}")
