"""Nouns of upkeep: tasks and their intervals, use between readings, due dates, round cards."""

from __future__ import annotations

import math
from datetime import date
from typing import Literal

import msgspec

from drybank.records.coins import Known
from drybank.records.errors import InputError
from drybank.records.finding import Finding
from drybank.records.working import Assumption, Working

Per = Literal["hours", "cycles", "days"]
Power = Literal["off", "on", "either"]
Who = Literal["anyone", "qualified person", "licensed trade"]
Scope = Literal["pocket", "machine", "store"]
NO_SOURCE: Known = "common practice, no source"


class Task(msgspec.Struct, frozen=True, kw_only=True):
    """One recurring job: every so many hours, cycles (loads) or days, whichever the maker's manual says.

    ``opens_machine`` puts lock-out and gas-off steps on its card; ``power`` "on" marks a test
    that needs it running. The two exclude each other. ``write`` names what is written down on paper for each place.
    """

    key: str
    name: str
    every: float
    per: Per
    scope: Scope = "pocket"
    who: Who = "anyone"
    power: Power = "either"
    opens_machine: bool = False
    minutes: float = 5.0
    parts: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    write: tuple[str, ...] = ()
    gas_only: bool = False
    source: str = "common practice, no source"
    known: Known = NO_SOURCE

    def __post_init__(self) -> None:
        if not (math.isfinite(self.every) and self.every > 0):
            raise InputError(f"Every {self.every:g} {self.per} is no interval.", where=self.key, allowed="more than 0")
        if not (math.isfinite(self.minutes) and 0 <= self.minutes <= 24 * 60):
            raise InputError(f"{self.minutes:g} minutes.", where=self.key, allowed="0 to 1440 minutes")
        if self.opens_machine and self.power != "off":
            raise InputError(
                "A task that opens the machine is done with power and gas off.",
                where=self.key,
                mend="Mark it power off, or leave the panels shut.",
            )
        if self.opens_machine and self.who == "anyone":
            raise InputError("Opening a machine is for a qualified person.", where=self.key, mend="Name who may do it.")


class Span(msgspec.Struct, frozen=True, kw_only=True):
    """Use between two readings: from the first day to the last (not in it), hours or cycles or pieces."""

    first: date
    last: date
    amount: float

    def __post_init__(self) -> None:
        if self.last <= self.first:
            raise InputError(f"A span from {self.first} to {self.last} has no days.", mend="Give two days in order.")
        if not (math.isfinite(self.amount) and self.amount >= 0):
            raise InputError(
                f"{self.amount:g} used from {self.first} to {self.last}.",
                mend="Use never falls; a meter that rolled over or was replaced must be put right first.",
            )


class Outage(msgspec.Struct, frozen=True, kw_only=True):
    """Out of service from a day to a day (not in it); ``last`` None while it lasts."""

    first: date
    last: date | None = None
    why: str = ""

    def __post_init__(self) -> None:
        if self.last is not None and self.last < self.first:
            raise InputError("It came back before it went out.", where=f"outage from {self.first}")


class Due(msgspec.Struct, frozen=True, kw_only=True):
    """A due date with its interval; the hour meter stays the authority.

    ``low`` and ``high`` enclose the date with chance ``level`` (None for a task by days,
    whose date is exact). ``left`` is what is left of the interval, below zero when overdue.
    """

    at: str
    task: Task
    on: date | None
    low: date | None = None
    high: date | None = None
    level: float = 0.80
    left: float | None = None
    state: Literal["overdue", "due", "coming", "never entered", "out of service", "not known"]
    says: str
    pulled_by: tuple[str, ...] = ()
    working: Working | None = None
    assumed: tuple[Assumption, ...] = ()


class BoxDue(msgspec.Struct, frozen=True, kw_only=True):
    """When a coin box will be full; ``empty_by`` is the early end of the interval."""

    box: str
    pieces_now: float
    capacity: int
    on: date | None
    empty_by: date | None
    high: date | None
    level: float = 0.80
    says: str
    working: Working | None = None


class CardLine(msgspec.Struct, frozen=True, kw_only=True):
    """One job on a card, for the pockets it is due at."""

    task: str
    name: str
    pockets: tuple[str, ...]
    why: str
    minutes: float
    who: Who
    steps: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    write: tuple[str, ...] = ()
    source: str = ""


class CardSheet(msgspec.Struct, frozen=True, kw_only=True):
    """One side of a machine's card: all its lines need the power off, or on, or do not care."""

    power: Power
    cautions: tuple[str, ...]
    before: tuple[str, ...]
    lines: tuple[CardLine, ...]
    after: tuple[str, ...]


class RoundCard(msgspec.Struct, frozen=True, kw_only=True):
    """Everything due at one machine (or the room, ``machine`` "") at this visit, in walking order.

    ``sheets`` are printed apart, so that lock-out words never stand on one that needs power.
    """

    machine: str
    place: int
    pockets: tuple[str, ...]
    sheets: tuple[CardSheet, ...]
    look_at: tuple[Finding, ...] = ()
    out_of_service: tuple[str, ...] = ()
    minutes: float = 0.0
    parts: tuple[str, ...] = ()
