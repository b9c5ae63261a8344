"""The owner's week on two pages: what came in, what it cost, what is wrong, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.pages_weeks import WeekShown, week_shown
from drybank.desk.standing import layout_at
from drybank.desk.takings import statement_of
from drybank.desk.today import Need
from drybank.desk.today import today as today_of
from drybank.records.finding import Finding
from drybank.records.takings import PeriodTakings, Statement

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.desk.upkeep import Upkeep

WEEKS = 8
WRONG, TO_DO = 6, 14


class WeekReport(msgspec.Struct, frozen=True, kw_only=True):
    """One week: its money, the weeks before it, what is wrong by weight, what is to be done."""

    store: str
    name: str
    currency: str
    week: str
    first: date
    last: date
    money: WeekShown
    statement: Statement
    before: tuple[PeriodTakings, ...]
    wrong: tuple[Finding, ...]
    to_do: tuple[Need, ...]
    missing: tuple[str, ...]


def week_report(
    book: Book, store: str, week: str, when: datetime, seen: Upkeep, findings: Sequence[Finding]
) -> WeekReport:
    """The report of a week such as 2026-W47; findings and due dates are today's."""
    laid = layout_at(book, store, when)
    money = week_shown(book, store, week, when)
    first = date.fromisocalendar(int(week[:4]), int(week[6:]), 1)
    last = first + timedelta(days=6)
    before = statement_of(book, store, f"{first - timedelta(weeks=WEEKS - 1)}..{last}", when).weeks
    return WeekReport(
        store=store, name=laid.store.name, currency=laid.store.currency, week=week, first=first, last=last, money=money,
        statement=statement_of(book, store, f"{first}..{last}", when), before=before, wrong=tuple(findings[:WRONG]),
        to_do=today_of(laid.store.name, seen, findings, most=TO_DO).needs, missing=money.missing,
    )  # fmt: skip
