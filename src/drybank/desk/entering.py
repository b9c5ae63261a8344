"""A history brought in: what would be entered, what is refused and why; then all of it or nothing."""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import msgspec

from drybank.book.files.history import HistoryRead, content_id, entries_from, read_history, read_mapping, write_mapping
from drybank.desk.ask_again import AskAgain, ask_again
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.records.entry import Entry
from drybank.records.errors import InputError, InputErrors

if TYPE_CHECKING:
    from drybank.book import Book

KINDS = ("reading", "collection", "count", "note")


class Kind(msgspec.Struct, frozen=True, kw_only=True):
    kind: str
    number: int


class EnterLook(msgspec.Struct, frozen=True, kw_only=True):
    """What a file would enter: by kind, from when to when, what is in the book already, what is refused.

    ``again`` are readings that are unlikely: to be read once more, or checked on the sheet they were typed from. They are
    entered as they stand, never changed.
    """

    file: str
    store: str
    read: HistoryRead
    kinds: tuple[Kind, ...]
    first: str
    last: str
    already: int
    again: tuple[AskAgain, ...] = ()
    is_entered: bool = False
    entries: int = 0


class _Ready(msgspec.Struct):
    look: EnterLook
    fresh: tuple[Entry, ...]


def _ready(book: Book, store: str, file: tuple[str, bytes], pen: Pen, mapping: tuple[str, bytes] | None) -> _Ready:
    name, content = file
    laid = layout_at(book, store, pen.clock())
    said = read_mapping(mapping[1], mapping[0]) if mapping else None
    read = read_history(content, name, said, laid, not_after=pen.clock())
    origin = f"file {name} {sha256(content).hexdigest()[:12]}"
    entries = entries_from(read.drafts, store=store, by=pen.by, origin=origin, id_for=content_id(store))
    known = {t.original.id if t.original else t.id for t in book.story(store, kinds=KINDS, with_taken_back=True)}
    fresh = tuple(e for e in entries if e.id not in known)
    counts: dict[str, int] = {}
    for entry in fresh:
        counts[entry.kind] = counts.get(entry.kind, 0) + 1
    zone = ZoneInfo(laid.store.time_zone)
    days = sorted(e.happened.astimezone(zone) for e in fresh)
    look = EnterLook(
        file=name, store=store, read=read, kinds=tuple(Kind(kind=k, number=n) for k, n in sorted(counts.items())),
        first=f"{days[0]:%Y-%m-%d}" if days else "", last=f"{days[-1]:%Y-%m-%d}" if days else "", already=len(entries) - len(fresh),
        again=tuple(ask_again(book, store, fresh)),
    )  # fmt: skip
    return _Ready(look, fresh)


def look(
    book: Book, store: str, file: tuple[str, bytes], pen: Pen, *, mapping: tuple[str, bytes] | None = None
) -> EnterLook:
    """What a file (name, bytes) would enter; nothing is."""
    return _ready(book, store, file, pen, mapping).look


def enter(
    book: Book,
    store: str,
    file: tuple[str, bytes],
    pen: Pen,
    *,
    mapping: tuple[str, bytes] | None = None,
    without_refused: bool = False,
) -> EnterLook:
    """Enter a file: every row or none. With ``without_refused`` the rows that cannot be entered are left out knowingly."""
    ready = _ready(book, store, file, pen, mapping)
    refused = ready.look.read.refused
    if refused and not without_refused:
        raise InputErrors(
            [InputError(" ".join(r.reasons), where=f"{file[0]} row {r.row}") for r in refused]
            + [
                InputError(
                    "Nothing was entered.", mend="Mend these rows, or leave them out knowingly: --without-refused."
                )
            ]
        )
    booked = book.append(ready.fresh) if ready.fresh else []
    return msgspec.structs.replace(ready.look, is_entered=True, entries=len(booked))


def mapping_text(read: HistoryRead) -> str:
    """The mapping that was taken, as a file to keep and change."""
    return write_mapping(read.mapping)
