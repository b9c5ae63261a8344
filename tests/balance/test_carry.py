"""What the weeks before say about the first reading of a period."""

import numpy as np
import pytest

from drybank.balance.statistics.carry import start_offset, tail_factor
from drybank.balance.statistics.growth import Growth

GROWTH = Growth(c=1e-6, a=0.004, b=18.0)


def weeks(pockets=4000, spans=12, loss=0.0, seed=1):
    """Counters of 210 coins a week; offsets of sd 3 at every emptying; an optional steady loss."""
    rng = np.random.default_rng(seed)
    counter = np.full((pockets, spans), 210.0)
    offset = rng.normal(0.0, 3.0, (pockets, spans + 1))
    noise = np.sqrt(0.004 * 210) * rng.standard_normal(counter.shape)
    cash = counter * (1.0 - loss) + np.diff(offset, axis=1) + noise
    return cash, counter, offset[:, -1]


@pytest.mark.parametrize("loss", [0.0, 0.05])
def test_the_offset_of_the_last_emptying_is_recovered_within_its_stated_variance(loss):
    """Unbiased and as wide as it says, with and without a steady loss: four standard errors."""
    cash, counter, true = weeks(loss=loss)
    got, var = start_offset(cash, counter, GROWTH)
    error = got - true
    assert abs(error.mean()) < 4 * np.sqrt(var.mean() / error.size)
    assert error.std() == pytest.approx(np.sqrt(var.mean()), rel=0.06)
    assert var.mean() < 0.55 * 9.0  # nothing known would be 9


def test_too_few_weeks_leave_the_offset_unknown():
    cash, counter, _ = weeks(spans=3)
    got, var = start_offset(cash, counter, GROWTH)
    assert np.all(got == 0.0)
    assert np.all(var == 9.0)


def test_a_week_not_known_begins_the_line_anew():
    cash, counter, _ = weeks(pockets=50)
    whole, _ = start_offset(cash[:, 6:], counter[:, 6:], GROWTH)
    cash[:, 5] = np.nan
    after, _ = start_offset(cash, counter, GROWTH)
    np.testing.assert_allclose(after, whole, rtol=1e-9)


def test_a_slip_in_the_last_reading_is_taken_out_of_the_period():
    cash, counter, _ = weeks(pockets=200)
    before, _ = start_offset(cash, counter, GROWTH)
    counter[:, -1] += 60.0  # written 60 too high: the period will seem 60 over
    after, _ = start_offset(cash, counter, GROWTH)
    assert np.median(after - before) == pytest.approx(-60.0, abs=6.0)


def test_tails_of_a_normal_need_hardly_any_factor_and_jams_need_more():
    cash, counter, _ = weeks(pockets=6000)
    plain = tail_factor(cash, counter, GROWTH)
    assert 1.0 <= plain < 1.06
    rng = np.random.default_rng(3)
    jams = 25.0 * rng.choice([-1, 1], cash.shape) * (rng.random(cash.shape) < 0.01)
    wide = Growth(c=1e-6, a=0.004 + 0.01 * 625 / 210, b=18.0)
    assert tail_factor(cash + jams, counter, wide) > 1.1


def test_with_nothing_seen_the_assumed_factor_holds():
    assert tail_factor(np.zeros((3, 0)), np.zeros((3, 0)), GROWTH, spans=4) == pytest.approx(1.02)
    assert tail_factor(np.zeros((3, 0)), np.zeros((3, 0)), GROWTH, spans=12) == pytest.approx(1.07)


def test_the_tail_is_measured_on_blocks_as_long_as_the_period():
    """Noise that lasts over twelve weeks and that the growth does not know of widens long blocks, not short ones."""
    cash, counter, _ = weeks(pockets=6000)
    lasting = np.random.default_rng(4).normal(0.0, 0.002, (cash.shape[0], 1))
    wide = cash * np.exp(lasting)
    short, long = (tail_factor(wide, counter, GROWTH, spans=n) for n in (1, 12))
    assert short < 1.05 < 1.1 < long
