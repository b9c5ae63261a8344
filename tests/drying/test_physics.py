"""Limits that need no table, and the shape of what the model says."""

from itertools import pairwise

import msgspec
import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from tests.drying.loads import random_cases
from tests.facts.report import note

from drybank.drying import (
    HOUSEHOLD,
    TEST_CLOTH,
    TOWELS,
    Air,
    FireControl,
    Heat,
    Load,
    Pocket,
    dry,
    dry_many,
)
from drybank.drying import properties as prop

POCKET, AIR, HOT = Pocket(), Air(), Heat(temp_exhaust_c=80.0)
LOAD = Load(mass_dry_kg=8.0, residual_frac=0.6)


def _with(record, **changed):
    return msgspec.structs.replace(record, **changed)


@pytest.mark.facts
@pytest.mark.parametrize(("temp_c", "rh", "altitude_m"), [(30, 0.2, 0), (22, 0.5, 0), (38, 0.3, 1500), (45, 0.1, 0)])
def test_wet_load_in_plain_air_settles_at_the_wet_bulb_of_the_property_library(temp_c, rh, altitude_m):
    """No heat, no losses: a soaked load in a draught tends to the adiabatic-saturation temperature, corrected for the
    Lewis number of water in air (heat and mass do not move quite alike). CoolProp's wet bulb is that of saturation;
    the Lewis factor of 0.91 lets a surface run up to 0.6 K lower, hence the tolerance."""
    air = Air(temp_c=temp_c, humidity_frac=rh, altitude_m=altitude_m)
    pocket = _with(POCKET, ua_air_metal_w_k=0.0, ua_metal_fabric_w_k=0.0, ua_loss_w_k=0.0)
    load = Load(mass_dry_kg=2.0, residual_frac=2.0, temp_c=temp_c, classes=TOWELS)
    end = dry(load, pocket, air, Heat(temp_exhaust_c=None, cool_down_s=0.0), sold_s=1500.0)
    assert end.moisture_sold_frac > 0.4  # still in the constant-rate part
    pressure = prop.standard_pressure_pa(altitude_m)
    wet_bulb = HAPropsSI("Twb", "T", temp_c + 273.15, "P", pressure, "R", rh) - 273.15
    ours = end.load_temp_after_cool_down_k - 273.15
    note("wet load in plain air, no heat", "CoolProp wet bulb", "C", f"{wet_bulb:.2f} °C at {temp_c} °C, {rh:.0%}",
         f"{ours:.2f} °C", f"{ours - wet_bulb:+.2f} K")  # fmt: skip
    assert -0.8 < ours - wet_bulb < 0.1


def test_wet_surface_solves_the_psychrometer_equation():
    """The same limit against the balance of a wet surface solved apart: h (T_air - T) = g h_fg (W_s - W_air),
    g = h / (cp Le^(2/3))."""
    from scipy.optimize import brentq

    air = Air(temp_c=35.0, humidity_frac=0.25)
    humidity = prop.humidity_ratio(0.25 * prop.saturation_pressure_pa(35.0), 101325.0)
    cp = prop.CP_AIR_J_KG_K + prop.CP_VAPOUR_J_KG_K * humidity

    def balance(t):
        wet = prop.humidity_ratio(prop.saturation_pressure_pa(t), 101325.0)
        return cp * (35.0 - t) * 0.91 - prop.latent_heat_j_kg(t) * (wet - humidity)

    pocket = _with(
        POCKET, ua_air_metal_w_k=0.0, ua_metal_fabric_w_k=0.0, ua_loss_w_k=0.0, contact_w_k=5.0, flow_exhaust_m3_s=3.0
    )  # so much air that it hardly changes along the drum
    load = Load(mass_dry_kg=0.2, residual_frac=2.0, temp_c=35.0, classes=TOWELS)
    end = dry(load, pocket, air, Heat(temp_exhaust_c=None, cool_down_s=0.0), sold_s=600.0)
    assert end.moisture_sold_frac > 0.4
    assert end.load_temp_after_cool_down_k - 273.15 == pytest.approx(brentq(balance, 5, 35), abs=0.05)


def test_load_left_in_still_warm_air_ends_at_the_regain_of_cotton():
    air = Air(temp_c=24.0, humidity_frac=0.5)
    load = Load(mass_dry_kg=0.5, residual_frac=0.12, temp_c=24.0, classes=TOWELS)
    end = dry(load, POCKET, air, Heat(temp_exhaust_c=None, cool_down_s=0.0), sold_s=14400.0)
    assert end.moisture_sold_frac == pytest.approx(prop.regain_frac(0.5), rel=0.02)


def test_dry_load_takes_water_up_from_humid_air_and_balances():
    air = Air(temp_c=24.0, humidity_frac=0.85)
    load = Load(mass_dry_kg=0.5, residual_frac=0.05, temp_c=24.0, classes=TOWELS)
    end = dry(load, POCKET, air, Heat(temp_exhaust_c=None, cool_down_s=0.0), sold_s=14400.0)
    assert end.moisture_sold_frac > 0.09
    assert abs(end.water_residual_frac) < 1e-12


def test_no_load_is_dried_for_less_than_the_latent_heat_of_its_water():
    """Heat and electricity of 300 random loads that start at the air's temperature. Air of its own warmth dries too,
    so the bound holds for heat plus what the air could give: only loads in air below 15 °C are held to it."""
    cases = [c for c in random_cases(300, 5) if c[2].temp_c < 15.0]
    needs = dry_many(*(list(x) for x in zip(*cases, strict=True)))
    spent = needs.gas_to_dry_j + needs.electricity_to_dry_j
    assert len(cases) > 60
    assert np.nanmin(spent / needs.water_removed_kg) > 2.40e6


def test_cloth_in_saturated_air_at_its_own_temperature_does_not_dry():
    air = Air(temp_c=30.0, humidity_frac=1.0)
    load = Load(mass_dry_kg=5.0, residual_frac=0.6, temp_c=30.0)
    end = dry(load, POCKET, air, Heat(temp_exhaust_c=None, cool_down_s=0.0), sold_s=3600.0)
    assert end.minutes_to_dry is None
    assert end.moisture_sold_frac == pytest.approx(0.6, abs=1e-3)


def test_cold_load_in_warm_humid_air_first_takes_on_dew():
    air = Air(temp_c=30.0, humidity_frac=0.9)
    load = Load(mass_dry_kg=5.0, residual_frac=0.3, temp_c=5.0)
    end = dry(load, POCKET, air, Heat(temp_exhaust_c=None, cool_down_s=0.0), sold_s=120.0)
    assert end.moisture_sold_frac > 0.3


class TestShape:
    """What experience says in shape; digits are not asserted."""

    def test_gas_to_dry_hardly_depends_on_the_heat_and_minutes_do(self):
        low, high = (dry(LOAD, POCKET, AIR, Heat(temp_exhaust_c=t)) for t in (50.0, 88.0))
        assert abs(low.gas_to_dry_j / high.gas_to_dry_j - 1) < 0.10
        assert 1.2 < low.minutes_to_dry / high.minutes_to_dry < 1.8

    def test_a_sold_minute_after_dry_burns_about_twice_as_much_hot(self):
        burned = []
        for temp in (50.0, 88.0):
            heat = Heat(temp_exhaust_c=temp, cool_down_s=0.0)
            need = dry(LOAD, POCKET, AIR, heat)
            longer = dry(LOAD, POCKET, AIR, heat, sold_s=need.minutes_to_dry * 60 + 600)
            burned.append(longer.gas_sold_j - need.gas_to_dry_j)
        assert 1.6 < burned[1] / burned[0] < 2.6

    def test_cold_air_costs_time_and_gas(self):
        cold, mild = (dry(LOAD, POCKET, Air(temp_c=t), HOT) for t in (0.0, 22.0))
        assert cold.minutes_to_dry > mild.minutes_to_dry
        assert 1.15 < cold.gas_to_dry_j / mild.gas_to_dry_j < 1.45

    def test_small_loads_burn_more_per_pound_of_water(self):
        small, large = (dry(Load(mass_dry_kg=m, residual_frac=0.6), POCKET, AIR, HOT) for m in (2.0, 12.0))
        assert small.gas_to_dry_j / small.water_removed_kg > 1.1 * large.gas_to_dry_j / large.water_removed_kg

    def test_better_extraction_saves_more_than_any_heat_setting(self):
        base = dry(LOAD, POCKET, AIR, HOT)
        spun = dry(_with(LOAD, residual_frac=0.5), POCKET, AIR, HOT)
        best = min(dry(LOAD, POCKET, AIR, Heat(temp_exhaust_c=t)).gas_to_dry_j for t in (45.0, 55.0, 65.0, 75.0, 88.0))
        assert base.gas_to_dry_j - spun.gas_to_dry_j > base.gas_to_dry_j - best
        assert spun.minutes_to_dry < base.minutes_to_dry

    def test_derating_costs_minutes_and_thin_air_alone_does_not(self):
        high = Air(altitude_m=1600.0)
        derated = dry(LOAD, _with(POCKET, derate_frac_per_1000_ft=0.04), high, HOT)
        assert derated.minutes_to_dry > dry(LOAD, POCKET, high, HOT).minutes_to_dry
        assert derated.minutes_to_dry > dry(LOAD, POCKET, AIR, HOT).minutes_to_dry

    def test_dry_thin_items_run_hotter_than_the_exhaust_reads(self):
        out = dry(LOAD, POCKET, AIR, HOT)
        assert out.hottest_fabric_k - 273.15 > out.trace.temp_exhaust_c.max()

    def test_one_class_hides_what_the_setting_does_until_the_load_is_dry(self):
        one = Load(mass_dry_kg=8.0, residual_frac=0.6, classes=TEST_CLOTH)
        minutes = [dry(one, POCKET, AIR, Heat(temp_exhaust_c=t)).minutes_to_dry for t in (65.0, 88.0)]
        assert minutes[0] == pytest.approx(minutes[1], rel=0.01)

    def test_cool_down_brings_the_load_toward_handling_and_never_below_the_air(self):
        temps = [
            dry(LOAD, POCKET, AIR, _with(HOT, cool_down_s=s)).load_temp_after_cool_down_k - 273.15
            for s in (0.0, 60.0, 120.0, 300.0)
        ]
        assert all(a > b for a, b in pairwise(temps))
        assert temps[-1] > AIR.temp_c
        thick = dry(LOAD, POCKET, AIR, _with(HOT, cool_down_s=120.0))
        assert thick.hottest_class_after_cool_down_k > thick.load_temp_after_cool_down_k

    def test_a_warm_pocket_dries_the_next_load_sooner(self):
        first = dry(LOAD, POCKET, AIR, _with(HOT, cool_down_s=0.0))
        assert first.left.temp_metal_c > 40.0
        again = dry(LOAD, POCKET, AIR, HOT, start=first.left)
        assert again.minutes_to_dry < dry(LOAD, POCKET, AIR, HOT).minutes_to_dry


class TestSafetyDevices:
    def test_a_choked_vent_trips_the_inlet_limit(self):
        choked = _with(POCKET, flow_exhaust_m3_s=0.45 * POCKET.flow_exhaust_m3_s)
        out = dry(LOAD, choked, AIR, HOT)
        assert out.limit_trips > 0
        assert out.minutes_to_dry > dry(LOAD, POCKET, AIR, HOT).minutes_to_dry

    def test_without_its_limit_the_choked_vent_would_seem_to_save_gas_at_an_inlet_of_250_degrees(self):
        bare = _with(
            POCKET,
            flow_exhaust_m3_s=0.45 * POCKET.flow_exhaust_m3_s,
            fire=FireControl(temp_limit_c=400.0),
        )
        out = dry(LOAD, bare, AIR, HOT)
        assert out.gas_to_dry_j < dry(LOAD, POCKET, AIR, HOT).gas_to_dry_j
        assert out.hottest_inlet_k - 273.15 > 230.0

    def test_the_airflow_switch_keeps_the_fire_out(self):
        proving = _with(POCKET, fire=FireControl(flow_proving_m3_s=1.2 * POCKET.flow_exhaust_m3_s))
        out = dry(LOAD, proving, AIR, HOT, sold_s=1800.0)
        assert not out.is_fire_proved
        assert out.gas_sold_j == 0.0

    def test_the_fire_waits_for_its_delay_and_keeps_inside_its_band(self):
        out = dry(LOAD, POCKET, AIR, Heat(temp_exhaust_c=60.0), sold_s=4800.0)
        burning = out.trace.time_s[out.trace.fire_frac > 0]
        assert burning[0] == pytest.approx(POCKET.fire.ignition_delay_s, abs=5.0)
        late = (out.trace.time_s > 3000) & (out.trace.time_s < 4500)
        assert out.trace.temp_exhaust_c[late].max() < 60.0 + 8.0
        assert out.trace.temp_exhaust_c[late].min() > 57.0 - 8.0

    def test_an_electric_pocket_burns_no_gas(self):
        out = dry(Load(mass_dry_kg=3.5, residual_frac=0.6), HOUSEHOLD, AIR, Heat(temp_exhaust_c=65.0), sold_s=1200.0)
        assert out.gas_to_dry_j == 0.0
        assert out.gas_sold_j == 0.0
        assert out.electricity_to_dry_j > 2.0e6
