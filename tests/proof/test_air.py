"""Air against published worked examples, a fluids library and a real-gas property library."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.facts.report import note

from drybank.proof.air import (
    ROUGHNESS_M,
    Duct,
    ExhaustAir,
    duct_flow,
    face_area_m2,
    flow_from_velocity_pressure_m3_s,
    friction_factor,
    make_up_area_m2,
)
from drybank.proof.airtest import (
    Opening,
    PlateLimit,
    lint_trend,
    prove_back_pressure,
    prove_duct,
    prove_flow,
    prove_make_up,
)
from drybank.records.errors import InputError, NotIdentified, OutOfRange
from drybank.records.proof import Measured, Tolerance
from drybank.records.units import BTU_J, FOOT_M, INCH_M, INCH_WATER_PA

BTU_H_W = BTU_J / 3600


@pytest.mark.facts
class TestPublishedDuct:
    """350 x 200 mm, 500 L/s, wall 0.09 mm, density 1.2: a worked sheet citing ASHRAE Duct Design
    prints v 7.14 m/s, Dh 254.5 mm, De 286.4 mm, Re 120 727, f .0191, pv 31 Pa, 2.3 Pa/m; secondary,
    recomputed f .01919 and 2.308 Pa/m."""

    duct = Duct(width_m=0.350, height_m=0.200, length_m=1.0, roughness_m=0.00009, terminal_factor=0.0)

    def test_sizes(self):
        assert self.duct.hydraulic_m * 1000 == pytest.approx(254.5, abs=0.1)
        assert self.duct.equivalent_round_m * 1000 == pytest.approx(286.4, abs=0.1)

    def test_flow(self):
        nu_sheet = 7.142857 * 0.254545 / 120_727
        found = duct_flow(flow_m3_s=0.5, duct=self.duct, density_kg_m3=1.2, viscosity_pa_s=1.2 * nu_sheet)
        assert found.velocity_m_s == pytest.approx(7.14, abs=0.01)
        assert found.reynolds == pytest.approx(120_727, rel=1e-4)
        note(
            "duct 350x200 mm, 500 L/s: friction",
            "worked sheet citing ASHRAE Duct Design",
            "R2, C",
            "2.3 Pa/m, f .0191",
            f"{found.friction_pa_m:.3f} Pa/m, f {found.friction:.5f}",
            f"{found.friction_pa_m - 2.308:+.3f} Pa/m",
        )
        assert found.friction == pytest.approx(0.01919, abs=0.00001)
        assert found.velocity_pressure_pa == pytest.approx(30.6, abs=0.05)
        assert found.friction_pa_m == pytest.approx(2.31, abs=0.02)
        assert found.loss_pa == pytest.approx(found.friction_pa_m)


@pytest.mark.facts
def test_colebrook_agrees_with_a_library_document_value():
    """Re 1e5, relative roughness 1e-4: 0.0185139; from memory, recomputed."""
    ours = friction_factor(1e5, 1e-4)
    note(
        "Colebrook, Re 1e5, 1e-4",
        "open library document value",
        "M, C",
        ".0185139",
        f"{ours:.7f}",
        f"{ours - 0.0185139:+.1e}",
    )
    assert ours == pytest.approx(0.0185139, abs=1e-7)


@pytest.mark.facts
@settings(deadline=None)
@given(st.floats(4000, 1e7), st.floats(0, 0.05))
def test_friction_agrees_with_the_fluids_library(reynolds, roughness):
    from fluids.friction import Colebrook

    assert friction_factor(reynolds, roughness) == pytest.approx(Colebrook(reynolds, roughness), rel=1e-9)


@pytest.mark.facts
def test_galvanised_wall_is_what_the_handbook_and_the_worked_sheet_take():
    """0.0003 ft (ASHRAE Fundamentals, duct chapter; secondary) and the sheet's 0.09 mm are one figure."""
    assert pytest.approx(0.0003) == ROUGHNESS_M / FOOT_M
    assert pytest.approx(0.09, abs=0.005) == ROUGHNESS_M * 1000


def test_friction_is_laminar_below_and_joined_between():
    assert friction_factor(1000, 0.001) == pytest.approx(0.064)
    assert friction_factor(2000, 0.001) == pytest.approx(friction_factor(2000.001, 0.001), rel=1e-6)
    assert friction_factor(3999.999, 0.001) == pytest.approx(friction_factor(4000, 0.001), rel=1e-6)


@pytest.mark.facts
def test_duct_loss_agrees_with_the_fluids_library_on_a_dryer_run():
    from fluids.core import Reynolds
    from fluids.friction import one_phase_dP

    air, duct = (
        ExhaustAir(temp_c=65, humidity_frac=0.3, height_m=1500),
        Duct(width_m=0.2, length_m=9, terminal_factor=0),
    )
    found = duct_flow(flow_m3_s=0.28, duct=duct, air=air)
    mass = 0.28 * air.density_kg_m3
    theirs = one_phase_dP(m=mass, rho=air.density_kg_m3, mu=air.viscosity_pa_s, D=0.2, roughness=ROUGHNESS_M, L=9,
                          Method="Colebrook")  # fmt: skip
    assert found.reynolds == pytest.approx(Reynolds(found.velocity_m_s, 0.2, air.density_kg_m3, air.viscosity_pa_s))
    assert found.loss_pa == pytest.approx(theirs, rel=1e-9)


@pytest.mark.facts
@pytest.mark.parametrize("temp_c", [10, 40, 60, 75, 90])
@pytest.mark.parametrize("humidity", [0.05, 0.4, 0.8])
@pytest.mark.parametrize("height_m", [0, 1600])
def test_moist_air_agrees_with_a_real_gas_library(temp_c, humidity, height_m):
    """CoolProp's humid air (ASHRAE RP-1485). Reached: density 0.15 % below a third steam, 0.35 % up to a
    half; viscosity 2 %. Beyond half steam (1.1 % and 3.7 % off) it refuses."""
    from CoolProp.HumidAirProp import HAPropsSI

    try:
        air = ExhaustAir(temp_c=temp_c, humidity_frac=humidity, height_m=height_m)
    except OutOfRange:
        assert (temp_c, humidity) == (90, 0.8)
        return
    given = ("T", temp_c + 273.15, "R", humidity, "P", air.total_pa)
    wet = 1 / HAPropsSI("Vha", *given)
    share = air.vapour_pa / air.total_pa
    assert air.density_kg_m3 == pytest.approx(wet, rel=0.0015 if share < 1 / 3 else 0.004)
    assert air.viscosity_pa_s == pytest.approx(HAPropsSI("mu", *given), rel=0.02)


@pytest.mark.facts
@pytest.mark.parametrize(
    ("height_m", "density"), [(500, 1.1673), (1000, 1.1117), (1500, 1.0581), (2000, 1.0066), (4000, 0.81935)]
)
def test_dry_density_agrees_with_the_standard_atmosphere(height_m, density):
    """US Standard Atmosphere 1976: 2000 and 4000 m read in open library tests, the rest recomputed."""
    air = ExhaustAir(temp_c=15 - 0.0065 * height_m, humidity_frac=0.0, height_m=height_m)
    note(
        f"dry air density, {height_m} m",
        "US Standard Atmosphere 1976",
        "R2, C",
        f"{density:.4f} kg/m³",
        f"{air.density_kg_m3:.4f}",
        f"{air.density_kg_m3 - density:+.5f}",
    )
    assert air.density_kg_m3 == pytest.approx(density, abs=0.0002)


@pytest.mark.facts
def test_velocity_pressure_follows_the_4005_rule_in_standard_air():
    """pv[in w.c.] = (V[ft/min]/4005)²: ASHRAE Fundamentals, duct chapter; secondary. Standard air 0.075 lb/ft³.
    The rule reads inches of water at 20 °C (998.2 kg/m³), 0.18 % lighter than the conventional inch."""
    duct = Duct(width_m=1.0, height_m=1.0, length_m=0, terminal_factor=0)
    velocity = 2000 * FOOT_M / 60
    found = duct_flow(flow_m3_s=velocity, duct=duct, density_kg_m3=1.2014, viscosity_pa_s=1.8e-5)
    inch_20_c_pa = INCH_M * 998.2 * 9.80665
    assert found.velocity_pressure_pa / inch_20_c_pa == pytest.approx((2000 / 4005) ** 2, rel=0.0005)
    assert found.velocity_pressure_pa / INCH_WATER_PA == pytest.approx((2000 / 4005) ** 2, rel=0.002)


@pytest.mark.facts
def test_make_up_area_of_300_000_btu_h():
    """NFPA 54 10.4.3.2, from memory: 1 in² per 1000 Btu/h, or 2200 mm²/kW; a metal louvre is 75 % free."""
    area = make_up_area_m2(300_000 * BTU_H_W)
    note("make-up opening, 300 000 Btu/h", "NFPA 54 10.4.3.2", "M", "300 in²", f"{area / INCH_M**2:.3f} in²", "0")
    assert area / INCH_M**2 == pytest.approx(300, abs=1e-9)
    assert face_area_m2(area, free_frac=0.75) / INCH_M**2 == pytest.approx(400, abs=1e-9)
    assert make_up_area_m2(1000) * 1e6 == pytest.approx(2200, abs=2)


def test_a_traverse_averages_velocities_and_refuses_a_backward_tube():
    air = ExhaustAir(temp_c=20, humidity_frac=0.0)
    flow = flow_from_velocity_pressure_m3_s([25.0, 49.0], area_m2=0.1, air=air)
    assert flow == pytest.approx(0.1 * math.sqrt(2 / air.density_kg_m3) * 6.0)
    with pytest.raises(InputError, match="wrong way"):
        flow_from_velocity_pressure_m3_s([25.0, -1.0], area_m2=0.1)


class TestMakeUpVerdict:
    def test_small_opening_fails_and_names_the_face_to_cut(self):
        result = prove_make_up(total_input_w=300_000 * BTU_H_W, opening=Opening(face_m2=300 * INCH_M**2))
        assert result.verdict == "fail"
        assert "400 in²" in result.next_step
        assert result.assumed[0].source.endswith("(from memory)")

    def test_large_opening_passes_and_a_near_one_is_undecided(self):
        big = Opening(face_m2=500 * INCH_M**2, plus_minus_m2=5 * INCH_M**2)
        near = Opening(face_m2=401 * INCH_M**2, plus_minus_m2=5 * INCH_M**2)
        assert prove_make_up(total_input_w=300_000 * BTU_H_W, opening=big).verdict == "pass"
        assert prove_make_up(total_input_w=300_000 * BTU_H_W, opening=near).verdict == "cannot tell"


class TestDuctVerdict:
    flow = Measured(value=0.28, unit="m³/s", plus_minus=0.015, instrument="pitot tube")
    long = Duct(width_m=0.2, length_m=12, elbows=("smooth 90",) * 3)

    def test_asks_for_the_plate_where_there_is_none(self):
        result = prove_duct(subject="pocket 3", flow=self.flow, duct=self.long)
        assert result.judgements[0].verdict == "no tolerance"
        assert "Ask the maker" in result.next_step

    def test_a_long_duct_breaks_a_low_plate_limit_and_keeps_a_high_one(self):
        low, high = (PlateLimit(highest_pa=p, source="the invented maker's manual, page 9") for p in (30, 500))
        assert prove_duct(subject="pocket 3", flow=self.flow, duct=self.long, limit=low).judgements[0].verdict == "fail"
        assert (
            prove_duct(subject="pocket 3", flow=self.flow, duct=self.long, limit=high).judgements[0].verdict == "pass"
        )

    def test_over_200_cfm_the_room_needs_make_up_air(self):
        """UFC 3-410-02N dryer clause d), read: above 200 ft³/min (0.0944 m³/s)."""
        for flow, needs in ((0.09, False), (0.10, True)):
            reading = Measured(value=flow, unit="m³/s", plus_minus=0.005)
            names = [a.name for a in prove_duct(subject="pocket 3", flow=reading, duct=self.long).assumed]
            assert ("make-up air" in names) == needs

    def test_lint_on_the_wall_is_a_range_of_assumption_and_not_of_the_gauge(self):
        judged = prove_duct(subject="pocket 3", flow=self.flow, duct=self.long).judgements[0]
        assert judged.measured.assumption.kind == "assumption"
        assert judged.measured.interval.kind == "instrument"

    def test_gauge_reading_is_judged_against_the_plate(self):
        limit = PlateLimit(highest_pa=75, source="the invented maker's manual")
        for value, verdict in ((50, "pass"), (74, "cannot tell"), (90, "fail")):
            reading = Measured(value=value, unit="Pa", plus_minus=3, instrument="gauge")
            assert prove_back_pressure(subject="pocket 3", reading=reading, limit=limit).verdict == verdict

    def test_flow_is_judged_only_by_a_tolerance_that_somebody_entered(self):
        rule = Tolerance(name="least airflow", unit="m³/s", below_frac=0.2, source="the invented maker's manual, page 4",
                         known="maker's plate or manual")  # fmt: skip
        free = prove_flow(subject="pocket 3", reading=self.flow, plate_m3_s=0.45)
        assert free.verdict == "no tolerance"
        assert "62 % of the plate" in free.says
        assert prove_flow(subject="pocket 3", reading=self.flow, plate_m3_s=0.45, tolerance=rule).verdict == "fail"
        assert prove_flow(subject="pocket 3", reading=self.flow, plate_m3_s=0.30, tolerance=rule).verdict == "pass"

    @pytest.mark.parametrize("size", [{"width_m": 8.0}, {"width_m": 0.2, "length_m": 500}])
    def test_refuses_inches_and_feet_as_metres(self, size):
        with pytest.raises(InputError, match="entered as metres"):
            Duct(**{"width_m": 0.2, "length_m": 5, **size})

    def test_refuses_cfm_as_cubic_metres(self):
        with pytest.raises(InputError, match="cfm"):
            duct_flow(flow_m3_s=600, duct=self.long)


class TestLint:
    def test_needs_three_days(self):
        with pytest.raises(NotIdentified):
            lint_trend([0, 7], [40, 45], plus_minus=3)

    def test_a_clear_rise_is_shown_with_days_to_the_limit(self):
        trend = lint_trend([0, 7, 14, 21], [40, 46, 51, 58], plus_minus=2, limit=75)
        assert trend.verdict == "rising"
        low, high = trend.days_to_limit
        assert low < 17 / (6 / 7) < high

    def test_days_to_the_limit_end_only_where_the_rise_is_sure(self):
        sure = lint_trend([0, 10, 20, 30], [40, 50, 60, 70], plus_minus=1, limit=90)
        slope = sure.slope
        assert sure.days_to_limit == pytest.approx((20 / slope.interval.high, 20 / slope.interval.low))
        unsure = lint_trend([0, 10, 20, 30], [50, 44, 56, 51], plus_minus=1, limit=90)
        assert unsure.verdict == "not shown"
        assert math.isinf(unsure.days_to_limit[1])
        assert lint_trend([0, 10, 20], [60, 50, 40], plus_minus=0.1, limit=90).days_to_limit is None

    def test_noise_alone_is_called_rising_one_time_in_forty(self):
        rng = np.random.default_rng(5)
        days = np.arange(0, 42, 7.0)
        found = [lint_trend(days, rng.normal(50, 1.5, 6), plus_minus=3).verdict for _ in range(2000)]
        assert found.count("rising") / 2000 <= 0.025 + 3 * math.sqrt(0.025 * 0.975 / 2000)

    def test_interval_of_the_slope_covers_the_true_slope(self):
        rng = np.random.default_rng(6)
        days = np.array([0.0, 6, 15, 21, 30])
        hits = 0
        for _ in range(2000):
            trend = lint_trend(days, 40 + 0.5 * days + rng.normal(0, 2, 5), plus_minus=0)
            hits += trend.slope.interval.low <= 0.5 <= trend.slope.interval.high
        assert 0.935 <= hits / 2000 <= 0.965
