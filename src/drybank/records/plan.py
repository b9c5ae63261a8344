"""Plan nouns: what a plan is made from, and the answer a person can act on.

`PlanInputs` is all that `drybank.plan.make_plan` reads: the bank's grid, the loads as arrays, costs, customers' answer
to price, constraints, what is set today. `Plan` is what it gives back. Money in a plan's figures is an expectation, in
minor units of the currency, and therefore a float with its interval; settings are whole numbers in base units (seconds,
pieces, degrees of one scale) that every control of the bank can hold.
"""

from __future__ import annotations

from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.energy import MinuteCost, Supply, Tariff, Usage
from drybank.records.errors import InputError
from drybank.records.plan_given import PlanRoom, RoomAirTold
from drybank.records.sheet import HouseSettings
from drybank.records.store import Care, Units
from drybank.records.traffic import Settings as TrafficSettings
from drybank.records.traffic import Store as TrafficStore
from drybank.records.working import Assumption, Estimate, Input, Working

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Rung = Literal["low", "lower", "middle", "higher", "high"]
RUNGS: tuple[Rung, ...] = ("low", "lower", "middle", "higher", "high")


# ---------------------------------------------------------------- what goes in


class PlanHeat(msgspec.Struct, frozen=True, kw_only=True):
    """One heat, hottest first. ``levels`` are the places in `PlanGrid.temps` that every control can hold for it."""

    number: int
    name: str
    levels: tuple[int, ...]
    care: Care = "none"


class OtherInput(msgspec.Struct, frozen=True, kw_only=True):
    """A further coin of the bank: it follows the main one at the nearest price per minute its own steps allow."""

    piece_minor: int
    time_per_piece_s: tuple[int, ...]
    start_pieces: tuple[int, ...] = ()


class PlanGrid(msgspec.Struct, frozen=True, kw_only=True):
    """Every setting that all the controls of a bank can hold.

    ``temps`` are degrees as the sheet states them, rising, in ``temp_base``; ``temps_c`` the same in °C for the physics.
    An empty ``first_time_s`` means that a start gives the sum of its pieces' times. ``template`` are the house settings of
    today: a plan is said in their words, and lines that it does not choose stay as they are.
    """

    piece_minor: int
    time_per_piece_s: tuple[int, ...]
    start_pieces: tuple[int, ...]
    first_time_s: tuple[int, ...] = ()
    cool_down_s: tuple[int, ...] = (0,)
    cool_is_inside: bool = True
    temps: tuple[int, ...]
    temps_c: tuple[float, ...]
    temp_base: Literal["°C", "°F"] = "°C"
    heats: tuple[PlanHeat, ...]
    heats_fall_strictly: bool = True
    other_inputs: tuple[OtherInput, ...] = ()
    template: HouseSettings = ()


class PlanLoads(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """Loads that stand for all that come: one row each, one column for each temperature of the grid.

    need_s (N, T) seconds of heat until dry; fuel_j (N, T) fuel burnt until then, higher heating value; heat (N,) the
    heat its owner chooses, 0 for the hottest; belief (N,) the time its owner pays for at first, as a factor of what it
    needs; patience (N,) the price its owner would still pay, relative to the median owner; weight (N,) how many loads
    it stands for, whole; load_kg (N,). fuel_over_w (T,) mean burner rate once dry; motor_w drum and fan.
    normal_* describe the load that "a normal load" means.
    """

    need_s: F64
    fuel_j: F64
    heat: I64
    belief: F64
    patience: F64
    weight: I64
    load_kg: F64
    fuel_over_w: F64
    motor_w: float
    normal_need_s: F64
    normal_fuel_j: F64
    normal_heat: int = 0
    normal_kg: float = 0.0
    need_low_frac: float = 1.0
    """How much shorter needs may be than stated, as a factor; an assumption's range, not sampling."""
    need_high_frac: float = 1.0
    how: Literal["given", "learned", "assumed", "computed"] = "assumed"
    source: str = ""
    working: Working | None = None


class Ranged(msgspec.Struct, frozen=True, kw_only=True):
    """A figure with the range it may lie in, where it comes from, and whether somebody gave it."""

    value: float
    low: float
    high: float
    how: Literal["given", "learned", "assumed", "computed"] = "assumed"
    source: str = ""


class PlanCosts(msgspec.Struct, frozen=True, kw_only=True):
    """What drying costs, at the margin. Prices of energy in minor units per kWh of higher heating value.

    ``visit_minor`` is what a load brings beside its drying (its wash, what else is sold); a load lost at the
    dryers takes it along. A tariff with a month's usage lets figures go down to the tariff's line.
    """

    fuel_minor_kwh: Ranged
    power_minor_kwh: Ranged
    wear_minor_hour: Ranged
    visit_minor: Ranged
    fuel_tariff: Tariff | None = None
    fuel_supply: Supply | None = None
    fuel_usage: Usage | None = None
    power_tariff: Tariff | None = None
    power_usage: Usage | None = None
    fuel_working: Working | None = None
    power_working: Working | None = None


class PriceAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """How customers answer to price: half of them go elsewhere when drying a normal load costs ``walk_away_minor``."""

    walk_away_minor: Ranged
    spread_frac: float = 0.3
    """Spread of owners' limits around the median, as a standard deviation of the logarithm."""
    follows_size: float = 0.5
    """How far the limit grows with the load's need: 0 not at all, 1 in proportion."""
    source: str = ""


class PlanLimits(msgspec.Struct, frozen=True, kw_only=True):
    """What a plan may not do; None means that it is free to."""

    normal_load_pieces_at_most: int | None = None
    price_step_at_most_pct: float | None = None
    posted_step_s: int = 1
    """Posted minutes: 60 whole, 30 half, 1 any."""
    least_heat_s: int = 0
    """Heated seconds that the first start must give."""
    wait_p95_s: float | None = None
    heat_step_at_most_c: float | None = 6.0
    """Largest change of a heat's temperature at once, in °C; holds where today's is known."""
    heat_gap_c: float = 5.0
    """Least difference between one heat and the next, in °C, so that the names mean something."""
    care_limits_hold: bool = True
    """A heat with a care symbol stays at or under its exhaust limit (80 °C two dots, 60 °C one dot)."""
    price_spread_at_most_pct: float = 0.0
    """Largest difference of the price per minute between the coins of the bank."""
    start_rate: Literal["any", "no worse", "same"] = "no worse"
    """A start's time against that of the same money later: any, at least as long (default), or just as long."""


class PlanSetting(msgspec.Struct, frozen=True, kw_only=True):
    """One complete choice: whole numbers on the grid. ``temps`` one for each heat, hottest first.

    ``first_time_s`` is what the start gives, whether set by itself or the sum of its pieces.
    """

    piece_minor: int
    time_per_piece_s: int
    start_pieces: int
    first_time_s: int
    cool_down_s: int
    temps: tuple[int, ...]
    other_times_s: tuple[int, ...] = ()
    other_starts: tuple[int, ...] = ()

    @property
    def start_minor(self) -> int:
        return self.start_pieces * self.piece_minor

    @property
    def minor_per_minute(self) -> float:
        return 60.0 * self.piece_minor / self.time_per_piece_s


class PlanInputs(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """All that a plan is made from."""

    store: str
    bank: str
    currency: str
    grid: PlanGrid
    loads: PlanLoads
    loads_per_week: Ranged
    costs: PlanCosts
    price_answer: PriceAnswer
    limits: PlanLimits = PlanLimits()
    today: PlanSetting | None = None
    pockets: int = 1
    traffic: TrafficStore | None = None
    """The store's week, for waiting and lost customers; None: queues are not counted and the plan says so."""
    traffic_bank: int = 0
    traffic_settings: TrafficSettings | None = None
    """What every bank of that week is set to today; needed where it has more than one."""
    assumptions: tuple[Assumption, ...] = ()
    notes: tuple[str, ...] = ()
    sheet_is_read_back: bool = True
    room: PlanRoom | None = None
    """The conditioned room, where its cost is asked for."""
    drum_flow_m3_s: float = 0.0
    """Exhaust airflow of a pocket."""
    units: Units = Units()
    """What the person reads."""

    def check(self) -> list[InputError]:
        """Mistakes that would make a plan meaningless; all at once."""
        out = [*_grid_mistakes(self.grid), *_load_mistakes(self.loads, self.grid)]
        for name, ranged in (
            ("loads a week", self.loads_per_week),
            ("price of fuel", self.costs.fuel_minor_kwh),
            ("price of electricity", self.costs.power_minor_kwh),
            ("wear", self.costs.wear_minor_hour),
            ("what a visit brings", self.costs.visit_minor),
            ("walk-away price", self.price_answer.walk_away_minor),
        ):
            out += _range_mistakes(name, ranged)
        if not 0.0 <= self.price_answer.spread_frac <= 2.0:
            out.append(InputError("the spread of limits is out of range.", where="price answer", allowed="0 to 2"))
        if not self.loads_per_week.value > 0:
            out.append(InputError("no loads come, so there is nothing to weigh.", where="loads a week",
                                  mend="Say in the store file how many loads come in a week."))  # fmt: skip
        if self.pockets < 1:
            out.append(InputError("the bank has no pocket.", where="bank"))
        return out


# ---------------------------------------------------------------- what comes out


class SettingChange(msgspec.Struct, frozen=True, kw_only=True):
    """One line of "what do I set": today's value beside the proposed one, in words. ``today`` is "" when not known."""

    name: str
    today: str
    proposed: str
    is_changed: bool


class PlanFigure(msgspec.Struct, frozen=True, kw_only=True):
    """One figure a week, today beside proposed, and the difference with its own interval (the same loads met).

    Each `Estimate` keeps a week's scatter (``interval``, sampling) apart from the range of assumption (``assumption``).
    """

    key: str
    name: str
    today: Estimate | None
    proposed: Estimate
    difference: Estimate | None


class Rival(msgspec.Struct, frozen=True, kw_only=True):
    """A named runner-up and why it is not the answer."""

    name: str
    setting: PlanSetting
    house: HouseSettings
    says: str
    why_not: str
    contribution_minor: float
    behind_minor: float
    price_normal_minor: int


class FrontPoint(msgspec.Struct, frozen=True, kw_only=True):
    """A setting that no other beats in contribution, price of a normal load and wait at once."""

    setting: PlanSetting
    says: str
    contribution_minor: float
    price_normal_minor: int
    wait_p95_s: float | None
    is_answer: bool = False


class LimitCost(msgspec.Struct, frozen=True, kw_only=True):
    """What one constraint costs a week: the best without it, less the best with it."""

    name: str
    says: str
    cost_minor: float
    without_it: PlanSetting


class AnswerAtPrice(msgspec.Struct, frozen=True, kw_only=True):
    """One place in the range of the walk-away price: the best there, and what the answer would miss."""

    rung: Rung
    walk_away_minor: float
    best: PlanSetting
    best_says: str
    best_minor: float
    answer_minor: float
    regret_minor: float
    least_regret_minor: float


class Matter(msgspec.Struct, frozen=True, kw_only=True):
    """An assumption and how much it matters: the contribution of the answer, and whether the answer would change."""

    assumption: Assumption
    low_minor: float
    high_minor: float
    swing_minor: float
    regret_minor: float
    """What would be missed at the worse end by having set this answer."""
    changes_answer: bool
    measure: str
    """What to measure next."""


class FuelStep(msgspec.Struct, frozen=True, kw_only=True):
    """The fuel price from which on another setting pays."""

    fuel_minor_kwh: float
    times_today: float
    setting: PlanSetting
    says: str


class FuelHold(msgspec.Struct, frozen=True, kw_only=True):
    """Between which fuel prices the answer stays the best before queues, as factors of today's; None: beyond the range
    looked at."""

    low_times: float | None
    high_times: float | None
    says: str


class SearchReport(msgspec.Struct, frozen=True, kw_only=True):
    """What the search covered and what a cut could have missed."""

    settings: int
    feasible: bool
    kept: int
    cut_could_miss_minor: float
    regret_is_exact: bool
    regret_could_miss_minor: float = 0.0
    """By how much a setting left out could at most have a smaller regret than the least found."""
    through_traffic: int = 0
    says: str = ""


class QueueReport(msgspec.Struct, frozen=True, kw_only=True):
    """The short list through the store's week, the same customers met by each setting.

    Customers lost are those who left a line, a week. ``wait_p95_s`` is the minute in which the 95th percentile of all
    waits for a pocket lies, None where nobody waited or nothing is known.
    """

    candidates: int
    replications: int
    weeks: int
    wait_p95_today_s: float | None
    wait_p95_s: float | None
    wait_mean_today_s: Estimate | None
    wait_mean_s: Estimate
    wait_mean_difference_s: Estimate | None = None
    lost_today: Estimate | None
    lost: Estimate
    lost_difference: Estimate | None
    cost_minor: float
    """What customers lost in line take along, a week, at these settings."""
    cost_today_minor: float | None = None
    """The same at today's settings."""
    keeps_wait_limit: bool | None
    says: str


class FreeWindow(msgspec.Struct, frozen=True, kw_only=True):
    """Drying given free for the price of fuel: how many washes more a week pay for it."""

    says: str
    cost_minor_per_load: float
    takings_given_up_minor_per_load: float
    washes_to_break_even_frac: float | None
    window: str = ""
    """The quietest open hours in a row, in words; "" where no week is known."""
    loads_now: float = 0.0
    washes_more: float | None = None
    """Washes more in that window that pay for it, a week."""


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    """What to set, what it should bring, what could make it wrong."""

    store: str
    bank: str
    currency: str
    setting: PlanSetting
    house: HouseSettings
    today: PlanSetting | None
    what_to_set: str
    what_it_brings: str
    what_could_be_wrong: str
    keeps_today: bool
    changes: tuple[SettingChange, ...]
    figures: tuple[PlanFigure, ...]
    rivals: tuple[Rival, ...]
    front: tuple[FrontPoint, ...]
    limit_costs: tuple[LimitCost, ...]
    answers: tuple[AnswerAtPrice, ...]
    least_regret: PlanSetting
    least_regret_minor: float
    matters: tuple[Matter, ...]
    fuel_steps: tuple[FuelStep, ...]
    free_window: FreeWindow | None
    queue: QueueReport | None
    search: SearchReport
    assumptions: tuple[Assumption, ...]
    notes: tuple[str, ...]
    inputs: tuple[Input, ...]
    workings: tuple[Working, ...]
    minute_cost: MinuteCost | None = None
    """Energy of a heated minute at the answer, at the margin and on average."""
    fuel_hold: FuelHold | None = None
    """The fuel prices between which the answer stays the best."""
    room_air: RoomAirTold | None = None
    """The hidden cost of room air, where asked for; never part of the figures."""

    def figure(self, key: str) -> PlanFigure:
        """A figure by its key, such as "contribution"."""
        return next(f for f in self.figures if f.key == key)


class SettingPriced(msgspec.Struct, frozen=True, kw_only=True):
    """A what-if: one setting against another, the same loads met."""

    name: str
    setting: PlanSetting
    against: PlanSetting
    figures: tuple[PlanFigure, ...]
    is_on_grid: bool
    currency: str = ""
    breaks: tuple[str, ...] = ()
    """Constraints that it would break, in words."""
    workings: tuple[Working, ...] = ()


def _grid_mistakes(grid: PlanGrid) -> list[InputError]:
    out = []
    for name, values in (
        ("time per piece", grid.time_per_piece_s),
        ("start pieces", grid.start_pieces),
        ("temperatures", grid.temps),
        ("cool-down", grid.cool_down_s),
    ):
        if not values:
            out.append(InputError(f"no control value is left for {name}.", where="grid",
                                  mend="The controls of the bank share none; split the bank or its settings."))  # fmt: skip
    for name, values in (
        ("times per piece", grid.time_per_piece_s),
        ("start pieces", grid.start_pieces),
        ("first times", grid.first_time_s),
        ("cool-downs", grid.cool_down_s),
    ):
        if list(values) != sorted(set(values)):
            out.append(InputError(f"{name} must rise, none twice.", where="grid"))
    if any(t <= 0 for t in grid.time_per_piece_s) or any(n < 1 for n in grid.start_pieces):
        out.append(InputError("times per piece and start pieces must be above zero.", where="grid"))
    if grid.piece_minor <= 0:
        out.append(InputError("the coin has no value.", where="grid"))
    if len(grid.temps) != len(grid.temps_c) or list(grid.temps) != sorted(set(grid.temps)):
        out.append(InputError("temperatures must rise, each with its °C.", where="grid"))
    if not grid.heats:
        out.append(InputError("the bank has no heat.", where="grid"))
    out += [
        InputError(f"heat “{heat.name}” has no temperature that can be set.", where="grid")
        for heat in grid.heats
        if not heat.levels or not all(0 <= i < len(grid.temps) for i in heat.levels)
    ]
    return out


def _load_mistakes(loads: PlanLoads, grid: PlanGrid) -> list[InputError]:
    rows, columns = loads.need_s.shape if loads.need_s.ndim == 2 else (0, 0)
    if rows == 0 or columns != len(grid.temps) or loads.fuel_j.shape != loads.need_s.shape:
        return [InputError("needs and fuel want one row a load, one column a temperature.", where="loads")]
    out = []
    for name, row in (("belief", loads.belief), ("patience", loads.patience), ("weight", loads.weight)):
        if row.shape != (rows,) or not np.isfinite(row).all() or (row <= 0).any():
            out.append(InputError(f"{name} must be one number above zero for each load.", where="loads"))
    if not (np.isfinite(loads.need_s).all() and (loads.need_s > 0).all() and (loads.need_s < 86_400).all()):
        out.append(InputError("a need is not a number of seconds under a day.", where="loads"))
    if not (np.isfinite(loads.fuel_j).all() and (loads.fuel_j >= 0).all()):
        out.append(InputError("fuel to dry must be zero or more.", where="loads"))
    if loads.heat.shape != (rows,) or (loads.heat < 0).any() or (loads.heat >= len(grid.heats)).any():
        out.append(InputError("a load asks for a heat that the bank does not have.", where="loads"))
    return out


def _range_mistakes(name: str, ranged: Ranged) -> list[InputError]:
    if not (
        np.isfinite([ranged.value, ranged.low, ranged.high]).all() and 0 <= ranged.low <= ranged.value <= ranged.high
    ):
        text = f"{name} is {ranged.value:g}, from {ranged.low:g} to {ranged.high:g}."
        return [InputError(text, where="plan inputs", mend="Give low, value and high in that order, none below zero.")]
    return []
