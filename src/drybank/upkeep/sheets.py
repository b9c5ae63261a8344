"""A round on paper: what a technician carries.

All work with the panels shut stands together, stop by stop, its cautions once. Work that opens a machine stands apart, on pages
of its own: the lock-out steps once, with a tick for each machine, then each machine's work, then the steps back. How a task is
done is said once, at the end of its part.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from drybank.records.finding import Finding
from drybank.records.upkeep import CardLine, CardSheet, Power, RoundCard

MACHINES_ACROSS = 6
"""Machines side by side in a table of steps: what an A5 page holds."""


class PartLine(msgspec.Struct, frozen=True, kw_only=True):
    """One job at a stop, and whether the machine runs meanwhile."""

    power: Power
    line: CardLine


class PartStop(msgspec.Struct, frozen=True, kw_only=True):
    """One machine (or the room, "") within a part."""

    machine: str
    pockets: tuple[str, ...]
    minutes: float
    lines: tuple[PartLine, ...]
    look_at: tuple[Finding, ...] = ()
    out_of_service: tuple[str, ...] = ()


class How(msgspec.Struct, frozen=True, kw_only=True):
    """How one task is done and where its interval comes from."""

    name: str
    steps: tuple[str, ...]
    source: str


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """Pages that share their cautions; ``before`` and ``after`` are the lock-out, and then every stop opens a machine."""

    kind: Literal["shut", "off"]
    cautions: tuple[str, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]
    stops: tuple[PartStop, ...]
    how: tuple[How, ...]


def parts_on_paper(cards: Sequence[RoundCard]) -> tuple[Part, ...]:
    """The cards of a round as they are printed: panels shut first, then each kind of lock-out."""
    shut = [(card, [s for s in card.sheets if not s.before]) for card in cards]
    out = [_part("shut", [(c, s) for c, s in shut if s or c.look_at or c.out_of_service], looks=True)]
    opened: dict[tuple[str, ...], list[tuple[RoundCard, list[CardSheet]]]] = {}
    for card in cards:
        for sheet in card.sheets:
            if sheet.before:
                opened.setdefault(sheet.before, []).append((card, [sheet]))
    for same in opened.values():
        rows = [same[i : i + MACHINES_ACROSS] for i in range(0, len(same), MACHINES_ACROSS)]
        out += [_part("off", row, looks=False) for row in rows]
    return tuple(part for part in out if part.stops)


def _part(kind: Literal["shut", "off"], stops: Sequence[tuple[RoundCard, list[CardSheet]]], *, looks: bool) -> Part:
    sheets = [sheet for _, mine in stops for sheet in mine]
    cautions = list(dict.fromkeys(c for sheet in sheets for c in sheet.cautions))
    last = [sheet.cautions[-1] for sheet in sheets[:1]]  # the law's word ends the list
    return Part(
        kind=kind,
        cautions=(*(c for c in cautions if c not in last), *last),
        before=sheets[0].before if sheets else (),
        after=sheets[0].after if sheets else (),
        stops=tuple(_stop(card, mine, looks=looks) for card, mine in stops),
        how=_how(line for sheet in sheets for line in sheet.lines),
    )


def _stop(card: RoundCard, sheets: Sequence[CardSheet], *, looks: bool) -> PartStop:
    lines = tuple(PartLine(power=sheet.power, line=line) for sheet in sheets for line in sheet.lines)
    return PartStop(
        machine=card.machine, pockets=card.pockets, minutes=sum(x.line.minutes for x in lines), lines=lines,
        look_at=card.look_at if looks else (), out_of_service=card.out_of_service if looks else (),
    )  # fmt: skip


def _how(lines: Iterable[CardLine]) -> tuple[How, ...]:
    first: dict[str, CardLine] = {}
    for line in lines:
        first.setdefault(line.task, line)
    return tuple(How(name=x.name, steps=x.steps, source=x.source) for x in first.values())
