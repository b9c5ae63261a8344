"""The short list through the store's week."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import pytest

from drybank.plan import queue
from drybank.plan.gather.week import week_of_bank
from drybank.plan.outcome import weekly_minor
from drybank.plan.queue import need_table, through_traffic, week_settings
from drybank.plan.search.problem import middle
from drybank.records.errors import InputError
from drybank.records.plan import PlanLimits
from drybank.records.store import Bank, Opening, Pocket, Store

sys.path.insert(0, str(Path(__file__).parent))
from cast import inputs

SHOP = Store(
    key="m", name="Millbrook", time_zone="America/New_York", currency="USD", country="US", coins=(25,),
    hours=(Opening(days=("mon", "tue", "wed", "thu", "fri", "sat", "sun"), open="07:00", close="22:00"),),
    banks=(Bank(key="front", name="Front"),), machines=(), pockets=(),
)  # fmt: skip


def drums(number):
    return tuple(Pocket(key=str(i), fill_kg=12.0) for i in range(number))


def busy(pockets: int, **changes):
    asked = inputs(**changes)
    week = week_of_bank(SHOP, "front", asked.loads, asked.loads_per_week.value, drums(pockets), ())
    return msgspec.structs.replace(asked, traffic=week, pockets=pockets)


def ranked(asked):
    world = middle(asked)
    today = asked.today
    slow = msgspec.structs.replace(today, time_per_piece_s=600, first_time_s=2400)
    quick = msgspec.structs.replace(today, time_per_piece_s=300, first_time_s=1200)
    rows = [(s, weekly_minor(asked, s, world)) for s in (today, slow, quick)]
    return sorted(rows, key=lambda r: -r[1])


@pytest.fixture(scope="module")
def crowded():
    return busy(7)


class TestWeek:
    def test_brings_the_stated_loads_in_opening_hours_only(self):
        """600 loads a week over a mean of 1.98 loads a customer: 303 customers, none from 22:00 to 07:00."""
        week = busy(12).traffic
        assert sum(week.arrivals.by_hour) == pytest.approx(600 / 1.98, rel=1e-9)
        closed = [week.arrivals.by_hour[24 * d + h] for d in range(7) for h in (*range(7), 22, 23)]
        assert set(closed) == {0.0}

    def test_hours_past_midnight_belong_to_the_next_day(self):
        night = msgspec.structs.replace(SHOP, hours=(Opening(days=("sun",), open="22:30", close="02:00"),))
        asked = inputs()
        week = week_of_bank(night, "front", asked.loads, 600.0, drums(4), ())
        assert {h for h, v in enumerate(week.arrivals.by_hour) if v > 0} == {166, 167, 0, 1}

    def test_a_store_without_hours_gets_no_week(self):
        asked = inputs()
        assert week_of_bank(msgspec.structs.replace(SHOP, hours=()), "front", asked.loads, 600.0, drums(4), ()) is None

    def test_needs_of_the_week_are_needs_of_the_loads(self, crowded):
        table = need_table(crowded, crowded.today, middle(crowded))
        assert len(table.need_s) == len(table.load_kg) == 9
        assert all(len(row) == 10 for row in table.need_s)
        low, high = crowded.loads.need_s.min(), crowded.loads.need_s.max()
        assert all(low <= v <= high for row in table.need_s for v in row)

    def test_several_banks_want_their_settings(self, crowded):
        pockets = tuple(msgspec.structs.replace(p, bank=i % 2) for i, p in enumerate(crowded.traffic.pockets))
        two = msgspec.structs.replace(crowded, traffic=msgspec.structs.replace(crowded.traffic, pockets=pockets))
        with pytest.raises(InputError, match="the week has 2 banks"):
            week_settings(two, two.today, middle(two))


class TestShortList:
    def test_none_without_a_week(self):
        asked = inputs()
        assert through_traffic(asked, ranked(asked)) is None

    def test_the_choice_is_the_best_after_queues(self, crowded):
        got = through_traffic(crowded, ranked(crowded))
        world = middle(crowded)
        after = {s: b - queue._run(crowded, s, world).cost_minor for s, b in ranked(crowded)}
        assert after[got.setting] == pytest.approx(max(after.values()))

    def test_a_setting_left_out_could_not_have_won_by_more_than_is_said(self, crowded, monkeypatch):
        monkeypatch.setattr(queue, "CANDIDATES", 1)
        got = through_traffic(crowded, ranked(crowded))
        assert got.report.candidates == 1
        world = middle(crowded)
        after = [b - queue._run(crowded, s, world).cost_minor for s, b in ranked(crowded)]
        mine = next(b for s, b in ranked(crowded) if s == got.setting) - got.report.cost_minor
        assert max(after) - mine <= got.cut_minor + 1e-6

    def test_no_more_are_run_than_could_win(self):
        """With pockets to spare nobody is lost in line, so the first of the list wins at once."""
        got = through_traffic(busy(60), ranked(busy(60)))
        assert got.report.candidates == 1
        assert got.cut_minor == 0

    def test_a_limit_on_waiting_is_kept_or_said_to_be_out_of_reach(self):
        limits = PlanLimits(wait_p95_s=60.0, heat_step_at_most_c=None)
        short = busy(4, limits=limits)
        got = through_traffic(short, ranked(short))
        assert got.report.keeps_wait_limit is False
        assert "No setting on the short list keeps the limit of 1 min" in got.report.says
        wide = busy(60, limits=limits)
        assert through_traffic(wide, ranked(wide)).report.keeps_wait_limit is True

    def test_fewer_pockets_never_lose_fewer_customers(self):
        lost = [through_traffic(busy(n), ranked(busy(n))[:1]).report.lost.value for n in (5, 8, 14)]
        assert lost == sorted(lost, reverse=True)
