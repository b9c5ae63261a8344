"""The sheets laid over a store: keys, defaults, units, and every mistake at once."""

import pytest
from invented import SHEETS, Box, hazel, store

from drybank.control import controls_of, layout, worth
from drybank.records.errors import InputErrors
from drybank.records.store import CounterSaid, InputSaid, Machine, Pocket


def mistakes(**more):
    with pytest.raises(InputErrors) as caught:
        layout(store(**more), SHEETS)
    return caught.value.sentence()


def test_a_control_is_called_after_its_pocket_or_the_machine_it_serves():
    laid = layout(store(), SHEETS)
    assert list(laid.controls) == ["1", "2", "3", "m3"]
    assert laid.controls["m3"].pockets == ("9", "10")
    assert [c.key for c in controls_of(laid, "a")] == ["1", "2", "3"]


def test_inputs_counters_and_meters_have_keys_of_their_own():
    laid = layout(store(), SHEETS)
    assert laid.inputs["1.left"].piece_minor == 25
    assert laid.inputs["m3.reader"].account == "cards"
    assert laid.counters["1.all"].counts_value
    assert {"9.h", "10.h"} <= set(laid.meters)
    assert worth(laid, "1") == {"left": 25, "right": 100}


def test_each_control_has_a_box_unless_one_is_shared():
    laid = layout(store(boxes=(Box(key="twin", inputs=("1.left", "2.left"), capacity_pieces=900),)), SHEETS)
    assert laid.boxes["twin"].inputs == ("1.left", "2.left")
    assert laid.inputs["2.left"].box == "twin"
    assert laid.boxes["2.box"].inputs == ("2.right",)
    assert laid.inputs["m3.reader"].box == ""


def test_a_unit_is_closed_under_boxes_and_counters():
    alone = layout(store(), SHEETS)
    assert [u.controls for u in alone.units] == [("1",), ("2",), ("3",), ("m3",)]
    tied = layout(store(boxes=(Box(key="twin", inputs=("1.left", "3.slot")),)), SHEETS)
    assert [u.controls for u in tied.units] == [("1", "3"), ("2",), ("m3",)]
    assert tied.units[0].boxes == ("twin", "1.box")
    for unit in tied.units:
        for box in unit.boxes:
            assert set(tied.boxes[box].inputs) <= set(unit.inputs)
        for counter in unit.counters:
            assert set(tied.counters[counter].inputs) <= set(unit.inputs)


def test_every_pocket_input_counter_and_box_is_in_exactly_one_unit():
    laid = layout(store(boxes=(Box(key="all", inputs=("*.left",)),)), SHEETS)
    for field, whole in (
        ("inputs", laid.inputs),
        ("counters", laid.counters),
        ("boxes", laid.boxes),
        ("pockets", laid.pockets),
    ):
        assert sorted(k for u in laid.units for k in getattr(u, field)) == sorted(whole)


def test_an_own_line_wins_over_a_star():
    given = (*store().inputs, InputSaid(input="2.left", piece_minor=100))
    laid = layout(store(inputs=given), SHEETS)
    assert (laid.inputs["1.left"].piece_minor, laid.inputs["2.left"].piece_minor) == (25, 100)


def test_a_counter_can_be_wider_or_missing():
    said = (CounterSaid(key="1.left-count", rolls_over_at=100_000), CounterSaid(key="*.all", is_missing=True))
    laid = layout(store(counters=said), SHEETS)
    assert laid.counters["1.left-count"].rolls_over_at == 100_000
    assert laid.counters["2.left-count"].rolls_over_at == 10_000
    assert "1.all" not in laid.counters


def test_one_coin_in_the_store_needs_no_saying():
    laid = layout(
        store(coins=(25,), inputs=(), machines=(Machine(key="m", bank="a", sheet="hazel", pockets=("1",)),),
              pockets=(Pocket(key="1", fill_kg=15),)),
        [hazel()],
    )  # fmt: skip
    assert laid.inputs["1.slot"].piece_minor == 25


def test_all_mistakes_are_named_at_once_with_their_field():
    text = mistakes(
        machines=(
            Machine(key="m1", bank="x", sheet="willow", pockets=("1", "2")),
            Machine(key="m2", bank="a", sheet="oak", pockets=("3", "1")),
            Machine(key="m3", bank="b", sheet="rowan", pockets=()),
        ),
        boxes=(Box(key="q", inputs=("1.top",)),),
        inputs=(InputSaid(input="*.lefft", piece_minor=25), InputSaid(input="1.left", means="app")),
        counters=(CounterSaid(key="1.all", rolls_over_at=1),),
    )
    for part in (
        "machines[0].bank: There is no bank “x”", "machines[1].sheet: There is no control sheet “oak”",
        "Pocket 1 is also in machine m1", "machines[2].pockets: Machine m3 has no pocket", "pockets[3]: Pocket 9 is in no machine",
        "boxes[0].inputs: There is no input “1.top”", "inputs[0]: Nothing here is called “*.lefft”",
        "Left slot does not take a app", "counters “1.all”: It would start again",
    ):  # fmt: skip
        assert part in text


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (
            {"boxes": (Box(key="a1", inputs=("1.left",)), Box(key="a2", inputs=("1.left",)))},
            "already drops into box a1",
        ),
        ({"boxes": (Box(key="a1", inputs=("m3.reader",)),)}, "do not go to a box"),
        ({"boxes": (Box(key="1.box", inputs=("2.left",)),)}, "the key of a control's own box"),
        ({"pockets": (*store().pockets, Pocket(key="m3", fill_kg=9))}, "Pocket m3 is in no machine"),
        ({"pockets": (*store().pockets, Pocket(key="1.5", fill_kg=9))}, "cannot be a key"),
        ({"pockets": (*store().pockets, Pocket(key="1", fill_kg=9))}, "stands there twice"),
    ],
)
def test_refuses(more, says):
    assert says in mistakes(**more)
