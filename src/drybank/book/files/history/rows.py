"""Rows of a history into drafts of entries; what cannot be entered is refused with its row and every reason."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from decimal import Decimal

import msgspec

from drybank.book.files import amounts
from drybank.book.files.history import cells as cell_of
from drybank.book.files.history.cells import Mark
from drybank.book.files.history.mapping import boxes_of, device_of
from drybank.book.files.history.records import Cell, Draft, HistoryMapping, Role, Row
from drybank.book.files.text import shown
from drybank.records.entry import (
    BoxesEmptied,
    DeviceValue,
    Noted,
    Pieces,
    PiecesCounted,
    Plain,
    ReadingTaken,
)
from drybank.records.errors import InputError
from drybank.records.layout import Layout, Meter

PIECES_AT_MOST = 1_000_000
_TOTALS = re.compile(
    r"(?:sub|grand)?[ -]?totals?\b.*|sums?\b.*|total(?:es|e)?\b.*|summe\b.*|somme\b.*|suma\b.*|gesamt.*|Σ.*|average\b.*|avg\b.*|mean\b.*",
    re.IGNORECASE,
)


class Column(msgspec.Struct, frozen=True):
    """A column that is used: its place in the row, heading and role."""

    index: int
    head: str
    role: Role


class Seen(msgspec.Struct, frozen=True, kw_only=True):
    """What one good row holds: when, of what place, and the bodies it makes."""

    row: Row
    happened: dt.datetime
    place: str
    bodies: tuple[Plain, ...]


class RowReader:
    """Reads rows of one file by its columns. Every reason against a row is gathered in ``reasons``."""

    def __init__(self, layout: Layout, mapping: HistoryMapping, columns: tuple[Column, ...], mark: Mark) -> None:
        self.layout, self.mapping, self.columns, self.mark = layout, mapping, columns, mark
        self.zone = cell_of.zone_of(layout.store.time_zone)
        self.noon = cell_of.clock(mapping.time)
        self.reasons: list[str] = []
        self.last_day: Cell = None
        self.has_time_column = any(c.role.kind == "time" for c in columns)
        self.is_time_assumed = False

    def is_blank(self, row: Row) -> bool:
        return all(c is None for c in row.cells)

    def is_total(self, row: Row) -> bool:
        """A row whose first text says that it adds others up."""
        first = next((c for c in row.cells if c is not None), None)
        return isinstance(first, str) and bool(_TOTALS.fullmatch(first[:60].strip().rstrip(":")))

    def read(self, row: Row) -> Seen | None:
        """What the row holds; None with ``reasons`` where it cannot be entered."""
        self.reasons = []
        happened = self._when(row)
        self._same_store(row)
        place = self._place(row)
        readings = self._readings(row, place)
        tests = self._pieces(row, "test")
        counts = list(self._counts(row, place))
        notes = list(self._notes(row, place))
        bodies: list[Plain] = []
        if readings:
            bodies.append(ReadingTaken(values=tuple(readings), test_pieces=tuple(tests.get("", ()))))
        for count in counts:
            if self.mapping.collections:
                bodies.append(
                    BoxesEmptied(boxes=count.boxes, bag=count.bag, is_after_reading=True if readings else None)
                )
            bodies.append(count)
        bodies += notes
        if not bodies and not self.reasons:
            self.reasons.append("It holds neither a reading nor a count.")
        if self.reasons or happened is None:
            return None
        return Seen(row=row, happened=happened, place=place, bodies=tuple(bodies))

    # one cell

    def _cells(self, row: Row, *kinds: str) -> Iterator[tuple[Column, Cell]]:
        for column in self.columns:
            if column.role.kind in kinds:
                cell = row.cells[column.index] if column.index < len(row.cells) else None
                if cell is not None:
                    yield column, cell

    def _refuse(self, column: Column, cell: Cell, bad: InputError) -> None:
        allowed = f" Allowed: {bad.allowed}." if bad.allowed else ""
        mend = f" {bad.mend}" if bad.mend else ""
        self.reasons.append(f"“{shown(column.head, 40)}” is “{cell_of.as_shown(cell)}”: {bad.what}{allowed}{mend}")

    # when and where

    def _when(self, row: Row) -> dt.datetime | None:
        found = next(self._cells(row, "date"), None)
        if found is None and self.mapping.fill_down and self.last_day is not None:
            found = (next(c for c in self.columns if c.role.kind == "date"), self.last_day)
        if found is None:
            self.reasons.append("It has no date. Say fill_down = true if a blank date means the one above.")
            return None
        self.last_day = found[1]
        try:
            day, time, zone = cell_of.day_and_time(found[1], self.mapping.dates)
        except InputError as bad:
            self._refuse(*found, bad)
            return None
        for column, cell in self._cells(row, "time"):
            try:
                time = cell_of.clock(cell)
            except InputError as bad:
                self._refuse(column, cell, bad)
        self.is_time_assumed = time is None
        return cell_of.in_utc(day, time or self.noon, zone or self.zone)

    def _same_store(self, row: Row) -> None:
        store = self.layout.store
        for _, cell in self._cells(row, "store"):
            said = cell_of.as_shown(cell).casefold()
            if said not in (store.key.casefold(), store.name.casefold()):
                self.reasons.append(f"It is of “{cell_of.as_shown(cell)}”, another store than {store.name}.")

    def _place(self, row: Row) -> str:
        for column, cell in self._cells(row, "pocket"):
            key = _key_in(cell, [*self.layout.pockets, *self.layout.controls])
            if not key:
                self.reasons.append(
                    f"“{shown(column.head, 40)}” is “{cell_of.as_shown(cell)}”: {self.layout.store.name} has no such pocket."
                )
            return key
        return ""

    # readings

    def _readings(self, row: Row, place: str) -> list[DeviceValue]:
        out: list[DeviceValue] = []
        for column, cell in self._cells(row, "reading"):
            device = column.role.what if "." in column.role.what else self._device(column, place)
            self._reading(out, column, cell, device)
        named = next(self._cells(row, "device"), None)
        for column, cell in self._cells(row, "value"):
            device = self._named_device(named, place)
            self._reading(out, column, cell, device)
        twice = {v.device for v in out if sum(o.device == v.device for o in out) > 1}
        self.reasons += [f"{device} is given twice in the row." for device in sorted(twice)]
        return out

    def _device(self, column: Column, place: str) -> str:
        if not place:
            return ""
        found = device_of(place, column.role.what, self.layout)
        if not found:
            self.reasons.append(f"“{shown(column.head, 40)}”: pocket {place} has no single “{column.role.what}”. Map the column "
                                f"to one of {', '.join(devices_at(place, self.layout)) or 'none'}.")  # fmt: skip
        return found

    def _named_device(self, named: tuple[Column, Cell] | None, place: str) -> str:
        if named is None:
            self.reasons.append("It names no meter or counter for its value.")
            return ""
        text = cell_of.as_shown(named[1])
        if text in self.layout.meters or text in self.layout.counters:
            return text
        found = device_of(place, text, self.layout) if place else ""
        if not found:
            self.reasons.append(
                f"{self.layout.store.name} has no meter or counter “{text}”{f' at {place}' if place else ''}."
            )
        return found

    def _reading(self, out: list[DeviceValue], column: Column, cell: Cell, device: str) -> None:
        if not device:
            return
        try:
            out.append(DeviceValue(device=device, shown=self._steps(cell, device)))
        except InputError as bad:
            self._refuse(column, cell, bad)

    def _steps(self, cell: Cell, device: str) -> int:
        """A reading in the device's own steps."""
        value = cell_of.not_negative(cell_of.number(cell, self.mark))
        meter = self.layout.meters.get(device)
        rolls = meter.rolls_over_at if meter else self.layout.counters[device].rolls_over_at
        steps = value * meter.per_hour if meter else value
        near = round(steps)
        if abs(steps - near) > Decimal("0.000001"):
            raise InputError(f"{device} shows {_steps_said(meter)}, nothing finer.")
        if near >= rolls:
            raise InputError(f"{device} starts again at {_shown_hours(rolls, meter)}; it cannot show more.")
        return int(near)

    # pieces and money

    def _pieces(self, row: Row, kind: str) -> dict[str, list[Pieces]]:
        """Pieces by the box the column names ("": the row's own)."""
        out: dict[str, list[Pieces]] = {}
        for column, cell in self._cells(row, kind):
            try:
                count = cell_of.whole(cell, self.mark)
                if count > PIECES_AT_MOST:
                    raise InputError("no box holds so many pieces.", allowed=f"0 to {PIECES_AT_MOST:,}")
            except InputError as bad:
                self._refuse(column, cell, bad)
                continue
            out.setdefault(column.role.box, []).append(Pieces(piece_minor=column.role.piece_minor, count=count))
        return out

    def _money(self, row: Row) -> dict[str, int]:
        out: dict[str, int] = {}
        digits = 10 ** len(amounts.spoken_money(0, self.layout.store.currency).partition(".")[2])
        for column, cell in self._cells(row, "money"):
            try:
                cell_of.in_currency(cell, self.layout.store.currency)
                minor = cell_of.not_negative(cell_of.number(cell, self.mark)) * digits
                if abs(minor - round(minor)) > Decimal("0.000001"):
                    raise InputError(f"{self.layout.store.currency} has no smaller coin.")
                if minor > PIECES_AT_MOST * max(self.layout.store.coins, default=100):
                    raise InputError("no box holds so much money.")
            except InputError as bad:
                self._refuse(column, cell, bad)
                continue
            out[column.role.box] = out.get(column.role.box, 0) + round(minor)
        return out

    def _counts(self, row: Row, place: str) -> Iterator[PiecesCounted]:
        pieces, money = self._pieces(row, "pieces"), self._money(row)
        foreign = self._foreign(row)
        bag = next((cell_of.as_shown(c)[:80] for _, c in self._cells(row, "bag")), "")
        for key in dict.fromkeys((*pieces, *money)):
            boxes = (key,) if key else self._own_boxes(row, place)
            if not boxes:
                continue
            minor = money.get(key)
            by_coin = tuple(p for p in pieces.get(key, ()) if p.count)
            added = sum(p.piece_minor * p.count for p in pieces.get(key, ()))
            if minor is not None and key in pieces and minor != added:
                currency = self.layout.store.currency
                self.reasons.append(
                    f"The pieces add to {amounts.spoken_money(added, currency)} {currency}, "
                    f"the row says {amounts.spoken_money(minor, currency)} {currency}."
                )
            only = 0 if key in pieces and not by_coin else minor
            yield PiecesCounted(boxes=boxes, bag=bag, pieces=by_coin, minor=None if by_coin else only, foreign=foreign)

    def _foreign(self, row: Row) -> int:
        for column, cell in self._cells(row, "foreign"):
            try:
                return min(cell_of.whole(cell, self.mark), PIECES_AT_MOST)
            except InputError as bad:
                self._refuse(column, cell, bad)
        return 0

    def _own_boxes(self, row: Row, place: str) -> tuple[str, ...]:
        for column, cell in self._cells(row, "box"):
            key = _key_in(cell, list(self.layout.boxes))
            if not key:
                what = f"{self.layout.store.name} has no such coin box."
                self.reasons.append(f"“{shown(column.head, 40)}” is “{cell_of.as_shown(cell)}”: {what}")
            return (key,) if key else ()
        boxes = boxes_of(place, self.layout) if place else []
        if len(boxes) == 1:
            return (boxes[0],)
        if place or not any(c.role.kind == "pocket" for c in self.columns):
            self.reasons.append("It does not say which coin box was counted.")
        return ()

    # notes

    def _notes(self, row: Row, place: str) -> Iterator[Noted]:
        for column, cell in self._cells(row, "temperature"):
            said = re.search(r"°?\s*\b([CF])\b\)?$", column.head.strip())
            try:
                value, scale = cell_of.temperature(
                    cell, self.mapping.temperature or (said[1] if said else ""), self.mark
                )
            except InputError as bad:
                self._refuse(column, cell, bad)
                continue
            yield Noted(at=place, says=f"{shown(column.head, 40)}: {value:f} °{scale}, as written in the history.")
        for column, cell in self._cells(row, "note"):
            yield Noted(at=place, says=f"{shown(column.head, 40)}: {shown(cell_of.as_shown(cell), 400)}")


def devices_at(place: str, layout: Layout) -> list[str]:
    controls = {c.key for c in layout.controls.values() if place in c.pockets or place == c.key}
    return [m.key for m in layout.meters.values() if m.pocket == place] + [
        c.key for c in layout.counters.values() if c.control in controls
    ]


def _key_in(cell: Cell, keys: list[str]) -> str:
    """The key that a cell means: as written, without case, its last word ("21" for box 21), or its only number ("Dryer 7")."""
    text = cell_of.as_shown(cell).strip()
    if text in keys:
        return text
    folded = {k.casefold(): k for k in keys}
    if text.casefold() in folded:
        return folded[text.casefold()]
    ends = [k for k in keys if k.casefold().endswith(f" {text.casefold()}")]
    if len(ends) == 1:
        return ends[0]
    digits = re.fullmatch(r"\D{0,20}?(\d{1,6})", text)
    return digits[1].lstrip("0") if digits and digits[1].lstrip("0") in keys else ""


def _steps_said(meter: Meter | None) -> str:
    if meter is None:
        return "whole pieces"
    return {1: "whole hours", 10: "tenths of an hour"}.get(meter.per_hour, "minutes")


def _shown_hours(steps: int, meter: Meter | None) -> str:
    return f"{steps / meter.per_hour:,g} h" if meter else f"{steps:,}"


def drafts_of(seen: Seen) -> tuple[Draft, ...]:
    return tuple(Draft(row=seen.row.number, happened=seen.happened, body=b) for b in seen.bodies)
