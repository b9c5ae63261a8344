"""The sale rule: what every event does, what always holds, and the closed forms against it."""

import functools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import HAZEL_WORTH, ROWAN_WORTH, WILLOW_WORTH, hazel, linden, rowan, willow
from second_by_second import live

from drybank.control.rate import coin_plan, first_start, heated_s, pieces_to_start, price_per_minute, time_for
from drybank.control.sale import sell
from drybank.control.sheet import check_sheet
from drybank.records.control import DoorClosed, DoorOpened, HeatChosen, Paid, PowerBack, PowerCut, Pressed
from drybank.records.errors import InputError, InputErrors

WILLOW = {"start-money": 3, "opening": 180, "left-slot": 60, "right-slot": 240, "most": 0, "cooling": 4, "wait": 60}
HAZEL = {"coin-clock": 24, "coins-first": 2, "end-cool": 2}
ROWAN = {"price": 15, "pace": 480, "rest": 8, "gift": 0, "gift-time": 20, "cap": 0}


def sold(sheet, values, *events, **more):
    worth = {"willow": WILLOW_WORTH, "hazel": HAZEL_WORTH, "rowan": ROWAN_WORTH}[sheet.key]
    return sell(sheet, values, events, worth=worth, **more)


def kinds(sale):
    return [(s.kind, s.length_s) for s in sale.spans]


class TestStart:
    def test_first_time_is_given_when_the_start_price_is_reached(self):
        sale = sold(willow(), WILLOW, Paid(0, "left", 2), Paid(5, "left", 1))
        assert (sale.sold_s, sale.starts_s, sale.ends_s) == (1080, (5,), 1085)
        assert kinds(sale) == [("idle", 5), ("heat", 960), ("cool", 120)]

    def test_sum_gives_the_times_of_all_pieces(self):
        assert sold(hazel(), HAZEL, Paid(0, "slot", 2)).sold_s == 720

    def test_one_large_piece_over_the_start_price_buys_time_for_the_rest(self):
        """100 on a price of 75: a quarter of the piece is over, and a quarter of its 24 min is 6 min."""
        assert sold(willow(over_payment="time"), WILLOW, Paid(0, "right")).sold_s == 1080 + 360

    def test_over_payment_is_lost_where_the_sheet_says_so(self):
        assert sold(willow(over_payment="lost"), WILLOW, Paid(0, "right")).sold_s == 1080

    def test_over_payment_held_starts_the_next_sale_sooner(self):
        sheet = willow(over_payment="held")
        sale = sold(sheet, WILLOW, Paid(0, "right"), Paid(2000, "left"), Paid(2001, "left"))
        assert sale.starts_s == (0, 2001)
        assert sold(sheet, WILLOW, Paid(0, "right")).held_minor == 25

    def test_a_start_price_of_nothing_gives_the_first_time_free(self):
        """A start price of nothing means free time of a set length (common practice, no source)."""
        sheet, values = willow(free="no start price"), {**WILLOW, "start-money": 0}
        sale = sold(sheet, values, Pressed(10))
        assert (sale.sold_s, sale.free_s, sale.taken) == (1080, 1080, {"left": 0, "right": 0})
        assert pieces_to_start(sheet, values, "left", worth=WILLOW_WORTH) == 0

    def test_a_switch_gives_the_free_time(self):
        sale = sold(rowan(), {**ROWAN, "gift": 1}, Pressed(0))
        assert (sale.free_s, sale.heated_s, sale.cooled_after_s) == (1200, 1200, 120)

    def test_the_start_button_gives_nothing_more_while_the_drum_still_turns(self):
        sale = sold(rowan(), {**ROWAN, "gift": 1}, Pressed(0), Pressed(600), Pressed(1250), Pressed(1330))
        assert (sale.starts_s, sale.free_s) == ((0, 1330), 2400)

    def test_the_start_button_gives_nothing_where_drying_is_paid(self):
        assert sold(rowan(), ROWAN, Pressed(0)).sold_s == 0


class TestBelowStart:
    def test_money_is_dropped_after_its_time_out(self):
        sale = sold(willow(), WILLOW, Paid(0, "left", 2), Paid(60, "left"))
        assert (sale.lost["left"], sale.held["left"], sale.starts_s) == (2, 1, ())

    def test_money_a_second_sooner_still_counts(self):
        assert sold(willow(), WILLOW, Paid(0, "left", 2), Paid(59, "left")).starts_s == (59,)

    def test_held_money_waits_for_ever(self):
        assert sold(hazel(), HAZEL, Paid(0, "slot"), Paid(90_000, "slot")).starts_s == (90_000,)


class TestTopUp:
    @pytest.mark.parametrize(("at_limit", "sold_s", "refused"), [("capped", 1200, 0), ("refused", 1080, 1)])
    def test_limit_caps_or_refuses_the_piece_that_would_pass_it(self, at_limit, sold_s, refused):
        sale = sold(willow(at_limit=at_limit), {**WILLOW, "most": 20}, Paid(0, "left", 4))
        assert (sale.sold_s, sale.refused["left"]) == (sold_s, refused)

    def test_a_piece_fits_again_when_enough_time_has_run(self):
        sale = sold(willow(at_limit="refused"), {**WILLOW, "most": 20}, Paid(0, "left", 4), Paid(240, "left"))
        assert (sale.sold_s, sale.taken["left"], sale.refused["left"]) == (1440, 4, 1)

    def test_refused_while_time_runs_where_the_sheet_says_so(self):
        sale = sold(willow(top_up="refused"), WILLOW, Paid(0, "left", 5))
        assert (sale.sold_s, sale.refused["left"]) == (1080, 2)

    def test_a_piece_worth_no_time_is_refused_over_the_limit_too(self):
        values = {**WILLOW, "most": 2, "right-slot": 0}
        assert sold(willow(at_limit="refused"), values, Paid(0, "left", 3), Paid(0, "right")).refused["right"] == 1


class TestCoolDown:
    @pytest.mark.facts
    def test_inside_it_comes_at_the_end_of_the_whole_time_bought_not_of_each_coin(self):
        """A cool-down near 2 minutes at the end of all the time bought (common practice, no source; a sale rule)."""
        sale = sold(hazel(), HAZEL, Paid(0, "slot", 2), Paid(300, "slot", 3))
        assert kinds(sale) == [("heat", 5 * 360 - 120), ("cool", 120)]

    def test_after_it_follows_the_sold_time(self):
        sale = sold(rowan(), ROWAN, Paid(0, "coins", 3))
        assert kinds(sale) == [("heat", 1440), ("cool", 120)]
        assert (sale.sold_s, sale.cooled_after_s, sale.meters["h"]) == (1440, 120, 1440)

    def test_a_coin_during_it_brings_the_heat_back(self):
        sale = sold(hazel(), HAZEL, Paid(0, "slot", 2), Paid(650, "slot"))
        assert kinds(sale) == [("heat", 600), ("cool", 50), ("heat", 70 + 360 - 120), ("cool", 120)]

    def test_a_coin_during_it_is_refused(self):
        sale = sold(hazel(coin_in_cool_down="refused"), HAZEL, Paid(0, "slot", 2), Paid(650, "slot"))
        assert (sale.refused["slot"], sale.sold_s) == (1, 720)

    def test_a_new_sale_during_it_lets_the_rest_fall_away(self):
        sale = sold(hazel(coin_in_cool_down="new sale"), HAZEL, Paid(0, "slot", 2), Paid(650, "slot", 2))
        assert (sale.starts_s, sale.forgone_s, sale.sold_s) == ((0, 650), 70, 1440)

    def test_a_coin_after_sold_time_heats_again_and_cools_whole_at_the_end(self):
        sale = sold(rowan(), ROWAN, Paid(0, "coins", 3), Paid(1500, "coins"))
        assert kinds(sale) == [("heat", 1440), ("cool", 60), ("heat", 480), ("cool", 120)]


class TestDoorAndPower:
    def test_clock_runs_on_with_the_door_open(self):
        sale = sold(hazel(), HAZEL, Paid(0, "slot", 2), DoorOpened(100), DoorClosed(160))
        assert (sale.open_s, sale.heated_s, sale.motor_s, sale.ends_s) == (60, 540, 660, 720)

    def test_clock_stops_with_the_door_open(self):
        sale = sold(hazel(door="clock stops"), HAZEL, Paid(0, "slot", 2), DoorOpened(100), DoorClosed(160))
        assert (sale.open_s, sale.heated_s, sale.ends_s) == (0, 600, 780)

    def test_sale_begins_when_the_door_shuts(self):
        sale = sold(hazel(), HAZEL, DoorOpened(0), Paid(10, "slot", 2), DoorClosed(40))
        assert (sale.ends_s, sale.open_s) == (760, 0)

    def test_power_cut_loses_the_time_and_the_money_below_the_start(self):
        sale = sold(willow(), WILLOW, Paid(0, "left", 3), PowerCut(80), PowerBack(90), Paid(91, "left"), PowerCut(95))
        assert (sale.forgone_s, sale.lost["left"], sale.left_s) == (1000, 1, 0)

    def test_power_cut_keeps_the_time_where_the_sheet_says_so(self):
        sale = sold(willow(power_cut="time kept"), WILLOW, Paid(0, "left", 3), PowerCut(80), PowerBack(90))
        assert (sale.forgone_s, sale.ends_s) == (0, 1090)

    def test_no_piece_is_taken_without_power(self):
        assert sold(hazel(), HAZEL, PowerCut(0), Paid(1, "slot")).refused["slot"] == 1

    def test_no_heat_chosen_turns_in_air(self):
        sale = sold(hazel(), HAZEL, HeatChosen(0, 0), Paid(0, "slot", 2), HeatChosen(100, 1))
        assert (sale.aired_s, sale.heated_s, sale.meters["hours"]) == (100, 500, 720)


class TestCounting:
    def test_counters_move_by_pieces_and_by_value(self):
        sale = sold(willow(), WILLOW, Paid(0, "left", 3), Paid(1, "right", 2))
        assert sale.counts == {"left-count": 3, "all": 275}

    def test_refused_pieces_move_no_counter(self):
        sale = sold(willow(top_up="refused"), WILLOW, Paid(0, "left", 5))
        assert sale.counts["left-count"] == 3


class TestRefusals:
    def test_unknown_input(self):
        with pytest.raises(InputError, match="“top” is not an input"):
            sold(hazel(), HAZEL, Paid(0, "top"))

    def test_events_out_of_order(self):
        with pytest.raises(InputError, match="event 2"):
            sold(hazel(), HAZEL, Paid(9, "slot"), Paid(8, "slot"))

    def test_values_off_the_grid_and_unknown_settings_all_at_once(self):
        with pytest.raises(InputErrors) as caught:
            sold(hazel(), {"coin-clock": 25, "hue": 1})
        assert len(caught.value.errors) == 2
        assert "Nearest: 6 min or 7 min" in caught.value.sentence()

    def test_what_was_not_given_is_named_as_assumed(self):
        from drybank.control.terms import terms

        assert "coins first: 1 piece (factory value)" in terms(hazel(), {}, worth=HAZEL_WORTH).assumed


LINDEN = {"base-price": 4, "first": 20, "coin": 5, "token": 10}


def linden_sold(values, *events, clock=12, **rule):
    given_worth = {"coin": 25, "token": 100}
    return sell(
        linden(**rule), {**LINDEN, **values}, events, worth=given_worth, clock_s=None if clock is None else clock * 3600
    )


class TestRareSettings:
    def test_the_sheet_is_sound(self):
        assert check_sheet(linden()) == ()

    @pytest.mark.parametrize(("clock", "starts"), [(12, 0), (22, 1), (5, 1), (6, 0), (None, 0)])
    def test_a_price_by_hour_holds_in_its_hours_past_midnight_too(self, clock, starts):
        assert len(linden_sold({"late-price": 2}, Paid(0, "coin", 2), clock=clock).starts_s) == starts

    def test_an_hour_that_comes_while_money_waits_counts_with_the_next_piece(self):
        sale = linden_sold({"late-price": 3}, Paid(0, "coin", 2), Paid(7200, "coin"), clock=21)
        assert sale.starts_s == (7200,)

    def test_a_price_by_heat_wins_over_one_by_hour(self):
        values = {"late-price": 2, "hot-price": 6}
        assert linden_sold(values, HeatChosen(0, 2), Paid(0, "coin", 5), clock=23).starts_s == ()
        assert linden_sold(values, HeatChosen(0, 2), Paid(0, "coin", 6), clock=23).starts_s == (0,)

    def test_choosing_a_cheaper_heat_starts_with_the_money_that_waits(self):
        sale = linden_sold({"hot-price": 6}, HeatChosen(0, 2), Paid(0, "coin", 4), HeatChosen(9, 1))
        assert sale.starts_s == (9,)

    def test_a_piece_buys_the_time_of_the_heat_chosen(self):
        assert linden_sold({"coin-hot": 3}, Paid(0, "coin", 4), HeatChosen(1, 2), Paid(2, "coin")).sold_s == 1200 + 180

    def test_a_top_up_time_of_its_own_unless_nothing_means_as_at_the_start(self):
        assert linden_sold({"later": 7}, Paid(0, "coin", 5)).sold_s == 1200 + 420
        assert linden_sold({"later": 0}, Paid(0, "coin", 5)).sold_s == 1200 + 300

    def test_a_token_is_worth_what_the_control_is_set_to(self):
        assert linden_sold({"token-worth": 2}, Paid(0, "token")).starts_s == ()
        assert linden_sold({"token-worth": 2}, Paid(0, "token", 2)).starts_s == (0,)
        assert linden_sold({}, Paid(0, "token")).starts_s == (0,)

    def test_a_counter_moves_once_for_so_many_pieces(self):
        assert linden_sold({"per-count": 3}, Paid(0, "coin", 8)).counts == {"n": 2}
        assert linden_sold({}, Paid(0, "coin", 8), Paid(1, "token")).counts == {"n": 9}

    def test_free_hours_give_the_free_time(self):
        values = {"gift-from": 9, "gift-until": 11, "gift-time": 15}
        assert linden_sold(values, Pressed(0), clock=10).free_s == 900
        assert linden_sold(values, Pressed(0), clock=11).sold_s == 0
        assert linden_sold(values, Paid(0, "coin"), clock=9).sold_s == 900 + 300

    def test_the_motor_rests_in_reversing(self):
        """20 min of 50 s turning and 10 s at rest: a sixth of the time the motor stands."""
        sale = linden_sold({"turn": 50, "pause": 10}, Paid(0, "coin", 4))
        assert (sale.motor_s, sale.heated_s, sale.meters["h"]) == (1000, 1200, 1000)

    def test_anti_crease_turns_after_the_sold_time_till_the_door_opens(self):
        sale = linden_sold({"tumble": 10}, Paid(0, "coin", 4), DoorOpened(1260))
        assert (sale.anti_crease_s, sale.sold_s, sale.motor_s) == (60, 1200, 1260)
        assert linden_sold({"tumble": 10}, Paid(0, "coin", 4)).ends_s == 1800

    def test_the_lock_out_refuses_every_piece(self):
        assert linden_sold({"lock": 1}, Paid(0, "coin", 4)).refused["coin"] == 4

    def test_the_door_rule_as_set_wins_over_the_sheets_own(self):
        events = (Paid(0, "coin", 4), DoorOpened(10), DoorClosed(70))
        assert linden_sold({"door": 1}, *events).open_s == 0
        assert linden_sold({"door": 0}, *events).open_s == 60

    def test_it_begins_with_the_heat_it_is_set_to(self):
        assert linden_sold({"begin": 2}, Paid(0, "coin", 4)).spans[0].heat == 2

    def test_stopped_early_it_says_what_is_left(self):
        sale = sell(linden(), LINDEN, [Paid(0, "coin", 4)], worth={"coin": 25, "token": 100}, until_s=500)
        assert (sale.left_s, sale.heated_s, sale.ends_s) == (700, 500, None)


# -- what always holds ------------------------------------------------------------------------------------------------

WORDS = {
    "below_start": ("held", "dropped"),
    "over_payment": ("time", "lost", "held"),
    "top_up": ("adds", "refused"),
    "at_limit": ("refused", "capped"),
    "cool_down": ("inside", "after"),
    "coin_in_cool_down": ("heats again", "new sale", "refused"),
    "door": ("clock runs", "clock stops"),
    "power_cut": ("time lost", "time kept"),
}
RULES = math.prod(len(words) for words in WORDS.values())
GRIDS = {
    "willow": {
        "start-money": range(13), "opening": range(10, 601), "left-slot": range(301), "right-slot": range(601),
        "most": range(100), "cooling": range(21), "wait": range(10, 251, 10),
    },
    "hazel": {"coin-clock": (12, 16, 20, 24, 28, 32), "coins-first": range(1, 9), "end-cool": range(6)},
    "rowan": {
        "price": range(61), "pace": range(0, 601, 15), "rest": range(21), "gift": range(2), "gift-time": range(61), "cap": range(91),
    },
}  # fmt: skip


@functools.cache
def sheet_of(name, rule):
    """One of the invented sheets under rule number so many of all there are."""
    chosen = {}
    for word, options in WORDS.items():
        rule, place = divmod(rule, len(options))
        chosen[word] = options[place]
    if name == "willow":
        return willow(**chosen, free=("never", "no start price")[rule % 2])
    return {"hazel": hazel, "rowan": rowan}[name](**chosen)


@st.composite
def cases(draw):
    """A sheet under some rule, and values on its grids."""
    name = draw(st.sampled_from(sorted(GRIDS)))
    places = draw(st.lists(st.integers(0, 600), min_size=8, max_size=8))
    values = {key: grid[place % len(grid)] for (key, grid), place in zip(GRIDS[name].items(), places, strict=False)}
    return sheet_of(name, draw(st.integers(0, 2 * RULES - 1))), values


CASES = cases()
WORTH = {"left": 25, "right": 100, "slot": 25, "coins": 25, "reader": 30}


@st.composite
def histories(draw):
    """A sheet, its values and up to a dozen events in order."""
    sheet, values = draw(CASES)
    keys = [i.key for i in sheet.inputs]
    at, events = 0, []
    for gap, kind, size in draw(
        st.lists(st.tuples(st.integers(0, 900), st.integers(0, 11), st.integers(0, 6)), min_size=3, max_size=12)
    ):
        at += gap
        others = [Pressed(at), DoorOpened(at), DoorClosed(at), PowerCut(at), PowerBack(at), HeatChosen(at, size % 3)]
        events.append(others[kind] if kind < len(others) else Paid(at, keys[kind % len(keys)], size))
    return sheet, values, events


def worth_of(sheet):
    return {i.key: WORTH[i.key] for i in sheet.inputs}


@settings(max_examples=100, deadline=None)
@given(histories(), st.one_of(st.none(), st.integers(0, 12_000)))
def test_no_second_and_no_piece_vanishes(history, until_s):
    sheet, values, events = history
    sale = sell(sheet, values, events, worth=worth_of(sheet), until_s=until_s)
    ran = sale.heated_s + sale.aired_s + sale.cooled_sold_s + sale.open_s
    assert sale.sold_s == ran + sale.forgone_s + sale.left_s
    assert (
        0
        <= sale.motor_s
        <= sale.heated_s + sale.aired_s + sale.cooled_sold_s + sale.cooled_after_s + sale.anti_crease_s
    )
    for key, paid in sale.paid.items():
        assert paid == sale.taken[key] + sale.refused[key] + sale.held[key] + sale.lost[key]
    assert all(a.until_s == b.from_s for a, b in zip(sale.spans, sale.spans[1:], strict=False))
    assert all(s.length_s > 0 for s in sale.spans)


@settings(max_examples=80, deadline=None)
@given(histories(), st.integers(0, 6))
def test_more_money_at_the_end_never_gives_less_time(history, more):
    sheet, values, events = history
    last = events[-1].at_s if events else 0
    extra = [*events, Paid(last, sheet.inputs[0].key, more)]
    assert (
        sell(sheet, values, extra, worth=worth_of(sheet)).sold_s
        >= sell(sheet, values, events, worth=worth_of(sheet)).sold_s
    )


@settings(max_examples=60, deadline=None)
@given(histories())
def test_stopping_to_look_changes_nothing(history):
    """Events that do nothing, put between the others, leave the sale as it was."""
    sheet, values, events = history
    looked, shut, on = [], True, True
    for e in events:
        shut = isinstance(e, DoorClosed) if isinstance(e, DoorOpened | DoorClosed) else shut
        on = isinstance(e, PowerBack) if isinstance(e, PowerCut | PowerBack) else on
        looked += [e, Paid(e.at_s, sheet.inputs[0].key, 0)]
    assert sell(sheet, values, looked, worth=worth_of(sheet)) == sell(sheet, values, events, worth=worth_of(sheet))


def busy_history(rng):
    """A history made to be awkward: short times beside long cool-downs, coins at one moment, doors and cuts in between."""
    name = sorted(GRIDS)[rng.integers(len(GRIDS))]
    values = {}
    for key, grid in GRIDS[name].items():
        few = grid if rng.random() < 0.3 else grid[: max(2, len(grid) // 8)]
        values[key] = int(few[rng.integers(len(few))])
    sheet = sheet_of(name, int(rng.integers(2 * RULES)))
    keys = [i.key for i in sheet.inputs]
    at, events = 0, []
    for _ in range(rng.integers(2, 14)):
        at += 0 if rng.random() < 0.3 else int(rng.integers(1, 400))
        others = [
            Pressed(at),
            DoorOpened(at),
            DoorClosed(at),
            PowerCut(at),
            PowerBack(at),
            HeatChosen(at, int(rng.integers(3))),
        ]
        pay = Paid(at, keys[rng.integers(len(keys))], int(rng.integers(1, 7)))
        events.append(pay if rng.random() < 0.6 else others[rng.integers(len(others))])
    return sheet, values, events, at + int(rng.integers(0, 1500))


def assert_alike(sheet, values, events, until_s):
    """Against `second_by_second`, written apart from the words of the page on the sale rule."""
    worth = worth_of(sheet)
    sale = sell(sheet, values, events, worth=worth, until_s=until_s)
    naive = live(sheet, values, events, worth, until_s)
    assert naive.did == {
        "sold": sale.sold_s, "heat": sale.heated_s, "air": sale.aired_s, "cool sold": sale.cooled_sold_s,
        "cool after": sale.cooled_after_s, "open": sale.open_s, "forgone": sale.forgone_s, "capped": sale.capped_s,
        "free": sale.free_s,
    }  # fmt: skip
    assert naive.pieces == {"paid": sale.paid, "taken": sale.taken, "refused": sale.refused, "lost": sale.lost}
    assert (tuple(naive.starts), naive.left) == (sale.starts_s, sale.left_s)


@pytest.mark.parametrize("seed", range(6))
def test_a_naive_second_by_second_drum_comes_to_the_same(seed):
    rng = np.random.default_rng(seed)
    for _ in range(150):
        assert_alike(*busy_history(rng))


def assert_closed_forms(sheet, values, *, pieces, which, heat):
    key, worth = sheet.inputs[which % len(sheet.inputs)].key, worth_of(sheet)
    first = [] if heat is None else [HeatChosen(0, heat)]
    sale = sell(sheet, values, [*first, Paid(0, key, pieces)], worth=worth)
    assert time_for(sheet, values, key, pieces, worth=worth, heat=heat) == sale.sold_s
    if heat != 0:
        assert heated_s(sheet, values, sale.sold_s) == sale.heated_s
    count = pieces_to_start(sheet, values, key, worth=worth, heat=heat)
    if count is not None and pieces >= 1:
        assert bool(sale.starts_s) == (pieces >= count)
    start = first_start(sheet, values, key, worth=worth, heat=heat)
    if count:
        alone = sell(sheet, values, [*first, Paid(0, key, count)], worth=worth)
        assert (start.pieces, start.sold_s, start.minor) == (count, alone.sold_s, count * worth[key])


def assert_coin_plan(sheet, values, pieces):
    """The plain numbers, run through the lines a kernel would write, give the sale's sold time."""
    key, worth = sheet.inputs[0].key, worth_of(sheet)
    plan = coin_plan(sheet, values, key, worth=worth)
    left = plan.first_time_s if pieces >= plan.start_pieces else 0
    for _ in range(pieces - plan.start_pieces if left and plan.top_up_is_taken else 0):
        new = left + plan.time_per_piece_s
        if plan.top_up_limit_s and new > plan.top_up_limit_s:
            new = left if plan.limit_refuses else max(left, plan.top_up_limit_s)
        left = new
    assert left == sell(sheet, values, [Paid(0, key, pieces)], worth=worth).sold_s


@settings(max_examples=120, deadline=None)
@given(CASES, st.integers(1, 20), st.integers(0, 1), st.one_of(st.none(), st.integers(0, 2)))
def test_closed_forms_say_what_the_sale_rule_does(case, pieces, which, heat):
    assert_closed_forms(*case, pieces=pieces, which=which, heat=heat)
    assert_coin_plan(*case, pieces)


@pytest.mark.parametrize("seed", range(3))
def test_closed_forms_say_what_the_sale_rule_does_in_awkward_cases(seed):
    rng = np.random.default_rng(seed)
    for _ in range(150):
        sheet, values, _events, _until = busy_history(rng)
        pieces, heat = int(rng.integers(0, 20)), (None, 0, 1, 2)[rng.integers(4)]
        assert_closed_forms(sheet, values, pieces=pieces, which=int(rng.integers(2)), heat=heat)
        assert_coin_plan(sheet, values, int(rng.integers(1, 20)))


@pytest.mark.facts
def test_price_per_minute_of_two_slots_is_exact():
    """10 c for 3 min 20 s and 25 c for 8 min: 3.000 and 3.125 c a minute (common practice, no source; recomputed)."""
    from invented import line, seconds

    from drybank.records.sheet import ControlSheet, SaleRule, SheetInput

    sheet = ControlSheet(
        key="two", name="Two", revision="1", sale=SaleRule(start="sum"),
        settings=(
            line("a", "time per piece", seconds("s", 0, 900), input="dime"),
            line("b", "time per piece", seconds("s", 0, 900), input="quarter"),
        ),
        inputs=(SheetInput(key="dime", name="Dime"), SheetInput(key="quarter", name="Quarter")),
    )  # fmt: skip
    rates = [
        price_per_minute(sheet, {"a": 200, "b": 480}, k, worth={"dime": 10, "quarter": 25}) for k in ("dime", "quarter")
    ]
    assert rates == [Fraction(3), Fraction(25, 8)]
