"""Invented histories: the same seed tells the same story, and the faults are where they were planted."""

import numpy as np
import pytest

from drybank.records.errors import InputError
from drybank.trial import Fault, World, invent


def small(*faults, seed=1, weeks=16, **world):
    return invent(World(**world), stores=6, pockets=8, weeks=weeks, seed=seed, faults=faults)


def test_the_same_seed_tells_the_same_story():
    a, b, c = small(seed=4), small(seed=4), small(seed=5)
    assert np.array_equal(a.counter_read, b.counter_read)
    assert np.array_equal(a.hours_read, b.hours_read)
    assert not np.array_equal(a.counter_read, c.counter_read)


def test_means_are_those_of_the_world():
    h = invent(stores=400, pockets=12, weeks=8, seed=2)
    # mean of exp(N(0, s)) is exp(s^2 / 2): trade .40, liking .20, shock .06
    trade = np.exp(0.5 * (0.40**2 + 0.20**2 + 0.06**2))
    assert h.coins.mean() == pytest.approx(35 * 6 * trade, rel=0.06)
    ratio = 60 * h.hours.sum() / (6.0 * h.coins.sum())
    assert ratio == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize("step", [1.0, 0.1])
def test_meters_are_read_rounded_down_to_their_step(step):
    h = small(meter_step_h=step)
    assert np.allclose(h.hours_read / step, np.rint(h.hours_read / step))


def test_counters_start_again_at_their_size_and_the_weeks_still_add_up():
    h = small(weeks=60)
    assert h.counter_read.max() < 10_000
    assert np.array_equal(h.weekly_counter(), h.counter.reshape(-1, 60))


class TestFaults:
    def share(self, h, pocket=0):
        return h.weekly_counted()[pocket, 8:].sum() / h.weekly_counter()[pocket, 8:].sum()

    @pytest.mark.parametrize(
        ("kind", "size", "low", "high"),
        [("theft", 0.2, 0.7, 0.87), ("slugs", 0.2, 0.7, 0.87), ("double", 0.2, 0.75, 0.9), ("miss", 0.2, 1.15, 1.35)],
    )
    def test_cash_against_the_counter_moves_as_planted(self, kind, size, low, high):
        h = small(Fault(kind=kind, store=0, pocket=0, size=size, first_week=8))
        assert low < self.share(h) < high
        assert 0.95 < self.share(h, pocket=1) < 1.05

    def test_what_was_taken_is_written_down(self):
        h = small(Fault(kind="theft", store=2, pocket=3, size=0.1, first_week=8, last_week=12))
        assert h.taken[2, 3, 8:12].sum() > 0
        assert h.taken.sum() == h.taken[2, 3, 8:12].sum()

    def test_bursts_take_the_mean_share_in_one_week_of_four(self):
        h = small(Fault(kind="bursts", store=0, pocket=0, size=0.05), weeks=40, loads_week=300)
        weeks = h.taken[0, 0] > 0
        assert weeks.sum() == 10
        assert h.taken[0, 0].sum() / h.coins[0, 0].sum() == pytest.approx(0.05, abs=0.01)

    def test_a_skimmed_store_loses_at_every_pocket(self):
        h = small(Fault(kind="skim", store=1, size=0.1))
        assert (h.taken[1].sum(axis=1) > 0).all()
        assert h.taken[0].sum() == 0

    @pytest.mark.parametrize(("kind", "size", "ratio"), [("minutes", 1.0, 7 / 6), ("free", 0.25, 1.25)])
    def test_hours_per_coin_move_as_planted(self, kind, size, ratio):
        h = small(Fault(kind=kind, store=0, pocket=0, size=size, first_week=8), weeks=40)
        per = h.hours[0, 0] / h.coins[0, 0]
        got = h.hours[0, 0, 8:].sum() / h.coins[0, 0, 8:].sum() / (h.hours[0, 0, :8].sum() / h.coins[0, 0, :8].sum())
        assert got == pytest.approx(ratio, rel=0.08)
        assert per.size == 40

    def test_a_reset_starts_the_counter_at_nothing(self):
        h = small(Fault(kind="reset", store=0, pocket=0, size=0, first_week=8))
        assert h.counter_read[0, 0, 9] <= h.counter[0, 0, 8]

    def test_a_slip_is_undone_by_the_next_reading(self):
        base = small()
        h = small(Fault(kind="typo", store=0, pocket=0, size=60, first_week=8))
        assert h.counter_read[0, 0, 9] == base.counter_read[0, 0, 9] + 60
        assert h.counter_read[0, 0, 10] == base.counter_read[0, 0, 10]

    def test_a_fault_somewhere_else_is_refused(self):
        with pytest.raises(InputError, match="not in the history"):
            small(Fault(kind="theft", store=9, pocket=0, size=0.1))
        with pytest.raises(InputError, match="starts in week"):
            small(Fault(kind="theft", store=0, pocket=0, size=0.1, first_week=99))

    def test_a_size_beyond_its_range_is_refused_with_the_range(self):
        with pytest.raises(InputError, match="0 to 1"):
            Fault(kind="theft", store=0, pocket=0, size=1.5)

    def test_a_skim_names_no_pocket(self):
        with pytest.raises(InputError, match="names no pocket"):
            Fault(kind="skim", store=0, pocket=1, size=0.1)
