"""A reading that is unlikely is asked for again, without saying what was expected; given twice, it is taken as it is.

The past is every reading of that meter or counter in the book, across roll-overs; a device exchanged or reset begins anew.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from drybank.balance import check_entry, expect_next
from drybank.records.entry import DeviceValue, PartReplaced, ReadingTaken
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.balance import Expected
    from drybank.book import Book

LEAST_PAST = 3
"""Increments that must be known before anything is asked again."""


class Doubt(msgspec.Struct, frozen=True, kw_only=True):
    """A reading to look at once more (``is_kept`` is False), or one kept as read twice with what it may be."""

    device: str
    says: str
    is_kept: bool


def _size(laid: Layout, device: str) -> int:
    return (laid.meters[device] if device in laid.meters else laid.counters[device]).rolls_over_at


def _expected(seen: Sequence[tuple[datetime, int]], size: int, when: datetime) -> Expected:
    """What is expected of a device at a moment, from its past."""
    days = np.array([(b[0] - a[0]) / timedelta(days=1) for a, b in itertools.pairwise(seen)])
    steps = np.array([(b[1] - a[1]) % size for a, b in itertools.pairwise(seen)], float)
    return expect_next(steps, days, max((when - seen[-1][0]) / timedelta(days=1), 0.01))


def doubts(
    book: Book, laid: Layout, values: Sequence[DeviceValue], when: datetime, sure: Sequence[str] = ()
) -> tuple[Doubt, ...]:
    """Which of some readings to ask for again; ``sure`` names those that were read twice with the same result."""
    return doubts_of(laid, values, _past(book, laid.store.key, {v.device for v in values}, when), when, sure)


def doubts_of(
    laid: Layout,
    values: Sequence[DeviceValue],
    past: Mapping[str, Sequence[tuple[datetime, int]]],
    when: datetime,
    sure: Sequence[str] = (),
) -> tuple[Doubt, ...]:
    """The same from a past already read: for each meter or counter its moments and figures, oldest first."""
    out = []
    for value in values:
        seen = past.get(value.device, [])
        if value.shown is None or len(seen) < LEAST_PAST + 1:
            continue
        size = _size(laid, value.device)
        near = [s[-1][1] for d, s in past.items() if d != value.device and s]
        check = check_entry(
            value.shown, seen[-1][1], _expected(seen, size, when), size=size, neighbours=near,
            typed_before=value.shown if value.device in sure else None,
        )  # fmt: skip
        if check.says:
            out.append(Doubt(device=value.device, says=check.says, is_kept=check.accept))
    return tuple(out)


def plausible(
    book: Book, laid: Layout, devices: Iterable[str], span: tuple[datetime, datetime]
) -> dict[str, tuple[int, int]]:
    """Lowest and highest reading of each device that nobody would ask about at some moment of a span; the highest may lie
    past the roll-over. Never to be shown. A device of which too little is known has none."""
    wanted = set(devices)
    past = _past(book, laid.store.key, wanted, span[0])
    out = {}
    for device in sorted(wanted):
        seen = past.get(device, [])
        if len(seen) < LEAST_PAST + 1:
            continue
        ends = [_expected(seen, _size(laid, device), when).interval() for when in span]
        last = seen[-1][1]
        out[device] = (
            last + max(0, math.floor(min(e[0] for e in ends) - 1)),
            last + math.ceil(max(e[1] for e in ends) + 1),
        )
    return out


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
