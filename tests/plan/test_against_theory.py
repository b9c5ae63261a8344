"""Cases with a closed form, and what must hold when a price moves."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.plan.outcome import mean, meet
from drybank.plan.ranges import best_in
from drybank.plan.search.problem import JOULES_KWH, middle, problem, setting_at
from drybank.plan.search.running import search
from drybank.records.plan import PlanCosts, PlanGrid, PlanHeat, PlanInputs, PlanLimits, PlanLoads, PriceAnswer

sys.path.insert(0, str(Path(__file__).parent))
import itertools

from cast import grid, inputs, known

FREE = PlanLimits(start_rate="any", heat_step_at_most_c=None, heat_gap_c=0.0)
ONE_HEAT = (PlanHeat(number=1, name="heat", levels=(0,)),)


def one_price(*, top: int, cost: float, visit: float, need_s: int = 600) -> PlanInputs:
    """Every load needs the same; owners' limits lie evenly between 0 and ``top``; the start price is all that is set."""
    n = 4 * top
    loads = PlanLoads(
        need_s=np.full((n, 1), float(need_s)), fuel_j=np.full((n, 1), JOULES_KWH), heat=np.zeros(n, np.int64),
        belief=np.ones(n), patience=(np.arange(n) + 0.5) / n, weight=np.ones(n, np.int64), load_kg=np.full(n, 5.0),
        fuel_over_w=np.zeros(1), motor_w=0.0, normal_need_s=np.array([float(need_s)]), normal_fuel_j=np.full(1, JOULES_KWH),
    )  # fmt: skip
    return inputs(
        grid=PlanGrid(piece_minor=1, time_per_piece_s=(need_s,), start_pieces=tuple(range(1, top + 1)),
                      first_time_s=(need_s,), temps=(70,), temps_c=(70.0,), heats=ONE_HEAT),
        loads=loads, limits=FREE, today=None,
        costs=PlanCosts(fuel_minor_kwh=known(cost), power_minor_kwh=known(0.0), wear_minor_hour=known(0.0),
                        visit_minor=known(visit)),
        price_answer=PriceAnswer(walk_away_minor=known(float(top)), spread_frac=0.3, follows_size=0.0),
    )  # fmt: skip


@pytest.mark.facts
class TestMonopolyPriceUnderLinearDemand:
    """With limits evenly spread between 0 and a, and cost c a load, the best price is (a + c)/2 (Varian, Intermediate
    Microeconomics, chapter on monopoly, linear demand; from memory, rederived: d/dp (p - c)(1 - p/a) = 0). What a visit
    brings is cost turned round: (a + c - v)/2. Agreement: to the coin of 1 minor unit."""

    @pytest.mark.parametrize(
        ("top", "cost", "visit"), [(200, 40.0, 0.0), (300, 0.0, 0.0), (240, 80.0, 60.0), (400, 10.0, 150.0)]
    )
    def test_the_search_hits_it(self, top, cost, visit):
        question = problem(one_price(top=top, cost=cost, visit=visit))
        start = int(question.starts[search(question, 1).found[0].choice.start])
        assert abs(start - (top + cost - visit) / 2) <= 1

    def test_what_it_brings_is_the_textbooks(self):
        """(a - c)² / 4a a load, 32.00 for a = 200, c = 40; within a coin's step."""
        asked = one_price(top=200, cost=40.0, visit=0.0)
        best = best_in(asked, middle(asked))
        assert best.minor / asked.loads_per_week.value == pytest.approx(32.0, abs=0.3)


@pytest.mark.facts
class TestFirstTimeAsANewsvendor:
    """One purchase, no top-up: owners pay one start or go. Needs lie evenly between 0 and B; a dried load brings P, burns
    k a second until dry and r a second after. A longer first time dries more loads and over-dries all the shorter ones:
    under- against over-supply as in the newsvendor problem (Hillier & Lieberman, Introduction to Operations Research,
    chapter on inventory; from memory). d/dF ∫(P - k·x - r·(F - x)) dx = 0 gives F = P/(k + r); rederived."""

    @pytest.mark.parametrize(("price", "k", "r"), [(100, 0.05, 0.03), (100, 0.08, 0.08), (200, 0.09, 0.07)])
    def test_the_search_hits_it(self, price, k, r):
        n, longest = 6000, 3000
        need = (np.arange(n) + 0.5) / n * longest
        loads = PlanLoads(
            need_s=need[:, None], fuel_j=(need * k * JOULES_KWH)[:, None], heat=np.zeros(n, np.int64), belief=np.ones(n),
            patience=np.ones(n), weight=np.ones(n, np.int64), load_kg=np.full(n, 5.0),
            fuel_over_w=np.array([r * JOULES_KWH]), motor_w=0.0, normal_need_s=np.array([1500.0]), normal_fuel_j=np.ones(1),
        )  # fmt: skip
        asked = inputs(
            grid=PlanGrid(piece_minor=price, time_per_piece_s=(60,), start_pieces=(1,),
                          first_time_s=tuple(range(60, longest + 1)), temps=(70,), temps_c=(70.0,), heats=ONE_HEAT),
            loads=loads, limits=FREE, today=None,
            costs=PlanCosts(fuel_minor_kwh=known(1.0), power_minor_kwh=known(0.0), wear_minor_hour=known(0.0),
                            visit_minor=known(0.0)),
            price_answer=PriceAnswer(walk_away_minor=known(float(price)), follows_size=0.0),
        )  # fmt: skip
        question = problem(asked)
        first = int(question.firsts_s[search(question, 1).found[0].choice.first])
        assert first == pytest.approx(price / (k + r), abs=longest / n + 1)


class TestDearerFuel:
    @settings(max_examples=25, deadline=None)
    @given(st.integers(60, 240), st.lists(st.integers(0, 90), min_size=3, max_size=6))
    def test_never_lowers_the_price_where_the_price_is_all_that_is_set(self, top, costs):
        """(p - c)·D(p) has increasing differences in p and c, so the least best price rises with c."""
        chosen = []
        for cost in sorted(costs):
            question = problem(one_price(top=top, cost=float(cost), visit=0.0))
            chosen.append(int(question.starts[search(question, 1).found[0].choice.start]))
        assert chosen == sorted(chosen)

    def test_never_raises_the_fuel_burnt_whatever_is_set(self):
        """On a whole grid a dearer therm may be answered by another heat or first time, at the same or even a lower price of
        a normal load; what must hold there is that the fuel of the best setting never rises (its worth is a line in the
        fuel price, and the best of lines has falling slopes)."""
        asked = inputs()
        burnt, prices = [], []
        for times in (0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0):
            world = middle(asked).but(fuel_minor_kwh=4.3 * times)
            best = best_in(asked, world)
            met = meet(asked, best.setting, world)
            burnt.append(mean(met, met.fuel_j))
            prices.append(mean(met, met.takings) / mean(met, met.is_dried * 1.0))
        assert all(a >= b - 1e-6 * a for a, b in itertools.pairwise(burnt))
        assert prices[-1] > prices[0]

    def test_a_visit_worth_more_never_loses_more_loads(self):
        """Same reasoning: worth is a line in what a visit brings, its slope the loads dried."""
        asked = inputs()
        dried = []
        for visit in (0.0, 60.0, 120.0, 240.0, 480.0, 960.0):
            best = best_in(asked, middle(asked).but(visit_minor=visit))
            met = meet(asked, best.setting, middle(asked))
            dried.append(mean(met, met.is_dried * 1.0))
        assert dried == sorted(dried)


def test_a_wider_grid_never_does_worse():
    narrow = inputs(grid=grid(time_per_piece_s=(240, 300, 360), start_pieces=(2, 4)))
    wide = inputs(grid=grid(time_per_piece_s=(240, 270, 300, 330, 360), start_pieces=(2, 3, 4)))
    a, b = (search(problem(x), 1).found[0].worth_micro for x in (narrow, wide))
    assert b >= a


def test_the_searchs_worth_is_the_figures_worth():
    """Two ways to the same number: whole millionths in the search, doubles in the figures."""
    asked = inputs()
    best = best_in(asked, middle(asked))
    met = meet(asked, best.setting, middle(asked))
    assert mean(met, met.contribution) * asked.loads_per_week.value == pytest.approx(best.minor, abs=0.5)


def test_off_grid_choice_is_not_found():
    asked = inputs()
    question = problem(asked)
    setting = setting_at(asked, question, search(question, 1).found[0].choice)
    from drybank.plan.search.problem import choice_of

    assert choice_of(asked, question, msgspec.structs.replace(setting, time_per_piece_s=181)) is None
