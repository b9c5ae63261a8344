"""Property functions against an open property library and rows of the ASHRAE handbook.

Handbook rows: ASHRAE Fundamentals 2017, chapter 1, tables 1 to 3 and example 1, read in open library tests that
quote them. Latent heats: IAPWS-IF97, recomputed with an open code.
"""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from tests.facts.report import note

from drybank.drying import properties as prop
from drybank.records.units import BTU_J, FOOT_M, POUND_KG, PSI_PA, c_from_f

BTU_LB = BTU_J / POUND_KG


def test_saturation_pressure_follows_the_library_from_freezing_to_130_within_one_millionth_part():
    temps = np.linspace(0.02, 130.0, 271)
    ours = np.array([prop.saturation_pressure_pa(t) for t in temps])
    theirs = np.array([PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in temps])
    assert np.max(np.abs(ours / theirs - 1.0)) < 1e-6


@pytest.mark.facts
@pytest.mark.parametrize(("temp_f", "psia"), [(41, 0.12656), (77, 0.45973), (122, 1.7914), (212, 14.7094)])
def test_saturation_pressure_agrees_with_the_handbook_row_within_0_03_percent(temp_f, psia):
    ours = prop.saturation_pressure_pa(c_from_f(temp_f)) / PSI_PA
    note("saturation pressure", "ASHRAE Fundamentals 2017 ch. 1 table 3", "R2", f"{psia} psia at {temp_f} °F",
         f"{ours:.5f}", f"{100 * (ours / psia - 1):+.3f} %")  # fmt: skip
    assert ours == pytest.approx(psia, rel=3e-4)


@pytest.mark.facts
@pytest.mark.parametrize(
    ("temp_c", "kj"), [(0.01, 2500.9), (20, 2453.5), (25, 2441.7), (50, 2382.0), (60, 2357.7), (100, 2256.5)]
)
def test_latent_heat_agrees_with_the_formulation_within_0_01_percent(temp_c, kj):
    ours = prop.latent_heat_j_kg(temp_c) / 1000
    note("latent heat", "IAPWS-IF97", "C", f"{kj} kJ/kg at {temp_c} °C", f"{ours:.1f}",
         f"{100 * (ours / kj - 1):+.4f} %")  # fmt: skip
    assert ours == pytest.approx(kj, rel=1e-4)


def test_humid_air_of_the_drum_lies_within_one_percent_of_the_real_gas_library():
    """Ideal-gas humid air against CoolProp's real-gas humid air, 5..90 °C, up to half saturated."""
    worst_w = worst_h = 0.0
    for temp in (5, 22, 38, 60, 90):
        for rh in (0.1, 0.3, 0.5):
            given = ("T", temp + 273.15, "P", 101325.0, "R", rh)
            humidity = prop.humidity_ratio(rh * prop.saturation_pressure_pa(temp), 101325.0)
            worst_w = max(worst_w, abs(humidity / HAPropsSI("W", *given) - 1.0))
            dry = HAPropsSI("H", "T", 273.15, "P", 101325.0, "W", 0.0)
            theirs = HAPropsSI("H", "T", temp + 273.15, "P", 101325.0, "W", humidity) - dry
            worst_h = max(worst_h, abs(prop.enthalpy_air_j_kg(temp, humidity) / theirs - 1.0))
    assert worst_w < 0.01
    assert worst_h < 0.01


@pytest.mark.facts
def test_example_of_the_handbook_100_f_dry_65_f_wet():
    """ASHRAE Fundamentals 2017 ch. 1 example 1: W .00523, h 29.80 Btu/lb (read in open library tests)."""
    dry, wet, pressure = c_from_f(100), c_from_f(65), 101325.0
    saturated = prop.humidity_ratio(prop.saturation_pressure_pa(wet), pressure)
    # adiabatic saturation: enthalpy of the air plus the water added at the wet-bulb temperature
    water = prop.CP_WATER_J_KG_K * wet
    base = prop.enthalpy_air_j_kg(wet, saturated) - saturated * water
    humidity = (base - prop.CP_AIR_J_KG_K * dry) / (prop.H0_J_KG + prop.CP_VAPOUR_J_KG_K * dry - water)
    enthalpy = prop.enthalpy_air_j_kg(dry, humidity) / BTU_LB + 0.24 * 32  # their datum is 0 °F for dry air
    note("humidity ratio", "ASHRAE Fundamentals 2017 ch. 1 example 1", "R2", "0.00523", f"{humidity:.5f}",
         f"{100 * (humidity / 0.00523 - 1):+.2f} %")  # fmt: skip
    assert humidity == pytest.approx(0.00523, abs=1e-4)
    assert enthalpy == pytest.approx(29.80, abs=0.1)


@pytest.mark.facts
@pytest.mark.parametrize(("altitude_m", "pascal"), [(500, 95461), (1000, 89875), (4000, 61640)])
def test_standard_pressure_agrees_with_the_handbook_row(altitude_m, pascal):
    ours = prop.standard_pressure_pa(altitude_m)
    note("standard pressure", "ASHRAE Fundamentals 2017 ch. 1 table 1", "R2", f"{pascal} Pa at {altitude_m} m",
         f"{ours:.0f}", f"{ours - pascal:+.0f} Pa")  # fmt: skip
    assert ours == pytest.approx(pascal, abs=5)


@pytest.mark.parametrize(("feet", "psia"), [(0, 14.696), (1000, 14.175), (3000, 13.173), (10000, 10.108)])
def test_standard_pressure_by_feet_lies_within_0_02_percent_of_the_same_table(feet, psia):
    """The printed psia column departs from its own formula by up to 0.002 psia."""
    assert prop.standard_pressure_pa(feet * FOOT_M) / PSI_PA == pytest.approx(psia, rel=2e-4)
