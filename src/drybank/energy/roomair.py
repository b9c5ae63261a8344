"""The hidden cost of room air: what a dryer throws out, a conditioned room must make up.

Off unless asked for, and stated apart: it is a cost of the store's heating or cooling bill,
not of the dryer's, and it rests on how much of the dryers' air comes from the room.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from drybank.records.energy import OutdoorAir, RoomAir, RoomAirCost
from drybank.records.errors import InputError, InputErrors
from drybank.records.working import Input, Working

Hourly = NDArray[np.floating[Any]]

HEAT_DRY_AIR_J_KGK = 1006.0
"""Specific heat of dry air near room temperature, J/(kg K) (standard psychrometrics, from memory)."""
LATENT_20C_J_KG = 2.4535e6
"""Latent heat of water at 20 °C, J/kg (IAPWS-IF97, recomputed with an open code)."""


def room_air_cost(
    room: RoomAir | None,
    *,
    outdoor: OutdoorAir,
    air_kg_s: Hourly,
    heat_price_minor_kwh: float,
    power_price_minor_kwh: float,
    drying_minutes: float,
    currency: str,
) -> RoomAirCost | None:
    """Cost of conditioning make-up air over a row of hours; None when no room is given (the default).

    Parameters
    ----------
    outdoor : OutdoorAir
        Temperature, and humidity where the room is cooled and moisture counts, hour by hour.
    air_kg_s : array (hours,)
        Mean dry-air flow of all dryers together in each of those hours, 0 when none runs. [kg/s]
    heat_price_minor_kwh, power_price_minor_kwh : float
        Price of a kWh of heating fuel (higher heating value) and of electricity, minor units.
    drying_minutes : float
        Pocket minutes over the same hours, to spread the cost over.

    Notes
    -----
    Heating is sensible: flow × 1006 J/(kg K) × (room - outdoor) where outdoor is colder.
    Cooling counts the sensible part and, if asked, the moisture above the room's at 50 %.
    The part of this heat that warms the dryer's own intake is not taken off: a colder intake
    would burn more fuel in the dryer, which the drying runs count when given outdoor air.
    """
    if room is None:
        return None
    mistakes = room.check()
    if mistakes:
        raise InputErrors(mistakes)
    flow, temps = _hourly("air_kg_s", air_kg_s), _hourly("temp_c", outdoor.temp_c)
    if flow.shape != temps.shape:
        raise InputError(f"{flow.size} hours of air and {temps.size} of weather.", where="room air")
    drawn_kg = flow * room.room_share_frac * 3600.0
    heating_j = float((drawn_kg * HEAT_DRY_AIR_J_KGK * np.maximum(room.heat_to_c - temps, 0.0)).sum())
    cooling_j = _cooling_j(room, drawn_kg, temps, outdoor)
    heating_kwh = heating_j / 3.6e6 / room.heating_efficiency_frac
    cooling_kwh = cooling_j / 3.6e6 / room.cooling_cop
    cost = heating_kwh * heat_price_minor_kwh + cooling_kwh * power_price_minor_kwh
    return RoomAirCost(
        hours=int(flow.size), heating_kwh=heating_kwh, cooling_kwh=cooling_kwh, cost_minor=cost,
        cost_per_drying_minute_minor=cost / drying_minutes if drying_minutes > 0 else 0.0,
        currency=currency, working=_working(room, drawn_kg, heating_kwh, cooling_kwh),
    )  # fmt: skip


def _hourly(name: str, values: Hourly) -> NDArray[np.float64]:
    row = np.asarray(values, dtype=np.float64)
    if row.ndim != 1 or row.size == 0 or not np.isfinite(row).all():
        raise InputError(f"{name} must be a row of numbers without gaps.", where="room air")
    return row


def _cooling_j(room: RoomAir, drawn_kg: NDArray[np.float64], temps: NDArray[np.float64], outdoor: OutdoorAir) -> float:
    if room.cool_to_c is None:
        return 0.0
    hot = temps > room.cool_to_c
    sensible = (drawn_kg * HEAT_DRY_AIR_J_KGK * np.maximum(temps - room.cool_to_c, 0.0)).sum()
    if not room.counts_moisture:
        return float(sensible)
    if outdoor.humidity_kg_kg is None:
        raise InputError("cooling counts moisture, and no outdoor humidity is given.", where="room air",
                         mend="Give humidity_kg_kg, or set counts_moisture to false.")  # fmt: skip
    wet = _hourly("humidity_kg_kg", outdoor.humidity_kg_kg)
    if wet.shape != temps.shape:
        raise InputError(f"{temps.size} hours of temperature and {wet.size} of humidity.", where="room air")
    excess = np.maximum(wet - _room_humidity_kg_kg(room.cool_to_c, outdoor.pressure_pa), 0.0)
    return float(sensible + (drawn_kg * hot * excess * LATENT_20C_J_KG).sum())


def _room_humidity_kg_kg(temp_c: float, pressure_pa: float) -> float:
    """Humidity ratio at 50 % relative humidity; Magnus form, 0 to 50 °C (from memory, 0.3 %)."""
    vapour_pa = 0.5 * 610.94 * float(np.exp(17.625 * temp_c / (temp_c + 243.04)))
    return 0.622 * vapour_pa / (pressure_pa - vapour_pa)


def _working(room: RoomAir, drawn_kg: NDArray[np.float64], heating_kwh: float, cooling_kwh: float) -> Working:
    return Working(
        figure="hidden cost of room air",
        formula="air drawn × heat to bring outdoor air to the room's, over efficiency, hour by hour, × price",
        inputs=(
            Input(name="air drawn", value=f"{drawn_kg.sum() / 1000:.1f}", unit="tonnes", how="computed"),
            Input(name="room heated to", value=f"{room.heat_to_c:g}", unit="°C"),
            Input(name="heating bought", value=f"{heating_kwh:.1f}", unit="kWh", how="computed"),
            Input(name="cooling bought", value=f"{cooling_kwh:.1f}", unit="kWh", how="computed"),
        ),
    )
