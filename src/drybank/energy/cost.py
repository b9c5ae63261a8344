"""What one more unit costs, what a unit costs on average, and both per heated minute."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

import msgspec

from drybank.energy.supply import billed_joules
from drybank.energy.tariff import exact_total_minor
from drybank.records.energy import MinuteCost, Supply, Tariff, UnitCost, Usage
from drybank.records.errors import InputError, OutOfRange
from drybank.records.money import MINOR_DIGITS, exact
from drybank.records.working import Estimate, Input, Working


def unit_cost(
    usage: Usage, tariff: Tariff, *, day_part_shares: Mapping[str, Decimal] | None = None, step: Decimal = Decimal(1)
) -> UnitCost:
    """Marginal and average cost of a unit under a tariff, in minor units.

    Marginal is the bill with ``step`` more units, less the bill, over the step; nothing rounded,
    taxes and percentage riders included. Where the tariff has day parts the step falls in
    them by ``day_part_shares`` (default: as the usage does).
    """
    if step <= 0:
        raise InputError("the step must be above zero.", where="step")
    now = exact_total_minor(usage, tariff)
    more = _more(usage, day_part_shares, step)
    marginal = (exact_total_minor(more, tariff) - now) / exact(step)
    average = now / exact(usage.quantity) if usage.quantity else None
    with_peak = None
    if tariff.demand:
        hours = Fraction(24 * usage.days)
        raised = _raise_peaks(more, exact(step) / hours)
        with_peak = (exact_total_minor(raised, tariff) - now) / exact(step)
    return UnitCost(
        unit=tariff.unit,
        currency=tariff.currency,
        marginal_minor=_decimal(marginal),
        average_minor=None if average is None else _decimal(average),
        marginal_with_peak_minor=None if with_peak is None else _decimal(with_peak),
        working=_unit_working(usage, tariff, marginal, average),
    )


def minute_cost(
    *,
    fuel: UnitCost,
    supply: Supply,
    burner_w: float,
    electricity: UnitCost,
    motor_w: float,
) -> MinuteCost:
    """Energy cost of one heated minute: burner at its mean rate, motor at its own.

    ``burner_w`` is the mean heat input while heated, higher heating value, burner cycling
    included. [W]  Averages fall back to the margin where nothing was used.
    """
    for name, value in (("burner_w", burner_w), ("motor_w", motor_w)):
        if not 0.0 <= value <= 1e6:
            raise OutOfRange(name, value, 0.0, 1e6, "W")
    if fuel.currency != electricity.currency:
        raise InputError(f"fuel is in {fuel.currency}, electricity in {electricity.currency}.", where="tariffs")
    fuel_units = 60.0 * burner_w / float(billed_joules(fuel.unit, supply))
    power_units = 60.0 * motor_w / float(_electric_joules(electricity.unit))
    f_marginal = _per_minute("fuel", fuel_units, fuel, fuel.marginal_minor)
    f_average = _per_minute("fuel", fuel_units, fuel, fuel.average_minor)
    e_marginal = _per_minute("electricity", power_units, electricity, electricity.marginal_minor)
    e_average = _per_minute("electricity", power_units, electricity, electricity.average_minor)
    return MinuteCost(
        currency=fuel.currency,
        fuel_marginal=f_marginal, fuel_average=f_average,
        electricity_marginal=e_marginal, electricity_average=e_average,
        total_marginal=_sum(f_marginal, e_marginal), total_average=_sum(f_average, e_average),
    )  # fmt: skip


def _more(usage: Usage, shares: Mapping[str, Decimal] | None, step: Decimal) -> Usage:
    by_part = dict(usage.by_day_part)
    if by_part:
        given = shares if shares is not None else by_part
        whole = sum(given.values(), Decimal(0))
        if whole <= 0 or any(v < 0 for v in given.values()):
            raise InputError("shares of the day parts must be zero or more, not all zero.", where="day parts")
        left = step
        names = list(given)
        for name in names[:-1]:
            piece = (step * given[name] / whole).quantize(Decimal("0.000001"))
            by_part[name] = by_part.get(name, Decimal(0)) + piece
            left -= piece
        by_part[names[-1]] = by_part.get(names[-1], Decimal(0)) + left
    return msgspec.structs.replace(usage, quantity=usage.quantity + step, by_day_part=by_part)


def _raise_peaks(usage: Usage, extra_kw: Fraction) -> Usage:
    """Every peak raised as if the step were used evenly over the bill's hours: the least it can rise."""
    extra = round(Decimal(extra_kw.numerator) / Decimal(extra_kw.denominator), 12)
    return msgspec.structs.replace(
        usage,
        demand_kw=usage.demand_kw + extra,
        demand_kw_by_day_part={n: v + extra for n, v in usage.demand_kw_by_day_part.items()},
    )


def _electric_joules(unit: str) -> Fraction:
    joules = {"kWh": Fraction(3_600_000), "MJ": Fraction(10**6), "GJ": Fraction(10**9)}
    if unit not in joules:
        raise InputError(f"electricity is not priced by the {unit}.", where="electricity", allowed=", ".join(joules))
    return joules[unit]


def _per_minute(what: str, units: float, cost: UnitCost, price: Decimal | None) -> Estimate:
    taken = cost.marginal_minor if price is None else price
    inputs = (
        Input(name=f"{what} a minute", value=f"{units:.6g}", unit=cost.unit, how="computed"),
        Input(
            name="price",
            value=_major(exact(taken), cost.currency),
            unit=f"{cost.currency} per {cost.unit}",
            how="computed",
        ),
    )
    working = Working(
        figure=f"{what} cost of a heated minute",
        formula="quantity a minute × price of a unit",
        inputs=inputs,
        parts=(cost.working,) if cost.working else (),
    )
    return Estimate(value=units * float(taken), unit="minor/min", working=working)


def _sum(a: Estimate, b: Estimate) -> Estimate:
    parts = tuple(w for w in (a.working, b.working) if w is not None)
    working = Working(figure="energy cost of a heated minute", formula="fuel + electricity", parts=parts)
    return Estimate(value=a.value + b.value, unit=a.unit, working=working)


def _unit_working(usage: Usage, tariff: Tariff, marginal: Fraction, average: Fraction | None) -> Working:
    shown = "not known" if average is None else _major(average, tariff.currency)
    return Working(
        figure=f"price of a {tariff.unit}",
        formula="marginal: bill with one more unit less the bill; average: bill over units",
        source=tariff.source or f"tariff “{tariff.name}”",
        inputs=(
            Input(name="units on the bill", value=str(usage.quantity), unit=tariff.unit),
            Input(name="marginal", value=_major(marginal, tariff.currency), unit=tariff.currency, how="computed"),
            Input(name="average", value=shown, unit=tariff.currency, how="computed"),
        ),
    )  # fmt: skip


def _major(minor: Fraction, currency: str) -> str:
    """An exact price in whole currency units, to a millionth."""
    return f"{_decimal(minor / 10 ** MINOR_DIGITS[currency]):f}"


def _decimal(value: Fraction) -> Decimal:
    return Decimal(round(value * 10**6)).scaleb(-6)
