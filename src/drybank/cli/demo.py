"""`drybank demo`: once round the job in an invented town."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import AsJson

if TYPE_CHECKING:
    from datetime import datetime

    from drybank.book import Book
    from drybank.cards import PagePart
    from drybank.desk.demo import DemoBook

STORE, BANK, OTHER, TOWN = "lantern", "long wall", "weir", "Quillmere"


@app.command(epilog="Example: drybank demo --out demo")
def demo(
    out: Annotated[
        str, typer.Option("--out", "-o", help="The folder for the book, the papers and the summary page.")
    ] = "demo",
    only_book: Annotated[bool, typer.Option("--only-book", help="Make the book and nothing else.")] = False,
    as_json: AsJson = False,
) -> None:
    """Once round the job in an invented town: plan, cards, change day, readings in, balance, close, upkeep, verify."""
    from drybank.book import open_book
    from drybank.cards import summary_page
    from drybank.cli import say
    from drybank.desk.demo import make_demo

    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "quillmere.book"
    with say.progress("Inventing two years", shown=not as_json) as bar:
        made = make_demo(path, tell=lambda what, done, of: bar.step(done, of, what))
    if only_book or as_json:
        say.as_json(made) if as_json else say.line(f"{path}: {made.entries:,} entries of {len(made.stores)} stores.")
        return
    say.head(f"{TOWN}: three invented stores, {made.entries:,} entries, {made.first_day} to {made.last_day}")
    parts = []
    with open_book(path) as book:
        for number, (question, work) in enumerate(STEPS, 1):
            say.head(f"{number} of {len(STEPS)}. {question}")
            with say.progress(question) as bar:
                part = work(book, made, folder)
            for sentence in part.says:
                say.line(f"  {sentence}")
            parts.append(part)
    page = folder / "index.html"
    under = "An invented town: stores, people, machines, prices and two years of readings are made up, faults and all."
    page.write_text(summary_page(TOWN, under, tuple(parts)), encoding="utf-8")
    say.head("Where it is")
    say.line(f"  The summary page: {page}")
    say.line(f"  The papers:       {', '.join(sorted(p.name for p in folder.glob('*.pdf'))[:4])} ...")
    say.line(f"  The book:         {path}")
    say.line(f"  Go on with it:    drybank balance {STORE} --book {path} --since 2026-08-31")


def _end(made: DemoBook) -> datetime:
    from datetime import UTC, date, datetime, time

    return datetime.combine(date.fromisoformat(made.last_day), time(20), UTC)


def _pen(made: DemoBook, by: str = "owner"):  # type: ignore[no-untyped-def]
    """A pen whose clock stands at the end of the demo's history and moves a second at each look."""
    from datetime import timedelta

    from drybank.desk.stamp import Pen

    ticks = iter(range(10**9))
    return Pen(by=by, origin="demo", clock=lambda: _end(made) + timedelta(seconds=next(ticks)))


def _plan(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from drybank.cards import PagePart
    from drybank.desk.planning import adopt_plan, plan_bank

    plan = plan_bank(book, STORE, BANK, _pen(made), tell=lambda _said: None)  # builds in two processes
    adopt_plan(book, plan, _pen(made))
    rows = tuple((c.name, c.today or "not known", c.proposed if c.is_changed else "stays") for c in plan.changes)
    says = (plan.what_to_set, plan.what_it_brings, plan.what_could_be_wrong, plan.search.says)
    return PagePart(head="What do I set?", says=says, heads=("setting", "today", "proposed"), rows=rows)


def _cards(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from drybank.cards import PagePart, sign_pdf, work_card_pdf
    from drybank.desk.cards import bank_sign, work_cards

    cards = work_cards(book, STORE, _pen(made), bank=BANK)
    papers = []
    for card in cards:
        name = f"card-{STORE}-{card.machine}.pdf"
        (folder / name).write_bytes(work_card_pdf(card))
        papers.append((name, f"Work card, machine {card.machine}"))
    sign = bank_sign(book, STORE, BANK, pen=_pen(made))
    (folder / f"sign-{STORE}.pdf").write_bytes(sign_pdf(sign))
    papers.append((f"sign-{STORE}.pdf", "Price sign, English and French"))
    steps = sum(len(c.steps) for card in cards for c in card.controls)
    first = sign.texts[0]
    says = (
        f"{len(cards)} work cards with {steps} settings to change, cautions first.",
        f"The sign says: {first.start.money} for {first.start.time}; {first.start_says}.",
    )
    return PagePart(head="What goes on paper?", says=says, papers=tuple(papers))


def _change(book: Book, made: DemoBook, folder: Path) -> PagePart:
    """A change day left half done on purpose, then rolled on to its end, as a technician would in one evening."""
    from drybank.cards import PagePart
    from drybank.desk import change_day
    from drybank.desk.setting import Visit, bank_progress, record_visit

    pen = _pen(made, "technician")
    house = book.house_at(STORE, BANK, pen.clock())
    change_day.begin(book, STORE, BANK, pen, texts=())
    states = bank_progress(book, STORE, BANK, pen.clock())
    half = [s.control for s in states][: len(states) // 2]
    for control in half:
        record_visit(book, STORE, Visit(control=control, as_house=True, is_read_back=True), pen)
    middle = change_day.status(book, STORE, BANK, pen.clock())
    for state in states[len(states) // 2 :]:
        record_visit(book, STORE, Visit(control=state.control, as_house=True, is_read_back=True), pen)
    ended = change_day.status(book, STORE, BANK, pen.clock())
    done = sum(s.state == "done" for s in ended.controls)
    says = (
        f"Half way through: {' '.join(middle.danger) or 'no danger'}",
        f"Now {done} of {len(ended.controls)} controls hold all {len(house)} lines of the house settings; coin tests and signs are left to do.",
    )
    return PagePart(head="Is every pocket set?", says=says)


def _enter(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from datetime import timedelta

    from drybank.cards import PagePart
    from drybank.desk.entering import enter, look
    from drybank.records.entry import ReadingTaken

    last = next(
        t.body
        for t in reversed(book.story("saddle", kinds=("reading",)))
        if isinstance(t.body, ReadingTaken) and any(v.device == "1.turning" for v in t.body.values)
    )
    shown = {v.device: v.shown or 0 for v in last.values}
    day = _end(made).date() + timedelta(days=1)
    rows = [
        f"{day},1,{(shown['1.turning'] + 180) / 10:.1f},{shown['1.near'] + 61}",
        "03/04/2026,2,1,1",
        f"{day},99,1,1",
    ]
    text = "\n".join(["date,pocket,turning,near", *rows]) + "\n"
    (folder / "readings.csv").write_text(text)
    pen = _pen(made, "route")
    pen = type(pen)(by="route", origin="demo", clock=lambda: _end(made) + timedelta(days=2))
    seen = look(book, "saddle", ("readings.csv", text.encode()), pen)
    refused = [f"Row {r.row} refused: {' '.join(r.reasons)}" for r in seen.read.refused]
    done = enter(book, "saddle", ("readings.csv", text.encode()), pen, without_refused=True)
    says = (
        f"Of {len(seen.read.drafts) + len(refused)} rows in a spreadsheet, {done.entries} could be entered.",
        *refused,
    )
    return PagePart(head="What did the spreadsheet hold?", says=says, papers=(("readings.csv", "The spreadsheet"),))


def _balance(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from datetime import timedelta

    from drybank.cards import PagePart
    from drybank.desk.balancing import balance_store, cash_chart
    from drybank.desk.drawing import draw

    end = _end(made)
    result = balance_store(book, STORE, end, since=(end - timedelta(weeks=12)).date(), until=end.date())
    chart = cash_chart(result)
    says = [result.says]
    for finding in result.findings[:3]:
        likely = ", ".join(c.name for c in finding.causes[:2])
        says += [f"{finding.says} Perhaps: {likely}.", f"Next: {finding.next_check}"]
    svg = draw(chart, height=26 * max(4, len(result.units))).decode()
    return PagePart(
        head="Is the cash right?", says=tuple(says), svg=svg, alt=chart.alt, heads=chart.heads, rows=chart.rows
    )


def _trail(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from drybank.cards import PagePart
    from drybank.desk.takings import money_trail

    says = []
    for store in (STORE, OTHER):
        trail = money_trail(book, store, _end(made))
        c = trail.custody
        says.append(
            f"{store}: counted {c.counted}, paid in {c.deposited}, on the way {c.on_the_way}, short {c.short}, over {c.over}."
        )
        kinds = {f.name: [g for g in trail.findings if g.name == f.name] for f in trail.findings}
        says += [
            f"{name}: {found[0].says}" + (f" And {len(found) - 1} more." if len(found) > 1 else "")
            for name, found in kinds.items()
        ]
    return PagePart(head="Where is every cent?", says=tuple(says))


def _close(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from datetime import timedelta

    from drybank.cards import PagePart, statement_pdf
    from drybank.desk.takings import close, statement_of
    from drybank.takings import week_of

    end = _end(made)
    week = week_of(end - timedelta(days=9), "UTC")
    closed = close(book, OTHER, week, _pen(made), although_missing=True)
    month = f"{(end - timedelta(days=40)):%Y-%m}"
    papers = []
    for reader in ("", *(s.name for s in book.store_at(OTHER, end).shares)):
        name = f"statement-{OTHER}-{month}{'-partner' if reader else ''}.pdf"
        (folder / name).write_bytes(statement_pdf(statement_of(book, OTHER, month, end, reader=reader)))
        papers.append((name, f"Statement of {month} for {reader or 'the owner'}"))
    w = closed.week
    says = (
        f"{OTHER}, {week}: took {w.takings}, tax {w.tax.tax}, {w.kept} after tax and shares.",
        *w.missing[:2],
        f"Sealed: {closed.seal}",
    )
    return PagePart(head="What did the week bring?", says=says, papers=tuple(papers))


def _upkeep(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from drybank.cards import PagePart
    from drybank.desk.upkeep import round_of, upkeep

    seen = upkeep(book, STORE, _pen(made))
    visit = round_of(book, STORE, _pen(made))
    overdue = sum(d.state == "overdue" for d in seen.due)
    says = (
        f"{overdue} tasks overdue; the next round has {len(visit.cards)} cards and takes about {visit.minutes:.0f} minutes.",
        *(b.says for b in seen.boxes[:2]),
        *(f"{f.says} Next: {f.next_check}" for f in seen.look_at[:2]),
    )
    return PagePart(head="What is due?", says=says)


def _verify(book: Book, made: DemoBook, folder: Path) -> PagePart:
    from drybank.cards import PagePart

    report = book.verify()
    target = folder / "backup.book"
    for old in folder.glob("backup.book*"):
        shutil.rmtree(old) if old.is_dir() else old.unlink()
    book.backup(target)
    return PagePart(
        head="Can the book be trusted?", says=(report.sentence(), f"A backup with its checksum is in {target}.")
    )


STEPS = (
    ("What do I set, and what should it bring?", _plan),
    ("What goes on paper?", _cards),
    ("Is every pocket set?", _change),
    ("What did the spreadsheet hold?", _enter),
    ("Is the cash right?", _balance),
    ("Where is every cent?", _trail),
    ("What did the week bring?", _close),
    ("What is due?", _upkeep),
    ("Can the book be trusted?", _verify),
)
