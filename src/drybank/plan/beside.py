"""What stands beside a plan's figures: energy of a minute, the hidden cost of room air, a window of free drying."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from drybank.energy import Electricity, OutdoorAir, minute_cost, room_air_cost, unit_cost
from drybank.plan import words
from drybank.plan.outcome import levels_of, mean, meet
from drybank.plan.search.problem import middle
from drybank.records.energy import MinuteCost, RoomAirCost, Supply, Tariff, UnitCost, Usage
from drybank.records.plan import F64, FreeWindow, PlanInputs, PlanSetting
from drybank.records.plan_given import RoomAirTold
from drybank.records.working import Assumption

GAS_CONSTANT_AIR_J_KGK = 287.05
"""Specific gas constant of dry air, J/(kg K) (standard psychrometrics, from memory)."""
BELOW_SETTING_K = 15.0
"""How far the exhaust lies under its setting on average while a load dries (own drying runs; 10 K move the air by 3 %)."""
WINDOW_HOURS = 4
DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


# ---------------------------------------------------------------- energy of a minute


def minute_costs(inputs: PlanInputs, setting: PlanSetting) -> MinuteCost | None:
    """What a minute of heated drying costs in fuel and electricity, at the margin and on average of the month's bill."""
    met, costs = meet(inputs, setting, middle(inputs)), inputs.costs
    heated_s = mean(met, met.heated_s)
    if heated_s <= 0:
        return None
    supply: Supply = costs.fuel_supply if costs.fuel_supply is not None else Electricity()
    fuel = _unit_cost(costs.fuel_usage, costs.fuel_tariff, costs.fuel_minor_kwh.value, inputs.currency)
    power = _unit_cost(costs.power_usage, costs.power_tariff, costs.power_minor_kwh.value, inputs.currency)
    return minute_cost(
        fuel=fuel, supply=supply, burner_w=mean(met, met.fuel_j) / heated_s, electricity=power, motor_w=inputs.loads.motor_w
    )  # fmt: skip


def _unit_cost(usage: Usage | None, tariff: Tariff | None, minor_kwh: float, currency: str) -> UnitCost:
    """Cost of a unit under a tariff; without one, the stated price of a kWh, whose average is not known."""
    if usage is not None and tariff is not None:
        return unit_cost(usage, tariff)
    price = Decimal(round(minor_kwh * 10**6)).scaleb(-6)
    return UnitCost(unit="kWh", currency=currency, marginal_minor=price, average_minor=None)


# ---------------------------------------------------------------- room air


def room_air_told(inputs: PlanInputs, answer: PlanSetting) -> RoomAirTold | None:
    """What making up the room air costs that the bank's dryers throw out; None unless a conditioned room is given."""
    if inputs.room is None:
        return None
    weeks = inputs.room.temp_c.size / 168.0
    proposed, today = _room_cost(inputs, answer), None
    if inputs.today is not None:
        today = _room_cost(inputs, inputs.today)
    temp_c = inputs.room.temp_c
    spans = [slice(i, i + 672) for i in range(0, temp_c.size - 671, 672)]
    by_cold = sorted(spans, key=lambda s: float(temp_c[s].mean()))
    ends = [_room_cost(inputs, answer, s).cost_minor / 4.0 for s in (by_cold[0], by_cold[-1])]
    week = proposed.cost_minor / weeks
    before = None if today is None else today.cost_minor / weeks
    return RoomAirTold(
        proposed=proposed, today=today, week_minor=week, week_today_minor=before, coldest_minor=ends[0],
        warmest_minor=ends[1], says=_room_says(inputs, proposed, week, before, ends), assumptions=_room_assumptions(inputs),
    )  # fmt: skip


def _room_cost(inputs: PlanInputs, setting: PlanSetting, span: slice | None = None) -> RoomAirCost:
    room, world = inputs.room, middle(inputs)
    assert room is not None, "asked for only where a room is given"
    hours = span or slice(0, room.temp_c.size)
    met = meet(inputs, setting, world)
    turning_s = mean(met, met.heated_s) + setting.cool_down_s * mean(met, met.is_dried * 1.0)
    pocket_hours = inputs.loads_per_week.value * turning_s / 3600.0
    running = np.resize(np.roll(_by_hour(inputs) * pocket_hours, -24 * room.first_weekday), room.temp_c.size)[hours]
    humidity = None if room.humidity_kg_kg is None else room.humidity_kg_kg[hours]
    made = room_air_cost(
        room.room, outdoor=OutdoorAir(temp_c=room.temp_c[hours], humidity_kg_kg=humidity, pressure_pa=room.pressure_pa),
        air_kg_s=running * air_flow_kg_s(inputs, setting), heat_price_minor_kwh=world.fuel_minor_kwh,
        power_price_minor_kwh=world.power_minor_kwh, drying_minutes=float(running.sum()) * 60.0, currency=inputs.currency,
    )  # fmt: skip
    assert made is not None, "a room was given"
    return made


def air_flow_kg_s(inputs: PlanInputs, setting: PlanSetting) -> float:
    """Mass of air that a running pocket throws out: its volume at the exhaust's temperature. [kg/s]"""
    temps_c = np.array(inputs.grid.temps_c)[levels_of(inputs, setting)][inputs.loads.heat]
    exhaust_k = float(np.average(temps_c, weights=inputs.loads.weight)) - BELOW_SETTING_K + 273.15
    pressure = inputs.room.pressure_pa if inputs.room is not None else 101_325.0
    return pressure * inputs.drum_flow_m3_s / (GAS_CONSTANT_AIR_J_KGK * exhaust_k)


def _by_hour(inputs: PlanInputs) -> F64:
    """Share of the week's drying in each of its hours (168,); even where no week is known."""
    rates = np.array(inputs.traffic.arrivals.by_hour) if inputs.traffic is not None else np.ones(168)
    return np.asarray(rates / rates.sum())


def _room_says(inputs: PlanInputs, cost: RoomAirCost, week: float, before: float | None, ends: list[float]) -> str:
    text = (
        f"Making up the room air that these dryers throw out costs about {words.money(inputs, week)} a week over the year "
        f"({words.money(inputs, ends[0])} in the coldest four weeks, {words.money(inputs, ends[1])} in the warmest), "
        f"{words.price(inputs, cost.cost_per_drying_minute_minor)} a drying minute."
    )
    if before is not None:
        text += f" At today's settings: {words.money(inputs, before)}."
    return text + " It stands on the bill for heating or cooling the room and is in none of the figures above."


def _room_assumptions(inputs: PlanInputs) -> tuple[Assumption, ...]:
    room = inputs.room
    assert room is not None, "asked for only where a room is given"
    out = [
        Assumption(name="outdoor air", taken=room.source, source="hour by hour", matters="cost of room air"),
        Assumption(name="temperature of the exhaust", taken=f"{BELOW_SETTING_K:.0f} K under the setting on average",
                   source="own drying runs", low="5 K", high="25 K", matters="3 % of the air for 10 K"),
        Assumption(name="fuel that heats the room", taken="the dryers' fuel at its next unit's price", source="assumed",
                   matters="cost of room air in proportion"),
        Assumption(name="share of the dryers' air that comes from the room", taken=f"{100 * room.room.room_share_frac:.0f} %",
                   source="the store file, or all of it", matters="cost of room air in proportion"),
    ]  # fmt: skip
    if inputs.traffic is None:
        out.append(
            Assumption(name="when the dryers run", taken="evenly over the week", source="no opening hours given")
        )
    return tuple(out)


# ---------------------------------------------------------------- a window of free drying


def free_window(inputs: PlanInputs, answer: PlanSetting) -> FreeWindow | None:
    """Free drying in the quietest hours: takings given up, and the washes more that would pay for it."""
    world = middle(inputs)
    met = meet(inputs, answer, world)
    dried = mean(met, met.is_dried * 1.0)
    if dried <= 0:
        return None
    takings = mean(met, met.takings) / dried
    cost = mean(met, met.energy_cost + met.wear_cost) / dried
    gain = world.visit_minor - cost
    hours, loads = _quiet(inputs, dried)
    if gain <= 0:
        says = "A load's visit brings less than drying it costs: a free window cannot pay."
        return FreeWindow(says=says, cost_minor_per_load=cost, takings_given_up_minor_per_load=takings,
                          washes_to_break_even_frac=None, window=hours, loads_now=loads, washes_more=None)  # fmt: skip
    more = takings / gain
    says = (
        f"Drying free gives up {words.money(inputs, takings)} a load and costs {words.money(inputs, cost)} in energy and "
        f"wear; it takes {100 * more:.0f} % more loads to come out even."
    )
    if hours:
        says += (
            f" In the quietest {WINDOW_HOURS} hours, {hours}, about {loads:.1f} loads come now: that is "
            f"{words.money(inputs, takings * loads)} a week, and {more * loads:.1f} more washes would pay for it."
        )
    return FreeWindow(says=says, cost_minor_per_load=cost, takings_given_up_minor_per_load=takings,
                      washes_to_break_even_frac=more, window=hours, loads_now=loads, washes_more=more * loads)  # fmt: skip


def _quiet(inputs: PlanInputs, dried: float) -> tuple[str, float]:
    """The quietest open hours in a row, in words, and the loads dried in them; "" where no week is known."""
    if inputs.traffic is None:
        return "", 0.0
    rates = np.array(inputs.traffic.arrivals.by_hour).reshape(7, 24)
    found = [
        (float(span.sum()), day, hour)
        for day in range(7)
        for hour in range(25 - WINDOW_HOURS)
        if (span := rates[day, hour : hour + WINDOW_HOURS]).min() > 0
    ]
    if not found:
        return "", 0.0
    least, day, hour = min(found)
    loads = inputs.loads_per_week.value * dried * least / float(rates.sum())
    return f"{DAY_NAMES[day]} {hour}:00 to {hour + WINDOW_HOURS}:00", loads
