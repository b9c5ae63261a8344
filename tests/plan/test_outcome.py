"""A week's figures: what they add to, how they scatter, how differences are drawn from the same loads."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest

from drybank.plan.outcome import figures, mean, meet, normal_price, weekly_minor
from drybank.plan.ranges import best_in
from drybank.plan.search.problem import middle, problem
from drybank.plan.search.reference import is_allowed
from drybank.records.errors import InputError

sys.path.insert(0, str(Path(__file__).parent))
from cast import inputs


@pytest.fixture(scope="module")
def asked():
    return inputs()


@pytest.fixture(scope="module")
def made(asked):
    world = middle(asked)
    rows = figures(asked, best_in(asked, world).setting, asked.today, world, (world.but(walk_away_minor=200.0),))
    return {f.key: f for f in rows}


class TestWhatAddsUp:
    def test_takings_less_costs_is_the_margin(self, asked):
        met = meet(asked, asked.today, middle(asked))
        assert mean(met, met.takings - met.energy_cost - met.wear_cost) == pytest.approx(mean(met, met.margin))
        assert mean(met, met.margin - met.lost_visit) == pytest.approx(mean(met, met.contribution))

    def test_every_load_is_dried_or_lost(self, asked, made):
        for side in ("today", "proposed"):
            loads, lost = getattr(made["loads"], side).value, getattr(made["lost"], side).value
            assert loads + lost == pytest.approx(asked.loads_per_week.value)

    def test_takings_are_the_coins(self, made):
        assert made["takings"].proposed.value == pytest.approx(25 * made["pieces"].proposed.value)

    def test_a_difference_is_the_difference(self, made):
        for f in made.values():
            assert f.difference.value == pytest.approx(f.proposed.value - f.today.value, abs=1e-6)

    def test_heat_given_is_the_need_and_what_lies_beyond_it(self, asked):
        met = meet(asked, asked.today, middle(asked))
        level = np.array([asked.grid.temps.index(t) for t in asked.today.temps])[asked.loads.heat]
        need = asked.loads.need_s[np.arange(level.size), level]
        assert np.allclose((met.heated_s - met.over_s)[met.is_dried], need[met.is_dried])
        assert (met.over_s[met.is_dried] >= 0).all()


class TestHowItScatters:
    """Weeks drawn outright: a Poisson number of loads, each a row at random. 4 000 seeded weeks; coverage of the 95 %
    interval is asserted by its own binomial interval (0.95 ± 0.014 at 4 sigma), never a drawn figure."""

    def weeks(self, asked, values):
        rng = np.random.default_rng(20_260_611)
        counts = rng.poisson(asked.loads_per_week.value, 4000)
        return np.array([values[rng.integers(0, values.size, n)].sum() for n in counts])

    def test_a_weeks_interval_holds_its_share_of_weeks(self, asked, made):
        met = meet(asked, best_in(asked, middle(asked)).setting, middle(asked))
        drawn = self.weeks(asked, met.contribution)
        low, high = made["contribution"].proposed.interval.low, made["contribution"].proposed.interval.high
        assert abs(np.mean((drawn >= low) & (drawn <= high)) - 0.95) < 0.014

    def test_so_does_the_interval_of_a_difference_with_the_same_loads(self, asked, made):
        world = middle(asked)
        new, old = (meet(asked, s, world).contribution for s in (best_in(asked, world).setting, asked.today))
        drawn = self.weeks(asked, new - old)
        low, high = made["contribution"].difference.interval.low, made["contribution"].difference.interval.high
        assert abs(np.mean((drawn >= low) & (drawn <= high)) - 0.95) < 0.014

    def test_the_difference_is_known_better_than_two_weeks_apart(self, made):
        def width(estimate):
            return estimate.interval.high - estimate.interval.low

        apart = np.hypot(width(made["takings"].today), width(made["takings"].proposed))
        assert width(made["takings"].difference) < 0.5 * apart

    def test_scatter_and_assumption_are_kept_apart(self, made):
        estimate = made["contribution"].proposed
        assert estimate.interval.kind == "sampling"
        assert estimate.assumption.kind == "assumption"


class TestNormalLoad:
    def test_pays_the_fewest_coins_that_dry_it(self, asked):
        """1 500 s at 80 °C; 1 440 s less 120 s of cool-down at the start, 360 s a coin: 4 coins give 1 320, 5 give 1 680."""
        assert normal_price(asked, asked.today) == 5

    def test_a_limit_on_it_is_kept(self, asked):
        limits = msgspec.structs.replace(asked.limits, normal_load_pieces_at_most=4)
        capped = msgspec.structs.replace(asked, limits=limits)
        best = best_in(capped, middle(capped))
        assert normal_price(capped, best.setting) <= 4
        assert is_allowed(problem(capped), best.ranking.found[0].choice)


def test_refuses_a_temperature_off_the_grid(asked):
    off = msgspec.structs.replace(asked.today, temps=(81, 60))
    with pytest.raises(InputError, match="81 °C is on no control's grid"):
        weekly_minor(asked, off, middle(asked))
