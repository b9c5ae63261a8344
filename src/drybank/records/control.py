"""Nouns of the control room: a sale from piece to stopped drum, the price as the sign states it, steps and checks.

Times are whole seconds, money whole minor units, prices per minute exact `Fraction`.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

import msgspec

from drybank.records.sheet import HouseSettings, HouseValue
from drybank.records.store import Means

SpanKind = Literal["heat", "air", "cool", "open", "stopped", "anti-crease", "idle"]
Verdict = Literal["passed", "notice", "failed", "waived"]


class Paid(msgspec.Struct, frozen=True):
    """Pieces put into one input of the control, one after the other, at one moment."""

    at_s: int
    input: str
    pieces: int = 1


class Pressed(msgspec.Struct, frozen=True):
    """The start button, which matters where drying is free."""

    at_s: int


class DoorOpened(msgspec.Struct, frozen=True):
    at_s: int


class DoorClosed(msgspec.Struct, frozen=True):
    at_s: int


class PowerCut(msgspec.Struct, frozen=True):
    at_s: int


class PowerBack(msgspec.Struct, frozen=True):
    at_s: int


class HeatChosen(msgspec.Struct, frozen=True):
    """Heat 1..n by the customer's choice, 0 for none (the drum turns in unheated air)."""

    at_s: int
    heat: int


Event = Paid | Pressed | DoorOpened | DoorClosed | PowerCut | PowerBack | HeatChosen


class InputTerms(msgspec.Struct, frozen=True, kw_only=True):
    """What one piece of an input does, in seconds and minor units.

    ``start_pieces`` is 0 where the start goes by price. ``time_by_heat`` replaces ``time_s`` at the heats it names;
    ``top_up_s`` (when given) both, for pieces while time runs. ``is_locked``: no piece is taken here.
    """

    input: str
    worth_minor: int
    start_pieces: int = 0
    time_s: int = 0
    time_by_heat: dict[int, int] = {}
    top_up_s: int | None = None
    per_count: int = 1
    is_locked: bool = False


class Terms(msgspec.Struct, frozen=True, kw_only=True):
    """A control's settings as the sale rule reads them: every value in seconds, minor units, pieces.

    ``top_up_limit_s`` and ``timeout_s`` are None for "no limit" and "never". ``assumed`` names the settings that were not
    given and what was taken instead.
    """

    start: Literal["first time", "sum"]
    below_start: Literal["held", "dropped"]
    over_payment: Literal["time", "lost", "held"]
    top_up: Literal["adds", "refused"]
    at_limit: Literal["refused", "capped"]
    cool_down: Literal["inside", "after"]
    coin_in_cool_down: Literal["heats again", "new sale", "refused"]
    door: Literal["clock runs", "clock stops"]
    power_cut: Literal["time lost", "time kept"]
    inputs: dict[str, InputTerms]
    price_minor: int | None = None
    price_by_heat: dict[int, int] = {}
    price_by_hour: tuple[tuple[int, int, int], ...] = ()
    first_time_s: int = 0
    top_up_limit_s: int | None = None
    timeout_s: int | None = None
    cool_down_s: int = 0
    crease_s: int = 0
    run_s: int = 0
    rest_s: int = 0
    heat_at_start: int = 1
    is_free: bool = False
    free_time_s: int = 0
    free_hours: tuple[int, int] | None = None
    takes_no_pieces: bool = False
    assumed: tuple[str, ...] = ()


class Span(msgspec.Struct, frozen=True):
    """A stretch of one state of the drum. ``heat`` is 0 where none is on."""

    from_s: int
    until_s: int
    kind: SpanKind
    heat: int = 0

    @property
    def length_s(self) -> int:
        return self.until_s - self.from_s


class Sale(msgspec.Struct, frozen=True, kw_only=True):
    """What came of the events.

    Holds, always: ``sold_s == heated_s + aired_s + cooled_sold_s + open_s + forgone_s + left_s``, and for each input
    ``paid == taken + refused + held + lost``. ``taken`` are pieces that started a sale or came to one, ``held`` those
    waiting below the start price, ``lost`` those dropped for nothing. ``forgone_s`` fell away in a power cut or by a new
    sale; ``capped_s`` was never sold, a limit stood before it. ``cooled_after_s`` and ``anti_crease_s`` are not sold time.
    """

    sold_s: int
    heated_s: int
    aired_s: int
    cooled_sold_s: int
    cooled_after_s: int
    open_s: int
    forgone_s: int
    left_s: int
    capped_s: int
    free_s: int
    anti_crease_s: int
    motor_s: int
    starts_s: tuple[int, ...]
    ends_s: int | None
    paid: dict[str, int]
    taken: dict[str, int]
    refused: dict[str, int]
    held: dict[str, int]
    lost: dict[str, int]
    held_minor: Fraction
    counts: dict[str, int]
    meters: dict[str, int]
    spans: tuple[Span, ...]


class FirstStart(msgspec.Struct, frozen=True, kw_only=True):
    """The fewest pieces of one input that start a pocket, and what they give."""

    input: str
    pieces: int
    minor: int
    sold_s: int
    heated_s: int
    cool_s: int


class CoinPlan(msgspec.Struct, frozen=True, kw_only=True):
    """The sale rule of one input in plain numbers, for hot loops. ``top_up_limit_s`` is 0 where there is none."""

    input: str
    piece_minor: int
    start_pieces: int
    first_time_s: int
    time_per_piece_s: int
    top_up_limit_s: int
    limit_refuses: bool
    top_up_is_taken: bool
    cool_down_s: int
    cool_is_inside: bool
    coin_heats_again: bool
    door_stops_clock: bool


class Settable(msgspec.Struct, frozen=True, kw_only=True):
    """What every control of a bank can hold for one purpose, in its base unit (money, seconds, degrees of one scale)."""

    line: HouseValue
    values: tuple[int, ...]
    words: tuple[str, ...] = ()


class Conflict(msgspec.Struct, frozen=True, kw_only=True):
    """Two controls of one bank that cannot hold one value, or cannot stand under one sign."""

    line: HouseValue | None
    first: str
    second: str
    says: str


class SignedBank(msgspec.Struct, frozen=True, kw_only=True):
    """One side of a split: its controls, its pockets and the nearest house settings that they can all hold."""

    controls: tuple[str, ...]
    pockets: tuple[str, ...]
    house: HouseSettings = ()


class BankSplit(msgspec.Struct, frozen=True, kw_only=True):
    """The nearest way out of a conflict: the bank in two, each under a sign of its own. ``second`` is the smaller."""

    conflicts: tuple[Conflict, ...]
    first: SignedBank | None
    second: SignedBank | None
    says: str


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One setting to change at one pocket, in the sheet's own way. ``steps`` is None where found is not known."""

    place: int
    pocket: str
    setting: str
    name: str
    found_at: str
    found: int | None
    to_set: int
    found_says: str
    to_set_says: str
    how: str
    way: str
    steps: int | None
    direction: Literal["", "up", "down"]
    reached: str
    power: Literal["on", "off", "either"]


class PieceRate(msgspec.Struct, frozen=True, kw_only=True):
    """What one kind of piece buys at every control of the bank.

    ``start_pieces`` alone start a pocket and give ``first_time_s`` of sold time, ``first_heated_s`` of it with heat; each
    piece after that gives ``time_per_piece_s`` (0: none is taken) at ``minor_per_minute``. ``most_pieces`` are accepted and
    acted on at one time (None: no limit). ``heat`` is 0 where every heat sells alike.
    """

    piece_minor: int
    means: tuple[Means, ...]
    start_pieces: int
    start_minor: int
    first_time_s: int
    first_heated_s: int
    cool_s: int
    cool_is_inside: bool
    time_per_piece_s: int
    minor_per_minute: Fraction | None
    most_pieces: int | None = None
    heat: int = 0


class RateStatement(msgspec.Struct, frozen=True, kw_only=True):
    """What the sign of a bank must truly state; ``untrue`` says why one sign cannot state it, and is empty if it can."""

    bank: str
    currency: str
    rates: tuple[PieceRate, ...]
    top_up_limit_s: int | None
    is_free: bool
    free_time_s: int
    by_hour: tuple[tuple[int, int, int], ...] = ()
    by_heat: tuple[tuple[int, int], ...] = ()
    free_hours: tuple[int, int] | None = None
    untrue: tuple[str, ...] = ()


class CheckResult(msgspec.Struct, frozen=True, kw_only=True):
    """One check on settings. ``reason`` says why it stands as it does, ``mend`` what would put it right."""

    key: str
    name: str
    verdict: Verdict
    reason: str
    mend: str = ""
    where: str = ""
    waiver: str = ""
