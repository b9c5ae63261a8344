"""`drybank balance`: hours, coins and cash."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, Since, Until

if TYPE_CHECKING:
    from datetime import date

    from drybank.balance import Noticed
    from drybank.records.balance import BalanceResult, UnitBalance
    from drybank.records.finding import Finding

    Span = tuple[date | None, date | None]


@app.command(epilog="Example: drybank balance lantern --since 2026-03-02 --until 2026-04-26 --working")
def balance(
    store: Annotated[str, typer.Argument(help="The store's key; leave it out with --all.")] = "",
    since: Since = "",
    until: Until = "",
    every: Annotated[bool, typer.Option("--all", help="Every store of the book, in one list.")] = False,
    working: Annotated[bool, typer.Option("--working", help="Show how each figure came about.")] = False,
    finding: Annotated[str, typer.Option("--finding", help="Show one finding with all its evidence.")] = "",
    what_would_i_see: Annotated[
        bool, typer.Option("--what-would-i-see", help="How small a loss this routine would notice (owner only).")
    ] = False,
    held_by: Annotated[
        str, typer.Option("--held-by", help="Gaps by round, by holder (who emptied) or by counter, in letters.")
    ] = "",
    open_names: Annotated[
        str, typer.Option("--open-names", help="With --held-by: open who held it, and why; both are kept in the book.")
    ] = "",
    xlsx: Annotated[str, typer.Option("--xlsx", help="Write the table as a spreadsheet here.")] = "",
    chart: Annotated[str, typer.Option("--chart", help="Write the chart here: .svg or .png.")] = "",
    anew: Annotated[
        bool, typer.Option("--anew", help="With --all: read the book itself, not the columns kept beside it.")
    ] = False,
    cluster: Annotated[
        str, typer.Option("--cluster", help="With --all: a running dask scheduler, as tcp://10.0.0.5:8786.")
    ] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Hold cash against coins and hours: is it right, and if not, where, how sure, and what to check next."""
    from drybank.cli.balance_all import balance_every, show_held
    from drybank.cli.opened import pen
    from drybank.desk.standing import parse_day
    from drybank.records.errors import InputError

    if every:
        balance_every(
            book, (parse_day(since), parse_day(until)), cluster=cluster, anew=anew, xlsx=xlsx, as_json=as_json
        )
        return
    if not store:
        raise InputError("Which store?", mend="Name one, or --all.")
    span = (parse_day(since), parse_day(until))
    if held_by or open_names:
        show_held(book, store, held_by or "holder", open_names, span=span, pen=pen(by), as_json=as_json)
        return
    if what_would_i_see:
        _sight(book, store, span, as_json=as_json)
        return
    _one(book, store, span, working=working, finding=finding, files=(xlsx, chart), as_json=as_json)


def _sight(book: str, store: str, span: Span, *, as_json: bool) -> None:
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import balancing as desk

    with opened(book) as it, say.progress("Balancing", shown=not as_json):
        noticed = desk.what_would_i_see(it, store, pen("").clock(), since=span[0], until=span[1])
    say.as_json(noticed) if as_json else show_noticed(noticed)


def _one(
    book: str, store: str, span: Span, *, working: bool, finding: str, files: tuple[str, str], as_json: bool
) -> None:
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import balancing as desk

    with opened(book) as it, say.progress("Balancing", shown=not as_json):
        result = desk.balance_store(it, store, pen("").clock(), since=span[0], until=span[1])
    _write(result, *files)
    if as_json:
        say.as_json(result)
    else:
        show(result, working=working, finding=finding)
    if result.findings:
        raise typer.Exit(3)


def show(result: BalanceResult, *, working: bool = False, finding: str = "") -> None:
    """The answer, the table, the findings each with its next check."""
    from drybank.cli import say

    if finding:
        show_finding(next((f for f in result.findings if f.key == finding), None), finding)
        return
    say.head(f"{result.name}, {result.period.since:%d %b %Y} to {result.period.until:%d %b %Y}")
    say.line(result.says)
    rows = (
        [_row(u.key, u) for u in result.units]
        + [_row(f"bank {b.key}", b) for b in result.banks]
        + [_row("whole store", result.whole)]
    )
    say.table(
        ("pockets", "expected", "counted", "gap (give or take)", "share", "verdict"),
        [_narrow(r) for r in rows],
        right=(1, 2, 3, 4),
    )
    for one in result.findings:
        show_finding(one, one.key)
    for sentence in result.missing:
        say.quiet(sentence)
    if result.discipline:
        say.quiet(result.discipline.says)
    if working:
        for unit in result.units:
            if unit.working:
                show_working(unit.working, unit.key)


def _pockets(unit: UnitBalance) -> str:
    """The pockets that are judged together: 5+6, or 1 to 12."""
    return "+".join(unit.pockets) if len(unit.pockets) <= 4 else f"{unit.pockets[0]} to {unit.pockets[-1]}"


def _row(name: str, u: object) -> tuple[str, ...]:
    gap, share = getattr(u, "gap", None), getattr(u, "share", None)
    expected, counted = getattr(u, "expected", None), getattr(u, "counted", None)
    give = f"{(gap.interval.high - gap.interval.low) / 200:,.2f}" if gap and gap.interval else ""
    return (
        name, expected.plain() if expected else "not known", counted.plain() if counted else "not known", f"{gap.value / 100:+,.2f}" if gap else "",
        give, f"{100 * share.value:+.1f} %" if share else "", getattr(u, "verdict", ""),
    )  # fmt: skip


def _narrow(row: tuple[str, ...]) -> tuple[str, ...]:
    """Gap and its interval in one column, so that the table fits a narrow terminal."""
    name, expected, counted, gap, give, share, verdict = row
    return name, expected, counted, f"{gap} ({give})" if give else gap, share, verdict


def show_finding(one: Finding | None, key: str) -> None:
    """What, how sure, why perhaps, what to check next."""
    from drybank.cli import say
    from drybank.records.errors import Missing

    if one is None:
        raise Missing(f"There is no finding “{key}” in this period.")
    speak = say.danger if one.weight == "danger" else say.heed
    speak(f"\n{one.name}: {one.says}")
    if one.certainty:
        say.line(f"  {one.certainty}")
    for cause in one.causes[:4]:
        chance = "" if cause.chance is None else f" ({100 * cause.chance:.0f} of 100)"
        say.line(f"  perhaps {cause.name}{chance}" + (f": {'; '.join(cause.evidence[:3])}" if cause.evidence else ""))
    say.line(f"  Next: {one.next_check}")
    say.quiet(f"  {one.key}")


def show_working(work, name: str, depth: int = 1) -> None:  # type: ignore[no-untyped-def]
    """A figure's working, and the workings of its parts below it."""
    from drybank.cli import say

    pad = "  " * depth
    say.line(f"{pad}{name}: {work.figure}: {work.formula}" if depth == 1 else f"{pad}{work.figure}: {work.formula}")
    for given in work.inputs:
        say.quiet(
            f"{pad}  {given.name} = {given.value} {given.unit} ({given.how}{', ' + given.source if given.source else ''})"
        )
    if work.source:
        say.quiet(f"{pad}  source: {work.source}")
    for part in work.parts:
        show_working(part, "", depth + 1)


def show_noticed(noticed: Noticed) -> None:
    """How small a loss would be noticed, over how many weeks."""
    from drybank.cli import say

    def share(value: float | None) -> str:
        return "not noticed" if value is None else f"{100 * value:.1f} %"

    say.danger("For the owner only: do not leave this on a screen or on paper where who counts can see it.")
    say.line(noticed.says)
    rows = [
        (str(now.weeks), share(now.pocket_frac), share(now.store_frac), share(at_once.pocket_frac))
        for now, at_once in zip(noticed.sights, noticed.at_once, strict=True)
    ]
    say.table(("weeks", "one pocket", "whole store", "one pocket, read and emptied at once"), rows, right=(0, 1, 2, 3))


def _write(result: BalanceResult, xlsx: str, chart: str) -> None:
    from drybank.cards import Grid, grids_xlsx
    from drybank.desk.balancing import cash_chart
    from drybank.desk.drawing import draw

    if xlsx:
        heads = ("unit", "expected", "counted", "gap", "give or take", "share", "verdict")
        rows = tuple(_row(u.key, u) for u in result.units)
        grid = Grid(title=result.store, heads=heads, columns=("left", *["right"] * 6), rows=rows)
        Path(xlsx).write_bytes(grids_xlsx((grid,)))
    if chart:
        drawn = draw(
            cash_chart(result), "png" if chart.endswith(".png") else "svg", height=30 * max(4, len(result.units))
        )
        Path(chart).write_bytes(drawn)


@app.command("outcome", epilog="Example: drybank outcome lantern FINDING confirmed --cause 'coin path jam'")
def outcome(
    store: Annotated[str, typer.Argument(help="The store's key.")],
    finding: Annotated[str, typer.Argument(help="The finding's key, as the balance shows it.")],
    result: Annotated[str, typer.Argument(help="confirmed, dismissed or open.")],
    cause: Annotated[str, typer.Option("--cause", help="What it was.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Enter how a finding came out; the tally is shown beside later findings."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.balancing import enter_outcome

    with opened(book) as it:
        entry = enter_outcome(it, store, finding, result, pen(by), cause=cause)
    say.as_json({"entry": entry}) if as_json else say.line("Entered.")
