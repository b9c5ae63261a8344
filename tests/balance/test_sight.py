"""How small a loss would be noticed: told by formula, held against invented stores."""

import numpy as np
import pytest

from drybank.balance import what_would_i_see
from drybank.balance.audit.judge import judge
from drybank.balance.audit.sight import ONE_IN_A_HUNDRED, smallest_loss
from drybank.records.errors import InputError
from drybank.trial import Fault, World, invent
from tests.balance.houses import panel_of
from tests.facts.report import note

ALIKE = World(trade_spread_store=0.0, trade_spread_pocket=0.05, season=0.0)


def found(size, weeks, *, counters, seed, stores=60):
    """Share of pockets found at 1 % false alarms when each store loses ``size`` at one pocket."""
    faults = [Fault(kind="theft", store=s, pocket=0, size=size, first_week=12) for s in range(stores)]
    h = invent(ALIKE, stores=stores, pockets=12, weeks=12 + weeks, seed=seed, faults=faults)
    j = judge(panel_of(h, 12, counters=counters))
    z = j.z if counters else j.by_hours_z
    return float(np.mean(z.reshape(stores, 12)[:, 0] < -ONE_IN_A_HUNDRED))


@pytest.mark.parametrize(("weeks", "counters"), [(4, True), (12, True), (4, False), (12, False)])
def test_a_loss_of_the_told_size_is_found_four_times_in_five(weeks, counters):
    """Power .80 told; 180 pockets drawn give a standard error of .03: three of them, and .04 for the formula."""
    told = what_would_i_see(coins_week=(210.0,) * 12, weeks=(weeks,), has_counters=counters)
    size = told.sights[0].pocket_frac
    power = np.mean([found(size, weeks, counters=counters, seed=s) for s in (1, 2, 3)])
    assert power == pytest.approx(0.80, abs=0.13)


@pytest.mark.facts
def test_the_told_sizes_lie_near_those_of_a_study_that_looked_at_the_total_alone():
    """A simulation study of the same model (recomputed here): counters and machine count 2.1 / 1.2 / 1.0 % after
    4 / 8 / 12 weeks, mixed trade. Ours also knows the first reading from the weeks before: at most as large."""
    told = what_would_i_see(coins_week=(210.0,) * 12, weeks=(4, 8, 12))
    for sight, study in zip(told.sights, (0.021, 0.012, 0.010), strict=True):
        note(
            f"smallest loss noticed after {sight.weeks} weeks", "simulation study of the same model, total alone", "C",
            f"{100 * study:.1f} %", f"{100 * sight.pocket_frac:.2f} %", "ours no larger",
        )  # fmt: skip
        assert 0.55 * study < sight.pocket_frac <= study


def test_more_weeks_more_coins_and_quick_emptying_show_smaller_losses():
    usual = what_would_i_see(coins_week=(210.0,) * 12)
    sizes = [s.pocket_frac for s in usual.sights]
    assert sizes == sorted(sizes, reverse=True)
    assert all(b.pocket_frac <= a.pocket_frac for a, b in zip(usual.sights, usual.at_once, strict=True))
    busy = what_would_i_see(coins_week=(800.0,) * 12)
    assert all(b.pocket_frac < a.pocket_frac for a, b in zip(usual.sights, busy.sights, strict=True))
    assert all(s.store_frac < s.pocket_frac for s in usual.sights)


def test_the_answer_says_what_quick_emptying_would_bring():
    assert "emptied right after its counter is read" in what_would_i_see(coins_week=(210.0,) * 12).says


def test_nearly_no_trade_is_told_as_not_noticed():
    assert "would not be noticed" in what_would_i_see(coins_week=(1.0,), weeks=(1,)).says


def test_smallest_loss_of_a_known_variance():
    """(2.3263 + .8416) x .01 in logs: quantiles of the normal at .99 and .80, from memory."""
    assert smallest_loss(1e-4) == pytest.approx(1 - np.exp(-0.031680), rel=1e-4)


def test_impossible_questions_are_refused():
    with pytest.raises(InputError, match="coins a week"):
        what_would_i_see(coins_week=())
    with pytest.raises(InputError, match="coins a week"):
        what_would_i_see(coins_week=(0.0,))
