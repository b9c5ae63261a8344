"""Fuels, supplies, tariffs, usage and bills.

Quantities that are billed and prices are exact `Decimal`; amounts are `Money`. A file
reader must hand decimals over as text, whole numbers or `Decimal` (``tomllib`` with
``parse_float=Decimal``), never as binary floats: 0.1 is not a price.

Every record a person can type has ``check(where)``: all its mistakes at once.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.errors import InputError
from drybank.records.money import MINOR_DIGITS, Money, Rounding
from drybank.records.working import Estimate, Working

GasUnit = Literal["therm", "MMBtu", "Ccf", "Mcf", "ft3", "m3", "MJ", "GJ", "kWh"]
PropaneUnit = Literal["gal", "L", "kg", "MJ", "GJ", "kWh", "therm", "MMBtu"]
EnergyUnit = Literal["therm", "MMBtu", "Ccf", "Mcf", "ft3", "m3", "MJ", "GJ", "kWh", "gal", "L", "kg"]
ALL_YEAR = tuple(range(1, 13))


class NaturalGas(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True,
                 tag_field="fuel", tag="natural gas"):  # fmt: skip
    """Natural gas as this store gets it: heat in a volume, and what the meter's volume means."""

    heat_content_btu_ft3: Decimal | None = None
    """Higher heating value, 850 to 1200 Btu per cubic foot at the base conditions; or give the next one."""
    heat_content_mj_m3: Decimal | None = None
    """Higher heating value, 31.7 to 44.7 MJ per cubic metre at the base conditions."""
    base_pressure_kpa: Decimal = Decimal("101.5598")
    """Absolute pressure the heat content is stated at, 95 to 105 kPa; default 14.73 psi (US); Canada 101.325."""
    base_temp_c: Decimal = Decimal("15.5556")
    """Temperature the heat content is stated at, 0 to 25 °C; default 60 °F."""
    meter_gauge_kpa: Decimal = Decimal("1.7436")
    """Pressure at the meter above the air's, 0 to 700 kPa; default 7 inches of water."""
    meter_temp_c: Decimal = Decimal("15.5556")
    """Temperature of the gas in the meter, -40 to 50 °C; default 60 °F."""
    air_pressure_kpa: Decimal = Decimal("101.325")
    """Air pressure at the store, 55 to 108 kPa; default sea level."""
    meter_corrects_pressure: bool = False
    """True when the meter or the bill already brings volume to base pressure."""
    meter_corrects_temp: bool = False
    """True when the meter is temperature-compensated."""
    source: str = ""
    """Where the heat content comes from: a bill, the utility's page, assumed."""

    def check(self, where: str = "gas supply") -> list[InputError]:
        out = list(_one_of(where, self.heat_content_btu_ft3, self.heat_content_mj_m3))
        for name, value, low, high in (
            ("heat_content_btu_ft3", self.heat_content_btu_ft3, "850", "1200"),
            ("heat_content_mj_m3", self.heat_content_mj_m3, "31.7", "44.7"),
            ("base_pressure_kpa", self.base_pressure_kpa, "95", "105"),
            ("base_temp_c", self.base_temp_c, "0", "25"),
            ("meter_gauge_kpa", self.meter_gauge_kpa, "0", "700"),
            ("meter_temp_c", self.meter_temp_c, "-40", "50"),
            ("air_pressure_kpa", self.air_pressure_kpa, "55", "108"),
        ):
            out += _within(where, name, value, low, high)
        return out


class Propane(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True,
              tag_field="fuel", tag="propane"):  # fmt: skip
    """Liquefied petroleum gas sold by the gallon, litre or kilogram of liquid."""

    heat_content_btu_gal: Decimal = Decimal(91452)
    """Higher heating value, 88 000 to 95 000 Btu per US gallon; default 91 452 (EIA, read in a secondary page)."""
    density_kg_l: Decimal = Decimal("0.508")
    """Density of the liquid, 0.48 to 0.53 kg per litre; default 0.508 at 60 °F (from memory)."""
    source: str = ""
    """Where the two figures come from."""

    def check(self, where: str = "propane supply") -> list[InputError]:
        return [
            *_within(where, "heat_content_btu_gal", self.heat_content_btu_gal, "88000", "95000"),
            *_within(where, "density_kg_l", self.density_kg_l, "0.48", "0.53"),
        ]


class Electricity(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True,
                  tag_field="fuel", tag="electricity"):  # fmt: skip
    """Electricity; one kilowatt-hour is 3.6 MJ wherever it is sold."""

    source: str = ""
    """Who supplies it."""

    def check(self, where: str = "electricity supply") -> list[InputError]:
        return []


Supply = NaturalGas | Propane | Electricity


class Tier(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One block of a charge: so many units at this price."""

    price_per_unit: Decimal
    """Price in whole currency units (0.062533 is 6.2533 cents) per unit of the charge; may be negative (a credit)."""
    up_to_units: Decimal | None = None
    """Where the block ends, counted from zero; leave out in the last tier."""


class DayPart(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A named part of the week and year, such as on peak. The first that fits an hour takes it."""

    name: str
    """Name that charges refer to."""
    weekdays: tuple[int, ...] = (1, 2, 3, 4, 5, 6, 7)
    """1 Monday to 7 Sunday; default every day."""
    from_hour: int = 0
    """First whole hour, 0 to 23, local clock; default 0."""
    to_hour: int = 24
    """Hour at which it ends, 1 to 24; a smaller number than from_hour runs past midnight; default 24."""
    months: tuple[int, ...] = ALL_YEAR
    """Months it holds in, 1 to 12; default all."""
    holidays_count_as: int | None = None
    """Weekday that holidays are treated as, 1 to 7; default: as the day they fall on."""

    def check(self, where: str = "day part") -> list[InputError]:
        out = [] if self.name else [InputError("a day part needs a name.", where=where)]
        out += _each_within(where, "weekdays", self.weekdays, 1, 7)
        out += _each_within(where, "months", self.months, 1, 12)
        out += _within(where, "from_hour", self.from_hour, "0", "23")
        out += _within(where, "to_hour", self.to_hour, "1", "24")
        if self.from_hour == self.to_hour:
            out.append(InputError("from_hour and to_hour are equal: no hour is left.", where=where))
        return out


class EnergyCharge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A price on the quantity used, in tiers, in a day part or in all of them."""

    name: str
    """Name printed on the bill's line."""
    tiers: tuple[Tier, ...]
    """Blocks from the first unit on; the last one has no end."""
    day_part: str = ""
    """Day part whose usage it prices; default: all usage."""
    tier_basis: Literal["per bill", "per day", "per kW of billing demand"] = "per bill"
    """Tier ends are units a bill (default), a day, or hours' use of the billing demand."""

    def check(self, where: str = "energy charge") -> list[InputError]:
        return [*_named(where, self.name), *_tiers(f"{where} “{self.name}”", self.tiers)]


class Ratchet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A floor under billing demand, from peaks of earlier months."""

    share_frac: Decimal
    """Share of the earlier peak that is billed at least, 0 to 1."""
    lookback_months: int = 11
    """How many months before the bill count, 1 to 36; default 11."""
    months: tuple[int, ...] = ALL_YEAR
    """Which of those count (a winter ratchet: 12, 1, 2, 3); default all."""

    def check(self, where: str = "ratchet") -> list[InputError]:
        return [
            *_within(where, "share_frac", self.share_frac, "0", "1"),
            *_within(where, "lookback_months", self.lookback_months, "1", "36"),
            *_each_within(where, "months", self.months, 1, 12),
        ]


class DemandCharge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A price per kilowatt of billing demand."""

    name: str
    """Name printed on the bill's line."""
    tiers: tuple[Tier, ...]
    """Price per kW, in blocks of kW; a block at 0 makes the first kW free."""
    day_part: str = ""
    """Day part whose peak is billed; default: the whole bill's peak."""
    apparent_share_frac: Decimal | None = None
    """Billing demand is at least this share of the peak kVA, 0 to 1; default: kVA does not count."""
    minimum_kw: Decimal = Decimal(0)
    """Least billing demand, 0 or more kW; default none."""
    ratchet: Ratchet | None = None
    """Floor from earlier peaks; default none."""

    def check(self, where: str = "demand charge") -> list[InputError]:
        here = f"{where} “{self.name}”"
        out = [*_named(where, self.name), *_tiers(here, self.tiers)]
        out += _within(here, "apparent_share_frac", self.apparent_share_frac, "0", "1")
        out += _within(here, "minimum_kw", self.minimum_kw, "0", "100000")
        return out + (self.ratchet.check(here) if self.ratchet else [])


class FixedCharge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A charge that usage does not change."""

    name: str
    """Name printed on the bill's line."""
    amount: Decimal
    """Amount in whole currency units each time."""
    per: Literal["bill", "day"] = "bill"
    """Once a bill (default) or once a day of the bill."""

    def check(self, where: str = "fixed charge") -> list[InputError]:
        return [*_named(where, self.name), *_finite(f"{where} “{self.name}”", "amount", self.amount)]


class Adjustment(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rider: so much a unit, or a percentage of named lines. Exactly one of the two."""

    name: str
    """Name printed on the bill's line."""
    price_per_unit: Decimal | None = None
    """Price in whole currency units per unit used; may be negative."""
    percent: Decimal | None = None
    """Percentage of the lines named in ``of``, -100 to 1000; 5 means 5 %."""
    of: tuple[str, ...] = ()
    """Names of earlier lines the percentage is on; default: every line before this one."""

    def check(self, where: str = "adjustment") -> list[InputError]:
        here = f"{where} “{self.name}”"
        out = [*_named(where, self.name), *_within(here, "percent", self.percent, "-100", "1000")]
        if (self.price_per_unit is None) == (self.percent is None):
            out.append(InputError("give price_per_unit or percent, one of the two.", where=here))
        return out + list(_finite(here, "price_per_unit", self.price_per_unit))


class Tax(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A tax on charges and adjustments; data with its jurisdiction and source."""

    name: str
    """Name printed on the bill's line."""
    percent: Decimal
    """Rate, 0 to 100; 13 means 13 %."""
    of: tuple[str, ...] = ()
    """Names of the lines it is on; default: every charge and adjustment."""
    is_on_earlier_taxes: bool = False
    """True when it is also levied on the taxes listed before it; default false."""
    jurisdiction: str = ""
    """Whose tax it is."""
    source: str = ""
    """Where the rate was read."""

    def check(self, where: str = "tax") -> list[InputError]:
        return [
            *_named(where, self.name),
            *_within(f"{where} “{self.name}”", "percent", self.percent, "0", "100"),
        ]


_Line = EnergyCharge | DemandCharge | FixedCharge | Adjustment | Tax


class Tariff(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rate as its supplier states it, from one date to another."""

    name: str
    """Name of the rate."""
    fuel: Literal["natural gas", "propane", "electricity"]
    """What is sold under it."""
    unit: EnergyUnit
    """Unit the prices are per."""
    currency: str
    """Three letters, such as USD or CAD."""
    valid_from: dt.date
    """First day it holds."""
    valid_to: dt.date | None = None
    """Last day it holds; default: until further notice."""
    energy: tuple[EnergyCharge, ...] = ()
    """Prices on the quantity used."""
    demand: tuple[DemandCharge, ...] = ()
    """Prices on the peak, electricity only."""
    fixed: tuple[FixedCharge, ...] = ()
    """Charges that usage does not change."""
    adjustments: tuple[Adjustment, ...] = ()
    """Riders, in the order they are applied."""
    taxes: tuple[Tax, ...] = ()
    """Taxes, in the order they are applied."""
    minimum_bill: Decimal | None = None
    """Least sum of charges and adjustments before tax, whole currency units; default none."""
    day_parts: tuple[DayPart, ...] = ()
    """Parts of the week, first fit wins; hours that fit none belong to ``other_hours``."""
    other_hours: str = "other hours"
    """Name of the day part for hours that fit none; default "other hours"."""
    rounding: Rounding = "half up"
    """How half a minor unit is rounded; default half up."""
    rounded_where: Literal["line", "total"] = "line"
    """Each line is rounded and the total is their sum (default), or only the total is rounded."""
    source: str = ""
    """Where the rate was read, with its date."""

    def check(self, where: str = "tariff") -> list[InputError]:
        here = f"{where} “{self.name}”"
        out = [*_named(where, self.name), *self._check_itself(here), *self._check_references(here)]
        for line in self._charges():
            out += line.check(here)
        for part in self.day_parts:
            out += part.check(here)
        return out

    def _charges(self) -> tuple[_Line, ...]:
        return (*self.energy, *self.demand, *self.fixed, *self.adjustments, *self.taxes)

    def _check_itself(self, here: str) -> Iterator[InputError]:
        if self.currency not in MINOR_DIGITS:
            allowed = ", ".join(sorted(MINOR_DIGITS))
            yield InputError(f"“{self.currency}” is not a currency Drybank knows.", where=here, allowed=allowed)
        if self.valid_to is not None and self.valid_to < self.valid_from:
            yield InputError("valid_to lies before valid_from.", where=here, mend="Put the later date last.")
        if self.unit not in UNITS_OF[self.fuel]:
            allowed = ", ".join(UNITS_OF[self.fuel])
            yield InputError(f"{self.fuel} is not sold by the {self.unit}.", where=here, allowed=allowed)
        if self.demand and self.fuel != "electricity":
            yield InputError("a demand charge belongs to electricity.", where=here, mend="Take it out.")
        if not (self.energy or self.demand or self.fixed or self.adjustments):
            yield InputError("the tariff charges nothing.", where=here, mend="Give it at least one charge.")
        if self.minimum_bill is not None:
            yield from _within(here, "minimum_bill", self.minimum_bill, "0", "1000000")

    def _check_references(self, here: str) -> Iterator[InputError]:
        parts = {*(p.name for p in self.day_parts), self.other_hours, ""}
        priced: tuple[EnergyCharge | DemandCharge, ...] = (*self.energy, *self.demand)
        for charge in priced:
            if charge.day_part not in parts:
                allowed = ", ".join(sorted(parts - {""}))
                yield InputError(f"“{charge.name}” names day part “{charge.day_part}”, which the tariff "
                                 "does not have.", where=here, allowed=allowed)  # fmt: skip
        seen: set[str] = set()
        for line in self._charges():
            if line.name in seen:
                yield InputError(f"two lines are called “{line.name}”.", where=here, mend="Rename one.")
            for name in line.of if isinstance(line, Adjustment | Tax) else ():
                if name not in seen:
                    yield InputError(f"“{line.name}” is on “{name}”, which is no line before it.", where=here)
            seen.add(line.name)


UNITS_OF: dict[str, tuple[str, ...]] = {
    "natural gas": ("therm", "MMBtu", "Ccf", "Mcf", "ft3", "m3", "MJ", "GJ", "kWh"),
    "propane": ("gal", "L", "kg", "MJ", "GJ", "kWh", "therm", "MMBtu"),
    "electricity": ("kWh", "MJ", "GJ"),
}


class Peak(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The highest demand of an earlier month, for a ratchet."""

    month: dt.date
    """Any day of the month."""
    demand_kw: Decimal
    """Highest demand of that month, kW."""


class Usage(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was used between two readings, both days included."""

    first_day: dt.date
    """First day of the bill."""
    last_day: dt.date
    """Last day of the bill, included."""
    quantity: Decimal
    """Quantity in the tariff's unit."""
    by_day_part: dict[str, Decimal] = msgspec.field(default_factory=dict)
    """Quantity in each day part; they add to ``quantity``. Needed where a charge names a day part."""
    demand_kw: Decimal = Decimal(0)
    """Highest demand of the bill, kW."""
    demand_kw_by_day_part: dict[str, Decimal] = msgspec.field(default_factory=dict)
    """Highest demand in each day part, kW."""
    apparent_kva: Decimal | None = None
    """Highest apparent demand, kVA; needed where the tariff counts kVA."""
    earlier_peaks: tuple[Peak, ...] = ()
    """Peaks of earlier months; needed where the tariff has a ratchet."""

    @property
    def days(self) -> int:
        return (self.last_day - self.first_day).days + 1

    def check(self, where: str = "usage") -> list[InputError]:
        out = []
        if self.last_day < self.first_day:
            out.append(InputError("the last day lies before the first.", where=where, mend="Swap the dates."))
        for name, value in (("quantity", self.quantity), ("demand_kw", self.demand_kw)):
            out += _within(where, name, value, "0", "1000000000")
        for group in (self.by_day_part, self.demand_kw_by_day_part):
            for name, value in group.items():
                out += _within(where, name, value, "0", "1000000000")
        if self.by_day_part and sum(self.by_day_part.values()) != self.quantity:
            added = sum(self.by_day_part.values())
            out.append(InputError(f"the day parts add to {added}, the quantity is {self.quantity}.", where=where))
        return out


class BillLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a bill; ``unrounded`` is the amount before rounding, to a millionth of the currency."""

    name: str
    kind: Literal["energy", "demand", "fixed", "adjustment", "minimum", "tax", "rounding"]
    amount: Money
    unrounded: Decimal
    formula: str
    quantity: Decimal | None = None
    unit: str = ""


class Bill(msgspec.Struct, frozen=True, kw_only=True):
    """Lines that add to the total, to the minor unit."""

    tariff: str
    first_day: dt.date
    last_day: dt.date
    lines: tuple[BillLine, ...]
    total: Money
    notes: tuple[str, ...] = ()
    working: Working | None = None


class StatedBill(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A bill as somebody copied it down: what was paid, for how much, and the price written beside it."""

    amount: Decimal
    """What was paid, whole currency units."""
    quantity: Decimal
    """How much was bought."""
    unit: str
    """Unit of the quantity."""
    price_per_unit: Decimal
    """The unit price as stated, with the digits as stated."""


class PriceDoubt(msgspec.Struct, frozen=True, kw_only=True):
    """A finding: a stated unit price does not agree with amount over quantity."""

    stated: Decimal
    computed: Decimal
    unit: str
    difference_pct: Decimal
    likely: str
    sentence: str


class UnitCost(msgspec.Struct, frozen=True, kw_only=True):
    """What a unit of fuel costs at the margin and on average, exact, in minor units."""

    unit: str
    currency: str
    marginal_minor: Decimal
    """One more unit, peak unchanged."""
    average_minor: Decimal | None
    """The whole bill over the units used; None when nothing was used."""
    marginal_with_peak_minor: Decimal | None = None
    """One more unit when the peak rises with it; electricity with a demand charge only."""
    working: Working | None = None


class MinuteCost(msgspec.Struct, frozen=True, kw_only=True):
    """Energy cost of one minute of heated drying, minor units a minute."""

    currency: str
    fuel_marginal: Estimate
    fuel_average: Estimate
    electricity_marginal: Estimate
    electricity_average: Estimate
    total_marginal: Estimate
    total_average: Estimate


class RoomAir(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A conditioned room that the dryers draw their air from. Left out, make-up air is not counted."""

    heat_to_c: float = 20.0
    """The room is heated when it would fall below this, 5 to 30 °C; default 20."""
    cool_to_c: float | None = None
    """The room is cooled when it would rise above this, 18 to 35 °C; default: not cooled."""
    heating_efficiency_frac: float = 0.8
    """Heat into the room per unit of fuel bought, 0.3 to 1.0; default 0.8 (assumed)."""
    cooling_cop: float = 3.0
    """Heat taken out per unit of electricity, 1 to 8; default 3 (assumed)."""
    room_share_frac: float = 1.0
    """Share of the dryers' air that comes from the room, 0 to 1; the rest by an own duct; default 1."""
    counts_moisture: bool = True
    """Cooling also dries the outdoor air down to the room's 50 % humidity; default true."""

    def check(self, where: str = "room air") -> list[InputError]:
        out = []
        for name, value, low, high in (
            ("heat_to_c", self.heat_to_c, 5, 30),
            ("cool_to_c", self.cool_to_c, 18, 35),
            ("heating_efficiency_frac", self.heating_efficiency_frac, 0.3, 1),
            ("cooling_cop", self.cooling_cop, 1, 8),
            ("room_share_frac", self.room_share_frac, 0, 1),
        ):
            if value is not None and not low <= value <= high:
                out.append(InputError(f"{name} is {value:g}.", where=where, allowed=f"{low} to {high}"))
        if self.cool_to_c is not None and self.cool_to_c <= self.heat_to_c:
            out.append(InputError("cool_to_c must lie above heat_to_c.", where=where))
        return out


class OutdoorAir(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """Outdoor air hour by hour: arrays (hours,) of °C and, where moisture counts, of humidity ratio in kg per kg."""

    temp_c: NDArray[np.floating[Any]]
    humidity_kg_kg: NDArray[np.floating[Any]] | None = None
    pressure_pa: float = 101_325.0


class RoomAirCost(msgspec.Struct, frozen=True, kw_only=True):
    """Hidden cost of room air thrown out, over the hours given; stated apart, never in a plan's margin."""

    hours: int
    heating_kwh: float
    """Fuel bought to heat make-up air, kWh."""
    cooling_kwh: float
    """Electricity bought to cool and dry it, kWh."""
    cost_minor: float
    cost_per_drying_minute_minor: float
    currency: str
    working: Working


def _named(where: str, name: str) -> Iterator[InputError]:
    if not name.strip():
        yield InputError("it needs a name.", where=where)


DECIMALS_AT_MOST = 12
"""Digits after the point that a figure may have; more would be a slip, and exact sums of them have no end."""


def _fine(value: Decimal) -> bool:
    """A number with no more digits after the point than anyone prints."""
    if not value.is_finite():
        return False
    exponent = value.as_tuple().exponent
    return isinstance(exponent, int) and exponent >= -DECIMALS_AT_MOST and value.adjusted() <= DECIMALS_AT_MOST


def _finite(where: str, name: str, value: Decimal | None) -> Iterator[InputError]:
    if value is not None and not (_fine(value) and abs(value) <= 10_000_000):
        yield InputError(f"{name} is not a number that a bill can hold.", where=where,
                         allowed="-10000000 to 10000000, at most 12 decimals")  # fmt: skip


def _within(where: str, name: str, value: Decimal | int | None, low: str, high: str) -> Iterator[InputError]:
    if value is None:
        return
    number = Decimal(value)
    if not _fine(number) or not Decimal(low) <= number <= Decimal(high):
        shown = str(value) if len(str(value)) <= 24 else f"{str(value)[:20]}..."
        yield InputError(f"{name} is {shown}.", where=where, allowed=f"{low} to {high}")


def _each_within(where: str, name: str, values: Sequence[int], low: int, high: int) -> Iterator[InputError]:
    if not values:
        yield InputError(f"{name} is empty.", where=where, mend=f"Leave it out, or list {low} to {high}.")
    for value in values:
        yield from _within(where, name, value, str(low), str(high))


def _one_of(where: str, btu: Decimal | None, mj: Decimal | None) -> Iterator[InputError]:
    if (btu is None) == (mj is None):
        yield InputError("give heat_content_btu_ft3 or heat_content_mj_m3, one of the two.", where=where,
                         mend="The heat content stands on the bill, or on the utility's page.")  # fmt: skip


def _tiers(where: str, tiers: Sequence[Tier]) -> Iterator[InputError]:
    if not tiers:
        yield InputError("it has no tier.", where=where, mend="Give one tier with a price_per_unit.")
        return
    if tiers[-1].up_to_units is not None:
        yield InputError("the last tier ends; units above it have no price.", where=where,
                         mend="Leave up_to_units out of the last tier.")  # fmt: skip
    edge = Decimal(0)
    for tier in tiers:
        yield from _finite(where, "price_per_unit", tier.price_per_unit)
    for tier in tiers[:-1]:
        if tier.up_to_units is None or not _fine(tier.up_to_units) or tier.up_to_units <= edge:
            yield InputError(f"tier ends must rise: {tier.up_to_units} follows {edge}.", where=where)
            return
        edge = tier.up_to_units
