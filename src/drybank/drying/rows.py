"""From records to the rows of figures that reference and kernel read."""

from __future__ import annotations

from typing import Final

import numpy as np

from drybank.drying import layout as at
from drybank.drying import properties as prop
from drybank.records.drying import Air, Array, Fuel, Heat, Load, Pocket, Start

# Water in the flue gas per heat released, higher heating value. Methane 2.25 kg/kg over 55.5 MJ/kg;
# propane 1.634 kg/kg over 50.35 MJ/kg (from memory).
WATER_FIRE_KG_J: Final[dict[Fuel, float]] = {
    "natural gas": 2.25 / 55.5e6, "propane": 1.634 / 50.35e6, "electric": 0.0,
}  # fmt: skip
MASS_EXPONENT: Final = 0.70  # of fabric contact (assumed)
FLOW_EXPONENT: Final = 0.50  # of fabric contact (assumed)
FLOW_CONTACT_M3_S: Final = 0.05
DERATE_FROM_M: Final = 609.6  # 2,000 ft
_KINDS: Final = {"on/off": 1, "two-stage": 2, "modulating": 3}


def pressure_of(air: Air) -> float:
    """Air pressure: as given, else of the standard atmosphere. [Pa]"""
    return air.pressure_pa if air.pressure_pa is not None else prop.standard_pressure_pa(air.altitude_m)


def heat_input_w(pocket: Pocket, air: Air) -> float:
    """Heat at full fire after derating: from 2,000 ft on, so much per 1,000 ft above sea level. [W]"""
    if air.altitude_m <= DERATE_FROM_M:
        return pocket.heat_input_w
    return pocket.heat_input_w * max(0.1, 1.0 - pocket.derate_frac_per_1000_ft * air.altitude_m / 304.8)


def is_fire_proved(pocket: Pocket) -> bool:
    """Whether the airflow switch lets the fire light."""
    return pocket.flow_exhaust_m3_s >= pocket.fire.flow_proving_m3_s


def row_of(load: Load, pocket: Pocket, air: Air, heat: Heat, heat_end_s: float = -1.0) -> Array:
    """Constants of one load; ``heat_end_s`` below zero heats until dry."""
    row = np.zeros(at.ROW)
    _air_into(row, pocket, air)
    _pocket_into(row, load, pocket)
    _control_into(row, pocket, heat)
    row[at.HEAT_END], row[at.COOL] = heat_end_s, heat.cool_down_s
    scale = sum(c.share_mass_frac * c.contact_rel for c in load.classes)
    for k, cloth in enumerate(load.classes):
        c = at.CLASS_0 + k * at.CLASS_WIDTH
        row[c + at.CONTACT_K] = cloth.share_mass_frac * cloth.contact_rel / scale
        row[c + at.INV_MASS_K] = 1.0 / (load.mass_dry_kg * cloth.share_mass_frac)
        row[c + at.INV_COTTON_K] = 1.0 / cloth.cotton_frac
        row[c + at.SHARE_K] = cloth.share_mass_frac
    row[at.THICKEST] = len(load.classes) - 1
    return row


def _air_into(row: Array, pocket: Pocket, air: Air) -> None:
    pressure = pressure_of(air)
    vapour = air.humidity_frac * prop.saturation_pressure_pa(air.temp_c)
    humidity = prop.humidity_ratio(vapour, pressure)
    room = air.temp_c if air.temp_room_c is None else air.temp_room_c
    row[at.HEAT_W] = heat_input_w(pocket, air)
    row[at.FLOW] = pressure * pocket.flow_exhaust_m3_s / prop.R_AIR_J_KG_K
    row[at.KEEP] = 1.0 - pocket.leak_frac
    row[at.H_AIR], row[at.W_AIR] = prop.enthalpy_air_j_kg(air.temp_c, humidity), humidity
    row[at.H_ROOM], row[at.W_ROOM], row[at.T_ROOM] = prop.enthalpy_air_j_kg(room, humidity), humidity, room
    row[at.PRESSURE] = pressure


def _pocket_into(row: Array, load: Load, pocket: Pocket) -> None:
    flow = pocket.flow_exhaust_m3_s / FLOW_CONTACT_M3_S
    row[at.CONTACT] = pocket.contact_w_k * load.mass_dry_kg**MASS_EXPONENT * flow**FLOW_EXPONENT
    row[at.UA_AM], row[at.UA_MF], row[at.UA_LOSS] = (
        pocket.ua_air_metal_w_k, pocket.ua_metal_fabric_w_k, pocket.ua_loss_w_k,
    )  # fmt: skip
    row[at.INV_C_METAL] = 1.0 / pocket.heat_metal_j_k
    row[at.INV_LAG] = 1.0 / pocket.lag_thermostat_s
    row[at.WATER_FIRE] = WATER_FIRE_KG_J[pocket.fuel]


def _control_into(row: Array, pocket: Pocket, heat: Heat) -> None:
    fire = pocket.fire
    is_modulating = fire.kind == "modulating"
    row[at.FIRE_FLOOR] = fire.low_fire_frac if is_modulating else 1.0
    row[at.FIRE_CAP] = 1.0
    row[at.FIRE_SLOPE] = 1.0 / fire.band_modulating_k
    row[at.INV_LAG_LIMIT] = 1.0 / fire.lag_limit_s
    if heat.temp_exhaust_c is not None and is_fire_proved(pocket):
        row[at.KIND] = _KINDS[fire.kind]
        row[at.SETTING] = row[at.FIRE_ZERO] = heat.temp_exhaust_c
    row[at.BAND], row[at.LOW_FIRE], row[at.OVER] = fire.band_k, fire.low_fire_frac, fire.over_k
    row[at.DELAY] = fire.ignition_delay_s
    row[at.LIMIT], row[at.BAND_LIMIT] = fire.temp_limit_c, fire.band_limit_k


def start_of(load: Load, air: Air, start: Start | None = None) -> Array:
    """States at the start (STATES figures): the load as it comes, the pocket cold unless told otherwise."""
    room = air.temp_c if air.temp_room_c is None else air.temp_room_c
    y = np.zeros(at.STATES)
    y[at.T_0 : at.T_0 + at.CLASSES] = load.temp_c
    wet = sum(c.share_mass_frac * c.moisture_rel for c in load.classes)
    for k, cloth in enumerate(load.classes):
        y[at.X_0 + k] = load.residual_frac * cloth.moisture_rel / wet
    y[at.T_METAL] = room if start is None else start.temp_metal_c
    y[at.T_EXHAUST] = room if start is None else start.temp_exhaust_c
    y[at.T_LIMIT] = air.temp_c if start is None else start.temp_limit_sensor_c
    return y
