"""Control sheet nouns: our own description of a kind of control.

A setting's value is a whole number on the sheet's own grid, in the sheet's own unit: 65 in unit ``0.1 min`` is six and a
half minutes; a choice is the place of its word in ``choices``, from 0. `TICKS` says what one step of a unit is in the base
unit (seconds, minor units, pieces, degrees of one scale); nothing is ever converted between °C and °F.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from drybank.records.store import Means

Unit = Literal[
    "s", "quarter min", "0.1 min", "half min", "min", "h",
    "minor", "5 minor", "10 minor", "25 minor", "100 minor",
    "pieces", "°C", "°F", "choice", "%", "count",
]  # fmt: skip
Base = Literal["s", "minor", "pieces", "°C", "°F", "choice", "%", "count"]

TICKS: dict[str, tuple[int, Base]] = {
    "s": (1, "s"), "quarter min": (15, "s"), "0.1 min": (6, "s"), "half min": (30, "s"), "min": (60, "s"), "h": (3600, "s"),
    "minor": (1, "minor"), "5 minor": (5, "minor"), "10 minor": (10, "minor"), "25 minor": (25, "minor"), "100 minor": (100, "minor"),
    "pieces": (1, "pieces"), "°C": (1, "°C"), "°F": (1, "°F"), "choice": (1, "choice"), "%": (1, "%"), "count": (1, "count"),
}  # fmt: skip

Purpose = Literal[
    # money in
    "start price", "start pieces", "piece value", "token value", "pieces per count", "held-money timeout",
    "price by hour", "price by heat",
    # time out
    "time per piece", "time per value", "first time", "top-up time", "top-up limit", "time by heat",
    # heat
    "temperature", "temperature band", "heat offered", "heat at start",
    # ending
    "cool-down time", "cool-down end temperature", "anti-crease time", "reversing run", "reversing rest", "door rule", "end signal",
    # free
    "free drying", "free time", "free from hour", "free until hour",
    # display
    "time shown as", "price shown", "temperature scale", "brightness",
    # lock-out
    "coin lock-out", "staff code", "temperature cap",
]  # fmt: skip

FAMILIES: dict[str, tuple[str, ...]] = {
    "money in": ("start price", "start pieces", "piece value", "token value", "pieces per count", "held-money timeout",
                 "price by hour", "price by heat"),
    "time out": ("time per piece", "time per value", "first time", "top-up time", "top-up limit", "time by heat"),
    "heat": ("temperature", "temperature band", "heat offered", "heat at start"),
    "ending": ("cool-down time", "cool-down end temperature", "anti-crease time", "reversing run", "reversing rest",
               "door rule", "end signal"),
    "free": ("free drying", "free time", "free from hour", "free until hour"),
    "display": ("time shown as", "price shown", "temperature scale", "brightness"),
    "lock-out": ("coin lock-out", "staff code", "temperature cap"),
}  # fmt: skip


class _Frozen(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base: frozen, named fields only, unknown names refused with their path."""


class Grid(_Frozen, frozen=True, kw_only=True):
    """Values that a setting can hold: lowest, lowest + increment, ... highest, in steps of ``unit``.

    ``values`` lists them outright instead, where they are not evenly spaced (a dial's marks). ``factory`` is the value it
    leaves the maker with, when known. ``zero_means`` says what 0 does where 0 is special and may lie outside the range
    ("off", "free").
    """

    unit: Unit
    lowest: int = 0
    highest: int = 0
    increment: int = 1
    values: tuple[int, ...] = ()
    factory: int | None = None
    zero_means: str = ""


class Change(_Frozen, frozen=True, kw_only=True):
    """How the value is changed, in this control's own way.

    ``say`` may hold {value}, {from}, {name}, {steps}, {direction} (up, down) and {digits}: the sheet's own whole number as
    it is typed. ``wraps`` says that after the last value comes the first again, ``goes`` which way presses or turns move it.
    """

    way: Literal["presses", "digits", "turns", "dial", "jumper", "plug-in", "word", "desk"]
    say: str
    wraps: bool = False
    goes: Literal["both", "up", "down"] = "both"


class SettingLine(_Frozen, frozen=True, kw_only=True):
    """One adjustable value of a control.

    ``found`` is free text from that control's manual: where to find it. ``input`` names one of the sheet's inputs for
    settings that belong to one; ``heat`` the number of a heat. A sheet may state a grid per temperature scale; each is
    taken as stated. ``per_minor`` is the money that a "time per value" is for; ``from_hour`` and ``until_hour`` are the
    hours of the local day in which a "price by hour" holds (past midnight where until is not after from).
    """

    key: str
    name: str
    purpose: Purpose
    found: str
    grids: tuple[Grid, ...]
    choices: tuple[str, ...] = ()
    input: str = ""
    heat: int = 0
    per_minor: int = 0
    from_hour: int = 0
    until_hour: int = 24
    change: Change
    reached: str
    power: Literal["on", "off", "either"] = "either"
    scope: Literal["pocket", "machine"] = "pocket"


class SheetInput(_Frozen, frozen=True, kw_only=True):
    """A slot or acceptor of the control."""

    key: str
    name: str
    means: tuple[Means, ...] = ("coin",)
    has_counter: bool = True


class SheetCounter(_Frozen, frozen=True, kw_only=True):
    """A counter of pieces: what it counts (inputs), and the number at which it starts again from nothing."""

    key: str
    name: str
    inputs: tuple[str, ...]
    rolls_over_at: int
    counts: Literal["pieces", "value"] = "pieces"


class SheetMeter(_Frozen, frozen=True, kw_only=True):
    """A meter of hours: of motor, sold time or heat; ``per_hour`` is 1 for whole hours, 10 for tenths."""

    key: str
    name: str
    counts: Literal["motor", "sold time", "heat"]
    per_hour: Literal[1, 10, 60]
    rolls_over_at: int


class SaleRule(_Frozen, frozen=True, kw_only=True):
    """How money becomes minutes, as data. One function, `drybank.control.sell`, reads it.

    start           what a start gives: the setting "first time", or the sum of the times of the pieces
    credit          a piece gives its input's "time per piece", or its value times "time per value"
    below_start     money under the start price is held till more comes, or dropped after "held-money timeout"
    over_payment    money beyond the start price in the starting sale gives time, is lost, or is held for the next sale
    top_up          pieces while time runs add time, or are refused
    at_limit        a piece that would pass "top-up limit" is refused, or taken with the time capped
    cool_down       lies inside the end of the sold time, or comes after it
    coin_in_cool_down   a piece during cool-down brings the heat back, begins a new sale, or is refused
    door            with the door open the clock runs on, or stops
    power_cut       time left is lost, or kept
    free            how this control dries free: never, by a start price of nothing (for "free time" or "first time"),
                    by the setting "free drying", or between "free from hour" and "free until hour"
    """

    start: Literal["first time", "sum"]
    credit: Literal["per piece", "per value"] = "per piece"
    below_start: Literal["held", "dropped"] = "held"
    over_payment: Literal["time", "lost", "held"] = "time"
    top_up: Literal["adds", "refused"] = "adds"
    at_limit: Literal["refused", "capped"] = "capped"
    cool_down: Literal["inside", "after"] = "inside"
    coin_in_cool_down: Literal["heats again", "new sale", "refused"] = "heats again"
    door: Literal["clock runs", "clock stops"] = "clock runs"
    power_cut: Literal["time lost", "time kept"] = "time lost"
    free: Literal["never", "no start price", "switch", "hours"] = "never"


class ControlSheet(_Frozen, frozen=True, kw_only=True):
    """A kind of control. ``serves`` says whether one control sells one pocket's time or a whole machine's."""

    key: str
    name: str
    revision: str
    serves: Literal["pocket", "machine"] = "pocket"
    settings: tuple[SettingLine, ...]
    inputs: tuple[SheetInput, ...]
    counters: tuple[SheetCounter, ...] = ()
    meters: tuple[SheetMeter, ...] = ()
    sale: SaleRule
    cautions: tuple[str, ...] = ()


class HouseValue(_Frozen, frozen=True, kw_only=True):
    """One line of house settings, apart from any sheet: a purpose, whose, and a value in its base unit.

    ``piece_minor`` says of which coin (0: of none, or of all), or the money that a "time per value" is for; ``heat`` of
    which heat; the hours those of a "price by hour". A temperature names its scale by its base; a bank of mixed scales
    carries one line for each. A choice is given by its word.
    """

    purpose: Purpose
    value: int = 0
    base: Base = "s"
    piece_minor: int = 0
    heat: int = 0
    word: str = ""
    from_hour: int = 0
    until_hour: int = 24


HouseSettings = tuple[HouseValue, ...]
Values = dict[str, int]
"""Values of one control: setting key -> whole number on the sheet's grid."""
