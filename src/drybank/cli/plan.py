"""`drybank plan`: what to set, what it should bring, what could make it wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.house import Bank
from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.records.plan import Plan, PlanFigure, SettingPriced

SHOWN = 3


@app.command(epilog='Example: drybank plan lantern "long wall" --working')
def plan(
    store: StoreKey,
    bank: Bank = "",
    what_if: Annotated[
        list[str] | None,
        typer.Option("--set", help="name=value: price this change against today instead of searching."),
    ] = None,
    compare: Annotated[
        list[str] | None, typer.Option("--compare", help="name=value;name=value: price several of these side by side.")
    ] = None,
    everything: Annotated[
        bool, typer.Option("--everything", help="The trade-offs, constraints, fuel prices and every assumption too.")
    ] = False,
    working: Annotated[bool, typer.Option("--working", help="Show how each figure came about.")] = False,
    adopt: Annotated[bool, typer.Option("--adopt", help="Make the answer the bank's house settings.")] = False,
    from_day: Annotated[str, typer.Option("--from", help="With --adopt: the day it holds from.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Search every setting the bank's controls can hold: the best one, what it should bring, what could make it wrong."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import planning as desk

    with opened(book) as it:
        writer = pen(by)
        if what_if or compare:
            asked = [what_if] if what_if else [text.split(";") for text in compare or ()]
            priced = [desk.what_if(it, store, bank, writer, texts) for texts in asked]
            if as_json:
                say.as_json(priced if compare else priced[0])
            else:
                for one in priced:
                    show_priced(one, working=working)
            return
        with say.progress("Searching every setting", shown=not as_json):
            made = desk.plan_bank(it, store, bank, writer)
        adopted = desk.adopt_plan(it, made, writer, from_day=from_day) if adopt else None
    if as_json:
        say.as_json(made)
        return
    show(made, everything=everything, working=working)
    if adopted:
        say.head(f"Adopted from {adopted.proposal.from_date}. Next: drybank card {store} {made.bank!r}")


def figure(value: float, unit: str) -> str:
    """A value in what a person reads: money in major units, shares in percent, the rest as it is."""
    if unit.startswith("minor"):
        return f"{value / 100:,.2f}"
    if unit in ("frac", "share"):
        return f"{100 * value:.1f}"
    return f"{value:,.1f}"


def unit_of(unit: str, currency: str) -> str:
    return currency if unit.startswith("minor") else "%" if unit in ("frac", "share") else unit


def show_figures(figures: tuple[PlanFigure, ...], currency: str) -> None:
    """Today beside proposed, with the difference; the range that assumptions leave where there is room for it."""
    from drybank.cli import say

    has_room = say.console().width >= 110
    rows = []
    for one in figures:
        unit = one.proposed.unit
        gap = ""
        if one.difference is not None:
            half = one.difference.interval
            gap = figure(one.difference.value, unit) + (
                f" ({figure((half.high - half.low) / 2, unit)})" if half else ""
            )
        far = one.proposed.assumption
        wide = f"{figure(far.low, unit)} to {figure(far.high, unit)}" if far else ""
        row = (
            f"{one.name}, {unit_of(unit, currency)}".removesuffix(f", {currency}, {currency}"),
            figure(one.today.value, unit) if one.today else "",
            figure(one.proposed.value, unit),
            gap,
            wide,
        )
        rows.append(row if has_room else row[:4])
    heads = ("a week", "today", "proposed", "change (give or take)", "if assumptions are off")
    say.table(heads if has_room else heads[:4], rows, right=(1, 2, 3, 4), wraps=(0,))


def show(made: Plan, *, everything: bool = False, working: bool = False) -> None:
    """Three answers first, then what they rest on."""
    from drybank.cli import say

    say.head("What do I set?")
    say.line(made.what_to_set)
    rows = [(c.name, c.today or "not known", c.proposed if c.is_changed else "stays") for c in made.changes]
    say.table(("setting", "today", "proposed"), rows, wraps=(1, 2))
    say.head("What should it bring?")
    say.line(made.what_it_brings)
    show_figures(made.figures, made.currency)
    say.head("What could make it wrong?")
    say.line(made.what_could_be_wrong)
    for matter in made.matters[: None if everything else SHOWN]:
        say.line(f"  {matter.assumption.name}: {matter.assumption.taken}. {matter.measure}")
    say.head("Runners-up")
    for rival in made.rivals:
        say.line(f"  {rival.name}: {rival.says} {rival.why_not}")
    if everything:
        show_everything(made)
    if working:
        from drybank.cli.balance import show_working

        for work in made.workings:
            show_working(work, "working")
    for note in made.notes:
        say.heed(note)
    if not everything:
        say.quiet(
            "--everything shows the trade-offs, what each constraint costs, fuel prices and every assumption; --working each figure."
        )


def show_everything(made: Plan) -> None:
    """Trade-offs, constraints, price response, fuel, assumptions."""
    from drybank.cli import say

    say.head("Trade-offs: nothing beats these in margin, price of a normal load and wait at once")
    rows = [
        (
            p.says,
            f"{p.contribution_minor / 100:,.2f}",
            f"{p.price_normal_minor / 100:,.2f}",
            "" if p.wait_p95_s is None else f"{p.wait_p95_s / 60:.1f} min",
        )
        for p in made.front
    ]
    say.table(("setting", "margin a week", "normal load", "wait, 95 of 100"), rows, right=(1, 2, 3), wraps=(0,))
    if made.limit_costs:
        say.head("What each constraint costs a week")
        for limit in made.limit_costs:
            say.line(f"  {limit.name}: {limit.cost_minor / 100:,.2f}. {limit.says}")
    say.head("If customers answer to price otherwise")
    rows = [
        (a.rung, f"{a.walk_away_minor / 100:.2f}", a.best_says, f"{a.regret_minor / 100:,.2f}") for a in made.answers
    ]
    say.table(("range", "half leave at", "best then", "missed by this plan"), rows, right=(1, 3), wraps=(2,))
    if made.fuel_steps:
        say.head("When fuel changes")
        for step in made.fuel_steps:
            say.line(f"  {step.says}")
    if made.free_window:
        say.line(f"  {made.free_window.says}")
    if made.queue:
        say.line(f"  {made.queue.says}")
    say.line(f"  {made.search.says}")
    say.head("Assumed, because nobody said")
    for one in made.assumptions:
        say.line(f"  {one.name}: {one.taken} ({one.source})" + (f", from {one.low} to {one.high}" if one.low else ""))


def show_priced(one: SettingPriced, *, working: bool = False) -> None:
    """A what-if against today."""
    from drybank.cli import say

    say.head(one.name)
    show_figures(one.figures, "")
    for broken in one.breaks:
        say.heed(f"  {broken}")
    if working:
        from drybank.cli.balance import show_working

        for work in one.workings:
            show_working(work, "working")
