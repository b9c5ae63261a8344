"""`drybank balance --all` and `--held-by`: a whole fleet in one list, and gaps by who held the money."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from datetime import date

    from drybank.desk.fleet import Fleet
    from drybank.desk.stamp import Pen
    from drybank.records.balance import CustodyBy

    Span = tuple[date | None, date | None]

ALL_SHOWN = 30
"""Stores up to which every one gets its line; of more, those with a question."""
FINDINGS_SHOWN = 100


def balance_every(book: str, span: Span, *, cluster: str, anew: bool, xlsx: str, as_json: bool) -> None:
    """Every store in one list of findings; exit code 3 where there are any."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.fleet import balance_fleet

    with opened(book) as it, say.progress("Reading stores", shown=not as_json) as bar:
        fleet = balance_fleet(
            it, pen("").clock(), since=span[0], until=span[1], cluster=cluster, anew=anew, step=bar.step
        )
    if xlsx:
        _sheet(fleet, xlsx)
    if as_json:
        say.as_json(fleet)
    else:
        show_fleet(fleet)
    if fleet.findings:
        raise typer.Exit(3)


def show_fleet(fleet: Fleet) -> None:
    """The answer, a line a store, the findings with their next check."""
    from drybank.cli import say

    say.head(f"All stores, {fleet.period.since:%d %b %Y} to {fleet.period.until:%d %b %Y}")
    say.line(fleet.says)
    few = len(fleet.stores) <= ALL_SHOWN
    shown = [s for s in fleet.stores if few or s.questions]
    rows = [
        (
            s.store,
            f"{s.judged} of {s.units}",
            "not known" if s.share is None else f"{100 * s.share:+.2f} %",
            str(s.questions or "none"),
        )
        for s in shown
    ]
    if rows:
        say.table(("store", "units judged", "cash against expected", "questions"), rows, right=(1, 2, 3))
    for one in fleet.findings[:FINDINGS_SHOWN]:
        speak = say.danger if one.finding.weight == "danger" else say.heed
        speak(f"\n{one.name}: {one.finding.name}: {one.finding.says}")
        say.line(f"  Next: {one.finding.next_check}")
        say.quiet(f"  {one.finding.key}")
    if len(fleet.findings) > FINDINGS_SHOWN:
        say.line(f"\nAnd {len(fleet.findings) - FINDINGS_SHOWN} more: --json or --xlsx lists them all.")
    for sentence in fleet.left_out:
        say.heed(f"Left out: {sentence}")


def _sheet(fleet: Fleet, path: str) -> None:
    from drybank.cards import Grid, grids_xlsx

    asked = tuple((a.store, a.finding.name, a.finding.where, a.finding.says, a.finding.next_check, a.finding.key) for a in fleet.findings)  # fmt: skip
    stores = tuple(
        (
            s.store,
            s.name,
            f"{s.judged} of {s.units}",
            "" if s.share is None else f"{100 * s.share:+.2f} %",
            str(s.questions),
            s.says,
        )
        for s in fleet.stores
    )
    grids = (
        Grid(title="findings", heads=("store", "finding", "where", "says", "next", "key"), columns=("left",) * 6, rows=asked),
        Grid(title="stores", heads=("store", "name", "units judged", "share", "questions", "says"), columns=("left",) * 6, rows=stores),
    )  # fmt: skip
    Path(path).write_bytes(grids_xlsx(grids))


def show_held(book: str, store: str, way: str, why: str, *, span: Span, pen: Pen, as_json: bool) -> None:
    """Gaps by round, holder or counter; with a reason, and after it was entered, the names."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk import custody

    with opened(book) as it, say.progress("Balancing", shown=not as_json):
        if not why:
            gaps = custody.gaps_by(it, store, pen.clock(), way, since=span[0], until=span[1])
            names: dict[str, str] = {}
            result: object = gaps
        else:
            opening = custody.open_names(it, store, pen, way, why, since=span[0], until=span[1])
            gaps, names, result = opening.gaps, opening.names, opening
    if as_json:
        say.as_json(result)
        return
    _show_gaps(gaps, names)


def _show_gaps(gaps: CustodyBy, names: dict[str, str]) -> None:
    from drybank.cli import say

    say.line(gaps.says)
    from drybank.records.money import Money

    rows = []
    for line in gaps.lines:
        half = (line.gap.interval.high - line.gap.interval.low) / 2 if line.gap.interval else 0.0
        amount, give = (Money(round(x), gaps.currency).plain() for x in (line.gap.value, half))
        days = f"{line.first:%d %b %Y}" if gaps.by == "round" else str(line.rounds)
        rows.append(
            (f"holder {line.holder}", days, str(line.spans), f"{amount} ({give})", f"{100 * line.share:+.1f} %", line.verdict)
        )  # fmt: skip
    heads = ("", "day" if gaps.by == "round" else "rounds", "spans", "gap (give or take)", "share", "verdict")
    say.table(heads, rows, right=(2, 3, 4))
    for letter, name in names.items():
        say.line(f"holder {letter}: {name}")
    if names:
        say.quiet("That these names were opened, by whom and why, now stands in the book.")
    else:
        say.quiet("Who a letter stands for is for the owner to open: --open-names “REASON”. That is kept in the book.")
