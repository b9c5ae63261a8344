"""What the person asks of a load, what a change to it would do, and what energy costs."""

from __future__ import annotations

from typing import Literal

import msgspec

from drybank.drying import Air, Drying, Heat, Load, Pocket, dry
from drybank.records.store import Fire, Fuel, Units
from drybank.records.units import KWH_J
from drybank.records.working import Interval

Kind = Literal["mixed", "towels", "half cotton"]
HAZARD = "Never a saving: a vent that chokes runs hot and is a fire hazard. Clean it."


class Ask(msgspec.Struct, frozen=True, kw_only=True):
    """What the person said of the load, the heat, the air and the pocket; None where nothing was said. SI units."""

    mass_kg: float | None = None
    residual_frac: float | None = None
    kind: Kind = "mixed"
    temp_exhaust_c: float | None = None
    heat: int = 0
    is_unheated: bool = False
    sold_s: float | None = None
    cool_down_s: float | None = None
    air_c: float | None = None
    humidity_frac: float | None = None
    altitude_m: float | None = None
    fuel: Fuel | None = None
    fire: Fire | None = None
    heat_input_w: float | None = None
    flow_m3_s: float | None = None
    gas_minor_kwh: float | None = None
    power_minor_kwh: float | None = None
    currency: str = ""
    units: Units = Units()


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """What one change would do to minutes, energy and cost of the same load; differences from as asked.

    Less airflow never shows energy or cost: on paper it spares some, and it is a fire hazard.
    """

    what: str
    minutes: float | None
    fuel_frac: float | None
    electricity_frac: float | None
    cost_minor: float | None
    says: str = ""


def energy_cost(ask: Ask, gas_j: float | None, power_j: float | None) -> float | None:
    """Energy cost in minor units; None where a price or a figure is not known."""
    if gas_j is None or power_j is None or ask.power_minor_kwh is None:
        return None
    if gas_j > 0.0 and ask.gas_minor_kwh is None:
        return None
    return (gas_j * (ask.gas_minor_kwh or 0.0) + power_j * ask.power_minor_kwh) / KWH_J


def energy_cost_band(ask: Ask, ends: dict[str, Interval]) -> Interval | None:
    gas, power = ends.get("gas_to_dry_j"), ends.get("electricity_to_dry_j")
    if gas is None or power is None:
        return None
    low, high = energy_cost(ask, gas.low, power.low), energy_cost(ask, gas.high, power.high)
    return None if low is None or high is None else Interval(low=low, high=high, kind="assumption", level=1.0)


def changes_of(load: Load, drum: Pocket, air: Air, heat: Heat, ask: Ask, base: Drying) -> tuple[Change, ...]:
    """The same load with one thing changed: heat, extraction, load, airflow."""
    replace = msgspec.structs.replace
    tries: list[tuple[str, Load, Pocket, Heat, str]] = []
    if heat.temp_exhaust_c is not None:
        is_f = ask.units.temperature == "F"
        for step, said in ((-1, "-"), (1, "+")):
            temp = heat.temp_exhaust_c + step * (20.0 / 1.8 if is_f else 10.0)
            if 25.0 <= temp <= 100.0:
                note = "Hotter costs fuel in every sold minute after dry, and fabrics their life." if step > 0 else ""
                tries.append(
                    (f"heat {said}{'20 °F' if is_f else '10 °C'}", load, drum, replace(heat, temp_exhaust_c=temp), note)
                )
    if load.residual_frac > 0.20:
        drier = replace(load, residual_frac=load.residual_frac - 0.10)
        tries.append(("10 points less water left by the washer", drier, drum, heat, "A better spin beats any heat."))
    for share in (0.75, 1.25):
        mass = load.mass_dry_kg * share
        if mass <= 120.0:
            note = "An overfull drum dries worse than this says." if share > 1 else ""
            tries.append((f"load {100 * (share - 1):+.0f} %", replace(load, mass_dry_kg=mass), drum, heat, note))
    more = min(3.0, 1.1 * drum.flow_exhaust_m3_s)
    tries.append(("airflow +10 %", load, replace(drum, flow_exhaust_m3_s=more), heat, ""))
    less = replace(drum, flow_exhaust_m3_s=0.7 * drum.flow_exhaust_m3_s)
    tries.append(("airflow -30 % (a choking vent)", load, less, heat, HAZARD))
    return tuple(_change(what, dry(one, p, air, h), base, ask, note) for what, one, p, h, note in tries)


def _change(what: str, out: Drying, base: Drying, ask: Ask, note: str) -> Change:
    is_hazard = note == HAZARD

    def less(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else a - b

    def share(a: float | None, b: float | None) -> float | None:
        return None if a is None or not b else a / b - 1.0

    is_electric = base.gas_to_dry_j == 0.0
    fuel = ("electricity_to_dry_j", "electricity_to_dry_j") if is_electric else ("gas_to_dry_j", "gas_to_dry_j")
    if is_hazard:
        base = msgspec.structs.replace(base, gas_to_dry_j=None, electricity_to_dry_j=None)
    trips = f"The inlet limit opens {out.limit_trips} times. " if out.limit_trips else ""
    return Change(
        what=what,
        minutes=less(out.minutes_to_dry, base.minutes_to_dry),
        fuel_frac=share(getattr(out, fuel[0]), getattr(base, fuel[1])),
        electricity_frac=share(out.electricity_to_dry_j, base.electricity_to_dry_j),
        cost_minor=less(
            energy_cost(ask, out.gas_to_dry_j, out.electricity_to_dry_j),
            energy_cost(ask, base.gas_to_dry_j, base.electricity_to_dry_j),
        ),
        says=trips + note,
    )
