"""Statements: a period's takings for the owner, a partner or a buyer, from effective entries.

Days are the store's own; a count belongs to the day it was made, a channel's sales to the last day of its statement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import msgspec

from drybank.records.entry import Deposited, PaidOut, PiecesCounted, Refunded, WeekClosed
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.takings import IncomeMonth, IncomeProof, Line, PeriodTakings, SealLine, Statement
from drybank.takings.custody import count_value
from drybank.takings.share import share_out, split_tax, tax_in_force

NOT_TRUTH = "A chain that holds proves that nobody altered an entry after it was booked. It does not prove that an entry was true when it was written."


class IncomeTally(msgspec.Struct, frozen=True, kw_only=True):
    """What else is known of one month: pieces counted by counters, motor hours, fuel used and what the hours should burn."""

    pieces: int | None = None
    hours: float | None = None
    fuel: float | None = None
    fuel_unit: str = ""
    fuel_expected: float | None = None
    fuel_low: float | None = None
    fuel_high: float | None = None


def _day(line: Line, zone: ZoneInfo) -> date:
    if isinstance(line.body, PaidOut):
        return date.fromisoformat(line.body.period_to)
    return line.happened.astimezone(zone).date()


def period(layout: Layout, lines: Sequence[Line], starts: date, ends: date) -> PeriodTakings:
    """Takings of the local days from ``starts`` to ``ends``, both included."""
    if ends < starts:
        raise InputError(f"the period ends {ends} before it begins {starts}.", mend="Turn the days round.")
    store, zone = layout.store, ZoneInfo(layout.store.time_zone)
    sums = dict.fromkeys(("coins", "cards", "fees", "refunds", "deposits"), 0)
    for line in lines:
        if not starts <= _day(line, zone) <= ends:
            continue
        body = line.body
        if isinstance(body, PiecesCounted):
            sums["coins"] += count_value(body)
        elif isinstance(body, PaidOut):
            sums["cards"] += body.gross_minor
            sums["fees"] += body.fee_minor
        elif isinstance(body, Refunded):
            sums["refunds"] += body.minor
        elif isinstance(body, Deposited):
            sums["deposits"] += body.minor
    money = {name: Money(value, store.currency) for name, value in sums.items()}
    takings = money["coins"] + money["cards"]
    return PeriodTakings(
        starts=starts, ends=ends, takings=takings, tax=split_tax(takings, tax_in_force(store.taxes, ends)), **money
    )


def weeks_of(starts: date, ends: date) -> list[tuple[date, date]]:
    """Monday to Sunday pieces of a span, the first and last cut to it."""
    out, day = [], starts
    while day <= ends:
        last = min(ends, day + timedelta(days=6 - day.weekday()))
        out.append((day, last))
        day = last + timedelta(days=1)
    return out


def statement(
    layout: Layout, lines: Sequence[Line], starts: date, ends: date, *, reader: str = "", costs: Money | None = None
) -> Statement:
    """What the owner (``reader`` empty) or one partner is told of a period.

    A partner sees the base and their own share, not the other shares nor the costs that do not enter it.
    """
    store = layout.store
    named = [s.name for s in store.shares]
    if reader and reader not in named:
        raise InputError(
            f"{store.name} shares with nobody called “{reader}”.", allowed=", ".join(named) or "nobody yet"
        )
    total = period(layout, lines, starts, ends)
    spent = costs or Money(0, store.currency)
    shares = tuple(share_out(total.tax.base, s, spent) for s in store.shares if not reader or s.name == reader)
    kept = total.tax.base - total.fees - total.refunds - spent
    for share in shares:
        kept = kept - share.due
    needs_costs = any(s.costs_first for s in store.shares if s.name == reader)
    return Statement(
        store=store.key, store_name=store.name, currency=store.currency, reader=reader or "owner", is_owner=not reader, starts=starts,
        ends=ends, total=total, weeks=tuple(period(layout, lines, a, b) for a, b in weeks_of(starts, ends)), shares=shares,
        costs=spent if not reader or needs_costs else Money(0, store.currency), kept=kept if not reader else shares[0].kept,
        seals=seals(lines, starts, ends, ZoneInfo(store.time_zone), store.currency), notes=(NOT_TRUTH,),
    )  # fmt: skip


def seals(lines: Sequence[Line], starts: date, ends: date, zone: ZoneInfo, currency: str) -> tuple[SealLine, ...]:
    """The closes whose week lies in the span, with the chain's tip that each froze."""
    return tuple(
        SealLine(week=x.body.week, tip=x.body.tip, taken=Money(x.body.taken_minor, currency))
        for x in lines
        if isinstance(x.body, WeekClosed)
        and starts <= date.fromisocalendar(int(x.body.week[:4]), int(x.body.week[6:]), 1) <= ends
    )


LEAST_MONTHS = 6
_ROBUST_SD = 1.4826  # median absolute deviation to standard deviation of a normal


def with_fuel_range(beside: Mapping[str, IncomeTally]) -> dict[str, IncomeTally]:
    """Give each month the fuel its hours should have used: the months' own median per hour, three robust spreads either way.

    From six months on; with fewer nothing is said. A share of fuel that is not the dryers' (a water heater on the same
    meter) widens it, and a whole year of untrue hours or bills moves the median with them: it compares months, not truth.
    """
    rates = sorted(t.fuel / t.hours for t in beside.values() if t.fuel is not None and t.hours)
    if len(rates) < LEAST_MONTHS:
        return dict(beside)
    middle = _median(rates)
    spread = max(_ROBUST_SD * _median(sorted(abs(r - middle) for r in rates)), 0.01 * middle)
    out = dict(beside)
    for month, tally in beside.items():
        if tally.fuel is not None and tally.hours:
            low, high = (tally.hours * max(0.0, middle + side * 3 * spread) for side in (-1, 1))
            out[month] = msgspec.structs.replace(
                tally, fuel_expected=tally.hours * middle, fuel_low=low, fuel_high=high
            )
    return out


def _median(ordered: Sequence[float]) -> float:
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def income_proof(
    layout: Layout, lines: Sequence[Line], months: Sequence[str], beside: Mapping[str, IncomeTally]
) -> IncomeProof:
    """Months (``2026-05``) of takings beside hours, pieces and fuel used.

    Fuel against hours is how an auditor infers a laundry's income from its utility use (IRS Cash Intensive Businesses Audit
    Techniques Guide, ch. 15, read in an excerpt); here it is told with its range, and a month whose fuel lies outside is said.
    """
    rows, total, beside = [], Money(0, layout.store.currency), with_fuel_range(beside)
    for month in months:
        first = _month(month)
        last = (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
        took = period(layout, lines, first, last).takings
        total = total + took
        rows.append(_income_row(month, took, beside.get(month, IncomeTally())))
    zone = ZoneInfo(layout.store.time_zone)
    frozen = seals(lines, _month(months[0]), last, zone, layout.store.currency) if months else ()
    return IncomeProof(
        store=layout.store.key, store_name=layout.store.name, currency=layout.store.currency, months=tuple(rows), total=total, seals=frozen,
        says=(NOT_TRUTH, *_missing(rows)),
        how_to_check=(
            "Compare each week's seal below with the copy kept elsewhere since that week (printed or mailed).",
            f"Run: drybank verify {layout.store.key} --seal LINE, with a line of that copy. It says whether the chain still runs through it.",
            "Ask for the utility's own bills and the bank's own statements, and compare them with the fuel and deposits here.",
        ),
    )  # fmt: skip


def _income_row(month: str, took: Money, beside: IncomeTally) -> IncomeMonth:
    agrees = ""
    if beside.fuel is not None and beside.fuel_low is not None and beside.fuel_high is not None:
        inside = beside.fuel_low <= beside.fuel <= beside.fuel_high
        agrees = (
            "fuel and hours agree"
            if inside
            else ("less fuel than the hours burn" if beside.fuel < beside.fuel_low else "more fuel than the hours burn")
        )
    return IncomeMonth(
        month=month, takings=took, pieces=beside.pieces, hours=beside.hours, fuel=beside.fuel, fuel_unit=beside.fuel_unit,
        fuel_expected=beside.fuel_expected, fuel_low=beside.fuel_low, fuel_high=beside.fuel_high, agrees=agrees,
    )  # fmt: skip


def _missing(rows: Sequence[IncomeMonth]) -> tuple[str, ...]:
    no_hours = [r.month for r in rows if r.hours is None]
    no_fuel = [r.month for r in rows if r.fuel is None]
    out = []
    if no_hours:
        out.append(f"Hours are not known for {', '.join(no_hours)}: too few readings.")
    if no_fuel:
        out.append(f"No fuel bill is entered for {', '.join(no_fuel)}: those months have no cross-check.")
    return tuple(out)


def _month(text: str) -> date:
    try:
        return date.fromisoformat(f"{text}-01")
    except ValueError:
        raise InputError(f"“{text}” is not a month.", mend="Write it like 2026-05.") from None
