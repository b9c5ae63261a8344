"""What stands beside the figures: energy of a minute, room air apart, fuel that holds, a window of free drying."""

from __future__ import annotations

import datetime as dt
import sys
from decimal import Decimal
from pathlib import Path

import msgspec
import numpy as np
import pytest

from drybank.energy import EnergyCharge, FixedCharge, NaturalGas, RoomAir, Tariff, Tier, Usage
from drybank.plan import PlanRoom
from drybank.plan.beside import BELOW_SETTING_K, air_flow_kg_s, free_window, minute_costs, room_air_told
from drybank.plan.outcome import figures, mean, meet
from drybank.plan.queue import T_95, estimate
from drybank.plan.ranges import best_in, fuel_hold, fuel_steps
from drybank.plan.search.problem import middle
from drybank.plan.words import fuel_unit
from drybank.records.plan import PlanCosts
from drybank.records.store import Units
from drybank.records.traffic import Arrivals, Buying, Spread, Visits
from drybank.records.traffic import Store as Trade

sys.path.insert(0, str(Path(__file__).parent))
from cast import inputs, known


def gas_tariff(price: str, fixed: str = "30") -> Tariff:
    return Tariff(
        name="Gas", fuel="natural gas", unit="therm", currency="USD", valid_from=dt.date(2026, 1, 1),
        energy=(EnergyCharge(name="Gas", tiers=(Tier(price_per_unit=Decimal(price)),)),),
        fixed=(FixedCharge(name="Meter", amount=Decimal(fixed)),),
    )  # fmt: skip


def with_tariff(asked, price="1.20"):
    usage = Usage(first_day=dt.date(2026, 1, 1), last_day=dt.date(2026, 1, 30), quantity=Decimal(600))
    gas = NaturalGas(heat_content_btu_ft3=Decimal(1038))
    costs = PlanCosts(
        fuel_minor_kwh=known(120.0 / 29.3071), power_minor_kwh=known(14.0), wear_minor_hour=known(40.0), visit_minor=known(180.0),
        fuel_tariff=gas_tariff(price), fuel_supply=gas, fuel_usage=usage,
    )  # fmt: skip
    return msgspec.structs.replace(asked, costs=costs)


class TestEnergyOfAMinute:
    def test_next_unit_and_average_by_hand(self):
        """1.20 a therm at the margin; 600 therms and 30.00 a month make 1.25 on average. Burner: fuel over heated seconds."""
        asked = with_tariff(inputs())
        cost = minute_costs(asked, asked.today)
        met = meet(asked, asked.today, middle(asked))
        therms = 60.0 * mean(met, met.fuel_j) / mean(met, met.heated_s) / 105_505_585.262
        assert cost.fuel_marginal.value == pytest.approx(120.0 * therms, rel=1e-9)
        assert cost.fuel_average.value == pytest.approx(125.0 * therms, rel=1e-9)
        assert cost.total_marginal.value == pytest.approx(120.0 * therms + 14.0 * 560.0 / 60_000.0, rel=1e-6)
        assert cost.total_marginal.unit == "minor/min"

    def test_fuel_is_told_in_the_persons_unit(self):
        asked = msgspec.structs.replace(with_tariff(inputs()), units=Units(gas="therm"))
        told = next(f for f in figures(asked, asked.today, asked.today, middle(asked)) if f.key == "gas")
        kwh = next(f for f in figures(inputs(), asked.today, asked.today, middle(inputs())) if f.key == "gas")
        assert (told.proposed.unit, kwh.proposed.unit) == ("therm", "kWh")
        assert told.proposed.value == pytest.approx(kwh.proposed.value / 29.3071, rel=1e-5)
        assert told.proposed.interval.high == pytest.approx(kwh.proposed.interval.high / 29.3071, rel=1e-5)

    def test_a_unit_that_the_fuel_is_not_sold_in_gives_way_to_the_tariffs(self):
        asked = msgspec.structs.replace(with_tariff(inputs()), units=Units(gas="gal"))
        assert fuel_unit(asked).name == "therm"


class TestRoomAir:
    def room(self, temp_c, **room):
        temps = np.full(8760, float(temp_c))
        return PlanRoom(
            room=RoomAir(**room),
            temp_c=temps,
            humidity_kg_kg=np.full(8760, 0.004),
            pressure_pa=101_325.0,
            source="test",
        )

    def asked(self, temp_c, **room):
        return msgspec.structs.replace(inputs(), room=self.room(temp_c, **room), drum_flow_m3_s=0.2)

    def test_is_none_unless_a_room_is_given_and_never_in_a_figure(self):
        plain, cold = inputs(), self.asked(-5.0)
        assert room_air_told(plain, plain.today) is None
        a, b = (figures(x, x.today, x.today, middle(x)) for x in (plain, cold))
        assert a == b

    def test_a_week_at_five_degrees_by_hand(self):
        """0.2 m3/s at the exhaust's temperature and 101 325 Pa; 15 K to heat at 1006 J/(kg K), over 0.8, at 4.3 a kWh. The hours
        turned: loads dried × (heated + cool-down)."""
        asked = self.asked(5.0)
        got = room_air_told(asked, asked.today)
        met = meet(asked, asked.today, middle(asked))
        temps = np.array([80.0, 60.0])[asked.loads.heat]
        flow = 101_325.0 * 0.2 / (287.05 * (temps.mean() - BELOW_SETTING_K + 273.15))
        assert air_flow_kg_s(asked, asked.today) == pytest.approx(flow)
        seconds = 600.0 * (mean(met, met.heated_s) + 120.0 * mean(met, met.is_dried * 1.0))
        kwh = flow * seconds * 1006.0 * 15.0 / 3.6e6 / 0.8
        assert got.week_minor == pytest.approx(kwh * 4.3, rel=1e-6)
        assert got.coldest_minor == pytest.approx(got.week_minor, rel=1e-6)
        assert got.proposed.cost_per_drying_minute_minor == pytest.approx(kwh * 4.3 / (seconds / 60.0), rel=1e-6)
        assert "none of the figures above" in got.says

    def test_a_mild_year_costs_nothing_and_a_cold_winter_shows(self):
        assert room_air_told(self.asked(20.0), inputs().today).week_minor == 0.0
        asked = self.asked(10.0)
        year = 10.0 - 12.0 * np.cos(2 * np.pi * np.arange(8760) / 8760)
        cold = msgspec.structs.replace(asked, room=msgspec.structs.replace(asked.room, temp_c=year))
        got = room_air_told(cold, cold.today)
        assert got.coldest_minor > 2 * got.week_minor > 0.0
        assert got.warmest_minor < 0.1 * got.week_minor

    def test_half_the_air_from_an_own_duct_halves_it(self):
        whole, half = (room_air_told(self.asked(0.0, room_share_frac=s), inputs().today).week_minor for s in (1.0, 0.5))
        assert half == pytest.approx(whole / 2)


class TestFuelThatHolds:
    def test_the_answer_is_the_best_inside_and_another_just_outside(self):
        """Fuel at 10 a kWh and a visit worth 40: steps lie near 0.9 and 1.2 times today's price."""
        asked = inputs()
        costs = msgspec.structs.replace(asked.costs, fuel_minor_kwh=known(10.0), visit_minor=known(40.0))
        asked = msgspec.structs.replace(asked, costs=costs)
        answer = best_in(asked, middle(asked)).setting
        hold = fuel_hold(asked, fuel_steps(asked, lambda s: ""), is_best=True)
        assert hold.low_times < 1.0 < hold.high_times
        assert hold.says.startswith("These settings stay the best while fuel costs 0.")
        for times, side in ((hold.low_times, -1), (hold.high_times, 1)):
            inside, outside = (
                middle(asked).but(fuel_minor_kwh=10.0 * times * (1.0 + side * off)) for off in (-0.002, 0.002)
            )
            assert best_in(asked, inside).setting == answer
            assert best_in(asked, outside).setting != answer

    def test_a_free_window_pays_from_the_washes_it_names(self):
        """Takings given up on the loads that come now are made good by so many more loads' visits less energy and wear."""
        asked = inputs()
        window = free_window(asked, asked.today)
        gain = asked.costs.visit_minor.value - window.cost_minor_per_load
        assert window.washes_to_break_even_frac * gain == pytest.approx(window.takings_given_up_minor_per_load)
        assert (window.window, window.loads_now) == ("", 0.0)  # no week is given, so no hours are named

    def test_the_window_is_the_quietest_open_hours(self):
        rates = [0.0] * 168
        for day in range(7):
            rates[24 * day + 7 : 24 * day + 22] = [6.0] * 15
        rates[24 + 7 : 24 + 11] = [1.0, 1.0, 2.0, 1.0]
        visits = Visits(loads_share=(1.0,), load_kg=(Spread("constant", (3.0,)),))
        week = Trade(
            name="w", arrivals=Arrivals(by_hour=tuple(rates)), visits=visits, buying=Buying(), washers=(), pockets=()
        )
        asked = msgspec.structs.replace(inputs(), traffic=week)
        window = free_window(asked, asked.today)
        met = meet(asked, asked.today, middle(asked))
        assert window.window == "Tuesday 7:00 to 11:00"
        assert window.loads_now == pytest.approx(600.0 * mean(met, met.is_dried * 1.0) * 5.0 / sum(rates))
        assert window.washes_more == pytest.approx(window.loads_now * window.washes_to_break_even_frac)


@pytest.mark.facts
def test_the_interval_of_eight_replications_is_students():
    """t(0.975; 7) = 2.364624 by scipy's inverse of the distribution (open reference library)."""
    from scipy.special import stdtrit

    assert pytest.approx(float(stdtrit(7, 0.975)), abs=1e-6) == T_95
    each = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0])
    got = estimate(each, "s")
    assert got.value == 4.5
    assert got.interval.high - got.value == pytest.approx(float(stdtrit(7, 0.975)) * each.std(ddof=1) / 8**0.5)
