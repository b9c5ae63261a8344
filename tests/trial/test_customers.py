"""Books kept over weeks of simulated customers."""

import numpy as np
import pytest

from drybank.records.errors import InputError
from drybank.trial import Fault, World, from_customers, from_use, laundry


@pytest.fixture(scope="module")
def story():
    return from_customers([laundry(6, 0.8), laundry(6, 1.4)], weeks=8, seed=3)


def test_the_same_seed_brings_the_same_customers(story):
    again = from_customers([laundry(6, 0.8), laundry(6, 1.4)], weeks=8, seed=3)
    assert np.array_equal(story.coins, again.coins)
    assert np.array_equal(story.counter_read, again.counter_read)


def test_hours_come_from_the_coins_and_run_a_little_less_than_was_sold(story):
    """Who takes a load out early stops the drum before its time is up, so hours stay below what was bought."""
    run = 60.0 * story.hours.sum(axis=2) / (6.0 * story.coins.sum(axis=2))
    assert np.all(run < 1.0)
    assert np.all(run > 0.85)


def test_more_trade_brings_more_coins(story):
    assert story.coins[1].sum() > 1.3 * story.coins[0].sum()


def test_faults_are_laid_over_the_same_use(story):
    faults = [
        Fault(kind="theft", store=0, pocket=0, size=0.2),
        Fault(kind="minutes", store=0, pocket=1, size=3.0),
        Fault(kind="avoided", store=0, pocket=2, size=0.5),
    ]
    h = from_use(story.coins, story.hours, World(), seed=5, faults=faults)
    assert h.taken[0, 0].sum() > 0.12 * h.coins[0, 0].sum()
    assert np.allclose(h.hours[0, 1], 1.5 * story.hours[0, 1])
    assert h.coins[0, 2].sum() == pytest.approx(0.5 * story.coins[0, 2].sum(), rel=0.15)
    assert np.array_equal(h.coins[1], story.coins[1])


def test_stores_of_different_size_are_refused():
    with pytest.raises(InputError, match="as many pockets"):
        from_customers([laundry(6), laundry(7)], weeks=2, seed=1)
