"""Day parts by the hour, the typo catch, and what a unit and a minute cost."""

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.energy import (
    DayPart,
    DemandCharge,
    Electricity,
    EnergyCharge,
    FixedCharge,
    NaturalGas,
    OutdoorAir,
    RoomAir,
    StatedBill,
    Tariff,
    Tax,
    Tier,
    Usage,
    bill,
    check_stated_price,
    convert,
    day_part_of,
    minute_cost,
    room_air_cost,
    unit_cost,
    usage_from_hours,
)
from drybank.records.errors import InputError, InputErrors, OutOfRange

D = Decimal
GAS = NaturalGas(heat_content_btu_ft3=D(1032))
MAY = {"first_day": dt.date(2026, 5, 1), "last_day": dt.date(2026, 5, 31)}


def at(year: int, month: int, day: int, hour: int) -> dt.datetime:
    """A moment by the store's own clock, which has no zone here."""
    return dt.datetime.combine(dt.date(year, month, day), dt.time(hour))


def tariff(price: str = "1.25", **changes) -> Tariff:
    base = {
        "name": "Rate",
        "fuel": "natural gas",
        "unit": "therm",
        "currency": "USD",
        "valid_from": dt.date(2020, 1, 1),
        "energy": (EnergyCharge(name="Gas", tiers=(Tier(price_per_unit=D(price)),)),),
    }
    return Tariff(**{**base, **changes})


@pytest.mark.facts
class TestStatedUnitPrice:
    """A store owner's published gas bill, December 2016 (read): $605.61 for 522 Ccf, printed as $1.61 per Ccf and
    $1.12 per therm. 605.61 / 522 = 1.160: the printed 1.61 is a digit swap."""

    def test_the_swapped_price_is_flagged_and_the_swap_named(self):
        doubt = check_stated_price(
            StatedBill(amount=D("605.61"), quantity=D(522), unit="Ccf", price_per_unit=D("1.61"))
        )
        assert doubt is not None
        assert doubt.computed == D("1.16")
        assert doubt.likely == "two digits look swapped"
        assert doubt.sentence.endswith("Look at the bill again.")

    def test_the_price_per_therm_on_the_same_bill_stands(self):
        """At 1032 Btu/ft3 (2015 average, read) 522 Ccf are 538.7 therm: 1.124, printed 1.12."""
        therms = D(float(convert(522, "Ccf", "therm", GAS))).quantize(D("0.01"))
        stated = StatedBill(amount=D("605.61"), quantity=therms, unit="therm", price_per_unit=D("1.12"))
        assert check_stated_price(stated) is None


class TestTypoCatch:
    @given(st.decimals("0.01", "9.99", places=2), st.integers(1, 5000))
    def test_a_true_price_is_never_flagged(self, price, quantity):
        stated = StatedBill(amount=price * quantity, quantity=D(quantity), unit="therm", price_per_unit=price)
        assert check_stated_price(stated) is None

    def test_a_moved_point(self):
        stated = StatedBill(amount=D("58"), quantity=D(50), unit="Ccf", price_per_unit=D("11.6"))
        assert check_stated_price(stated).likely == "the decimal point looks moved"

    def test_one_wrong_digit(self):
        stated = StatedBill(amount=D("58"), quantity=D(50), unit="Ccf", price_per_unit=D("1.86"))
        assert check_stated_price(stated).likely == "one digit differs"

    def test_refuses_nothing_bought(self):
        with pytest.raises(InputError, match="above zero"):
            check_stated_price(StatedBill(amount=D(1), quantity=D(0), unit="Ccf", price_per_unit=D(1)))


class TestHours:
    parts = (
        DayPart(name="on peak", weekdays=(1, 2, 3, 4, 5), from_hour=14, to_hour=20, holidays_count_as=7),
        DayPart(name="night", from_hour=22, to_hour=6),
    )
    rate = tariff(fuel="electricity", unit="kWh", day_parts=parts)

    @pytest.mark.parametrize(
        ("moment", "part"),
        [
            (at(2026, 5, 4, 14), "on peak"),
            (at(2026, 5, 4, 20), "other hours"),
            (at(2026, 5, 9, 15), "other hours"),
            (at(2026, 5, 9, 23), "night"),
            (at(2026, 5, 9, 5), "night"),
            (at(2026, 5, 9, 6), "other hours"),
        ],
    )
    def test_the_hour_falls_in_its_part(self, moment, part):
        assert day_part_of(self.rate, moment) == part

    def test_a_holiday_counts_as_the_day_the_tariff_says(self):
        monday = dt.date(2026, 5, 25)
        assert day_part_of(self.rate, at(2026, 5, 25, 15), holidays={monday}) == "other hours"

    def test_a_week_of_hours_adds_up_and_keeps_its_peaks(self):
        hours = np.arange(168) % 24 / 10.0
        got = usage_from_hours(self.rate, at(2026, 5, 4, 0), hours)
        assert got.check() == []
        assert got.quantity == D("193.2")
        assert got.demand_kw_by_day_part == {"night": D("2.3"), "other hours": D("2.1"), "on peak": D("1.9")}
        assert got.days == 7

    def test_refuses_a_gap(self):
        with pytest.raises(InputError, match="row of numbers"):
            usage_from_hours(self.rate, at(2026, 5, 4, 0), np.array([1.0, np.nan]))


class TestCostAtTheMargin:
    def test_the_next_block_sets_the_margin_and_fixed_charges_only_the_average(self):
        """Blocks 100 at 2.00 then 1.00, fixed 50, tax 10 %: 400 therm cost (200 + 300 + 50) × 1.1 = 605."""
        tiers = (Tier(price_per_unit=D(2), up_to_units=D(100)), Tier(price_per_unit=D(1)))
        rate = tariff(
            energy=(EnergyCharge(name="Gas", tiers=tiers),),
            fixed=(FixedCharge(name="Customer", amount=D(50)),),
            taxes=(Tax(name="Tax", percent=D(10)),),
        )
        cost = unit_cost(Usage(**MAY, quantity=D(400)), rate)
        assert cost.marginal_minor == D(110)
        assert cost.average_minor == D("151.25")

    def test_nothing_used_has_a_margin_and_no_average(self):
        cost = unit_cost(Usage(**MAY, quantity=D(0)), tariff())
        assert (cost.marginal_minor, cost.average_minor) == (D(125), None)

    @given(st.integers(0, 5000))
    def test_the_margin_foretells_the_next_bill(self, quantity):
        rate = tariff("1.10", taxes=(Tax(name="Tax", percent=D(10)),))
        here, next_ = (bill(Usage(**MAY, quantity=D(q)), rate).total.minor for q in (quantity, quantity + 1))
        assert abs((next_ - here) - unit_cost(Usage(**MAY, quantity=D(quantity)), rate).marginal_minor) <= 1

    def test_a_demand_charge_raises_the_margin_when_the_peak_moves(self):
        rate = tariff(
            "0.10", fuel="electricity", unit="kWh", demand=(DemandCharge(name="D", tiers=(Tier(price_per_unit=D("7.44")),)),)
        )  # fmt: skip
        cost = unit_cost(Usage(**MAY, quantity=D(1000), demand_kw=D(10)), rate)
        assert cost.marginal_minor == D(10)
        assert cost.marginal_with_peak_minor == D(11)  # 7.44 a kW over 744 h is 1 c a kWh

    def test_a_heated_minute_by_hand(self):
        """22 kW for a minute is 1.32 MJ; a therm is 105.506 MJ at 125 c: 1.5639 c. 0.56 kW at 12 c a kWh: 0.112 c."""
        gas = unit_cost(Usage(**MAY, quantity=D(500)), tariff())
        power = unit_cost(Usage(**MAY, quantity=D(500)), tariff("0.12", fuel="electricity", unit="kWh"))
        cost = minute_cost(fuel=gas, supply=GAS, burner_w=22_000, electricity=power, motor_w=560)
        assert cost.fuel_marginal.value == pytest.approx(1.5639, abs=5e-5)
        assert cost.electricity_marginal.value == pytest.approx(0.112, abs=1e-9)
        assert cost.total_marginal.value == pytest.approx(1.6759, abs=1e-4)
        assert cost.total_marginal.working.parts

    def test_refuses_an_impossible_burner(self):
        gas = unit_cost(Usage(**MAY, quantity=D(500)), tariff())
        with pytest.raises(OutOfRange, match="burner_w"):
            minute_cost(fuel=gas, supply=Electricity(), burner_w=-1, electricity=gas, motor_w=1)


class TestRoomAir:
    given = {  # noqa: RUF012
        "heat_price_minor_kwh": 4.0,
        "power_price_minor_kwh": 12.0,
        "drying_minutes": 600.0,
        "currency": "USD",
    }

    def test_is_off_by_default(self):
        assert room_air_cost(None, air_kg_s=np.ones(2), outdoor=OutdoorAir(temp_c=np.zeros(2)), **self.given) is None

    def test_a_cold_hour_by_hand(self):
        """0.2 kg/s × 1006 × 20 K × 3600 s = 14.486 MJ = 4.024 kWh, over 0.8 = 5.030 kWh at 4 c = 20.12 c."""
        got = room_air_cost(
            RoomAir(), air_kg_s=np.array([0.2]), outdoor=OutdoorAir(temp_c=np.array([0.0])), **self.given
        )
        assert got.heating_kwh == pytest.approx(5.030, abs=1e-3)
        assert got.cost_minor == pytest.approx(20.12, abs=0.01)
        assert got.cost_per_drying_minute_minor == pytest.approx(20.12 / 600, abs=1e-4)

    def test_a_mild_hour_and_an_idle_hour_cost_nothing(self):
        got = room_air_cost(RoomAir(cool_to_c=26), air_kg_s=np.array([0.2, 0.0]), outdoor=OutdoorAir(temp_c=np.array([22.0, -20.0]), humidity_kg_kg=np.array([0.02, 0.001])), **self.given)  # fmt: skip
        assert got.cost_minor == 0

    def test_moist_heat_costs_more_to_cool_than_dry_heat(self):
        def cost(humidity):
            return room_air_cost(RoomAir(cool_to_c=25), air_kg_s=np.array([0.2]), outdoor=OutdoorAir(temp_c=np.array([34.0]), humidity_kg_kg=np.array([humidity])), **self.given).cooling_kwh  # fmt: skip

        assert cost(0.018) > cost(0.010) > 0
        assert cost(0.008) == cost(0.001)  # drier than the room: nothing to take out

    def test_half_the_air_through_an_own_duct_halves_it(self):
        def cost(share):
            room = RoomAir(room_share_frac=share)
            return room_air_cost(
                room, air_kg_s=np.ones(3), outdoor=OutdoorAir(temp_c=np.full(3, 5.0)), **self.given
            ).cost_minor

        assert cost(0.5) == pytest.approx(cost(1.0) / 2)

    def test_refuses_cooling_with_moisture_and_no_humidity(self):
        with pytest.raises(InputError, match="no outdoor humidity"):
            room_air_cost(
                RoomAir(cool_to_c=25), air_kg_s=np.ones(1), outdoor=OutdoorAir(temp_c=np.ones(1)), **self.given
            )

    def test_refuses_a_room_cooled_below_where_it_is_heated(self):
        with pytest.raises(InputErrors, match="above heat_to_c"):
            room_air_cost(
                RoomAir(heat_to_c=22, cool_to_c=20),
                air_kg_s=np.ones(1),
                outdoor=OutdoorAir(temp_c=np.ones(1)),
                **self.given,
            )
