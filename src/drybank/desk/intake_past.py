"""What the book says of a store so far, kept between sendings and brought up to date from the end of its chain.

Fifty phones that send at once ask the same questions of the same past; reading years of entries for each of them would
take longer than booking what they send. What is kept here is a fold over the chain and never the truth: it is thrown away
where the chain does not continue what was read, and at every correction.
"""

from __future__ import annotations

import threading
from bisect import bisect_left, insort
from collections import OrderedDict
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from drybank.book import Told
from drybank.book.story import sheets_at, store_at
from drybank.control import layout
from drybank.records.entry import (
    AnyBody,
    Booked,
    BoxesEmptied,
    Claimed,
    Deposited,
    Entry,
    Kept,
    Noted,
    PartReplaced,
    PiecesCounted,
    ReadingTaken,
    SettingChanged,
)
from drybank.records.errors import InputError
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.book import Book

KINDS = (
    "store version", "sheet version", "reading", "replacement", "setting change", "collection", "count", "deposit",
    "hand-over", "payout", "claim", "refund", "note",
)  # fmt: skip
STORES_KEPT = 32
QUARTER_S, QUARTERS_KEPT = 900, 4000
Subject = Literal["entry", "photo", "device", "control", "box", "bag"]
_Place = tuple[datetime, int]
_pasts: OrderedDict[tuple[str, str], Past] = OrderedDict()
_door = threading.Lock()


class Past:
    """A store's entries by kind, in the order they happened.

    ``lock`` is held by whoever books; ``waiting`` are the sendings that wait for it, entered through ``door``.
    """

    def __init__(self) -> None:
        self.lock, self.door = threading.RLock(), threading.Lock()
        self.waiting: list[Any] = []
        self._clear()

    def _clear(self) -> None:
        self.seq, self.tip = 0, ""
        self._told: dict[str, list[tuple[_Place, Told]]] = {kind: [] for kind in KINDS}
        self._shown: dict[str, list[tuple[datetime, int, int, bool]]] = {}
        self._laid: dict[int, Layout] = {}
        self._layouts: dict[tuple[int, ...], Layout] = {}
        self._tried: list[Told] = []
        self._about: dict[tuple[str, str], list[tuple[_Place, Told]]] = {}

    def forget(self) -> None:
        """Begin anew at the next refresh."""
        self._clear()

    def refresh(self, book: Book, store: str) -> None:
        """Up to the end of the chain as it stands now."""
        seq, tip = book.head(store)
        if (seq, tip) == (self.seq, self.tip):
            return
        if not self.seq or seq < self.seq or not self._continue(book, store):
            self._read_all(book, store)

    def _continue(self, book: Book, store: str) -> bool:
        """Take what was added since; False where it does not follow, or where a correction changes what was read."""
        from drybank.book.chain import booked_of

        for line in book.lines(store, self.seq):
            if line.prev != self.tip or line.kind == "correction":
                return False
            try:
                self.add(booked_of(line))
            except InputError:  # written by a later Drybank, or changed: `verify` says so, nothing is built on it
                return False
        return True

    def _read_all(self, book: Book, store: str) -> None:
        self._clear()
        self.seq, self.tip = book.head(store)
        for told in book.story(store, kinds=KINDS):
            if told.seq <= self.seq:
                self._put(told)

    def add(self, booked: Booked) -> None:
        """One entry more, at the end of the chain."""
        self._put(Told(entry=booked.entry, seq=booked.seq, booked=booked.booked))
        self.seq, self.tip = booked.seq, booked.hash

    def _put(self, told: Told) -> None:
        if told.kind not in self._told:
            return
        place = (told.happened, told.seq)
        for rows in self._rows_of(told):
            rows.insert(bisect_left(rows, place, key=_place), (place, told))
        if told.kind in ("store version", "sheet version"):
            self._laid.clear()
            self._layouts.clear()
        for device, shown, is_first in _figures(told):
            insort(self._shown.setdefault(device, []), (told.happened, told.seq, shown, is_first))

    def _rows_of(self, told: Told) -> list[list[tuple[_Place, Told]]]:
        return [self._told[told.kind], *(self._about.setdefault(about, []) for about in _subjects(told))]

    def try_(self, entry: Entry, now: datetime) -> None:
        """Let the next entries of the same sending see one that is about to be booked."""
        told = Told(entry=entry, seq=self.seq + 1 + len(self._tried), booked=now)
        self._tried.append(told)
        self._put(told)

    def rewind(self) -> None:
        """Take out what was only tried."""
        for told in self._tried:
            if told.kind not in self._told:
                continue
            place = (told.happened, told.seq)
            for rows in self._rows_of(told):
                del rows[bisect_left(rows, place, key=_place)]
            for device, shown, is_first in _figures(told):
                row = (told.happened, told.seq, shown, is_first)
                del self._shown[device][bisect_left(self._shown[device], row)]
        self._tried.clear()

    # Asking

    def told(self, kind: str) -> list[Told]:
        """Entries of a kind in the order they happened."""
        return [told for _, told in self._told[kind]]

    def about(self, what: Subject, key: str) -> list[Told]:
        """Entries about one thing in the order they happened."""
        return [told for _, told in self._about.get((what, key), ())]

    def latest(self, what: Subject, key: str, since: datetime, most: int) -> Iterator[Told]:
        """The last entries about one thing, the latest first, back to a moment and so many at most."""
        for place, told in reversed(self._about.get((what, key), [])[-most:]):
            if place[0] < since:
                return
            yield told

    def laid(self, when: datetime) -> Layout:
        """The store with its sheets as both stood at a moment."""
        quarter = int(when.timestamp()) // QUARTER_S  # days begin at a whole quarter of an hour, in every time zone
        found = self._laid.get(quarter)
        if found is None:
            if len(self._laid) >= QUARTERS_KEPT:
                self._laid.clear()
            found = self._laid[quarter] = self._laid_out(when)
        return found

    def _laid_out(self, when: datetime) -> Layout:
        stood = store_at(self.told("store version"), when)
        mine = sheets_at(self.told("sheet version"), when, stood.time_zone)
        key = (id(stood), *map(id, mine.values()))
        if key not in self._layouts:
            self._layouts[key] = layout(stood, mine)
        return self._layouts[key]

    def photo(self, sha256: str) -> Told | None:
        """The entry that names a photo."""
        return next(iter(self.about("photo", sha256)), None)

    def shown(self, device: str, before: datetime) -> list[tuple[datetime, int]]:
        """Moments and figures of a meter or counter since it last began anew, before a moment."""
        rows = self._shown.get(device, [])
        rows = rows[: bisect_left(rows, (before, 0, 0, False))]
        start = next((i for i in range(len(rows) - 1, -1, -1) if rows[i][3]), 0)
        return [(when, figure) for when, _, figure, _ in rows[start:]]


def kept_of(body: AnyBody) -> tuple[Kept, ...]:
    """What an entry names that lies beside the chain."""
    return body.kept if isinstance(body, Claimed | Noted) else ()


def _place(row: tuple[_Place, Told]) -> _Place:
    return row[0]


def _subjects(told: Told) -> set[tuple[Subject, str]]:
    """What an entry is about, as far as a later one may ask for it."""
    body = told.body
    found: set[tuple[Subject, str]] = {("entry", told.id)}
    found |= {("photo", kept.sha256) for kept in kept_of(body) if kept.what == "photo"}
    if isinstance(body, ReadingTaken):
        found |= {("device", value.device) for value in body.values}
    elif isinstance(body, SettingChanged):
        found.add(("control", body.control))
    elif isinstance(body, BoxesEmptied):
        found |= {("box", box) for box in body.boxes}
    if isinstance(body, BoxesEmptied | PiecesCounted):
        found.add(("bag", body.bag))
    elif isinstance(body, Deposited):
        found |= {("bag", bag) for bag in body.bags}
    return found


def _figures(told: Told) -> Iterator[tuple[str, int, bool]]:
    body = told.body
    if isinstance(body, ReadingTaken):
        yield from ((v.device, v.shown, False) for v in body.values if v.shown is not None)
    elif isinstance(body, PartReplaced):
        yield from ((v.device, v.shown, True) for v in body.first if v.shown is not None)


def past_of(book: Book, store: str) -> Past:
    """The past of one store, of those asked for lately."""
    key = (book.name, store)
    with _door:
        found = _pasts.setdefault(key, Past())
        _pasts.move_to_end(key)
        while len(_pasts) > STORES_KEPT:
            _pasts.popitem(last=False)
    return found


def forget(book: Book, store: str) -> None:
    """Throw away what was read: something went wrong while it was being added to."""
    with _door:
        _pasts.pop((book.name, store), None)
