"""Inputs from the demo town's files: every bank gets a plan that its controls can hold and its checks pass."""

from __future__ import annotations

from decimal import Decimal
from importlib import resources
from itertools import combinations

import msgspec
import numpy as np
import pytest

from drybank.book.files import read_settings, read_sheet, read_store
from drybank.control import check_settings, controls_of, layout, to_sheet
from drybank.drying import Air, Calibration, FireControl, Heat, Load, dry
from drybank.drying import Pocket as Drum
from drybank.drying.bands import band
from drybank.drying.need import needs_at
from drybank.energy import NaturalGas, billed_joules, unit_joules
from drybank.plan import PlanGiven, WatchSpan, house_of, make_plan, plan_inputs, setting_of
from drybank.plan.gather.assumed import Assumed
from drybank.plan.gather.loads import need_axes
from drybank.plan.gather.needs import curve_of, even_points, table_of
from drybank.plan.gather.week import counted
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


class TestRangeOfNeeds:
    """One source of truth: the range of minutes a plan reckons with is that of `drybank.drying.bands`."""

    bare = Trade(loads_per_week=400)

    def made(self, town, drum=None):
        shop, sheets, houses = town["lantern"]
        poor = msgspec.structs.replace(shop, trade=self.bare)
        return plan_inputs(poor, sheets, "long wall", houses["long wall"], PlanGiven(drum=drum))

    def test_is_the_drying_bands_of_the_normal_load(self, town):
        asked, shop = self.made(town), town["lantern"][0]
        plate = shop.pockets[0].plate
        drum = Drum(heat_input_w=plate.input_w, flow_exhaust_m3_s=plate.airflow_m3_s, motor_w=plate.motor_w,
                    fire=FireControl(kind=plate.fire))  # fmt: skip
        wet = np.average([w.moisture_left_frac for w in shop.washers], weights=[w.number for w in shop.washers])
        load = Load(mass_dry_kg=asked.loads.normal_kg, residual_frac=float(wet))
        air, heat = Air(altitude_m=shop.altitude_m), Heat(temp_exhaust_c=float(asked.today.temps[0]), cool_down_s=0.0)
        here, ends = dry(load, drum, air, heat).minutes_to_dry, band(load, drum, air, heat).ends["minutes_to_dry"]
        assert asked.loads.need_low_frac == pytest.approx(ends.low / here, rel=1e-6)
        assert asked.loads.need_high_frac == pytest.approx(ends.high / here, rel=1e-6)

    def test_a_trial_narrows_it_but_never_below_two_of_its_standard_errors(self, town):
        wide = self.made(town).loads
        tight = self.made(town, Drum(calibration=Calibration(how="towel trial", band_frac=0.03))).loads
        assert tight.need_low_frac <= 0.94
        assert tight.need_high_frac >= 1.06
        assert tight.need_high_frac - tight.need_low_frac < 0.6 * (wide.need_high_frac - wide.need_low_frac)
        assert "calibrated by towel trial" in tight.source

    def test_a_table_reads_as_the_drying_room_reads_it(self, town):
        """Every mass between the points, every heat: `needs_at` and the plan's curve agree to 1e-9 where both dry."""
        shop, _, _ = town["lantern"]
        axes = need_axes(shop, shop.pockets[:1], Assumed("CAD", shop.units))
        table = table_of(Drum(), (46.0, 60.0, 76.0), axes)
        curve = curve_of(table)
        for level in range(3):
            n = curve.mass_kg.size
            fixed = (np.full(n, v) for v in (axes.residual_frac[0], axes.air_c[0], axes.humidity_frac[0]))
            read = needs_at(table, np.full(n, level), np.clip(curve.mass_kg, *axes.mass_kg), *fixed)
            dried = np.isfinite(read.seconds)
            assert dried.sum() > n / 2
            assert curve.need_s[dried, level] == pytest.approx(read.seconds[dried], rel=1e-9)
            assert curve.fuel_j[dried, level] == pytest.approx(read.fuel_j[dried], rel=1e-9)
            assert (curve.need_s[~dried, level] >= 14_400.0).all()


class TestSupplies:
    def test_heat_in_the_gas_as_the_store_states_it_moves_the_price_of_heat(self, town):
        """A tariff by the cubic metre: 40.0 MJ/m3 instead of 38.675 makes a kWh cheaper by that ratio, exactly."""
        shop, sheets, houses = town["lantern"]
        plain = plan_inputs(shop, sheets, "long wall", houses["long wall"])
        gas = NaturalGas(heat_content_mj_m3=Decimal("40.0"), meter_corrects_pressure=True, meter_corrects_temp=True)
        rich = plan_inputs(msgspec.structs.replace(shop, natural_gas=gas), sheets, "long wall", houses["long wall"])
        at = 1038 * 1055.05585262 / 0.3048**3 / 1e6
        prices = [x.costs.fuel_minor_kwh.value for x in (plain, rich)]
        assert prices[1] / prices[0] == pytest.approx(at / 40.0, rel=1e-3)  # the month's whole m3 move by a unit
        assert not any(a.name == "heat in natural gas" for a in rich.assumptions)

    def test_delivered_pressure_and_temperature_count_where_the_meter_corrects_neither(self):
        """2 psi at 60 °F on a base of 14.73 psia: (101.325 + 13.789515) / 101.5598 = 1.13347 base volumes a dial volume."""
        gas = NaturalGas(heat_content_btu_ft3=Decimal(1000), meter_gauge_kpa=Decimal("13.789515"))
        dial = float(billed_joules("Ccf", gas)) / 1055.05585262
        assert dial == pytest.approx(100_000 * 1.13347, rel=1e-4)
        assert billed_joules("therm", gas) == unit_joules("therm", gas)


class TestCoolDown:
    def test_today_known_stays_and_the_note_says_so(self, town):
        shop, sheets, houses = town["lantern"]
        asked = plan_inputs(shop, sheets, "long wall", houses["long wall"])
        assert asked.grid.cool_down_s == (asked.today.cool_down_s,)
        assert any("leaves it as it is" in n for n in asked.notes)

    def test_today_not_known_is_proposed_and_the_note_says_that(self, town):
        shop, sheets, houses = town["lantern"]
        house = tuple(h for h in houses["long wall"] if h.purpose != "cool-down time")
        asked = plan_inputs(shop, sheets, "long wall", house)
        assert asked.grid.cool_down_s[0] >= 120
        assert any("not known" in n and "proposes" in n for n in asked.notes)
        assert not any("leaves it as it is" in n for n in asked.notes)
        assert any(a.name == "cool-down" for a in asked.assumptions)


class TestWatches:
    def test_counts_set_the_height_and_each_hour_moves_towards_its_count(self):
        """Gamma-Poisson by hand: 10 meant a hour, 2 hours watched on one Saturday, 30 in the first and none in the second:
        the height is 30/20 = 1.5, so 15 an hour meant; posterior 15·(4+30)/(4+15) and 15·(4+0)/(4+15); others 15."""
        stated = np.zeros(168)
        stated[130:136] = 10.0
        watches = [
            WatchSpan(from_hour=130.0, hours=1.0, customers=30),
            WatchSpan(from_hour=131.0, hours=1.0, customers=0),
        ]
        seen = counted(watches, stated)
        assert seen.by_hour[130] == pytest.approx(15 * 34 / 19)
        assert seen.by_hour[131] == pytest.approx(15 * 4 / 19)
        assert seen.by_hour[132] == pytest.approx(15.0)
        assert sum(seen.by_hour[:130]) == 0.0

    def test_too_few_counted_move_nothing(self):
        assert counted([WatchSpan(from_hour=10.0, hours=2.0, customers=4)], np.ones(168)) is None

    def test_many_watches_bring_any_week_back(self):
        """Twenty weeks watched whole, Poisson counts of a week that differs from the stated one in shape and height: the
        estimate lies within 3 standard errors of each hour's truth, and the assumed shape hardly pulls."""
        rng = np.random.default_rng(4)
        truth, stated = rng.uniform(2.0, 30.0, 168), np.full(168, 9.0)
        watches = [
            WatchSpan(from_hour=float(h), hours=1.0, customers=int(rng.poisson(truth[h])))
            for h in range(168)
            for _ in range(20)
        ]
        seen = np.array(counted(watches, stated).by_hour)
        assert (np.abs(seen - truth) < 4.0 * np.sqrt(truth / 20) + 0.3).all()

    def test_a_watch_across_the_end_of_the_week_is_cut_there(self):
        stated = np.ones(168)
        quiet = WatchSpan(from_hour=50.0, hours=1.0, customers=2)
        seen = counted([WatchSpan(from_hour=167.5, hours=1.0, customers=20), quiet], stated)
        assert seen.by_hour[167] == seen.by_hour[0] > seen.by_hour[1]

    def test_a_store_that_states_no_loads_takes_them_from_the_watches(self, town):
        shop, sheets, houses = town["lantern"]
        trade = msgspec.structs.replace(shop.trade, loads_per_week=None)
        poor = msgspec.structs.replace(shop, trade=trade)
        spans = (WatchSpan(from_hour=5 * 24 + 10.0, hours=3.0, customers=60),)
        asked = plan_inputs(poor, sheets, "long wall", houses["long wall"], PlanGiven(watches=spans))
        assert asked.loads_per_week.how == "learned"
        assert sum(asked.traffic.arrivals.by_hour) * 1.98 == pytest.approx(asked.loads_per_week.value, rel=1e-6)
