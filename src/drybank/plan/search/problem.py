"""The question in whole numbers.

Worth is counted in millionths of a minor unit, time in whole seconds, so that the search, its reference and every
re-evaluation agree to the last digit.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drybank.control import care_limit
from drybank.records.errors import InputErrors
from drybank.records.plan import F64, I64, PlanHeat, PlanInputs, PlanSetting

MICRO = 1_000_000
"""Millionths of a minor unit: money inside the search."""
JOULES_KWH = 3.6e6


@dataclass(frozen=True, eq=False)
class Problem:
    """Loads, prices and the grid as the search reads them.

    need_s (N, T) seconds of heat that are paid for; fixed_micro (N, T) what a dried load brings beside its pieces and
    apart from the seconds it is given; limit_minor (N,); rate_micro_s (n, T) cost of a heated second; rate_cool_micro_s
    cost of a cool-down second; allowed (n, T); stands (nt, ns, nf) which times, starts and first times may stand together
    (nf is 1 where a start is the sum of its pieces). ``lost_micro`` is what all visits together bring.
    """

    need_s: I64
    fixed_micro: I64
    weight: I64
    heat: I64
    limit_minor: I64
    lost_micro: int
    piece_minor: int
    rate_micro_s: I64
    rate_cool_micro_s: int
    times_s: I64
    starts: I64
    firsts_s: I64
    cools_s: I64
    cool_is_inside: bool
    allowed: NDArray[np.bool_]
    stands: NDArray[np.bool_]
    least_gap: int
    normal_heat: int
    normal_need_s: I64
    normal_pieces: int
    least_heated_s: int

    @property
    def is_sum(self) -> bool:
        return self.firsts_s.size == 0

    @property
    def step_s(self) -> int:
        """Largest whole number of seconds that every time on the grid is a multiple of."""
        return int(np.gcd.reduce(np.concatenate([self.times_s, self.firsts_s, self.cools_s])))

    @property
    def shape(self) -> tuple[int, int, int, int]:
        return self.times_s.size, self.starts.size, max(self.firsts_s.size, 1), self.cools_s.size

    @property
    def ladders(self) -> int:
        """Ordered choices of heats, those ruled out by a mask included."""
        return count_ladders(self.allowed, self.least_gap)

    @property
    def settings(self) -> int:
        """Settings of the whole grid."""
        nt, ns, nf, nc = self.shape
        return nt * ns * nf * nc * self.ladders


@dataclass(frozen=True)
class Choice:
    """One setting by its places on the problem's grid; ``levels`` one for each heat."""

    time: int
    start: int
    first: int
    cool: int
    levels: tuple[int, ...]


def count_ladders(allowed: NDArray[np.bool_], least_gap: int) -> int:
    """How many ordered choices of levels there are."""
    ways = [int(a) for a in allowed[-1]]
    for k in range(allowed.shape[0] - 2, -1, -1):
        ways = [sum(ways[: tau - least_gap + 1]) if allowed[k, tau] else 0 for tau in range(allowed.shape[1])]
    return sum(ways)


@dataclass(frozen=True)
class World:
    """One place in the ranges of what is not known: factors and values that replace the inputs' middle."""

    walk_away_minor: float
    fuel_minor_kwh: float
    power_minor_kwh: float
    wear_minor_hour: float
    visit_minor: float
    need_frac: float = 1.0
    spread_frac: float = 0.3
    follows_size: float = 0.5
    belief_power: float = 1.0

    def but(self, **changes: Any) -> World:
        return replace(self, **changes)


def middle(inputs: PlanInputs) -> World:
    """The world as the inputs state it."""
    costs, answer = inputs.costs, inputs.price_answer
    return World(
        walk_away_minor=answer.walk_away_minor.value,
        fuel_minor_kwh=costs.fuel_minor_kwh.value,
        power_minor_kwh=costs.power_minor_kwh.value,
        wear_minor_hour=costs.wear_minor_hour.value,
        visit_minor=costs.visit_minor.value,
        spread_frac=answer.spread_frac,
        follows_size=answer.follows_size,
    )


def limit_minor(inputs: PlanInputs, world: World) -> I64:
    """The highest price in minor units that each load's owner still pays, whole, rounded down.

    median × (need over the normal load's) ** follows_size × patience ** (spread over the stated spread).
    """
    loads = inputs.loads
    reference = loads.need_s[:, -1] / loads.normal_need_s[-1]
    spread = world.spread_frac / inputs.price_answer.spread_frac if inputs.price_answer.spread_frac else 0.0
    price = world.walk_away_minor * reference**world.follows_size * loads.patience**spread
    whole: I64 = np.maximum(np.floor(price + 1e-9), 0.0).astype(np.int64)
    return whole


def paid_need_s(inputs: PlanInputs, world: World) -> I64:
    """Whole seconds of heat that each load's owner pays for: what it needs, or what they believe it needs."""
    belief = np.maximum(inputs.loads.belief**world.belief_power, 1.0)[:, None]
    return whole_seconds(inputs.loads.need_s * world.need_frac * belief)


def whole_seconds(values: F64) -> I64:
    """Seconds rounded up; a hair over a whole second is that second."""
    return np.maximum(np.ceil(values - 1e-6), 1.0).astype(np.int64)


def rates_micro_s(inputs: PlanInputs, world: World) -> tuple[F64, float, float]:
    """Cost of a second in millionths of a minor unit: idle fire by level (T,), motor, wear."""
    fuel = inputs.loads.fuel_over_w * world.fuel_minor_kwh / JOULES_KWH * MICRO
    motor = inputs.loads.motor_w * world.power_minor_kwh / JOULES_KWH * MICRO
    return fuel, motor, world.wear_minor_hour / 3600.0 * MICRO


def problem(inputs: PlanInputs, world: World | None = None, *, without: str = "") -> Problem:
    """The whole-number question for one world; ``without`` names a constraint to leave out.

    Times, starts and first times that a constraint rules out by themselves are left out of the problem's grid.
    """
    mistakes = inputs.check()
    if mistakes:
        raise InputErrors(mistakes)
    here = world or middle(inputs)
    grid, loads = inputs.grid, inputs.loads
    fuel_s, motor_s, wear_s = rates_micro_s(inputs, here)
    true_need = loads.need_s * here.need_frac
    to_dry = loads.fuel_j * here.need_frac * here.fuel_minor_kwh / JOULES_KWH * MICRO
    fixed = here.visit_minor * MICRO - to_dry + fuel_s * true_need
    normal = inputs.limits.normal_load_pieces_at_most if without != "normal load" else None
    heats, levels = len(grid.heats), len(grid.temps)
    times, starts, firsts = axes(inputs, without)
    return Problem(
        need_s=paid_need_s(inputs, here),
        fixed_micro=np.rint(fixed).astype(np.int64),
        weight=loads.weight.astype(np.int64),
        heat=loads.heat.astype(np.int64),
        limit_minor=limit_minor(inputs, here),
        lost_micro=int(loads.weight.sum()) * round(here.visit_minor * MICRO),
        piece_minor=grid.piece_minor,
        rate_micro_s=np.rint(np.broadcast_to(fuel_s + motor_s + wear_s, (heats, levels))).astype(np.int64),
        rate_cool_micro_s=round(motor_s + wear_s),
        times_s=times,
        starts=starts,
        firsts_s=firsts,
        cools_s=np.array(grid.cool_down_s, np.int64),
        cool_is_inside=grid.cool_is_inside,
        allowed=allowed_levels(inputs, without),
        stands=_stands(inputs, times, starts, firsts, without),
        least_gap=least_gap(inputs, without),
        normal_heat=loads.normal_heat if normal is not None else -1,
        normal_need_s=whole_seconds(loads.normal_need_s * here.need_frac),
        normal_pieces=normal or 0,
        least_heated_s=0 if without == "first start" else inputs.limits.least_heat_s,
    )


def grid_settings(inputs: PlanInputs) -> int:
    """Settings of the whole grid, constraints left aside."""
    grid = inputs.grid
    held = np.array([[i in heat.levels for i in range(len(grid.temps))] for heat in grid.heats])
    ladders = count_ladders(held, 1 if grid.heats_fall_strictly else 0)
    return (
        len(grid.time_per_piece_s)
        * len(grid.start_pieces)
        * max(1, len(grid.first_time_s))
        * len(grid.cool_down_s)
        * ladders
    )


def least_gap(inputs: PlanInputs, without: str = "") -> int:
    """Levels between one heat and the next that are at least the stated difference apart."""
    if not inputs.grid.heats_fall_strictly:
        return 0
    temps, wanted = inputs.grid.temps_c, 0.0 if without == "heat gap" else inputs.limits.heat_gap_c
    if len(inputs.grid.heats) < 2:
        return 1
    for gap in range(1, len(temps)):
        if all(b - a >= wanted - 1e-9 for a, b in zip(temps, temps[gap:], strict=False)):
            return gap
    return 1


def allowed_levels(inputs: PlanInputs, without: str = "") -> NDArray[np.bool_]:
    """Which level each heat may take (n, T): what its controls hold, near today's, under its care symbol's limit."""
    grid = inputs.grid
    out = np.zeros((len(grid.heats), len(grid.temps)), np.bool_)
    for k, heat in enumerate(grid.heats):
        for level in heat.levels:
            cared = without == "care limits" or _within_care(inputs, heat, level)
            out[k, level] = cared and (without == "heat step" or _near_today(inputs, k, level))
    return out


def _within_care(inputs: PlanInputs, heat: PlanHeat, level: int) -> bool:
    limit = care_limit(heat.care, inputs.grid.temp_base)
    return limit is None or not inputs.limits.care_limits_hold or inputs.grid.temps[level] <= limit


def _near_today(inputs: PlanInputs, heat: int, level: int) -> bool:
    today, most = inputs.today, inputs.limits.heat_step_at_most_c
    if today is None or most is None:
        return True
    degree = 1.0 if inputs.grid.temp_base == "°C" else 5.0 / 9.0
    return abs(inputs.grid.temps[level] - today.temps[heat]) * degree <= most + 1e-9


def axes(inputs: PlanInputs, without: str = "") -> tuple[I64, I64, I64]:
    """Times, starts and first times that no constraint rules out by themselves: posted minutes, price step, other coins."""
    grid, step = inputs.grid, inputs.limits.posted_step_s
    times = np.array(grid.time_per_piece_s, np.int64)
    starts = np.array(grid.start_pieces, np.int64)
    firsts = np.array(grid.first_time_s, np.int64)
    if without != "posted minutes":
        times, firsts = times[times % step == 0], firsts[firsts % step == 0]
    if without != "price step":
        times, starts = times[_step_fits(inputs, times)], starts[_start_fits(inputs, starts)]
    if without != "equal price of all coins":
        times = times[np.array([others_agree(inputs, int(t), without) for t in times], np.bool_)]
    return times, starts, firsts


def _stands(inputs: PlanInputs, times: I64, starts: I64, firsts: I64, without: str) -> NDArray[np.bool_]:
    """Which times, starts and first times may stand together (nt, ns, nf)."""
    ok = np.ones((times.size, starts.size, max(1, firsts.size)), np.bool_)
    if without != "start rate" and firsts.size and inputs.limits.start_rate != "any":
        bought = (starts[None, :] * times[:, None])[:, :, None]
        ok &= firsts >= bought if inputs.limits.start_rate == "no worse" else firsts == bought
    return ok


def _step_fits(inputs: PlanInputs, times: I64) -> NDArray[np.bool_]:
    today, most = inputs.today, inputs.limits.price_step_at_most_pct
    if today is None or most is None:
        return np.ones(times.size, np.bool_)
    change = (inputs.grid.piece_minor / times) / (today.piece_minor / today.time_per_piece_s) - 1.0
    fits: NDArray[np.bool_] = np.abs(change) <= most / 100.0 + 1e-12
    return fits


def _start_fits(inputs: PlanInputs, starts: I64) -> NDArray[np.bool_]:
    today, most = inputs.today, inputs.limits.price_step_at_most_pct
    if today is None or most is None:
        return np.ones(starts.size, np.bool_)
    step = abs(starts * inputs.grid.piece_minor - today.start_minor)
    one_piece = inputs.grid.piece_minor  # a start cannot move by less than a coin
    fits: NDArray[np.bool_] = step <= max(today.start_minor * most / 100.0, one_piece) + 1e-12
    return fits


def others_agree(inputs: PlanInputs, time_s: int, without: str = "") -> bool:
    """Whether every other coin can follow the main one in price per minute, and in minutes that may be posted."""
    most, step = inputs.limits.price_spread_at_most_pct, inputs.limits.posted_step_s
    posted = 1 if without == "posted minutes" else step
    return all(
        spread_pct(inputs, time_s, place) <= most + 1e-9 and follow_s(inputs, time_s, place) % posted == 0
        for place in range(len(inputs.grid.other_inputs))
    )


def follow_s(inputs: PlanInputs, time_s: int, place: int) -> int:
    """Time per piece of another coin that lies nearest the main coin's price per minute; the shorter of two as near."""
    other = inputs.grid.other_inputs[place]
    times = other.time_per_piece_s
    want = time_s * other.piece_minor / inputs.grid.piece_minor
    at = bisect_left(times, want)
    near = times[max(0, at - 1) : at + 1]
    return min(near, key=lambda s: (abs(s - want), s))


def spread_pct(inputs: PlanInputs, time_s: int, place: int) -> float:
    """Difference of the price per minute between another coin and the main one, % of the main one."""
    other = inputs.grid.other_inputs[place]
    ratio = (other.piece_minor / follow_s(inputs, time_s, place)) / (inputs.grid.piece_minor / time_s)
    return abs(ratio - 1.0) * 100.0


def setting_at(inputs: PlanInputs, question: Problem, choice: Choice) -> PlanSetting:
    """The setting at a choice of places of a problem, with the other coins following."""
    grid = inputs.grid
    time_s, start = int(question.times_s[choice.time]), int(question.starts[choice.start])
    first_s = start * time_s if question.is_sum else int(question.firsts_s[choice.first])
    places = range(len(grid.other_inputs))
    return PlanSetting(
        piece_minor=grid.piece_minor,
        time_per_piece_s=time_s,
        start_pieces=start,
        first_time_s=first_s,
        cool_down_s=int(question.cools_s[choice.cool]),
        temps=tuple(grid.temps[i] for i in choice.levels),
        other_times_s=tuple(follow_s(inputs, time_s, p) for p in places),
        other_starts=tuple(_other_start(inputs, p, start) for p in places),
    )


def _other_start(inputs: PlanInputs, place: int, start: int) -> int:
    """Pieces of another coin that make up the main one's start price, or the next above it."""
    other = inputs.grid.other_inputs[place]
    want = -(-start * inputs.grid.piece_minor // other.piece_minor)
    enough = [n for n in other.start_pieces if n >= want]
    return min(enough, default=want)


def choice_of(inputs: PlanInputs, question: Problem, setting: PlanSetting) -> Choice | None:
    """The places of a setting on a problem's grid; None when a constraint or the grid leaves it out."""
    places = []
    for row, value in (
        (question.times_s, setting.time_per_piece_s),
        (question.starts, setting.start_pieces),
        (question.firsts_s, setting.first_time_s),
        (question.cools_s, setting.cool_down_s),
    ):
        at = np.flatnonzero(row == value)
        if row.size and not at.size:
            return None
        places.append(int(at[0]) if at.size else 0)
    if any(t not in inputs.grid.temps for t in setting.temps):
        return None
    levels = tuple(inputs.grid.temps.index(t) for t in setting.temps)
    return Choice(places[0], places[1], places[2], places[3], levels)
