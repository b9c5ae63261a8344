"""Limits in per cent that others use, as worked examples on the same noise."""

import numpy as np
import pytest
from scipy.stats import norm

from drybank.balance.statistics.priors import Habits, cash_growth
from tests.facts.report import note

USUAL = cash_growth(Habits())  # a machine count, 3 coins between reading and emptying


def beyond(limit, weeks, coins_week=210.0):
    """Share of clean pockets whose total lies beyond a limit, either way."""
    return float(2 * norm.sf(limit / np.sqrt(USUAL.variance(coins_week * weeks))))


@pytest.mark.facts
def test_a_two_percent_limit_is_far_too_tight_for_a_week_and_too_wide_for_a_quarter():
    """Gaming rules look into more than 2 % between meters (Florida Admin. Code, slot-meter rule; read in
    excerpts). On a pocket of 210 coins a week it names a third of clean pockets every week, and after 12
    weeks it lies six standard deviations out: a loss of 1.5 % stays inside it."""
    note(
        "clean pockets beyond 2 % in a week",
        "Florida slot-meter rule, on our noise",
        "R",
        "2 %",
        f"{beyond(0.02, 1):.2f}",
        "example",
    )
    assert 0.25 < beyond(0.02, 1) < 0.45
    assert beyond(0.02, 12) < 1e-6
    sd = float(np.sqrt(USUAL.variance(210.0 * 12)))
    assert (0.02 - 0.015) / sd > 1.5


@pytest.mark.facts
def test_a_three_percent_gap_over_a_city_cannot_be_counting_noise():
    """3 % between counting house and meters' own receipts (New York City Comptroller, FM18-137AL, 2019; read,
    summary). At 14,000 coins of one meter's size of noise the spread of a total is below .2 %."""
    sd = float(np.sqrt(USUAL.variance(14_000.0)))
    note(
        "spread of 14,000 counted coins",
        "NYC Comptroller FM18-137AL: 3 % gap",
        "R",
        "3 %",
        f"{100 * sd:.2f} %",
        "example",
    )
    assert sd < 0.002
    assert 0.03 / sd > 15


def test_the_limit_that_keeps_one_percent_false_alarms_shrinks_with_the_weeks():
    limits = [2.5758 * float(np.sqrt(USUAL.variance(210.0 * w))) for w in (1, 4, 8, 12)]
    assert limits == sorted(limits, reverse=True)
    assert limits[0] > 0.05
    assert limits[-1] < 0.01
