"""The checks on settings: each passes, fails or notices for the reason it states."""

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import SHEETS, degrees, hazel, line, money, rowan, seconds, span, store, willow

from drybank.control import care_limit, check_settings, layout, time_for, to_sheet, worth
from drybank.control.checks import is_reachable
from drybank.records.sheet import ControlSheet, Grid, HouseValue, SaleRule, SheetInput
from drybank.records.store import Bank, Constraints, Heat, InputSaid, Machine, Pocket, Trade

GOOD = (
    money("start price", 100), span("time per piece", 360, piece_minor=25), span("time per piece", 1440, piece_minor=100),
    span("first time", 1440), span("cool-down time", 120), degrees(74, "°C"), degrees(55, "°C", 2), span("top-up limit", 0),
    span("held-money timeout", 60),
)  # fmt: skip


def one_bank(sheet, *, inputs=(), **more):
    """A store of one bank and one machine of a sheet."""
    return layout(
        store(
            banks=(Bank(key="a", name="A"),), machines=(Machine(key="m", bank="a", sheet=sheet.key, pockets=("1",)),),
            pockets=(Pocket(key="1", fill_kg=15),), inputs=inputs or tuple(i for i in store().inputs if i.input[2:] in {x.key for x in sheet.inputs}),
            **more,
        ),
        {sheet.key: sheet},
    )  # fmt: skip


def checked(laid, house, **more):
    return {c.key: c for c in check_settings(laid, "a", house, **more)}


WILLOW = one_bank(willow())


def without(*purposes, house=GOOD):
    return tuple(h for h in house if h.purpose not in purposes)


def test_good_settings_pass_every_check():
    found = checked(WILLOW, GOOD)
    assert {k: c.verdict for k, c in found.items()} == dict.fromkeys(found, "passed")
    assert all(c.reason for c in found.values())


class TestPricePerMinute:
    @pytest.mark.facts
    def test_shows_the_spread_of_two_slots(self):
        """10 c for 3 min 20 s beside 25 c for 8 min (common practice, no source): 3.000 and 3.125 c a minute, 20.0 against
        19.2 seconds a cent, 4.2 % (recomputed: 3.125/3 = 1.0417; stated as about 4 %)."""
        sheet = ControlSheet(
            key="two", name="Two", revision="1", sale=SaleRule(start="sum"),
            settings=(
                line("a", "time per piece", seconds("s", 0, 900, 20), input="dime"),
                line("b", "time per piece", seconds("half min", 0, 60), input="quarter"),
            ),
            inputs=(SheetInput(key="dime", name="Dime"), SheetInput(key="quarter", name="Quarter")),
        )  # fmt: skip
        said = (InputSaid(input="*.dime", piece_minor=10), InputSaid(input="*.quarter", piece_minor=25))
        laid = one_bank(sheet, inputs=said, coins=(10, 25))
        found = checked(
            laid, (span("time per piece", 200, piece_minor=10), span("time per piece", 480, piece_minor=25))
        )
        check = found["price-per-minute"]
        assert check.verdict == "failed"
        for figure in ("3.000 c", "3.125 c", "20.0 seconds", "19.2 seconds", "4.2 %"):
            assert figure in check.reason

    def test_passes_where_every_piece_buys_alike(self):
        assert "4.167 c" in checked(WILLOW, GOOD)["price-per-minute"].reason


class TestStartPrice:
    def test_over_payment_with_one_kind_of_piece_is_a_notice(self):
        check = checked(WILLOW, (money("start price", 75), *without("start price")))["start-price"]
        assert check.verdict == "notice"
        assert "takes 1.00 CAD for a price of 0.75 CAD; what is over gives time" in check.reason

    def test_a_price_that_no_pieces_make_fails(self):
        said = (
            InputSaid(input="*.coins", piece_minor=25),
            InputSaid(input="*.reader", means="card", piece_minor=25, account="x"),
        )
        check = checked(
            one_bank(rowan(), inputs=said), (money("start price", 40), span("time per value", 480, piece_minor=25))
        )["start-price"]
        assert check.verdict == "failed"
        assert "No pieces come to 0.40 CAD" in check.reason

    @settings(max_examples=200, deadline=None)
    @given(st.integers(0, 400), st.lists(st.sampled_from([5, 7, 10, 12, 20, 25, 50, 100]), max_size=3))
    def test_reachable_is_what_a_plain_count_says(self, amount, pieces):
        sums = {0}
        for piece in pieces:
            sums = {s + piece * n for s in sums for n in range(400 // piece + 1)}
        assert is_reachable(amount, pieces) == (amount in sums)


class TestFirstStart:
    def test_counts_heated_minutes_not_sold_ones(self):
        check = checked(
            WILLOW, (span("first time", 1260), span("cool-down time", 120), *without("first time", "cool-down time"))
        )["first-start"]
        assert check.verdict == "failed"
        assert "sells 21 min, 2 min of it cooling down: 19 min with heat" in check.reason
        assert "At least 20 min are needed (the shortest drying need of this store)" in check.reason

    def test_states_its_assumption_where_the_store_states_no_need(self):
        check = checked(one_bank(willow(), trade=Trade()), GOOD)["first-start"]
        assert "assumed: common practice, no source" in check.reason

    def test_a_least_can_be_asked_for(self):
        assert checked(WILLOW, GOOD, least_heat_s=1321)["first-start"].verdict == "failed"
        assert checked(WILLOW, GOOD, least_heat_s=1320)["first-start"].verdict == "passed"


class TestHeats:
    @pytest.mark.facts
    def test_heats_in_5_degree_steps_lie_under_the_limits_their_names_say(self):
        """175 and 150 °F under two dots, 125 °F under one (common practice, no source), against 80 and 60 °C of the GINETEX
        table of textile care symbols (read)."""
        assert (care_limit("two dots", "°C"), care_limit("one dot", "°C")) == (80, 60)
        assert (care_limit("two dots", "°F"), care_limit("one dot", "°F")) == (176, 140)
        heats = (
            Heat(number=1, name="A", care="two dots"),
            Heat(number=2, name="B", care="two dots"),
            Heat(number=3, name="C", care="one dot"),
        )
        sheet = three_heats()
        laid = one_bank(sheet, heats=heats, inputs=(InputSaid(input="*.slot", piece_minor=25),))
        found = checked(laid, tuple(degrees(t, "°F", n) for n, t in enumerate((175, 150, 125), 1)))
        assert (found["care"].verdict, found["heats"].verdict) == ("passed", "passed")
        over = checked(laid, tuple(degrees(t, "°F", n) for n, t in enumerate((180, 150, 145), 1)))["care"]
        assert over.verdict == "notice"
        assert "A is set to 180 °F and labelled with two dots, whose exhaust limit is 176 °F." in over.reason
        assert "140 °F" in over.reason

    def test_out_of_order_fails(self):
        house = (degrees(74, "°C"), degrees(74, "°C", 2), *without("temperature"))
        assert "Hot 74 °C, Warm 74 °C" in checked(WILLOW, house)["heats"].reason

    def test_either_direction_is_an_order_but_dots_must_follow(self):
        house = (degrees(50, "°C"), degrees(60, "°C", 2), *without("temperature"))
        check = checked(WILLOW, house)["heats"]
        assert check.verdict == "failed"
        assert "Warm has one dot and is hotter than Hot with two" in check.reason
        plain = one_bank(willow(), heats=(Heat(number=1, name="Low"), Heat(number=2, name="High")))
        assert checked(plain, house)["heats"].verdict == "passed"


def three_heats():
    grid = Grid(unit="°F", lowest=100, highest=200, increment=5)
    return ControlSheet(
        key="three", name="Three", revision="1", sale=SaleRule(start="sum"), inputs=(SheetInput(key="slot", name="Slot"),),
        settings=(
            line("pace", "time per piece", seconds("min", 0, 60, factory=30), input="slot"),
            *(line(f"h{n}", "temperature", grid, heat=n) for n in (1, 2, 3)),
        ),
    )  # fmt: skip


class TestFree:
    def test_a_price_beside_a_free_switch_fails(self):
        said = (
            InputSaid(input="*.coins", piece_minor=25),
            InputSaid(input="*.reader", means="card", piece_minor=25, account="x"),
        )
        on = HouseValue(purpose="free drying", base="choice", word="on")
        laid = one_bank(rowan(), inputs=said)
        base = (span("time per value", 480, piece_minor=25), on)
        assert (
            "a start price of 0.75 CAD stands beside it"
            in checked(laid, (money("start price", 75), *base))["free"].reason
        )
        assert checked(laid, (money("start price", 0), *base, span("free time", 1500)))["free"].verdict == "passed"

    def test_no_start_price_where_the_control_cannot_dry_free_fails(self):
        house = (money("start price", 0), *without("start price"))
        assert "cannot dry free: any piece starts it" in checked(WILLOW, house)["free"].reason
        assert checked(one_bank(willow(free="no start price")), house)["free"].verdict == "passed"


class TestLimit:
    @pytest.mark.parametrize(
        ("limit", "verdict", "says"),
        [
            (0, "passed", "there is no limit"),
            (24 + 24, "passed", "whole time"),
            (24 + 3, "notice", "no further piece gets its whole time"),
            (24 + 26, "notice", "The last of 9 pieces of 0.25 CAD at control 1 gives 2 min of its 6 min."),
        ],
    )
    def test_a_piece_cut_short_by_the_limit_is_noticed(self, limit, verdict, says):
        check = checked(WILLOW, (span("top-up limit", 60 * limit), *without("top-up limit")))["limit"]
        assert (check.verdict, says in check.reason) == (verdict, True)

    def test_what_is_noticed_is_what_the_sale_rule_does(self):
        house = (span("top-up limit", 60 * 50), *without("top-up limit"))
        values, coins = to_sheet(WILLOW, "1", house), worth(WILLOW, "1")
        eighth, ninth, tenth = (time_for(willow(), values, "left", n, worth=coins) for n in (8, 9, 10))
        assert (ninth - eighth, tenth - ninth) == (120, 0)


def test_minutes_on_the_sign_are_whole_or_half():
    house = (span("time per piece", 366, piece_minor=25), *without("time per piece"))
    check = checked(WILLOW, house)["posted-minutes"]
    assert check.verdict == "failed"
    assert "6 min 6 s" in check.reason
    assert (
        checked(one_bank(willow(), constraints=Constraints(posted_minutes="any")), house)["posted-minutes"].verdict
        == "passed"
    )


def test_what_the_house_settings_do_not_say_is_listed_as_assumed():
    check = checked(WILLOW, without("held-money timeout"))["said"]
    assert check.verdict == "notice"
    assert "wait: 1 min (factory value)" in check.reason


def test_a_bank_that_cannot_be_signed_fails_with_the_nearest_split():
    laid = layout(store(), SHEETS)
    found = {c.key: c for c in check_settings(laid, "a", GOOD)}
    assert found["grid"].verdict == found["one-sign"].verdict == "failed"
    assert "Sign pocket 3 as a bank of their own" in found["grid"].mend


def test_nothing_is_judged_that_no_control_can_hold():
    found = checked(WILLOW, (degrees(900, "°C"), *without("temperature")))
    assert found["grid"].verdict == "failed"
    assert found["price-per-minute"].verdict == "notice"
    assert "no control of the bank can hold" in found["price-per-minute"].reason


class TestWaivers:
    def test_a_failed_check_is_waived_with_its_reason_and_still_says_what_it_found(self):
        house = (span("time per piece", 366, piece_minor=25), *without("time per piece"))
        check = checked(WILLOW, house, waived={"posted-minutes": "Old sign until June."})["posted-minutes"]
        assert (check.verdict, check.waiver) == ("waived", "Old sign until June.")
        assert "6 min 6 s" in check.reason

    def test_a_check_that_passes_needs_no_waiver(self):
        check = checked(WILLOW, GOOD, waived={"heats": "why not"})["heats"]
        assert (check.verdict, check.waiver) == ("passed", "")


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(-5, 5000)), max_size=5))
def test_any_house_settings_get_a_verdict_with_a_reason(changes):
    house = list(GOOD)
    for place, value in changes:
        house[place] = msgspec.structs.replace(house[place], value=value)
    for check in check_settings(layout(store(), SHEETS), "a", tuple(house)):
        assert check.verdict in ("passed", "notice", "failed")
        assert check.reason


def test_start_pieces_need_no_change_of_coins():
    laid = one_bank(hazel(), inputs=(InputSaid(input="*.slot", piece_minor=25),))
    assert (
        checked(laid, (money("start price", 75), span("time per piece", 480, piece_minor=25)))["start-price"].verdict
        == "passed"
    )
