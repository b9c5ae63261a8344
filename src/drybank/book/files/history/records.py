"""What a history file is turned into: a table, a mapping of its columns, drafts of entries, refused rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from hashlib import sha256
from typing import Literal

import msgspec

from drybank.records.entry import Entry, Plain
from drybank.records.ids import uuid7

Cell = str | int | float | bool | dt.datetime | dt.date | dt.time | dt.timedelta | None
DateOrder = Literal["", "day first", "month first", "year first"]
RoleKind = Literal[
    "ignore", "date", "time", "store", "pocket", "box", "device", "value", "reading", "pieces", "test", "money", "foreign",
    "bag", "note", "temperature",
]  # fmt: skip


class Row(msgspec.Struct, frozen=True):
    """One row as it stands in the file, with the number a spreadsheet shows beside it."""

    number: int
    cells: tuple[Cell, ...]


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """Rows of a file, and how it was read in words."""

    rows: tuple[Row, ...]
    says: tuple[str, ...] = ()


class Role(msgspec.Struct, frozen=True, kw_only=True):
    """What a column holds. ``what`` is a device or its name on the sheet; ``box`` the box of pieces or money."""

    kind: RoleKind
    what: str = ""
    piece_minor: int = 0
    box: str = ""


class HistoryMapping(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a history file is to be read. ``columns``: the heading of a column -> what it holds, in words."""

    columns: dict[str, str]
    """Heading of a column -> date, time, pocket, box, store, reading <device>, pieces <coin>, money, ... ."""
    dates: DateOrder = ""
    """Order of dates such as 03/04/2025; without it they are refused as ambiguous."""
    decimal: Literal["", ".", ","] = ""
    """Decimal mark; default: as the file's own unambiguous figures show."""
    time: str = "12:00"
    """Hour of the day, store's clock, where the file gives days only; default noon."""
    temperature: Literal["", "C", "F"] = ""
    """Scale of temperatures that do not say theirs."""
    sheet: str = ""
    """Name of the sheet in a workbook; default the first."""
    header: int = 0
    """Number of the row with the headings; default: found by its words."""
    fill_down: bool = False
    """A blank date stands for the one above it; default false: refused."""
    collections: bool = True
    """A count of a box also enters that the box was emptied; default true."""


class Draft(msgspec.Struct, frozen=True, kw_only=True):
    """An entry still to be made: no id, no writer, no clock. ``happened`` is UTC."""

    row: int
    happened: dt.datetime
    body: Plain


class RefusedRow(msgspec.Struct, frozen=True, kw_only=True):
    """A row that cannot be entered, and every reason why."""

    row: int
    reasons: tuple[str, ...]
    cells: tuple[str, ...] = ()


class HistoryRead(msgspec.Struct, frozen=True, kw_only=True):
    """What a file would enter, what it would not and why, and the mapping it was read by."""

    drafts: tuple[Draft, ...]
    refused: tuple[RefusedRow, ...]
    skipped: tuple[RefusedRow, ...]
    notes: tuple[str, ...]
    mapping: HistoryMapping
    columns: tuple[tuple[str, str], ...]
    """Every heading in the file's order, and what it was taken for."""


def content_id(store: str) -> Callable[[Draft], str]:
    """Ids that come from what a draft says and when it happened, so that the same row entered twice is stored once."""

    def id_of(draft: Draft) -> str:
        said = msgspec.json.encode((store, draft.happened, draft.body))
        since = draft.happened - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
        return uuid7(since // dt.timedelta(milliseconds=1), sha256(said).digest()[:10])

    return id_of


def entries_from(
    drafts: Iterable[Draft], *, store: str, by: str, origin: str, id_for: Callable[[Draft], str]
) -> tuple[Entry, ...]:
    """Entries of drafts, in their order. ``id_for`` gives each its id; ``origin`` gets the row's number after it."""
    return tuple(
        Entry(id=id_for(d), store=store, happened=d.happened, by=by, origin=f"{origin} row {d.row}"[:200], body=d.body)
        for d in drafts
    )
