"""Weeks as they stand: closed under which seal, or still open; bills and payouts entered lately."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import msgspec

from drybank.book import Seal
from drybank.desk.takings import week_as_it_stands
from drybank.records.entry import PaidOut, Sealed, ValueLearned, WeekClosed
from drybank.records.money import Money

if TYPE_CHECKING:
    from drybank.book import Book

WEEKS, MOST = 13, 24


class WeekLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a week's money; ``of`` names the share's holder or the rate of the tax."""

    name: str
    amount: Money
    of: str = ""
    is_sum: bool = False


class WeekStands(msgspec.Struct, frozen=True, kw_only=True):
    """One ISO week: its days, and by whom and with what it was closed; empty where it is open."""

    week: str
    first: datetime
    last: datetime
    is_closed: bool = False
    closed: datetime | None = None
    by: str = ""
    taken: Money | None = None
    missing: tuple[str, ...] = ()
    seal: str = ""
    lines: tuple[WeekLine, ...] = ()
    kept: Money | None = None


class WeekShown(msgspec.Struct, frozen=True, kw_only=True):
    """One week for a page: as it was closed, or as it stands; ``late`` is what became known of weeks closed before."""

    week: str
    took: Money
    kept: Money
    refunds: Money
    shares: Money
    lines: tuple[WeekLine, ...]
    missing: tuple[str, ...]
    late: tuple[str, ...] = ()
    closed: WeekStands | None = None


class BillSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A fuel bill or a payout: what, which days, how much; its entry."""

    id: str
    what: str
    first: str
    last: str
    quantity: str
    amount: str


def weeks_lately(book: Book, store: str, when: datetime, number: int = WEEKS) -> tuple[WeekStands, ...]:
    """The last whole weeks, newest first."""
    zone = ZoneInfo(book.store_at(store, when).time_zone)
    day = when.astimezone(zone).date()
    monday = datetime.combine(day - timedelta(days=day.weekday()), datetime.min.time(), zone)
    found = closed_weeks(book, store, when)
    out = []
    for k in range(1, number + 1):
        first = monday - timedelta(weeks=k)
        name = f"{first:%G-W%V}"
        open_one = WeekStands(week=name, first=first, last=first + timedelta(days=6))
        out.append(msgspec.structs.replace(found[name], first=first, last=open_one.last) if name in found else open_one)
    return tuple(out)


def closed_weeks(book: Book, store: str, when: datetime) -> dict[str, WeekStands]:
    """Every week that was closed, with the seal that froze it."""
    currency = book.store_at(store, when).currency
    seals = {
        t.body.kept_at: Seal(store=store, seq=t.body.seq, tip=t.body.tip, when=f"{t.happened:%Y-%m-%dT%H:%M:%SZ}").line()
        for t in book.story(store, kinds=("seal",)) if isinstance(t.body, Sealed)
    }  # fmt: skip
    return {
        t.body.week: WeekStands(
            week=t.body.week, first=t.happened, last=t.happened, is_closed=True, closed=t.happened, by=t.by,
            taken=Money(t.body.taken_minor, currency), lines=_closed_lines(t.body, currency), kept=Money(t.body.lines.get("kept", 0), currency), missing=t.body.missing, seal=seals.get(f"close of {t.body.week}", ""),
        )
        for t in book.story(store, kinds=("close",)) if isinstance(t.body, WeekClosed)
    }  # fmt: skip


def _closed_lines(body: WeekClosed, currency: str) -> tuple[WeekLine, ...]:
    """The lines that a close froze, in the order of the page."""

    def line(name: str, minor: int, *, of: str = "", is_sum: bool = False) -> WeekLine:
        return WeekLine(name=name, amount=Money(minor, currency), of=of, is_sum=is_sum)

    said = body.lines
    shares = [line("share of", minor, of=name.removeprefix("share ")) for name, minor in said.items() if name.startswith("share ")]  # fmt: skip
    return (
        line("coins", said.get("coins", 0)), line("cards, apps, tokens", said.get("cards", 0)),
        line("adjustments of closed weeks", said.get("adjustments", 0)), line("takings", body.taken_minor, is_sum=True),
        line("tax", said.get("tax", 0)), *shares, line("refunds", said.get("refunds", 0)), line("kept", said.get("kept", 0), is_sum=True),
    )  # fmt: skip


def week_shown(book: Book, store: str, week: str, when: datetime) -> WeekShown:
    """A week as it was closed, or as closing it now would have it."""
    closed = closed_weeks(book, store, when).get(week)
    if closed is not None and closed.taken is not None and closed.kept is not None:
        return WeekShown(
            week=week, took=closed.taken, kept=closed.kept, refunds=_of(closed.lines, "refunds", closed.taken.currency),
            shares=_of(closed.lines, "share of", closed.taken.currency), lines=closed.lines, missing=closed.missing, closed=closed,
        )  # fmt: skip
    stands = week_as_it_stands(book, store, week, when)
    shares = (WeekLine(name="share of", amount=s.due, of=s.name) for s in stands.shares)
    lines = (
        WeekLine(name="coins", amount=stands.coins), WeekLine(name="cards, apps, tokens", amount=stands.cards),
        WeekLine(name="adjustments of closed weeks", amount=stands.adjustments), WeekLine(name="takings", amount=stands.takings, is_sum=True),
        WeekLine(name="tax", amount=stands.tax.tax, of=f"{stands.tax.percent} %" if stands.tax.percent else ""), *shares,
        WeekLine(name="refunds", amount=stands.refunds), WeekLine(name="fees of the channels", amount=stands.fees),
        WeekLine(name="kept", amount=stands.kept, is_sum=True),
    )  # fmt: skip
    return WeekShown(
        week=week, took=stands.takings, kept=stands.kept, refunds=stands.refunds, shares=_of(lines, "share of", stands.takings.currency),
        lines=lines, missing=stands.missing, late=stands.late,
    )  # fmt: skip


def _of(lines: tuple[WeekLine, ...], name: str, currency: str) -> Money:
    return Money(sum(line.amount.minor for line in lines if line.name == name), currency)


def bills_lately(book: Book, store: str, when: datetime) -> tuple[BillSaid, ...]:
    """Fuel bills, newest first: what was measured, and what was paid for the same days."""
    told = [t for t in book.story(store, kinds=("learned value",)) if isinstance(t.body, ValueLearned)]
    bills = [(t.id, t.body) for t in told if isinstance(t.body, ValueLearned) and t.body.method == "bill"]
    currency = book.store_at(store, when).currency
    paid = {(b.name.removesuffix(" bill"), b.data_from, b.data_to): b for _, b in bills if b.name.endswith(" bill")}
    out = []
    for key, body in reversed(bills):
        fuel = body.name.removesuffix(" billed")
        cost = paid.get((fuel, body.data_from, body.data_to))
        if body.name.endswith(" billed"):
            amount = Money(round(cost.value), currency).plain() if cost else ""
            out.append(BillSaid(id=key, what=fuel, first=body.data_from, last=body.data_to, quantity=f"{body.value:,.6g} {body.unit}", amount=amount))  # fmt: skip
    return tuple(out[:MOST])


def payouts_lately(book: Book, store: str, when: datetime) -> tuple[BillSaid, ...]:
    """Payouts of cards, apps and tokens, newest first: sold, and paid out."""
    currency = book.store_at(store, when).currency
    told = [t for t in book.story(store, kinds=("payout",)) if isinstance(t.body, PaidOut)]
    out = []
    for line in reversed(told[-MOST:]):
        body = line.body
        assert isinstance(body, PaidOut)
        sold, paid = (Money(m, currency).plain() for m in (body.gross_minor, body.paid_minor))
        out.append(BillSaid(id=line.id, what=body.account, first=body.period_from, last=body.period_to, quantity=sold, amount=paid))  # fmt: skip
    return tuple(out)
