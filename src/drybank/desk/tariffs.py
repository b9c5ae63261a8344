"""What a quantity of fuel comes to under the store's own tariff, line by line; and a bill's printed price held against it."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Final

import msgspec

from drybank.desk.standing import layout_at
from drybank.energy import Electricity, bill_over, check_stated_price, convert, tariff_on, unit_cost
from drybank.records.energy import UNITS_OF, Bill, PriceDoubt, StatedBill, Supply, Tariff, UnitCost, Usage
from drybank.records.errors import InputError
from drybank.records.money import Money, parse_money
from drybank.records.working import Assumption

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.plan.gather.assumed import Assumed

FUELS: Final = {"gas": "natural gas", "propane": "propane", "electricity": "electricity"}


class TariffAsk(msgspec.Struct, frozen=True, kw_only=True):
    """A quantity of fuel over days, and what a bill for it says; texts as a person writes them, empty for nothing said."""

    fuel: str
    period: str
    quantity: str
    unit: str = ""
    peak_kw: str = ""
    amount: str = ""
    price: str = ""


class TariffTold(msgspec.Struct, frozen=True, kw_only=True):
    """The bill that the tariff makes, the price of a unit at the margin and on average, and what does not agree."""

    store: str
    bill: Bill
    cost: UnitCost
    difference: Money | None
    doubt: PriceDoubt | None
    findings: tuple[str, ...]
    assumptions: tuple[Assumption, ...]


def tariff_told(book: Book, store: str, ask: TariffAsk, when: datetime) -> TariffTold:
    """What the store's tariff makes of a quantity; a stated amount and unit price are held against it and each other."""
    from drybank.desk.takings import period_of
    from drybank.plan.gather.assumed import Assumed as Collected
    from drybank.plan.gather.costs import supply_of

    laid = layout_at(book, store, when)
    name = FUELS.get(ask.fuel, ask.fuel)
    tariffs = [t for t in laid.store.tariffs if t.fuel == name]
    if name not in FUELS.values():
        raise InputError(f"“{ask.fuel}” is not a fuel.", allowed=", ".join(FUELS))
    if not tariffs:
        raise InputError(
            f"{laid.store.name} has no tariff for {name}.", mend="Add a [[tariff]] to the store file and load it."
        )
    first, last = period_of(ask.period)
    tariff, assumed = tariff_on(tariffs, last), Collected(laid.store.currency, laid.store.units)
    unit, quantity = ask.unit or tariff.unit, _number(ask.quantity, "quantity")
    if unit not in UNITS_OF[name]:
        raise InputError(f"{name} is not measured in {unit}.", where="--unit", allowed=", ".join(UNITS_OF[name]))
    billed = quantity
    if unit != tariff.unit:
        supply: Supply = Electricity() if name == "electricity" else supply_of(laid.store, name, (), None, assumed)
        turned = convert(quantity, unit, tariff.unit, supply)
        billed = round(Decimal(turned.numerator) / Decimal(turned.denominator), 3)
    usage = _usage(tariff, billed, (first, last), ask, assumed)
    made = bill_over(usage, tariffs)
    amount = parse_money(ask.amount, laid.store.currency) if ask.amount else None
    doubt = _doubt(ask, amount, quantity, unit)
    difference = None if amount is None else Money(amount.minor - made.total.minor, amount.currency)
    return TariffTold(
        store=store, bill=made, cost=unit_cost(_inside(usage, tariff), tariff),
        difference=difference, doubt=doubt, findings=_findings(doubt, amount, made, difference), assumptions=tuple(assumed.list),
    )  # fmt: skip


def _number(text: str, name: str) -> Decimal:
    try:
        value = Decimal(text.replace(",", "") if text.count(",") and "." in text else text)
    except InvalidOperation:
        raise InputError(f"“{text[:40]}” is not a number.", where=name, mend="Write it like 812 or 812.5.") from None
    if not value.is_finite() or not 0 < value < 10**9 or len(text) > 24:
        raise InputError(f"{text[:24]} is out of range.", where=name, allowed="above 0, below 1,000,000,000")
    return value


def _usage(tariff: Tariff, quantity: Decimal, days: tuple[date, date], ask: TariffAsk, assumed: Assumed) -> Usage:
    """The usage as asked; day parts in equal shares where the tariff has them, and listed."""
    names = [p.name for p in tariff.day_parts] + ([tariff.other_hours] if tariff.day_parts else [])
    by_part: dict[str, Decimal] = {}
    if names:
        part = (quantity / len(names)).quantize(Decimal("0.001"))
        by_part = dict.fromkeys(names[1:], part)
        by_part[names[0]] = quantity - part * (len(names) - 1)
        assumed("use by day part", "equal shares", "not said", matters="charges by day part")
    peak = _number(ask.peak_kw, "--peak") if ask.peak_kw else Decimal(0)
    if tariff.demand and not ask.peak_kw:
        raise InputError(f"“{tariff.name}” bills the highest demand.", where="--peak", mend="Give it in kW: --peak 12")
    return Usage(
        first_day=days[0], last_day=days[1], quantity=quantity, by_day_part=by_part, demand_kw=peak,
        demand_kw_by_day_part=dict.fromkeys(names, peak), apparent_kva=peak if peak else None,
    )  # fmt: skip


def _inside(usage: Usage, tariff: Tariff) -> Usage:
    """The usage on the days of the tariff that holds at its end; for the price of a unit under that tariff."""
    return msgspec.structs.replace(usage, first_day=max(usage.first_day, tariff.valid_from))


def _doubt(ask: TariffAsk, amount: Money | None, quantity: Decimal, unit: str) -> PriceDoubt | None:
    if not ask.price:
        return None
    if amount is None:
        raise InputError(
            "a printed price is held against amount over quantity.", where="--price", mend="Give --amount too."
        )
    price = _number(ask.price, "--price")
    return check_stated_price(StatedBill(amount=amount.decimal(), quantity=quantity, unit=unit, price_per_unit=price))


def _findings(doubt: PriceDoubt | None, amount: Money | None, made: Bill, difference: Money | None) -> tuple[str, ...]:
    out = [doubt.sentence] if doubt is not None else []
    if amount is not None and difference is not None and difference.minor:
        more = "more" if difference.minor > 0 else "less"
        gap = Money(abs(difference.minor), difference.currency)
        out.append(f"The bill says {amount}; the tariff in the store file makes {made.total}, {gap} {more} stands on the bill. "
                   "Is the tariff still the one on the bill, and are the days the same?")  # fmt: skip
    return tuple(out)
