"""Money by the day it is told on: a closed week stays as it was closed, and what came later is told where it came.

Every effective entry that moves money gives moves: so much of one kind, on one day. An entry counts on its own day (a count
the day it was made, a statement of cards the last day it covers) as long as that day's week is open. What is entered, corrected
or taken back after the week's close counts on the store's day on which it was booked, as an adjustment; a statement of cards
that comes after the close is simply told when it comes. So a statement of closed weeks reads the same for ever, and all moves
together are always what the book knows now.

A bag or a collection counted again is worth its last count: the later one moves what it adds to the one before, or takes from it.
Which counts are of one bag is judged by the collections as the book knows them now: a collection entered or taken back after a
close may move what a closed week's recounts added.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

import msgspec

from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Deposited,
    PaidOut,
    PiecesCounted,
    Refunded,
    Version,
    WeekClosed,
)
from drybank.records.errors import InputError
from drybank.records.takings import Line
from drybank.takings.custody import count_value, rounds_of_counts

What = Literal["coins", "cards", "fees", "paid", "refunds", "bank", "float"]
_Amounts = dict[What, int]
_Posted = dict[str, tuple[date, _Amounts]]


class Move(msgspec.Struct, frozen=True):
    """So many minor units of one kind on one day; ``of_week`` names the closed week that they belonged to."""

    day: date
    what: What
    minor: int
    entry: str
    body: AnyBody
    of_week: str = ""


def iso_week(day: date) -> str:
    """The ISO 8601 week of a day, as 2026-W18."""
    year, number, _ = day.isocalendar()
    return f"{year}-W{number:02d}"


def standing(lines: Iterable[Line]) -> list[Line]:
    """Lines that were not taken back."""
    return [line for line in lines if not line.is_taken_back]


def moves(lines: Sequence[Line], zone: str) -> list[Move]:
    """Every move of money of a store; ``lines`` is its story, what was taken back included."""
    local = ZoneInfo(zone)
    closed = {x.body.week: x.booked for x in lines if isinstance(x.body, WeekClosed) and not x.is_taken_back}
    money = {x.id: x for x in lines if isinstance(x.body, PiecesCounted | PaidOut | Refunded | Deposited)}
    emptied = [x for x in standing(lines) if isinstance(x.body, BoxesEmptied)]
    groups = _groups([x for x in money.values() if isinstance(x.body, PiecesCounted)], emptied)
    grouped = {key for group in groups for key in group}
    past = _Emptied(emptied)
    out: list[Move] = []
    for group in (*groups, *((key,) for key in money if key not in grouped)):
        mine = [money[key] for key in group]
        out += _of_group(mine, past.near(mine) if len(mine) > 1 else (), local, closed)
    return out


class _Emptied:
    """Collections found by box, bag and entry, so that a few counts are not followed through the whole life of a store."""

    def __init__(self, emptied: Sequence[Line]) -> None:
        self.by_box: dict[str, tuple[list[datetime], list[Line]]] = defaultdict(lambda: ([], []))
        self.by_bag: dict[str, list[Line]] = defaultdict(list)
        self.by_id = {line.id: line for line in emptied}
        for line in _in_order(emptied):
            body = line.body
            if isinstance(body, BoxesEmptied):
                for box in body.boxes:
                    self.by_box[box][0].append(line.happened)
                    self.by_box[box][1].append(line)
                if body.bag:
                    self.by_bag[body.bag].append(line)

    def near(self, counts: Sequence[Line]) -> list[Line]:
        """Every collection that may decide what these counts, in any of their versions, are of.

        By bag: all of that bag. By box: from the last that held the boxes before a count on; earlier ones decide nothing.
        """
        said = [(v.body, v.happened) for x in counts for v in _versions(x) if isinstance(v.body, PiecesCounted)]
        found = {body.collection: self.by_id[body.collection] for body, _ in said if body.collection in self.by_id}
        bags = {body.bag for body, _ in said if body.bag}
        for body, at in said:
            found |= {x.id: x for x in self._of_boxes(frozenset(body.boxes), at, max(when for _, when in said))}
        bags |= {x.body.bag for x in found.values() if isinstance(x.body, BoxesEmptied) and x.body.bag}
        found |= {x.id: x for bag in bags for x in self.by_bag[bag]}
        return list(found.values())

    def _of_boxes(self, boxes: frozenset[str], at: datetime, last: datetime) -> list[Line]:
        """Collections of any of these boxes from the last before ``at`` that held them all up to ``last``."""
        if not boxes:
            return []
        moments, lines = min((self.by_box[box] for box in boxes), key=lambda pair: len(pair[0]))
        first = bisect_right(moments, at)
        while first > 0:
            first -= 1
            body = lines[first].body
            if isinstance(body, BoxesEmptied) and boxes <= set(body.boxes):
                break
        return lines[first : bisect_right(moments, last)]


class _As(msgspec.Struct):
    """A count as one of its versions has it, told as a line."""

    id: str
    body: AnyBody
    happened: datetime
    booked: datetime
    by: str = ""
    versions: tuple[Version, ...] = ()
    is_taken_back: bool = False


def _groups(counts: Sequence[Line], emptied: Sequence[Line]) -> list[tuple[str, ...]]:
    """Counts that bear on each other because some version of each is of the same bag; those that stand alone are left out."""
    said = [_As(x.id, v.body, v.happened, v.booked) for x in counts for v in _versions(x) if v.body is not None]
    group: dict[str, set[str]] = {x.id: {x.id} for x in counts}
    for made in rounds_of_counts(_in_order([*emptied, *said])):
        merged = set().union(*(group[key] for key, _ in made))
        for key in merged:
            group[key] = merged
    return [tuple(sorted(g)) for g in {id(g): g for g in group.values() if len(g) > 1}.values()]


def _in_order(lines: Iterable[Line]) -> list[Line]:
    """By the moment; a collection before a count of the same moment."""
    return sorted(lines, key=lambda x: (x.happened, isinstance(x.body, PiecesCounted), x.id))


def _versions(line: Line) -> tuple[Version, ...]:
    return line.versions or (Version(booked=line.booked, happened=line.happened, body=line.body),)


def _of_group(lines: Sequence[Line], near: Sequence[Line], zone: ZoneInfo, closed: dict[str, datetime]) -> list[Move]:
    """Moves of entries that depend on each other: after each booking, what it changed, told on the day it belongs to."""
    steps = sorted(((v.booked, line.id, v) for line in lines for v in _versions(line)), key=lambda s: s[:2])
    bodies = {line.id: line.body for line in lines}
    now: dict[str, Version] = {}
    told: _Posted = {}
    out: list[Move] = []
    for booked, key, version in steps:
        now[key] = version
        worth = _worth(now, near, zone)
        for entry in sorted({*told, *worth}):
            had, has = told.get(entry), worth.get(entry)
            if had != has:
                out += _change(entry, bodies[entry], (had, has), (booked, zone, closed))
        told = worth
    return out


def _change(
    entry: str, body: AnyBody, posted: tuple[tuple[date, _Amounts] | None, tuple[date, _Amounts] | None],
    when: tuple[datetime, ZoneInfo, dict[str, datetime]],
) -> list[Move]:  # fmt: skip
    booked, zone, closed = when
    sums: dict[tuple[date, str], _Amounts] = defaultdict(dict)
    for side, amounts in zip((-1, 1), posted, strict=True):
        if amounts is None:
            continue
        day, week = amounts[0], iso_week(amounts[0])
        is_late = week in closed and booked > closed[week]
        is_first = posted[0] is None and isinstance(body, PaidOut)  # statements of cards come days after their last
        place = sums[(booked.astimezone(zone).date(), "" if is_first else week) if is_late else (day, "")]
        for what, minor in amounts[1].items():
            place[what] = place.get(what, 0) + side * minor
    return [
        Move(day, what, minor, entry, body, week)
        for (day, week), amounts in sums.items()
        for what, minor in amounts.items()
    ]


def _worth(now: dict[str, Version], emptied: Sequence[Line], zone: ZoneInfo) -> _Posted:
    """What each entry moves, as these versions stand; of several counts each what it adds to those before."""
    standing_now = {key: v for key, v in now.items() if v.body is not None}
    adds = {}
    if len(now) > 1:
        counts = [_As(key, v.body, v.happened, v.booked) for key, v in standing_now.items() if v.body is not None]
        adds = {key: minor for made in rounds_of_counts(_in_order([*emptied, *counts])) for key, minor in made}
    return {
        key: (_day_of(v, zone), {"coins": adds[key]} if key in adds else _amounts(v.body))
        for key, v in standing_now.items()
        if v.body is not None
    }


def _day_of(version: Version, zone: ZoneInfo) -> date:
    if not isinstance(version.body, PaidOut):
        return version.happened.astimezone(zone).date()
    try:
        return date.fromisoformat(version.body.period_to)
    except ValueError:
        raise InputError(
            f"“{version.body.period_to}” is not a day.", where="payout", mend="Write it like 2026-05-03."
        ) from None


def _amounts(body: AnyBody) -> _Amounts:
    if isinstance(body, PiecesCounted):
        return {"coins": count_value(body)}
    if isinstance(body, PaidOut):
        return {"cards": body.gross_minor, "fees": body.fee_minor, "paid": body.paid_minor}
    if isinstance(body, Deposited):
        return {"bank" if body.to == "bank" else "float": body.minor}
    return {"refunds": body.minor} if isinstance(body, Refunded) else {}


def sums(found: Iterable[Move], starts: date, ends: date) -> tuple[dict[str, int], int]:
    """Sums by kind over days, both ends included, and how much of coins and cards in it belonged to weeks closed before."""
    out: dict[str, int] = defaultdict(int)
    late = 0
    for move in found:
        if starts <= move.day <= ends:
            if move.of_week and move.what in ("coins", "cards"):
                late += move.minor
            else:
                out[move.what] += move.minor
    return out, late
