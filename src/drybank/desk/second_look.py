"""A reading that is unlikely is asked for again, without saying what was expected; given twice, it is taken as it is.

The past is every reading of that meter or counter in the book, across roll-overs; a device exchanged or reset begins anew.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from drybank.balance import check_entry, expect_next
from drybank.records.entry import DeviceValue, PartReplaced, ReadingTaken
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.book import Book

LEAST_PAST = 3
"""Increments that must be known before anything is asked again."""


class Doubt(msgspec.Struct, frozen=True, kw_only=True):
    """A reading to look at once more (``is_kept`` is False), or one kept as read twice with what it may be."""

    device: str
    says: str
    is_kept: bool


def doubts(
    book: Book, laid: Layout, values: Sequence[DeviceValue], when: datetime, sure: Sequence[str] = ()
) -> tuple[Doubt, ...]:
    """Which of some readings to ask for again; ``sure`` names those that were read twice with the same result."""
    past = _past(book, laid.store.key, {v.device for v in values}, when)
    out = []
    for value in values:
        seen = past.get(value.device, [])
        if value.shown is None or len(seen) < LEAST_PAST + 1:
            continue
        size = (
            laid.meters[value.device].rolls_over_at
            if value.device in laid.meters
            else laid.counters[value.device].rolls_over_at
        )
        days = np.array([(b[0] - a[0]) / timedelta(days=1) for a, b in itertools.pairwise(seen)])
        steps = np.array([(b[1] - a[1]) % size for a, b in itertools.pairwise(seen)], float)
        ahead = max((when - seen[-1][0]) / timedelta(days=1), 0.01)
        near = [s[-1][1] for d, s in past.items() if d != value.device and s]
        check = check_entry(
            value.shown, seen[-1][1], expect_next(steps, days, ahead), size=size, neighbours=near,
            typed_before=value.shown if value.device in sure else None,
        )  # fmt: skip
        if check.says:
            out.append(Doubt(device=value.device, says=check.says, is_kept=check.accept))
    return tuple(out)


def _past(book: Book, store: str, devices: set[str], when: datetime) -> dict[str, list[tuple[datetime, int]]]:
    """Moments and figures of each device since it last began anew, oldest first."""
    out: dict[str, list[tuple[datetime, int]]] = {}
    for told in book.story(store, kinds=("reading", "replacement"), until=when):
        if isinstance(told.body, PartReplaced):
            for first in told.body.first:
                out[first.device] = [(told.happened, first.shown)] if first.shown is not None else []
        elif isinstance(told.body, ReadingTaken):
            for value in told.body.values:
                if value.device in devices and value.shown is not None:
                    out.setdefault(value.device, []).append((told.happened, value.shown))
    return out
