"""Upkeep at the desk: what is due at a store, what to look at, when boxes are full, the round's cards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import msgspec

from drybank.book.files.text import located
from drybank.desk.files import text_of
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.desk.use import StoreUse, use_of
from drybank.records.card import CardTask
from drybank.records.entry import Proved, Serviced, ValueLearned
from drybank.records.errors import InputError, InputErrors, Missing, NotIdentified
from drybank.records.faults import fault_words
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.upkeep import BoxDue, Due, RoundCard, Task
from drybank.upkeep import (
    LABELS,
    SPANISH,
    START_LIST,
    BackTest,
    Language,
    Watched,
    back_test,
    box_full,
    falling_use,
    in_language,
    is_for_this_visit,
    parts_of,
    parts_on_paper,
    replace_tasks,
    rising,
    round_cards,
    said_in,
    schedule,
    stops,
)

if TYPE_CHECKING:
    from drybank.book import Book, Told

# What the balance says of machines, not of cash: fit to stand on a card that a collector may hold.
MACHINE_FINDINGS: Final = frozenset(
    {"passed by", "fewer hours than sold", "running free", "minutes per coin too many", "minutes per coin too few"}
)
CLEANED_BY: Final = frozenset({"duct", "lint-inside"})


class Upkeep(msgspec.Struct, frozen=True, kw_only=True):
    """What is due at a store: tasks overdue first, boxes, what to look at, how far the dates may be trusted."""

    store: str
    name: str
    today: date
    due: tuple[Due, ...]
    boxes: tuple[BoxDue, ...]
    look_at: tuple[Finding, ...]
    past: BackTest
    notes: tuple[str, ...] = ()


class Round(msgspec.Struct, frozen=True, kw_only=True):
    """A visit: one card for each machine in walking order, boxes to empty, minutes and parts in all."""

    store: str
    name: str
    visit: date
    until: date
    cards: tuple[RoundCard, ...]
    boxes: tuple[BoxDue, ...]
    minutes: float
    parts: tuple[str, ...]
    notes: tuple[str, ...] = ()


def card_tasks(visit: Round) -> dict[str, tuple[CardTask, ...]]:
    """A round's work that needs no lock-out, machine by machine, to stand on the work cards of a setting visit.

    What opens a machine stays on the round's own cards, with its lock-out.
    """
    out: dict[str, tuple[CardTask, ...]] = {}
    for card in visit.cards:
        lines = [line for sheet in card.sheets if not sheet.before for line in sheet.lines]
        if card.machine and lines:
            out[card.machine] = tuple(
                CardTask(what=f"{line.name} ({', '.join(line.pockets)})", why=line.why, minutes=round(line.minutes))
                for line in lines
            )
    return out


def paper_of(visit: Round, language: Language = "en") -> dict[str, Any]:
    """A round as its template takes it: cards in a language, labels, words for who may do it."""
    said = msgspec.structs.replace(
        visit, cards=tuple(in_language(c, language) for c in visit.cards),
        parts=tuple(said_in(p, language) for p in visit.parts),
    )  # fmt: skip
    whos = ("anyone", "qualified person", "licensed trade")
    return {
        "round": msgspec.to_builtins(said, enc_hook=str),
        "parts": msgspec.to_builtins(parts_on_paper(said.cards), enc_hook=str),
        "labels": LABELS[language],
        "who": {w: SPANISH[w] if language == "es" else w for w in whos},
    }


class Done(msgspec.Struct, frozen=True, kw_only=True):
    """What was done: where (a pocket, a machine, store, or all), which tasks, on which day (today if not said)."""

    at: str
    tasks: tuple[str, ...]
    parts: tuple[str, ...] = ()
    minutes: int = 0
    on: date | None = None


def read_tasks(path: str) -> tuple[Task, ...]:
    """The start list with a store's own tasks from a TOML file in place of it; every mistake at once."""
    return tasks_of(text_of(path), path)


def tasks_of(content: bytes, path: str) -> tuple[Task, ...]:
    """The same from a file's bytes; ``path`` names it in mistakes."""
    data = {k: v for k, v in located(content, path).content.items() if k != "drybank"}
    rows = data.get("task")
    if not isinstance(rows, list) or not rows or set(data) != {"task"}:
        raise InputError("a task file holds [[task]] tables and nothing else.", where=path)
    tasks, wrong = [], []
    for number, row in enumerate(rows, start=1):
        try:
            tasks.append(_task(row))
        except (msgspec.ValidationError, InputError) as bad:
            said = bad.sentence() if isinstance(bad, InputError) else f"{fault_words(str(bad))}."
            wrong.append(InputError(said, where=f"{path}, task {number}"))
    if wrong:
        raise InputErrors(wrong)
    return replace_tasks(START_LIST, tasks)


def _task(row: Any) -> Task:
    strange = set(row) - set(Task.__struct_fields__)
    if strange:
        raise InputError(
            f"“{', '.join(sorted(map(str, strange)))}” is not part of a task.",
            allowed=", ".join(Task.__struct_fields__),
        )
    known = {} if "known" in row else {"known": "maker's plate or manual"} if row.get("source") else {}
    return msgspec.convert({**row, **known}, Task)


def _past(use: StoreUse) -> BackTest:
    fleet = [(p.use.hours, p.use.clock) for p in use.places if p.scope == "pocket" and len(p.use.hours) >= 20]
    step = max((p.use.resolution_h for p in use.places if p.scope == "pocket"), default=1.0)
    return back_test(fleet, resolution=step)


def proof_findings(told: Sequence[Told]) -> tuple[Finding, ...]:
    """The latest field test of each kind at each place, where it failed."""
    latest: dict[tuple[str, str], Proved] = {}
    for line in told:
        if isinstance(line.body, Proved):
            latest[line.body.test, line.body.at] = line.body
    return tuple(
        Finding(
            key=f"proof/{test}/{at}", room="proof", name=test, where=at, weight="note" if test == "coin test" else "due",
            says=f"The last field test “{test}” at {at} failed.", next_check=f"Mend it, then prove it again: {test}.",
        )
        for (test, at), body in latest.items()
        if body.verdict == "fail"
    )  # fmt: skip


def _watched(use: StoreUse) -> list[Watched]:
    """Collar pressures since the last cleaning, and learned minutes and fuel, as series."""
    zone = ZoneInfo(use.layout.store.time_zone)
    series: dict[tuple[str, str, str], list[tuple[float, float, float]]] = {}
    for line in use.told:
        body, day = line.body, float(line.happened.astimezone(zone).date().toordinal())
        if isinstance(body, Serviced) and CLEANED_BY & set(body.tasks):
            for key in [k for k in series if k[0] == "lint" and _cleans(use, body.at, k[1])]:
                del series[key]
        elif isinstance(body, Proved) and body.test == "exhaust pressure":
            value = body.measured.get("static pressure at the collar")
            give = body.measured.get("static pressure at the collar, give or take", 0.0)
            if isinstance(value, float | int) and isinstance(give, float | int):
                series.setdefault(("lint", body.at, "Pa"), []).append((day, float(value), float(give)))
        elif isinstance(body, ValueLearned) and body.name in ("fuel per hour", "minutes to dry") and body.at:
            half = (body.high - body.low) / 2 if body.low is not None and body.high is not None else 0.0
            series.setdefault((body.name, body.at, body.unit), []).append((day, body.value, half))
    return [_series(use, *key, rows) for key, rows in series.items()]


def _cleans(use: StoreUse, at: str, pocket: str) -> bool:
    machine = use.layout.machines.get(at)
    return at == pocket or (machine is not None and pocket in machine.pockets)


def _series(use: StoreUse, kind: str, at: str, unit: str, rows: Sequence[tuple[float, float, float]]) -> Watched:
    limit = None
    if kind == "lint" and at in use.layout.pockets:
        limit = use.layout.pockets[at].plate.duct_pressure_limit_pa
    days, values, gives = zip(*rows, strict=True)
    return Watched(kind=kind, at=at, days=days, values=values, plus_minus=max(gives), unit=unit, limit=limit)


def balance_hints(book: Book, store: str, pen: Pen) -> tuple[Finding, ...]:
    """What the last eight weeks' balance says of hours and trade. Nothing of cash: counting stays blind."""
    from drybank.desk.balancing import balance_store

    found = balance_store(book, store, pen.clock()).findings
    return tuple(f for f in found if f.name in MACHINE_FINDINGS)


def hints(use: StoreUse) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """Findings to look at, and what could not be looked at."""
    found = [f for f in map(rising, _watched(use)) if f is not None]
    notes = []
    for bank in use.layout.store.banks:
        mine = {p for m in use.layout.machines.values() if m.bank == bank.key for p in m.pockets}
        try:
            found += falling_use({k: v for k, v in use.weekly_loads.items() if k in mine})
        except (NotIdentified, InputError) as why:
            notes.append(f"Bank {bank.key}, use against siblings: {why.sentence()}")
    return tuple(found), tuple(notes)


def upkeep(
    book: Book, store: str, pen: Pen, *, tasks_file: str = "", level: float = 0.80, findings: Sequence[Finding] = ()
) -> Upkeep:
    """What is due at a store today by the book; ``findings`` of other rooms pull tasks forward too."""
    when = pen.clock()
    use = use_of(book, store, when)
    today = when.astimezone(ZoneInfo(use.layout.store.time_zone)).date()
    tasks = read_tasks(tasks_file) if tasks_file else START_LIST
    seen, notes = hints(use)
    look_at = (*proof_findings(use.told), *seen, *findings)
    past = _past(use)
    boxes, more = _boxes(use, today, past, level)
    bare = (
        ""
        if tasks_file
        else "Intervals are common practice without a source: replace them by the maker's manual (--tasks FILE)."
    )
    return Upkeep(
        store=store, name=use.layout.store.name, today=today, past=past, look_at=look_at, boxes=boxes,
        due=schedule(use.places, tasks, today=today, findings=look_at, past=past, level=level),
        notes=(*((bare,) if bare else ()), *use.notes, *notes, *more),
    )  # fmt: skip


def _boxes(use: StoreUse, today: date, past: BackTest, level: float) -> tuple[tuple[BoxDue, ...], tuple[str, ...]]:
    out, notes = [], []
    for key, (spans, lies) in use.boxes.items():
        if lies is None:
            notes.append(f"{key}: what lies in it is not known (no counter read, or never emptied in the book).")
            continue
        try:
            out.append(box_full(key, capacity=use.layout.boxes[key].capacity_pieces, pieces_now=lies, spans=spans,
                                today=today, past=past, level=level))  # fmt: skip
        except NotIdentified as why:
            notes.append(why.sentence())
    return tuple(sorted(out, key=lambda b: (b.empty_by or date.max, b.box))), tuple(notes)


def round_of(
    book: Book,
    store: str,
    pen: Pen,
    *,
    until: date | None = None,
    tasks_file: str = "",
    findings: Sequence[Finding] = (),
) -> Round:
    """Everything due at this visit (before ``until``, four weeks on if not said), a card for each machine."""
    seen = upkeep(book, store, pen, tasks_file=tasks_file, findings=findings)
    end = until or seen.today + timedelta(weeks=4)
    if end <= seen.today:
        raise InputError(f"The next visit, {end}, is not after today.", where="--until")
    laid = layout_at(book, store, pen.clock())
    gas = {k: p.plate.fuel != "electric" for k, p in laid.pockets.items()}
    cards = round_cards(
        seen.due, stops(tuple(laid.machines.values()), gas), visit=seen.today, until=end, findings=seen.look_at
    )
    wanted = [d for d in seen.due if is_for_this_visit(d, visit=seen.today, until=end)]
    full = tuple(b for b in seen.boxes if b.empty_by is not None and b.empty_by < end)
    return Round(
        store=store, name=seen.name, visit=seen.today, until=end, cards=cards, boxes=full,
        minutes=sum(c.minutes for c in cards), parts=parts_of(wanted), notes=seen.notes,
    )  # fmt: skip


def record_service(book: Book, store: str, done: Done, pen: Pen, *, tasks_file: str = "") -> tuple[str, ...]:
    """Enter tasks as done; the ids of the entries come back, one for each place."""
    now = pen.clock()
    laid = layout_at(book, store, now)
    listed = {t.key: t for t in (read_tasks(tasks_file) if tasks_file else START_LIST)}
    strange = [t for t in done.tasks if t not in listed]
    if strange or not done.tasks:
        raise InputError(
            f"“{', '.join(strange) or 'nothing'}” is not on the list.", where="task", allowed=", ".join(listed)
        )
    when = now if done.on is None else datetime.combine(done.on, time(12), ZoneInfo(laid.store.time_zone))
    if when > now:
        raise InputError(f"{done.on} is still to come.", where="--on")
    bodies = [
        Serviced(at=at, tasks=tasks, parts=done.parts, minutes=done.minutes)
        for at, tasks in _places_done(laid, done, listed).items()
    ]
    booked = book.append([pen.entry(store, b, when) for b in bodies])
    return tuple(b.entry.id for b in booked)


def _places_done(laid: Layout, done: Done, listed: Mapping[str, Task]) -> dict[str, tuple[str, ...]]:
    """Places and the tasks done there; "all" is every place that a task belongs to."""
    if done.at == "all":
        kin = {"pocket": tuple(laid.pockets), "machine": tuple(laid.machines), "store": ("store",)}
        out: dict[str, tuple[str, ...]] = {}
        for task in done.tasks:
            for place in kin[listed[task].scope]:
                out[place] = (*out.get(place, ()), task)
        return out
    if done.at not in laid.pockets and done.at not in laid.machines and done.at not in ("store", laid.store.key):
        raise Missing(
            f"There is no pocket or machine “{done.at}” in {laid.store.name}. Say store for the room, all for every one."
        )
    return {"store" if done.at == laid.store.key else done.at: done.tasks}
