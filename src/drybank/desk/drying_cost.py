"""What a kilowatt-hour costs at the margin by the store's own tariffs, for one load."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Final

from drybank.energy import Electricity, billed_joules, unit_cost
from drybank.records.energy import Supply, Tariff, Usage
from drybank.records.store import Fuel, Store
from drybank.records.units import KWH_J
from drybank.records.working import Assumption

MONTH_KWH: Final = {"natural gas": Decimal(12000), "propane": Decimal(12000), "electricity": Decimal(4000)}


def prices_of(store: Store, fuel: Fuel, taken: list[Assumption]) -> tuple[float | None, float | None]:
    """Fuel and electricity, minor units per kWh at the margin; None without a tariff. What is taken is listed."""
    from drybank.plan.gather.assumed import Assumed
    from drybank.plan.gather.costs import supply_of

    gas = None
    if fuel != "electric":
        assumed = Assumed(store.currency, store.units)
        tariff = max((t for t in store.tariffs if t.fuel == fuel), key=lambda t: t.valid_from, default=None)
        supply = supply_of(store, fuel, (), tariff, assumed)
        gas = _price(store, fuel, supply, taken)
        taken += assumed.list if gas is not None else []
    return gas, _price(store, "electricity", Electricity(), taken)


def _price(store: Store, name: str, supply: Supply, taken: list[Assumption]) -> float | None:
    tariffs = [t for t in store.tariffs if t.fuel == name]
    if not tariffs:
        return None
    tariff = max(tariffs, key=lambda t: t.valid_from)
    unit_kwh = float(billed_joules(tariff.unit, supply)) / KWH_J
    month = MONTH_KWH[name]
    cost = unit_cost(_month(tariff, Decimal(round(float(month) / unit_kwh))), tariff)
    taken.append(
        Assumption(
            name=f"price of {name}", taken=f"tariff “{tariff.name}”, next unit at {month} kWh a month",
            source="the store file", matters="cost",
        )
    )  # fmt: skip
    return float(cost.marginal_minor) / unit_kwh


def _month(tariff: Tariff, quantity: Decimal) -> Usage:
    """Thirty days under the tariff, use even over its day parts, a peak of 20 kW."""
    last = tariff.valid_from + timedelta(days=29)
    if tariff.valid_to is not None:
        last = min(last, tariff.valid_to)
    names = [p.name for p in tariff.day_parts] + ([tariff.other_hours] if tariff.day_parts else [])
    part = (quantity / max(1, len(names))).quantize(Decimal("0.001"))
    by_part = dict.fromkeys(names, part)
    peak = Decimal(20)
    return Usage(
        first_day=tariff.valid_from, last_day=last, quantity=sum(by_part.values(), Decimal(0)) if names else quantity,
        by_day_part=by_part, demand_kw=peak, demand_kw_by_day_part=dict.fromkeys(names, peak), apparent_kva=peak,
    )  # fmt: skip
