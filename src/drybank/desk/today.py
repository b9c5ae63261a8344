"""What needs somebody today: at most seven things, danger before money before what is due; then the week in one sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import msgspec

from drybank.desk.standing import layout_at
from drybank.records.errors import DrybankError
from drybank.records.finding import Finding, Weight
from drybank.records.money import Money
from drybank.records.upkeep import BoxDue, Due

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.desk.upkeep import Upkeep

MOST = 7
SOON_DAYS = 14
ORDER: dict[Weight, int] = {"danger": 0, "money": 1, "due": 2, "note": 3}
MONEY_ROOMS = ("balance", "takings")


class Need(msgspec.Struct, frozen=True, kw_only=True):
    """One line: how much it weighs, what is so, the next step, and where to look (``room`` and ``key``)."""

    weight: Weight
    says: str
    next_step: str
    room: Literal["balance", "takings", "proof", "upkeep", "learn", "control"]
    where: str
    key: str


class Today(msgspec.Struct, frozen=True, kw_only=True):
    """The list, how many more there are, and the day it is in the store."""

    store: str
    name: str
    today: date
    needs: tuple[Need, ...]
    more: int


class WeekSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A whole week's money: took, given back, shared, kept, and the week before's takings."""

    week: str
    first: date
    last: date
    took: Money
    refunds: Money
    shares: Money
    kept: Money
    before: Money
    missing: tuple[str, ...]


def today(name: str, seen: Upkeep, findings: Sequence[Finding], *, most: int = MOST) -> Today:
    """Findings, due tasks and full boxes as one ordered list; ``findings`` are those that this reader may see."""
    rows = [*(_of_finding(f) for f in findings), *_of_tasks(seen.due, seen.today), *_of_boxes(seen.boxes, seen.today)]
    rows.sort(key=lambda pair: (ORDER[pair[1].weight], pair[0]))
    needs = tuple(need for _, need in rows)
    return Today(store=seen.store, name=name, today=seen.today, needs=needs[:most], more=max(0, len(needs) - most))


Ranked = tuple[float, Need]


def _of_finding(one: Finding) -> Ranked:
    size = abs(one.size.value) if one.size else 0.0
    need = Need(weight=one.weight, says=one.says, next_step=one.next_check, room=one.room, where=one.where, key=one.key)
    return -size, need


def _of_tasks(due: Iterable[Due], day: date) -> list[Ranked]:
    """One line for each task that is due now, with its places; the tasks never entered as one line."""
    by_task: dict[str, list[Due]] = {}
    never: list[Due] = []
    for one in due:
        if one.state == "never entered" and not one.pulled_by:
            never.append(one)
        elif one.state in ("overdue", "due"):
            by_task.setdefault(one.task.key, []).append(one)
    out = [_of_task(rows, day) for rows in by_task.values()]
    if never:
        tasks = list(dict.fromkeys(d.task.name for d in never))
        says = f"{len(never)} jobs of upkeep were never entered as done: {', '.join(tasks[:3])} and {len(tasks) - 3} more kinds." if len(tasks) > 3 else f"{len(never)} jobs of upkeep were never entered as done: {', '.join(tasks)}."  # fmt: skip
        step = "Enter when each was done last, or do it at the next round: its clock starts then."
        out.append((1e6, Need(weight="due", says=says, next_step=step, room="upkeep", where="", key="never")))
    return out


def _of_task(rows: Sequence[Due], day: date) -> Ranked:
    first = min((d.on for d in rows if d.on), default=None)
    late = [d for d in rows if d.state == "overdue"]
    places = ", ".join(d.at for d in rows[:8]) + (f" and {len(rows) - 8} more" if len(rows) > 8 else "")
    when = f", since {first:%Y-%m-%d}" if first and late else f", by {first:%Y-%m-%d}" if first else ""
    says = f"{rows[0].task.name}: {places}{when}."
    step = f"About {sum(d.task.minutes for d in rows):.0f} minutes in all. Make the round's cards."
    rank = float((first - day).days) if first else 0.0
    return rank, Need(weight="due", says=says, next_step=step, room="upkeep", where=rows[0].at, key=rows[0].task.key)


def _of_boxes(boxes: Iterable[BoxDue], day: date) -> list[Ranked]:
    soon = [b for b in boxes if b.empty_by is not None and b.empty_by <= day + timedelta(days=SOON_DAYS)]
    return [
        (float((b.empty_by - day).days), Need(weight="due", says=b.says, next_step="Empty it at the next round, counters first.", room="upkeep", where=b.box, key=f"box {b.box}"))
        for b in soon
        if b.empty_by is not None
    ]  # fmt: skip


def last_week(book: Book, store: str, when: datetime, before: Money | None = None) -> WeekSaid | None:
    """The last whole week's money; None where the store's book does not reach so far. ``before``: takings of the week before, if known."""
    from drybank.desk.pages_weeks import week_shown

    zone = ZoneInfo(layout_at(book, store, when).store.time_zone)
    day = when.astimezone(zone).date()
    monday = day - timedelta(days=day.weekday() + 7)
    try:
        week = week_shown(book, store, f"{monday:%G-W%V}", when)
        earlier = before or week_shown(book, store, f"{monday - timedelta(days=7):%G-W%V}", when).took
    except DrybankError:
        return None
    return WeekSaid(
        week=week.week, first=monday, last=monday + timedelta(days=6), took=week.took, refunds=week.refunds,
        shares=week.shares, kept=week.kept, before=earlier, missing=week.missing,
    )  # fmt: skip
