"""One setting met by the loads: who is dried, what it costs, what it brings; a week's figures with their intervals.

A week's figures scatter because the number of loads and what they are scatters: loads come as a Poisson stream, so a
weekly sum has variance λ·E[x²] (compound Poisson). Two settings are met by the same loads, so a difference has variance
λ·E[(x - y)²]: what both share falls out. Ranges of assumption come from worlds, and are kept apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.plan.search.problem import JOULES_KWH, MICRO, World, limit_minor, paid_need_s, rates_micro_s, whole_seconds
from drybank.plan.words import fuel_unit
from drybank.records.errors import InputError
from drybank.records.plan import F64, I64, PlanFigure, PlanInputs, PlanSetting
from drybank.records.working import Estimate, Interval

LEVEL_Z = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""


@dataclass(frozen=True, eq=False)
class Met:
    """What a setting does to each load; arrays (N,), money in minor units, weights already whole."""

    weight: F64
    is_dried: NDArray[np.bool_]
    is_dry_at_first: NDArray[np.bool_]
    pieces: F64
    heated_s: F64
    sold_s: F64
    over_s: F64
    takings: F64
    fuel_j: F64
    fuel_cost: F64
    power_kwh: F64
    power_cost: F64
    wear_cost: F64
    lost_visit: F64
    normal_pieces: int
    per_minute: float

    @property
    def contribution(self) -> F64:
        """Takings less energy and wear, less what lost visits would have brought. [minor]"""
        out: F64 = self.margin - self.lost_visit
        return out

    @property
    def energy_cost(self) -> F64:
        out: F64 = self.fuel_cost + self.power_cost
        return out

    @property
    def margin(self) -> F64:
        """Takings less energy and wear. [minor]"""
        out: F64 = self.takings - self.fuel_cost - self.power_cost - self.wear_cost
        return out


def levels_of(inputs: PlanInputs, setting: PlanSetting) -> I64:
    """Places of a setting's temperatures on the grid."""
    temps = inputs.grid.temps
    missing = [t for t in setting.temps if t not in temps]
    if missing or len(setting.temps) != len(inputs.grid.heats):
        text = (
            f"{missing[0]} {inputs.grid.temp_base} is on no control's grid."
            if missing
            else "A heat has no temperature."
        )
        raise InputError(text, where="temperature", allowed=", ".join(map(str, temps)))
    return np.array([temps.index(t) for t in setting.temps], np.int64)


def heated_at_start_s(inputs: PlanInputs, setting: PlanSetting) -> int:
    return setting.first_time_s - (setting.cool_down_s if inputs.grid.cool_is_inside else 0)


def pieces_needed(need_s: I64, setting: PlanSetting, heated_s: int) -> I64:
    """Fewest pieces that give each need its heated seconds."""
    more = np.maximum(-((heated_s - need_s) // setting.time_per_piece_s), 0)
    return setting.start_pieces + more


def normal_price(inputs: PlanInputs, setting: PlanSetting, need_frac: float = 1.0) -> int:
    """Pieces that dry a normal load at its heat."""
    level = int(levels_of(inputs, setting)[inputs.loads.normal_heat])
    need = whole_seconds(inputs.loads.normal_need_s[level : level + 1] * need_frac)
    return int(pieces_needed(need, setting, heated_at_start_s(inputs, setting))[0])


@lru_cache(maxsize=48)
def meet(inputs: PlanInputs, setting: PlanSetting, world: World) -> Met:
    """The loads of the inputs, met by one setting in one world; the same maths as the search, in full figures."""
    loads = inputs.loads
    level = levels_of(inputs, setting)[loads.heat]
    rows = np.arange(level.size)
    start = heated_at_start_s(inputs, setting)
    paid_need = paid_need_s(inputs, world)[rows, level]
    true_need = loads.need_s[rows, level] * world.need_frac
    believed = whole_seconds(true_need * loads.belief**world.belief_power)
    pieces = pieces_needed(paid_need, setting, start)
    is_dried = pieces * setting.piece_minor <= limit_minor(inputs, world)
    heated = start + (pieces - setting.start_pieces) * setting.time_per_piece_s
    first = pieces_needed(believed, setting, start)
    enough = pieces_needed(whole_seconds(true_need), setting, start)
    _, motor_s, wear_s = (x / MICRO for x in rates_micro_s(inputs, world))
    on = is_dried.astype(np.float64)
    motor_seconds = heated + setting.cool_down_s
    fuel_j = on * (loads.fuel_j[rows, level] * world.need_frac + loads.fuel_over_w[level] * (heated - true_need))
    return Met(
        weight=loads.weight.astype(np.float64),
        is_dried=is_dried,
        is_dry_at_first=is_dried & (first >= enough),
        pieces=on * pieces,
        heated_s=on * heated,
        sold_s=on * (setting.first_time_s + (pieces - setting.start_pieces) * setting.time_per_piece_s),
        over_s=on * (heated - true_need),
        takings=on * pieces * setting.piece_minor,
        fuel_j=fuel_j,
        fuel_cost=fuel_j / JOULES_KWH * world.fuel_minor_kwh,
        power_kwh=on * loads.motor_w * motor_seconds / JOULES_KWH,
        power_cost=on * motor_s * motor_seconds,
        wear_cost=on * wear_s * motor_seconds,
        lost_visit=(1.0 - on) * world.visit_minor,
        normal_pieces=normal_price(inputs, setting, world.need_frac),
        per_minute=setting.minor_per_minute,
    )  # fmt: skip


def mean(met: Met, values: NDArray[np.floating[Any]]) -> float:
    return float(np.average(values, weights=met.weight))


def weekly_minor(inputs: PlanInputs, setting: PlanSetting, world: World, loads_per_week: float | None = None) -> float:
    """Expected contribution a week in one world. [minor]"""
    met = meet(inputs, setting, world)
    return mean(met, met.contribution) * (inputs.loads_per_week.value if loads_per_week is None else loads_per_week)


@dataclass(frozen=True)
class Sum:
    """A figure that is a sum over the week's loads."""

    key: str
    name: str
    unit: str
    of: Callable[[Met], F64]
    scale: float = 1.0


@dataclass(frozen=True)
class Share:
    """A figure that is a share or mean over dried loads."""

    key: str
    name: str
    unit: str
    of: Callable[[Met], F64]
    scale: float = 100.0


SUMS: tuple[Sum, ...] = (
    Sum("contribution", "what drying brings, lost visits taken off", "minor", lambda m: m.contribution),
    Sum("takings", "takings at the dryers", "minor", lambda m: m.takings),
    Sum("pieces", "coins", "pieces", lambda m: m.pieces),
    Sum("loads", "loads dried", "loads", lambda m: m.is_dried.astype(np.float64)),
    Sum("lost", "loads lost to the price", "loads", lambda m: (~m.is_dried).astype(np.float64)),
    Sum("gas", "fuel burnt, higher heating value", "kWh", lambda m: m.fuel_j, 1.0 / JOULES_KWH),
    Sum("electricity", "electricity of drums and fans", "kWh", lambda m: m.power_kwh),
    Sum("energy cost", "fuel and electricity, at the margin", "minor", lambda m: m.energy_cost),
    Sum("margin", "takings less fuel, electricity and wear", "minor",
        lambda m: m.margin),
    Sum("sold minutes", "minutes sold", "min", lambda m: m.sold_s, 1.0 / 60.0),
    Sum("over-dry minutes", "heated minutes sold after the load was dry", "min", lambda m: m.over_s, 1.0 / 60.0),
)  # fmt: skip
SHARES: tuple[Share, ...] = (
    Share("dry at first", "share of dried loads that are dry at the first purchase", "%",
          lambda m: m.is_dry_at_first.astype(np.float64)),
)  # fmt: skip


def sum_estimate(per_week: float, x: F64, weight: F64, unit: str, scale: float) -> Estimate:
    """A weekly sum with a week's scatter: λ·mean ± 1.96 √(λ·E[x²])."""
    share = weight / weight.sum()
    value = per_week * float(share @ x) * scale
    half = LEVEL_Z * float(np.sqrt(per_week * float(share @ (x * x)))) * scale
    return Estimate(value=value, unit=unit, interval=Interval(value - half, value + half))


def share_estimate(per_week: float, met: Met, x: F64, unit: str, scale: float) -> Estimate:
    """A share over a week's dried loads, with the scatter of that many loads."""
    share = met.weight * met.is_dried
    if share.sum() <= 0:
        return Estimate(value=0.0, unit=unit)
    value = float(np.average(x, weights=share))
    count = per_week * float(share.sum() / met.weight.sum())
    half = LEVEL_Z * float(np.sqrt(max(value * (1.0 - value), 0.0) / max(count, 1.0)))
    low, high = max(0.0, value - half), min(1.0, value + half)
    return Estimate(value=value * scale, unit=unit, interval=Interval(low * scale, high * scale))


def share_difference(per_week: float, old: Met, new: Met, x: F64, y: F64, unit: str, scale: float) -> Estimate:
    """Difference of two shares over the same loads (delta method on the week's loads)."""
    w = new.weight / new.weight.sum()
    a, b = w @ (y * new.is_dried), w @ new.is_dried.astype(np.float64)
    c, d = w @ (x * old.is_dried), w @ old.is_dried.astype(np.float64)
    if min(b, d) <= 0:
        return Estimate(value=0.0, unit=unit)
    one = new.is_dried * (y - a / b) / b - old.is_dried * (x - c / d) / d
    value = float(a / b - c / d)
    half = LEVEL_Z * float(np.sqrt(float(w @ (one * one)) / max(per_week, 1.0)))
    return Estimate(value=value * scale, unit=unit, interval=Interval((value - half) * scale, (value + half) * scale))


def figures(
    inputs: PlanInputs, proposed: PlanSetting, today: PlanSetting | None, world: World, others: Sequence[World] = ()
) -> tuple[PlanFigure, ...]:
    """A week's figures of a setting, today's beside them where known; ``others`` span the range of assumption."""
    new = meet(inputs, proposed, world)
    old = meet(inputs, today, world) if today is not None else None
    far = [(meet(inputs, proposed, w), meet(inputs, today, w) if today is not None else None) for w in others]
    weeks = [inputs.loads_per_week.low, inputs.loads_per_week.high]
    per_week = inputs.loads_per_week.value
    out = [_sum_figure(kind, per_week, weeks, new, old, far) for kind in SUMS]
    out += [_share_figure(kind, per_week, new, old, far) for kind in SHARES]
    out = [_in_unit(f, inputs) if f.key == "gas" else f for f in out]
    return (*out, *_prices(inputs, new, old, proposed, today))


def _in_unit(figure: PlanFigure, inputs: PlanInputs) -> PlanFigure:
    """Fuel in the person's own unit."""
    unit = fuel_unit(inputs)

    def told(one: Estimate | None) -> Estimate | None:
        if one is None:
            return None
        spans = {k: v and msgspec.structs.replace(v, low=v.low / unit.kwh, high=v.high / unit.kwh)
                 for k, v in (("interval", one.interval), ("assumption", one.assumption))}  # fmt: skip
        return msgspec.structs.replace(one, value=one.value / unit.kwh, unit=unit.name, **spans)

    proposed = told(figure.proposed)
    assert proposed is not None, "a figure has a proposed value"
    return msgspec.structs.replace(
        figure, today=told(figure.today), proposed=proposed, difference=told(figure.difference)
    )


def _sum_figure(
    kind: Sum, per_week: float, weeks: Sequence[float], new: Met, old: Met | None,
    far: Sequence[tuple[Met, Met | None]],
) -> PlanFigure:  # fmt: skip
    after = sum_estimate(per_week, kind.of(new), new.weight, kind.unit, kind.scale)
    before = None if old is None else sum_estimate(per_week, kind.of(old), old.weight, kind.unit, kind.scale)
    change = None
    if old is not None:
        change = sum_estimate(per_week, kind.of(new) - kind.of(old), new.weight, kind.unit, kind.scale)
    if far:

        def reach(of: Callable[[Met, Met | None], float], middle: float) -> Interval:
            at = [of(n, o) * kind.scale for n, o in far]
            values = [v * per_week for v in at] + [middle / per_week * w for w in weeks]
            return Interval(min(values), max(values), "assumption", 1.0)

        after = _ranged(after, reach(lambda n, _: mean(n, kind.of(n)), after.value))
        if before is not None and change is not None:
            before = _ranged(before, reach(lambda _, o: mean(o, kind.of(o)) if o else 0.0, before.value))
            change = _ranged(
                change, reach(lambda n, o: mean(n, kind.of(n)) - (mean(o, kind.of(o)) if o else 0.0), change.value)
            )
    return PlanFigure(key=kind.key, name=kind.name, today=before, proposed=after, difference=change)


def _ranged(estimate: Estimate, assumption: Interval) -> Estimate:
    return Estimate(
        value=estimate.value, unit=estimate.unit, interval=estimate.interval, assumption=assumption, how=estimate.how
    )


def _share_figure(
    kind: Share, per_week: float, new: Met, old: Met | None, far: Sequence[tuple[Met, Met | None]]
) -> PlanFigure:
    after = share_estimate(per_week, new, kind.of(new), kind.unit, kind.scale)
    before = None if old is None else share_estimate(per_week, old, kind.of(old), kind.unit, kind.scale)
    change = None
    if old is not None:
        change = share_difference(per_week, old, new, kind.of(old), kind.of(new), kind.unit, kind.scale)
    if far:
        values = [share_estimate(per_week, n, kind.of(n), kind.unit, kind.scale).value for n, _ in far]
        after = _ranged(after, Interval(min(values), max(values), "assumption", 1.0))
    return PlanFigure(key=kind.key, name=kind.name, today=before, proposed=after, difference=change)


def _prices(
    inputs: PlanInputs, new: Met, old: Met | None, proposed: PlanSetting, today: PlanSetting | None
) -> tuple[PlanFigure, ...]:
    """Prices are what the sign says; the normal load's pieces hang on its need, whose range is an assumption."""
    low, high = inputs.loads.need_low_frac, inputs.loads.need_high_frac

    def normal(met: Met, setting: PlanSetting) -> Estimate:
        ends = [float(normal_price(inputs, setting, f) * setting.piece_minor) for f in (low, high)]
        reach = Interval(min(ends), max(ends), "assumption", 1.0) if high > low else None
        return Estimate(value=float(met.normal_pieces * setting.piece_minor), unit="minor", assumption=reach)

    out = []
    pairs: tuple[tuple[str, str, str, Callable[[Met, PlanSetting], Estimate]], ...] = (
        ("price of a normal load", "price that dries a normal load", "minor", normal),
        ("price per minute", "price of a minute", "minor/min",
         lambda m, _: Estimate(value=m.per_minute, unit="minor/min", how="given")),
    )  # fmt: skip
    for key, name, unit, of in pairs:
        after = of(new, proposed)
        before = of(old, today) if old is not None and today is not None else None
        change = None if before is None else Estimate(value=after.value - before.value, unit=unit)
        out.append(PlanFigure(key=key, name=name, today=before, proposed=after, difference=change))
    return tuple(out)
