"""Fuels and tariffs: what heat is in what is bought, what a bill comes to, what a minute costs.

    supply.py    heat in a quantity; exact conversion between units; what a meter's volume means
    tariff.py    ``bill(usage, tariff)``: lines that add to the minor unit; tariffs that follow each other
    hours.py     hourly use sorted into a tariff's day parts and peaks
    doubt.py     a stated unit price held against amount over quantity
    cost.py      marginal and average cost of a unit, of a heated minute
    roomair.py   the hidden cost of room air thrown out (off unless asked)

Records are in ``drybank.records.energy``.
"""

from drybank.energy.cost import minute_cost, unit_cost
from drybank.energy.doubt import check_stated_price
from drybank.energy.hours import day_part_of, usage_from_hours
from drybank.energy.roomair import room_air_cost
from drybank.energy.supply import billed_joules, convert, joules, meter_factor, unit_joules
from drybank.energy.tariff import bill, bill_over, exact_total_minor, tariff_on
from drybank.records.energy import (
    Adjustment,
    Bill,
    BillLine,
    DayPart,
    DemandCharge,
    Electricity,
    EnergyCharge,
    FixedCharge,
    MinuteCost,
    NaturalGas,
    OutdoorAir,
    Peak,
    PriceDoubt,
    Propane,
    Ratchet,
    RoomAir,
    RoomAirCost,
    StatedBill,
    Supply,
    Tariff,
    Tax,
    Tier,
    UnitCost,
    Usage,
)

__all__ = [
    "Adjustment",
    "Bill",
    "BillLine",
    "DayPart",
    "DemandCharge",
    "Electricity",
    "EnergyCharge",
    "FixedCharge",
    "MinuteCost",
    "NaturalGas",
    "OutdoorAir",
    "Peak",
    "PriceDoubt",
    "Propane",
    "Ratchet",
    "RoomAir",
    "RoomAirCost",
    "StatedBill",
    "Supply",
    "Tariff",
    "Tax",
    "Tier",
    "UnitCost",
    "Usage",
    "bill",
    "bill_over",
    "billed_joules",
    "check_stated_price",
    "convert",
    "day_part_of",
    "exact_total_minor",
    "joules",
    "meter_factor",
    "minute_cost",
    "room_air_cost",
    "tariff_on",
    "unit_cost",
    "unit_joules",
    "usage_from_hours",
]
