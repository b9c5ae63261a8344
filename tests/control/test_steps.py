"""From found to set, in the sheet's own way."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import SHEETS, line, store

from drybank.control import layout, steps
from drybank.control.steps import presses
from drybank.records.errors import InputErrors
from drybank.records.sheet import Change, Grid

LAID = layout(store(), SHEETS)
HAZEL = {"coin-clock": 12, "coins-first": 1, "hot": 66, "end-cool": 2}


def test_only_what_differs_in_the_sheets_own_order_and_place():
    found = steps(LAID, "3", HAZEL, {"end-cool": 3, "coins-first": 3, "coin-clock": 20, "hot": 66})
    assert [(s.setting, s.how) for s in found] == [
        ("coin-clock", "Turn the dial up 2 marks, to 5 min."),
        ("coins-first", "Put the jumper on 3 pieces."),
        ("end-cool", "Type 3 for end cool."),
    ]
    assert (found[0].found_says, found[0].to_set_says) == ("3 min", "5 min")
    assert {s.pocket for s in found} == {"3"}


def test_what_is_reached_in_one_place_stands_together():
    found = steps(LAID, "3", {}, {"hot": 60, "coin-clock": 12, "end-cool": 1, "coins-first": 2})
    assert [s.reached for s in found] == [
        "under the lid",
        "under the lid",
        "behind the front door",
        "behind the front door",
    ]
    assert [s.power for s in found] == ["off", "off", "either", "either"]


def test_a_setting_of_each_pocket_is_done_at_each_and_one_of_the_machine_once():
    found = steps(LAID, "m3", {"rest": 8, "warm": 110}, {"rest": 6, "warm": 140})
    assert [(s.setting, s.pocket) for s in found] == [("warm", ""), ("rest", "9"), ("rest", "10")]
    assert [s.pocket for s in steps(LAID, "m3", {"rest": 8}, {"rest": 6}, pockets=["10"])] == ["10"]


def test_what_was_not_read_is_said_so():
    (step,) = steps(LAID, "3", {"coin-clock": None}, {"coin-clock": 20})
    assert (step.found_says, step.steps) == ("not known", None)
    assert step.how == "Bring coin clock to 5 min, going by what it shows; what it held is not known."


def test_presses_go_the_shorter_way_round_where_the_setting_wraps():
    (step,) = steps(LAID, "m3", {"pace": 0}, {"pace": 3600}, pockets=["9"])
    assert (step.steps, step.direction, step.how) == (1, "down", "Press down 1 times until it shows 60 min.")


def test_refuses_a_value_off_the_grid_before_anyone_drives_out():
    with pytest.raises(InputErrors, match="cannot be set"):
        steps(LAID, "3", {}, {"coin-clock": 13})


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.integers(0, 60), min_size=2, max_size=12, unique=True), st.booleans(), st.sampled_from(["both", "up", "down"]),
    st.integers(0, 11), st.integers(0, 11),
)  # fmt: skip
def test_pressing_so_often_arrives(values, wraps, goes, start, stop):
    """The steps told, walked one by one along the marks, end on the value wanted; no shorter way exists."""
    marks = sorted(values)
    start, stop = start % len(marks), stop % len(marks)
    of = line(
        "k", "brightness", Grid(unit="count", values=tuple(values)), change=Change(way="presses", say="{steps}", wraps=wraps, goes=goes)
    )  # fmt: skip
    count, direction = presses(of, of.grids[0], marks[start], marks[stop])
    one = {"up": 1, "down": -1, "": 0}[direction]
    if count is None:
        assert not wraps
        assert goes == ("up" if stop < start else "down")
        return
    place = start
    for _ in range(count):
        place = (place + one) % len(marks) if wraps else place + one
        assert 0 <= place < len(marks)
    assert place == stop
    assert goes in ("both", direction) or count == 0
    assert count <= len(marks) - 1
    if wraps and goes == "both":
        assert count <= len(marks) / 2
