"""`drybank plan`: what to set, what it should bring, what could make it wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.house import Bank
from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.desk.stamp import Pen
    from drybank.records.plan import Matter, Plan, PlanFigure, SettingPriced
    from drybank.records.working import Estimate

SHOWN = 3
WIDE = 110


@app.command(epilog='Example: drybank plan lantern "long wall" --working')
def plan(
    store: StoreKey,
    bank: Bank = "",
    what_if: Annotated[
        list[str] | None,
        typer.Option("--set", help="name=value, by the names that the plan prints: price this change against today."),
    ] = None,
    compare: Annotated[
        tuple[str, str] | None,
        typer.Option("--compare", help="Price B against A; each is today, plan, or name=value;name=value."),
    ] = None,
    everything: Annotated[
        bool, typer.Option("--everything", help="The trade-offs, constraints, fuel prices and every assumption too.")
    ] = False,
    working: Annotated[bool, typer.Option("--working", help="Show how each figure came about.")] = False,
    room_air: Annotated[
        bool, typer.Option("--room-air", help="What making up the room air costs that the dryers throw out, apart.")
    ] = False,
    weather: Annotated[
        str, typer.Option("--weather", help="Outdoor air for --room-air: an EPW or TMY3 file, or a CSV of 8,760 hours.")
    ] = "",
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
    from drybank.desk.weather import RoomAsk

    with opened(book) as it:
        writer = pen(by)
        if what_if or compare:
            names = ("today", "then") if what_if else ("A", "B")
            one = desk.what_if(it, store, bank, writer, what_if) if what_if else None
            one = one or desk.compare(it, store, bank, writer, compare or ("today", "plan"))
            if as_json:
                say.as_json(one)
            else:
                show_priced(one, heads=names, working=working)
            return
        with say.progress("Searching every setting", shown=not as_json) as bar:
            ask = RoomAsk(is_asked=room_air or bool(weather), weather=weather)
            made = desk.plan_bank(it, store, bank, writer, ask, tell=bar.say)
        adopted = desk.adopt_plan(it, made, writer, from_day=from_day) if adopt else None
        could_see = _could_see(it, store, writer) if (everything or adopt) and not as_json else ""
    if as_json:
        say.as_json(made)
        return
    show(made, everything=everything, working=working)
    if could_see:
        say.line(could_see)
    if adopted:
        say.head(f"Adopted from {adopted.proposal.from_date}. Next: drybank card {store} {made.bank!r}")


def _could_see(book: Book, store: str, writer: Pen) -> str:
    """What a change here could show at all, and after how long; said before anybody makes one."""
    from drybank.desk.learning import sight_of

    seen = sight_of(book, store, writer.clock())
    return f"Before you change anything: {seen.says}" if seen else ""


# ---------------------------------------------------------------- figures


def amount(minor: float, currency: str, more_digits: int = 0) -> str:
    """Minor units as whole currency units, without the currency."""
    from drybank.records.money import MINOR_DIGITS

    digits = MINOR_DIGITS.get(currency, 2)
    text = f"{minor / 10**digits:,.{digits + more_digits}f}"
    return text.removeprefix("-") if not text.strip("-0.,") else text


def figure(value: float, unit: str, currency: str) -> str:
    """A value in what a person reads: money in whole currency units, times in minutes, shares in percent."""
    if unit.startswith("minor"):
        return amount(value, currency, 2 if unit == "minor/min" else 0)
    if unit == "s":
        return f"{value / 60:,.1f}" if abs(value) >= 600 else f"{value / 60:,.2f}"
    text = f"{value:,.1f}"
    return text.removeprefix("-") if not text.strip("-0.,") else text


def unit_of(unit: str, currency: str) -> str:
    return currency if unit.startswith("minor") else "min" if unit == "s" else unit


def show_figures(
    figures: tuple[PlanFigure, ...], currency: str, heads: tuple[str, str] = ("today", "proposed")
) -> None:
    """Today beside proposed, with the difference; the range that assumptions leave where there is room for it."""
    from drybank.cli import say

    has_room = say.console().width >= WIDE
    rows = []
    for one in figures:
        unit = one.proposed.unit
        far = (one.difference or one.proposed).assumption
        wide = f"{figure(far.low, unit, currency)} to {figure(far.high, unit, currency)}" if far else ""
        name, said = one.name, unit_of(unit, currency)
        if not name.split(",")[0].endswith(said):
            name = f"{name}, {said}"
        row = (
            name,
            _value(one.today, currency),
            _value(one.proposed, currency),
            _change(one.difference, currency),
            wide,
        )
        rows.append(row if has_room else row[:4])
    top = ("a week", *heads, "change (give or take)", "change if assumptions are off")
    if all(f.difference is None for f in figures):
        top = ("a week", *heads, "", "if assumptions are off")
    say.table(top if has_room else top[:4], rows, right=(1, 2, 3, 4), wraps=(0,))


def _value(one: Estimate | None, currency: str) -> str:
    return "not known" if one is None else figure(one.value, one.unit, currency)


def _change(one: Estimate | None, currency: str) -> str:
    if one is None:
        return ""
    half = (one.interval.high - one.interval.low) / 2 if one.interval else 0.0
    said = figure(one.value, one.unit, currency)
    return f"{said} ({figure(half, one.unit, currency)})" if one.interval else said


# ---------------------------------------------------------------- the plan


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
    show_minute(made)
    if made.room_air is not None:
        say.head("Room air, apart")
        say.line(made.room_air.says)
    say.head("What could make it wrong?")
    say.line(made.what_could_be_wrong)
    first = 1 if made.matters and made.matters[0].regret_minor > 0.5 else 0
    for matter in made.matters[first:] if everything else made.matters[first : first + SHOWN - 1]:
        show_matter(made, matter)
    say.head("Runners-up")
    for rival in made.rivals:
        say.line(f"  {rival.name}: {rival.says} {rival.why_not}")
    if everything:
        show_everything(made)
    if working:
        show_workings(made)
    for note in made.notes:
        say.heed(note)
    if not everything:
        say.quiet(
            "--everything shows the trade-offs, what each constraint costs, fuel prices, every assumption and how small an effect could be seen here; --working each figure."
        )


def show_minute(made: Plan) -> None:
    """What a heated minute costs in energy, at the margin and on average."""
    from drybank.cli import say
    from drybank.desk.pages_plan import minute_said

    if said := minute_said(made):
        say.line(said)


def show_matter(made: Plan, matter: Matter) -> None:
    """One thing that is not known: where it may lie, what that does, what to measure."""
    from drybank.cli import say

    a, money = matter.assumption, f" {made.currency}"
    taken = a.taken if a.taken.startswith("as ") else f"as {a.taken}"
    text = f"  {a.name}: taken {taken}, may lie from {a.low} to {a.high}. These settings then bring "
    text += f"{amount(matter.low_minor, made.currency)} to {amount(matter.high_minor, made.currency)}{money} a week; "
    text += (
        f"others would bring {amount(matter.regret_minor, made.currency)}{money} more at the worse end. "
        if matter.regret_minor >= 0.5
        else "no others would bring more. "
    )
    say.line(text + matter.measure)


def show_workings(made: Plan) -> None:
    from drybank.cli.balance import show_working

    for work in made.workings:
        show_working(work, "working")
    if made.minute_cost is not None and made.minute_cost.total_marginal.working is not None:
        show_working(made.minute_cost.total_marginal.working, "working")
    if made.room_air is not None:
        show_working(made.room_air.proposed.working, "working")


def show_everything(made: Plan) -> None:
    """Trade-offs, constraints, price response, fuel, assumptions."""
    from drybank.cli import say

    def cash(minor: float) -> str:
        return amount(minor, made.currency)

    say.head("Trade-offs: nothing beats these in what they bring, price of a normal load and wait at once")
    rows = [
        (
            p.says + (" (the answer)" if p.is_answer else ""),
            cash(p.contribution_minor),
            cash(p.price_normal_minor),
            "" if p.wait_p95_s is None else f"{p.wait_p95_s / 60:.1f} min",
        )
        for p in made.front
    ]
    say.table(("setting", "brings a week", "normal load", "wait, 95 of 100"), rows, right=(1, 2, 3), wraps=(0,))
    if made.limit_costs:
        say.head(f"What each constraint costs a week, {made.currency}")
        for limit in made.limit_costs:
            say.line(f"  {limit.says}: {cash(limit.cost_minor)}")
    say.head("If customers answer to price otherwise")
    places = [
        (a.rung, cash(a.walk_away_minor), a.best_says, cash(a.regret_minor), cash(a.least_regret_minor))
        for a in made.answers
    ]
    say.table(
        ("range", "half leave at", "best then", "missed by this plan", "missed by the safest"),
        places,
        right=(1, 3, 4),
        wraps=(2,),
    )
    say.head("When fuel changes")
    if made.fuel_hold is not None:
        say.line(f"  {made.fuel_hold.says}")
    for step in made.fuel_steps:
        say.line(f"  {step.says}")
    if made.free_window:
        say.head("A window of free drying")
        say.line(f"  {made.free_window.says}")
    say.head("Waiting, and what was searched")
    if made.queue:
        say.line(f"  {made.queue.says}")
    say.line(f"  {made.search.says}")
    say.head("Assumed, because nobody said")
    for one in (*made.assumptions, *(made.room_air.assumptions if made.room_air else ())):
        say.line(f"  {one.name}: {one.taken} ({one.source})" + (f", from {one.low} to {one.high}" if one.low else ""))


def show_priced(one: SettingPriced, *, heads: tuple[str, str], working: bool = False) -> None:
    """A what-if against today, or B against A, the same loads met."""
    from drybank.cli import say

    say.head(one.name)
    show_figures(one.figures, one.currency, heads)
    say.line("Before queues; both meet the same loads.")
    for broken in one.breaks:
        say.heed(f"It breaks a constraint: {broken}.")
    if not one.is_on_grid:
        say.heed("Not every control of the bank can hold this.")
    if working:
        from drybank.cli.balance import show_working

        for work in one.workings:
            show_working(work, "working")
