"""Takings from the book: where the money is, the week's close, statements, proof of income."""

from __future__ import annotations

import calendar
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import msgspec

from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at, parse_day
from drybank.records.entry import Claimed, Refunded, ValueLearned, WeekClosed
from drybank.records.errors import InputError
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.money import Money, parse_money
from drybank.records.takings import BoxStand, Channels, Custody, Holding, IncomeProof, Statement, WeekClose
from drybank.takings import (
    CustodyRule,
    IncomeTally,
    box_findings,
    close_week,
    clusters,
    follow,
    holdings,
    income_proof,
    journal,
    settle,
    stands,
    statement,
)

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.book.story import Told

FUELS = ("gas", "propane", "electricity")
UNITS = {
    "gas": ("m3", "therm", "Ccf", "GJ", "kWh"),
    "propane": ("gal", "L", "kg", "lb", "m3"),
    "electricity": ("kWh",),
}
MOST_BILL_MINOR = 10**9


class MoneyTrail(msgspec.Struct, frozen=True, kw_only=True):
    """Where every cent is, what the channels say, and every finding of both, complaints included."""

    custody: Custody
    channels: Channels
    boxes: tuple[BoxStand, ...]
    keys: tuple[Holding, ...]
    findings: tuple[Finding, ...]


class ClosedWeek(msgspec.Struct, frozen=True, kw_only=True):
    """The week as it stands, and the seal that froze it where it was closed."""

    week: WeekClose
    seal: str = ""


def end_of(day: str) -> datetime | None:
    """The last moment of a day in UTC; nothing for an empty text."""
    parsed = parse_day(day)
    return datetime.combine(parsed, datetime.max.time().replace(microsecond=0), UTC) if parsed else None


def money_trail(book: Book, store: str, when: datetime) -> MoneyTrail:
    """Custody, channels and complaints of a store as of a moment."""
    laid = layout_at(book, store, when)
    story = book.story(store, until=when + timedelta(seconds=1))
    rule = CustodyRule(asks_two=laid.store.counting.asks_two, late_after_days=laid.store.counting.late_after_days)
    custody = follow(story, currency=laid.store.currency, now=when, rule=rule)
    channels = settle(story, laid.store.currency)
    findings = (*custody.findings, *channels.findings, *box_findings(laid, story), *complaints(laid, story, when))
    return MoneyTrail(
        custody=custody, channels=channels, boxes=stands(laid, story), keys=holdings(story), findings=findings
    )


def complaints(laid: Layout, story: list[Told], when: datetime, days: int = 90) -> tuple[Finding, ...]:
    """Pockets with more complaints in the last days than their share of the hours explains."""
    since = when - timedelta(days=days)
    recent = [t for t in story if since <= t.happened <= when and isinstance(t.body, Claimed | Refunded)]
    return clusters(recent, pocket_hours(laid, story, since, when))


def pocket_hours(laid: Layout, story: list[Told], since: datetime, until: datetime) -> dict[str, float]:
    """Hours per pocket between its first and last reading of a span; an hour each where none is known."""
    from drybank.balance import hours_of

    hours = hours_of(laid, story, since, until)
    return {p: hours.get(p) or 1.0 for p in laid.pockets}


def week_as_it_stands(book: Book, store: str, week: str, when: datetime) -> WeekClose:
    """What closing the week would say; nothing is entered."""
    return close_week(layout_at(book, store, when), book.story(store, with_taken_back=True), week)


def close(book: Book, store: str, week: str, pen: Pen, *, although_missing: bool = False) -> ClosedWeek:
    """Close a week under a seal. Refused while something is missing, unless told to go on; what is missing is kept."""
    standing = week_as_it_stands(book, store, week, pen.clock())
    if standing.ends > pen.clock():
        raise InputError(f"{week} is not over.", mend=f"Close it after {standing.ends:%Y-%m-%d}.")
    if standing.missing and not although_missing:
        raise InputError(
            f"{week} is not complete. " + " ".join(standing.missing),
            mend="Enter what is missing, or close it so: --although-missing.",
        )
    lines = {
        "coins": standing.coins.minor, "cards": standing.cards.minor, "adjustments": standing.adjustments.minor,
        "tax": standing.tax.tax.minor, "kept": standing.kept.minor, "refunds": standing.refunds.minor,
    } | {f"share {s.name}": s.due.minor for s in standing.shares}  # fmt: skip
    body = WeekClosed(
        week=week, tip=book.tip(store), taken_minor=standing.takings.minor, missing=standing.missing, lines=lines
    )
    book.append([pen.entry(store, body)], expected_tip={store: body.tip})
    seal = book.seal(store, by=pen.by, origin=pen.origin, where=f"close of {week}")
    return ClosedWeek(week=standing, seal=seal.line())


def period_of(text: str) -> tuple[date, date]:
    """First and last day of a month (2026-05), a year (2026), or two days joined by two dots."""
    try:
        if ".." in text:
            a, b = text.split("..")
            return date.fromisoformat(a), date.fromisoformat(b)
        if len(text) == 4:
            return date(int(text), 1, 1), date(int(text), 12, 31)
        year, month = int(text[:4]), int(text[5:7])
        if len(text) != 7 or text[4] != "-":
            raise ValueError
        return date(year, month, 1), date(year, month, calendar.monthrange(year, month)[1])
    except ValueError:
        raise InputError(f"“{text}” is not a period.", mend="Write 2026-05, 2026, or 2026-05-01..2026-05-15.") from None


def statement_of(book: Book, store: str, period: str, when: datetime, *, reader: str = "") -> Statement:
    """The owner's statement, or one partner's own, of a period; fuel bills entered for it are the costs."""
    starts, ends = _begun(book, store, period, when)
    laid = layout_at(book, store, when)
    story = book.story(store, with_taken_back=True)
    costs = _billed_minor([t for t in story if not t.is_taken_back], starts, ends)
    return statement(laid, story, starts, ends, reader=reader, costs=Money(costs, laid.store.currency))


def _begun(book: Book, store: str, period: str, when: datetime) -> tuple[date, date]:
    """A period's first and last day; refused where it has not begun by the store's own clock."""
    starts, ends = period_of(period)
    today = when.astimezone(ZoneInfo(layout_at(book, store, when).store.time_zone)).date()
    if starts > today:
        raise InputError(
            f"{period} has not begun: nothing can have been taken.", mend="Ask for a period that began by today."
        )
    return starts, ends


def journal_of(book: Book, store: str, period: str, when: datetime) -> str:
    """The accountant's plain journal of a period."""
    starts, ends = _begun(book, store, period, when)
    laid = layout_at(book, store, when)
    story = book.story(store, with_taken_back=True)
    custody = follow([t for t in story if not t.is_taken_back], currency=laid.store.currency, now=when)
    return journal(laid, story, custody=custody, starts=starts, ends=ends)


def enter_bill(
    book: Book, store: str, fuel: str, period: str, quantity: float, unit: str, amount: str, pen: Pen
) -> str:
    """A fuel bill: what a meter measured over days and what it cost. Kept as two values with their days."""
    if fuel not in FUELS:
        raise InputError(f"“{fuel}” is not a fuel.", allowed=", ".join(FUELS))
    if not 0 < quantity < 1e9:
        raise InputError(
            "A bill measures more than nothing.", allowed="above 0", mend="Copy the quantity off the bill."
        )
    if unit not in UNITS[fuel]:
        raise InputError(f"{fuel} is not billed in “{unit}” here.", allowed=", ".join(UNITS[fuel]))
    starts, ends = _begun(book, store, period, pen.clock())
    laid = layout_at(book, store, pen.clock())
    minor = parse_money(amount, laid.store.currency).minor
    if not 0 <= minor <= MOST_BILL_MINOR:
        most = Money(MOST_BILL_MINOR, laid.store.currency)
        raise InputError(f"A bill of {amount} cannot be.", allowed=f"0 to {most}", mend="Copy the amount off the bill.")
    _new_days(_bills(book.story(store, kinds=("learned value",)), f"{fuel} billed"), (starts, ends), fuel, unit)
    measured = ValueLearned(
        name=f"{fuel} billed",
        value=float(quantity),
        unit=unit,
        method="bill",
        data_from=starts.isoformat(),
        data_to=ends.isoformat(),
    )
    paid = msgspec.structs.replace(
        measured, name=f"{fuel} bill", value=float(minor), unit=f"minor {laid.store.currency}"
    )
    entries = [pen.entry(store, measured), pen.entry(store, paid)]
    return book.append(entries)[0].entry.id


def _new_days(bills: list[ValueLearned], span: tuple[date, date], fuel: str, unit: str) -> None:
    """Refuse days that a bill covers already, and a unit that the months could not be added in."""
    for bill in bills:
        if bill.data_from <= f"{span[1]}" and bill.data_to >= f"{span[0]}":
            raise InputError(
                f"A {fuel} bill for {bill.data_from} to {bill.data_to} is in the book already.",
                mend="Correct that entry (`drybank entries`, kind “learned value”), or give the days it does not cover.",
            )
        if bill.unit != unit:
            raise InputError(f"Earlier {fuel} bills are in {bill.unit}.", mend=f"Turn this one into {bill.unit}.")


def _bills(story: list[Told], name: str) -> list[ValueLearned]:
    return [
        t.body for t in story if isinstance(t.body, ValueLearned) and t.body.method == "bill" and t.body.name == name
    ]


def _billed_minor(story: list[Told], starts: date, ends: date) -> int:
    """Fuel bills that end within a period, minor units."""
    return sum(
        round(b.value)
        for fuel in FUELS
        for b in _bills(story, f"{fuel} bill")
        if starts <= date.fromisoformat(b.data_to) <= ends
    )


def proof_of_income(book: Book, store: str, first: str, last: str, when: datetime) -> IncomeProof:
    """Months of takings beside hours, pieces and fuel, with the seals and how to check them."""
    laid = layout_at(book, store, when)
    months = _months(first, last)
    _begun(book, store, months[-1], when)
    story = book.story(store, with_taken_back=True)
    standing = [t for t in story if not t.is_taken_back]
    return income_proof(laid, story, months, {m: _tally(laid, standing, m) for m in months})


def _months(first: str, last: str) -> list[str]:
    start, end = period_of(first)[0], period_of(last)[0]
    out = []
    while start <= end:
        out.append(f"{start:%Y-%m}")
        start = (start.replace(day=28) + timedelta(days=4)).replace(day=1)
    if not out or len(out) > 120:
        raise InputError("Give 1 to 120 months, the first before the last.")
    return out


def _tally(laid: Layout, story: list[Told], month: str) -> IncomeTally:
    """Hours and pieces of a month from readings, fuel from bills that end in it, and what the hours should burn."""
    from drybank.balance import hours_of, pieces_of

    zone = ZoneInfo(laid.store.time_zone)
    starts, ends = period_of(month)
    begin = datetime.combine(starts, datetime.min.time(), zone)
    finish = datetime.combine(ends + timedelta(days=1), datetime.min.time(), zone)
    hours, pieces = hours_of(laid, story, begin, finish), pieces_of(laid, story, begin, finish)
    fuel = "gas" if any(p.plate.fuel == "natural gas" for p in laid.pockets.values()) else "propane"
    billed, unit = _billed_within(_bills(story, f"{fuel} billed"), starts, ends)
    return IncomeTally(
        pieces=round(sum(pieces.values())) if pieces else None, hours=sum(hours.values()) if hours else None,
        fuel=billed, fuel_unit=unit,
    )  # fmt: skip


LEAST_BILLED = 0.9
"""Bills must cover this share of a month's days for the month's fuel to be told."""


def _billed_within(bills: list[ValueLearned], starts: date, ends: date) -> tuple[float | None, str]:
    """Fuel of the days of a span, each bill shared evenly over its own days; None where bills cover too few of them."""
    used, covered, unit = 0.0, 0, ""
    for bill in bills:
        first, last = date.fromisoformat(bill.data_from), date.fromisoformat(bill.data_to)
        days = (min(last, ends) - max(first, starts)).days + 1
        if days > 0:
            used += bill.value * days / ((last - first).days + 1)
            covered, unit = covered + days, bill.unit
    return (used, unit) if covered >= LEAST_BILLED * ((ends - starts).days + 1) else (None, "")
