"""One load in one pocket at the desk: the pocket as the book knows it, the run with its bands, what a change would do.

A pocket's drum is its plate, what a trial in the book found, and assumptions for the rest, each listed.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

import msgspec
import numpy as np

from drybank.desk.drying_changes import Ask, Change, Kind, changes_of, energy_cost, energy_cost_band
from drybank.desk.drying_drum import Taken, contact_and_leakage, drum_of, drum_said, from_plate
from drybank.drying import (
    MIXED,
    TEST_CLOTH,
    TOWELS,
    Air,
    Drying,
    FabricClass,
    Heat,
    Load,
    Pocket,
    Trace,
    dry,
)
from drybank.drying.bands import band
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.store import Fuel, Plate, Units
from drybank.records.units import ZERO_C_K, degrees_said, mass_said
from drybank.records.working import Assumption, HowKnown, Input, Interval, Working

if TYPE_CHECKING:
    from drybank.book import Book

CLASSES: Final[dict[Kind, tuple[FabricClass, ...]]] = {
    "mixed": MIXED, "towels": TOWELS, "half cotton": TEST_CLOTH,
}  # fmt: skip
HANDLING_C: Final = 50.0  # where hot cloth is taken to be fit to handle: assumed, no standard gives a figure for goods
LARGE_KG: Final = 6.0
TRACE_ROWS: Final = 240
CAUTIONS: Final = (
    "Nothing here says that a load or a setting is without danger. Run the whole cool-down, take goods out at once and "
    "spread them; the maker's manual comes first.",
    "The load's temperature is the least certain figure: dry thin items run hotter than the exhaust reads, thick pieces "
    "cool more slowly than the mean.",
)


class Dried(msgspec.Struct, frozen=True, kw_only=True):
    """One load told: figures, bands, changes, what was assumed. Bands of assumption and of sampling stand apart."""

    store: str
    pocket: str
    load_kg: float
    residual_frac: float
    temp_exhaust_c: float | None
    cool_down_s: float
    sold_s: float | None
    fuel: Fuel
    is_calibrated: bool
    how_known: str
    minutes_to_dry: float | None
    gas_to_dry_j: float | None
    electricity_to_dry_j: float | None
    gas_sold_j: float | None
    electricity_sold_j: float | None
    moisture_sold_frac: float | None
    is_dry_when_sold_ends: bool | None
    load_temp_before_cool_down_k: float
    load_temp_after_cool_down_k: float
    hottest_class_after_cool_down_k: float
    hottest_fabric_k: float
    hottest_inlet_k: float
    cool_down_at_least_s: float | None
    water_removed_kg: float
    firing_share_frac: float
    limit_trips: int
    energy_residual_frac: float
    water_residual_frac: float
    cost_to_dry_minor: float | None
    cost_to_dry_band_minor: Interval | None
    cost_sold_minor: float | None
    currency: str
    bands: dict[str, Interval]
    sampling: dict[str, Interval]
    shares: tuple[tuple[str, float, float], ...]
    changes: tuple[Change, ...]
    classes: tuple[str, ...]
    trace: Trace
    assumptions: tuple[Assumption, ...]
    working: Working | None = None
    cautions: tuple[str, ...] = CAUTIONS
    units: Units = Units()


def dry_in_store(book: Book, store: str, pocket: str, ask: Ask, when: datetime) -> Dried:
    """One load in a pocket of a store: what is not said is taken from the store, and what it does not say is assumed."""
    from drybank.desk.standing import layout_at

    laid = layout_at(book, store, when)
    drum, assumed = drum_of(book, laid, pocket, when)
    ask = msgspec.structs.replace(ask, units=laid.store.units)
    taken = Taken()
    taken.list += assumed
    load = _load_of(laid, pocket, ask, taken)
    heat = _heat_of(book, laid, pocket, ask, when, taken)
    air = _air_of(ask, laid.store.altitude_m, taken)
    full = msgspec.structs.replace(ask, currency=ask.currency or laid.store.currency)
    if ask.gas_minor_kwh is None or ask.power_minor_kwh is None:
        from drybank.desk.drying_cost import prices_of

        gas, power = prices_of(laid.store, drum.fuel, taken.list)
        full = msgspec.structs.replace(
            full,
            gas_minor_kwh=ask.gas_minor_kwh if ask.gas_minor_kwh is not None else gas,
            power_minor_kwh=ask.power_minor_kwh if ask.power_minor_kwh is not None else power,
        )
    told = _told(load, drum_said(drum, ask), air, heat, full, taken.list)
    return msgspec.structs.replace(told, store=store, pocket=pocket, units=laid.store.units)


def dry_alone(ask: Ask, units: Units) -> Dried:
    """One load in a pocket of no store: a 30-lb gas pocket unless said otherwise."""
    ask = msgspec.structs.replace(ask, units=units)
    taken = Taken(units)
    drum = drum_said(from_plate(_plate_said(ask), taken), ask)
    contact_and_leakage(drum, taken)
    mass = _or(ask.mass_kg, 8.0, taken, "load", f"{mass_said(8.0, units.mass)} of dry mass", "assumed")
    residual = _or(ask.residual_frac, 0.6, taken, "water left by the washer", "60 % of dry mass", "assumed")
    load = Load(mass_dry_kg=mass, residual_frac=residual, classes=CLASSES[ask.kind])
    temp = (
        None
        if ask.is_unheated
        else _or(ask.temp_exhaust_c, 75.0, taken, "heat", degrees_said(75.0, units.temperature), "assumed")
    )
    cool = _or(ask.cool_down_s, 120.0, taken, "cool-down", "2 min", "assumed")
    air = _air_of(ask, 0.0, taken)
    told = _told(load, drum, air, Heat(temp_exhaust_c=temp, cool_down_s=cool), ask, taken.list)
    return msgspec.structs.replace(told, units=units)


def _plate_said(ask: Ask) -> Plate:
    return Plate(
        fuel=ask.fuel or "natural gas", fire=ask.fire or "on/off", input_w=ask.heat_input_w, airflow_m3_s=ask.flow_m3_s
    )  # fmt: skip


def _or(value: float | None, usual: float, taken: Taken, name: str, words: str, source: str) -> float:
    if value is None:
        taken(name, words, source)
        return usual
    return value


def _load_of(laid: Layout, pocket: str, ask: Ask, taken: Taken) -> Load:
    fill = laid.pockets[pocket].fill_kg
    bank = next((m.bank for m in laid.machines.values() if pocket in m.pockets), "")
    usual = next((b.normal_load_kg for b in laid.store.banks if b.key == bank), None) or laid.store.trade.load_kg_mean
    where = "the store file" if usual else "assumed: six tenths of the fill"
    normal = usual or 0.6 * fill
    mass = _or(ask.mass_kg, normal, taken, "load", f"{mass_said(normal, ask.units.mass)} of dry mass", where)
    wet = [(w.moisture_left_frac, w.number) for w in laid.store.washers if w.moisture_left_frac is not None]
    left = float(np.average([m for m, _ in wet], weights=[n for _, n in wet])) if wet else 0.6
    known = "the store's washers" if wet else "assumed"
    residual = _or(ask.residual_frac, left, taken, "water left by the washer", f"{100 * left:.0f} % of dry mass", known)
    if mass > fill:
        unit = ask.units.mass
        taken(
            "overfull drum",
            f"as if {mass_said(mass, unit)} went into a drum for {mass_said(fill, unit)}",
            "the model knows no overfilling",
        )
    return Load(mass_dry_kg=mass, residual_frac=residual, classes=CLASSES[ask.kind])


def _heat_of(book: Book, laid: Layout, pocket: str, ask: Ask, when: datetime, taken: Taken) -> Heat:
    from drybank.desk.proof import heat_set_c
    from drybank.desk.standing import controls_of

    temp: float | None
    if ask.is_unheated:
        temp = None
    elif ask.temp_exhaust_c is not None:
        temp = ask.temp_exhaust_c
    else:
        temp, assumed = heat_set_c(book, laid, pocket, ask.heat or 1, when)
        taken.list += assumed
    control = laid.controls[controls_of(laid, pocket=pocket)[0]]
    house = book.house_at(laid.store.key, control.bank, when)
    cool = ask.cool_down_s
    if cool is None:
        cool = next((float(h.value) for h in house if h.purpose == "cool-down time" and h.base == "s"), None)
    if cool is None:
        taken("cool-down", "2 min", "assumed: none set by the book")
    is_inside = laid.sheets[control.sheet].sale.cool_down == "inside"
    return Heat(temp_exhaust_c=temp, cool_down_s=120.0 if cool is None else cool, is_cool_down_inside_sold=is_inside)


def _air_of(ask: Ask, altitude_m: float, taken: Taken) -> Air:
    temp = _or(ask.air_c, 22.0, taken, "air that the dryer draws", degrees_said(22.0, ask.units.temperature), "assumed")
    humidity = _or(ask.humidity_frac, 0.5, taken, "humidity of the air", "50 %", "assumed")
    return Air(
        temp_c=temp, humidity_frac=humidity, altitude_m=ask.altitude_m if ask.altitude_m is not None else altitude_m
    )


def _told(load: Load, drum: Pocket, air: Air, heat: Heat, ask: Ask, assumed: list[Assumption]) -> Dried:
    out = dry(load, drum, air, heat, sold_s=ask.sold_s)
    found = band(load, drum, air, heat, sold_s=ask.sold_s)
    cost = energy_cost(ask, out.gas_to_dry_j, out.electricity_to_dry_j)
    plain = {name: getattr(out, name) for name in _SAME}
    floor = _cool_down_floor_s(load, drum, air, heat)
    return Dried(
        store="",
        pocket="",
        load_kg=load.mass_dry_kg,
        residual_frac=load.residual_frac,
        temp_exhaust_c=heat.temp_exhaust_c,
        cool_down_s=heat.cool_down_s,
        sold_s=ask.sold_s,
        fuel=drum.fuel,
        is_calibrated=drum.calibration is not None,
        how_known=_how(drum),
        **plain,
        cool_down_at_least_s=floor,
        cost_to_dry_minor=cost,
        cost_to_dry_band_minor=energy_cost_band(ask, found.ends),
        cost_sold_minor=energy_cost(ask, out.gas_sold_j, out.electricity_sold_j),
        currency=ask.currency,
        bands=found.ends,
        sampling=found.sampling,
        shares=found.shares,
        changes=changes_of(load, drum, air, heat, ask, out),
        classes=tuple(c.name for c in load.classes),
        trace=_thinned(out.trace),
        assumptions=tuple(assumed),
        working=_working(load, drum, air, heat, assumed),
        cautions=_cautions(out),
    )


def _working(load: Load, drum: Pocket, air: Air, heat: Heat, assumed: list[Assumption]) -> Working:
    """What went into the run, and how each figure is known."""
    taken = {a.name for a in assumed}

    def one(name: str, value: float, unit: str, *, fitted: bool = False) -> Input:
        how: HowKnown = (
            "assumed" if name in taken else "learned" if fitted and drum.calibration is not None else "given"
        )
        return Input(name=name, value=f"{value:.4g}", unit=unit, how=how)

    setting = heat.temp_exhaust_c
    return Working(
        figure="minutes, energy and temperatures of one load",
        formula="heat and water of air, cloth and metal followed in time until the mean moisture is 4 % and that of the thickest "
        "items 10 %; fuel is the time that the fire burns times its input",
        inputs=(
            one("load", load.mass_dry_kg, "kg dry"),
            one("water left by the washer", load.residual_frac, "kg/kg"),
            one("heat", setting, "°C") if setting is not None else Input(name="heat", value="none"),
            one("cool-down", heat.cool_down_s, "s"),
            one("air that the dryer draws", air.temp_c, "°C"),
            one("humidity of the air", air.humidity_frac, "of 1"),
            one("heat input", drum.heat_input_w, "W", fitted=True),
            one("airflow", drum.flow_exhaust_m3_s, "m3/s", fitted=True),
            one("fabric contact", drum.contact_w_k, "W/K", fitted=True),
            one("leakage", drum.leak_frac, "of the airflow", fitted=True),
            one("motor", drum.motor_w, "W"),
        ),
        source="docs/concepts/drying-limits.md, docs/concepts/validity.md",
    )  # fmt: skip


_SAME: Final = (
    "minutes_to_dry", "gas_to_dry_j", "electricity_to_dry_j", "gas_sold_j", "electricity_sold_j", "moisture_sold_frac",
    "is_dry_when_sold_ends", "load_temp_before_cool_down_k", "load_temp_after_cool_down_k",
    "hottest_class_after_cool_down_k", "hottest_fabric_k", "hottest_inlet_k", "water_removed_kg", "firing_share_frac",
    "limit_trips", "energy_residual_frac", "water_residual_frac",
)  # fmt: skip


def _how(drum: Pocket) -> str:
    if drum.calibration is None:
        return "estimate: nobody has measured this pocket"
    return f"calibrated by {drum.calibration.how}" + (
        f" ({drum.calibration.source})" if drum.calibration.source else ""
    )


def _cautions(out: Drying) -> tuple[str, ...]:
    more = []
    if out.limit_trips:
        more.append(
            f"The inlet limit opened {out.limit_trips} times in this run. That is a finding, not a saving: have the vent, "
            "the lint screen and the fan looked at before anything else."
        )
    if not out.is_fire_proved:
        more.append("There is too little air for the airflow switch; the fire does not light. Clear the vent first.")
    return (*more, *CAUTIONS)


def _cool_down_floor_s(load: Load, drum: Pocket, air: Air, heat: Heat) -> float | None:
    """Cool-down until the hottest class is at 50 °C, and a minute more for a large or hot load. A floor, no more."""
    run = dry(load, drum, air, msgspec.structs.replace(heat, cool_down_s=1200.0))
    if run.minutes_to_dry is None:
        return None
    cooling = run.trace.time_s >= run.minutes_to_dry * 60.0 - 1e-6
    times, hottest = run.trace.time_s[cooling], run.trace.temp_fabric_c[cooling].max(axis=1)
    below = np.flatnonzero(hottest <= HANDLING_C)
    if below.size == 0:
        return None
    is_hot = load.mass_dry_kg >= LARGE_KG or run.load_temp_before_cool_down_k - ZERO_C_K >= 70.0
    return float(np.ceil(times[below[0]] - times[0])) + (60.0 if is_hot else 0.0)


def _thinned(trace: Trace) -> Trace:
    """At most 240 rows of a trace, first and last kept."""
    count = len(trace.time_s)
    if count <= TRACE_ROWS:
        return trace
    rows = np.unique(np.linspace(0, count - 1, TRACE_ROWS).round().astype(int))
    return Trace(**{f: getattr(trace, f)[rows] for f in trace.__struct_fields__})


def check_kind(kind: str) -> Kind:
    """A kind of load from a person's word."""
    if kind not in CLASSES:
        raise InputError(f"“{kind}” is not a kind of load.", where="--kind", allowed=", ".join(CLASSES))
    return kind
