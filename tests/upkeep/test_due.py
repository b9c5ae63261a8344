"""What is due: order, states, boxes, refusals."""

from datetime import date, timedelta

import numpy as np
import pytest

from drybank.records.errors import InputError, InputErrors, NotIdentified
from drybank.records.finding import Finding
from drybank.records.upkeep import Outage, Span, Task
from drybank.upkeep import START_LIST, Place, TradeClock, Use, box_full, due_at, replace_tasks, schedule

TODAY = date(2026, 5, 4)
BELT = next(t for t in START_LIST if t.key == "belt")
SEAL = next(t for t in START_LIST if t.key == "door-seal")


def _hours(per_week=20.0, weeks=20, end=TODAY, wobble=2.0):
    first = end - timedelta(weeks=weeks)
    return tuple(
        Span(
            first=first + timedelta(weeks=k), last=first + timedelta(weeks=k + 1), amount=per_week + wobble * (-1) ** k
        )
        for k in range(weeks)
    )


def _pocket(key="1", **more):
    return Place(key=key, scope="pocket", use=Use(hours=_hours()), **more)


class TestByUse:
    def test_due_date_is_what_is_left_over_the_rate(self):
        due = due_at(_pocket(last_done={"belt": TODAY - timedelta(weeks=20)}), BELT, today=TODAY)
        assert due.left == pytest.approx(600)
        assert abs(due.on - (TODAY + timedelta(weeks=30))) <= timedelta(days=1)
        assert due.low < due.on < due.high
        assert "80 %" in due.says
        assert "meter decides" in due.says
        assert due.working is not None

    def test_past_its_hours_is_overdue_and_says_by_how_much(self):
        done = TODAY - timedelta(weeks=20)
        due = due_at(_pocket(last_done={"belt": done}, used_since={"belt": 1100.0}), BELT, today=TODAY)
        assert due.state == "overdue"
        assert "100 h" in due.says

    def test_use_since_a_day_inside_a_span_takes_its_trade_share(self):
        use = Use(hours=(Span(first=TODAY, last=TODAY + timedelta(days=10), amount=50.0),))
        assert use.since("hours", TODAY + timedelta(days=4)) == pytest.approx(30.0)
        out = Outage(first=TODAY, last=TODAY + timedelta(days=4))
        stood = Use(hours=use.hours, clock=TradeClock(outages=(out,)))
        assert stood.since("hours", TODAY + timedelta(days=4)) == pytest.approx(50.0)

    def test_never_entered_and_out_of_service_are_told_apart(self):
        assert due_at(_pocket(), BELT, today=TODAY).state == "never entered"
        out = _pocket(outages=(Outage(first=TODAY - timedelta(days=3)),))
        assert due_at(out, BELT, today=TODAY).state == "out of service"

    def test_a_pocket_without_readings_is_not_known_and_never_zero(self):
        place = Place(key="9", scope="pocket", last_done={"belt": TODAY - timedelta(days=5)})
        due = due_at(place, BELT, today=TODAY)
        assert due.state == "not known"
        assert due.on is None
        assert "read the meter" in due.says


class TestByDays:
    def test_days_are_exact_and_carry_no_interval(self):
        due = due_at(_pocket(last_done={"door-seal": TODAY - timedelta(days=60)}), SEAL, today=TODAY)
        assert due.on == TODAY + timedelta(days=30)
        assert due.low is None
        assert due.state == "coming"

    def test_one_day_late_is_overdue(self):
        due = due_at(_pocket(last_done={"door-seal": TODAY - timedelta(days=91)}), SEAL, today=TODAY)
        assert due.state == "overdue"
        assert "by 1 day;" in due.says

    def test_refuses_work_done_tomorrow(self):
        with pytest.raises(InputError, match="after today"):
            due_at(_pocket(last_done={"door-seal": TODAY + timedelta(days=1)}), SEAL, today=TODAY)


class TestSchedule:
    def test_overdue_comes_first_then_by_date(self):
        places = [
            _pocket("1", last_done={t.key: TODAY - timedelta(days=1) for t in START_LIST}),
            _pocket("2", last_done={t.key: TODAY - timedelta(days=400) for t in START_LIST}),
        ]
        found = schedule(places, START_LIST, today=TODAY)
        states = [d.state for d in found]
        assert states[0] == "overdue"
        assert states == sorted(states, key=["overdue", "due", "never entered", "coming", "not known"].index)

    def test_gas_tasks_are_left_out_of_electric_machines(self):
        electric = _pocket("1", has_gas=False)
        assert not any(d.task.gas_only for d in schedule([electric], START_LIST, today=TODAY))

    def test_a_finding_pulls_its_tasks_forward(self):
        finding = Finding(
            key="upkeep/fuel per hour/1", room="upkeep", name="fuel per hour", where="1", says="", weight="due"
        )
        done = {t.key: TODAY - timedelta(days=1) for t in START_LIST}
        calm = schedule([_pocket("1", last_done=done)], START_LIST, today=TODAY)
        pulled = schedule([_pocket("1", last_done=done)], START_LIST, today=TODAY, findings=[finding])
        assert next(d for d in calm if d.task.key == "gas-input").state == "coming"
        found = next(d for d in pulled if d.task.key == "gas-input")
        assert found.state == "due"
        assert found.pulled_by == ("fuel per hour",)

    def test_pocket_1_is_not_pulled_by_a_finding_at_pocket_12(self):
        finding = Finding(
            key="proof/gas input/12", room="proof", name="gas input", where="pocket 12", says="", weight="due"
        )
        done = {t.key: TODAY - timedelta(days=1) for t in START_LIST}
        found = schedule([_pocket("1", last_done=done)], START_LIST, today=TODAY, findings=[finding])
        assert not any(d.pulled_by for d in found)


class TestTasks:
    def test_every_interval_without_source_says_so(self):
        assert all(
            t.source == "common practice, no source" or t.known != "common practice, no source" for t in START_LIST
        )
        assert [t.key for t in START_LIST if t.known == "read"] == ["lock-out-review"]

    def test_the_makers_list_replaces_and_adds(self):
        own = Task(
            key="belt",
            name="Belt",
            every=1500,
            per="hours",
            source="maker's manual p. 30",
            known="maker's plate or manual",
        )
        new = Task(key="filter", name="Filter", every=30, per="days", source="maker's manual p. 31")
        made = replace_tasks(START_LIST, [own, new])
        assert len(made) == len(START_LIST) + 1
        assert next(t for t in made if t.key == "belt").every == 1500
        with pytest.raises(InputErrors, match="twice"):
            replace_tasks(START_LIST, [own, own])

    @pytest.mark.parametrize(
        ("wrong", "slip"),
        [({"every": 0}, "no interval"), ({"opens_machine": True, "power": "on", "who": "qualified person"}, "power and gas off"),
         ({"opens_machine": True, "power": "off"}, "qualified person")],
    )  # fmt: skip
    def test_refuses_a_task_that_cannot_be(self, wrong, slip):
        with pytest.raises(InputError, match=slip):
            Task(**{"key": "x", "name": "x", "every": 10, "per": "days", **wrong})


class TestBox:
    def test_full_date_is_left_over_rate_and_empty_by_is_the_early_end(self):
        due = box_full("1", capacity=2000, pieces_now=800, spans=_hours(per_week=120, wobble=10), today=TODAY)
        assert abs(due.on - (TODAY + timedelta(weeks=10))) <= timedelta(days=1)
        assert due.empty_by < due.on < due.high
        assert f"empty it by {due.empty_by}" in due.says

    def test_a_full_box_is_emptied_now(self):
        assert box_full("1", capacity=500, pieces_now=512, spans=(), today=TODAY).empty_by == TODAY

    def test_unknown_capacity_is_not_guessed(self):
        with pytest.raises(NotIdentified, match="enter it"):
            box_full("1", capacity=None, pieces_now=5, spans=_hours(), today=TODAY)
        with pytest.raises(InputError, match="pieces"):
            box_full("1", capacity=0, pieces_now=5, spans=_hours(), today=TODAY)

    def test_emptying_by_the_early_end_is_soon_enough_nine_times_in_ten(self):
        """400 boxes of Poisson trade with a lasting level: the box is not full before ``empty_by`` in 90 %."""
        rng = np.random.default_rng(9)
        safe = []
        for _ in range(400):
            level = 120 * np.exp(rng.normal(0, 0.3))
            week = rng.poisson(level * np.exp(rng.normal(0, 0.06, 44)))
            first = TODAY - timedelta(weeks=20)
            spans = [Span(first=first + timedelta(weeks=k), last=first + timedelta(weeks=k + 1), amount=float(a))
                     for k, a in enumerate(week[:20])]  # fmt: skip
            due = box_full("1", capacity=int(level * 10), pieces_now=0, spans=spans, today=TODAY)
            run = np.concatenate([[0.0], np.cumsum(week[20:])])
            full = TODAY + timedelta(days=float(np.interp(level * 10, run, 7.0 * np.arange(run.size))))
            safe.append(due.empty_by <= full)
        assert np.mean(safe) >= 0.90
