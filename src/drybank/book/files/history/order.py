"""Rows against each other: said twice, out of order, and meters that ran faster than time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

import msgspec

from drybank.book.files.history.rows import Seen
from drybank.records.entry import DeviceValue, PiecesCounted, Plain, ReadingTaken
from drybank.records.layout import Layout

Reasons = dict[int, list[str]]


def said_twice(rows: Sequence[Seen]) -> Reasons:
    """Rows that repeat an earlier one, or say something else of the same thing at the same moment."""
    out: Reasons = {}
    whole: dict[tuple[object, ...], int] = {}
    parts: dict[tuple[datetime, str], int] = {}
    for seen in rows:
        mark = (seen.happened, seen.place, seen.bodies)
        if mark in whole:
            out[seen.row.number] = [f"It says the same as row {whole[mark]}."]
            continue
        whole[mark] = seen.row.number
        for thing in sorted(_things(seen)):
            earlier = parts.setdefault((seen.happened, thing), seen.row.number)
            if earlier != seen.row.number:
                out.setdefault(seen.row.number, []).append(f"Row {earlier} gives {thing} for the same moment.")
    return out


def once_only(rows: Sequence[Seen]) -> tuple[list[Seen], list[str]]:
    """Rows without readings that an earlier row of another pocket gives alike: drums of one control share its counters."""
    first: dict[tuple[datetime, DeviceValue], Seen] = {}
    notes: list[str] = []
    out: list[Seen] = []
    for seen in rows:
        bodies: list[Plain] = []
        for body in seen.bodies:
            if not isinstance(body, ReadingTaken):
                bodies.append(body)
                continue
            earlier = [(v, first.setdefault((seen.happened, v), seen)) for v in body.values]
            kept = tuple(v for v, by in earlier if by.place == seen.place)
            notes += [f"Row {seen.row.number} gives {v.device} as row {by.row.number} does; it is entered once."
                      for v, by in earlier if by.place != seen.place]  # fmt: skip
            bodies += [msgspec.structs.replace(body, values=kept)] if kept else []
        out.append(msgspec.structs.replace(seen, bodies=tuple(bodies)))
    return out, notes


def _things(seen: Seen) -> set[str]:
    out: set[str] = set()
    for body in seen.bodies:
        if isinstance(body, ReadingTaken):
            out |= {v.device for v in body.values}
        elif isinstance(body, PiecesCounted):
            out |= set(body.boxes)
    return out


def is_newest_first(rows: Sequence[Seen]) -> bool:
    """Whether most rows of the file lie before the row above them."""
    steps = [(b.happened > a.happened) - (b.happened < a.happened) for a, b in pairwise(rows)]
    return sum(steps) < 0


def out_of_order(rows: Sequence[Seen]) -> Reasons:
    """The fewest rows whose dates break the order that the others of the same place keep."""
    out: Reasons = {}
    by_place: dict[str, list[Seen]] = {}
    for seen in rows:
        by_place.setdefault(seen.place or ", ".join(sorted(_boxes(seen))), []).append(seen)
    for kin in by_place.values():
        kept = _longest_rising([s.happened for s in kin])
        for place, seen in enumerate(kin):
            if place not in kept:
                before = max((k for k in kept if k < place), default=None)
                after = min((k for k in kept if k > place), default=None)
                near = [
                    f"row {kin[k].row.number}, {kin[k].happened:%Y-%m-%d}" for k in (before, after) if k is not None
                ]
                out[seen.row.number] = [f"Its date, {seen.happened:%Y-%m-%d}, breaks the order of the rows around it "
                                        f"({'; '.join(near)}). Correct the date, or move the row."]  # fmt: skip
    return out


def _boxes(seen: Seen) -> set[str]:
    return (
        {b for body in seen.bodies if isinstance(body, PiecesCounted) for b in body.boxes}
        if _is_only_count(seen)
        else set()
    )


def _is_only_count(seen: Seen) -> bool:
    return not any(isinstance(b, ReadingTaken) for b in seen.bodies)


def _longest_rising(times: Sequence[datetime]) -> set[int]:
    """Places of a longest run that never falls, in n log n."""
    tails: list[datetime] = []
    ends: list[int] = []
    before: list[int] = []
    for place, time in enumerate(times):
        at = bisect_right(tails, time)
        before.append(ends[at - 1] if at else -1)
        if at == len(tails):
            tails.append(time)
            ends.append(place)
        else:
            tails[at], ends[at] = time, place
    kept: set[int] = set()
    at = ends[-1] if ends else -1
    while at >= 0:
        kept.add(at)
        at = before[at]
    return kept


def too_fast(rows: Sequence[Seen], layout: Layout) -> tuple[Reasons, list[str]]:
    """Meters that would have run for more hours than passed, and notes on those that show less than before."""
    out: Reasons = {}
    notes: list[str] = []
    last: dict[str, tuple[datetime, int, int]] = {}
    for seen in rows:
        for body in seen.bodies:
            for value in body.values if isinstance(body, ReadingTaken) else ():
                meter = layout.meters.get(value.device)
                before = last.get(value.device)
                shown = value.shown or 0
                if before and shown < before[1]:
                    notes.append(f"Row {seen.row.number}: {value.device} shows less than in row {before[2]}: gone over its last "
                                 "figure, a new part, or a slip. It is taken as written.")  # fmt: skip
                elif before and meter:
                    ran = (shown - before[1]) / meter.per_hour
                    passed = (seen.happened - before[0]).total_seconds() / 3600
                    if ran > passed + 24:
                        out.setdefault(seen.row.number, []).append(
                            f"{value.device} would have run {ran:,.1f} h in the {passed:,.0f} h since row {before[2]}."
                        )
                        continue
                last[value.device] = (seen.happened, shown, seen.row.number)
    return out, notes
