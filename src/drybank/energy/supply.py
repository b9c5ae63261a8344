"""Heat in what is bought. Everything here is exact: fractions in, fractions out."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from drybank.records.energy import UNITS_OF, NaturalGas, Propane, Supply
from drybank.records.errors import InputError, InputErrors
from drybank.records.money import Exact, exact

# By definition: BTU(IT) 1055.05585262 J, foot 0.3048 m (1959), US gallon 231 cubic inches.
_BTU_J = Fraction("1055.05585262")
_FOOT3_M3 = Fraction("0.3048") ** 3
_GALLON_L = 231 * Fraction("0.0254") ** 3 * 1000
_ZERO_C_K = Fraction("273.15")

_HEAT_UNITS_J: dict[str, Fraction] = {
    "therm": 100_000 * _BTU_J,
    "MMBtu": 1_000_000 * _BTU_J,
    "MJ": Fraction(10**6),
    "GJ": Fraction(10**9),
    "kWh": Fraction(3_600_000),
}
_VOLUMES_FT3: dict[str, Fraction] = {"ft3": Fraction(1), "Ccf": Fraction(100), "Mcf": Fraction(1000)}


def unit_joules(unit: str, supply: Supply) -> Fraction:
    """Higher heating value of one unit of a supply, exact. [J]

    Volumes of gas are at the supply's base pressure and temperature; see `meter_factor`.
    """
    fuel = _fuel(supply)
    if unit not in UNITS_OF[fuel]:
        allowed = ", ".join(UNITS_OF[fuel])
        raise InputError(f"{fuel} is not measured in {unit}.", where="unit", allowed=allowed)
    mistakes = supply.check()
    if mistakes:
        raise InputErrors(mistakes)
    if unit in _HEAT_UNITS_J:
        return _HEAT_UNITS_J[unit]
    return _gas_volume_j(unit, supply) if isinstance(supply, NaturalGas) else _propane_j(unit, supply)


def billed_joules(unit: str, supply: Supply) -> Fraction:
    """Higher heating value of one unit as it stands on a bill, exact. [J]

    A volume of gas that meter or bill do not bring to the base is brought there first (`meter_factor`); heat needs no such
    thing.
    """
    plain = unit_joules(unit, supply)
    if isinstance(supply, NaturalGas) and unit not in _HEAT_UNITS_J:
        return plain * meter_factor(supply)
    return plain


def joules(quantity: Exact, unit: str, supply: Supply) -> Fraction:
    """Higher heating value of a quantity, exact. [J]"""
    return exact(quantity) * unit_joules(unit, supply)


def convert(quantity: Exact, unit_from: str, unit_to: str, supply: Supply) -> Fraction:
    """A quantity of one supply in another unit, exact.

    >>> gas = NaturalGas(heat_content_btu_ft3=Decimal(1038))
    >>> float(convert(1, "Ccf", "therm", gas))
    1.038
    """
    return exact(quantity) * unit_joules(unit_from, supply) / unit_joules(unit_to, supply)


def meter_factor(supply: NaturalGas) -> Fraction:
    """Base volume per volume on the dial: pressure ratio times temperature ratio (ideal gas).

    A meter or bill that already corrects one of the two leaves that ratio at 1.
    Ideal gas is within 0.2 % of real natural gas up to 35 kPa gauge (from memory).
    """
    mistakes = supply.check()
    if mistakes:
        raise InputErrors(mistakes)
    factor = Fraction(1)
    if not supply.meter_corrects_pressure:
        absolute = exact(supply.air_pressure_kpa) + exact(supply.meter_gauge_kpa)
        factor *= absolute / exact(supply.base_pressure_kpa)
    if not supply.meter_corrects_temp:
        factor *= (exact(supply.base_temp_c) + _ZERO_C_K) / (exact(supply.meter_temp_c) + _ZERO_C_K)
    return factor


def _fuel(supply: Supply) -> str:
    if isinstance(supply, NaturalGas):
        return "natural gas"
    return "propane" if isinstance(supply, Propane) else "electricity"


def _gas_volume_j(unit: str, supply: NaturalGas) -> Fraction:
    if supply.heat_content_mj_m3 is not None:
        per_m3 = exact(supply.heat_content_mj_m3) * 10**6
    else:
        btu = supply.heat_content_btu_ft3 or Decimal(0)
        per_m3 = exact(btu) * _BTU_J / _FOOT3_M3
    return per_m3 if unit == "m3" else per_m3 * _VOLUMES_FT3[unit] * _FOOT3_M3


def _propane_j(unit: str, supply: Supply) -> Fraction:
    assert isinstance(supply, Propane), "electricity has heat units only"
    per_litre = exact(supply.heat_content_btu_gal) * _BTU_J / _GALLON_L
    if unit == "gal":
        return per_litre * _GALLON_L
    return per_litre if unit == "L" else per_litre / exact(supply.density_kg_l)
