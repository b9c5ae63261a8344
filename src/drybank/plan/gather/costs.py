"""What drying costs at the margin, what a visit brings, how customers answer to price."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

import msgspec
import numpy as np

from drybank.drying.properties import standard_pressure_pa
from drybank.energy import Electricity, NaturalGas, Propane, billed_joules, unit_cost
from drybank.plan.gather.assumed import Assumed
from drybank.plan.gather.loads import SPREAD
from drybank.plan.search.problem import JOULES_KWH
from drybank.records.energy import Supply, Tariff, Usage
from drybank.records.errors import InputError
from drybank.records.plan import PlanCosts, PlanGrid, PlanLoads, PlanSetting, PriceAnswer, Ranged
from drybank.records.store import Pocket, Store
from drybank.records.working import Working

LOADS_A_VISIT = (2.0, 1.3, 3.0)
"""Loads of a visit: taken, least, most (assumed, no source)."""
GAS_MINOR_KWH, POWER_MINOR_KWH = 3.72, 12.0
"""US commercial averages: gas $11.32/Mcf at 1038 Btu/ft3 (2022, EIA, read), electricity 9 to 39 c/kWh by state
(2023, EIA Electric Power Annual, read)."""


def costs_of(
    store: Store,
    pockets: Sequence[Pocket],
    loads: PlanLoads,
    per_week: Ranged,
    supplies: Sequence[Supply],
    assumed: Assumed,
) -> PlanCosts:
    fuel = pockets[0].plate.fuel
    month = per_week.value * 30.0 / 7.0
    fuel_kwh = month * float(np.mean(loads.fuel_j[:, -1])) / JOULES_KWH
    power_kwh = month * loads.motor_w * float(np.mean(loads.need_s[:, -1])) / JOULES_KWH
    tariffs = {name: _latest(store, name) for name in ("natural gas", "propane", "electricity")}
    power, power_tariff, power_usage, power_working = _price(
        tariffs["electricity"], Electricity(), power_kwh, len(pockets), store, assumed, POWER_MINOR_KWH, "electricity"
    )
    if fuel == "electric":
        burnt, fuel_tariff, fuel_usage, fuel_working, supply = power, power_tariff, power_usage, power_working, None
    else:
        supply = supply_of(store, fuel, supplies, tariffs[fuel], assumed)
        burnt, fuel_tariff, fuel_usage, fuel_working = _price(
            tariffs[fuel], supply, fuel_kwh, len(pockets), store, assumed, GAS_MINOR_KWH, "fuel"
        )
    return PlanCosts(
        fuel_minor_kwh=burnt, power_minor_kwh=power, wear_minor_hour=_wear(store, assumed), visit_minor=_visit(store, assumed),
        fuel_tariff=fuel_tariff, fuel_supply=supply, fuel_usage=fuel_usage, fuel_working=fuel_working,
        power_tariff=power_tariff, power_usage=power_usage, power_working=power_working,
    )  # fmt: skip


def _latest(store: Store, fuel: str) -> Tariff | None:
    return max((t for t in store.tariffs if t.fuel == fuel), key=lambda t: t.valid_from, default=None)


def supply_of(store: Store, fuel: str, supplies: Sequence[Supply], tariff: Tariff | None, assumed: Assumed) -> Supply:
    """The heat in a fuel: handed in, the store's own, or an average that is listed as assumed."""
    kind = Propane if fuel == "propane" else NaturalGas
    said = store.propane if fuel == "propane" else store.natural_gas
    given = next((s for s in supplies if isinstance(s, kind)), said)
    if given is not None:
        return _at_height(given, store.altitude_m)
    if fuel == "propane":
        assumed("heat in propane", "91 452 Btu a gallon", "US energy statistics (read in a secondary page)")
        return Propane()
    if tariff is not None and tariff.unit in ("therm", "MMBtu", "MJ", "GJ", "kWh"):
        return NaturalGas(heat_content_btu_ft3=Decimal(1038), source="not needed: gas is billed by heat")
    assumed("heat in natural gas", "1038 Btu a cubic foot (38.7 MJ/m3)", "US average delivered 2023 (EIA, read)",
            low="1020", high="1060", matters="fuel cost, where gas is billed by volume")  # fmt: skip
    return NaturalGas(heat_content_btu_ft3=Decimal(1038), meter_corrects_pressure=True, meter_corrects_temp=True,
                      source="US average delivered 2023 (EIA)")  # fmt: skip


def _at_height(supply: Supply, altitude_m: float) -> Supply:
    """Gas whose air pressure nobody said: that of the standard atmosphere at the store's height."""
    if not isinstance(supply, NaturalGas) or supply.air_pressure_kpa != NaturalGas().air_pressure_kpa:
        return supply
    kpa = Decimal(round(standard_pressure_pa(altitude_m))).scaleb(-3)
    return msgspec.structs.replace(supply, air_pressure_kpa=kpa)


def _price(
    tariff: Tariff | None,
    supply: Supply,
    kwh: float,
    pockets: int,
    store: Store,
    assumed: Assumed,
    usual: float,
    name: str,
) -> tuple[Ranged, Tariff | None, Usage | None, Working | None]:
    """Price of a kWh at the margin, with the tariff and the month it was taken at."""
    if tariff is None:
        assumed(f"price of {name}", f"{usual / 100:.4f} {store.currency} a kWh", "US commercial average (EIA, read)",
                low=f"{0.006 * usual:.4f}", high=f"{0.016 * usual:.4f}", matters="energy cost in proportion")  # fmt: skip
        return Ranged(value=usual, low=0.6 * usual, high=1.6 * usual, source="EIA averages"), None, None, None
    unit_kwh = float(billed_joules(tariff.unit, supply)) / JOULES_KWH
    usage = _month(tariff, Decimal(round(kwh / unit_kwh)), pockets)
    cost = unit_cost(usage, tariff)
    value = float(cost.marginal_minor) / unit_kwh
    source = f"tariff “{tariff.name}”, next unit"
    return (
        Ranged(value=value, low=0.75 * value, high=1.5 * value, how="given", source=source),
        tariff,
        usage,
        cost.working,
    )


def _month(tariff: Tariff, quantity: Decimal, pockets: int) -> Usage:
    """A month of thirty days under the tariff; peaks and day parts as if use were even over the hours of each."""
    first = tariff.valid_from
    if tariff.valid_to is not None and tariff.valid_to < first + dt.timedelta(days=29):
        last = tariff.valid_to
    else:
        last = first + dt.timedelta(days=29)
    peak = Decimal(pockets)
    names = [p.name for p in tariff.day_parts] + ([tariff.other_hours] if tariff.day_parts else [])
    part = (quantity / max(1, len(names))).quantize(Decimal("0.001"))
    by_part = dict.fromkeys(names, part)
    return Usage(
        first_day=first, last_day=last, quantity=sum(by_part.values(), Decimal(0)) if names else quantity,
        by_day_part=by_part, demand_kw=peak, demand_kw_by_day_part=dict.fromkeys(names, peak), apparent_kva=peak,
    )  # fmt: skip


def _wear(store: Store, assumed: Assumed) -> Ranged:
    wear = store.costs.wear_minor_per_hour
    if wear > 0:
        return Ranged(value=wear, low=0.5 * wear, high=2.0 * wear, how="given", source="costs.wear_minor_per_hour")
    assumed(
        "wear of a pocket", f"{assumed.money(30)} an hour", "assumed, no source", low="none", high=assumed.money(100)
    )
    return Ranged(value=30.0, low=0.0, high=100.0, source="assumed")


def _visit(store: Store, assumed: Assumed) -> Ranged:
    """What a load's visit brings beside its drying: the visit's, shared over its loads."""
    costs = store.costs
    loads, least, most = LOADS_A_VISIT
    assumed("loads of a visit", f"{loads:g}", "assumed, no source", low=f"{least:g}", high=f"{most:g}",
            matters="what a lost load takes along")  # fmt: skip
    if costs.visit_minor is not None:
        low = costs.visit_minor_low if costs.visit_minor_low is not None else 0.6 * costs.visit_minor
        high = costs.visit_minor_high if costs.visit_minor_high is not None else 1.6 * costs.visit_minor
        return Ranged(
            value=costs.visit_minor / loads, low=low / most, high=high / least, how="given", source="costs.visit_minor"
        )
    prices = [w.price_minor for w in store.washers if w.price_minor is not None]
    value = 0.5 * float(np.mean(prices)) if prices else 200.0
    assumed("what a visit brings beside drying", f"{assumed.money(value)} a load",
            "half a wash's price" if prices else "assumed, no source", low=assumed.money(0.3 * value), high=assumed.money(2.0 * value),
            matters="how dear a lost customer is")  # fmt: skip
    return Ranged(value=value, low=0.3 * value, high=2.0 * value, source="half a wash's price, assumed")


def price_answer(
    store: Store, today: PlanSetting | None, loads: PlanLoads, grid: PlanGrid, assumed: Assumed
) -> PriceAnswer:
    low, high = store.trade.walk_away_minor_low, store.trade.walk_away_minor_high
    assumed("spread of walk-away prices", f"{100 * SPREAD:.0f} % about the median", "assumed, no source")
    base = _todays_normal(today, loads, grid)
    if low is not None and high is not None and 0 <= low <= high:
        middle = float(np.sqrt((base + low) * (base + high)))
        walk = Ranged(value=middle, low=base + low, high=base + high, how="given",
                      source="today's price of a normal load, and trade.walk_away_minor_low / _high more")  # fmt: skip
        return PriceAnswer(walk_away_minor=walk, spread_frac=SPREAD, source="range given by the owner")
    if low is not None or high is not None:
        raise InputError(
            "a walk-away price wants a low and a high, low first.", where="trade.walk_away_minor_low / _high"
        )
    assumed("walk-away price of a normal load", assumed.money(1.5 * base), "1.5 times today's price, assumed",
            low=assumed.money(1.15 * base), high=assumed.money(2.2 * base), matters="the price that pays best")  # fmt: skip
    walk = Ranged(value=1.5 * base, low=1.15 * base, high=2.2 * base, source="1.5 times today's price, assumed")
    return PriceAnswer(walk_away_minor=walk, spread_frac=SPREAD, source="assumed")


def _todays_normal(today: PlanSetting | None, loads: PlanLoads, grid: PlanGrid) -> float:
    """Today's price of a normal load; where nothing is set, 8 minor units a minute of its need."""
    need = float(loads.normal_need_s[-1])
    if today is None:
        return 8.0 * need / 60.0
    cool = today.cool_down_s if grid.cool_is_inside else 0
    more = max(0.0, np.ceil((need + cool - today.first_time_s) / today.time_per_piece_s))
    return float((today.start_pieces + more) * today.piece_minor)
