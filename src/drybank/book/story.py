"""The story of a store: pure folds over its chain.

`tell` folds corrections in; the other functions answer what stood at a moment. A from-date begins at midnight in the
store's own time zone. Nothing here looks at when an entry was booked: a correction made in June changes what Drybank says
of May, and `Told.corrected_by` says that it did.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Protocol, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from drybank.records.entry import (
    AnyBody,
    Body,
    Booked,
    CheckWaived,
    Corrected,
    Entry,
    PartReplaced,
    PlanAdopted,
    SettingChanged,
    SettingValue,
    SheetDated,
    SheetReadBack,
    StoreDated,
    Version,
)
from drybank.records.errors import Missing
from drybank.records.sheet import ControlSheet, HouseSettings, Values
from drybank.records.store import Store

B = TypeVar("B", bound=Body)


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """An entry as it stands today: ``entry`` with every correction folded in, under the id it was first written with.

    ``versions`` is empty for an entry that was never corrected; otherwise everything it ever said, oldest first.
    """

    entry: Entry
    seq: int
    booked: datetime
    corrected_by: str = ""
    original: Entry | None = None
    is_taken_back: bool = False
    versions: tuple[Version, ...] = ()

    @property
    def id(self) -> str:
        return self.entry.id

    @property
    def kind(self) -> str:
        return self.entry.kind

    @property
    def body(self) -> AnyBody:
        return self.entry.body

    @property
    def happened(self) -> datetime:
        return self.entry.happened

    @property
    def by(self) -> str:
        return self.entry.by


class Placed(Protocol):
    """What folds of a moment look at: an entry's body and its place; a `Told`, or a row of a store's columns."""

    @property
    def body(self) -> AnyBody: ...
    @property
    def seq(self) -> int: ...


P = TypeVar("P", bound=Placed)


class ReadBack(msgspec.Struct, frozen=True, kw_only=True):
    """One time that a sheet's word was checked at a machine."""

    control: str
    revision: str
    by: str
    when: datetime
    agreed: tuple[str, ...]
    differed: tuple[str, ...]


class SheetState(msgspec.Struct, frozen=True, kw_only=True):
    """How far a sheet can be trusted in a store: typed in by somebody, or read back at which control by whom, when."""

    sheet: str
    revision: str
    typed_by: str
    typed: datetime
    read_back: tuple[ReadBack, ...] = ()

    @property
    def is_read_back(self) -> bool:
        """This revision was read back at a machine at least once, and the last time nothing differed."""
        here = [r for r in self.read_back if r.revision == self.revision]
        return bool(here) and not here[-1].differed

    def sentence(self) -> str:
        head = f"Sheet “{self.sheet}” revision {self.revision}: typed in by {self.typed_by} on {self.typed:%Y-%m-%d}"
        if not self.read_back:
            return f"{head}, not read back at any machine yet."
        last = self.read_back[-1]
        differed = f"; {len(last.differed)} settings differed" if last.differed else ""
        return (
            f"{head}, read back at {last.control} by {last.by} on {last.when:%Y-%m-%d} "
            f"(revision {last.revision}{differed})."
        )


def tell(
    chain: Iterable[Booked],
    *,
    kinds: Sequence[str] = (),
    since: datetime | None = None,
    until: datetime | None = None,
    with_taken_back: bool = False,
) -> list[Told]:
    """The story: corrections folded in, by happened and then by place in the chain.

    A later correction corrects the same entry again, so the last one counts. ``since`` is included, ``until`` is not; both
    are held against the corrected moment.
    """
    told: dict[str, Told] = {}
    for booked in chain:
        told[booked.entry.id] = Told(entry=booked.entry, seq=booked.seq, booked=booked.booked)
        body = booked.entry.body
        if isinstance(body, Corrected) and body.corrects in told:
            told[body.corrects] = _corrected(told[body.corrects], booked, body)
    chosen = [
        t for t in told.values() if _is_asked(t, kinds, since, until) and (with_taken_back or not t.is_taken_back)
    ]
    chosen.sort(key=lambda t: (t.entry.happened, t.seq))
    return chosen


def _is_asked(told: Told, kinds: Sequence[str], since: datetime | None, until: datetime | None) -> bool:
    if told.kind not in kinds if kinds else told.kind == "correction":
        return False
    return not ((since is not None and told.happened < since) or (until is not None and told.happened >= until))


def _corrected(told: Told, by: Booked, body: Corrected) -> Told:
    original = told.original or told.entry
    before = told.versions or (Version(booked=told.booked, happened=original.happened, body=original.body),)
    instead = body.instead if body.instead is not None else original.body
    happened = body.happened_instead or original.happened
    return msgspec.structs.replace(
        told,
        entry=msgspec.structs.replace(original, body=instead, happened=happened),
        corrected_by=by.entry.id, original=original, is_taken_back=body.instead is None,
        versions=(*before, Version(booked=by.booked, happened=happened, body=body.instead)),
    )  # fmt: skip


def day_start(day: str | date, zone: str) -> datetime:
    """Midnight at which a day begins in a time zone, in UTC."""
    on = date.fromisoformat(day) if isinstance(day, str) else day
    return datetime.combine(on, time(), tzinfo=_zone(zone)).astimezone(UTC)


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as bad:
        raise Missing(f"No time zone “{name}” is known here. Write it like America/Toronto.") from bad


def moment_of(when: datetime | date, zone: str) -> datetime:
    """A moment; a date means the end of that day in the zone."""
    if isinstance(when, datetime):
        return when.astimezone(UTC)
    return day_start(when + timedelta(days=1), zone) - timedelta(microseconds=1)


def _bodies(story: Iterable[P], cls: type[B]) -> list[tuple[P, B]]:
    return [(t, t.body) for t in story if isinstance(t.body, cls)]


def store_at(story: Iterable[Placed], when: datetime | date) -> Store:
    """The store as its file of that day said: the latest from-date not after ``when``; of two, the later booked."""
    dated = [(t.seq, body) for t, body in _bodies(story, StoreDated)]
    if not dated:
        raise Missing("The book holds no description of this store.")
    begun = [
        (day_start(body.from_date, body.store.time_zone), seq, body.store)
        for seq, body in dated
        if day_start(body.from_date, body.store.time_zone) <= moment_of(when, body.store.time_zone)
    ]
    if not begun:
        first = min(dated, key=lambda pair: pair[1].from_date)[1]
        raise Missing(
            f"Store “{first.store.key}” is described from {first.from_date} on; nothing is known of {when:%Y-%m-%d}. "
            "If it stood before, load its file with an earlier from-date."
        )
    return max(begun, key=lambda row: row[:2])[2]


def sheets_at(story: Iterable[Placed], when: datetime, zone: str) -> dict[str, ControlSheet]:
    """Every sheet of the store as it stood, by key."""
    found: dict[str, tuple[datetime, int, ControlSheet]] = {}
    for told, body in _bodies(story, SheetDated):
        row = (day_start(body.from_date, zone), told.seq, body.sheet)
        if row[0] <= when and (body.sheet.key not in found or found[body.sheet.key][:2] < row[:2]):
            found[body.sheet.key] = row
    return {key: row[2] for key, row in sorted(found.items())}


def house_at(story: Iterable[Told], bank: str, when: datetime, zone: str) -> HouseSettings:
    """What the bank should be set to: the adopted plan of the latest from-date, less those undone by then.

    A plan that only undoes another and brings no values of its own lets the one before count again.
    """
    begun = [
        (day_start(body.from_date, zone), t.seq, t.id, body)
        for t, body in _bodies(story, PlanAdopted)
        if body.bank == bank and day_start(body.from_date, zone) <= when
    ]
    undone = {body.undoes for *_, body in begun if body.undoes}
    standing = [row for row in begun if row[2] not in undone and (row[3].values or not row[3].undoes)]
    return max(standing, key=lambda row: row[:2])[3].values if standing else ()


def settings_at(story: Iterable[Told], when: datetime) -> dict[str, Values]:
    """What each control held, as far as anybody wrote down: as left, over as found, over what stood before.

    A board replaced clears what was known of its control. A value that could not be read is not known, and is left out.
    """
    held: dict[str, Values] = {}
    for told in story:
        if told.happened > when:
            break
        body = told.entry.body
        if isinstance(body, SettingChanged) and body.control:
            values = held.setdefault(body.control, {})
            _lay(values, body.found)
            _lay(values, body.left)
        elif isinstance(body, PartReplaced) and body.part == "board":
            held[body.at] = {}
    return {control: values for control, values in held.items() if values}


def _lay(values: Values, over: Iterable[SettingValue]) -> None:
    for each in over:
        if each.value is None:
            values.pop(each.setting, None)
        else:
            values[each.setting] = each.value


def sheet_state(story: Iterable[Told], sheet: str, when: datetime, zone: str) -> SheetState:
    """Typed in, or read back at which control by whom, when."""
    told = list(story)
    typed = [
        (day_start(body.from_date, zone), t.seq, t, body.sheet)
        for t, body in _bodies(told, SheetDated)
        if body.sheet.key == sheet and day_start(body.from_date, zone) <= when
    ]
    if not typed:
        raise Missing(f"No sheet “{sheet}” was in this store's book by {when:%Y-%m-%d}. Load its file first.")
    _, _, last, held = max(typed, key=lambda row: row[:2])
    read = tuple(
        ReadBack(
            control=body.control, revision=body.revision, by=t.by, when=t.happened,
            agreed=body.agreed, differed=body.differed,
        )
        for t, body in _bodies(told, SheetReadBack)
        if body.sheet == sheet and t.happened <= when
    )  # fmt: skip
    return SheetState(sheet=sheet, revision=held.revision, typed_by=last.by, typed=last.happened, read_back=read)


def waivers_at(story: Iterable[Told], when: datetime) -> dict[tuple[str, str], Told]:
    """Checks waived by then, by bank and check; the last waiver of each counts."""
    return {(body.bank, body.check): t for t, body in _bodies(story, CheckWaived) if t.happened <= when}
