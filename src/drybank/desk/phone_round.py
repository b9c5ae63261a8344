"""What a phone takes along into a basement without signal: the store in walking order, and what each visit needs.

A round holds what the person's kinds of entry need and no more. Nothing in it speaks of expected money, of findings of cash
or of what a meter should show; whether a reading is likely is asked of `phone_guard`. Fixed words come in both languages,
the sheet's own words as its writer put them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.control import grid_of, scale_of, show, steps, to_sheet
from drybank.control.grid import SCALES
from drybank.desk import change_day
from drybank.desk.cards import cautions_for, devices_of, notices_for
from drybank.desk.pages_rounds import bags_out, boxes_to_empty, coins_taken
from drybank.desk.phone_guard import GOOD_FOR, Guard, guards_for
from drybank.desk.stamp import Pen
from drybank.desk.standing import controls_of, layout_at
from drybank.desk.upkeep import Round, round_of
from drybank.records.card import Language
from drybank.records.errors import DrybankError, InputErrors, Missing
from drybank.records.layout import Layout
from drybank.records.money import MINOR_DIGITS
from drybank.records.sheet import TICKS, Grid, HouseSettings, SettingLine, Values
from drybank.records.upkeep import CardLine, CardSheet, RoundCard
from drybank.upkeep import SPANISH, in_language

if TYPE_CHECKING:
    from drybank.book import Book

FORMAT = 1


class _Plain(msgspec.Struct, frozen=True, kw_only=True):
    """Base of what goes to the phone."""


class Said(_Plain, frozen=True, kw_only=True):
    """One text in both languages."""

    en: str
    es: str


class Device(_Plain, frozen=True, kw_only=True):
    """A meter or counter to read. ``per_hour`` is 0 for a counter; ``decimals`` is how many stand behind the point."""

    key: str
    name: str
    per_hour: int
    decimals: int
    rolls_over_at: int
    guard: Guard | None = None


class Box(_Plain, frozen=True, kw_only=True):
    """A coin box at this stop and when it was emptied last."""

    key: str
    number: str
    pockets: tuple[str, ...]
    emptied: datetime | None


class Line(_Plain, frozen=True, kw_only=True):
    """One setting of a control: how to find and change it, what it may hold, what it holds and should hold by the book.

    A typed figure becomes the sheet's own whole number by ``num / den``; ``to_set`` is None where nothing is to change.
    """

    key: str
    name: str
    found_at: str
    how: str
    unit: str
    num: int
    den: int
    lowest: int
    highest: int
    increment: int
    values: tuple[int, ...]
    zero_means: str
    choices: tuple[str, ...]
    now: int | None
    now_says: str
    to_set: int | None
    to_set_says: str
    power: str
    reached: str


class Input(_Plain, frozen=True, kw_only=True):
    """A slot that takes coins or tokens, for tests with one's own pieces."""

    key: str
    name: str
    means: str
    piece_minor: int


class Control(_Plain, frozen=True, kw_only=True):
    """One control at this stop. ``lines`` are those to set first, then the rest of its settings."""

    key: str
    bank: str
    pockets: tuple[str, ...]
    sheet: str
    sheet_name: str
    revision: str
    lines: tuple[Line, ...] = ()
    inputs: tuple[Input, ...] = ()


class Job(_Plain, frozen=True, kw_only=True):
    """One job due, at one or several places."""

    task: str
    name: Said
    places: tuple[str, ...]
    why: str
    minutes: float
    who: Said
    steps: tuple[Said, ...]
    parts: tuple[Said, ...]


class Sheet(_Plain, frozen=True, kw_only=True):
    """Jobs of one kind of power, their cautions first; with ``before`` the machine is locked out."""

    power: str
    cautions: tuple[Said, ...]
    before: tuple[Said, ...]
    jobs: tuple[Job, ...]
    after: tuple[Said, ...]


class Stop(_Plain, frozen=True, kw_only=True):
    """One machine in walking order ("" is the room), cautions for work with power on and with it off."""

    machine: str
    bank: str
    pockets: tuple[str, ...]
    cautions_on: tuple[Said, ...] = ()
    cautions_off: tuple[Said, ...] = ()
    notices: tuple[Said, ...] = ()
    devices: tuple[Device, ...] = ()
    boxes: tuple[Box, ...] = ()
    controls: tuple[Control, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    look_at: tuple[str, ...] = ()
    out_of_service: tuple[str, ...] = ()


class Bag(_Plain, frozen=True, kw_only=True):
    """A bag on its way; its money is not told."""

    bag: str
    boxes: tuple[str, ...]
    state: str


class Coin(_Plain, frozen=True, kw_only=True):
    minor: int
    words: str


class Day(_Plain, frozen=True, kw_only=True):
    """An open change day of a bank: what is done and what is left, as the book has it."""

    id: str
    bank: str
    is_rollback: bool
    states: dict[str, str]
    tests: dict[str, str]
    is_old_sign_down: bool
    is_new_sign_up: bool
    danger: tuple[str, ...]


class Named(_Plain, frozen=True, kw_only=True):
    key: str
    name: str


class PhoneRound(_Plain, frozen=True, kw_only=True):
    """Everything for one store, for one person's kinds of entry."""

    format: int
    store: str
    name: str
    made: datetime
    good_until: datetime
    time_zone: str
    currency: str
    minor_digits: int
    temperature: str
    kinds: tuple[str, ...]
    banks: tuple[Named, ...]
    heats: tuple[Named, ...]
    pockets: tuple[str, ...]
    coins: tuple[Coin, ...]
    asks_two: bool
    stops: tuple[Stop, ...]
    bags: tuple[Bag, ...]
    days: tuple[Day, ...]
    notes: tuple[str, ...] = ()


def phone_round(book: Book, store: str, pen: Pen, *, kinds: Iterable[str], visit: Round | None = None) -> PhoneRound:
    """The round of a store for somebody who may write these kinds of entry.

    ``visit`` is the upkeep of the visit where it is worked out already; it is worked out here for who may enter services.
    """
    when, may = pen.clock(), frozenset(kinds)
    laid = layout_at(book, store, when)
    if "service" in may and visit is None:
        visit = round_of(book, store, pen)
    jobs = {c.machine: c for c in visit.cards} if visit is not None and "service" in may else {}
    made = _Made(book, laid, when, may)
    stops = [made.stop(machine, jobs.get(machine)) for machine in _walk(laid)]
    room = [_room(jobs[""])] if "" in jobs else []
    return PhoneRound(
        format=FORMAT, store=store, name=laid.store.name, made=when, good_until=when + GOOD_FOR, time_zone=laid.store.time_zone,
        currency=laid.store.currency, minor_digits=MINOR_DIGITS[laid.store.currency], temperature=laid.store.units.temperature,
        kinds=tuple(sorted(may)), banks=tuple(Named(key=b.key, name=b.name) for b in laid.store.banks),
        heats=tuple(Named(key=f"{h.number}", name=h.name) for h in laid.store.heats), pockets=tuple(laid.pockets),
        coins=tuple(Coin(minor=m, words=w) for m, w in coins_taken(book, store, when)), asks_two=laid.store.counting.asks_two,
        stops=(*stops, *room), bags=_bags(book, store, when) if may & {"collection", "count", "hand-over"} else (),
        days=_days(book, laid, when) if "setting change" in may else (), notes=visit.notes if visit is not None and jobs else (),
    )  # fmt: skip


def _walk(laid: Layout) -> list[str]:
    return [m.key for m in sorted(laid.machines.values(), key=lambda m: m.place)]


def _last_machine(laid: Layout, pockets: Sequence[str]) -> str:
    """Where on the walk a box is emptied: at the last of its machines, when all its counters have been read."""
    mine = [m for m in _walk(laid) if set(laid.machines[m].pockets) & set(pockets)]
    return mine[-1] if mine else ""


class _Made:
    """What the stops of one round have in common."""

    def __init__(self, book: Book, laid: Layout, when: datetime, may: frozenset[str]) -> None:
        self.book, self.laid, self.when, self.may = book, laid, when, may
        reads = "reading" in may
        self.guards = guards_for(book, laid, (*laid.meters, *laid.counters), when) if reads else {}
        self.held = book.settings_at(laid.store.key, when) if "setting change" in may else {}
        boxes = boxes_to_empty(book, laid.store.key, when) if "collection" in may else ()
        self.boxes = [(_last_machine(laid, b.pockets), b) for b in boxes]

    def stop(self, machine: str, card: RoundCard | None) -> Stop:
        laid, one = self.laid, self.laid.machines[machine]
        controls = controls_of(laid, machine=machine)
        house = self.book.house_at(laid.store.key, one.bank, self.when) if "setting change" in self.may else ()
        works = bool(self.may & {"setting change", "service", "proof"})
        return Stop(
            machine=machine, bank=one.bank, pockets=one.pockets,
            cautions_on=_cautions(laid, controls, "on" if works else "reading"),
            cautions_off=_cautions(laid, controls, "off") if works else (),
            notices=_both(lambda x: notices_for(self.book, laid, controls, house, x)) if "setting change" in self.may else (),
            devices=self._devices(controls) if "reading" in self.may else (),
            boxes=tuple(Box(key=b.box, number=b.number, pockets=b.pockets, emptied=b.emptied) for at, b in self.boxes if at == machine),
            controls=tuple(self._control(c, house) for c in controls) if self.may & {"setting change", "proof"} else (),
            sheets=_sheets(card) if card is not None else (),
            look_at=tuple(f"{f.says} {f.next_check}".strip() for f in card.look_at) if card is not None else (),
            out_of_service=card.out_of_service if card is not None else (),
        )  # fmt: skip

    def _devices(self, controls: Sequence[str]) -> tuple[Device, ...]:
        out = []
        for key, name in devices_of(self.laid, controls):
            meter = self.laid.meters.get(key)
            per_hour = meter.per_hour if meter else 0
            size = meter.rolls_over_at if meter else self.laid.counters[key].rolls_over_at
            out.append(Device(key=key, name=name, per_hour=per_hour, decimals=1 if per_hour == 10 else 0, rolls_over_at=size, guard=self.guards.get(key)))  # fmt: skip
        return tuple(out)

    def _control(self, key: str, house: HouseSettings) -> Control:
        laid, one = self.laid, self.laid.controls[key]
        sheet = laid.sheets[one.sheet]
        names = {i.key: i.name for i in sheet.inputs}
        inputs = tuple(
            Input(key=i.key, name=names.get(i.sheet_input, i.sheet_input), means=i.means, piece_minor=i.piece_minor)
            for i in laid.inputs.values()
            if i.control == key and i.means in ("coin", "token") and i.piece_minor
        )
        return Control(
            key=key, bank=one.bank, pockets=one.pockets, sheet=sheet.key, sheet_name=sheet.name, revision=sheet.revision,
            lines=self._lines(key, house) if "setting change" in self.may else (), inputs=inputs,
        )  # fmt: skip

    def _lines(self, key: str, house: HouseSettings) -> tuple[Line, ...]:
        """Settings to change first, in the order in which they are reached, then the others as they stand on the sheet."""
        held = self.held.get(key, {})
        try:
            wanted = to_sheet(self.laid, key, house) if house else {}
        except InputErrors:
            wanted = {}
        how = {s.setting: s.how for s in steps(self.laid, key, held, wanted)}
        by_key = {line.key: line for line in self.laid.sheets[self.laid.controls[key].sheet].settings}
        order = [*how, *(k for k in by_key if k not in how)]
        return tuple(self._line(by_key[k], key, held, wanted, how.get(k, "")) for k in order)

    def _line(self, line: SettingLine, control: str, held: Values, wanted: Values, how: str) -> Line:
        scale = scale_of(self.laid, control, held | wanted) if any(g.unit in SCALES for g in line.grids) else ""
        grid, now, to_set = grid_of(line, scale), held.get(line.key), wanted.get(line.key) if how else None
        unit, num, den = _typed(grid, self.laid.store.currency)

        def says(value: int | None) -> str:
            return "" if value is None else show(line, value, scale, self.laid.store.currency)

        return Line(
            key=line.key, name=line.name, found_at=line.found, how=how, unit=unit, num=num, den=den, lowest=grid.lowest,
            highest=grid.highest, increment=max(1, grid.increment), values=grid.values, zero_means=grid.zero_means,
            choices=line.choices, now=now, now_says=says(now), to_set=to_set, to_set_says=says(to_set), power=line.power,
            reached=line.reached,
        )  # fmt: skip


def _typed(grid: Grid, currency: str) -> tuple[str, int, int]:
    """The unit in which a figure is typed, and how it becomes the grid's own whole number (times num, by den)."""
    ticks, base = TICKS[grid.unit]
    if base == "minor":
        return currency, 10 ** MINOR_DIGITS[currency], ticks
    if base == "s" and grid.unit not in ("s", "h"):
        return "min", 60, ticks
    return {"s": "s", "h": "h"}.get(grid.unit, "" if base in ("choice", "count") else base), 1, 1


def _both(made: Callable[[Language], Sequence[str]]) -> tuple[Said, ...]:
    return tuple(Said(en=e, es=s) for e, s in zip(made("en"), made("es"), strict=True))


def _cautions(laid: Layout, controls: Sequence[str], power: str) -> tuple[Said, ...]:
    return _both(lambda language: cautions_for(laid, controls, power, language))


def _pair(english: Sequence[str], spanish: Sequence[str]) -> tuple[Said, ...]:
    return tuple(Said(en=e, es=s) for e, s in zip(english, spanish, strict=True))


def _sheets(card: RoundCard) -> tuple[Sheet, ...]:
    return tuple(_sheet(e, s) for e, s in zip(card.sheets, in_language(card, "es").sheets, strict=True))


def _sheet(en: CardSheet, es: CardSheet) -> Sheet:
    return Sheet(
        power=en.power, cautions=_pair(en.cautions, es.cautions), before=_pair(en.before, es.before),
        jobs=tuple(_job(a, b) for a, b in zip(en.lines, es.lines, strict=True)), after=_pair(en.after, es.after),
    )  # fmt: skip


def _job(en: CardLine, es: CardLine) -> Job:
    return Job(
        task=en.task, name=Said(en=en.name, es=es.name), places=en.pockets, why=en.why, minutes=en.minutes,
        who=Said(en=en.who, es=SPANISH.get(en.who, en.who)), steps=_pair(en.steps, es.steps), parts=_pair(en.parts, es.parts),
    )  # fmt: skip


def _room(card: RoundCard) -> Stop:
    """What is due in the room itself."""
    sheets = _sheets(card)
    return Stop(machine="", bank="", pockets=(), sheets=sheets, look_at=tuple(f.says for f in card.look_at))


def _bags(book: Book, store: str, when: datetime) -> tuple[Bag, ...]:
    return tuple(Bag(bag=b.bag, boxes=b.boxes, state=b.state) for b in bags_out(book, store, when))


def _days(book: Book, laid: Layout, when: datetime) -> tuple[Day, ...]:
    """Change days that are still open."""
    out = []
    for bank in laid.store.banks:
        try:
            day = change_day.status(book, laid.store.key, bank.key, when)
        except Missing:
            continue
        except DrybankError:  # a bank whose settings cannot be stated has its sentence on the office's pages
            continue
        if not day.is_ended:
            out.append(Day(
                id=day.day, bank=day.bank, is_rollback=day.is_rollback, states={c.control: c.state for c in day.controls},
                tests={t.input: t.verdict for t in day.coin_tests}, is_old_sign_down=day.is_old_sign_down,
                is_new_sign_up=day.is_new_sign_up, danger=day.danger,
            ))  # fmt: skip
    return tuple(out)
