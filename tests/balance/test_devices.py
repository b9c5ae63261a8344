"""Counters followed through time, and counters chosen so that each piece is counted once."""

import numpy as np
import pytest

from drybank.balance.audit.devices import follow
from drybank.balance.audit.held import what_was_held
from drybank.balance.audit.story import Shown, Story, Swapped, tell
from drybank.balance.audit.units import covering, groups
from drybank.control.layout import layout
from drybank.records.sheet import SheetCounter
from tests.balance.houses import ELM, START, house, posted, story


def shown(values, days=7.0):
    return [Shown(k * days, v, f"e{k}") for k, v in enumerate(values)]


def total(trace):
    return trace.total[-1] - trace.total[0]


STEADY = [100, 300, 510, 700, 905, 1110, 1300, 1515]


def test_plain_readings_add_up():
    assert total(follow("a", shown(STEADY), [], size=10_000)) == 1415


def test_a_roll_over_is_bridged():
    values = [v % 1000 for v in STEADY]
    trace = follow("a", shown(values), [], size=1000)
    assert total(trace) == 1415
    assert not trace.odd


def test_an_exchange_with_its_figures_carries_on():
    values = [*STEADY[:4], 5105, 5310]
    swap = Swapped(24.0, "a", {"a": 800}, {"a": 5000})
    trace = follow("a", shown(values), [swap], size=10_000)
    assert total(trace) == (700 - 100) + 100 + 105 + 205
    assert len(set(trace.stretch)) == 1


def test_an_exchange_without_the_last_figure_breaks_the_line():
    values = [*STEADY[:4], 5105, 5310]
    swap = Swapped(24.0, "a", {"a": None}, {"a": 5000})
    trace = follow("a", shown(values), [swap], size=10_000)
    assert len(set(trace.stretch)) == 2
    assert np.isnan(trace.between(0.0, 35.0)[0])
    assert trace.between(28.0, 35.0)[0] == 205


def test_between_readings_the_total_is_laid_straight():
    trace = follow("a", shown(STEADY), [], size=10_000)
    value, _, gap = trace.look(10.5)
    assert value == pytest.approx(305.0)
    assert gap == pytest.approx(3.5)


def test_far_beyond_the_last_reading_nothing_is_known():
    trace = follow("a", shown(STEADY), [], size=10_000)
    assert np.isnan(trace.look(60.0)[0])
    assert trace.look(49.1)[0] == pytest.approx(total(trace) + 0.1 * 215 / 7)


def test_a_slip_is_left_out_and_bridged():
    values = [*STEADY[:5], 9110, *STEADY[6:]]
    trace = follow("a", shown(values), [], size=10_000)
    assert total(trace) == 1415
    assert [o.entry for o in trace.odd] == ["e5"]


def test_a_device_without_readings_is_empty():
    trace = follow("a", [], [], size=10_000)
    assert trace.at == []
    assert np.isnan(trace.look(3.0)[0])


class TestCovering:
    def overlapping(self):
        both = SheetCounter(key="all", name="All", inputs=("slot",), rolls_over_at=10_000)
        sheet = type(ELM)(**{**{f: getattr(ELM, f) for f in ELM.__struct_fields__}, "counters": (*ELM.counters, both)})
        return layout(house(pockets=1).store, [sheet])

    def test_of_two_counters_of_one_slot_one_is_taken(self):
        at = self.overlapping()
        chosen, why = covering(at, ("1.slot",), at.counters)
        assert len(chosen) == 1
        assert why == ""

    def test_an_input_without_a_counter_is_told(self):
        at = house("fir", pockets=1)
        chosen, why = covering(at, ("1.slot", "1.reader"), at.counters)
        assert chosen == ()
        assert "no counter counts it" in why

    def test_every_pocket_of_a_store_is_in_one_group(self):
        at = house(pockets=7)
        found = groups(at, [])
        assert sorted(p for g in found for p in g.pockets) == sorted(at.pockets)


class TestHeld:
    def test_a_plan_holds_from_its_day_at_every_control(self):
        at = house(pockets=2)
        entries, _ = story(at, weeks=1, base=0)
        held, missing, assumed = what_was_held(at, tell(entries, "America/Chicago"))
        assert held["1"].at(START.timestamp() / 86_400)["1.slot"] == 360.0
        assert not missing
        assert not assumed

    def test_nothing_on_file_is_assumed_and_told(self):
        held, _, assumed = what_was_held(house(pockets=2), Story())
        assert held["2"].at(0.0)["2.slot"] == 360.0
        assert "2" in assumed[0].taken

    def test_first_time_and_cool_down_after_are_spread_over_the_pieces(self):
        from drybank.balance.audit.held import seconds_of_piece
        from drybank.control.terms import terms

        at = house(pockets=1)
        now = terms(at.sheets["elm"], {"clock": 12, "first": 2})
        later = type(now)(
            **{**{f: getattr(now, f) for f in now.__struct_fields__}, "cool_down": "after", "cool_down_s": 120}
        )
        assert seconds_of_piece(now, "slot") == 360.0
        assert seconds_of_piece(later, "slot") == pytest.approx(380.0)
        assert posted()["n"][0].value == 360
