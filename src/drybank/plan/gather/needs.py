"""Loads that stand for all that come: from drying runs, laid under a distribution of minutes where the owner gives one.

Rows are not drawn at random but spread evenly over everything that varies between loads (need, heat, patience, belief):
a Hammersley set, the same every time. Where the owner states minutes, those hold at the hottest heat as set today,
and the drying runs say how minutes and fuel change with temperature and size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from drybank.drying import Air, Heat, Load, Pocket, dry_many
from drybank.records.errors import InputError
from drybank.records.plan import F64, I64, PlanLoads
from drybank.records.working import Input, Working

ROWS = 1600
NEVER_S = 14_400.0
"""Seconds taken for a load that a heat does not dry within the model's four hours: nobody pays for it."""
IDLE_S = 900.0
"""Seconds past dry over which the idle fire is averaged."""
BELIEF = (0.75, 1.25)
"""Time that owners pay for at first, over what the load needs; evenly spread (assumed, no source)."""
UNCALIBRATED = (0.83, 1.36)
"""Range of minutes of an uncalibrated pocket, from a trial build of the same model (own work)."""
STATED = (0.9, 1.1)
"""Range of minutes that an owner states (assumed)."""


@dataclass(frozen=True, eq=False)
class Curve:
    """Drying runs of one pocket: seconds and fuel to dry by dry mass (M,) and temperature (T,), idle fire (T,)."""

    mass_kg: F64
    need_s: F64
    fuel_j: F64
    idle_w: F64
    motor_w: float


def curve(
    pocket: Pocket, air: Air, *, temps_c: Sequence[float], moisture_frac: float, fill_kg: float, masses: int = 8
) -> Curve:
    """Runs of a pocket over masses from a tenth of its fill to the fill, at each temperature."""
    mass = np.linspace(0.1 * fill_kg, fill_kg, masses)
    loads = [Load(mass_dry_kg=float(m), residual_frac=moisture_frac) for m in mass for _ in temps_c]
    heats = [Heat(temp_exhaust_c=t, cool_down_s=0.0) for _ in mass for t in temps_c]
    runs = dry_many(loads, pocket, air, heats)
    shape = (masses, len(temps_c))
    need, burnt = runs.seconds_to_dry.reshape(shape), _burnt(pocket, runs.gas_to_dry_j, runs.electricity_to_dry_j,
                                                             runs.seconds_to_dry).reshape(shape)  # fmt: skip
    need = np.where(np.isfinite(need), need, NEVER_S)
    burnt = np.where(np.isfinite(burnt), burnt, 0.5 * NEVER_S * pocket.heat_input_w)
    middle = masses // 2
    return Curve(
        mass_kg=mass, need_s=np.maximum.accumulate(need, axis=0), fuel_j=burnt, motor_w=pocket.motor_w,
        idle_w=_idle_w(pocket, air, temps_c, loads[middle * len(temps_c)], need[middle], burnt[middle]),
    )  # fmt: skip


def _burnt(pocket: Pocket, gas_j: F64, power_j: F64, seconds: F64) -> F64:
    """Heat bought: gas, or electricity less the motor's."""
    out: F64 = power_j - pocket.motor_w * seconds if pocket.fuel == "electric" else gas_j
    return out


def _idle_w(pocket: Pocket, air: Air, temps_c: Sequence[float], load: Load, need: F64, burnt: F64) -> F64:
    """Mean fire over a quarter of an hour after the load is dry, at each temperature. [W]"""
    sold = np.minimum(need + IDLE_S, NEVER_S)
    heats = [Heat(temp_exhaust_c=t, cool_down_s=0.0) for t in temps_c]
    runs = dry_many(load, pocket, air, heats, sold_s=sold)
    end = _burnt(pocket, runs.gas_end_j, runs.electricity_end_j, runs.seconds_end)
    spans = np.maximum(sold - need, 1.0)
    idle: F64 = np.maximum(np.where(sold > need, (end - burnt) / spans, 0.3 * pocket.heat_input_w), 0.0)
    return idle


def even_points(rows: int, columns: int) -> F64:
    """Evenly spread points of the unit cube (rows, columns), up to five columns.

    Hammersley's set: the row's place, then its digits turned round behind the point in bases 2, 3, 5, 7; each column is put
    on its own even steps, so that every share is met to the row.
    """
    place = np.arange(rows)
    points = np.stack([place / rows, *(_turned(place, base) for base in (2, 3, 5, 7))], axis=1)[:, :columns]
    steps: F64 = (np.argsort(np.argsort(points, axis=0, kind="stable"), axis=0, kind="stable") + 0.5) / rows
    return steps


def _turned(place: I64, base: int) -> F64:
    """Digits of whole numbers in a base, turned round behind the point."""
    out, rest, unit = np.zeros(place.size), place.copy(), 1.0 / base
    while rest.any():
        out += (rest % base) * unit
        rest //= base
        unit /= base
    return out


@dataclass(frozen=True)
class Clientele:
    """Who brings the loads: shares of the heats (hottest first), the temperature level that needs are known at, spread of
    walk-away prices, mass of a normal load (0: not known), where all this comes from."""

    heat_share: Sequence[float]
    at_level: int
    spread_frac: float
    normal_kg: float
    source: str


def from_minutes(of: Curve, who: Clientele, *, minutes: Sequence[float], share: Sequence[float]) -> PlanLoads:
    """Loads with a stated distribution of needs at the clientele's temperature level.

    Each stated value stands for all needs half way to its neighbours. The normal load is the median one. Where its
    mass is known, a load's mass goes with its need; minutes that its drying run does not explain burn idle fire. Without
    a mass, the mass whose run takes so long stands for the load.
    """
    values, shares = _stated(minutes, share)
    points = even_points(ROWS, 4)
    need = 60.0 * _quantile(values, shares, points[:, 0])
    normal = 60.0 * float(_quantile(values, shares, np.array([0.5]))[0])
    given = [Input(name=f"{v:g} min", value=f"{100 * s:.0f} %") for v, s in zip(values, shares, strict=True)]
    working = Working(
        figure="drying needs", source=who.source, inputs=tuple(given),
        formula="minutes as stated at the hottest heat; drying runs say how they change with temperature",
    )  # fmt: skip
    return _loads(of, who, need, normal, points, STATED, "given", working)


def from_runs(
    of: Curve,
    who: Clientele,
    *,
    mean_kg: float,
    mass_spread_frac: float = 0.35,
    band: tuple[float, float] = UNCALIBRATED,
) -> PlanLoads:
    """Loads whose needs come out of drying runs: masses spread about a mean (log-normal), dried in this pocket."""
    from scipy.special import ndtri

    points = even_points(ROWS, 4)
    mass = np.clip(mean_kg * np.exp(mass_spread_frac * ndtri(points[:, 0])), of.mass_kg[0], of.mass_kg[-1])
    need = np.interp(mass, of.mass_kg, of.need_s[:, who.at_level])
    normal = float(np.interp(who.normal_kg, of.mass_kg, of.need_s[:, who.at_level]))
    working = Working(
        figure="drying needs", source=who.source, formula="seconds to dry of a drying run for each load's dry mass",
        inputs=(Input(name="mean load", value=f"{mean_kg:.2f}", unit="kg"),
                Input(name="normal load", value=f"{who.normal_kg:.2f}", unit="kg")),
    )  # fmt: skip
    return _loads(of, who, need, normal, points, band, "computed", working)


def _loads(
    of: Curve, who: Clientele, need: F64, normal_s: float, points: F64, band: tuple[float, float],
    how: Literal["given", "computed"], working: Working,
) -> PlanLoads:  # fmt: skip
    from scipy.special import ndtri

    at_level, normal_kg = who.at_level, who.normal_kg
    is_weighed = how == "given" and normal_kg > 0.0
    mass = normal_kg * need / normal_s if is_weighed else None
    need_s, fuel_j, mass = _by_level(of, need, at_level, mass)
    normal_mass = np.array([normal_kg]) if is_weighed else None
    normal, normal_fuel, normal_mass = _by_level(of, np.array([normal_s]), at_level, normal_mass)
    low, high = BELIEF
    return PlanLoads(
        need_s=need_s,
        fuel_j=fuel_j,
        heat=_heats(points[:, 1], who.heat_share),
        belief=low + (high - low) * points[:, 3],
        patience=np.exp(who.spread_frac * ndtri(points[:, 2])),
        weight=np.ones(need.size, np.int64),
        load_kg=mass,
        fuel_over_w=of.idle_w,
        motor_w=of.motor_w,
        normal_need_s=normal[0],
        normal_fuel_j=normal_fuel[0],
        normal_kg=normal_kg or float(normal_mass[0]),
        need_low_frac=band[0],
        need_high_frac=band[1],
        how=how,
        source=who.source,
        working=working,
    )


def _by_level(of: Curve, need: F64, at_level: int, mass: F64 | None = None) -> tuple[F64, F64, F64]:
    """Needs and fuel at every temperature of loads whose need at one temperature is known, and their masses.

    Without a mass, the one whose run takes that long; the run says how need and fuel go with temperature. Its need is
    stretched to the known one; a stretched minute burns idle fire.
    """
    known = of.need_s[:, at_level]
    mass = np.interp(need, known, of.mass_kg) if mass is None else np.clip(mass, of.mass_kg[0], of.mass_kg[-1])
    stretch = (need / np.interp(mass, of.mass_kg, known))[:, None]
    levels = range(of.need_s.shape[1])
    run_s = np.stack([np.interp(mass, of.mass_kg, of.need_s[:, i]) for i in levels], axis=1)
    run_j = np.stack([np.interp(mass, of.mass_kg, of.fuel_j[:, i]) for i in levels], axis=1)
    need_s = run_s * stretch
    fuel_j = run_j + np.maximum(need_s - run_s, 0.0) * of.idle_w[None, :]
    return need_s, fuel_j, mass


def stretch_of(of: Curve, *, minutes: float, mass_kg: float, at_level: int) -> float:
    """Stated minutes of a load over those of its drying run."""
    return 60.0 * minutes / float(np.interp(mass_kg, of.mass_kg, of.need_s[:, at_level]))


def _heats(points: F64, share: Sequence[float]) -> I64:
    edges = np.cumsum(np.asarray(share, dtype=np.float64) / float(np.sum(share)))
    return np.minimum(np.searchsorted(edges, points, side="right"), len(share) - 1).astype(np.int64)


def _stated(minutes: Sequence[float], share: Sequence[float]) -> tuple[F64, F64]:
    """Stated values in rising order with shares that add to one; refuses what cannot be a distribution."""
    values = np.asarray(minutes, dtype=np.float64)
    shares = np.asarray(share if len(share) else [1.0] * values.size, dtype=np.float64)
    if values.size == 0 or values.shape != shares.shape:
        raise InputError("drying needs want as many shares as minutes.", where="trade.need_minutes, trade.need_share")
    if not (np.isfinite(values).all() and (values > 0).all() and (values <= 240).all()):
        raise InputError("a drying need is no number of minutes.", where="trade.need_minutes", allowed="above 0 to 240")
    if not np.isfinite(shares).all() or (shares < 0).any() or shares.sum() <= 0:
        raise InputError("shares must be zero or more, not all zero.", where="trade.need_share")
    order = np.argsort(values, kind="stable")
    return values[order], shares[order] / shares.sum()


def _quantile(values: F64, shares: F64, points: F64) -> F64:
    """Quantiles of a stated distribution, each value spread half way to its neighbours."""
    if values.size == 1:
        edges = np.array([values[0] * 0.9, values[0] * 1.1])
    else:
        middles = (values[1:] + values[:-1]) / 2.0
        edges = np.concatenate([[values[0] - (middles[0] - values[0])], middles, [2.0 * values[-1] - middles[-1]]])
    steps = np.concatenate([[0.0], np.cumsum(shares)])
    out: F64 = np.interp(points, steps / steps[-1], np.maximum(edges, 1.0))
    return out
