"""What was entered lately, in a sentence each, for pages that enter more of the same."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from drybank.records.entry import AnyBody, Claimed, HouseUsed, OfferMade, Refunded
from drybank.records.money import Money

if TYPE_CHECKING:
    from drybank.book import Book

GIVEN = ("claim", "refund", "house use", "offer")
DAYS, MOST = 90, 20


class Lately(msgspec.Struct, frozen=True, kw_only=True):
    """One entry: where, when, by whom, and what it says."""

    id: str
    kind: str
    place: str
    happened: datetime
    by: str
    says: str


def given_lately(book: Book, store: str, when: datetime) -> tuple[Lately, ...]:
    """Complaints, refunds, house use and offers of the last three months, newest first."""
    currency = book.store_at(store, when).currency
    told = book.story(store, kinds=GIVEN, since=when - timedelta(days=DAYS), until=when + timedelta(seconds=1))
    out = []
    for line in reversed(told[-MOST:]):
        place, says = _says(line.body, currency)
        out.append(Lately(id=line.id, kind=line.kind, place=place, happened=line.happened, by=line.by, says=says))
    return tuple(out)


def _says(body: AnyBody, currency: str) -> tuple[str, str]:
    if isinstance(body, Claimed):
        return body.pocket, f"Complaint: {body.what}."
    if isinstance(body, Refunded):
        return body.pocket, f"Given back {Money(body.minor, currency)}."
    if isinstance(body, HouseUsed):
        return body.pocket, f"House use{f': {body.why}' if body.why else ''}."
    if isinstance(body, OfferMade):
        return body.bank, f"Offer until {body.ends:%Y-%m-%d}."
    return "", ""
