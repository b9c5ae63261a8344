"""When money was earned, for holding it against hours: a box's coins laid evenly over the days since it was emptied before.

Takings are told on the day they were counted; a month with five collections then looks richer than its hours. This is the
other view, for comparison only. It sums to the takings but for what was earned outside the months asked.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from drybank.records.entry import PaidOut
from drybank.records.takings import Bag, Line
from drybank.takings.custody import follow

FIRST_DAYS = 7
"""Days over which a box's first count is laid, where no emptying before it is known."""


def earned_by_month(lines: Sequence[Line], zone: str) -> dict[str, float]:
    """Minor units earned in each month (``2026-05``) of a store's standing entries."""
    local = ZoneInfo(zone)
    out: dict[str, float] = defaultdict(float)
    last: dict[str, date] = {}
    bags = follow(lines, currency="USD", now=datetime.max.replace(tzinfo=local)).bags  # amounts only: any currency does
    for end, bag in sorted(_dated(bags, local), key=lambda pair: pair[0]):
        before = [last[b] for b in bag.boxes if b in last]
        start = max(before) if before else end - timedelta(days=FIRST_DAYS)
        _lay(out, start + timedelta(days=1), end, bag.counted_minor or 0)
        last.update(dict.fromkeys(bag.boxes, end))
    for line in lines:
        if isinstance(line.body, PaidOut):
            first, end = date.fromisoformat(line.body.period_from), date.fromisoformat(line.body.period_to)
            _lay(out, first, end, line.body.gross_minor)
    return dict(out)


def _dated(bags: Sequence[Bag], zone: ZoneInfo) -> Iterator[tuple[date, Bag]]:
    """Counted bags with the day on which their boxes were emptied."""
    for bag in bags:
        when = bag.collected or bag.counted
        if when is not None and bag.counted_minor is not None:
            yield when.astimezone(zone).date(), bag


def _lay(out: dict[str, float], first: date, last: date, minor: int) -> None:
    """An amount evenly over days, both ends included; all of it on the last where there is no other."""
    first = min(first, last)
    days = (last - first).days + 1
    while first <= last:
        end = min(last, (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1))
        out[f"{first:%Y-%m}"] += minor * ((end - first).days + 1) / days
        first = end + timedelta(days=1)
