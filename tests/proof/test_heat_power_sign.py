"""Exhaust temperature, supply voltage and price sign."""

import math

import numpy as np
import pytest
from tests.facts.report import note

from drybank.proof.heat import HeatLog, HeatTest, cycling, prove_heat, turning_points
from drybank.proof.power import prove_current, prove_voltage, unbalance_pct
from drybank.proof.sign import PostedLine, PostedSign, SignRules, price_spread_pct, prove_sign
from drybank.records.errors import InputError, NotIdentified
from drybank.records.money import Money
from drybank.records.proof import Measured, Tolerance
from drybank.records.units import c_from_f


def _log(middle=72.0, band=6.0, offset=0.0, noise=0.0, seed=0, every=10, give=1.0):
    """An exhaust that warms up from 25 °C and then cycles: a saw-tooth of two minutes about ``middle``."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, 1200, every, dtype=float)
    warm = 300.0
    cycle = ((t - warm) % 120) / 120
    saw = middle + band / 2 - band * np.where(cycle < 0.5, 2 * cycle, 2 - 2 * cycle)
    temps = np.where(t < warm, 25 + (middle + band / 2 - 25) * t / warm, saw)
    return HeatLog(seconds=tuple(t), temps_c=tuple(temps + offset + rng.normal(0, noise, t.size)), plus_minus_c=give)


class TestCycling:
    def test_finds_band_middle_and_steady_share_of_a_known_saw(self):
        found = cycling(_log())
        assert found.band_c == pytest.approx(6.0, abs=0.01)
        assert found.middle_c.value == pytest.approx(72.0, abs=0.01)
        assert found.steady_from_s == 300
        assert found.steady_frac == pytest.approx(890 / 1190)

    def test_a_modulating_burner_is_a_plateau(self):
        t = np.arange(0, 900, 15.0)
        temps = 70 - 45 * np.exp(-t / 90)
        found = cycling(HeatLog(seconds=tuple(t), temps_c=tuple(temps), plus_minus_c=0.5))
        assert found.middle_c.value == pytest.approx(70, abs=0.6)
        assert found.band_c < 2

    def test_a_log_that_only_warms_up_cannot_tell(self):
        t = np.arange(0, 300, 15.0)
        with pytest.raises(NotIdentified, match="log longer"):
            cycling(HeatLog(seconds=tuple(t), temps_c=tuple(25 + t / 10), plus_minus_c=0.5))

    def test_small_ripples_are_not_turns(self):
        assert turning_points([0, 5, 4.9, 9, 8.8, 9.2, 3, 8], 1.0) == [(5, True), (6, False)]

    def test_offset_interval_covers_a_known_sensor_error(self):
        """1,000 thermometers off by a normal error (sd half the stated give or take), noise 0.3 °C."""
        rng = np.random.default_rng(8)
        hits = 0
        for k in range(1000):
            off = rng.normal(0, 0.5)
            found = cycling(_log(offset=off, noise=0.3, seed=k), swing_c=2.0)
            hits += found.middle_c.interval.low <= 72.0 <= found.middle_c.interval.high
        assert hits / 1000 >= 0.94


class TestLimits:
    @pytest.mark.facts
    @pytest.mark.parametrize(
        ("heat_f", "care", "fails"),
        # GINETEX: two dots 80 °C, one dot 60 °C; read. Heats near 175, 150 and 125 °F lie under them as named.
        [(175, "two dots", False), (150, "two dots", False), (125, "one dot", False), (150, "one dot", True)],
    )
    def test_usual_heats_lie_under_their_symbols(self, heat_f, care, fails):
        t = np.arange(0, 900, 15.0)
        log = HeatLog(seconds=tuple(t), temps_c=tuple(np.full(t.size, c_from_f(heat_f))), plus_minus_c=0.2)
        result = prove_heat(HeatTest(pocket="2", heat="high", set_c=c_from_f(heat_f), log=log, care=care))
        assert (result.verdict == "fail") == fails

    def test_over_the_care_limit_fails_and_near_it_is_undecided(self):
        for middle, verdict in ((70, "pass"), (76.5, "cannot tell"), (82, "fail")):
            test = HeatTest(pocket="2", heat="high", set_c=middle, log=_log(middle), care="two dots")
            assert prove_heat(test).judgements[0].verdict == verdict

    def test_makers_limit_needs_its_source(self):
        with pytest.raises(InputError, match="source"):
            HeatTest(pocket="2", heat="high", set_c=72, log=_log(), maker_limit_c=85)

    def test_without_tolerance_the_offset_is_shown_and_not_judged(self):
        result = prove_heat(HeatTest(pocket="2", heat="high", set_c=75, log=_log(72)))
        assert result.verdict == "no tolerance"
        assert result.figure("offset from the setting").value == pytest.approx(-3, abs=0.01)
        assert result.assumed[0].name == "what the set temperature means"

    def test_an_owners_tolerance_is_judged_at_the_cut_out_where_the_sheet_says_so(self):
        rule = Tolerance(name="own", unit="°C", below=3, above=3, source="own rule", known="entered by the owner")
        test = HeatTest(pocket="2", heat="high", set_c=75, log=_log(72), set_means="cut-out")
        assert prove_heat(test, tolerance=rule).verdict == "pass"
        assert prove_heat(test, tolerance=rule).assumed == ()

    def test_refusals(self):
        with pytest.raises(InputError, match="°F"):
            HeatLog(seconds=tuple(range(10)), temps_c=(175.0,) * 10, plus_minus_c=1)
        with pytest.raises(InputError, match="typed twice"):
            HeatLog(seconds=(0, 1, 2, 2, 3, 4, 5, 6), temps_c=(60.0,) * 8, plus_minus_c=1)
        with pytest.raises(InputError, match="do not show"):
            HeatLog(seconds=(0, 1), temps_c=(60.0, 61.0), plus_minus_c=1)


def _volt(v, give=1.0):
    return Measured(value=v, unit="V", plus_minus=give, instrument="voltmeter")


class TestPower:
    @pytest.mark.facts
    def test_unbalance_of_the_published_example(self):
        """NEMA MG 1, 14.36: 460, 467 and 450 V are 9/459 = 1.96 % out of balance; from memory, recomputed."""
        ours = unbalance_pct([460, 467, 450])
        note(
            "voltage unbalance 460, 467, 450 V",
            "NEMA MG 1, 14.36",
            "M, C",
            "1.96 %",
            f"{ours:.3f} %",
            f"{ours - 1.96:+.3f}",
        )
        assert ours == pytest.approx(1.96, abs=0.005)

    @pytest.mark.parametrize(
        ("volts", "verdict"), [(120, "pass"), (108.5, "cannot tell"), (100, "fail"), (140, "fail")]
    )
    def test_voltage_against_the_plate(self, volts, verdict):
        assert prove_voltage(subject="pocket 1", plate_v=120, readings=[_volt(volts)]).verdict == verdict

    def test_cautions_come_first_and_power_stays_on(self):
        result = prove_voltage(subject="pocket 1", plate_v=240, readings=[_volt(238)])
        assert "kills" in result.cautions[0]
        assert not any("lock" in c.lower() for c in result.cautions)

    def test_three_phases_are_judged_for_balance_too(self):
        result = prove_voltage(subject="m", plate_v=460, readings=[_volt(460), _volt(467), _volt(440)])
        assert result.judgements[-1].name == "voltage unbalance"
        assert result.verdict == "fail"

    @pytest.mark.parametrize(
        ("plate", "shown", "slip"),
        [(120, 12, "digit missing"), (230, 12, "digit missing"), (120, 1200, "too many"), (480, 277, "phase to neutral"), (240, 120, "one leg"),
         (120, 3, "electrician")],
    )  # fmt: skip
    def test_a_voltage_that_cannot_be_names_the_likely_slip(self, plate, shown, slip):
        with pytest.raises(InputError, match=slip):
            prove_voltage(subject="pocket 1", plate_v=plate, readings=[_volt(shown)])

    def test_two_phases_are_refused(self):
        with pytest.raises(InputError, match="one, or three"):
            prove_voltage(subject="p", plate_v=240, readings=[_volt(240), _volt(240)])

    def test_current_is_for_a_licensed_person(self):
        amp = Measured(value=6.1, unit="A", plus_minus=0.2)
        with pytest.raises(InputError, match="licensed electrician"):
            prove_current(subject="p", plate_a=7, reading=amp, is_licensed=False)
        assert prove_current(subject="p", plate_a=7, reading=amp, is_licensed=True).verdict == "pass"
        assert prove_current(subject="p", plate_a=5, reading=amp, is_licensed=True).verdict == "fail"

    def test_unbalance_interval_covers_a_truly_unbalanced_supply(self):
        rng = np.random.default_rng(1)
        true = np.array([230.0, 236.0, 228.0])
        give = 100 * 1.0 * math.sqrt(2 / 3) / true.mean()
        shown = [unbalance_pct(true + rng.normal(0, 0.5, 3)) for _ in range(4000)]
        assert np.mean(np.abs(np.array(shown) - unbalance_pct(true)) <= give) >= 0.945


USD = "USD"


def _line(minor, seconds, kind="start"):
    return PostedLine(money=Money(minor, USD), seconds=seconds, kind=kind)


NOTICE = {"refund_how": "call", "refund_name": "The owner", "refund_address": "1 Main", "refund_phone": "555-0100"}


class TestSign:
    @pytest.mark.facts
    def test_two_slots_with_a_four_percent_spread_show_it(self):
        """10 c for 3 min 20 s beside 25 c for 8 min: 3.000 and 3.125 c a minute; common practice, recomputed."""
        assert float(price_spread_pct([_line(10, 200), _line(25, 480)])) == pytest.approx(4.1667, abs=0.001)

    def test_a_true_sign_passes_and_a_false_line_fails_by_a_second(self):
        def sells(kind, minor):
            return minor * 6 * 60 / 25

        good = PostedSign(lines=(_line(100, 1440), _line(25, 360, "top-up")), starts_with=4, **NOTICE)
        assert prove_sign(good, sells, subject="bank North", starts_with=4).verdict == "pass"
        bad = PostedSign(lines=(_line(100, 1441),), starts_with=4, **NOTICE)
        result = prove_sign(bad, sells, subject="bank North", starts_with=4)
        assert result.verdict == "fail"
        assert "the customer is short" in result.judgements[0].because

    @pytest.mark.facts
    @pytest.mark.parametrize("left_out", list(NOTICE))
    def test_a_notice_lacking_any_part_fails_unless_staff_settle_it(self, left_out):
        """HB 44 1.10 G-UR.3.4 as a county page gives it: how, name, address, telephone; secondary."""
        part = {**NOTICE, left_out: " "}
        sign = PostedSign(lines=(_line(25, 360),), **part)
        attended = PostedSign(lines=(_line(25, 360),), is_attended=True, **part)
        assert prove_sign(sign, lambda _k, _m: 360, subject="b").verdict == "fail"
        assert prove_sign(attended, lambda _k, _m: 360, subject="b").verdict == "pass"

    def test_wrong_number_of_coins_fails(self):
        sign = PostedSign(lines=(_line(25, 360),), starts_with=2, **NOTICE)
        assert prove_sign(sign, lambda _k, _m: 360, subject="b", starts_with=4).verdict == "fail"

    def test_refuses_a_sign_without_price_and_a_line_for_nothing(self):
        with pytest.raises(InputError, match="states no price"):
            prove_sign(PostedSign(lines=()), lambda _k, _m: 1, subject="b")
        with pytest.raises(InputError, match="cannot sell"):
            _line(0, 360)


def test_a_false_sign_is_false_where_no_local_rule_is_on_file_and_no_notice_is_asked_for():
    rules = SignRules(rates=None, notice=None)
    sign = PostedSign(lines=(_line(25, 360),))
    assert prove_sign(sign, lambda _k, _m: 359, subject="b", rules=rules).verdict == "fail"
    held = prove_sign(sign, lambda _k, _m: 360, subject="b", rules=rules)
    assert held.verdict == "pass"
    assert held.judgements[0].tolerance is None
