"""The loads of a bank: the owner's minutes or drying runs, in its own kind of pocket."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drybank.control import controls_of
from drybank.drying import Air, FireControl
from drybank.drying import Pocket as Drum
from drybank.plan.gather.assumed import Assumed
from drybank.plan.gather.needs import UNCALIBRATED, Clientele, Curve, curve, from_minutes, from_runs, stretch_of
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.plan import PlanGrid, PlanLoads, Ranged
from drybank.records.sheet import HouseSettings
from drybank.records.store import Bank, Pocket, Store

SPREAD = 0.3
"""Spread of walk-away prices around their median, standard deviation of the logarithm (assumed, no source)."""


def drum_of_plate(pocket: Pocket, assumed: Assumed) -> Drum:
    """A pocket as its plate describes it."""
    plate, usual = pocket.plate, Drum()
    for name, value, taken in (
        ("heat input of a pocket", plate.input_w, f"{usual.heat_input_w / 1000:.1f} kW"),
        ("airflow of a pocket", plate.airflow_m3_s, f"{usual.flow_exhaust_m3_s:.2f} m3/s"),
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


def bank_curve(store: Store, pockets: Sequence[Pocket], grid: PlanGrid, drum: Drum, assumed: Assumed) -> Curve:
    """Drying runs of the bank's pocket, with the washers' residual moisture and the air of the store's height."""
    spun = [(w.moisture_left_frac, w.number) for w in store.washers if w.moisture_left_frac is not None]
    moisture = float(np.average([m for m, _ in spun], weights=[n for _, n in spun])) if spun else 0.6
    if not spun:
        assumed(
            "water left by the washers", "60 % of dry mass", "assumed", low="50 %", high="75 %", matters="minutes, fuel"
        )
    assumed(
        "air that the dryers draw", "22 °C, 50 % humidity", "assumed all year", low="5 °C", high="30 °C", matters="fuel"
    )
    if drum.calibration is None:
        assumed("fabric contact of a pocket", f"{drum.contact_w_k:g} W/K", "set on household efficiency levels",
                matters="minutes: an uncalibrated pocket is an estimate")  # fmt: skip
    air, fill = Air(altitude_m=store.altitude_m), pockets[0].fill_kg
    return curve(drum, air, temps_c=grid.temps_c, moisture_frac=moisture, fill_kg=fill)


def bank_loads(
    store: Store,
    bank: Bank,
    pockets: Sequence[Pocket],
    grid: PlanGrid,
    house: HouseSettings,
    of: Curve,
    drum: Drum | None,
    assumed: Assumed,
) -> PlanLoads:
    trade = store.trade
    level = _reference_level(grid, house)
    heat_share = _heat_share(store, grid, assumed)
    normal_kg = bank.normal_load_kg or trade.load_kg_mean or 0.35 * pockets[0].fill_kg
    if trade.need_minutes:
        weighed = bank.normal_load_kg or trade.load_kg_mean or 0.0
        who = Clientele(heat_share, level, SPREAD, weighed, "stated by the owner (trade.need_minutes)")
        made = from_minutes(of, who, minutes=trade.need_minutes, share=trade.need_share)
        ratio = stretch_of(of, minutes=float(made.normal_need_s[level]) / 60.0, mass_kg=made.normal_kg, at_level=level)
        if not 0.75 <= ratio <= 1.33:
            assumed("minutes against drying runs", f"{ratio:.1f} times those of a run of {made.normal_kg:.1f} kg in this pocket",
                    "stated minutes and the pocket's plate do not agree; the stated ones are taken",
                    matters="fuel of a load; calibrate the pocket or stop-watch some loads")  # fmt: skip
        return made
    if trade.load_kg_mean is None:
        assumed(
            "mean load", f"{normal_kg:.1f} kg", "the bank's normal load, or 35 % of the fill", matters="minutes, fuel"
        )
    band, source = UNCALIBRATED, "drying runs of an uncalibrated pocket"
    if drum is not None and drum.calibration is not None:
        half = 2.0 * drum.calibration.band_frac
        band, source = (max(0.05, 1.0 - half), 1.0 + half), f"drying runs, pocket calibrated by {drum.calibration.how}"
    assumed("drying needs", "from drying runs", source, low=f"{100 * (band[0] - 1):.0f} %", high=f"{100 * (band[1] - 1):+.0f} %",
            matters="everything")  # fmt: skip
    who = Clientele(heat_share, level, SPREAD, normal_kg, source)
    return from_runs(of, who, mean_kg=trade.load_kg_mean or normal_kg, band=band)


def _reference_level(grid: PlanGrid, house: HouseSettings) -> int:
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


def loads_per_week(store: Store, laid: Layout, bank: str, assumed: Assumed) -> Ranged:
    """Loads a week at this bank: the store's, shared by pockets."""
    share = len(bank_pockets(laid, bank)) / max(1, len(store.pockets))
    if store.trade.loads_per_week is not None and not store.trade.loads_per_week > 0:
        raise InputError("no loads come, so there is nothing to weigh.", where="trade.loads_per_week",
                         mend="Say how many loads the whole store dries in a week.")  # fmt: skip
    if store.trade.loads_per_week is not None:
        mean = store.trade.loads_per_week * share
        return Ranged(value=mean, low=0.85 * mean, high=1.15 * mean, how="given", source="trade.loads_per_week")
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
