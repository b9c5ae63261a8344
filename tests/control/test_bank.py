"""Banks of mixed controls: what they can all hold, what one sign must state, and the nearest split."""

from fractions import Fraction

import pytest
from invented import SHEETS, degrees, hazel, line, money, seconds, span, store, willow

from drybank.control import common, layout, rate_statement, sell, split_bank, to_sheet, worth
from drybank.records.control import Paid
from drybank.records.errors import InputError
from drybank.records.sheet import ControlSheet, SaleRule, SheetInput
from drybank.records.store import InputSaid, Machine, Pocket

HOUSE = (money("start price", 75), span("time per piece", 360, piece_minor=25), span("cool-down time", 120))


def small(key, *, low, high, step, sheet_input="slot", **rule):
    """A one-slot control whose time per coin lies on a grid of its own."""
    return ControlSheet(
        key=key, name=key.title(), revision="1", inputs=(SheetInput(key=sheet_input, name="Slot"),),
        settings=(
            line("start", "start price", seconds("25 minor", 0, 8)),
            line("pace", "time per piece", seconds("s", low, high, step), input=sheet_input),
            line("cool", "cool-down time", seconds("s", 0, 300, 30)),
        ),
        sale=SaleRule(**{"start": "sum", **rule}),
    )  # fmt: skip


def bank_of(*sheets):
    """A store of one bank with one machine of each sheet, the first sheet on two pockets."""
    pockets = [str(n) for n in range(1, len(sheets) + 2)]
    machines = [Machine(key="m0", bank="a", sheet=sheets[0].key, pockets=tuple(pockets[:2]), place=0)]
    machines += [
        Machine(key=f"m{n}", bank="a", sheet=s.key, pockets=(pockets[n + 1],), place=n)
        for n, s in enumerate(sheets[1:], 1)
    ]
    made = store(
        banks=store().banks[:1], machines=tuple(machines), pockets=tuple(Pocket(key=k, fill_kg=15) for k in pockets),
        inputs=(InputSaid(input="*.slot", piece_minor=25),), coins=(25,),
    )  # fmt: skip
    return layout(made, sheets)


class TestCommon:
    def test_is_the_intersection_of_all_grids(self):
        laid = bank_of(small("ash", low=60, high=600, step=20), small("box", low=90, high=480, step=30))
        found = {s.line.purpose: s.values for s in common(laid, "a")}
        assert found["time per piece"] == tuple(range(120, 481, 60))
        assert found["cool-down time"] == tuple(range(0, 301, 30))

    def test_start_pieces_and_start_price_are_one_thing(self):
        laid = layout(store(), SHEETS)
        found = {s.line: s for s in common(laid, "a")}
        assert found[money("start price", 0)].values == tuple(25 * n for n in range(1, 9))

    def test_every_common_value_can_be_set_on_every_control(self):
        laid = bank_of(small("ash", low=60, high=600, step=20), small("box", low=90, high=480, step=30))
        for s in common(laid, "a"):
            for value in s.values[:: max(1, len(s.values) // 7)]:
                wanted = (span(s.line.purpose, value, piece_minor=s.line.piece_minor),)
                if s.line.base == "s":
                    assert all(to_sheet(laid, c, wanted) for c in laid.controls)


class TestRateStatement:
    def test_states_money_for_time_pieces_and_how_many_at_once(self):
        """Handbook 44 5.55, statement of rates (read in a secondary page): money per unit of time, coins at one time."""
        sheet = small("ash", low=60, high=600, step=20, top_up="refused")
        stated = rate_statement(bank_of(sheet), "a", HOUSE)
        (rate,) = stated.rates
        assert (rate.start_pieces, rate.start_minor, rate.first_time_s, rate.first_heated_s) == (3, 75, 1080, 960)
        assert (rate.time_per_piece_s, rate.most_pieces, rate.means) == (0, 3, ("coin",))
        assert stated.untrue == ()

    def test_what_it_states_is_what_the_sale_rule_does(self):
        laid = bank_of(small("ash", low=60, high=600, step=20))
        (rate,) = rate_statement(laid, "a", HOUSE).rates
        values = to_sheet(laid, "1", HOUSE)
        for more in range(4):
            sale = sell(laid.sheets["ash"], values, [Paid(0, "slot", rate.start_pieces + more)], worth=worth(laid, "1"))
            assert sale.sold_s == rate.first_time_s + more * rate.time_per_piece_s
        assert rate.minor_per_minute == Fraction(25, 6)

    def test_a_limit_bounds_the_pieces_at_one_time(self):
        laid = layout(store(), SHEETS)
        house = (
            money("start price", 75),
            span("time per value", 480, piece_minor=25),
            span("cool-down time", 120),
            span("top-up limit", 2400),
        )
        (rate,) = rate_statement(laid, "b", house).rates
        assert (rate.first_time_s, rate.most_pieces, rate.means) == (1440, 5, ("coin", "card"))

    def test_cool_down_inside_beside_after_is_not_one_truth(self):
        laid = bank_of(
            small("ash", low=60, high=600, step=20), small("box", low=60, high=600, step=20, cool_down="after")
        )
        untrue = rate_statement(laid, "a", HOUSE).untrue
        assert untrue == (
            "Of a first start with pieces of 0.25 CAD, 16 min are with heat at control 1 and 18 min at control 3.",
        )
        assert not rate_statement(laid, "a", (*HOUSE[:2], span("cool-down time", 0))).untrue

    def test_a_first_time_beside_a_sum_is_true_only_if_they_agree(self):
        laid = layout(
            store(inputs=(*store().inputs, *(InputSaid(input=f"{k}.right", piece_minor=25) for k in "12"))), SHEETS
        )
        house = (*HOUSE, degrees(66, "°C"))
        assert rate_statement(laid, "a", (*house, span("first time", 1080))).untrue == ()
        assert "A start gives 18 min here" in rate_statement(laid, "a", (*house, span("first time", 1200))).untrue[0]

    def test_two_inputs_of_one_coin_must_buy_the_same(self):
        both = ControlSheet(
            key="two", name="Two", revision="1", sale=SaleRule(start="sum"),
            settings=(
                line("a", "time per piece", seconds("s", 0, 900, factory=300), input="slot"),
                line("b", "time per piece", seconds("s", 0, 900, factory=360), input="slit"),
            ),
            inputs=(SheetInput(key="slot", name="Slot"), SheetInput(key="slit", name="Slit")),
        )  # fmt: skip
        assert "does not buy the same" in rate_statement(bank_of(both), "a", ()).untrue[0]


class TestSplit:
    def test_nothing_to_split_where_all_agree(self):
        assert (
            split_bank(
                bank_of(small("ash", low=60, high=600, step=20), small("box", low=90, high=480, step=30)), "a", HOUSE
            )
            is None
        )

    def test_grids_that_never_meet_name_the_pair_and_part_there(self):
        laid = bank_of(small("ash", low=60, high=300, step=20), small("box", low=330, high=900, step=30))
        found = split_bank(laid, "a", (HOUSE[0], span("time per piece", 300, piece_minor=25)))
        assert found.conflicts[0].says == "Controls 1 and 3: both can hold no one time per piece for 0.25 CAD."
        assert (found.first.pockets, found.second.pockets) == (("1", "2"), ("3",))
        assert span("time per piece", 330, piece_minor=25) in found.second.house
        assert "Sign pocket 3 as a bank of their own" in found.says

    def test_without_house_settings_too(self):
        laid = bank_of(small("ash", low=60, high=300, step=20), small("box", low=330, high=900, step=30))
        assert split_bank(laid, "a").second.pockets == ("3",)

    def test_moves_as_few_pockets_as_can_be(self):
        """Four kinds, one apart: only its pocket moves, whatever the order."""
        apart = small("apart", low=700, high=900, step=20)
        alike = [small(f"k{n}", low=60, high=600, step=20) for n in range(3)]
        for place in (1, 2, 3):
            laid = bank_of(*alike[:place], apart, *alike[place:])
            assert split_bank(laid, "a", HOUSE).second.controls == (str(place + 2),)

    def test_each_side_can_be_signed_truly(self):
        laid = bank_of(
            small("ash", low=60, high=300, step=20),
            small("box", low=330, high=900, step=30),
            small("yew", low=320, high=900, step=10),
        )
        found = split_bank(laid, "a", (HOUSE[0], span("time per piece", 240, piece_minor=25)))
        for side in (found.first, found.second):
            for control in side.controls:
                assert to_sheet(laid, control, side.house)

    def test_three_kinds_that_never_meet_need_more_than_two_signs(self):
        laid = bank_of(*(small(f"k{n}", low=100 * n, high=100 * n + 40, step=20) for n in (1, 2, 3)))
        found = split_bank(laid, "a")
        assert found.first is None
        assert "Two signs are not enough" in found.says

    def test_too_many_kinds_are_not_searched_and_it_says_so(self):
        kinds = [small(f"k{n}", low=60 * n, high=60 * n + 20, step=20) for n in range(1, 10)]
        assert "no split was looked for" in split_bank(bank_of(*kinds), "a").says

    def test_a_house_setting_that_one_side_sums_otherwise_is_signed_apart(self):
        laid = bank_of(
            small("ash", low=60, high=600, step=20), small("box", low=60, high=600, step=20, cool_down="after")
        )
        found = split_bank(laid, "a", HOUSE)
        assert (found.first.house, found.second.pockets) == (HOUSE, ("3",))


def test_an_unknown_bank_is_refused():
    with pytest.raises(InputError, match="There is no bank “z”"):
        common(layout(store(), SHEETS), "z")


def test_scales_are_kept_apart():
    laid = layout(
        store(
            machines=(*store().machines[:2], Machine(key="m3", bank="a", sheet="rowan", pockets=("9", "10"))),
            banks=store().banks[:1],
        ),
        SHEETS,
    )
    found = {(s.line.base, s.line.heat): s.values for s in common(laid, "a") if s.line.purpose == "temperature"}
    assert found["°C", 1] == tuple(range(45, 76, 3))
    assert found["°F", 1] == tuple(range(110, 150, 3))
    assert hazel().key in laid.sheets
    assert willow().key in laid.sheets
