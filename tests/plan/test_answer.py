"""The plan a person acts on: the answer, its rivals, what constraints cost, refusals, what-if."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest

from drybank.plan import make_plan, price_setting
from drybank.plan.answer import relaxed
from drybank.plan.outcome import weekly_minor
from drybank.plan.ranges import best_in
from drybank.plan.search.problem import choice_of, middle, problem
from drybank.plan.search.reference import is_allowed
from drybank.records.errors import InputError, InputErrors
from drybank.records.money import Money
from drybank.records.plan import PlanLimits
from drybank.records.traffic import Arrivals, Buying, Pocket, Spread, Visits, WasherKind
from drybank.records.traffic import Store as Trade

sys.path.insert(0, str(Path(__file__).parent))
from cast import grid, inputs, loads

LIMITS = PlanLimits(
    normal_load_pieces_at_most=6,
    price_step_at_most_pct=20.0,
    posted_step_s=30,
    least_heat_s=600,
    heat_step_at_most_c=None,
)


@pytest.fixture(scope="module")
def asked():
    return inputs(limits=LIMITS)


@pytest.fixture(scope="module")
def plan(asked):
    return make_plan(asked)


class TestTheAnswer:
    def test_is_the_best_setting_that_keeps_every_constraint(self, asked, plan):
        best = best_in(asked, middle(asked))
        assert plan.setting == best.setting
        assert is_allowed(problem(asked), best.ranking.found[0].choice)

    def test_says_what_to_set_what_it_brings_and_what_could_be_wrong(self, plan):
        assert plan.what_to_set.startswith("Set ")
        assert "95 of 100 weeks" in plan.what_it_brings
        assert "If what is assumed is off" in plan.what_it_brings
        assert plan.what_could_be_wrong.endswith(".")

    def test_today_and_proposed_stand_side_by_side_for_every_setting(self, plan):
        names = [c.name for c in plan.changes]
        assert names == [
            "time for a coin of 0.25 USD",
            "start price",
            "what a start gives",
            "heat high",
            "heat low",
            "cool-down",
        ]
        assert all(c.today and c.proposed for c in plan.changes)
        assert all(c.is_changed == (c.today != c.proposed) for c in plan.changes)

    def test_rivals_are_named_different_and_no_better(self, plan):
        settings = [r.setting for r in plan.rivals]
        assert len(set(settings)) == len(settings) <= 3
        assert plan.setting not in settings
        assert all(r.behind_minor >= -1e-6 and "less" in r.why_not for r in plan.rivals)

    def test_no_point_of_the_front_beats_another_in_both(self, plan):
        points = [(p.price_normal_minor, p.contribution_minor) for p in plan.front]
        assert points == sorted(points)
        assert [c for _, c in points] == sorted(c for _, c in points)
        assert sum(p.is_answer for p in plan.front) == 1

    def test_a_constraint_costs_what_leaving_it_out_brings(self, asked, plan):
        base = best_in(asked, middle(asked)).minor
        for cost in plan.limit_costs:
            free = best_in(relaxed(asked, [cost.name]), middle(asked)).minor
            assert cost.cost_minor == pytest.approx(free - base, abs=0.5)
            assert cost.cost_minor > 0

    def test_every_figure_has_a_working_down_to_needs(self, plan):
        names = " ".join(w.figure for w in plan.workings)
        for word in ("contribution", "takings", "fuel", "electricity", "normal load", "dry at the first purchase"):
            assert word in names
        assert all(w.formula for w in plan.workings)

    def test_survives_json(self, plan):
        text = msgspec.json.encode(plan)
        assert msgspec.json.decode(text, type=type(plan)) == plan

    def test_is_the_same_twice(self, asked, plan):
        assert make_plan(asked) == plan

    def test_without_today_makes_no_comparison_and_says_so(self, asked):
        alone = make_plan(msgspec.structs.replace(asked, today=None))
        assert "no comparison" in alone.what_it_brings
        assert all(f.today is None and f.difference is None for f in alone.figures)

    def test_keeps_today_where_nothing_is_better(self, asked):
        free = relaxed(asked, ["price step"])
        best = make_plan(free).setting
        again = make_plan(msgspec.structs.replace(free, today=best))
        assert again.setting == best
        assert again.keeps_today
        assert again.what_to_set.startswith("Leave it as it is")
        assert "no other setting" in again.what_it_brings

    def test_says_when_queues_are_not_counted_and_a_sheet_not_read_back(self, asked):
        notes = " ".join(make_plan(msgspec.structs.replace(asked, sheet_is_read_back=False)).notes)
        assert "Waiting for a pocket is not counted" in notes
        assert "read the control sheet back" in notes


class TestRefusals:
    def test_one_constraint_that_no_setting_keeps_is_named_with_the_nearest_miss(self, asked):
        tight = msgspec.structs.replace(LIMITS, normal_load_pieces_at_most=1, price_step_at_most_pct=None, posted_step_s=1,
                                        least_heat_s=0)  # fmt: skip
        with pytest.raises(InputError, match=r"no setting of these controls keeps .a normal load dry.*Nearest miss"):
            make_plan(msgspec.structs.replace(asked, limits=tight))

    def test_a_pair_that_contradicts_is_named(self, asked):
        """At most 3 coins for a normal load of 1 500 s wants 9 minutes a coin and more; 20 % off today's 6 does not reach it."""
        pair = msgspec.structs.replace(LIMITS, normal_load_pieces_at_most=3)
        with pytest.raises(
            InputError, match=r"contradict each other: .a normal load dry .* and .the largest price step"
        ):
            make_plan(msgspec.structs.replace(asked, limits=pair))

    def test_an_empty_grid_is_refused(self, asked):
        with pytest.raises(InputErrors, match="no control value is left for start pieces"):
            make_plan(msgspec.structs.replace(asked, grid=grid(start_pieces=())))

    def test_needs_that_are_not_numbers_are_refused(self, asked):
        bad = msgspec.structs.replace(asked.loads, need_s=asked.loads.need_s * float("nan"))
        with pytest.raises(InputErrors, match="not a number of seconds"):
            make_plan(msgspec.structs.replace(asked, loads=bad))

    def test_a_range_upside_down_is_refused(self, asked):
        week = msgspec.structs.replace(asked.loads_per_week, low=900.0)
        with pytest.raises(InputErrors, match="low, value and high in that order"):
            make_plan(msgspec.structs.replace(asked, loads_per_week=week))


class TestWhatIf:
    def test_prices_a_change_with_the_same_loads(self, asked, plan):
        changed = msgspec.structs.replace(
            plan.setting, time_per_piece_s=390, first_time_s=390 * plan.setting.start_pieces
        )
        priced = price_setting(asked, changed, against=plan.setting)
        contribution = next(f for f in priced.figures if f.key == "contribution")
        world = middle(asked)
        assert contribution.difference.value == pytest.approx(
            weekly_minor(asked, changed, world) - weekly_minor(asked, plan.setting, world)
        )
        assert priced.workings

    def test_says_which_constraint_it_breaks(self, asked):
        far = msgspec.structs.replace(asked.today, time_per_piece_s=600, first_time_s=600 * 4)
        priced = price_setting(asked, far, against=asked.today)
        assert priced.is_on_grid
        assert "the largest price step at once" in priced.breaks

    def test_a_setting_off_the_grid_is_priced_and_says_so(self, asked):
        off = msgspec.structs.replace(asked.today, time_per_piece_s=361, first_time_s=361 * 4)
        assert not price_setting(asked, off, against=asked.today).is_on_grid

    def test_the_answer_itself_breaks_nothing(self, asked, plan):
        assert price_setting(asked, plan.setting, against=asked.today).breaks == ()


@pytest.fixture(scope="module")
def busy():
    """A bank of five pockets in a week of customers who leave the line, and its plan."""
    rates = [0.0] * 168
    for day in range(7):
        rates[24 * day + 8 : 24 * day + 21] = [3.4] * 13
    minute = Spread("exponential", (600.0,))
    mass = Spread("quantiles", tuple(float(x) for x in np.quantile(loads().load_kg, np.linspace(0, 1, 17))))
    week = Trade(
        name="busy", arrivals=Arrivals(by_hour=tuple(rates)),
        visits=Visits(loads_share=(0.5, 0.5), load_kg=(mass,), patience_pocket_s=minute, patience_washer_s=minute),
        buying=Buying(belief=Spread("uniform", (0.7, 1.3)), away_s=minute, transfer_s=minute),
        washers=(WasherKind(size=1, count=12, cycle_s=Spread("constant", (1800.0,))),),
        pockets=tuple(Pocket(name=str(i), capacity_kg=40.0) for i in range(5)),
    )  # fmt: skip
    asked = inputs(limits=PlanLimits(heat_step_at_most_c=None, posted_step_s=30), traffic=week)
    return asked, make_plan(asked)


class TestWithAWeekOfCustomers:
    """Queues counted: the answer brings at least what any setting that went through brings, today's among them."""

    def test_what_waiting_takes_is_said_beside_the_headline(self, busy):
        _, plan = busy
        queue = plan.queue
        assert queue.cost_minor >= 0.0
        net = plan.figure("contribution").difference.value - (queue.cost_minor - queue.cost_today_minor)
        assert f"With customers who leave the line counted: {Money(round(net), 'USD')} a week" in plan.what_it_brings

    def test_no_setting_that_went_through_brings_more_today_not_either(self, busy):
        asked, plan = busy
        assert all(r.behind_minor >= -1e-6 for r in plan.rivals)
        mine = weekly_minor(asked, plan.setting, middle(asked)) - plan.queue.cost_minor
        today = weekly_minor(asked, asked.today, middle(asked)) - plan.queue.cost_today_minor
        question = problem(asked)
        choice = choice_of(asked, question, asked.today)
        assert choice is not None
        assert is_allowed(question, choice)
        assert mine >= today - 0.5

    def test_waits_come_with_intervals_and_the_difference_with_its_own(self, busy):
        _, plan = busy
        for key in ("wait", "wait p95", "lost in line"):
            one = plan.figure(key)
            assert one.today.interval.low <= one.today.value <= one.today.interval.high
            assert one.proposed.interval.low <= one.proposed.value <= one.proposed.interval.high
            assert one.difference.value == pytest.approx(one.proposed.value - one.today.value, abs=1e-6)
            wide = sum(((e.interval.high - e.interval.low) / 2) ** 2 for e in (one.today, one.proposed)) ** 0.5
            assert (one.difference.interval.high - one.difference.interval.low) / 2 <= 1.5 * wide + 1e-9
