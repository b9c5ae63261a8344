"""The loads of a bank: the owner's minutes or drying runs, in its own kind of pocket."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from drybank.control import controls_of
from drybank.drying import FireControl, NeedAxes
from drybank.drying import Pocket as Drum
from drybank.plan.gather.assumed import Assumed
from drybank.plan.gather.needs import (
    Clientele,
    Curve,
    axes_of,
    curve_of,
    from_minutes,
    from_runs,
    minutes_band,
    stretch_of,
    table_of,
)
from drybank.plan.gather.week import MEAN_LOADS, counted, shape_of
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.plan import PlanGrid, PlanLoads, Ranged
from drybank.records.plan_given import PlanGiven, WatchSpan
from drybank.records.sheet import HouseSettings
from drybank.records.store import Bank, Pocket, Store

SPREAD = 0.3
"""Spread of walk-away prices around their median, standard deviation of the logarithm (assumed, no source)."""


@dataclass(frozen=True, eq=False)
class Dryer:
    """A pocket that stands for its bank: its drum, the axes of its need table, the table as read, and how the range of its
    minutes is found for a load and a temperature."""

    drum: Drum
    axes: NeedAxes
    curve: Curve
    find_band: Callable[[Drum, NeedAxes, float, float], tuple[float, float]]


def drum_of_plate(pocket: Pocket, assumed: Assumed) -> Drum:
    """A pocket as its plate describes it."""
    plate, usual = pocket.plate, Drum()
    for name, value, taken in (
        ("heat input of a pocket", plate.input_w, f"{usual.heat_input_w / 1000:.1f} kW"),
        ("airflow of a pocket", plate.airflow_m3_s, assumed.flow(usual.flow_exhaust_m3_s)),
        ("motor of a pocket", plate.motor_w, f"{usual.motor_w:.0f} W"),
    ):
        if value is None:
            assumed(name, taken, "common practice, no source", matters="minutes, fuel")
    return Drum(
        fuel=plate.fuel,
        heat_input_w=plate.input_w if plate.input_w is not None else usual.heat_input_w,
        flow_exhaust_m3_s=plate.airflow_m3_s if plate.airflow_m3_s is not None else usual.flow_exhaust_m3_s,
        motor_w=plate.motor_w if plate.motor_w is not None else usual.motor_w,
        derate_frac_per_1000_ft=0.04 if plate.is_derated else 0.0,
        fire=FireControl(kind=plate.fire),
    )


def need_axes(store: Store, pockets: Sequence[Pocket], assumed: Assumed) -> NeedAxes:
    """Axes of a bank's need table: the washers' residual moisture, the air of the store's height."""
    spun = [(w.moisture_left_frac, w.number) for w in store.washers if w.moisture_left_frac is not None]
    moisture = float(np.average([m for m, _ in spun], weights=[n for _, n in spun])) if spun else 0.6
    if not spun:
        assumed("water left by the washers", "60 % of dry mass", "assumed", low="50 %", high="75 %", matters="minutes, fuel")  # fmt: skip
        air = f"{assumed.degrees(22)}, 50 % humidity"
        assumed("air that the dryers draw", air, "assumed all year", low=assumed.degrees(5), high=assumed.degrees(30), matters="fuel")  # fmt: skip
    return axes_of(moisture_frac=moisture, fill_kg=pockets[0].fill_kg, altitude_m=store.altitude_m)


def bank_dryer(store: Store, pockets: Sequence[Pocket], grid: PlanGrid, given: PlanGiven, assumed: Assumed) -> Dryer:
    """The pocket that stands for a bank, with its need table: the one handed in, if it is this pocket's, else built."""
    drum = given.drum
    if drum is None:
        drum = drum_of_plate(pockets[0], assumed)
        assumed("fabric contact of a pocket", f"{drum.contact_w_k:g} W/K", "set on household efficiency levels",
                matters="minutes: an uncalibrated pocket is an estimate")  # fmt: skip
    assumed.list += given.drum_assumed
    axes = need_axes(store, pockets, assumed)
    find = given.find_needs or table_of
    table = find(msgspec.structs.replace(drum, calibration=None), grid.temps_c, axes)
    return Dryer(drum, axes, curve_of(table), given.find_band or minutes_band)


def bank_loads(
    store: Store,
    bank: Bank,
    pockets: Sequence[Pocket],
    grid: PlanGrid,
    house: HouseSettings,
    dryer: Dryer,
    assumed: Assumed,
) -> PlanLoads:
    """The bank's loads: the owner's minutes, or drying runs with the range of their minutes."""
    trade, of, drum = store.trade, dryer.curve, dryer.drum
    level = reference_level(grid, house)
    heat_share = _heat_share(store, grid, assumed)
    usual_kg = normal_kg(store, bank, pockets)
    if trade.need_minutes:
        weighed = bank.normal_load_kg or trade.load_kg_mean or 0.0
        who = Clientele(heat_share, level, SPREAD, weighed, "stated by the owner (trade.need_minutes)")
        made = from_minutes(of, who, minutes=trade.need_minutes, share=trade.need_share)
        ratio = stretch_of(of, minutes=float(made.normal_need_s[level]) / 60.0, mass_kg=made.normal_kg, at_level=level)
        if not 0.75 <= ratio <= 1.33:
            assumed("minutes against drying runs", f"{ratio:.1f} times those of a run of {assumed.mass(made.normal_kg)} in this pocket",
                    "stated minutes and the pocket's plate do not agree; the stated ones are taken",
                    matters="fuel of a load; calibrate the pocket or stop-watch some loads")  # fmt: skip
        return made
    if trade.load_kg_mean is None:
        assumed(
            "mean load", assumed.mass(usual_kg), "the bank's normal load, or 35 % of the fill", matters="minutes, fuel"
        )
    band = dryer.find_band(drum, dryer.axes, usual_kg, grid.temps_c[level])
    source = "drying runs of an uncalibrated pocket"
    if drum.calibration is not None:
        source = f"drying runs, pocket calibrated by {drum.calibration.how}"
    assumed("drying needs", f"from drying runs (table good to {100 * of.error_frac:.1f} %)", source,
            low=f"{100 * (band[0] - 1):+.0f} %", high=f"{100 * (band[1] - 1):+.0f} %", matters="everything")  # fmt: skip
    who = Clientele(heat_share, level, SPREAD, usual_kg, source)
    return from_runs(of, who, mean_kg=trade.load_kg_mean or usual_kg, band=band)


def normal_kg(store: Store, bank: Bank, pockets: Sequence[Pocket]) -> float:
    """A normal load of the bank as stated, else 35 % of the fill (assumed). [kg dry]"""
    return bank.normal_load_kg or store.trade.load_kg_mean or 0.35 * pockets[0].fill_kg


def reference_level(grid: PlanGrid, house: HouseSettings) -> int:
    """The temperature that stated minutes hold at: the hottest heat as set today, else the hottest it may be."""
    hottest = grid.heats[0]
    for h in house:
        if (
            h.purpose == "temperature"
            and h.heat in (0, hottest.number)
            and h.base == grid.temp_base
            and h.value in grid.temps
        ):
            return grid.temps.index(h.value)
    return max(hottest.levels)


def _heat_share(store: Store, grid: PlanGrid, assumed: Assumed) -> list[float]:
    """Shares of the bank's heats, out of the store's shares by heat number."""
    given = store.trade.heat_share
    if given and (len(given) != max(len(store.heats), len(grid.heats)) or min(given) < 0 or sum(given) <= 0):
        raise InputError(f"{len(given)} shares for {len(store.heats)} heats.", where="trade.heat_share",
                         mend="Give one share for each heat, in the order of their numbers.")  # fmt: skip
    share = [given[h.number - 1] for h in grid.heats if 1 <= h.number <= len(given)]
    if len(share) == len(grid.heats) and sum(share) > 0:
        return share
    heats = len(grid.heats)
    share = [1.0] if heats == 1 else [0.6] + [0.4 / (heats - 1)] * (heats - 1)
    if heats > 1:
        assumed("heats that customers choose", ", ".join(f"{100 * s:.0f} %" for s in share), "assumed, no source")
    return share


def loads_per_week(store: Store, laid: Layout, bank: str, watches: Sequence[WatchSpan], assumed: Assumed) -> Ranged:
    """Loads a week at this bank: the store's as stated, else from customers counted, else assumed; shared by pockets."""
    share = len(bank_pockets(laid, bank)) / max(1, len(store.pockets))
    if store.trade.loads_per_week is not None and not store.trade.loads_per_week > 0:
        raise InputError("no loads come, so there is nothing to weigh.", where="trade.loads_per_week",
                         mend="Say how many loads the whole store dries in a week.")  # fmt: skip
    if store.trade.loads_per_week is not None:
        mean = store.trade.loads_per_week * share
        return Ranged(value=mean, low=0.85 * mean, high=1.15 * mean, how="given", source="trade.loads_per_week")
    seen = counted(watches, shape_of(store)) if store.hours else None
    if seen is not None:
        mean = sum(seen.by_hour) * MEAN_LOADS * share
        source = f"{seen.customers} customers in {seen.watches} watches, {MEAN_LOADS:.1f} loads each (assumed)"
        return Ranged(
            value=mean, low=0.8 * seen.low_frac * mean, high=1.2 * seen.high_frac * mean, how="learned", source=source
        )
    mean = 40.0 * len(store.pockets) * share
    assumed("loads a week", f"{mean:.0f}", "40 a pocket, assumed", low=f"{0.5 * mean:.0f}", high=f"{1.5 * mean:.0f}",
            matters="every weekly figure in proportion")  # fmt: skip
    return Ranged(
        value=mean, low=0.5 * mean, high=1.5 * mean, how="assumed", source="40 loads a pocket a week, assumed"
    )


def bank_pockets(laid: Layout, bank: str) -> list[Pocket]:
    """Pockets of a bank in walking order."""
    keys = [key for control in controls_of(laid, bank) for key in control.pockets]
    if not keys:
        raise InputError(
            f"Bank {bank} has no pocket.", where=f"bank {bank}", mend="Name its machines in the store file."
        )
    return [laid.pockets[key] for key in keys]
