"""Readings: what is expected next, slips, why one does not follow the last, and the check while typing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.balance.reading.check import HoursKnown, check_entry, suggestions
from drybank.balance.reading.expect import Expected, expect_next, fleet_restlessness, is_clearly_usual
from drybank.balance.reading.fits import why
from drybank.balance.reading.slips import SHARE, meant

STEADY = Expected(centre=float(np.log(210)), scale=0.2, df=15)


class TestExpected:
    def test_chances_of_all_increments_sum_to_one(self):
        assert np.exp(STEADY.log_density(np.arange(0, 200_000))).sum() == pytest.approx(1.0, abs=0.01)

    def test_interval_holds_its_share_of_drawn_weeks(self):
        """999 of 1,000 new weeks fall inside the .998 interval, within four standard errors."""
        rng = np.random.default_rng(6)
        inside = 0
        for _ in range(4000):
            past = np.exp(rng.normal(np.log(210), 0.2, 9))
            low, high = expect_next(past[:8], np.full(8, 7.0), 7.0, fleet_sd=0.2).interval()
            inside += low <= past[8] <= high
        assert abs(inside / 4000 - 0.998) < 4 * np.sqrt(0.998 * 0.002 / 4000) + 0.001

    def test_scales_with_the_days_and_widens_for_a_short_span(self):
        past, days = np.full(8, 210.0), np.full(8, 7.0)
        two, one = expect_next(past, days, 14.0), expect_next(past, days, 1.0)
        assert np.exp(two.centre) == pytest.approx(420.0)
        assert one.scale > 2 * two.scale

    def test_a_newcomer_borrows_its_siblings(self):
        e = expect_next(np.array([]), np.array([]), 7.0, fleet_rate_day=30.0)
        assert np.exp(e.centre) == pytest.approx(210.0)
        low, high = e.interval()
        assert low < 60
        assert high > 700

    def test_restlessness_is_the_sd_of_one_week(self):
        x = np.exp(np.random.default_rng(1).normal(5, 0.22, (400, 8)))
        assert fleet_restlessness(x) == pytest.approx(0.22, rel=0.08)


class TestSlips:
    @given(st.integers(0, 10**7))
    def test_no_slip_offers_the_same_number_or_more_than_its_share(self, n):
        options = meant(n)
        assert all(m.number != n and m.number >= 0 and 0 < m.chance <= SHARE[m.slip] for m in options)

    @given(st.integers(10, 10**7), st.integers(0, 6))
    def test_a_swap_can_be_undone(self, n, at):
        t = str(n)
        at = at % (len(t) - 1)
        written = t[:at] + t[at + 1] + t[at] + t[at + 2 :]
        if written != t and not written.startswith("0"):
            assert n in {m.number for m in meant(int(written))}


class TestWhy:
    def test_a_plain_reading_fits(self):
        assert why(5210, 5000, STEADY)[0].way == "fits"

    @pytest.mark.parametrize("size", [10_000, 65_536])
    def test_a_roll_over_is_named_with_its_increment(self, size):
        best = why((size - 100 + 205) % size, size - 100, STEADY)[0]
        assert best.way == f"rolled over at {size:,}"
        assert best.increment == 205

    def test_a_known_size_is_the_only_one_tried(self):
        ways = {f.way for f in why(105, 9_900, STEADY, size=10_000)}
        assert "rolled over at 65,536" not in ways

    def test_a_counter_near_nothing_was_reset(self):
        assert why(90, 47_310, STEADY)[0].way == "reset"

    def test_a_number_out_of_the_blue_is_another_board(self):
        assert why(31_842, 76_005, STEADY)[0].way in ("board swapped", "rolled over at 100,000")

    def test_swapped_digits_are_a_slip_and_the_meant_step_is_given(self):
        fit = why(52_511, 52_301 - 190, STEADY)[0]  # 52,511 lies a plausible step away
        assert fit.way == "fits"
        slip = why(57_210, 52_500, STEADY)[0]  # 52,710 with two digits swapped
        assert slip.way == "slip now"
        assert slip.increment == pytest.approx(210.0)

    def test_the_neighbours_reading_is_recognised(self):
        near = (80_000, STEADY)
        fits = why(80_190, 5_000, STEADY, size=1_000_000, neighbours=[near])
        assert fits[0].way == "neighbour's reading"

    def test_chances_sum_to_one(self):
        assert sum(f.chance for f in why(123, 9_999, STEADY)) == pytest.approx(1.0)


class TestTyping:
    def test_a_good_reading_is_taken_without_a_word(self):
        assert check_entry(5210, 5000, STEADY) == check_entry(5190, 5000, STEADY)

    def test_the_first_odd_reading_is_asked_again_and_nothing_is_given_away(self):
        answer = check_entry(57_210, 52_500, STEADY)
        assert not answer.accept
        assert answer.suggested == ()
        assert not any(ch.isdigit() for ch in answer.says)

    def test_another_odd_number_is_asked_again_too(self):
        assert not check_entry(57_210, 52_500, STEADY, typed_before=57_211).accept

    def test_twice_the_same_is_kept_and_a_slip_suggested(self):
        answer = check_entry(57_210, 52_500, STEADY, typed_before=57_210)
        assert answer.accept
        assert answer.suggested[0] == 52_710

    def test_hours_catch_what_the_interval_lets_pass(self):
        hours = HoursKnown(centre=float(np.log(205)), sd=0.03)
        assert check_entry(5_270, 5_000, STEADY).accept
        assert not check_entry(5_270, 5_000, STEADY, hours=hours).accept
        assert suggestions(5_270, 5_000, STEADY, hours=hours)[0] in (5_207, 5_210, 5_200, 5_220)

    def test_a_number_beyond_the_counter_is_never_taken_at_once(self):
        assert not check_entry(10_200, 9_990, STEADY, size=10_000).accept

    def test_the_neighbours_number_is_asked_about(self):
        answer = check_entry(81_111, 5_000, STEADY, neighbours=[80_900], typed_before=81_111)
        assert "next to it" in answer.says


@settings(max_examples=300, deadline=None)
@given(
    past=st.lists(st.integers(0, 900), min_size=0, max_size=12),
    days=st.floats(0.1, 30.0),
    ahead=st.floats(0.0, 40.0),
    step=st.integers(0, 3000),
    spread=st.sampled_from([0.05, 0.22, 0.6]),
)
def test_the_quick_look_never_passes_what_the_exact_one_would_not(past, days, ahead, step, spread):
    took = [days + 0.1 * k for k in range(len(past))]
    exact = expect_next(np.array(past, float), np.array(took), ahead, fleet_sd=spread)
    low, high = exact.interval()
    is_inside = low - 1 <= step <= high + 1
    quick = is_clearly_usual(float(step), past, took, ahead, fleet_sd=spread)
    assert is_inside or not quick
    well_inside = len(past) >= 4 and low < step < high
    assert quick or not well_inside
