"""House settings to a sheet's own values and back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import SHEETS, degrees, line, money, seconds, span, store

from drybank.control import (
    from_sheet,
    grid_of,
    held,
    layout,
    pieces_to_start,
    rate_statement,
    sell,
    time_for,
    to_sheet,
)
from drybank.control.house import scale_of
from drybank.records.control import Paid
from drybank.records.errors import InputErrors
from drybank.records.sheet import ControlSheet, HouseValue, SaleRule, SheetInput
from drybank.records.store import InputSaid, Machine, Pocket, Units

LAID = layout(store(), SHEETS)
HOUSE = (
    money("start price", 75), span("time per piece", 360, piece_minor=25), span("time per piece", 1440, piece_minor=100),
    span("first time", 1080), span("cool-down time", 120), degrees(66, "°C"),
)  # fmt: skip


def refused(control, house, laid=LAID):
    with pytest.raises(InputErrors) as caught:
        to_sheet(laid, control, house)
    return caught.value.sentence()


def test_the_same_house_settings_on_three_kinds_of_control():
    """A start price as pieces, a first time as a sum, a time per piece as a time by value."""
    assert to_sheet(LAID, "1", HOUSE) == {
        "warmth-1": 66, "start-money": 3, "opening": 180, "left-slot": 60, "right-slot": 240, "cooling": 4,
    }  # fmt: skip
    assert to_sheet(LAID, "3", HOUSE) == {"coin-clock": 24, "coins-first": 3, "hot": 66, "end-cool": 2}
    without_heat = tuple(h for h in HOUSE if h.base != "°C")
    assert to_sheet(LAID, "m3", without_heat) == {"price": 15, "pace": 360, "rest": 8}


def test_a_first_time_that_is_not_the_sum_is_refused_where_the_control_sums():
    house = (*(h for h in HOUSE if h.purpose != "first time"), span("first time", 1200))
    assert "A start gives 18 min here" in refused("3", house)


def test_a_start_price_that_no_pieces_make_is_refused():
    assert "control 3, coins first" in refused("3", (money("start price", 80),))


def test_off_grid_names_line_value_range_and_nearest():
    text = refused("3", (span("time per piece", 400, piece_minor=25),))
    assert "control 3, coin clock: “6 min 40 s” cannot be set." in text
    assert "Nearest: 6 min or 7 min." in text


def test_every_line_that_cannot_be_held_is_named():
    assert (
        refused(
            "3", (span("time per piece", 400, piece_minor=25), span("cool-down time", 90), degrees(60, "°C", 2))
        ).count("\n")
        == 2
    )


class TestScales:
    @pytest.mark.facts
    def test_a_plan_in_one_scale_is_refused_in_the_other_with_the_nearest(self):
        """150 °F on a control that states 45-75 °C beside 120-170 °F: no conversion (common practice, no source)."""
        text = refused("3", (degrees(150, "°F"),))
        assert "150 °F cannot be set: this control is set in °C" in text
        assert "Nearest in °C: 63 °C or 66 °C" in text

    def test_a_bank_of_two_scales_carries_a_line_for_each(self):
        both = (degrees(66, "°C"), degrees(140, "°F"))
        assert to_sheet(LAID, "3", both) == {"hot": 66}
        assert to_sheet(LAID, "m3", both) == {"warm": 140}

    def test_a_control_with_both_scales_follows_the_store_unless_it_is_set_otherwise(self):
        assert scale_of(LAID, "3") == "°C"
        assert scale_of(layout(store(units=Units(temperature="F")), SHEETS), "3") == "°F"
        assert scale_of(LAID, "3", {"degrees": 0}) == "°F"
        word = HouseValue(purpose="temperature scale", base="choice", word="°F")
        assert to_sheet(LAID, "3", (degrees(150, "°F"), word)) == {"hot": 150, "degrees": 0}


class TestWithoutASetting:
    def test_nothing_wanted_of_what_it_has_not_is_held(self):
        off = HouseValue(purpose="free drying", base="choice", word="off")
        assert to_sheet(LAID, "3", (off, span("top-up limit", 0))) == {}

    def test_what_customers_pay_or_get_is_refused(self):
        assert "no setting for “top-up limit”" in refused("3", (span("top-up limit", 3600),))
        assert "no setting for “free drying”" in refused(
            "3", (HouseValue(purpose="free drying", base="choice", word="on"),)
        )

    def test_what_no_sign_speaks_of_is_left_out(self):
        assert to_sheet(LAID, "3", (span("anti-crease time", 600),)) == {}

    def test_a_coin_that_it_does_not_take_is_not_its_business(self):
        assert to_sheet(LAID, "3", (span("time per piece", 1440, piece_minor=100),)) == {}

    def test_a_first_time_follows_the_sum_when_the_house_gives_none(self):
        assert to_sheet(LAID, "1", tuple(h for h in HOUSE if h.purpose != "first time"))["opening"] == 180


@st.composite
def control_values(draw):
    """A control and any values on its grids."""
    control = draw(st.sampled_from(["1", "3", "m3"]))
    sheet = LAID.sheets[LAID.controls[control].sheet]
    values = {}
    scale = ""
    for one in sheet.settings:
        if one.purpose == "temperature scale":
            values[one.key] = draw(st.integers(0, 1))
            scale = one.choices[values[one.key]]
    for one in sheet.settings:
        if one.key not in values:
            options = held(grid_of(one, scale if one.purpose == "temperature" and len(one.grids) > 1 else ""))
            values[one.key] = options[draw(st.integers(0, 10_000)) % len(options)]
    return control, values


@settings(max_examples=120, deadline=None)
@given(control_values())
def test_any_values_said_as_house_settings_are_set_again_alike(case):
    control, values = case
    assert to_sheet(LAID, control, from_sheet(LAID, control, values)) == values


@settings(max_examples=120, deadline=None)
@given(
    st.integers(0, 8),
    st.sampled_from([180, 240, 300, 360, 420, 480]),
    st.integers(0, 10),
    st.integers(0, 10),
    st.integers(45, 75),
)
def test_any_settable_plan_reads_back_equal(pieces, per_piece, cool_half_min, top, warm):
    """What each control can hold is told from its grids by hand; all of it comes back as it went in."""
    house = (
        money("start price", 25 * pieces), span("first time", pieces * per_piece), span("time per piece", per_piece, piece_minor=25),
        span("time per piece", 4 * per_piece, piece_minor=100), span("cool-down time", 30 * cool_half_min), degrees(warm, "°C"),
        degrees(110 + 3 * (warm % 13), "°F"), span("top-up limit", 600 * top),
    )  # fmt: skip
    can = {
        "1": 60 <= pieces * per_piece <= 3600 and top <= 9,
        "3": pieces >= 1 and top == 0 and cool_half_min % 2 == 0 and warm % 3 == 0,
        "m3": pieces >= 1 and top <= 9,
    }
    for control, is_settable in can.items():
        if not is_settable:
            assert refused(control, house)
            continue
        read = from_sheet(LAID, control, to_sheet(LAID, control, house), like=house)
        assert set(read) <= set(house)
        assert {"start price", "time per piece", "first time", "cool-down time", "temperature"} <= {
            h.purpose for h in read
        }


def test_a_difference_from_the_house_reads_back_in_its_words():
    values = {**to_sheet(LAID, "3", HOUSE), "coin-clock": 28, "coins-first": 2}
    read = from_sheet(LAID, "3", values, like=HOUSE)
    assert money("start price", 50) in read
    assert span("time per piece", 420, piece_minor=25) in read
    assert span("first time", 840) in read


class TestStaffKey:
    """A staff key is worth nothing: house settings have no words for it, and never touch it."""

    KEYED = ControlSheet(
        key="keyed", name="Keyed", revision="1", sale=SaleRule(start="sum"),
        inputs=(SheetInput(key="slot", name="Slot"), SheetInput(key="key", name="Key", means=("staff key",))),
        settings=(
            line("coin", "time per piece", seconds("min", 0, 60, factory=6), input="slot"),
            line("turn", "time per piece", seconds("min", 0, 60, factory=30), input="key"),
            line("shut", "coin lock-out", seconds("count", 0, 1, factory=0), input="slot"),
        ),
    )  # fmt: skip
    LAID = layout(
        store(
            banks=store().banks[:1], machines=(Machine(key="m", bank="a", sheet="keyed", pockets=("1",)),),
            pockets=(Pocket(key="1", fill_kg=15),), inputs=(InputSaid(input="*.slot", piece_minor=25),),
        ),
        [KEYED],
    )  # fmt: skip

    def test_its_time_is_neither_said_nor_set(self):
        said = from_sheet(self.LAID, "1", {"coin": 6, "turn": 30})
        assert said == (span("time per piece", 360, piece_minor=25),)
        assert to_sheet(self.LAID, "1", (span("time per piece", 480),)) == {"coin": 8}

    def test_it_still_sells_time(self):
        worth = {"slot": 25, "key": 0}
        assert time_for(self.KEYED, {"coin": 6, "turn": 30}, "key", 1, worth=worth) == 1800
        assert [r.piece_minor for r in rate_statement(self.LAID, "a", (span("time per piece", 480),)).rates] == [25]

    def test_a_locked_slot_takes_nothing_while_the_key_still_turns(self):
        worth = {"slot": 25, "key": 0}
        sale = sell(self.KEYED, {"shut": 1}, [Paid(0, "slot", 2), Paid(1, "key")], worth=worth)
        assert (sale.refused["slot"], sale.sold_s) == (2, 1800)
        assert time_for(self.KEYED, {"shut": 1}, "slot", 2, worth=worth) == 0
        assert pieces_to_start(self.KEYED, {"shut": 1}, "slot", worth=worth) is None
