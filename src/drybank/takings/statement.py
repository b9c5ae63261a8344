"""Statements: a period's takings for the owner, a partner or a buyer, from effective entries.

Days are the store's own; a count belongs to the day it was made, a channel's sales to the last day of its statement. Closed
weeks stay as they were closed: what changed later is an adjustment on the day that it was booked (`takings.moves`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, timedelta

import msgspec

from drybank.records.entry import Sealed, WeekClosed
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.takings import IncomeMonth, IncomeProof, Line, PeriodTakings, SealLine, Statement
from drybank.takings.earned import earned_by_month
from drybank.takings.moves import Move, moves, standing, sums
from drybank.takings.share import share_out, split_tax, tax_in_force

AS_EARNED = "Against the hours, a box's coins are laid evenly over the days since it was emptied before, so a month of five collections is not the richer for it. The ranges compare these months with each other (their median, three robust spreads either way), not with a truth."
NO_SEAL = "No week of these months was closed under a seal, so nothing here shows how the book stood at the time."
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


def period(layout: Layout, lines: Sequence[Line], starts: date, ends: date) -> PeriodTakings:
    """Takings of the local days from ``starts`` to ``ends``, both included; ``lines`` with what was taken back."""
    return _period(layout, moves(lines, layout.store.time_zone), starts, ends)


def _period(layout: Layout, found: Sequence[Move], starts: date, ends: date) -> PeriodTakings:
    if ends < starts:
        raise InputError(f"the period ends {ends} before it begins {starts}.", mend="Turn the days round.")
    store = layout.store
    by_kind, late = sums(found, starts, ends)
    money = {name: Money(by_kind[name], store.currency) for name in ("coins", "cards", "fees", "refunds")}
    adjustments = Money(late, store.currency)
    takings = money["coins"] + money["cards"] + adjustments
    return PeriodTakings(
        starts=starts, ends=ends, takings=takings, adjustments=adjustments, tax=split_tax(takings, tax_in_force(store.taxes, ends)),
        deposits=Money(by_kind["bank"] + by_kind["float"], store.currency), **money,
    )  # fmt: skip


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
    found = moves(lines, store.time_zone)
    total = _period(layout, found, starts, ends)
    spent = costs or Money(0, store.currency)
    shares = tuple(share_out(total.tax.base, s, spent) for s in store.shares if not reader or s.name == reader)
    kept = total.tax.base - total.fees - total.refunds - spent
    for share in shares:
        kept = kept - share.due
    needs_costs = any(s.costs_first for s in store.shares if s.name == reader)
    return Statement(
        store=store.key, store_name=store.name, currency=store.currency, reader=reader or "owner", is_owner=not reader, starts=starts,
        ends=ends, total=total, weeks=tuple(_period(layout, found, a, b) for a, b in weeks_of(starts, ends)), shares=shares,
        costs=spent if not reader or needs_costs else Money(0, store.currency), kept=kept if not reader else shares[0].kept,
        seals=seals(layout, lines, starts, ends), notes=(NOT_TRUTH,),
    )  # fmt: skip


def seals(layout: Layout, lines: Sequence[Line], starts: date, ends: date) -> tuple[SealLine, ...]:
    """The closes whose week lies in the span, each with the seal that was handed out with it."""
    store = layout.store
    handed_out = {x.body.kept_at: x for x in lines if isinstance(x.body, Sealed)}
    return tuple(
        SealLine(
            week=x.body.week, tip=x.body.tip, taken=Money(x.body.taken_minor, store.currency),
            line=_seal_line(handed_out.get(f"close of {x.body.week}"), store.key),
        )
        for x in lines
        if isinstance(x.body, WeekClosed)
        and not x.is_taken_back
        and starts <= date.fromisocalendar(int(x.body.week[:4]), int(x.body.week[6:]), 1) <= ends
    )  # fmt: skip


def _seal_line(line: Line | None, store: str) -> str:
    """The line that `drybank close` printed, and that `drybank verify --seal` takes."""
    if line is None or not isinstance(line.body, Sealed):
        return ""
    return f"drybank seal {line.body.seq} {line.body.tip} {line.happened.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ} {store}"


LEAST_MONTHS = 6
_ROBUST_SD = 1.4826  # median absolute deviation to standard deviation of a normal
_LEAST_SPREAD = 0.01


def usual_range(rates: Sequence[float]) -> tuple[float, float, float] | None:
    """The months' own median rate and three robust spreads either way, from six months on; None with fewer.

    It compares months with each other, not with a truth: what is untrue in every month moves the median with it.
    """
    if len(rates) < LEAST_MONTHS:
        return None
    middle = _median(sorted(rates))
    spread = max(_ROBUST_SD * _median(sorted(abs(r - middle) for r in rates)), _LEAST_SPREAD * middle)
    return max(0.0, middle - 3 * spread), middle, middle + 3 * spread


def with_fuel_range(beside: Mapping[str, IncomeTally]) -> dict[str, IncomeTally]:
    """Give each month the fuel its hours should have used, by the months' own fuel per hour.

    A share of fuel that is not the dryers' (a water heater on the same meter) widens the range.
    """
    found = usual_range([t.fuel / t.hours for t in beside.values() if t.fuel is not None and t.hours])
    out = dict(beside)
    for month, tally in beside.items():
        if found is not None and tally.fuel is not None and tally.hours:
            low, middle, high = (tally.hours * rate for rate in found)
            out[month] = msgspec.structs.replace(tally, fuel_expected=middle, fuel_low=low, fuel_high=high)
    return out


def _median(ordered: Sequence[float]) -> float:
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def income_proof(
    layout: Layout, lines: Sequence[Line], months: Sequence[str], beside: Mapping[str, IncomeTally]
) -> IncomeProof:
    """Months (``2026-05``) of takings beside hours, pieces and fuel used.

    Fuel against hours against takings is how an auditor infers a laundry's income from its utility use (IRS Cash Intensive
    Businesses Audit Techniques Guide, ch. 15, read in an excerpt); here both are told with their range, and a month whose fuel
    or takings lie outside is said.
    """
    beside = with_fuel_range(beside)
    found = moves(lines, layout.store.time_zone)
    spans = {month: _month(month) for month in months}
    took = {m: _period(layout, found, first, _last_day(first)).takings for m, first in spans.items()}
    tallies = {m: beside.get(m, IncomeTally()) for m in months}
    earned = earned_by_month(standing(lines), layout.store.time_zone)
    usual = usual_range([earned.get(m, 0.0) / t.hours for m, t in tallies.items() if t.hours])
    rows = [_income_row(m, (took[m], earned.get(m, 0.0)), tallies[m], usual) for m in months]
    currency = layout.store.currency
    frozen = seals(layout, lines, spans[months[0]], _last_day(spans[months[-1]])) if months else ()
    return IncomeProof(
        store=layout.store.key, store_name=layout.store.name, currency=currency, months=tuple(rows),
        total=Money(sum(m.minor for m in took.values()), currency), seals=frozen, says=(NOT_TRUTH, *((AS_EARNED,) if usual else ()), *_missing(rows)),
        how_to_check=(
            "Compare each week's seal below with the copy kept elsewhere since that week (printed or mailed)." if frozen else NO_SEAL,
            f"Run: drybank verify {layout.store.key} --seal LINE, with a line of a seal kept elsewhere. It says whether the chain still runs through it.",
            "Ask for the utility's own bills and the bank's own statements, and compare them with the fuel and deposits here.",
        ),
    )  # fmt: skip


def _last_day(first: date) -> date:
    return (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)


def _income_row(
    month: str, money: tuple[Money, float], beside: IncomeTally, usual: tuple[float, float, float] | None
) -> IncomeMonth:
    took, earned = money
    fuel, pays = "", ""
    if beside.fuel is not None and beside.fuel_low is not None and beside.fuel_high is not None:
        fuel = _against(
            beside.fuel, (beside.fuel_low, beside.fuel_high),
            ("less fuel than the hours burn", "fuel and hours agree", "more fuel than the hours burn"),
        )  # fmt: skip
    low = high = None
    if usual is not None and beside.hours:
        low, high = (Money(round(beside.hours * rate), took.currency) for rate in (usual[0], usual[2]))
        pays = _against(
            earned, (low.minor, high.minor),
            ("less taken than the hours usually bring", "takings and hours agree", "more taken than the hours usually bring"),
        )  # fmt: skip
    return IncomeMonth(
        month=month, takings=took, pieces=beside.pieces, hours=beside.hours, fuel=beside.fuel, fuel_unit=beside.fuel_unit,
        fuel_expected=beside.fuel_expected, fuel_low=beside.fuel_low, fuel_high=beside.fuel_high, agrees=fuel,
        earned=Money(round(earned), took.currency), takings_low=low, takings_high=high, took=pays,
    )  # fmt: skip


def _against(value: float, span: tuple[float, float], words: tuple[str, str, str]) -> str:
    """Below, inside or above a range, in words."""
    return words[0] if value < span[0] else words[2] if value > span[1] else words[1]


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
