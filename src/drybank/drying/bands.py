"""How far a figure may be off: the ranges of what was assumed, run through the model.

A pocket that nobody has measured is an estimate. Each assumption is moved to both ends of its range alone; deviations
to the same side are combined as the root of their squares. This is a *range of assumption*, not a sampling interval,
and the two are never added. A calibrated pocket keeps a sampling band from its trial, and the clientele's assumptions.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import msgspec
import numpy as np

from drybank.drying.run import dry_many
from drybank.records.drying import Air, Array, FabricClass, Heat, Load, Pocket
from drybank.records.working import Assumption, Interval

OUTPUTS: Final = (
    "minutes_to_dry", "gas_to_dry_j", "electricity_to_dry_j", "gas_sold_j", "electricity_sold_j",
    "load_temp_after_cool_down_k", "water_removed_kg",
)  # fmt: skip


class Assumed(NamedTuple):
    """One assumption with its range: factors of the pocket's or load's own figure, or ends of it."""

    name: str
    low: float
    high: float
    is_factor: bool
    is_of_pocket: bool
    source: str


ASSUMED: Final = (
    Assumed("fabric contact", 0.70, 1.40, True, True, "set on one household level; machine-specific (assumed range)"),
    Assumed("airflow", 0.80, 1.25, True, True, "common practice for the size; not measured (assumed range)"),
    Assumed("heat input", 0.90, 1.10, True, True, "plate, not clocked; 10 % is where codes ask for a correction"),
    Assumed("leakage", 0.10, 0.50, False, True, "measured 0.2 to 0.6 on two household units (abstract read)"),
    Assumed("spread of items", 0.60, 1.30, True, False, "of the clientele; rests on one field mean (weak)"),
    Assumed("cotton share", 0.80, 1.15, True, False, "of the clientele (assumed)"),
)


class Band(NamedTuple):
    """Ends of every output, and what each assumption does to minutes to dry, as fractions."""

    ends: dict[str, Interval]
    sampling: dict[str, Interval]
    shares: tuple[tuple[str, float, float], ...]
    assumptions: tuple[Assumption, ...]


def band(load: Load, pocket: Pocket, air: Air, heat: Heat, *, sold_s: float | None = None) -> Band:
    """The band of one load's figures. Outputs that are not known (not dry, nothing sold) have no entry."""
    moved = [a for a in ASSUMED if pocket.calibration is None or not a.is_of_pocket]
    loads, pockets = [load], [pocket]
    for a in moved:
        for end in (a.low, a.high):
            loads.append(load if a.is_of_pocket else load_moved(load, a, end))
            pockets.append(pocket_moved(pocket, a, end) if a.is_of_pocket else pocket)
    table = _outputs(loads, pockets, air, heat, sold_s)
    ends: dict[str, Interval] = {}
    for name, column in table.items():
        if np.isfinite(column).all():
            down, up = _root_squares(column)
            ends[name] = Interval(low=float(column[0]) - down, high=float(column[0]) + up, kind="assumption", level=1.0)
    minutes = table["minutes_to_dry"]
    shares = tuple(
        (a.name, float(minutes[1 + 2 * i] / minutes[0] - 1), float(minutes[2 + 2 * i] / minutes[0] - 1))
        for i, a in enumerate(moved)
    )
    return Band(ends, _sampling(pocket, table), shares, tuple(_say(a) for a in moved))


def _sampling(pocket: Pocket, table: dict[str, Array]) -> dict[str, Interval]:
    """Two standard errors of the trial behind a calibrated pocket, on minutes and energy to dry."""
    if pocket.calibration is None:
        return {}
    half = 2.0 * pocket.calibration.band_frac
    return {
        name: Interval(low=v * (1 - half), high=v * (1 + half), kind="sampling", level=0.95)
        for name in ("minutes_to_dry", "gas_to_dry_j", "electricity_to_dry_j")
        if np.isfinite(v := float(table[name][0]))
    }


def _outputs(loads: list[Load], pockets: list[Pocket], air: Air, heat: Heat, sold_s: float | None) -> dict[str, Array]:
    need = dry_many(loads, pockets, air, heat)
    out = {
        "minutes_to_dry": need.seconds_to_dry / 60.0,
        "gas_to_dry_j": need.gas_to_dry_j,
        "electricity_to_dry_j": need.electricity_to_dry_j,
        "water_removed_kg": need.water_removed_kg,
        "load_temp_after_cool_down_k": need.load_temp_end_k,
    }
    if sold_s is not None:
        sold = dry_many(loads, pockets, air, heat, sold_s=sold_s)
        out["gas_sold_j"], out["electricity_sold_j"] = sold.gas_end_j, sold.electricity_end_j
        out["load_temp_after_cool_down_k"] = sold.load_temp_end_k
    return out


def _root_squares(column: Array) -> tuple[float, float]:
    """Deviations down and up of runs 1.. from run 0, each assumption's worse end to a side, squared, summed, rooted."""
    pairs = (column[1:] - column[0]).reshape(-1, 2)
    down, up = np.minimum(pairs.min(axis=1), 0.0), np.maximum(pairs.max(axis=1), 0.0)
    return float(np.sqrt((down**2).sum())), float(np.sqrt((up**2).sum()))


def pocket_moved(pocket: Pocket, a: Assumed, end: float) -> Pocket:
    field = {
        "fabric contact": "contact_w_k", "airflow": "flow_exhaust_m3_s", "heat input": "heat_input_w",
        "leakage": "leak_frac",
    }[a.name]  # fmt: skip
    value = getattr(pocket, field) * end if a.is_factor else end
    # a pocket whose inlet limit opened in ordinary work would have been noticed: the limit is no part of the range
    fire = msgspec.structs.replace(pocket.fire, temp_limit_c=400.0)
    return msgspec.structs.replace(pocket, fire=fire, **{field: value})


def load_moved(load: Load, a: Assumed, end: float) -> Load:
    def moved(c: FabricClass) -> FabricClass:
        if a.name == "cotton share":
            return msgspec.structs.replace(c, cotton_frac=min(1.0, c.cotton_frac * end))
        return msgspec.structs.replace(
            c, contact_rel=1 + (c.contact_rel - 1) * end, moisture_rel=1 + (c.moisture_rel - 1) * end
        )

    return msgspec.structs.replace(load, classes=tuple(moved(c) for c in load.classes))


def _say(a: Assumed) -> Assumption:
    unit = " times" if a.is_factor else ""
    return Assumption(
        name=a.name, taken="as given or by default", source=a.source, low=f"{a.low:g}{unit}", high=f"{a.high:g}{unit}",
        matters="minutes and energy to dry",
    )  # fmt: skip
