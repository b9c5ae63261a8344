"""Price response, least regret, fuel steps, what matters: against brute force over the same small grid."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from drybank.plan import ranges
from drybank.plan.ranges import best_in, fuel_steps, matters, price_response, rungs, worth_minor
from drybank.plan.search import reference
from drybank.plan.search.problem import middle, problem, setting_at
from drybank.plan.search.running import decode, places_of, values_micro
from drybank.records.plan import PlanLimits

sys.path.insert(0, str(Path(__file__).parent))
import itertools

from cast import grid, inputs, loads

SMALL = {
    "grid": grid(time_per_piece_s=(240, 300, 360, 420), start_pieces=(2, 3, 5), cool_down_s=(60,)),
    "loads": loads(120),
    "limits": PlanLimits(heat_step_at_most_c=None),
}


def say(setting):
    return str(setting)


@pytest.fixture(scope="module")
def small():
    return inputs(**SMALL)


def every(asked, world):
    """Every setting of the grid with its worth, by the plain maths."""
    question = problem(asked, world)
    return {setting_at(asked, question, c): worth_minor(asked, reference.worth_micro(question, c))
            for c in reference.choices(question)}  # fmt: skip


class TestLeastRegret:
    def test_is_the_least_of_all_settings(self, small):
        worlds = [middle(small).but(walk_away_minor=w) for w in rungs(small.price_answer.walk_away_minor)]
        tables = [every(small, w) for w in worlds]
        regret = {s: max(max(t.values()) - t[s] for t in tables) for s in tables[0]}
        got = price_response(small)
        assert got.is_exact
        assert got.regret_minor == pytest.approx(min(regret.values()), abs=1e-6)
        assert regret[got.setting] == pytest.approx(got.regret_minor, abs=1e-6)

    def test_a_short_list_is_made_longer_until_it_is_exact(self, small, monkeypatch):
        whole = price_response(small)
        monkeypatch.setattr(ranges, "KEPT", 2)
        short = price_response(small)
        assert short.is_exact
        assert short.regret_minor == pytest.approx(whole.regret_minor, abs=1e-9)

    def test_a_list_that_may_not_grow_says_what_it_could_miss(self, small, monkeypatch):
        monkeypatch.setattr(ranges, "KEPT", 1)
        monkeypatch.setattr(ranges, "KEPT_AT_MOST", 1)
        exact = price_response(inputs(**SMALL))
        assert not exact.is_exact
        assert exact.could_miss_minor > 0

    def test_each_rung_names_its_own_best(self, small):
        got = price_response(small)
        for rung, walk in zip(
            got.against(small, small.today, say), rungs(small.price_answer.walk_away_minor), strict=True
        ):
            table = every(small, middle(small).but(walk_away_minor=walk))
            assert rung.best_minor == pytest.approx(max(table.values()), abs=1e-6)
            assert table[rung.best] == pytest.approx(rung.best_minor, abs=1e-6)


class TestFuelSteps:
    def test_between_the_steps_the_named_setting_is_best(self, small):
        steps = fuel_steps(small, say)
        assert steps
        for before, after in itertools.pairwise(steps):
            price = 0.5 * (before.fuel_minor_kwh + after.fuel_minor_kwh)
            table = every(small, middle(small).but(fuel_minor_kwh=price))
            assert table[before.setting] == pytest.approx(max(table.values()), rel=1e-6, abs=0.5)

    def test_no_step_is_left_out(self, small):
        """Forty prices over the range, each searched: the best changes only where a step lies."""
        steps, today = fuel_steps(small, say), small.costs.fuel_minor_kwh.value
        edges = [s.fuel_minor_kwh for s in steps]
        prices = np.geomspace(0.5 * today, 3.0 * today, 40)
        bests = [best_in(small, middle(small).but(fuel_minor_kwh=p)).setting for p in prices]
        for (p, a), (q, b) in zip(
            zip(prices, bests, strict=True), list(zip(prices, bests, strict=True))[1:], strict=False
        ):
            assert a == b or any(p - 1e-9 <= e <= q + 1e-9 for e in edges)


class TestWhatMatters:
    def test_is_ranked_by_what_could_be_missed(self, small):
        ranked = matters(small, best_in(small, middle(small)).setting)
        assert [m.regret_minor for m in ranked] == sorted((m.regret_minor for m in ranked), reverse=True)
        assert all(m.measure for m in ranked)

    def test_a_figure_that_is_known_for_sure_does_not_appear(self, small):
        from cast import known

        sure = inputs(**SMALL, price_answer=small.price_answer.__class__(walk_away_minor=known(260.0)))
        names = [m.assumption.name for m in matters(sure, sure.today)]
        assert "walk-away price of a normal load" not in names

    def test_nothing_is_missed_by_the_best_of_that_world(self, small):
        walk = small.price_answer.walk_away_minor
        best = best_in(small, middle(small).but(walk_away_minor=walk.high)).setting
        table = every(small, middle(small).but(walk_away_minor=walk.high))
        assert table[best] == pytest.approx(max(table.values()), abs=1e-6)


def test_settings_one_by_one_equal_the_reference(small):
    question = problem(small)
    some = list(reference.choices(question))[:40]
    places = np.concatenate([places_of(c) for c in some])
    assert [int(v) for v in values_micro(question, places)] == [reference.worth_micro(question, c) for c in some]


def test_codes_round_trip(small):
    question = problem(small)
    from drybank.plan.search.running import best_codes, choice_at

    values, codes, _ = best_codes(question, 50)
    rows = decode(question, codes)
    assert [int(v) for v in values] == [
        reference.worth_micro(question, choice_at(r)) + question.lost_micro for r in rows
    ]
