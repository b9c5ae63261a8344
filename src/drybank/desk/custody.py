"""Gaps by round and by who held the money, in letters; the owner opens the names knowingly, and that is an entry too."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Final

import msgspec

from drybank.balance import compare_held
from drybank.desk.balancing import entries_for, period_for
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.records.balance import CustodyBy, HeldBy, Period
from drybank.records.entry import Noted
from drybank.records.errors import InputError

if TYPE_CHECKING:
    from drybank.book import Book, Told
    from drybank.records.layout import Layout

WAYS: Final[tuple[HeldBy, ...]] = ("round", "holder", "counter")
LEAST_WHY: Final = 3
NOTED_AT: Final = "balance"


class Opened(msgspec.Struct, frozen=True, kw_only=True):
    """The gaps, with whom each letter stands for, and the entry that says who opened them and why."""

    gaps: CustodyBy
    names: dict[str, str]
    entry: str


def gaps_by(
    book: Book, store: str, when: datetime, by: str, *, since: date | None = None, until: date | None = None
) -> CustodyBy:
    """Gaps of a period by round, by who emptied (holder) or by who counted (counter). No name stands in it."""
    laid, told, period = _read(book, store, when, since, until)
    return compare_held(laid, told, period, _way(by))[0]


def open_names(
    book: Book, store: str, pen: Pen, by: str, why: str, *, since: date | None = None, until: date | None = None
) -> Opened:
    """The same with names: for the owner only. First the opening is entered, with its reason; then the names are told."""
    way = _way(by)
    if len(why.strip()) < LEAST_WHY:
        raise InputError(
            "Who held the money is opened for a reason.", mend="Say which: it is kept in the book with your handle."
        )
    laid, told, period = _read(book, store, pen.clock(), since, until)
    gaps, letters = compare_held(laid, told, period, way)
    says = f"Opened who held the money, by {way}, {period.since:%Y-%m-%d} to {period.until:%Y-%m-%d}. Reason: {why.strip()}"
    entry = book.append([pen.entry(store, Noted(at=NOTED_AT, says=says))])[0].entry
    return Opened(gaps=gaps, names={letter: name for name, letter in letters.items()}, entry=entry.id)


def _way(by: str) -> HeldBy:
    for way in WAYS:
        if by == way:
            return way
    raise InputError(f"Gaps are not told by “{by}”.", allowed=", ".join(WAYS))


def _read(
    book: Book, store: str, when: datetime, since: date | None, until: date | None
) -> tuple[Layout, list[Told], Period]:
    laid = layout_at(book, store, when)
    period = period_for(book, laid, since, until, when)
    return laid, entries_for(book, store, period), period
