"""Gas input against published worked examples and tables; its interval against simulation."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.facts.report import note

from drybank.energy.supply import meter_factor
from drybank.proof.gas import (
    BTU_FT3_J_M3,
    CA_DERATE,
    PROPANE,
    US_DERATE,
    Clocking,
    GasSupply,
    GasTest,
    clocking_s,
    measured_input_w,
    orifice_flow_m3_s,
    plan_clocking,
    pressure_at_height_pa,
    prove_gas,
    supply_from,
)
from drybank.proof.timing import Stopwatch
from drybank.records.energy import NaturalGas
from drybank.records.errors import InputError, OutOfRange
from drybank.records.units import BTU_J, CUBIC_FOOT_M3, FOOT_M, INCH_M, INCH_WATER_PA, PSI_PA

BTU_H_W = BTU_J / 3600
FT3_H = CUBIC_FOOT_M3 / 3600
# A meter at exactly base conditions, so that a worked example without correction can be held.
BASE = GasSupply(heat_j_m3=1000 * BTU_FT3_J_M3, heat_range_frac=0.0, gauge_pa=0.0, barometer_pa=14.73 * PSI_PA)


def _clock(ft3, turns, seconds):
    return Clocking(dial_m3=ft3 * CUBIC_FOOT_M3, turns=turns, seconds=seconds, others_off=True)


def _input_btu_h(clocking, supply=BASE):
    test = GasTest(pocket="1", clocking=clocking, supply=supply, plate_w=30_000)
    return measured_input_w(test, Stopwatch()).value / BTU_H_W


@pytest.mark.facts
class TestPublishedClockings:
    def test_half_a_foot_in_22_s_is_81_818_btu_h(self):
        """Two heating-trade training pages print 81.82 ft³/h = 81 820 Btu/h; read, recomputed."""
        ours = _input_btu_h(_clock(0.5, 1, 22))
        note(
            "gas input, 0.5 ft³ in 22 s",
            "two heating-trade training pages",
            "R, C",
            "81 820 Btu/h",
            f"{ours:.0f} Btu/h",
            f"{ours - 81_820:+.0f}",
        )
        assert ours == pytest.approx(81_818, abs=5)

    def test_half_a_foot_in_29_s_is_62_ft3_h(self):
        """A training page citing NFPA 54 (1996) table XIII: 62 ft³/h; secondary, recomputed 62.07."""
        assert _clock(0.5, 1, 29).flow_m3_s / FT3_H == pytest.approx(62, abs=0.5)

    def test_two_turns_in_70_s_are_102_86_ft3_h_and_not_the_misprint(self):
        """A boiler page prints 102.8, then multiplies 120.8 x 1027: a slip (trap case); read."""
        flow = _clock(1, 2, 70).flow_m3_s / FT3_H
        note(
            "gas flow, 2 ft³ in 70 s",
            "a boiler-input page (its product is a slip)",
            "R",
            "102.8 ft³/h",
            f"{flow:.2f} ft³/h",
            f"{flow - 102.8:+.2f}",
        )
        assert flow == pytest.approx(102.86, abs=0.1)
        assert flow * 1027 == pytest.approx(105_634, abs=40)

    @pytest.mark.parametrize(
        ("seconds", "btu_h"), [(20, 180_000), (30, 120_000), (36, 100_000), (60, 60_000), (72, 50_000)]
    )
    def test_chart_of_seconds_for_one_foot(self, seconds, btu_h):
        """Chart quoted in a home-repair forum; secondary, recomputed."""
        assert _input_btu_h(_clock(1, 1, seconds)) == pytest.approx(btu_h, rel=1e-6)

    def test_said_beforehand_is_what_the_clock_then_shows(self):
        assert clocking_s(dial_m3=CUBIC_FOOT_M3, input_w=100_000 * BTU_H_W, supply=BASE) == pytest.approx(36)


@pytest.mark.facts
@pytest.mark.parametrize(
    ("gauge_pa", "temp_f", "factor"),
    # Gas law on the EIA base of 14.73 psia and 60 °F (EIA natural gas statistics, read); recomputed.
    [(2 * PSI_PA, 60, 1.1335), (7 * INCH_WATER_PA, 60, 1.0148)],
)
def test_pressure_correction_agrees(gauge_pa, temp_f, factor):
    supply = GasSupply(gauge_pa=gauge_pa, temp_c=(temp_f - 32) / 1.8, barometer_pa=14.696 * PSI_PA)
    note(
        f"gas correction, {gauge_pa:.0f} Pa gauge",
        "gas law on the EIA base",
        "C",
        f"{factor:.4f}",
        f"{supply.correction:.4f}",
        f"{supply.correction - factor:+.4f}",
    )
    assert supply.correction == pytest.approx(factor, abs=0.0005)


@pytest.mark.facts
def test_cold_gas_correction_agrees_and_a_compensated_meter_takes_none():
    cold = GasSupply(gauge_pa=0.0, temp_c=(40 - 32) / 1.8, barometer_pa=14.73 * PSI_PA)
    assert cold.correction == pytest.approx(1.0400, abs=0.0005)
    comp = GasSupply(gauge_pa=0.0, temp_c=0.0, barometer_pa=14.73 * PSI_PA, is_compensated=True)
    assert comp.correction == pytest.approx(1.0)


@pytest.mark.facts
@pytest.mark.parametrize(
    ("feet", "factor"), [(2000, 1.0), (3000, 0.88), (4000, 0.84), (5000, 0.80), (6000, 0.76), (7000, 0.72)]
)
def test_altitude_multipliers_agree_with_the_published_band_table(feet, factor):
    """AGA standard 221.30-1964, part VI 6.12, quoted in an installation manual; secondary, recomputed.
    The table's first band (.92 for 2001 to 2500 ft) is the rule at its lower end."""
    ours = US_DERATE.factor(feet * FOOT_M)
    note(
        f"altitude multiplier, {feet} ft",
        "AGA std 221.30-1964 VI 6.12, in a manual",
        "R2, C",
        f"{factor:.2f}",
        f"{ours:.4f}",
        f"{ours - factor:+.4f}",
    )
    assert ours == pytest.approx(factor, abs=1e-12)
    assert US_DERATE.factor(2001 * FOOT_M) == pytest.approx(0.92, abs=0.0001)


@pytest.mark.facts
def test_canadian_derate_of_the_quoted_example_and_silence_above_it():
    """CSA B149.1 as quoted in a manual: 88 000 -> 79 200 Btu/h; secondary, recomputed."""
    ours = 88_000 * CA_DERATE.factor(1000.0)
    note(
        "derate in Canada, 2000 to 4500 ft",
        "CSA B149.1 as quoted in a manual",
        "R2, C",
        "79 200 Btu/h",
        f"{ours:.0f}",
        f"{ours - 79_200:+.0f}",
    )
    assert ours == pytest.approx(79_200)
    with pytest.raises(OutOfRange, match="ask the maker"):
        CA_DERATE.factor(1500.0)


@pytest.mark.facts
@pytest.mark.parametrize(
    ("bore_in", "inches", "gravity", "ft3_h"),
    # BCcampus Plumbing D-5, appendix 2, imperial orifice capacity table, K 0.90; read, recomputed.
    [
        (0.0135, 1.0, 0.60, 0.276), (0.0135, 3.0, 0.60, 0.478), (0.0135, 3.5, 0.60, 0.516),
        (0.0135, 4.0, 0.60, 0.552), (0.0135, 7.0, 0.60, 0.730), (0.0135, 10.0, 1.5, 0.552),
        (0.0135, 11.0, 1.5, 0.579), (0.0330, 3.5, 0.60, 3.083), (0.0360, 3.5, 0.60, 3.670),
        (0.0360, 11.0, 1.5, 4.114),
    ],
)  # fmt: skip
def test_orifice_flow_agrees_with_the_capacity_table_to_its_last_digit(bore_in, inches, gravity, ft3_h):
    flow = orifice_flow_m3_s(bore_m=bore_in * INCH_M, pressure_pa=inches * INCH_WATER_PA, gravity=gravity)
    note(
        f"orifice {bore_in:.4f} in, {inches:g} in w.c., SG {gravity:g}",
        "BCcampus Plumbing D-5, app. 2",
        "R, C",
        f"{ft3_h:.3f} ft³/h",
        f"{flow / FT3_H:.3f}",
        f"{flow / FT3_H - ft3_h:+.4f}",
    )
    assert flow / FT3_H == pytest.approx(ft3_h, abs=0.002)


@pytest.mark.facts
@pytest.mark.parametrize(("height_m", "pressure_pa"), [(500, 95_461), (1000, 89_875), (4000, 61_640)])
def test_standard_pressure_agrees_with_the_handbook(height_m, pressure_pa):
    """ASHRAE Fundamentals 2017, chapter 1, table 1; read in open library tests."""
    assert pressure_at_height_pa(height_m) == pytest.approx(pressure_pa, abs=5)


@settings(deadline=None)
@given(
    gauge=st.decimals(0, 20, places=2), temp=st.decimals(-20, 40, places=1), air=st.decimals(70, 105, places=2),
    fixed_p=st.booleans(), fixed_t=st.booleans(),
)  # fmt: skip
def test_correction_is_the_bills_own_meter_factor(gauge, temp, air, fixed_p, fixed_t):
    gas = NaturalGas(
        heat_content_btu_ft3=Decimal(1038), meter_gauge_kpa=gauge, meter_temp_c=temp, air_pressure_kpa=air,
        meter_corrects_pressure=fixed_p, meter_corrects_temp=fixed_t,
    )  # fmt: skip
    assert supply_from(gas).correction == pytest.approx(float(meter_factor(gas)), rel=1e-12)


class TestVerdict:
    def _test(self, btu_h, supply=BASE, **more):
        seconds = 3 * 1000 * 3600 / btu_h
        return GasTest(pocket="7", clocking=_clock(1, 3, seconds), supply=supply, plate_w=100_000 * BTU_H_W, **more)

    def test_on_the_plate_passes(self):
        result = prove_gas(self._test(100_000))
        assert result.verdict == "pass"
        assert "meter only" in result.cautions[0]

    def test_far_over_fails_and_calls_the_licensed_trade(self):
        result = prove_gas(self._test(130_000))
        assert result.verdict == "fail"
        assert "Stop using" in result.next_step
        assert "licensed" in result.next_step
        assert result.figure("manifold pressure that would explain it, against the right one").value == pytest.approx(
            1.69
        )

    def test_unknown_heat_content_can_leave_it_undecided(self):
        sure = prove_gas(self._test(107_000))
        unsure = prove_gas(self._test(107_000, GasSupply(heat_j_m3=BASE.heat_j_m3, gauge_pa=0.0,
                                                          barometer_pa=BASE.barometer_pa, heat_range_frac=0.05)))  # fmt: skip
        assert (sure.verdict, unsure.verdict) == ("pass", "cannot tell")
        assert "assumed" in unsure.judgements[0].because
        assert unsure.judgements[0].measured.assumption.kind == "assumption"

    def test_at_height_the_plate_is_cut_once_and_only_once(self):
        high = 5000 * FOOT_M
        assert self._test(80_000, height_m=high).allowed_w == pytest.approx(80_000 * BTU_H_W)
        assert self._test(80_000, height_m=high, plate_is_for_height=True).allowed_w == pytest.approx(100_000 * BTU_H_W)

    def test_without_a_tolerance_it_only_measures(self):
        assert prove_gas(self._test(130_000), tolerance=None).verdict == "no tolerance"

    def test_propane_burns_its_own_heat(self):
        assert _input_btu_h(_clock(1, 1, 90), PROPANE) == pytest.approx(100_000 * PROPANE.correction, rel=1e-9)


class TestRefusals:
    @pytest.mark.parametrize(
        ("args", "slip"),
        [
            ((0, 1, 22), "dial size is zero"),
            ((1, 1, -5), "below zero"),
            ((1, 3, 0), "3 turns in 0 s"),
            ((1, 0, 22), "no turn"),
            ((1, 1, 9000), "watch left running"),
            ((500, 1, 22), "m³ entered as ft³"),
        ],
    )
    def test_a_bad_clocking_names_the_likely_slip(self, args, slip):
        with pytest.raises(InputError, match=slip):
            _clock(*args)

    def test_refuses_other_appliances_on_the_meter(self):
        clocking = Clocking(dial_m3=CUBIC_FOOT_M3, turns=1, seconds=30, others_off=False)
        with pytest.raises(InputError, match="clock again"):
            prove_gas(GasTest(pocket="1", clocking=clocking, plate_w=30_000))

    def test_refuses_fahrenheit_as_celsius_and_btu_as_watts(self):
        with pytest.raises(InputError, match="°F"):
            GasSupply(temp_c=68)
        with pytest.raises(InputError, match="Btu/h"):
            GasTest(pocket="1", clocking=_clock(1, 1, 30), plate_w=2_000_000)


def test_flow_goes_with_the_root_of_the_pressure_as_the_explanation_says():
    one, four = (orifice_flow_m3_s(bore_m=0.0009, pressure_pa=p, gravity=0.6) for p in (400, 1600))
    assert four / one == pytest.approx(2.0)


def test_plan_asks_for_enough_turns_and_says_how_long():
    plan = plan_clocking(dial_m3=2 * CUBIC_FOOT_M3, plate_w=35_000, supply=GasSupply())
    assert plan.plus_minus_frac <= 0.02
    assert plan.seconds == pytest.approx(plan.turns * plan.one_turn_s)
    assert "about" in plan.says
    slow = plan_clocking(dial_m3=0.5 * CUBIC_FOOT_M3, plate_w=35_000, supply=GasSupply())
    assert slow.turns >= plan.turns


def test_stated_interval_covers_the_true_input_95_times_in_100():
    """20,000 simulated clockings; every error drawn normal with half its expanded uncertainty as sd."""
    rng = np.random.default_rng(21)
    n, true, watch = 20_000, 40_000.0, Stopwatch(step_s=0.01)
    supply = GasSupply(heat_range_frac=0.0)
    seconds = clocking_s(dial_m3=CUBIC_FOOT_M3, input_w=true, supply=supply, turns=3)
    clocked = Clocking(dial_m3=CUBIC_FOOT_M3, turns=3, seconds=seconds, others_off=True)
    give = measured_input_w(GasTest(pocket="1", clocking=clocked, supply=supply, plate_w=true), watch).plus_minus
    z = rng.standard_normal((5, n)) / 2
    pressure = 1 + z[0] * supply.gauge_plus_minus_pa / (supply.barometer_pa + supply.gauge_pa)
    pressure += z[1] * supply.barometer_plus_minus_pa / (supply.barometer_pa + supply.gauge_pa)
    heat = (supply.temp_c + 273.15) / (supply.temp_c + 273.15 + z[2] * supply.temp_plus_minus_c)
    turns = 3 + z[3] * 0.025
    shown_s = (turns / 3 * seconds) / (pressure * heat) + z[4] * watch.plus_minus_s(seconds)
    shown_w = true * seconds / shown_s
    assert 0.94 <= np.mean(np.abs(shown_w - true) <= give) <= 0.962
