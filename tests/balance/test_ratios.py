"""Statistics of many pockets at once: siblings, the small-count form, the fleet's own null, levels."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.balance.statistics.growth import Growth, fit_growth
from drybank.balance.statistics.priors import (
    Habits,
    cash_growth,
    counted_by,
    hours_growth,
)
from drybank.balance.statistics.ratios import (
    change,
    compare,
    empirical_null,
    fit_change_growth,
    fleet_centre,
    null_of,
    others_median,
    together,
    week_and_total,
)
from drybank.trial import Fault, World, invent


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 4), st.one_of(st.floats(-5, 5), st.just(float("nan")))), max_size=30))
def test_others_median_is_the_median_of_the_others(rows):
    group = np.array([r[0] for r in rows], int)
    values = np.array([r[1] for r in rows], float)
    got, count = others_median(values, group)
    for i in range(len(rows)):
        if not np.isfinite(values[i]):
            continue
        rest = [v for j, v in enumerate(values) if j != i and group[j] == group[i] and np.isfinite(v)]
        assert count[i] == len(rest)
        assert got[i] == pytest.approx(np.median(rest) if rest else 0.0)


def test_a_pocket_without_pieces_is_not_judged():
    r = compare(np.array([0.0, 700.0]), np.array([0.0, 700.0]), Growth(c=0, a=0.01, b=18))
    assert np.isnan(r.z[0])
    assert r.z[1] == 0.0


def test_short_and_over_by_few_coins_look_alike_in_the_difference_form():
    r = compare(np.array([80.0, 120.0]), np.array([100.0, 100.0]), Growth(c=0, a=0.0, b=18))
    assert r.z[0] == pytest.approx(-r.z[1])
    assert r.z[0] == pytest.approx(-20 / np.sqrt(18))


def test_loss_interval_holds_the_loss_and_is_the_log_one_at_many_coins():
    g = Growth(c=1e-6, a=0.005, b=18)
    r = compare(np.array([1900.0]), np.array([2000.0]), g)
    sd = np.sqrt(1e-6 + 0.005 / 2000 + 18 / 2000**2)
    assert r.loss[0] == pytest.approx(0.05)
    assert r.low[0] == pytest.approx(0.95 * np.exp(-1.959964 * sd / 0.95) - 1)  # noise is in pieces, 95 left of 100


class TestNull:
    def test_finds_centre_and_spread_beside_one_pocket_in_twelve_at_fault(self):
        rng = np.random.default_rng(3)
        z = rng.normal(0.3, 1.25, 6000)
        z[:500] -= 4.0
        centre, spread = null_of(z)
        assert centre == pytest.approx(0.3, abs=0.1)
        assert spread == pytest.approx(1.25, abs=0.1)

    def test_is_left_alone_in_a_small_fleet(self):
        z = np.linspace(-3, 3, 20)
        assert empirical_null(z) is z

    def test_never_narrows_below_one(self):
        _, spread = null_of(np.random.default_rng(1).normal(0, 0.5, 400))
        assert spread == 1.0


def _clean(seed, **world):
    h = invent(World(**world), stores=80, pockets=12, weeks=20, seed=seed)
    return h, h.weekly_counted().astype(float), h.weekly_counter().astype(float), h.weekly_hours()


@pytest.mark.parametrize("counted", ["machine", "hand", "weight"])
def test_z_of_clean_pockets_has_spread_one_for_every_way_of_counting(counted):
    _, d, k, _ = _clean(11, counted=counted)
    g = fit_growth(d[:, :12], k[:, :12], prior=cash_growth(counted_by(counted)))
    now = (d[:, 12:].sum(1), k[:, 12:].sum(1))
    z = compare(*now, g, fleet_centre(*now)).z
    # sd of a standard deviation of 960 values is 1/sqrt(2 x 960) = .023; four of them
    assert np.std(z) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("counted", ["machine", "hand", "weight"])
def test_assumed_growth_is_near_the_fleets_own_in_the_world_it_describes(counted):
    _, d, k, _ = _clean(12, counted=counted)
    prior = cash_growth(counted_by(counted))
    own = fit_growth(d, k, prior=prior, prior_weight=0.0)
    for tally in (200.0, 2000.0):
        assert float(prior.variance(tally) / own.variance(tally)) == pytest.approx(1.0, abs=0.45)


@pytest.mark.parametrize("against_cash", [True, False])
def test_change_from_own_past_less_siblings_has_spread_one(against_cash):
    h, d, k, hours = _clean(13)
    pieces = d if against_cash else k
    sold = 10 * hours
    group = h.store_index()
    prior = hours_growth(Habits(), against_cash=against_cash)
    g = fit_change_growth(sold[:, :12], pieces[:, :12], k[:, :12], group, prior=prior)
    now, base = slice(12, 20), slice(0, 12)
    c = change(
        (sold[:, now].sum(1), pieces[:, now].sum(1)),
        (sold[:, base].sum(1), pieces[:, base].sum(1)),
        group,
        (k[:, now].sum(1), k[:, base].sum(1)),
    )
    assert np.std(c.judge(g).z) == pytest.approx(1.0, abs=0.12)


def test_a_store_skimmed_alike_is_seen_by_its_total_and_not_by_its_siblings():
    faults = [Fault(kind="skim", store=0, size=0.02, first_week=12)]
    h = invent(stores=30, pockets=12, weeks=20, seed=5, faults=faults)
    d, k = h.weekly_counted().astype(float), h.weekly_counter().astype(float)
    g = fit_growth(d[:, :12], k[:, :12], prior=cash_growth(Habits()))
    now = (d[:, 12:].sum(1), k[:, 12:].sum(1))
    stores = together(*now, h.store_index(), g, fleet_centre(*now))
    assert stores.z[0] < -5.0
    assert np.all(stores.z[1:] > -4.0)
    assert stores.low[0] < -0.02 < stores.high[0]


def test_a_burst_in_one_week_counts_even_when_the_total_is_nearly_right():
    z_weeks = np.zeros((1, 8))
    z_weeks[0, 3] = -6.0
    p = week_and_total(np.array([-1.0]), z_weeks)
    assert p[0] == pytest.approx(2 * 8 * 9.8659e-10, rel=1e-3)  # normal tail at 6, from memory
