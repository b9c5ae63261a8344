"""Lists of many pockets: against scipy's adjustments, and calibrated on drawn fleets."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import false_discovery_control, norm

from drybank.balance.statistics.lists import adjusted, chance_of_luck, on_list, words
from tests.facts.report import note


@pytest.mark.facts
@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=60), st.booleans())
def test_adjusted_p_values_agree_with_scipy(p, any_dependence):
    """scipy.stats.false_discovery_control, methods "bh" and "by" (documentation read): to rounding."""
    p = np.array(p)
    method = "by" if any_dependence else "bh"
    want = false_discovery_control(p, method=method)
    note(f"adjusted p values, {method}", "scipy.stats.false_discovery_control", "R", "as scipy", "equal", "1e-12")
    np.testing.assert_allclose(adjusted(p, any_dependence=any_dependence), want, rtol=1e-12, atol=1e-300)


@pytest.mark.facts
def test_fifteen_p_values_of_the_first_paper_give_four_discoveries():
    """Benjamini, Hochberg 1995, J. R. Stat. Soc. B 57, section 4.1, at q = .05 (from memory): four rejected."""
    p = np.array([.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1.0])  # fmt: skip
    got = int(on_list(p, 0.05).sum())
    note(
        "15 p values of the first paper, q = .05",
        "Benjamini, Hochberg 1995, 4.1",
        "M",
        "4 rejected",
        f"{got} rejected",
        "exact",
    )
    assert got == 4


def test_unknown_pockets_are_neither_listed_nor_counted():
    p = np.array([0.02, np.nan, 0.5])
    assert adjusted(p)[0] == pytest.approx(0.04)
    assert on_list(p).tolist() == [True, False, False]


def test_share_of_false_names_on_the_list_stays_near_its_promise():
    """200 fleets of 300, 12 at fault by 4 sd: the mean false share lies within 3 standard errors of <= .10."""
    rng = np.random.default_rng(8)
    shares = []
    for _ in range(200):
        z = rng.standard_normal(300)
        z[:12] -= 4.0
        listed = on_list(norm.cdf(z))
        shares.append(listed[12:].sum() / max(1, listed.sum()))
    shares = np.array(shares)
    assert shares.mean() < 0.10 + 3 * shares.std() / np.sqrt(200)


class TestChanceOfLuck:
    def fleet(self, seed, faulty=300, size=4.0):
        rng = np.random.default_rng(seed)
        z = rng.standard_normal(6000)
        z[:faulty] -= np.abs(rng.normal(0, size, faulty))
        return z

    def test_is_calibrated(self):
        """Among pockets given 20 to 60 % of luck, the share that is clean lies near the mean given."""
        hits, said = [], []
        for seed in range(6):
            z = self.fleet(seed)
            luck = chance_of_luck(z)
            band = (luck > 0.2) & (luck < 0.6)
            hits.append(np.mean(np.flatnonzero(band) >= 300))
            said.append(luck[band].mean())
        assert np.mean(hits) == pytest.approx(np.mean(said), abs=0.12)

    def test_is_near_one_in_a_clean_fleet(self):
        assert chance_of_luck(np.random.default_rng(2).standard_normal(400)).min() > 0.5

    def test_grows_with_z_and_keeps_unknown_unknown(self):
        z = self.fleet(1)
        z[5] = np.nan
        luck = chance_of_luck(z)
        order = np.argsort(z[np.isfinite(z)])
        assert np.all(np.diff(luck[np.isfinite(z)][order]) >= -1e-12)
        assert np.isnan(luck[5])

    def test_of_nothing_is_nothing(self):
        assert chance_of_luck(np.array([])).size == 0


def test_words_grow_less_sure_with_luck():
    said = [words(x) for x in (0.001, 0.03, 0.1, 0.4, 0.9)]
    assert len(set(said)) == 5
