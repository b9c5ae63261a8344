"""Inputs from the demo town's files: every bank gets a plan that its controls can hold and its checks pass."""

from __future__ import annotations

from importlib import resources
from itertools import combinations

import msgspec
import numpy as np
import pytest

from drybank.book.files import read_settings, read_sheet, read_store
from drybank.control import check_settings, controls_of, layout, to_sheet
from drybank.drying import Calibration
from drybank.drying import Pocket as Drum
from drybank.plan import house_of, make_plan, plan_inputs, setting_of
from drybank.plan.gather.needs import even_points
from drybank.records.errors import InputError, Missing
from drybank.records.store import Trade

TOWN = resources.files("drybank.desk") / "demo_town"
STORES = {"lantern": "lantern_row", "weir": "weir_court", "saddle": "high_saddle"}


def text(name: str) -> str:
    return (TOWN / f"{name}.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def town():
    sheets = {s.key: s for s in (read_sheet(text(n), n) for n in ("alder", "birch", "cedar"))}
    return {
        key: (
            read_store(text(file), file),
            sheets,
            {b.bank: b.values for b in read_settings(text(f"{key}_settings")).banks},
        )
        for key, file in STORES.items()
    }


BANKS = [("lantern", "long wall"), ("lantern", "back room"), ("saddle", "gallery"), ("saddle", "stable"),
         ("weir", "river side"), ("weir", "short wall")]  # fmt: skip


@pytest.mark.parametrize(("store", "bank"), BANKS)
class TestEveryDemoBank:
    def test_a_plan_can_be_set_on_every_control_and_passes_the_checks(self, town, store, bank):
        shop, sheets, houses = town[store]
        asked = msgspec.structs.replace(plan_inputs(shop, sheets, bank, houses[bank]), traffic=None)
        plan = make_plan(asked)
        laid = layout(shop, sheets)
        for control in controls_of(laid, bank):
            to_sheet(laid, control.key, plan.house)
        failed = [f"{c.name}: {c.reason}" for c in check_settings(laid, bank, plan.house) if c.verdict == "failed"]
        before = {c.name for c in check_settings(laid, bank, houses[bank]) if c.verdict == "failed"}
        assert [f for f in failed if f.split(":")[0] not in before] == []

    def test_house_settings_read_back_as_the_setting(self, town, store, bank):
        shop, sheets, houses = town[store]
        asked = plan_inputs(shop, sheets, bank, houses[bank])
        assert setting_of(asked, house_of(asked.grid, asked.today)) == asked.today
        assert house_of(asked.grid, asked.today) == houses[bank]


class TestWhatIsAssumed:
    def test_what_the_store_does_not_say_is_listed(self, town):
        shop, sheets, houses = town["lantern"]
        bare = msgspec.structs.replace(shop, trade=Trade(), tariffs=())
        names = [a.name for a in plan_inputs(bare, sheets, "long wall", houses["long wall"]).assumptions]
        for name in ("loads a week", "drying needs", "price of fuel", "price of electricity",
                     "walk-away price of a normal load", "heats that customers choose"):  # fmt: skip
            assert name in names

    def test_a_store_that_says_little_still_gets_a_plan(self, town):
        shop, sheets, houses = town["lantern"]
        bare = msgspec.structs.replace(shop, trade=Trade(), tariffs=(), hours=())
        asked = plan_inputs(bare, sheets, "long wall", houses["long wall"])
        assert asked.traffic is None
        assert make_plan(asked).setting

    def test_stated_minutes_hold_at_the_hottest_heat_as_set_today(self, town):
        """18 to 42 minutes in equal steps, mean 0.15·18 + 0.3·24 + 0.3·30 + 0.17·36 + 0.08·42 = 28.38."""
        shop, sheets, houses = town["lantern"]
        trade = msgspec.structs.replace(
            shop.trade, need_minutes=(18, 24, 30, 36, 42), need_share=(0.15, 0.3, 0.3, 0.17, 0.08)
        )
        asked = plan_inputs(msgspec.structs.replace(shop, trade=trade), sheets, "long wall", houses["long wall"])
        level = asked.grid.temps.index(asked.today.temps[0])
        assert np.mean(asked.loads.need_s[:, level]) / 60 == pytest.approx(28.38, abs=0.02)

    def test_cooler_heats_take_longer(self, town):
        shop, sheets, houses = town["lantern"]
        loads = plan_inputs(shop, sheets, "long wall", houses["long wall"]).loads
        assert (np.diff(loads.normal_need_s) <= 1e-9).all()
        assert (np.diff(loads.fuel_over_w) > 0).mean() > 0.9


class TestRefusals:
    def test_a_bank_that_is_not_there(self, town):
        shop, sheets, _ = town["lantern"]
        with pytest.raises(Missing, match="There is no bank"):
            plan_inputs(shop, sheets, "attic")

    def test_shares_of_another_number_of_heats(self, town):
        shop, sheets, houses = town["lantern"]
        trade = msgspec.structs.replace(shop.trade, heat_share=(0.5, 0.5))
        with pytest.raises(InputError, match="2 shares for 3 heats"):
            plan_inputs(msgspec.structs.replace(shop, trade=trade), sheets, "long wall", houses["long wall"])

    def test_needs_that_are_no_distribution(self, town):
        shop, sheets, houses = town["lantern"]
        trade = msgspec.structs.replace(shop.trade, need_share=(1.0,))
        with pytest.raises(InputError, match="as many shares as minutes"):
            plan_inputs(msgspec.structs.replace(shop, trade=trade), sheets, "long wall", houses["long wall"])


def changed(house, purpose, **to):
    return tuple(msgspec.structs.replace(h, **to) if h.purpose == purpose else h for h in house)


class TestOddHouses:
    def test_a_bank_that_dries_free_has_no_price_to_plan(self, town):
        shop, sheets, houses = town["weir"]
        free = changed(houses["river side"], "free drying", word="free")
        with pytest.raises(InputError, match="drying is free on this bank"):
            plan_inputs(shop, sheets, "river side", free)

    def test_no_loads_are_refused(self, town):
        shop, sheets, houses = town["lantern"]
        none = msgspec.structs.replace(shop, trade=msgspec.structs.replace(shop.trade, loads_per_week=0.0))
        with pytest.raises(InputError, match="nothing to weigh"):
            plan_inputs(none, sheets, "long wall", houses["long wall"])

    def test_a_temperature_that_no_control_holds_is_not_compared_with(self, town):
        shop, sheets, houses = town["lantern"]
        off = tuple(msgspec.structs.replace(h, value=77) if h.heat == 1 else h for h in houses["long wall"])
        asked = plan_inputs(shop, sheets, "long wall", off)
        assert asked.today is None
        assert any("77 °C is on no control's grid" in n for n in asked.notes)
        assert make_plan(msgspec.structs.replace(asked, traffic=None)).today is None

    def test_nothing_set_yet_still_gets_a_plan_in_house_settings(self, town):
        shop, sheets, _ = town["lantern"]
        plan = make_plan(msgspec.structs.replace(plan_inputs(shop, sheets, "long wall"), traffic=None))
        purposes = [h.purpose for h in plan.house]
        assert purposes == ["time per piece", "time per piece", "start price", "first time", "cool-down time",
                            "temperature", "temperature", "temperature"]  # fmt: skip


def test_the_rows_are_even():
    """Every axis fills its twenty boxes alike; every pair of axes more evenly than points at random, which scatter by √25."""
    points = even_points(1600, 4)
    for i in range(4):
        assert set(np.histogram(points[:, i], bins=20, range=(0, 1))[0]) == {80}
    for i, j in combinations(range(4), 2):
        cells = np.histogram2d(points[:, i], points[:, j], bins=8, range=((0, 1), (0, 1)))[0]
        assert cells.std() < 5.0


def test_a_calibrated_pocket_narrows_the_range_of_needs(town):
    shop, sheets, houses = town["lantern"]
    bare = msgspec.structs.replace(shop, trade=Trade(loads_per_week=400))
    drum = Drum(calibration=Calibration(how="towel trial", band_frac=0.03))
    wide = plan_inputs(bare, sheets, "long wall", houses["long wall"]).loads
    tight = plan_inputs(bare, sheets, "long wall", houses["long wall"], drum=drum).loads
    assert (tight.need_low_frac, tight.need_high_frac) == pytest.approx((0.94, 1.06))
    assert wide.need_high_frac - wide.need_low_frac > 4 * (tight.need_high_frac - tight.need_low_frac)
