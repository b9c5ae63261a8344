"""What is wrong with a sheet or a store file, all at once."""

import msgspec
import pytest
from invented import SHEETS, hazel, line, rowan, seconds, store, willow

from drybank.control import check_sheet, check_store
from drybank.records.sheet import Change, Grid, SaleRule, SheetCounter
from drybank.records.store import Heat, InputSaid, Opening, Pocket, Trade

replace = msgspec.structs.replace


@pytest.mark.parametrize("sheet", [willow(), hazel(), rowan()], ids=lambda s: s.key)
def test_a_sound_sheet_has_no_mistakes(sheet):
    assert check_sheet(sheet) == ()


def said(sheet):
    return "\n".join(e.sentence() for e in check_sheet(sheet))


def with_line(new, sheet=None):
    sheet = sheet or hazel()
    return replace(sheet, settings=(*sheet.settings, new))


CHOICE = Grid(unit="choice", lowest=0, highest=1)


@pytest.mark.parametrize(
    ("new", "says"),
    [
        (line("x", "brightness", Grid(unit="count", lowest=5, highest=1)), "It holds nothing: lowest 5, highest 1"),
        (line("x", "brightness", Grid(unit="count", lowest=1, highest=5, increment=0)), "The increment is 0"),
        (line("x", "brightness", Grid(unit="count", lowest=0, highest=10**9)), "more values than any setting"),
        (line("x", "brightness", Grid(unit="count", lowest=1, highest=8, increment=2)), "The last is 7"),
        (line("x", "brightness", Grid(unit="count", lowest=-1, highest=8)), "-1 is below nothing"),
        (line("x", "brightness", Grid(unit="count", lowest=1, highest=8, factory=9)), "factory value 9"),
        (line("x", "brightness", Grid(unit="min", lowest=1, highest=8)), "A brightness cannot be in “min”"),
        (line("x", "brightness"), "states no values"),
        (line("x", "brightness", CHOICE, CHOICE, choices=("low", "high")), "More than one range"),
        (line("x", "brightness", CHOICE, choices=("low",)), "reaches past its words"),
        (line("x", "brightness", CHOICE), "names none"),
        (line("x", "door rule", CHOICE, choices=("clock runs", "stands")), "“stands” is not understood"),
        (line("x", "time per piece", seconds("s", 0, 9), input="top"), "There is no input “top”"),
        (line("x", "time per piece", seconds("s", 0, 9), input="slot"), "the same purpose, input and heat"),
        (line("x", "cool-down end temperature", Grid(unit="°C", lowest=30, highest=50), input="slot"), "is not of one input"),
        (line("x", "time by heat", seconds("s", 0, 9)), "is of one heat"),
        (line("x", "temperature", Grid(unit="°C", lowest=30, highest=50), heat=3), "numbered 1, 3"),
        (line("x", "top-up limit", seconds("min", 0, 9)), "without saying what it does"),
        (line("x", "held-money timeout", seconds("s", 1, 9)), "never looks at a held-money timeout"),
        (line("x", "time per value", seconds("s", 1, 9)), "how much money this time is for"),
        (line("x", "brightness", Grid(unit="count", highest=9), change=Change(way="digits", say="Type {what}")), "{what} is not known"),
        (line("x", "brightness", Grid(unit="count", highest=9), change=Change(way="digits", say="Type {steps}")), "no meaning for the way"),
        (line("x", "brightness", Grid(unit="count", highest=9), change=Change(way="digits", say="Type {value")), "not closed"),
        (line("x", "brightness", Grid(unit="count", highest=9), change=Change(way="turns", say="Turn", goes="up")), "never comes back"),
        (line("hot", "brightness", Grid(unit="count", highest=9)), "stands there 2 times"),
        (line("a.b", "brightness", Grid(unit="count", highest=9)), "cannot be a key"),
    ],
)  # fmt: skip
def test_a_faulty_line_is_named(new, says):
    assert says in said(with_line(new))


@pytest.mark.parametrize(
    ("sale", "says"),
    [
        (SaleRule(start="first time"), "needs a setting for first time"),
        (SaleRule(start="sum", credit="per value"), "needs a setting for time per value"),
        (SaleRule(start="sum", below_start="dropped"), "needs a setting for held-money timeout"),
        (SaleRule(start="sum", free="switch"), "needs a setting for free drying"),
        (SaleRule(start="sum", free="hours"), "needs a setting for free from hour"),
        (SaleRule(start="sum", free="no start price"), "its start price cannot be nothing"),
    ],
)
def test_a_sale_rule_that_wants_what_is_not_there(sale, says):
    assert says in said(replace(hazel(), sale=sale))


def test_counters_meters_and_inputs():
    bad = replace(
        hazel(), revision=" ", inputs=(),
        counters=(SheetCounter(key="hours", name="x", inputs=("slot",), rolls_over_at=3), SheetCounter(key="k", name="k", inputs=(), rolls_over_at=100)),
    )  # fmt: skip
    text = said(bad)
    for part in (
        "has no revision",
        "has no input",
        "which is no input",
        "It counts no input",
        "It is 3.",
        "“hours”: It stands there 2 times",
    ):
        assert part in text


def test_a_start_price_and_start_pieces_for_all_are_two_masters():
    sheet = with_line(line("x", "start price", seconds("minor", 0, 100)))
    both = replace(sheet, settings=tuple(replace(s, input="") if s.key == "coins-first" else s for s in sheet.settings))
    assert "Keep one of them" in said(both)


def test_a_sound_store_has_no_mistakes():
    assert check_store(store(), SHEETS) == ()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"coins": (25,)}, "inputs “1.right”: It takes a coin of 100, which the store does not accept"),
        ({"coins": (25, 25, 100)}, "coins[0]"),
        ({"inputs": store().inputs[1:]}, "inputs “1.left”: It is not said what its piece is worth"),
        ({"heats": store().heats[:1]}, "A control of this store has a heat 2"),
        ({"heats": (*store().heats, Heat(number=3, name="Low"))}, "No control of this store has a heat 3"),
        ({"heats": (Heat(number=2, name="A"), Heat(number=1, name="a"))}, "Two heats have one name"),
        ({"hours": (Opening(days=(), open="6", close="22:00"),)}, "hours[0].open: “6” is not a time of day"),
        ({"currency": "ABC"}, "“ABC” is not a currency"),
        ({"altitude_m": 9000.0}, "altitude_m"),
        ({"pockets": (*store().pockets[:-1], Pocket(key="10", fill_kg=0.0))}, "A drum for 0 kg"),
        ({"trade": Trade(need_minutes=(20.0,), need_share=(0.5,))}, "The shares add to 0.5"),
        ({"trade": Trade(need_minutes=(20.0,), heat_share=(1.0,))}, "1 shares for 2 heats"),
        ({"inputs": (*store().inputs[:-1], InputSaid(input="*.reader", means="card", piece_minor=25, takings="statement"))}, "Name the account"),
    ],
)  # fmt: skip
def test_a_faulty_store_is_named(more, says):
    assert says in "\n".join(e.sentence() for e in check_store(store(**more), SHEETS))


def test_the_faults_of_its_sheets_stand_with_those_of_the_store():
    bad = {**SHEETS, "hazel": replace(hazel(), revision="")}
    text = "\n".join(e.sentence() for e in check_store(store(altitude_m=9999.0), bad))
    assert "sheet hazel: revision" in text
    assert "altitude_m" in text
