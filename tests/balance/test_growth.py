"""The growth of noise with the tally: recovered from drawn data, robust, and leaning on the prior when few."""

import numpy as np
import pytest

from drybank.balance.statistics.growth import Growth, blocks, fit_growth, nonnegative_fit, spread_sd

PRIOR = Growth(c=1e-6, a=0.003, b=18.0)


def drawn(pockets, weeks, *, offset, bias, fresh, seed):
    """Weekly counts with a gap at each end, a lasting bias and fresh noise; normal, so theory is exact."""
    rng = np.random.default_rng(seed)
    n = rng.uniform(60, 500, (pockets, 1)) * np.ones((pockets, weeks))
    ends = rng.normal(0, offset, (pockets, weeks + 1))
    d = n * (1 + rng.normal(0, bias, (pockets, 1))) + np.sqrt(fresh * n) * rng.standard_normal(n.shape)
    return d + np.diff(ends, axis=1), n


class TestSpread:
    @pytest.mark.parametrize("grain", [1e-9, 0.25, 1.0])
    def test_is_the_standard_deviation_of_a_normal_even_in_whole_steps(self, grain):
        x = np.random.default_rng(4).normal(size=40_000)
        rounded = np.rint(x / grain) * grain
        expected = np.sqrt(1 + grain**2 / 12)  # Sheppard's correction, from memory
        assert spread_sd(rounded) == pytest.approx(expected, rel=0.02)

    def test_hardly_moves_for_one_wild_value_in_twenty(self):
        x = np.random.default_rng(5).normal(size=10_000)
        x[:500] = -40.0
        assert spread_sd(x) == pytest.approx(1.0, abs=0.06)

    def test_of_equal_values_is_nothing(self):
        assert spread_sd(np.full(9, 3.0)) == 0.0


def test_nonnegative_fit_returns_exact_coefficients_of_exact_rows():
    n = np.array([50.0, 200, 800, 2400, 9000])
    v = 4e-6 + 0.01 / n + 18 / n**2
    c, a, b = nonnegative_fit(1 / n, 1 / n**2, v, np.ones(5))
    assert (c, a, b) == pytest.approx((4e-6, 0.01, 18.0), rel=1e-6)


def test_blocks_sum_whole_spans_and_drop_the_rest():
    assert blocks(np.arange(7.0)[None, :], 3).tolist() == [[3.0, 12.0]]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fit_recovers_the_variance_it_was_drawn_with(seed):
    d, n = drawn(2000, 12, offset=3.0, bias=0.004, fresh=0.02, seed=seed)
    g = fit_growth(d, n, prior=PRIOR)
    for tally in (200.0, 1000.0, 3000.0):
        true = 0.004**2 + 0.02 / tally + 18 / tally**2
        assert float(g.variance(tally)) == pytest.approx(true, rel=0.15)
    assert g.end_coins_sd() == pytest.approx(3.0, rel=0.1)


def test_a_few_steady_thieves_do_not_widen_the_limits():
    d, n = drawn(600, 12, offset=3.0, bias=0.001, fresh=0.005, seed=9)
    clean = fit_growth(d, n, prior=PRIOR)
    d[:30] *= 0.90
    with_thieves = fit_growth(d, n, prior=PRIOR)
    for tally in (300.0, 2000.0):
        assert float(with_thieves.variance(tally) / clean.variance(tally)) < 1.35


def test_a_small_fleet_leans_on_the_prior_and_none_returns_it():
    d, n = drawn(6, 12, offset=30.0, bias=0.001, fresh=0.005, seed=2)
    g = fit_growth(d, n, prior=PRIOR)
    assert PRIOR.b < g.b < 0.5 * 2 * 30**2
    assert fit_growth(np.zeros((2, 1)), np.zeros((2, 1)), prior=PRIOR) == PRIOR


def test_share_of_the_ends_falls_as_weeks_add_up():
    g = Growth(c=0.0, a=0.005, b=18.0)
    assert g.end_share(200) > 0.9 * 18 / (18 + 0.005 * 200)
    assert g.end_share(20_000) < 0.2
