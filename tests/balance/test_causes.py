"""What went wrong: minutes per coin, free running, and the posterior over causes."""

import numpy as np
import pytest

from drybank.balance.statistics.causes import CAUSES, correlation, effects, weigh_causes
from drybank.balance.statistics.growth import Growth
from drybank.balance.statistics.timing import free_against_minutes, minutes_per_coin


class TestMinutesPerCoin:
    @pytest.mark.parametrize("true", [5.0, 6.0, 6.5, 7.0, 8.0])
    def test_names_the_setting_after_a_few_weeks(self, true):
        coins = 1500
        hours = true * coins * 0.95 * 1.006 / 60
        seen = minutes_per_coin(hours, coins, 0.95, meter_step_h=0.1, growth=Growth(c=0, a=0.15, b=0.2))
        assert seen.likeliest == true
        assert seen.chance.sum() == pytest.approx(1.0)

    def test_few_coins_on_a_whole_hour_meter_leave_several_values_open(self):
        seen = minutes_per_coin(2.0, 21, 0.95, meter_step_h=1.0)
        assert seen.chance.max() < 0.7
        assert seen.sd > 0.8

    def test_only_values_that_the_control_can_hold_are_named(self):
        seen = minutes_per_coin(10.0, 100, 0.95, meter_step_h=0.1, lattice=np.array([5.0, 7.5]))
        assert seen.chance_of(6.0) == 0.0
        assert seen.likeliest in (5.0, 7.5)


class TestFreeOrMinutes:
    coins = np.array([[120.0, 210, 300, 180, 260, 90, 330, 240]])

    def test_a_constant_excess_speaks_for_free_running(self):
        hours = 0.1 * self.coins + 4.0
        assert free_against_minutes(hours, self.coins, np.array([0.1]), Growth(c=0, a=0.1, b=0.2))[0] > 1

    def test_an_excess_in_proportion_speaks_for_the_time(self):
        hours = 0.12 * self.coins
        assert free_against_minutes(hours, self.coins, np.array([0.1]), Growth(c=0, a=0.1, b=0.2))[0] < -1


SD = np.full((1, 3), 0.01)


def named(x, **kw):
    table = weigh_causes(np.array([x]), SD, corr=np.eye(3), **kw)
    return CAUSES[int(table.order(0)[0])], table


class TestCauses:
    @pytest.mark.parametrize(
        ("x", "cause"),
        [
            ((0.0, 0.0, 0.0), "none"),
            ((np.log(0.93), 0.0, 0.0), "theft"),
            ((0.0, np.log(7 / 6), -0.3 * np.log(7 / 6)), "minutes"),
            ((0.0, np.log(1.09), 0.0), "free"),
            ((-np.log(1.06), -np.log(1.06), np.log(1.06)), "double"),
            ((-np.log(0.94), -np.log(0.94), np.log(0.94)), "miss"),
            ((0.0, 0.0, np.log(0.7)), "avoided"),
        ],
    )
    def test_each_pattern_names_its_cause(self, x, cause):
        kw = {"pieces": np.array([1500.0]), "rejects": np.array([1.0])}
        assert named(x, **kw)[0] == cause

    def test_rejects_counted_tell_slugs_from_theft(self):
        kw = {"pieces": np.array([1500.0]), "rejects": np.array([75.0])}
        assert named((np.log(0.95), 0.0, 0.0), **kw)[0] == "slugs"

    def test_without_a_count_of_rejects_slugs_and_theft_keep_their_prior_odds(self):
        _, table = named((np.log(0.93), 0.0, 0.0))
        theft, slugs = (table.posterior[0, CAUSES.index(c)] for c in ("theft", "slugs"))
        assert theft / slugs == pytest.approx(0.012 / 0.008)

    def test_an_unknown_channel_says_nothing(self):
        x = np.array([[np.nan, np.log(1.2), 0.0]])
        table = weigh_causes(x, SD, corr=np.eye(3))
        assert np.isfinite(table.posterior).all()
        assert table.log_factor[0, CAUSES.index("theft"), 0] == pytest.approx(0.0, abs=1e-6)

    def test_minutes_never_fall_to_nothing(self):
        by_name = {e.name: e for e in effects(1.0)}
        assert np.isfinite(by_name["minutes"].shift).all()


class TestCorrelation:
    def test_recovers_a_correlation_of_drawn_normals(self):
        rng = np.random.default_rng(2)
        z = rng.multivariate_normal(np.zeros(3), [[1, 0.6, 0], [0.6, 1, -0.3], [0, -0.3, 1]], 4000)
        assert correlation(z)[0, 1] == pytest.approx(0.6, abs=0.05)
        assert correlation(z)[1, 2] == pytest.approx(-0.3, abs=0.05)

    def test_stays_invertible_when_channels_are_one(self):
        x = np.random.default_rng(3).standard_normal((300, 1))
        c = correlation(np.hstack([x, x, -x]))
        assert np.linalg.eigvalsh(c).min() > 0.01

    def test_of_a_handful_is_none(self):
        assert np.array_equal(correlation(np.ones((5, 3))), np.eye(3))


def test_a_pocket_that_never_ran_gives_an_answer_and_no_fault():
    seen = minutes_per_coin(0.0, 40.0, 0.95, meter_step_h=0.1)
    assert np.isfinite(seen.chance).all()
    assert seen.likeliest < 1.5
