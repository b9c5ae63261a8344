"""The guard band: what it promises, for any value, uncertainty and limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.proof import judge, looked, overall
from drybank.proof.judge import combine
from drybank.proof.standing import CARE_LIMIT, CAUTIONS, GAS_INPUT, MAKE_UP_AIR, MOTOR_VOLTAGE, REFUND_NOTICE, TIME_SOLD
from drybank.records.errors import InputError
from drybank.records.proof import Conduct, Measured, Tolerance
from drybank.records.working import Interval

value = st.floats(-1e3, 1e3)
give = st.floats(0, 100)


def _rule(below, above):
    return Tolerance(name="own", unit="V", below=below, above=above, source="own rule", known="entered by the owner")


def _judge(v, u, below=10.0, above=20.0, nominal=0.0, **more):
    return judge("x", Measured(value=v, unit="V", plus_minus=u), _rule(below, above), nominal=nominal, **more)


@given(value, give, st.floats(0, 50), st.floats(0, 50))
def test_pass_means_the_whole_interval_is_inside_and_fail_that_none_of_it_is(v, u, below, above):
    verdict = _judge(v, u, below, above).verdict
    inside = -below <= v - u and v + u <= above
    outside = v + u < -below or v - u > above
    assert verdict == ("pass" if inside else "fail" if outside else "cannot tell")


@given(value, st.floats(0.001, 100))
def test_a_better_instrument_never_turns_a_verdict_round(v, u):
    coarse, fine = _judge(v, u).verdict, _judge(v, u / 2).verdict
    assert coarse in (fine, "cannot tell")


@given(value, give)
def test_margin_is_positive_just_where_the_value_itself_keeps_the_limits(v, u):
    judged = _judge(v, u)
    assert (judged.margin >= 0) == (-10 <= v <= 20)


@given(value, give)
def test_without_a_tolerance_there_is_no_verdict_and_no_margin(v, u):
    judged = judge("x", Measured(value=v, unit="V", plus_minus=u), None)
    assert judged.verdict == "no tolerance"
    assert judged.margin is None


@given(value, st.floats(0, 30), st.floats(0, 30))
def test_an_assumed_range_can_only_take_certainty_away(v, u, width):
    sure = _judge(v, u).verdict
    unsure = _judge(v, u, assumed=Interval(v - width, v + width, kind="assumption")).verdict
    assert unsure in (sure, "cannot tell")


def test_a_fraction_and_a_fixed_part_add():
    rule = Tolerance(name="own", unit="s", below=5, above_frac=0.1, source="own", known="entered by the owner")
    assert rule.limits(600) == (595, pytest.approx(660))
    one_sided = Tolerance(name="own", unit="s", above=0.0, source="own", known="entered by the owner")
    assert one_sided.limits(80) == (None, 80)


def test_uncertainties_combine_as_roots_of_squares():
    assert combine(3.0, 4.0) == pytest.approx(5.0)
    assert combine() == 0.0


def test_the_worst_verdict_speaks_for_the_whole():
    ok, bad, open_ = _judge(0, 0), _judge(99, 0), _judge(20, 1)
    assert overall([ok, open_]) == "cannot tell"
    assert overall([ok, open_, bad]) == "fail"
    assert overall([ok, judge("x", Measured(value=0, unit="V", plus_minus=0), None)]) == "pass"
    assert overall([]) == "no tolerance"
    assert looked("notice", holds=False, saw="none").verdict == "fail"


def test_every_standing_tolerance_shows_source_how_known_and_jurisdiction():
    for rule in (TIME_SOLD, GAS_INPUT, MAKE_UP_AIR, MOTOR_VOLTAGE, REFUND_NOTICE, *CARE_LIMIT.values()):
        assert rule.source
        assert rule.known in rule.shown()
        assert rule.jurisdiction
    assert {TIME_SOLD.known, MAKE_UP_AIR.known, MOTOR_VOLTAGE.known} == {"from memory"}


def test_every_kind_of_test_opens_with_its_own_caution():
    assert all(lines for lines in CAUTIONS.values())
    assert len({lines[0] for lines in CAUTIONS.values()}) == len(CAUTIONS)


class TestRefusals:
    @pytest.mark.parametrize("wrong", [{"value": math.nan}, {"plus_minus": -1.0}, {"plus_minus": math.inf}])
    def test_a_reading_that_is_none(self, wrong):
        with pytest.raises(InputError):
            Measured(**{"value": 1.0, "unit": "V", "plus_minus": 1.0, **wrong})

    def test_a_tolerance_needs_limits_and_source(self):
        with pytest.raises(InputError, match="at least one limit"):
            Tolerance(name="own", unit="V", source="own", known="entered by the owner")
        with pytest.raises(InputError, match="source"):
            Tolerance(name="own", unit="V", above=1, source=" ", known="entered by the owner")
        with pytest.raises(InputError, match="upward from zero"):
            Tolerance(name="own", unit="V", below=-1, source="own", known="entered by the owner")

    def test_a_test_that_took_two_days(self):
        with pytest.raises(InputError, match="minutes"):
            Conduct(minutes=3000)


def test_a_rule_of_one_country_does_not_hold_in_another():
    assert TIME_SOLD.holds_in("US")
    assert not TIME_SOLD.holds_in("CA")
    assert CARE_LIMIT["two dots"].holds_in("CA")
