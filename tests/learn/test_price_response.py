"""What a change did, against known truth and against scipy.stats."""

import numpy as np
import pytest
from scipy import stats

from drybank.learn import compare, contrast, diversion, relabel, sight, smallest, smallest_step, step, store_move
from drybank.learn.past import noise
from drybank.records.errors import InputError, NotIdentified
from drybank.trial import World, invent

AT, W = 52, 8


@pytest.fixture(scope="module")
def coins():
    """600 stores of six pockets, 52 weeks of past and eight after; nothing was changed."""
    return invent(World(), stores=600, pockets=6, weeks=AT + W, seed=6).coins.astype(float)


@pytest.mark.facts
class TestAgainstScipy:
    def test_students_p_and_interval_are_scipys(self):
        """`scipy.stats.ttest_ind`, recomputed: agreement to 1e-12."""
        rng = np.random.default_rng(1)
        a, b = rng.normal(0.1, 1, 9), rng.normal(0, 1, 14)
        ours, theirs = compare(a, b), stats.ttest_ind(a, b)
        assert ours.p_t == pytest.approx(theirs.pvalue, abs=1e-12)
        ends = theirs.confidence_interval(0.95)
        assert ours.interval() == pytest.approx((ends.low, ends.high), abs=1e-12)

    @pytest.mark.parametrize(("n", "m"), [(3, 3), (4, 5), (6, 6)])
    def test_relabelings_are_scipys_exact_permutation_test(self, n, m):
        """`scipy.stats.permutation_test` over all ways, statistic |difference of means|: equal p."""
        rng = np.random.default_rng(n)
        a, b = rng.normal(0.8, 1, n), rng.normal(0, 1, m)
        theirs = stats.permutation_test(
            (a, b), lambda x, y, axis: np.abs(x.mean(axis=axis) - y.mean(axis=axis)), n_resamples=np.inf,
            alternative="greater", vectorized=True,
        )  # fmt: skip
        p, count = relabel(a, b)
        assert p == pytest.approx(theirs.pvalue, abs=1e-12)
        assert count == theirs.null_distribution.size

    def test_smallest_effect_has_the_power_of_scipys_noncentral_t(self):
        """`scipy.stats.nct` at the size returned: .80 to 1e-6."""
        for df in (2, 4, 10, 22):
            edge, size = stats.t.ppf(0.975, df), smallest(1.0, df)
            assert stats.nct.sf(edge, df, size) == pytest.approx(0.8, abs=1e-6)


class TestOnKnownTruth:
    def test_alarms_and_cover_of_units_against_units(self, coins):
        """Nothing was changed: alarms at most 6 of 100 (nominal 5) and the interval holds none 93 to 97 times."""
        mask = [True, False] * 3
        found = [contrast(s, mask, at=AT, before=W, after=W, what="pieces") for s in coins]
        assert np.mean([f.verdict != "no difference seen" for f in found]) <= 0.06
        held = np.mean([f.effect.interval.low <= 0 <= f.effect.interval.high for f in found])
        assert 0.93 <= held <= 0.97

    def test_cover_and_alarms_of_the_stores_total(self):
        """1,000 stores each, nothing was changed: every interval holds none 93 to 97 of 100; of 3,000, alarms at most 6 of 100."""
        alarms = []
        for past, after in ((26, 8), (52, 12), (104, 8)):
            made = invent(World(), stores=1000, pockets=6, weeks=past + after, seed=77).coins.sum(axis=1).astype(float)
            found = [step(total, past) for total in made]
            assert 0.93 <= np.mean([f.interval()[0] <= 0 <= f.interval()[1] for f in found]) <= 0.97, (past, after)
            alarms += [f.p < 0.05 for f in found]
        assert np.mean(alarms) <= 0.06

    def test_an_earlier_change_is_not_taken_for_chance(self):
        """600 stores that lost a fifth half a year before: the later step's interval holds none 93 to 97 of 100."""
        made = invent(World(), stores=600, pockets=6, weeks=64, seed=61).coins.sum(axis=1).astype(float)
        made[:, 26:] *= 0.8
        held = np.mean([f.interval()[0] <= 0 <= f.interval()[1] for f in (step(t, 52, others_at=(26,)) for t in made)])
        assert 0.93 <= held <= 0.97

    def test_the_fall_of_the_total_said_before_is_found_four_times_in_five_after(self):
        """600 stores, a year of past, 12 weeks after: power .80 give or take .05."""
        made = invent(World(), stores=600, pockets=6, weeks=64, seed=62).coins.sum(axis=1).astype(float)
        hits = 0
        for total in made:
            after = total.copy()
            after[52:] *= np.exp(-smallest_step(total[:52], 12))
            told = store_move(after, at=52, before=12, after=12, what="pieces")
            hits += told.verdict == "less"
        assert 0.75 <= hits / len(made) <= 0.85

    @pytest.mark.parametrize("taken", [0.0, 0.5, 1.0])
    def test_the_share_that_switched_is_covered(self, taken):
        """600 stores of 12 pockets, six of them lost four in ten, of which none, half or all went to the others."""
        made = invent(World(), stores=600, pockets=12, weeks=64, seed=63).coins.astype(float)
        mask, held, told = np.arange(12) % 2 == 0, 0, 0
        for weeks in made:
            gone = 0.4 * weeks[mask, 52:]
            weeks[mask, 52:] -= gone
            rest = weeks[~mask, :52].sum(axis=1)
            weeks[~mask, 52:] += taken * gone.sum(axis=0) * (rest / rest.sum())[:, None]
            total = store_move(weeks.sum(axis=0), at=52, before=12, after=12, what="pieces")
            apart = diversion(
                contrast(weeks, list(mask), at=52, before=12, after=12, what="pieces"), total,
                share=float(weeks[mask, 40:52].sum() / weeks[:, 40:52].sum()),
            )  # fmt: skip
            if apart.share is not None:
                told += 1
                held += apart.share.interval.low <= taken <= apart.share.interval.high
                assert not (taken == 0.0 and apart.verdict == "cannot tell" and apart.share.interval.low > 0)
        assert told >= 500
        assert 0.93 <= held / told <= 0.97

    def test_the_smallest_effect_said_before_is_found_four_times_in_five_after(self, coins):
        mask, hits = np.array([True, False] * 3), 0
        for weeks in coins:
            heard = noise(weeks[:, :AT], W, W)
            size = smallest(heard.unit_sd * np.sqrt(2 / 3), 4)
            after = weeks.copy()
            after[mask, AT:] *= np.exp(-size)
            hits += contrast(after, mask, at=AT, before=W, after=W, what="pieces").verdict == "less"
        assert 0.75 <= hits / len(coins) <= 0.85

    def test_a_small_store_is_told_that_it_cannot_see_a_small_response(self, coins):
        seen = sight(coins[0][:, :AT], changed=3)
        assert all(r.within_frac is None or r.within_frac > 0.1 for r in seen.rows)
        assert "cannot be seen here" in seen.says


class TestRefusals:
    def test_two_units_cannot_be_compared(self):
        with pytest.raises(NotIdentified, match="three in all"):
            compare(np.array([0.1]), np.array([0.2]))

    def test_a_window_that_does_not_fit_is_refused(self):
        with pytest.raises(InputError, match="do not fit"):
            contrast(np.ones((4, 10)), [True, True, False, False], at=3, before=4, after=4, what="hours")

    def test_a_past_too_short_says_nothing_of_the_total(self):
        moved = store_move(np.array([10.0, 11, 10, 9, 8]), at=3, before=2, after=2, what="pieces")
        assert moved.verdict == "not known"
        assert moved.effect.interval is None
