"""Bills to the minor unit."""

import datetime as dt
from decimal import Decimal
from fractions import Fraction

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.energy import (
    Adjustment,
    DayPart,
    DemandCharge,
    EnergyCharge,
    FixedCharge,
    Peak,
    Ratchet,
    Tariff,
    Tax,
    Tier,
    Usage,
    bill,
    bill_over,
    exact_total_minor,
    tariff_on,
)
from drybank.energy.tariff import billing_demand_kw
from drybank.records.errors import InputError, InputErrors, Missing

D = Decimal
JULY = {"first_day": dt.date(2007, 7, 1), "last_day": dt.date(2007, 7, 31)}


def flat(price: str) -> tuple[Tier, ...]:
    return (Tier(price_per_unit=D(price)),)


def power(**changes) -> Tariff:
    base = {
        "name": "General service",
        "fuel": "electricity",
        "unit": "kWh",
        "currency": "USD",
        "valid_from": dt.date(2000, 1, 1),
        "energy": (EnergyCharge(name="Energy", tiers=flat("0.1")),),
    }
    return Tariff(**{**base, **changes})


COMMERCIAL = power(
    energy=(EnergyCharge(name="Energy", tiers=flat("0.062533")),),
    demand=(DemandCharge(name="Demand", tiers=flat("22.6935")),),
    fixed=(FixedCharge(name="Customer", amount=D("25.42")),),
)
COMMERCIAL_USE = Usage(**JULY, quantity=D(24000), demand_kw=D(150))


@pytest.mark.facts
class TestPublishedCommercialBill:
    """IAEI Magazine, July 2007, “Commercial Electric Rates” (read): 24 000 kWh × 6.2533 c, 150 kW × $22.6935,
    $25.42. It prints energy 1500.79, demand 3404.02, total 4930.23; the demand is 3404.025 exactly."""

    def test_printed_lines_and_total_under_half_even(self):
        got = bill(COMMERCIAL_USE, msgspec.structs.replace(COMMERCIAL, rounding="half even"))
        assert [x.amount.minor for x in got.lines] == [150079, 340402, 2542]
        assert got.total.minor == 493023

    def test_half_up_gives_one_cent_more_on_the_demand_line(self):
        got = bill(COMMERCIAL_USE, COMMERCIAL)
        assert [x.amount.minor for x in got.lines] == [150079, 340403, 2542]
        assert got.total.minor == 493024

    def test_rounded_once_the_total_is_4930_24_and_its_lines_still_add(self):
        tariff = msgspec.structs.replace(COMMERCIAL, rounding="half even", rounded_where="total")
        got = bill(COMMERCIAL_USE, tariff)
        assert got.total.minor == 493024
        assert sum(x.amount.minor for x in got.lines) == 493024
        assert got.lines[-1].name == "Rounding"

    def test_exact_total(self):
        assert exact_total_minor(COMMERCIAL_USE, COMMERCIAL) == Fraction("493023.7")


LARGE = power(
    currency="CAD",
    energy=(
        EnergyCharge(
            name="Energy",
            tiers=(Tier(price_per_unit=D("0.041"), up_to_units=D(210000)), Tier(price_per_unit=D("0.0319"))),
        ),
    ),
    demand=(
        DemandCharge(
            name="Power",
            tiers=flat("0"),
            apparent_share_frac=D("0.9"),
            ratchet=Ratchet(share_frac=D("0.65"), lookback_months=12, months=(12, 1, 2, 3)),
        ),
    ),
)


@pytest.mark.facts
class TestPublishedBlockRateWithWinterFloor:
    """A Canadian utility's medium-power rate page, April 2012 (read): billing demand is the higher of kW and
    90 % of kVA, at least 65 % of the winter peak; first 210 000 kWh 4.1 c, the rest 3.19 c."""

    def use(self, kw: str, kva: str, *peaks: tuple[dt.date, str], kwh: str = "0") -> Usage:
        earlier = tuple(Peak(month=m, demand_kw=D(v)) for m, v in peaks)
        return Usage(**JULY, quantity=D(kwh), demand_kw=D(kw), apparent_kva=D(kva), earlier_peaks=earlier)

    def test_ninety_percent_of_apparent_power_counts_when_higher(self):
        assert billing_demand_kw(LARGE.demand[0], self.use("80", "100")) == 90

    def test_real_power_counts_when_higher(self):
        assert billing_demand_kw(LARGE.demand[0], self.use("95", "100")) == 95

    def test_winter_peak_sets_a_floor_and_a_summer_peak_does_not(self):
        winter, summer = (dt.date(2007, 1, 15), "200"), (dt.date(2006, 8, 15), "400")
        assert billing_demand_kw(LARGE.demand[0], self.use("80", "85", winter, summer)) == 130

    def test_a_winter_peak_of_two_years_ago_is_forgotten(self):
        assert billing_demand_kw(LARGE.demand[0], self.use("80", "85", (dt.date(2005, 1, 15), "200"))) == 80

    def test_both_blocks(self):
        """210 000 × 0.041 + 40 000 × 0.0319 = 8610 + 1276 = 9886.00."""
        got = bill(self.use("80", "85", kwh="250000"), LARGE)
        assert [x.amount.minor for x in got.lines if x.kind == "energy"] == [861000, 127600]


class TestDayParts:
    parts = (
        DayPart(name="on peak", weekdays=(1, 2, 3, 4, 5), from_hour=14, to_hour=20, months=(6, 7, 8, 9)),
        DayPart(name="night", from_hour=22, to_hour=6),
    )
    tariff = power(
        day_parts=parts,
        energy=(
            EnergyCharge(name="On peak", tiers=flat("0.30"), day_part="on peak"),
            EnergyCharge(name="Night", tiers=flat("0.08"), day_part="night"),
            EnergyCharge(name="Other", tiers=flat("0.12"), day_part="other hours"),
        ),
        demand=(DemandCharge(name="Peak demand", tiers=flat("10"), day_part="on peak"),),
    )

    def test_each_part_at_its_price(self):
        use = Usage(
            **JULY,
            quantity=D(600),
            by_day_part={"on peak": D(100), "night": D(200), "other hours": D(300)},
            demand_kw_by_day_part={"on peak": D("7.5")},
        )
        got = bill(use, self.tariff)
        assert [x.amount.minor for x in got.lines] == [3000, 1600, 3600, 7500]

    def test_refuses_a_usage_that_is_not_split(self):
        with pytest.raises(InputErrors, match="not split by day part"):
            bill(Usage(**JULY, quantity=D(600)), self.tariff)

    def test_refuses_parts_that_do_not_add_up(self):
        use = Usage(**JULY, quantity=D(600), by_day_part={"night": D(599)}, demand_kw_by_day_part={"on peak": D(1)})
        with pytest.raises(InputErrors, match="add to 599"):
            bill(use, self.tariff)

    def test_refuses_a_part_the_tariff_does_not_have(self):
        use = Usage(**JULY, quantity=D(6), by_day_part={"noon": D(6)}, demand_kw_by_day_part={"on peak": D(1)})
        with pytest.raises(InputErrors, match="no day part “noon”"):
            bill(use, self.tariff)


class TestRidersTaxesAndFloors:
    def test_a_percentage_rider_a_unit_credit_and_two_taxes_one_on_the_other(self):
        """By hand: 1000 × .10 = 100.00; fixed 10.00; rider 5 % of the energy 5.00; credit 1000 × -.002 = -2.00;
        tax 10 % of 113.00 = 11.30; second tax 2 % of 124.30 = 2.486 -> 2.49; total 126.79."""
        tariff = power(
            fixed=(FixedCharge(name="Customer", amount=D(10)),),
            adjustments=(
                Adjustment(name="Fuel rider", percent=D(5), of=("Energy",)),
                Adjustment(name="Credit", price_per_unit=D("-0.002")),
            ),
            taxes=(
                Tax(name="First tax", percent=D(10)),
                Tax(name="Second tax", percent=D(2), is_on_earlier_taxes=True),
            ),
        )
        got = bill(Usage(**JULY, quantity=D(1000)), tariff)
        assert [x.amount.minor for x in got.lines] == [10000, 1000, 500, -200, 1130, 249]
        assert got.total.minor == 12679

    def test_a_minimum_bill_is_topped_up_before_tax(self):
        tariff = power(minimum_bill=D(20), taxes=(Tax(name="Tax", percent=D(10)),))
        got = bill(Usage(**JULY, quantity=D(100)), tariff)
        assert [x.amount.minor for x in got.lines] == [1000, 1000, 200]

    def test_tiers_by_the_day_follow_the_length_of_the_bill(self):
        """10 kWh a day at 5 c, the rest at 20 c: 31 days, 400 kWh -> 310 × .05 + 90 × .20 = 33.50."""
        tiers = (Tier(price_per_unit=D("0.05"), up_to_units=D(10)), Tier(price_per_unit=D("0.2")))
        tariff = power(energy=(EnergyCharge(name="Energy", tiers=tiers, tier_basis="per day"),))
        assert bill(Usage(**JULY, quantity=D(400)), tariff).total.minor == 3350

    def test_tiers_by_hours_use_of_the_demand(self):
        """First 200 kWh a kW at 10 c, the rest at 6 c: 5 kW, 1500 kWh -> 1000 × .10 + 500 × .06 = 130.00."""
        tiers = (Tier(price_per_unit=D("0.10"), up_to_units=D(200)), Tier(price_per_unit=D("0.06")))
        charge = EnergyCharge(name="Energy", tiers=tiers, tier_basis="per kW of billing demand")
        got = bill(Usage(**JULY, quantity=D(1500), demand_kw=D(5)), power(energy=(charge,)))
        assert got.total.minor == 13000

    def test_a_fixed_charge_by_the_day(self):
        tariff = power(fixed=(FixedCharge(name="Customer", amount=D("0.75"), per="day"),), energy=())
        assert bill(Usage(**JULY, quantity=D(0)), tariff).total.minor == 2325


class TestTariffThatChanges:
    old = power(name="Old", valid_to=dt.date(2007, 7, 10), fixed=(FixedCharge(name="Customer", amount=D(31)),))
    new = power(
        name="New",
        valid_from=dt.date(2007, 7, 11),
        energy=(EnergyCharge(name="Energy", tiers=flat("0.2")),),
        fixed=(FixedCharge(name="Customer", amount=D(31)),),
    )

    def test_shares_usage_and_fixed_charges_by_days(self):
        """310 kWh over 31 days, 10 of them at 10 c, 21 at 20 c: 10 + 42; fixed 31 in all; total 83.00."""
        got = bill_over(Usage(**JULY, quantity=D(310)), (self.old, self.new))
        assert got.total.minor == 8300
        assert "shared by days" in got.notes[0]

    def test_one_tariff_throughout_is_the_plain_bill(self):
        use = Usage(**JULY, quantity=D(310))
        assert bill_over(use, (COMMERCIAL,)) == bill(use, COMMERCIAL)

    @given(st.decimals("0", "99999", places=3))
    def test_no_unit_is_lost_where_the_spans_meet(self, quantity):
        got = bill_over(Usage(**JULY, quantity=quantity), (self.old, self.new))
        assert sum(x.quantity for x in got.lines if x.kind == "energy") == quantity

    def test_refuses_a_day_without_a_tariff(self):
        with pytest.raises(Missing, match="No tariff holds on 2007-07-11"):
            bill_over(Usage(**JULY, quantity=D(310)), (self.old,))

    def test_refuses_two_tariffs_on_one_day(self):
        with pytest.raises(InputError, match="two tariffs hold"):
            tariff_on((COMMERCIAL, self.old), dt.date(2007, 7, 5))

    def test_a_plain_bill_refuses_days_outside_the_tariff(self):
        with pytest.raises(InputErrors, match="lies outside “Old”"):
            bill(Usage(**JULY, quantity=D(1)), self.old)


prices = st.decimals("-0.05", "0.9", places=6)
amounts = st.decimals("0", "99999", places=3)


@st.composite
def tariffs(draw) -> Tariff:
    edges = sorted(draw(st.sets(st.integers(1, 9999), max_size=3)))
    tiers = [Tier(price_per_unit=draw(prices), up_to_units=D(e)) for e in edges]
    return power(
        energy=(EnergyCharge(name="Energy", tiers=(*tiers, Tier(price_per_unit=draw(prices)))),),
        demand=(DemandCharge(name="Demand", tiers=flat(str(draw(prices)))),),
        fixed=(FixedCharge(name="Fixed", amount=draw(st.decimals("0", "99", places=4))),),
        adjustments=(
            Adjustment(name="Rider", percent=draw(st.decimals("-20", "20", places=3))),
            Adjustment(name="Unit rider", price_per_unit=draw(prices)),
        ),
        taxes=(Tax(name="Tax", percent=draw(st.decimals("0", "30", places=3))),),
        rounding=draw(st.sampled_from(["half up", "half even", "down", "up"])),
        rounded_where=draw(st.sampled_from(["line", "total"])),
        minimum_bill=draw(st.none() | st.decimals("0", "500", places=2)),
    )


class TestWhatMustHold:
    @settings(deadline=None)
    @given(tariffs(), amounts, amounts)
    def test_lines_add_to_the_total_and_it_lies_near_the_exact_one(self, tariff, quantity, kw):
        use = Usage(**JULY, quantity=quantity, demand_kw=kw)
        got = bill(use, tariff)
        assert sum(x.amount.minor for x in got.lines) == got.total.minor
        slack = 1 if tariff.rounded_where == "total" else 2 * len(got.lines)
        assert abs(got.total.minor - exact_total_minor(use, tariff)) <= slack

    @settings(deadline=None)
    @given(tariffs(), amounts)
    def test_tiers_hand_out_every_unit_once(self, tariff, quantity):
        got = bill(Usage(**JULY, quantity=quantity), tariff)
        assert sum(x.quantity for x in got.lines if x.kind == "energy") == quantity

    def test_a_tariff_survives_a_file_of_text(self):
        text = msgspec.json.encode(COMMERCIAL)
        assert msgspec.json.decode(text, type=Tariff) == COMMERCIAL

    def test_an_unknown_key_is_refused(self):
        with pytest.raises(msgspec.ValidationError, match="unknown field"):
            msgspec.convert({"name": "Energy", "tiers": [], "peice": 1}, EnergyCharge)


class TestImpossibleTariffs:
    @pytest.mark.parametrize(
        ("changes", "sentence"),
        [
            ({"energy": (EnergyCharge(name="E", tiers=()),)}, "no tier"),
            ({"energy": (EnergyCharge(name="E", tiers=(Tier(price_per_unit=D(1), up_to_units=D(5)),)),)}, "have no price"),
            ({"fuel": "natural gas", "unit": "gal"}, "not sold by the gal"),
            ({"currency": "ZZZ"}, "not a currency"),
            ({"valid_to": dt.date(1999, 1, 1)}, "before valid_from"),
            ({"energy": ()}, "charges nothing"),
            ({"energy": (EnergyCharge(name="E", tiers=flat("1"), day_part="noon"),)}, "does not have"),
            ({"fixed": (FixedCharge(name="Energy", amount=D(1)),)}, "two lines are called"),
            ({"taxes": (Tax(name="T", percent=D(5), of=("Nothing",)),)}, "no line before it"),
            ({"taxes": (Tax(name="T", percent=D(500)),)}, "0 to 100"),
            ({"adjustments": (Adjustment(name="A"),)}, "one of the two"),
            ({"energy": (EnergyCharge(name="E", tiers=flat("NaN")),)}, "not a number"),
            ({"energy": (EnergyCharge(name="E", tiers=flat("1e999999")),)}, "not a number"),
            ({"energy": (EnergyCharge(name="E", tiers=flat("1e-999999")),)}, "not a number"),
            ({"taxes": (Tax(name="T", percent=D("1e-999999")),)}, "0 to 100"),
            ({"day_parts": (DayPart(name="p", from_hour=5, to_hour=5),)}, "no hour is left"),
            ({"day_parts": (DayPart(name="p", weekdays=(0,)),)}, "1 to 7"),
        ],
    )  # fmt: skip
    def test_says_what_is_wrong(self, changes, sentence):
        said = "\n".join(e.sentence() for e in power(**changes).check())
        assert sentence in said

    def test_tier_ends_must_rise(self):
        tiers = (
            Tier(price_per_unit=D(1), up_to_units=D(9)),
            Tier(price_per_unit=D(1), up_to_units=D(9)),
            Tier(price_per_unit=D(1)),
        )
        assert "must rise" in power(energy=(EnergyCharge(name="E", tiers=tiers),)).check()[0].sentence()

    def test_demand_on_gas_is_refused(self):
        gas = power(fuel="natural gas", unit="therm", demand=(DemandCharge(name="D", tiers=flat("1")),))
        assert "belongs to electricity" in gas.check()[0].sentence()

    def test_a_usage_with_endless_digits_is_refused_at_once(self):
        with pytest.raises(InputErrors, match=r"quantity is 1E-999999"):
            bill(Usage(**JULY, quantity=D("1e-999999")), COMMERCIAL)

    def test_every_mistake_comes_at_once(self):
        bad = power(currency="ZZZ", taxes=(Tax(name="T", percent=D(-1)),), valid_to=dt.date(1999, 1, 1))
        with pytest.raises(InputErrors) as caught:
            bill(Usage(**JULY, quantity=D(1)), bad)
        assert len(caught.value.errors) == 5  # three of the tariff, two days of the usage outside it
