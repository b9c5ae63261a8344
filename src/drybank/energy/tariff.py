"""From usage to a bill, exactly.

Amounts are fractions of a minor unit until the tariff's own rounding rule makes them
whole: on each line, or on the total only. In the second case the lines are shown rounded
and a line named “Rounding” carries what is left, so that the lines always add to the total.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Literal, NamedTuple

import msgspec

from drybank.records.energy import (
    Adjustment,
    Bill,
    BillLine,
    DemandCharge,
    EnergyCharge,
    Tariff,
    Tax,
    Tier,
    Usage,
)
from drybank.records.errors import InputError, InputErrors, Missing
from drybank.records.money import MINOR_DIGITS, Money, exact, round_minor
from drybank.records.working import Input, Working

Kind = Literal["energy", "demand", "fixed", "adjustment", "minimum", "tax", "rounding"]


class _Raw(NamedTuple):
    """A line before it is money: ``minor`` is exact, and whole already when lines are rounded."""

    charge: str
    label: str
    kind: Kind
    minor: Fraction
    exact_minor: Fraction
    formula: str
    quantity: Fraction | None = None
    unit: str = ""


def bill(usage: Usage, tariff: Tariff) -> Bill:
    """The bill for a usage under one tariff; its lines add to its total, to the minor unit.

    Raises InputErrors naming every mistake of the tariff and the usage, days outside the
    tariff's validity, and figures the tariff needs that the usage does not give.
    """
    _refuse(usage, tariff)
    return _to_bill(_raw_lines(usage, tariff, Fraction(1)), usage, tariff, ())


def bill_over(usage: Usage, tariffs: Sequence[Tariff]) -> Bill:
    """The bill for a usage over which the tariff may change once or more.

    Usage, tier ends, demand and once-a-bill charges are shared by days; the notes say so.
    """
    spans = _spans(usage, tariffs)
    if len(spans) == 1:
        return bill(usage, spans[0][1])
    return _joined([_part_bill(usage, tariff, first, last) for (first, last), tariff in spans], usage)


def exact_total_minor(usage: Usage, tariff: Tariff) -> Fraction:
    """The bill's total with nothing rounded, in minor units; for costs at the margin."""
    _refuse(usage, tariff)
    smooth = msgspec.structs.replace(tariff, rounded_where="total")
    return sum((line.minor for line in _raw_lines(usage, smooth, Fraction(1))), Fraction(0))


def tariff_on(tariffs: Iterable[Tariff], day: dt.date) -> Tariff:
    """The tariff in force on a day; refuses none or two."""
    found = [t for t in tariffs if t.valid_from <= day and (t.valid_to is None or day <= t.valid_to)]
    if not found:
        raise Missing(f"No tariff holds on {day}. Add one whose validity covers that day.")
    if len(found) > 1:
        names = " and ".join(f"“{t.name}” from {t.valid_from}" for t in found)
        raise InputError(f"two tariffs hold on {day}: {names}.", mend="End the older one with valid_to.")
    return found[0]


def _refuse(usage: Usage, tariff: Tariff) -> None:
    mistakes = [*tariff.check(), *usage.check(), *_misfits(usage, tariff)]
    if mistakes:
        raise InputErrors(mistakes)


def _misfits(usage: Usage, tariff: Tariff) -> Iterable[InputError]:
    """What the tariff needs and the usage lacks."""
    for day in (usage.first_day, usage.last_day):
        if day < tariff.valid_from or (tariff.valid_to is not None and day > tariff.valid_to):
            until = tariff.valid_to or "further notice"
            yield InputError(f"{day} lies outside “{tariff.name}”.", where="usage",
                             allowed=f"{tariff.valid_from} to {until}")  # fmt: skip
    for charge in tariff.energy:
        if charge.day_part and not usage.by_day_part:
            yield InputError(f"“{charge.name}” prices “{charge.day_part}”; the usage is not split by day part.",
                             where="usage", mend="Give by_day_part.")  # fmt: skip
    names = {p.name for p in tariff.day_parts} | {tariff.other_hours}
    for name in {*usage.by_day_part, *usage.demand_kw_by_day_part} - names:
        yield InputError(f"“{tariff.name}” has no day part “{name}”.", where="usage",
                         allowed=", ".join(sorted(names)))  # fmt: skip
    for demand in tariff.demand:
        if demand.apparent_share_frac is not None and usage.apparent_kva is None:
            yield InputError(f"“{demand.name}” counts kVA; the usage gives none.", where="usage",
                             mend="Give apparent_kva.")  # fmt: skip
        if demand.day_part and demand.day_part not in usage.demand_kw_by_day_part:
            yield InputError(f"“{demand.name}” bills the peak of “{demand.day_part}”; the usage gives none.",
                             where="usage", mend="Give demand_kw_by_day_part.")  # fmt: skip


def _raw_lines(usage: Usage, tariff: Tariff, share: Fraction) -> list[_Raw]:
    """Every line, in the bill's order; ``share`` scales once-a-bill amounts and tier ends."""
    lines: list[_Raw] = []
    for charge in tariff.energy:
        lines += _energy(charge, usage, tariff, share)
    for demand in tariff.demand:
        lines += _demand(demand, usage, tariff, share)
    for fixed in tariff.fixed:
        times = Fraction(usage.days) if fixed.per == "day" else share
        formula = f"{_show(times)} × {fixed.amount}" if times != 1 else f"{fixed.amount} a {fixed.per}"
        lines.append(_line(tariff, fixed.name, fixed.name, "fixed", times * exact(fixed.amount), formula))
    for adjustment in tariff.adjustments:
        lines.append(_adjustment(adjustment, lines, usage, tariff))
    if tariff.minimum_bill is not None:
        lines += _minimum(tariff, lines, share)
    for tax in tariff.taxes:
        lines.append(_tax(tax, lines, tariff))
    return lines


def _line(tariff: Tariff, charge: str, label: str, kind: Kind, major: Fraction, formula: str,
          quantity: Fraction | None = None, unit: str = "") -> _Raw:  # fmt: skip
    exact_minor = major * 10 ** MINOR_DIGITS[tariff.currency]
    minor = exact_minor
    if tariff.rounded_where == "line":
        minor = Fraction(round_minor(exact_minor, tariff.rounding))
    return _Raw(charge, label, kind, minor, exact_minor, formula, quantity, unit)


def _blocks(quantity: Fraction, tiers: Sequence[Tier], scale: Fraction) -> Iterable[tuple[Fraction, Tier]]:
    """The part of a quantity that falls in each tier; the first tier always gives a line."""
    low = Fraction(0)
    for tier in tiers:
        high = quantity if tier.up_to_units is None else min(quantity, exact(tier.up_to_units) * scale)
        if high > low or tier is tiers[0]:
            yield max(high - low, Fraction(0)), tier
        low = max(low, high)


def _tiered(tariff: Tariff, name: str, kind: Kind, quantity: Fraction, tiers: Sequence[Tier],
            scale: Fraction, unit: str, share: Fraction = Fraction(1)) -> list[_Raw]:  # fmt: skip
    out = []
    blocks = list(_blocks(quantity, tiers, scale))
    for number, (part, tier) in enumerate(blocks, start=1):
        label = name if len(blocks) == 1 else f"{name}, block {number}"
        formula = f"{_show(part)} {unit} × {tier.price_per_unit}"
        if share != 1:
            formula += f" × {_show(share)} of the bill's days"
        major = part * exact(tier.price_per_unit) * share
        out.append(_line(tariff, name, label, kind, major, formula, part, unit))
    return out


def _energy(charge: EnergyCharge, usage: Usage, tariff: Tariff, share: Fraction) -> list[_Raw]:
    amount = usage.by_day_part.get(charge.day_part, Decimal(0)) if charge.day_part else usage.quantity
    scale = share
    if charge.tier_basis == "per day":
        scale = Fraction(usage.days)
    elif charge.tier_basis == "per kW of billing demand":
        scale = _widest_demand_kw(usage, tariff) * share
    return _tiered(tariff, charge.name, "energy", exact(amount), charge.tiers, scale, tariff.unit)


def _demand(charge: DemandCharge, usage: Usage, tariff: Tariff, share: Fraction) -> list[_Raw]:
    billed = billing_demand_kw(charge, usage)
    return _tiered(tariff, charge.name, "demand", billed, charge.tiers, Fraction(1), "kW", share)


def billing_demand_kw(charge: DemandCharge, usage: Usage) -> Fraction:
    """Billing demand: the peak, or its share of kVA, or a floor, or the ratchet; the highest of them. [kW]"""
    peak = usage.demand_kw_by_day_part[charge.day_part] if charge.day_part else usage.demand_kw
    candidates = [exact(peak), exact(charge.minimum_kw)]
    if charge.apparent_share_frac is not None and usage.apparent_kva is not None:
        candidates.append(exact(charge.apparent_share_frac) * exact(usage.apparent_kva))
    if charge.ratchet is not None:
        share = exact(charge.ratchet.share_frac)
        ages = ((_months_between(p.month, usage.last_day), p) for p in usage.earlier_peaks)
        candidates += [
            share * exact(p.demand_kw)
            for age, p in ages
            if 1 <= age <= charge.ratchet.lookback_months and p.month.month in charge.ratchet.months
        ]
    return max(candidates)


def _months_between(earlier: dt.date, later: dt.date) -> int:
    return (later.year - earlier.year) * 12 + later.month - earlier.month


def _widest_demand_kw(usage: Usage, tariff: Tariff) -> Fraction:
    charges = tariff.demand
    return max((billing_demand_kw(c, usage) for c in charges), default=exact(usage.demand_kw))


def _adjustment(adjustment: Adjustment, lines: Sequence[_Raw], usage: Usage, tariff: Tariff) -> _Raw:
    name = adjustment.name
    if adjustment.price_per_unit is not None:
        quantity = exact(usage.quantity)
        formula = f"{usage.quantity} {tariff.unit} × {adjustment.price_per_unit}"
        major = quantity * exact(adjustment.price_per_unit)
        return _line(tariff, name, name, "adjustment", major, formula, quantity, tariff.unit)
    percent = adjustment.percent or Decimal(0)
    base = [x for x in lines if not adjustment.of or x.charge in adjustment.of]
    return _percentage(tariff, name, "adjustment", percent, base)


def _tax(tax: Tax, lines: Sequence[_Raw], tariff: Tariff) -> _Raw:
    named = [x for x in lines if x.kind != "tax" and (not tax.of or x.charge in tax.of)]
    if tax.is_on_earlier_taxes:
        named += [x for x in lines if x.kind == "tax" and x.charge not in tax.of]
    return _percentage(tariff, tax.name, "tax", tax.percent, named)


def _percentage(tariff: Tariff, name: str, kind: Kind, percent: Decimal, base: Sequence[_Raw]) -> _Raw:
    scale = 10 ** MINOR_DIGITS[tariff.currency]
    on = sum((x.minor for x in base), Fraction(0)) / scale
    return _line(tariff, name, name, kind, on * exact(percent) / 100, f"{percent} % of {_show(on)}")


def _minimum(tariff: Tariff, lines: Sequence[_Raw], share: Fraction) -> list[_Raw]:
    floor = exact(tariff.minimum_bill or Decimal(0)) * share
    so_far = sum((x.minor for x in lines), Fraction(0)) / 10 ** MINOR_DIGITS[tariff.currency]
    if so_far >= floor:
        return []
    formula = f"up to the least bill of {_show(floor)}"
    return [_line(tariff, "Minimum bill", "Minimum bill", "minimum", floor - so_far, formula)]


def _to_bill(raw: Sequence[_Raw], usage: Usage, tariff: Tariff, notes: Sequence[str]) -> Bill:
    lines = [_bill_line(x, tariff) for x in raw]
    whole = round_minor(sum((x.minor for x in raw), Fraction(0)), tariff.rounding)
    left = whole - sum(line.amount.minor for line in lines)
    if left:
        rest = Money(left, tariff.currency)
        lines.append(BillLine(name="Rounding", kind="rounding", amount=rest, unrounded=rest.decimal(),
                              formula="total is rounded once; its lines are shown rounded"))  # fmt: skip
    total = Money(whole, tariff.currency)
    assert sum(line.amount.minor for line in lines) == total.minor, "a bill's lines add to its total"
    return Bill(
        tariff=tariff.name, first_day=usage.first_day, last_day=usage.last_day, lines=tuple(lines),
        total=total, notes=tuple(notes), working=_working(lines, total, tariff),
    )  # fmt: skip


def _bill_line(raw: _Raw, tariff: Tariff) -> BillLine:
    return BillLine(
        name=raw.label,
        kind=raw.kind,
        amount=Money(round_minor(raw.minor, tariff.rounding), tariff.currency),
        unrounded=_decimal(raw.exact_minor / 10 ** MINOR_DIGITS[tariff.currency]),
        formula=raw.formula,
        quantity=None if raw.quantity is None else _decimal(raw.quantity),
        unit=raw.unit,
    )


def _working(lines: Sequence[BillLine], total: Money, tariff: Tariff) -> Working:
    where = "each line" if tariff.rounded_where == "line" else "the total"
    return Working(
        figure=f"bill {total}",
        formula=f"sum of the lines; {where} rounded {tariff.rounding}",
        source=tariff.source or f"tariff “{tariff.name}”",
        parts=tuple(
            Working(figure=f"{x.name} {x.amount}", formula=x.formula,
                    inputs=(Input(name="before rounding", value=str(x.unrounded), unit=tariff.currency),))
            for x in lines
        ),
    )  # fmt: skip


def _spans(usage: Usage, tariffs: Sequence[Tariff]) -> list[tuple[tuple[dt.date, dt.date], Tariff]]:
    """The usage's days cut where the tariff changes; every day has one tariff."""
    if usage.check():
        raise InputErrors(usage.check())
    out: list[tuple[tuple[dt.date, dt.date], Tariff]] = []
    day = usage.first_day
    while day <= usage.last_day:
        tariff = tariff_on(tariffs, day)
        last = usage.last_day
        if tariff.valid_to is not None:
            last = min(last, tariff.valid_to)
        starts = [t.valid_from for t in tariffs if day < t.valid_from <= last]
        if starts:
            tariff_on(tariffs, min(starts))  # refuses an overlap
        out.append(((day, last), tariff))
        day = last + dt.timedelta(days=1)
    return out


def _part_bill(usage: Usage, tariff: Tariff, first: dt.date, last: dt.date) -> Bill:
    before = Fraction((first - usage.first_day).days, usage.days)
    share = Fraction((last - first).days + 1, usage.days)

    def part(value: Decimal) -> Decimal:
        """This span's part; neighbouring spans are cut at the same rounded point, so all parts add up."""
        return _decimal(exact(value) * (before + share)) - _decimal(exact(value) * before)

    by_part = {name: part(value) for name, value in usage.by_day_part.items()}
    quantity = sum(by_part.values(), Decimal(0)) if by_part else part(usage.quantity)
    mine = msgspec.structs.replace(usage, first_day=first, last_day=last, quantity=quantity, by_day_part=by_part)
    _refuse(mine, tariff)
    note = f"{first} to {last} under “{tariff.name}”: {(last - first).days + 1} of {usage.days} days"
    return _to_bill(_raw_lines(mine, tariff, share), mine, tariff, (note,))


def _joined(bills: Sequence[Bill], usage: Usage) -> Bill:
    currencies = {b.total.currency for b in bills}
    if len(currencies) > 1:
        raise InputError("the tariffs of one bill have different currencies.", where="tariffs")
    currency = currencies.pop()
    lines = tuple(
        msgspec.structs.replace(line, name=f"{line.name} ({b.first_day} to {b.last_day})")
        for b in bills
        for line in b.lines
    )
    total = Money(sum(b.total.minor for b in bills), currency)
    parts = tuple(b.working for b in bills if b.working is not None)
    return Bill(
        tariff=" then ".join(dict.fromkeys(b.tariff for b in bills)),
        first_day=usage.first_day,
        last_day=usage.last_day,
        lines=lines,
        total=total,
        notes=(
            "The tariff changes within the bill: usage, tier ends, demand and once-a-bill charges are shared by days.",
            *(note for b in bills for note in b.notes),
        ),
        working=Working(figure=f"bill {total}", formula="sum of the spans, shared by days", parts=parts),
    )


def _decimal(value: Fraction) -> Decimal:
    """A fraction as a decimal: exact when it has at most six decimals, else to a millionth."""
    scaled = round_minor(value * 10**6, "half even")
    return Decimal(scaled).scaleb(-6).normalize() if scaled else Decimal(0)


def _show(value: Fraction) -> str:
    return f"{_decimal(value):f}"
