"""Hints: what is shown, and how often nothing is called something."""

import numpy as np
import pytest

from drybank.records.errors import InputError, NotIdentified
from drybank.upkeep import Watched, falling_use, rising


def _bank(rng, *, fall=0.0, pockets=12, weeks=20):
    mean = 35 * np.exp(rng.normal(0, 0.2, pockets))[:, None] * np.exp(rng.normal(0, 0.06, weeks))
    mean = mean * np.ones((pockets, weeks))
    mean[0, -8:] *= 1 - fall
    return {str(i + 1): list(map(float, row)) for i, row in enumerate(rng.poisson(mean))}


def test_a_bank_without_a_fault_is_named_at_most_one_pocket_in_a_hundred():
    rng = np.random.default_rng(1)
    named = sum(len(falling_use(_bank(rng))) for _ in range(400))
    assert named / (400 * 12) <= 0.01


def test_a_fall_of_half_is_named_and_its_interval_covers_it():
    """300 banks, half the trade of pocket 1 gone for 8 weeks."""
    rng = np.random.default_rng(2)
    found, covered = 0, 0
    for _ in range(300):
        mine = [f for f in falling_use(_bank(rng, fall=0.5)) if f.where == "1"]
        found += len(mine)
        covered += sum(f.size.interval.low <= 50 <= f.size.interval.high for f in mine)
    assert found / 300 >= 0.95
    assert covered / found >= 0.93


def test_a_fall_of_a_quarter_is_often_not_seen_and_that_is_said():
    """Counting alone hides it: the worked limit for 8 weeks against siblings is 38 %."""
    rng = np.random.default_rng(3)
    seen = sum(any(f.where == "1" for f in falling_use(_bank(rng, fall=0.25))) for _ in range(200))
    assert seen / 200 < 0.9


def test_a_store_wide_fall_is_nobodys_fault():
    rng = np.random.default_rng(4)
    bank = {k: v[:12] + [x * 0.5 for x in v[12:]] for k, v in _bank(rng).items()}
    assert falling_use(bank) == ()


def test_a_pocket_that_stopped_altogether_is_named():
    bank = _bank(np.random.default_rng(5))
    bank["3"] = bank["3"][:12] + [0.0] * 8
    assert [f.where for f in falling_use(bank)] == ["3"]


def test_needs_siblings_and_weeks_and_refuses_ragged_tables():
    bank = _bank(np.random.default_rng(6))
    with pytest.raises(NotIdentified, match="four pockets"):
        falling_use({k: bank[k] for k in "12"})
    with pytest.raises(NotIdentified):
        falling_use({k: v[:10] for k, v in bank.items()})
    with pytest.raises(InputError, match="same weeks"):
        falling_use(bank | {"1": bank["1"][:5]})


class TestRising:
    def _watched(self, values, **more):
        days = tuple(30.0 * k for k in range(len(values)))
        return Watched(kind=more.pop("kind", "minutes to dry"), at="4", days=days, values=tuple(values), plus_minus=1.0,
                       unit="min", **more)  # fmt: skip

    def test_minutes_that_climb_are_looked_at_with_evidence_and_a_next_check(self):
        found = rising(self._watched([30, 32, 33, 36, 38]))
        assert found.name == "minutes to dry"
        assert "5 values" in found.causes[0].evidence[0]
        assert "lint" in found.next_check
        assert found.causes[0].chance is None

    def test_lint_says_how_many_days_are_left(self):
        found = rising(self._watched([40, 46, 52, 57], kind="lint", limit=75.0))
        assert found.weight == "danger"
        assert "days" in found.says

    def test_steady_or_few_values_are_no_hint(self):
        assert rising(self._watched([30, 31, 30, 31, 30])) is None
        assert rising(self._watched([30, 40])) is None

    def test_refuses_a_figure_it_does_not_follow(self):
        with pytest.raises(InputError, match="not followed"):
            self._watched([1, 2, 3], kind="mood")


@pytest.mark.parametrize("pockets", [4, 12])
def test_clean_banks_are_left_alone_where_starts_are_reckoned_from_pieces(pockets):
    """300 invented stores (`drybank.trial`): pieces scatter more than loads do. Counting noise alone named .03 to .06
    of clean pockets here; the bound is the nominal 1 % and its sampling error."""
    from drybank.trial import World, invent

    world = World()
    counter = invent(world, stores=300, pockets=pockets, weeks=20, seed=3).counter
    named = 0
    for store in counter:
        named += len(falling_use({str(p): [float(v) / world.start_coins for v in row] for p, row in enumerate(store)}))
    n = 300 * pockets
    assert named / n <= 0.01 + 2.33 * np.sqrt(0.01 * 0.99 / n)
