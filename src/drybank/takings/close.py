"""The week's close: what came in, what is missing, tax and shares; what changed of closed weeks is an adjustment.

A correction or a late count of a week closed before falls into the week in which it was booked (`takings.moves`), so the
closes always add up to what the book knows of their weeks.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from drybank.records.entry import BoxesEmptied, PaidOut, PiecesCounted, ReadingTaken, WeekClosed
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.takings import Bag, Line, WeekClose
from drybank.takings.custody import follow
from drybank.takings.moves import Move, moves, standing, sums
from drybank.takings.share import share_out, split_tax, tax_in_force

_WEEK = re.compile(r"^(\d{4})-W(\d{2})$")


def week_span(week: str, zone: str) -> tuple[datetime, datetime]:
    """Monday 00:00 to the next, local time, of an ISO 8601 week such as 2026-W18."""
    found = _WEEK.match(week)
    try:
        if found is None:
            raise ValueError
        monday = date.fromisocalendar(int(found[1]), int(found[2]), 1)
    except ValueError:
        raise InputError(f"“{week}” is not a week.", mend="Write it like 2026-W18.") from None
    local = ZoneInfo(zone)
    return datetime.combine(monday, time(), local), datetime.combine(monday + timedelta(days=7), time(), local)


def week_of(moment: datetime, zone: str) -> str:
    """The ISO week that a moment lies in, by the store's own clock."""
    year, number, _ = moment.astimezone(ZoneInfo(zone)).isocalendar()
    return f"{year}-W{number:02d}"


def close_week(layout: Layout, lines: Sequence[Line], week: str, *, costs: Money | None = None) -> WeekClose:
    """The week as it stands from a store's effective entries; nothing is entered.

    ``costs`` of the week matter where a share takes them off first. Shares due by the month are told in the month's
    statement, not here. Refused for a week closed before.
    """
    store, zone = layout.store, layout.store.time_zone
    starts, ends = week_span(week, zone)
    if any(isinstance(x.body, WeekClosed) and x.body.week == week for x in standing(lines)):
        raise InputError(f"{week} is closed.", mend="What changed since is an adjustment of the next week that closes.")
    found = moves(lines, zone)
    lines = standing(lines)
    first, last = starts.date(), (ends - timedelta(days=1)).date()
    by_kind, late = sums(found, first, last)
    coins, cards, adjustments = (Money(m, store.currency) for m in (by_kind["coins"], by_kind["cards"], late))
    takings = coins + cards + adjustments
    within = [line for line in lines if starts <= line.happened < ends]
    tax = split_tax(takings, tax_in_force(store.taxes, last))
    shares = tuple(
        share_out(tax.base, s, costs or Money(0, store.currency)) for s in store.shares if s.period == "week"
    )
    missing = _missing(layout, lines, within, ends)
    kept = tax.base
    for share in shares:
        kept = kept - share.due
    return WeekClose(
        store=store.key, week=week, starts=starts, ends=ends, coins=coins, cards=cards, adjustments=adjustments, takings=takings,
        fees=Money(by_kind["fees"], store.currency), refunds=Money(by_kind["refunds"], store.currency),
        tax=tax, shares=shares, kept=kept, missing=missing, late=_late(found, (first, last), store.currency), is_ready=not missing,
    )  # fmt: skip


def _late(found: Sequence[Move], span: tuple[date, date], currency: str) -> tuple[str, ...]:
    """What became known in these days of weeks closed before, a sentence each."""
    apart: dict[str, int] = {}
    for move in found:
        if move.of_week and move.what in ("coins", "cards") and span[0] <= move.day <= span[1]:
            apart[move.of_week] = apart.get(move.of_week, 0) + move.minor
    return tuple(
        f"{week} is worth {Money(abs(minor), currency)} {'more' if minor > 0 else 'less'} than when it was closed: told here as an adjustment."
        for week, minor in sorted(apart.items())
        if minor
    )


def _missing(layout: Layout, lines: Sequence[Line], within: Sequence[Line], ends: datetime) -> tuple[str, ...]:
    """What a full week would have and this one has not, each as one sentence."""
    read = {v.device for x in within if isinstance(x.body, ReadingTaken) for v in x.body.values if v.shown is not None}
    unread = [d for d in (*layout.meters, *layout.counters) if d not in read]
    out = []
    if unread:
        some = ", ".join(unread[:6]) + (f" and {len(unread) - 6} more" if len(unread) > 6 else "")
        out.append(f"Not read this week: {some}.")
    mine = [b for b in follow(lines, currency=layout.store.currency, now=ends).bags if _is_of(b, within)]
    out += [f"{_called(bag)} is not counted." for bag in mine if bag.counted_minor is None]
    out += [f"{_called(bag)} is not in a deposit." for bag in mine if bag.counted_minor is not None and not bag.deposit]
    days = [(ends - timedelta(days=n)).date() for n in range(7, 0, -1)]
    accounts = sorted({i.account for i in layout.inputs.values() if i.account})
    out += [
        f"No statement of {account} covers this week yet." for account in accounts if not _covers(lines, account, days)
    ]
    return tuple(out)


def _is_of(bag: Bag, within: Sequence[Line]) -> bool:
    """Whether a round was begun by one of these collections, or counted by one of these counts."""
    begun = {x.happened for x in within if isinstance(x.body, BoxesEmptied | PiecesCounted)}
    return (bag.collected or bag.counted) in begun


def _called(bag: Bag) -> str:
    if bag.key.startswith(("collection ", "count ")):
        when = bag.collected or bag.counted
        return f"What was in {', '.join(bag.boxes) or 'boxes'} on {when:%Y-%m-%d}"
    name = bag.key.partition(", round of ")[0]
    return f"Bag {name} of {bag.collected:%Y-%m-%d}" if bag.collected else f"Bag {name}"


def _covers(lines: Sequence[Line], account: str, days: Sequence[date]) -> bool:
    """Whether the statements of an account cover each of some days."""
    spans = [
        (date.fromisoformat(x.body.period_from), date.fromisoformat(x.body.period_to))
        for x in lines
        if isinstance(x.body, PaidOut) and x.body.account == account
    ]
    return all(any(first <= day <= last for first, last in spans) for day in days)
