"""Loads that stand for all that come: from drying runs, laid under a distribution of minutes where the owner gives one.

Rows are not drawn at random but spread evenly over everything that varies between loads (need, heat, patience, belief):
a Hammersley set, the same every time. Where the owner states minutes, those hold at the hottest heat as set today,
and the drying runs say how minutes and fuel change with temperature and size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drybank.drying import Air, Heat, Load, NeedAxes, NeedMap, Pocket, dry_many
from drybank.drying.bands import band
from drybank.drying.need import build_needs
from drybank.records.errors import InputError
from drybank.records.plan import F64, I64, PlanLoads
from drybank.records.working import Input, Working

ROWS = 1600
NEVER_S = 14_400.0
"""Seconds taken for a load that a heat does not dry within the model's four hours: nobody pays for it."""
AIR = Air()
"""Air that the dryers draw: 22 °C, 50 % (assumed all year)."""
MASSES, FINE, CHECKS, SEED = 16, 60, 24, 20_260_504
"""Masses of a need table; masses it is read at; points a heat at which its error is measured; their seed."""
BELIEF = (0.75, 1.25)
"""Time that owners pay for at first, over what the load needs; evenly spread (assumed, no source)."""
FALLBACK = (0.5, 2.0)
"""Range of minutes where the band's own runs do not get dry (assumed)."""
STATED = (0.9, 1.1)
"""Range of minutes that an owner states (assumed)."""


@dataclass(frozen=True, eq=False)
class Curve:
    """Drying runs of one pocket: seconds and fuel to dry by dry mass (M,) and temperature (T,), idle fire (T,); the largest
    error of the table they were read from."""

    mass_kg: F64
    need_s: F64
    fuel_j: F64
    idle_w: F64
    motor_w: float
    error_frac: float = 0.0


def axes_of(*, moisture_frac: float, fill_kg: float, altitude_m: float) -> NeedAxes:
    """Axes of a bank's need table: masses from a tenth of its fill to the fill; moisture and air held."""
    return NeedAxes(
        mass_kg=(0.1 * fill_kg, fill_kg), residual_frac=(moisture_frac, moisture_frac), air_c=(AIR.temp_c, AIR.temp_c),
        humidity_frac=(AIR.humidity_frac, AIR.humidity_frac), points=(MASSES, 1, 1, 1), altitude_m=altitude_m,
    )  # fmt: skip


@lru_cache(maxsize=64)
def table_of(pocket: Pocket, temps_c: tuple[float, ...], axes: NeedAxes) -> NeedMap:
    """The need table of a pocket, built anew; its error is measured at ``CHECKS`` random points a heat and as many centres."""
    return build_needs(pocket, temps_c, axes, rng=np.random.default_rng(SEED), checks=CHECKS)


def curve_of(table: NeedMap) -> Curve:
    """A need table with moisture and air held, read at ``FINE`` masses: between its points the drying rate is straight in
    the logarithm of mass, as `drybank.drying.need` reads it."""
    low, high = table.axes.mass_kg
    water_frac = table.axes.residual_frac[0]
    known = np.log(np.geomspace(low, high, table.values.shape[1]))
    mass = np.geomspace(low, high, FINE)
    at = np.log(mass)
    rate, per_kg, idle = (
        np.stack(
            [np.interp(at, known, table.values[h, :, 0, 0, 0, part]) for h in range(table.values.shape[0])], axis=1
        )
        for part in range(3)
    )
    # a cell with a corner that does not get dry is not dry
    wet = np.stack([_near_wet(at, known, table.values[h, :, 0, 0, 0, 0]) for h in range(table.values.shape[0])], axis=1)
    water = (mass * water_frac)[:, None]
    never = wet | (rate <= 0.0)
    need = np.where(never, NEVER_S, water / np.where(never, 1.0, rate))
    burnt = np.where(never, NEVER_S * float(np.nanmax(idle, initial=1.0)), water * per_kg)
    return Curve(mass_kg=mass, need_s=np.maximum.accumulate(need, axis=0), fuel_j=burnt, idle_w=_idle_w(idle),
                 motor_w=table.motor_w, error_frac=table.error_max_frac)  # fmt: skip


def _idle_w(idle: F64) -> F64:
    """Fire after dry at each temperature, the mean over the masses that get dry; the hottest one's where none does. [W]"""
    known = idle > 0.0
    sums, counts = np.where(known, idle, 0.0).sum(axis=0), known.sum(axis=0)
    out: F64 = np.where(counts > 0, sums / np.maximum(counts, 1), idle.max())
    return out


def _near_wet(at: F64, known: F64, rate: F64) -> NDArray[np.bool_]:
    """Whether a place lies in a cell one of whose ends does not get dry."""
    cell = np.clip(np.searchsorted(known, at, side="right") - 1, 0, known.size - 2)
    ends = (rate[cell] <= 0.0) | (rate[cell + 1] <= 0.0)
    out: NDArray[np.bool_] = ends & ~((np.abs(at - known[cell]) < 1e-9) & (rate[cell] > 0.0))
    return out


@lru_cache(maxsize=64)
def minutes_band(pocket: Pocket, axes: NeedAxes, mass_kg: float, temp_c: float) -> tuple[float, float]:
    """How far the minutes of a load may lie from those of its run, as factors: ends of what is assumed of the pocket and
    the clientele (`drybank.drying.bands`), or two standard errors of a trial where those reach further."""
    load = Load(mass_dry_kg=min(max(mass_kg, axes.mass_kg[0]), axes.mass_kg[1]), residual_frac=axes.residual_frac[0])
    air = Air(temp_c=axes.air_c[0], humidity_frac=axes.humidity_frac[0], altitude_m=axes.altitude_m)
    heat = Heat(temp_exhaust_c=temp_c, cool_down_s=0.0)
    found = band(load, pocket, air, heat)
    ends = [e for e in (found.ends.get("minutes_to_dry"), found.sampling.get("minutes_to_dry")) if e is not None]
    if not ends:
        return FALLBACK
    here = float(dry_many(load, pocket, air, heat).seconds_to_dry[0]) / 60.0
    return min(max(0.05, e.low / here) for e in ends), max(e.high / here for e in ends)


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


def normal_quantiles(shares: F64) -> F64:
    """Quantiles of the standard normal distribution (Wichura's AS241, as the standard library has it)."""
    inverse = NormalDist().inv_cdf
    return np.array([inverse(float(p)) for p in shares])


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
    band: tuple[float, float],
    mass_spread_frac: float = 0.35,
) -> PlanLoads:
    """Loads whose needs come out of drying runs: masses spread about a mean (log-normal), dried in this pocket."""
    points = even_points(ROWS, 4)
    mass = np.clip(mean_kg * np.exp(mass_spread_frac * normal_quantiles(points[:, 0])), of.mass_kg[0], of.mass_kg[-1])
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
        patience=np.exp(who.spread_frac * normal_quantiles(points[:, 2])),
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
