"""The week's close: what came in, what is missing, tax and shares; what changed later falls into the week that closes next.

Adjustments keep the sums true: whatever all closed weeks are worth now, less what their closes said, falls into the week
that closes next. So the closes always add up to what the book knows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from drybank.records.entry import BoxesEmptied, Deposited, PaidOut, PiecesCounted, ReadingTaken, Refunded, WeekClosed
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.takings import Line, WeekClose
from drybank.takings.custody import count_value
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


def worth_by_week(lines: Sequence[Line], zone: str) -> dict[str, tuple[int, int]]:
    """Coins counted and channel sales by week, minor units: a count in the week it was made, a payout in that of its last day."""
    out: dict[str, tuple[int, int]] = {}
    for line in lines:
        body = line.body
        if isinstance(body, PiecesCounted):
            week, coins, cards = week_of(line.happened, zone), count_value(body), 0
        elif isinstance(body, PaidOut):
            last = datetime.combine(date.fromisoformat(body.period_to), time(12), ZoneInfo(zone))
            week, coins, cards = week_of(last, zone), 0, body.gross_minor
        else:
            continue
        had = out.get(week, (0, 0))
        out[week] = (had[0] + coins, had[1] + cards)
    return out


def close_week(layout: Layout, lines: Sequence[Line], week: str, *, costs: Money | None = None) -> WeekClose:
    """The week as it stands from a store's effective entries; nothing is entered.

    ``costs`` of the week matter where a share takes them off first. Shares due by the month are told in the month's
    statement, not here. Refused for a week closed before.
    """
    store, zone = layout.store, layout.store.time_zone
    starts, ends = week_span(week, zone)
    closed = {line.body.week: line.body for line in lines if isinstance(line.body, WeekClosed)}
    if week in closed:
        raise InputError(f"{week} is closed.", mend="What changed since is an adjustment of the next week that closes.")
    worth = worth_by_week(lines, zone)
    coins, cards = (Money(m, store.currency) for m in worth.get(week, (0, 0)))
    due = sum(sum(worth.get(w, (0, 0))) for w in closed) - sum(c.taken_minor for c in closed.values())
    adjustments = Money(due, store.currency)
    takings = coins + cards + adjustments
    within = [line for line in lines if starts <= line.happened < ends]
    tax = split_tax(takings, tax_in_force(store.taxes, (ends - timedelta(days=1)).date()))
    shares = tuple(
        share_out(tax.base, s, costs or Money(0, store.currency)) for s in store.shares if s.period == "week"
    )
    missing = _missing(layout, lines, within, ends)
    kept = tax.base
    for share in shares:
        kept = kept - share.due
    return WeekClose(
        store=store.key, week=week, starts=starts, ends=ends, coins=coins, cards=cards, adjustments=adjustments, takings=takings,
        fees=Money(sum(x.body.fee_minor for x in within if isinstance(x.body, PaidOut)), store.currency),
        refunds=Money(sum(x.body.minor for x in within if isinstance(x.body, Refunded)), store.currency),
        tax=tax, shares=shares, kept=kept, missing=missing, late=_late(worth, closed, store.currency), is_ready=not missing,
    )  # fmt: skip


def _late(worth: dict[str, tuple[int, int]], closed: dict[str, WeekClosed], currency: str) -> tuple[str, ...]:
    """Closed weeks whose own counts and statements are not worth now what the close said of them."""
    out = []
    for week, body in sorted(closed.items()):
        said = body.lines.get("coins", 0) + body.lines.get("cards", 0)
        now = sum(worth.get(week, (0, 0)))
        if now != said:
            out.append(f"{week} was closed at {Money(said, currency)} and is worth {Money(now, currency)} now.")
    return tuple(out)


def _missing(layout: Layout, lines: Sequence[Line], within: Sequence[Line], ends: datetime) -> tuple[str, ...]:
    """What a full week would have and this one has not, each as one sentence."""
    read = {v.device for x in within if isinstance(x.body, ReadingTaken) for v in x.body.values if v.shown is not None}
    unread = [d for d in (*layout.meters, *layout.counters) if d not in read]
    out = []
    if unread:
        some = ", ".join(unread[:6]) + (f" and {len(unread) - 6} more" if len(unread) > 6 else "")
        out.append(f"Not read this week: {some}.")
    before = [x for x in lines if x.happened < ends]
    counted = {x.body.bag for x in before if isinstance(x.body, PiecesCounted)} | {
        x.body.collection for x in before if isinstance(x.body, PiecesCounted)
    }
    out += [
        f"Bag {x.body.bag or 'without a number'} of {x.happened:%Y-%m-%d} is not counted."
        for x in within
        if isinstance(x.body, BoxesEmptied) and x.body.bag not in counted - {""} and x.id not in counted
    ]
    deposited = {bag for x in before if isinstance(x.body, Deposited) for bag in x.body.bags}
    out += [
        f"Bag {x.body.bag} is not in a deposit."
        for x in within
        if isinstance(x.body, PiecesCounted) and x.body.bag and x.body.bag not in deposited
    ]
    accounts = sorted({i.account for i in layout.inputs.values() if i.account})
    paid = {
        x.body.account
        for x in before
        if isinstance(x.body, PaidOut) and date.fromisoformat(x.body.period_to) >= (ends - timedelta(days=1)).date()
    }
    out += [f"No statement of {account} covers this week yet." for account in accounts if account not in paid]
    return tuple(out)
