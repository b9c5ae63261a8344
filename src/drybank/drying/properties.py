"""Moist air, water and damp cotton: the property functions of the drying model.

Plain scalar functions; `drybank.drying.kernel` carries the same maths in lanes.
Energy datum: liquid water and dry air at 0 °C. Temperatures in °C.
"""

from __future__ import annotations

import math
from typing import Final

CP_AIR_J_KG_K: Final = 1006.0  # dry air, standard psychrometrics (from memory)
CP_VAPOUR_J_KG_K: Final = 1860.0  # water vapour in air (from memory)
CP_WATER_J_KG_K: Final = 4186.0  # liquid water (from memory)
H0_J_KG: Final = 2.501e6  # vapour at 0 °C (from memory)
R_AIR_J_KG_K: Final = 287.042  # dry air
R_VAPOUR_J_KG_K: Final = 461.52  # water vapour
RATIO_MASS: Final = 0.622  # molar mass of water over that of dry air

# Fourth root of the vapour pressure of water as a polynomial in t/100 °C; fitted to IAPWS
# saturation pressures 0.01 to 130 °C computed with an open library; worst 0.53 parts per million.
# Below 0 °C it follows supercooled water, as the humidity of cold air is by custom reckoned.
PSAT_ROOT: Final = (
    4.97218926, 9.0334581, 4.47957893, -0.348770822, -0.457228886, 0.193586484, -0.0273121932,
)  # fmt: skip
# Latent heat, same source and span; worst 0.004 %.
LATENT: Final = (2500952.0, -238036.9, 6646.891, -13180.9)

# Moisture of cotton. Three isotherm constants by least squares to the nine points of the cotton-cloth
# row of the ASHRAE regain table at 24 °C (row from memory); `tests/drying/test_sorption.py` redoes the fit.
REGAIN_MONOLAYER: Final = 0.0347581
REGAIN_C: Final = 31.4363
REGAIN_K: Final = 0.8397552
TEMP_REGAIN_C: Final = 24.0
# Differential heat of sorption at no regain 1,250 J per g of water, and the one remaining constant chosen so
# that its integral is the heat of wetting of cotton, 46 J per g of fibre (Morton & Hearle, table 8.1, read).
HEAT_SORPTION_J_KG: Final = 1.25e6
HEAT_SORPTION_FALL: Final = 0.0145285


def saturation_pressure_pa(temp_c: float) -> float:
    """Vapour pressure over liquid water, -30 to 130 °C. [Pa]"""
    x = 0.01 * temp_c
    root = 0.0
    for coefficient in reversed(PSAT_ROOT):
        root = root * x + coefficient
    return root**4


def latent_heat_j_kg(temp_c: float) -> float:
    """Heat to evaporate water at its own vapour pressure, 0 to 130 °C. [J/kg]"""
    x = 0.01 * temp_c
    return LATENT[0] + x * (LATENT[1] + x * (LATENT[2] + x * LATENT[3]))


def humidity_ratio(pressure_vapour_pa: float, pressure_pa: float) -> float:
    """Water per dry air of a mixture of ideal gases. [kg/kg]"""
    return RATIO_MASS * pressure_vapour_pa / (pressure_pa - pressure_vapour_pa)


def enthalpy_air_j_kg(temp_c: float, humidity: float) -> float:
    """Enthalpy per kg of dry air. [J/kg]"""
    return CP_AIR_J_KG_K * temp_c + humidity * (H0_J_KG + CP_VAPOUR_J_KG_K * temp_c)


def temperature_air_c(enthalpy_j_kg: float, humidity: float) -> float:
    """Temperature that belongs to an enthalpy and a humidity. [°C]"""
    return (enthalpy_j_kg - H0_J_KG * humidity) / (CP_AIR_J_KG_K + CP_VAPOUR_J_KG_K * humidity)


def standard_pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere up to 11 km. [Pa]"""
    return 101325.0 * math.exp(5.2559 * math.log1p(-2.25577e-5 * altitude_m))


def regain_frac(activity: float) -> float:
    """Moisture of cotton in equilibrium at 24 °C with air of this relative humidity (0..1). [kg/kg dry]"""
    u = REGAIN_K * activity
    return REGAIN_MONOLAYER * REGAIN_C * u / ((1.0 - u) * (1.0 - u + REGAIN_C * u))


REGAIN_SATURATED: Final = regain_frac(1.0)


def water_activity(regain: float) -> float:
    """Relative humidity (0..1) above cotton of this moisture at 24 °C: the isotherm solved for it in closed form."""
    if regain >= REGAIN_SATURATED:
        return 1.0
    x = max(regain, 0.0)
    b = REGAIN_MONOLAYER * REGAIN_C - (REGAIN_C - 2.0) * x
    return 2.0 * x / (b + math.sqrt(b * b + 4.0 * (REGAIN_C - 1.0) * x * x)) / REGAIN_K


def heat_of_sorption_j_kg(regain: float) -> float:
    """Heat beyond the latent heat that it takes to free the next water from cotton. [J per kg of water]"""
    if regain >= REGAIN_SATURATED:
        return 0.0
    x = max(regain, 0.0)
    return HEAT_SORPTION_J_KG / (1.0 + x / HEAT_SORPTION_FALL) * (1.0 - (x / REGAIN_SATURATED) ** 4)


def heat_of_wetting_j_kg(regain: float) -> float:
    """Integral of the heat of sorption from dry to this moisture. [J per kg of dry cotton]"""
    b = HEAT_SORPTION_FALL
    x = min(max(regain, 0.0), REGAIN_SATURATED)
    log_part = math.log1p(x / b)
    quartic = x**4 / 4 - b * x**3 / 3 + b**2 * x**2 / 2 - b**3 * x + b**4 * log_part
    return HEAT_SORPTION_J_KG * b * (log_part - quartic / REGAIN_SATURATED**4)


def vapour_pressure_cloth_pa(temp_c: float, regain: float) -> float:
    """Vapour pressure above damp cotton: the isotherm moved in temperature by the heat of sorption. [Pa]"""
    shift = heat_of_sorption_j_kg(regain) / R_VAPOUR_J_KG_K
    shift *= 1.0 / (TEMP_REGAIN_C + 273.15) - 1.0 / (temp_c + 273.15)
    activity = min(1.0, water_activity(regain) * math.exp(shift))
    return activity * saturation_pressure_pa(temp_c)


def regain_at_frac(temp_c: float, activity: float) -> float:
    """Moisture of cotton in equilibrium at a temperature other than that of the isotherm; bisection. [kg/kg dry]"""
    low, high = 0.0, REGAIN_SATURATED
    goal = activity * saturation_pressure_pa(temp_c)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if vapour_pressure_cloth_pa(temp_c, middle) < goal:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
