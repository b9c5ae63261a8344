"""Coin boxes and keys by their own numbers: where each box stood when, who holds what."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from drybank.records.entry import HandedOver, PartReplaced
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.takings import BoxStand, Holding, Line

SWAP_WITHIN = timedelta(hours=24)


def stands(layout: Layout, lines: Sequence[Line]) -> tuple[BoxStand, ...]:
    """Every place that a numbered box stood, oldest first: from the store file, then by each exchange entered."""
    now: dict[str, tuple[str, datetime | None]] = {b.key: (b.number, None) for b in layout.boxes.values() if b.number}
    out: list[BoxStand] = []
    for line in lines:
        body = line.body
        if isinstance(body, PartReplaced) and body.part == "coin box" and body.new_number:
            number, since = now.get(body.at, ("", None))
            if number:
                out.append(BoxStand(number=number, place=body.at, since=since, until=line.happened))
            now[body.at] = (body.new_number, line.happened)
    out += [BoxStand(number=n, place=place, since=since, until=None) for place, (n, since) in now.items()]
    return tuple(out)


def box_findings(layout: Layout, lines: Sequence[Line]) -> tuple[Finding, ...]:
    """Boxes that changed places with each other, and one number standing at two places at once."""
    exchanged = [
        (x.happened, x.body.at, x.body.new_number, x.id)
        for x in lines
        if isinstance(x.body, PartReplaced) and x.body.part == "coin box" and x.body.new_number
    ]
    before = {b.key: b.number for b in layout.boxes.values() if b.number}
    out: list[Finding] = []
    for index, (when, place, number, entry) in enumerate(exchanged):
        other = next(
            (
                e
                for e in exchanged[index + 1 :]
                if e[0] - when <= SWAP_WITHIN and e[2] == before.get(place) and before.get(e[1]) == number
            ),
            None,
        )
        if other is not None:
            out.append(_finding("boxes changed places", entry, place, f"Boxes {number} and {other[2]} changed places ({place} and {other[1]}) on {when:%Y-%m-%d}. Count each by its number: what is in it came from where it stood before."))  # fmt: skip
        before[place] = number
    standing: dict[str, list[str]] = {}
    for place, number in before.items():
        standing.setdefault(number, []).append(place)
    out += [
        _finding("box at two places", number, places[0], f"Box {number} is said to stand at {' and '.join(places)}. One of the entries is wrong, or a box was taken out and not entered.")
        for number, places in sorted(standing.items())
        if number and len(places) > 1
    ]  # fmt: skip
    return tuple(out)


def _finding(name: str, key: str, where: str, says: str) -> Finding:
    return Finding(
        key=f"takings:{name.replace(' ', '-')}:{key}", room="takings", name=name, where=where, says=says, weight="note",
        certainty="exact: as entered", next_check="Look at the number on each box where it stands.",
    )  # fmt: skip


def holdings(lines: Sequence[Line]) -> tuple[Holding, ...]:
    """Who holds each key now, by the last hand-over of it: a thing called ``key ...``."""
    last: dict[str, Holding] = {}
    for line in lines:
        if isinstance(line.body, HandedOver) and line.body.bag.casefold().startswith("key "):
            last[line.body.bag] = Holding(thing=line.body.bag, holder=line.body.to, since=line.happened)
    return tuple(last[k] for k in sorted(last))
