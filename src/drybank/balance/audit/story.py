"""The story that entries tell, as the balance needs it: readings, boxes emptied, counts, what was set when.

Corrections are folded in here for entries that come as they were written; a book that has folded them
already hands over the same lines and nothing changes. Moments are days since 1970 in universal time.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from drybank.records.balance import Told
from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Corrected,
    HouseUsed,
    OfferMade,
    OutcomeFound,
    PaidOut,
    PartReplaced,
    PiecesCounted,
    PlanAdopted,
    PutOut,
    ReadingTaken,
    SettingChanged,
)
from drybank.records.sheet import HouseSettings

ROUND_DAYS = 2.0  # boxes emptied into one bag within this are one collection


def moment(when: datetime) -> float:
    """Days since 1970."""
    return when.timestamp() / 86_400.0


@dataclass(frozen=True)
class Line:
    """One effective entry."""

    id: str
    happened: datetime
    at: float
    body: AnyBody


@dataclass(frozen=True)
class Shown:
    """What a device showed at a moment, in its own steps."""

    at: float
    value: int
    entry: str


@dataclass(frozen=True)
class Swapped:
    """A device exchanged: last of the old, first of the new, None where not written down."""

    at: float
    devices: str  # a device, a control or a pocket: every device whose key begins with it
    last: dict[str, int | None]
    first: dict[str, int | None]


@dataclass(frozen=True)
class Emptied:
    at: float
    boxes: frozenset[str]
    bag: str
    entry: str


@dataclass(frozen=True)
class Counted:
    """One count: pieces by value, or a value only. ``emptied`` are the entries it counts."""

    at: float
    boxes: frozenset[str]
    pieces: dict[int, int]
    minor: float  # NaN where it was weighed and never turned into pieces
    method: str
    foreign: int
    entry: str = ""


@dataclass(frozen=True)
class Set:
    """What a control held from a moment on, setting key -> value; ``bank`` for a plan of house settings."""

    at: float
    control: str
    values: dict[str, int]
    bank: str = ""
    house: HouseSettings = ()
    is_as_found: bool = False


@dataclass
class Story:
    """Everything of one store that the balance reads, each list in order of time."""

    shown: dict[str, list[Shown]] = field(default_factory=dict)
    swapped: list[Swapped] = field(default_factory=list)
    emptied: list[Emptied] = field(default_factory=list)
    counted: list[Counted] = field(default_factory=list)
    set: list[Set] = field(default_factory=list)
    offers: list[OfferMade] = field(default_factory=list)
    house_use: list[tuple[float, HouseUsed]] = field(default_factory=list)
    out: list[tuple[float, PutOut]] = field(default_factory=list)
    paid: list[PaidOut] = field(default_factory=list)
    outcomes: list[OutcomeFound] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)


def effective(entries: Iterable[Told]) -> list[Line]:
    """Entries with corrections folded in, in order of what happened; ties keep the order given."""
    out: dict[str, Line] = {}
    root: dict[str, str] = {}
    for entry in entries:
        body = entry.body
        if not isinstance(body, Corrected):
            out[entry.id] = Line(entry.id, entry.happened, moment(entry.happened), body)
            continue
        target = root.get(body.corrects, body.corrects)
        root[entry.id] = target
        old = out.pop(target, None)
        if body.instead is not None:
            happened = body.happened_instead or (old.happened if old else entry.happened)
            out[target] = Line(target, happened, moment(happened), body.instead)
    return sorted(out.values(), key=lambda line: line.at)


def tell(entries: Iterable[Told], time_zone: str, *, from_day: float = -math.inf) -> Story:
    """Sort the entries of one store into a story.

    Readings, boxes and counts before ``from_day`` are left out; settings, statements and outcomes never.
    """
    story = Story()
    counts: list[tuple[Line, PiecesCounted]] = []
    emptied_lines: list[tuple[Line, BoxesEmptied]] = []
    zone = ZoneInfo(time_zone)
    for line in effective(entries):
        body = line.body
        is_old = line.at < from_day
        match body:
            case ReadingTaken() | BoxesEmptied() | PiecesCounted() if is_old:
                continue
            case ReadingTaken():
                for v in body.values:
                    if v.shown is not None:
                        story.shown.setdefault(v.device, []).append(Shown(line.at, v.shown, line.id))
            case BoxesEmptied():
                emptied_lines.append((line, body))
            case PiecesCounted():
                counts.append((line, body))
            case _:
                _rest(story, line, body, zone)
    story.emptied = [Emptied(ln.at, frozenset(b.boxes), b.bag, ln.id) for ln, b in emptied_lines]
    where = _Where(story.emptied)
    for ln, count in counts:
        _attach(story, where, ln, count)
    story.counted.sort(key=lambda c: c.at)
    story.set.sort(key=lambda s: s.at)
    return story


def _rest(story: Story, line: Line, body: AnyBody, zone: ZoneInfo) -> None:
    match body:
        case PartReplaced():
            last = {v.device: v.shown for v in body.last}
            story.swapped.append(Swapped(line.at, body.at, last, {v.device: v.shown for v in body.first}))
        case SettingChanged() if body.control:
            for half, is_as_found in ((body.found, True), (body.left, False)):
                values = {s.setting: s.value for s in half if s.value is not None}
                if values:
                    at = line.at - 1e-6 if is_as_found else line.at
                    story.set.append(Set(at, body.control, values, is_as_found=is_as_found))
        case PlanAdopted():
            start = moment(datetime.combine(date.fromisoformat(body.from_date), time(), zone))
            story.set.append(Set(start, "", {}, bank=body.bank, house=body.values))
        case OfferMade():
            story.offers.append(body)
        case HouseUsed():
            story.house_use.append((line.at, body))
        case PutOut():
            story.out.append((line.at, body))
        case PaidOut():
            story.paid.append(body)
        case OutcomeFound():
            story.outcomes.append(body)
        case _:
            pass


def _attach(story: Story, where: _Where, line: Line, count: PiecesCounted) -> None:
    """Date a count by the emptying it counts: by its collection, its bag, or the last of its boxes."""
    found = where.find(line.at, count)
    boxes = frozenset(count.boxes) or (found.boxes if found else frozenset())
    if not boxes:
        story.orphans.append(line.id)
        return
    pieces: dict[int, int] = {}
    foreign = count.foreign
    for p in count.pieces:
        if p.piece_minor == 0:
            foreign += p.count
        else:
            pieces[p.piece_minor] = pieces.get(p.piece_minor, 0) + p.count
    minor = float(count.minor) if count.minor is not None else float(sum(v * n for v, n in pieces.items()))
    if count.minor is None and not count.pieces and count.weight_g is not None:
        minor = float("nan")
    at = found.at if found else line.at
    story.counted.append(Counted(at, boxes, pieces, minor, count.method, foreign, line.id))


class _Where:
    """Finds the emptying that a count counts."""

    def __init__(self, emptied: list[Emptied]) -> None:
        self.by_entry = {e.entry: e for e in emptied}
        self.by_bag: dict[str, list[Emptied]] = {}
        self.by_box: dict[str, list[Emptied]] = {}
        for e in emptied:
            if e.bag:
                self.by_bag.setdefault(e.bag, []).append(e)
            for box in e.boxes:
                self.by_box.setdefault(box, []).append(e)

    def find(self, at: float, count: PiecesCounted) -> Emptied | None:
        """By the collection named, else the last of its bag, else the last that emptied all its boxes."""
        if count.collection:
            return self.by_entry.get(count.collection)
        wanted = frozenset(count.boxes)
        if count.bag:
            return self._together(self._last(self.by_bag.get(count.bag, []), at), count.bag)
        for box in count.boxes[:1]:
            for e in reversed(self.by_box.get(box, [])):
                if e.at <= at + 1e-9 and wanted <= e.boxes:
                    return e
        return None

    @staticmethod
    def _last(events: list[Emptied], at: float) -> Emptied | None:
        before = [e for e in events[-400:] if e.at <= at + 1e-9]
        return before[-1] if before else None

    def _together(self, last: Emptied | None, bag: str) -> Emptied | None:
        """All boxes that went into one bag at one round, dated by the last of them."""
        if last is None:
            return None
        near = [e for e in self.by_bag[bag] if 0 <= last.at - e.at < ROUND_DAYS]
        return Emptied(last.at, frozenset().union(*(e.boxes for e in near)), bag, last.entry)
