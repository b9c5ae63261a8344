"""The drying model in plain form, to be read and to hold the kernel against.

The load is one to three classes of cloth, each with a temperature T_k and a moisture X_k. Air passes through heater
and drum as a plug and is at every moment in balance with them (it stays in the drum for about a second). Metal follows
the air; the thermostat follows the exhaust with a lag; the inlet limit follows the inlet with a lag of its own.

    fan        m_x = p V / (R (T_s + 273.15)): constant volume, so thin or hot air carries less mass
    leakage    m_d = (1 - f) m_x goes through heater and drum, the rest comes in behind them as room air
    heater     h_in = h_air + fire Q / m_d and W_in = W_air + w_c fire Q / m_d, Q on the higher heating value
    metal      q_am = m_d cp (1 - exp(-UA / (m_d cp))) (T_in - T_m)
    cloth      N_k = hA_k / (m_d cp), G_k = N_k psi_k / Le^(2/3), air relaxing to the mean surface along the drum
               q_k = m_d cp N_k (T_air - T_k), v_k = m_d G_k (W_k - W_air): below zero it condenses or is taken up
    surface    vapour pressure of damp cotton, and psi = min(1, (X / X_c)^(3/4)) when the surface dries out
    balance    m_k (c_f + c_w X_k) dT_k/dt = q_k + UA_mf s_k (T_m - T_k) - v_k (h_fg + q_sorption), dX_k/dt = -v_k / m_k
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from drybank.drying import layout as at
from drybank.drying import properties as prop
from drybank.records.drying import Array

STEP_S = 1.0


class Stream(NamedTuple):
    """Air at one moment: into heater and drum, at the inlet, after the metal."""

    flow_exhaust_kg_s: float
    flow_drum_kg_s: float
    fire_frac: float
    burned_w: float
    humidity_in: float
    enthalpy_in: float
    heat_air: float
    temp_in_c: float


def inlet(row: Array, fire: float, temp_exhaust_c: float) -> Stream:
    """Air behind the heater. ``fire`` is 0 with the fire out; a modulating valve also looks at the exhaust."""
    flow = row[at.FLOW] / (temp_exhaust_c + 273.15)
    drum = row[at.KEEP] * flow
    opening = (row[at.FIRE_ZERO] - temp_exhaust_c) * row[at.FIRE_SLOPE]
    opening = max(row[at.FIRE_FLOOR], min(row[at.FIRE_CAP], opening))
    burned = fire * opening * row[at.HEAT_W]
    enthalpy = row[at.H_AIR] + burned / drum
    humidity = row[at.W_AIR] + row[at.WATER_FIRE] * burned / drum
    heat_air = prop.CP_AIR_J_KG_K + prop.CP_VAPOUR_J_KG_K * humidity
    temp = prop.temperature_air_c(enthalpy, humidity)
    return Stream(flow, drum, fire * opening, burned, humidity, enthalpy, heat_air, temp)


def _along_the_drum(surface: float, entering: float, units: float) -> float:
    """Mean over the drum's length of something that relaxes to the surface's value."""
    return surface + (entering - surface) * -math.expm1(-units) / units if units > 1e-9 else entering


def slopes(row: Array, fire: float, y: Array) -> Array:
    """Rates of the nine states and four sums, then inlet temperature and fire."""
    metal, exhaust, limit = y[at.T_METAL], y[at.T_EXHAUST], y[at.T_LIMIT]
    air = inlet(row, fire, exhaust)
    capacity = air.flow_drum_kg_s * air.heat_air
    q_am = capacity * -math.expm1(-row[at.UA_AM] / capacity) * (air.temp_in_c - metal)
    temp_2 = air.temp_in_c - q_am / capacity

    cloths = [k for k in range(at.CLASSES) if row[at.CLASS_0 + k * at.CLASS_WIDTH + at.SHARE_K] > 0.0]
    fixed = {k: row[at.CLASS_0 + k * at.CLASS_WIDTH :][: at.CLASS_WIDTH] for k in cloths}
    wet, psi, bound = {}, {}, {}
    for k in cloths:
        regain = y[at.X_0 + k] * fixed[k][at.INV_COTTON_K]
        vapour = min(prop.vapour_pressure_cloth_pa(y[k], regain), 0.98 * row[at.PRESSURE])
        wet[k] = prop.humidity_ratio(vapour, row[at.PRESSURE])
        psi[k] = min(1.0, max(y[at.X_0 + k], 0.0) / at.MOISTURE_CRITICAL) ** at.FALLING
        bound[k] = prop.heat_of_sorption_j_kg(regain)

    n = {k: row[at.CONTACT] * fixed[k][at.CONTACT_K] / capacity for k in cloths}
    g = {k: n[k] * psi[k] / at.LEWIS for k in cloths}
    n_all, g_all = sum(n.values()), sum(g.values())
    temp_air = _along_the_drum(sum(n[k] * y[k] for k in cloths) / n_all, temp_2, n_all)
    surface_w = sum(g[k] * wet[k] for k in cloths) / g_all if g_all > 0.0 else air.humidity_in
    humid_air = _along_the_drum(surface_w, air.humidity_in, g_all)

    out = np.zeros(at.WIDTH + 2)
    vapour, heat_x, from_metal = 0.0, air.flow_drum_kg_s * air.enthalpy_in - q_am, 0.0
    for k in cloths:
        temp, moisture, inv_mass = y[k], y[at.X_0 + k], fixed[k][at.INV_MASS_K]
        q = capacity * n[k] * (temp_air - temp)
        v = air.flow_drum_kg_s * g[k] * (wet[k] - humid_air)
        touch = row[at.UA_MF] * fixed[k][at.SHARE_K] * (metal - temp)
        latent = prop.latent_heat_j_kg(temp)
        held = (at.HEAT_FABRIC + prop.CP_WATER_J_KG_K * moisture) / inv_mass
        out[k] = (q + touch - v * (latent + bound[k])) / held
        out[at.X_0 + k] = -v * inv_mass
        vapour += v
        heat_x += v * (latent + prop.CP_WATER_J_KG_K * temp) - q
        from_metal += touch
    loss = row[at.UA_LOSS] * (metal - row[at.T_ROOM])
    leak = air.flow_exhaust_kg_s - air.flow_drum_kg_s
    heat_x += leak * row[at.H_ROOM]
    water_x = air.flow_drum_kg_s * air.humidity_in + vapour + leak * row[at.W_ROOM]
    temp_x = prop.temperature_air_c(heat_x / air.flow_exhaust_kg_s, water_x / air.flow_exhaust_kg_s)

    out[at.T_METAL] = (q_am - from_metal - loss) * row[at.INV_C_METAL]
    out[at.T_EXHAUST] = (temp_x - exhaust) * row[at.INV_LAG]
    out[at.T_LIMIT] = (air.temp_in_c - limit) * row[at.INV_LAG_LIMIT]
    out[at.BURNED], out[at.LOST] = air.burned_w, loss
    out[at.WATER_OUT] = water_x - air.flow_drum_kg_s * row[at.W_AIR] - leak * row[at.W_ROOM]
    out[at.ENTHALPY_OUT] = heat_x - air.flow_drum_kg_s * row[at.H_AIR] - leak * row[at.H_ROOM]
    out[at.WIDTH], out[at.WIDTH + 1] = air.temp_in_c, air.fire_frac
    return out


class Switch(NamedTuple):
    """The state that a mode watches, the value at which it acts, and from which side (+1 rising)."""

    state: int
    value: float
    sense: int


def switches(row: Array, mode: int) -> list[Switch]:
    """What ends this mode of the fire."""
    kind, setting, band = int(row[at.KIND]), row[at.SETTING], row[at.BAND]
    limit = Switch(at.T_LIMIT, row[at.LIMIT], +1)
    if mode == at.MODE_OFF:
        return [Switch(at.T_EXHAUST, setting if kind == 3 else setting - band, -1)]
    if mode == at.MODE_FULL:
        above = {1: 0.0, 2: -band, 3: row[at.OVER]}[kind]
        return [Switch(at.T_EXHAUST, setting + above, +1), limit]
    if mode == at.MODE_LOW:
        return [
            Switch(at.T_EXHAUST, setting, +1),
            Switch(at.T_EXHAUST, setting - 2 * band, -1),
            limit,
        ]
    if mode == at.MODE_LIMIT:
        return [Switch(at.T_LIMIT, row[at.LIMIT] - row[at.BAND_LIMIT], -1)]
    return []


def next_mode(row: Array, mode: int, switch: Switch) -> int:
    """Where a switch leads: limits and low temperatures by way of the ignition delay."""
    if mode in (at.MODE_OFF, at.MODE_LIMIT):
        return at.MODE_DELAY
    if switch.state == at.T_LIMIT:
        return at.MODE_LIMIT
    if mode == at.MODE_FULL and int(row[at.KIND]) == 2:
        return at.MODE_LOW
    if mode == at.MODE_LOW and switch.sense < 0:
        return at.MODE_FULL
    return at.MODE_OFF


def lit_mode(row: Array, temp_exhaust_c: float) -> int:
    """With which stage the fire comes on after its delay."""
    is_low = int(row[at.KIND]) == 2 and temp_exhaust_c > row[at.SETTING] - 2 * row[at.BAND]
    return at.MODE_LOW if is_low else at.MODE_FULL


def fire_of(row: Array, mode: int) -> float:
    """Fire of a mode before a modulating valve: 0, low or 1."""
    return {at.MODE_FULL: 1.0, at.MODE_LOW: float(row[at.LOW_FIRE])}.get(mode, 0.0)


def moisture_over(row: Array, y: Array) -> float:
    """How far the load is from dry: the worse of mean and thickest class against what *dry* means."""
    shares = [row[at.CLASS_0 + k * at.CLASS_WIDTH + at.SHARE_K] for k in range(at.CLASSES)]
    mean = sum(s * y[at.X_0 + k] for k, s in enumerate(shares))
    return float(max(mean - at.DRY_MEAN, y[at.X_0 + int(row[at.THICKEST])] - at.DRY_THICKEST))


def _step(row: Array, fire: float, y: Array, h: float) -> Array:
    a = slopes(row, fire, y)[: at.WIDTH]
    b = slopes(row, fire, y + 0.5 * h * a)[: at.WIDTH]
    c = slopes(row, fire, y + 0.5 * h * b)[: at.WIDTH]
    d = slopes(row, fire, y + h * c)[: at.WIDTH]
    out: Array = y + h / 6.0 * (a + 2.0 * b + 2.0 * c + d)
    return out


class Ran(NamedTuple):
    """Seconds to dry (NaN: not within the model's limit), state then, and seconds of fire."""

    seconds: float
    state: Array
    fire_s: float
    trips: int


def run_to_dry(row: Array, start: Array, step_s: float = STEP_S) -> Ran:
    """Heat until dry in plain fixed steps; a step that runs over a switch is halved onto it by bisection."""
    y = np.concatenate([start, np.zeros(at.SUMS)])
    t, fire_s, trips = 0.0, 0.0, 0
    mode, light = (at.MODE_DELAY, float(row[at.DELAY])) if row[at.KIND] > 0 else (at.MODE_COOL, 0.0)
    while t < at.LONGEST_S:
        if mode == at.MODE_DELAY and t >= light:
            mode = lit_mode(row, y[at.T_EXHAUST])
        passed = [s for s in switches(row, mode) if s.sense * (y[s.state] - s.value) >= 0.0]
        if passed:
            trips += passed[0].state == at.T_LIMIT and passed[0].sense > 0
            mode = next_mode(row, mode, passed[0])
            light = t + float(row[at.DELAY])
            continue
        h = min(step_s, light - t) if mode == at.MODE_DELAY else step_s
        fire = fire_of(row, mode)
        ahead = _step(row, fire, y, h)
        if _is_over(row, mode, ahead):
            low, high = 0.0, h
            for _ in range(40):
                middle = 0.5 * (low + high)
                low, high = (low, middle) if _is_over(row, mode, _step(row, fire, y, middle)) else (middle, high)
            h, ahead = high, _step(row, fire, y, high)
        t, y = t + h, ahead
        fire_s += h if fire > 0.0 else 0.0
        if moisture_over(row, y) <= 0.0:
            return Ran(t, y, fire_s, trips)
    return Ran(math.nan, y, fire_s, trips)


def _is_over(row: Array, mode: int, y: Array) -> bool:
    return moisture_over(row, y) <= 0.0 or any(s.sense * (y[s.state] - s.value) > 0.0 for s in switches(row, mode))
