"""`drybank upkeep`, `drybank round`, `drybank done`: what is due, the visit's cards, what was done."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.records.upkeep import CardSheet

TasksFile = Annotated[
    str,
    typer.Option("--tasks", help="A TOML file of your own tasks, by the maker's manual, in place of the start list."),
]

WithBalance = Annotated[
    bool, typer.Option("--with-balance", help="Also what the balance says of hours and trade; nothing of cash.")
]


@app.command(epilog="Example: drybank upkeep millrace --tasks manual.toml")
def upkeep(
    store: StoreKey,
    tasks: TasksFile = "",
    every: Annotated[bool, typer.Option("--all", help="Also what is not due yet.")] = False,
    with_balance: WithBalance = False,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """What is due at a store, overdue first; when coin boxes will be full; what to look at."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.upkeep import balance_hints
    from drybank.desk.upkeep import upkeep as work_out

    with opened(book) as it:
        more = balance_hints(it, store, pen(by)) if with_balance else ()
        seen = work_out(it, store, pen(by), tasks_file=tasks, findings=more)
    if as_json:
        say.as_json(seen)
        raise typer.Exit(3 if seen.look_at else 0)
    rows = [d for d in seen.due if every or d.state in ("overdue", "due", "out of service")]
    say.head(f"{seen.name}, {seen.today}: {sum(d.state == 'overdue' for d in seen.due)} overdue, "
             f"{sum(d.state == 'due' for d in seen.due)} due within two weeks")  # fmt: skip
    alike: dict[tuple[str, str, str], list[str]] = {}
    for due in rows:
        alike.setdefault((due.state, due.task.name, due.says), []).append(due.at)
    say.table(("state", "where", "task", "when"), [(s, ", ".join(at), t, w) for (s, t, w), at in alike.items()])
    new = [d for d in seen.due if d.state == "never entered"]
    if new:
        say.heed(
            f"{len(new)} {'task was' if len(new) == 1 else 'tasks were'} never entered as done. "
            "Do them at the next round, or enter when they were last done."
        )
    say.head("Coin boxes")
    for box in seen.boxes[:12]:
        say.line(f"  {box.says}")
    if seen.look_at:
        say.head("Look at")
        for finding in seen.look_at:
            say.heed(f"  {finding.says} Next: {finding.next_check}")
    for note in seen.notes:
        say.quiet(note)
    raise typer.Exit(3 if seen.look_at else 0)


@app.command("round", epilog="Example: drybank round millrace --until 2026-06-01 --out cards")
def go_round(
    store: StoreKey,
    until: Annotated[str, typer.Option("--until", help="The day of the next visit; four weeks on if not said.")] = "",
    out: Annotated[str, typer.Option("--out", "-o", help="A folder for the cards as PDF.")] = "",
    paper: Annotated[str, typer.Option("--paper", help="a5 or half-letter.")] = "a5",
    language: Annotated[str, typer.Option("--language", help="en or es, for the PDF.")] = "en",
    tasks: TasksFile = "",
    with_balance: WithBalance = False,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Everything due at this visit: a card for each machine, in walking order, cautions first."""
    from drybank.cli import say
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened, pen
    from drybank.desk.standing import parse_day
    from drybank.desk.upkeep import balance_hints, paper_of, round_of

    one_of("--paper", paper, ("a5", "half-letter"))
    one_of("--language", language, ("en", "es"))
    with opened(book) as it:
        more = balance_hints(it, store, pen(by)) if with_balance else ()
        visit = round_of(it, store, pen(by), until=parse_day(until), tasks_file=tasks, findings=more)
    made = []
    if out:
        from drybank.cards import file_name, pdf

        folder = Path(out)
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{file_name('round', store, f'{visit.visit}')}.pdf"
        path.write_bytes(pdf("round_card.typ", {**paper_of(visit, language), "paper": paper}, language))  # type: ignore[arg-type]
        made.append(path)
    if as_json:
        say.as_json({"round": visit, "files": made})
        return
    stops = "1 stop" if len(visit.cards) == 1 else f"{len(visit.cards)} stops"
    say.head(f"{visit.name}, {visit.visit}: {stops}, about {visit.minutes:.0f} minutes of work")
    for card in visit.cards:
        say.head(f"Machine {card.machine}" if card.machine else "The room")
        for finding in card.look_at:
            say.heed(f"  Look at: {finding.says}")
        for pocket in card.out_of_service:
            say.quiet(f"  {pocket} is out of service.")
        for sheet in card.sheets:
            _show_sheet(sheet)
    for box in visit.boxes:
        say.line(box.says)
    if visit.parts:
        say.line(f"Take along: {', '.join(visit.parts)}")
    for path in made:
        say.line(f"Cards: {path}")
    say.line(f"When done: drybank done {store} PLACE TASK [TASK ...]")


def _show_sheet(sheet: CardSheet) -> None:
    from drybank.cli import say

    words = {"off": "Off and locked out", "on": "Power on", "either": "Machine stopped, panels shut"}
    say.line(f"  {words[sheet.power]}")
    for caution in sheet.cautions:
        say.danger(f"    {caution}")
    for number, step in enumerate(sheet.before, start=1):
        say.line(f"    before {number}. {step}")
    for line in sheet.lines:
        say.line(f"    [ ] {line.name}: {', '.join(line.pockets)} ({line.minutes:.0f} min, {line.who})")
        for step in line.steps:
            say.quiet(f"        {step}")
    for number, step in enumerate(sheet.after, start=1):
        say.line(f"    after {number}. {step}")


@app.command(epilog="Example: drybank done millrace 14 belt bearings --minutes 40 --part 'drive belt'")
def done(
    store: StoreKey,
    at: Annotated[
        str, typer.Argument(help="The pocket or machine; store for the room, all for every one.", show_default=False)
    ],
    tasks: Annotated[
        list[str], typer.Argument(help="Task keys, as drybank upkeep --json gives them.", show_default=False)
    ],
    part: Annotated[list[str] | None, typer.Option("--part", help="A part used.")] = None,
    minutes: Annotated[int, typer.Option("--minutes", help="How long it took.")] = 0,
    on: Annotated[str, typer.Option("--on", help="The day it was done, as 2026-05-03; today if not said.")] = "",
    tasks_file: TasksFile = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Enter upkeep tasks as done: their clocks start again."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.standing import parse_day
    from drybank.desk.upkeep import Done, record_service

    what = Done(at=at, tasks=tuple(tasks), parts=tuple(part or ()), minutes=minutes, on=parse_day(on))
    with opened(book) as it:
        entries = record_service(it, store, what, pen(by), tasks_file=tasks_file)
    if as_json:
        say.as_json({"entries": entries})
        return
    say.line(f"Entered: {', '.join(tasks)} done at {at if at != 'all' else f'{len(entries)} places'}.")
