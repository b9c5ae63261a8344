"""The constants of an invented world, and the faults that can be planted in it.

The shape of the model is Drybank's own; the values are common practice without a published
source, except where a line says otherwise. Nothing here was fitted to a real store.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from drybank.records.errors import InputError

Counted = Literal["machine", "hand", "weight"]
FaultKind = Literal[
    "theft",
    "bursts",
    "skim",
    "slugs",
    "minutes",
    "free",
    "double",
    "miss",
    "avoided",
    "reset",
    "swap",
    "typo",
]

# size of a fault in words: unit and allowed range
SIZES: dict[FaultKind, tuple[str, float, float]] = {
    "theft": ("share of the coins taken each week", 0.0, 1.0),
    "bursts": ("mean share taken, all of it in one week of four", 0.0, 0.25),
    "skim": ("share taken at every pocket of the store", 0.0, 1.0),
    "slugs": ("share of accepted pieces that are not coins", 0.0, 1.0),
    "minutes": ("minutes a coin buys above (+) or below (-) the posted ones", -30.0, 60.0),
    "free": ("hours run unsold, as a share of the usual hours", 0.0, 5.0),
    "double": ("share of coins counted twice", 0.0, 1.0),
    "miss": ("share of coins not counted", 0.0, 1.0),
    "avoided": ("share of its loads that the pocket loses", 0.0, 1.0),
    "reset": ("0: the counter starts again at zero", 0.0, 0.0),
    "swap": ("what the new board's counter shows at first", 0.0, 1e7),
    "typo": ("pieces added to one written counter reading", -1e6, 1e6),
}


class World(msgspec.Struct, frozen=True, kw_only=True):
    """Constants of the generator. Spreads of trade are standard deviations of the logarithm."""

    loads_week: float = 35.0
    loads_size: float = 80.0  # size of the negative binomial; 0 means Poisson
    start_coins: int = 2
    extra_coins: float = 4.0
    coin_minutes: float = 6.0
    run_frac: float = 0.95
    run_spread_pocket: float = 0.015
    run_spread_store_week: float = 0.008
    run_noise_minutes: float = 4.6  # per load, so a week's noise is this times sqrt(loads)
    service_runs_week: float = 0.05
    service_run_minutes: float = 15.0
    trade_spread_store: float = 0.40
    trade_spread_pocket: float = 0.20
    season: float = 0.08
    shock: float = 0.06
    shock_memory: float = 0.5
    miss: float = 0.001
    double: float = 0.0005
    counter_bias: float = 0.001
    offset_coins: float = 3.0
    jam_share: float = 0.02
    jam_coins: int = 5
    counted: Counted = "machine"
    machine_error: float = 0.0003
    hand_error: float = 0.003
    coin_mass_cv: float = 0.012  # 50 circulated 25c coins, sd .068 g of 5.622 g (read on a course page)
    batch_mass_cv: float = 0.0015
    coin_mass_g: float = 5.622
    scale_g: float = 5.0
    meter_step_h: float = 0.1
    counter_size: int = 10_000

    def __post_init__(self) -> None:
        if self.loads_week <= 0 or self.coin_minutes <= 0 or self.meter_step_h <= 0 or self.counter_size < 10:
            raise InputError(
                "An invented world needs loads, minutes per coin, a meter step and a counter size above zero.",
                where="world",
            )


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """A fault planted on purpose: what, where, from which week until which (exclusive; None = to the end)."""

    kind: FaultKind
    store: int
    size: float
    pocket: int | None = None
    first_week: int = 0
    last_week: int | None = None

    def __post_init__(self) -> None:
        unit, low, high = SIZES[self.kind]
        if not low <= self.size <= high:
            raise InputError(
                f"A fault of kind “{self.kind}” has the size {self.size:g}.",
                where="fault",
                allowed=f"{low:g} to {high:g} ({unit})",
            )
        if (self.pocket is None) != (self.kind == "skim"):
            raise InputError(
                "A skimmed store names no pocket; every other fault names one.", where=f"fault “{self.kind}”"
            )
