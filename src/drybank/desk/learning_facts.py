"""What learning needs of the book: changes with their days, fuel bills beside hours, loads that somebody watched."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from drybank.balance.audit.devices import Trace
from drybank.balance.audit.story import moment, tell
from drybank.learn.weeks import METERS, traces_of
from drybank.records.entry import PaidOut, PlanAdopted, ReadingTaken, Serviced, SettingChanged, ValueLearned, Watched
from drybank.records.layout import Layout
from drybank.records.learn import FuelBill, Timing

if TYPE_CHECKING:
    from drybank.book.story import Told

NEAR_DAYS: Final = 21.0
"""Controls set within this of each other, or of the day a plan begins, are one change: a roll-out takes some evenings."""
COUNTED, WASHES = "count", "washes counted"
"""Method and name of the value that holds washes of a period."""
FUELS: Final = {"natural gas": "gas", "propane": "propane", "electric": "electricity"}
SERVICES: Final = ("lint", "burner", "duct", "seal", "belt", "drum")
"""Words in a task's key that may move the fuel of an hour."""


class Change(NamedTuple):
    """A change: when, in which words, at which controls; the bank whose plan was adopted, "" for settings only."""

    at: datetime
    what: str
    controls: frozenset[str]
    bank: str = ""


def changes_of(laid: Layout, story: Sequence[Told]) -> list[Change]:
    """Plans adopted and controls set, oldest first; what is set near a plan's day is that plan's roll-out.

    A bank's first plan changes nothing that the book could compare with, and is left out.
    """
    zone = ZoneInfo(laid.store.time_zone)
    plans: list[Change] = []
    known: dict[str, tuple[object, ...]] = {}
    for told in story:
        body = told.body
        if isinstance(body, PlanAdopted) and body.values:
            before, known[body.bank] = known.get(body.bank), body.values
            if before is not None and before != body.values:
                start = datetime.combine(date.fromisoformat(body.from_date), datetime.min.time(), zone)
                mine = frozenset(c.key for c in laid.controls.values() if c.bank == body.bank)
                plans.append(Change(start, f"new settings of bank {body.bank}", mine, body.bank))
    sets: list[Change] = []
    for told in story:
        body = told.body
        if isinstance(body, SettingChanged) and body.control in laid.controls and _differs(body):
            near = [p for p in plans if body.control in p.controls and _days(p.at, told.happened) <= NEAR_DAYS]
            last = sets[-1] if sets and _days(sets[-1].at, told.happened) <= NEAR_DAYS else None
            if near:
                continue
            if last is not None:
                sets[-1] = last._replace(controls=last.controls | {body.control})
            else:
                sets.append(Change(told.happened, "controls set anew", frozenset({body.control})))
    return sorted((*plans, *sets), key=lambda c: c.at)


def _differs(body: SettingChanged) -> bool:
    found = {v.setting: v.value for v in body.found}
    return any(v.setting in found and found[v.setting] != v.value for v in body.left)


def _days(a: datetime, b: datetime) -> float:
    return abs((a - b).total_seconds()) / 86_400.0


# ---------------------------------------------------------------- fuel


class FuelAsked(NamedTuple):
    """Bills of one fuel beside the hours of the pockets that burn it, and the dated changes that they may show."""

    fuel: str
    unit: str
    is_shared: bool
    bills: tuple[FuelBill, ...]
    changes: tuple[str, ...]
    left_out: int


def fuel_bills(laid: Layout, story: Sequence[Told], air_c: Sequence[float] = ()) -> FuelAsked | None:
    """The dryers' fuel by its bills; None where none was entered. ``air_c``: mean outdoor air of each month, or nothing."""
    kinds = {p.plate.fuel for p in laid.pockets.values()}
    fuel = next((FUELS[k] for k in ("natural gas", "propane", "electric") if k in kinds), "")
    found = [
        t.body for t in story
        if isinstance(t.body, ValueLearned) and t.body.method == "bill" and t.body.name == f"{fuel} billed"
    ]  # fmt: skip
    if not found:
        return None
    found.sort(key=lambda b: b.data_from)
    burning = [k for k, p in laid.pockets.items() if FUELS[p.plate.fuel] == fuel]
    traces = traces_of(laid, tell(story, laid.store.time_zone))
    zone = ZoneInfo(laid.store.time_zone)
    marks = _marks(laid, story, zone, found[0].data_from, found[-1].data_to)
    bills = [
        _bill(laid, traces, burning, b, zone, air_c, [at for _, at in marks]) for b in found if b.unit == found[-1].unit
    ]
    washed = [t.body for t in story if isinstance(t.body, ValueLearned) and t.body.name == WASHES]
    whole = tuple(msgspec.structs.replace(b, washes=_washes(washed, b)) for b in bills if b is not None)
    is_shared = bool(laid.store.washers) and not all(
        b.is_metered_apart for b in laid.store.banks
        if any(FUELS[laid.pockets[p].plate.fuel] == fuel for m in laid.machines.values() if m.bank == b.key for p in m.pockets)
    )  # fmt: skip
    return FuelAsked(fuel, found[-1].unit, is_shared, whole, tuple(n for n, _ in marks), len(found) - len(whole))


def _marks(laid: Layout, story: Sequence[Told], zone: ZoneInfo, first: str, last: str) -> list[tuple[str, float]]:
    """Dated changes that bills on both sides may tell of: new settings, and the latest service of each kind."""
    marks: dict[str, float] = {}
    for change in changes_of(laid, story):
        marks[f"{change.what}, {change.at.astimezone(zone):%Y-%m-%d}"] = moment(change.at)
    for told in story:
        body = told.body
        if isinstance(body, Serviced) and body.at in ("store", laid.store.key):
            for task in body.tasks:
                if any(word in task for word in SERVICES):
                    marks[f"{task}, {told.happened.astimezone(zone):%Y-%m-%d}"] = moment(told.happened)
    inside = [
        (n, at) for n, at in marks.items() if first < f"{datetime.fromtimestamp(at * 86_400, zone):%Y-%m-%d}" < last
    ]
    return sorted(inside, key=lambda pair: pair[1])[-3:]


def _bill(
    laid: Layout, traces: dict[str, Trace], pockets: Sequence[str], body: ValueLearned, zone: ZoneInfo,
    air_c: Sequence[float], marks: Sequence[float],
) -> FuelBill | None:  # fmt: skip
    first, last = date.fromisoformat(body.data_from), date.fromisoformat(body.data_to)
    starts = moment(datetime.combine(first, datetime.min.time(), zone))
    ends = moment(datetime.combine(last + timedelta(days=1), datetime.min.time(), zone))
    hours = _hours(laid, traces, pockets, starts, ends)
    if hours is None or hours <= 0:
        return None
    after = tuple((_hours(laid, traces, pockets, min(max(at, starts), ends), ends) or 0.0) / hours for at in marks)
    return FuelBill(
        first=body.data_from, last=body.data_to, days=ends - starts, quantity=body.value, hours=hours,
        air_c=_air(first, last, air_c), share_after=after,
    )  # fmt: skip


def _washes(counts: Sequence[ValueLearned], bill: FuelBill) -> float | None:
    """Washes of a bill's days, each count shared evenly over its own; None where counts leave more than a tenth open."""
    starts, ends = date.fromisoformat(bill.first), date.fromisoformat(bill.last)
    used, covered = 0.0, 0
    for count in counts:
        first, last = date.fromisoformat(count.data_from), date.fromisoformat(count.data_to)
        days = (min(last, ends) - max(first, starts)).days + 1
        if days > 0:
            used, covered = used + count.value * days / ((last - first).days + 1), covered + days
    total = (ends - starts).days + 1
    return used * total / covered if 0.9 * total <= covered <= total else None


def _hours(laid: Layout, traces: dict[str, Trace], pockets: Sequence[str], starts: float, ends: float) -> float | None:
    """Hours of the pockets between two moments, the best meter of each; None where one is not known."""
    if ends <= starts:
        return 0.0
    total = 0.0
    for pocket in pockets:
        mine = [m for m in laid.meters.values() if m.pocket == pocket and m.key in traces]
        if not mine:
            return None
        meter = min(mine, key=lambda m: METERS.index(m.counts))
        steps = _between(traces[meter.key], starts, ends)
        if steps is None:
            return None
        total += steps / meter.per_hour
    return total


def _between(trace: Trace, starts: float, ends: float) -> float | None:
    """Steps between two moments; where readings end up to a day short, the rate they have goes on."""
    first, last = max(starts, trace.at[0]), min(ends, trace.at[-1])
    if last - first < ends - starts - 1.0:
        return None
    steps = trace.between(first, last)[0]
    return float(steps) * (ends - starts) / (last - first) if np.isfinite(steps) else None


def _air(first: date, last: date, air_c: Sequence[float]) -> float | None:
    if len(air_c) != 12:
        return None
    days = [first + timedelta(days=k) for k in range((last - first).days + 1)]
    return float(np.mean([air_c[d.month - 1] for d in days]))


# ---------------------------------------------------------------- days


def timing_of(laid: Layout, story: Sequence[Told]) -> tuple[Timing, Timing]:
    """Weekdays from readings a day apart and statements of one day; hours of the day from watches."""
    from drybank.learn import hours_of_day, weekdays

    zone = ZoneInfo(laid.store.time_zone)
    days = _single_days(laid, story, zone)
    watched = []
    for told in story:
        body = told.body
        if isinstance(body, Watched) and body.ends > body.starts:
            a, b = body.starts.astimezone(zone), body.ends.astimezone(zone)
            if a.date() == b.date():
                watched.append((a.hour + a.minute / 60, b.hour + b.minute / 60, body.customers or body.loads))
    return weekdays(days), hours_of_day(watched, _open_hours(laid))


def _single_days(laid: Layout, story: Sequence[Told], zone: ZoneInfo) -> list[tuple[date, float]]:
    """Use of single days: takings of one-day statements, else hours between readings of all meters 0.8 to 1.2 days apart."""
    paid = [
        (date.fromisoformat(b.period_from), float(b.gross_minor))
        for b in (t.body for t in story) if isinstance(b, PaidOut) and b.period_from == b.period_to
    ]  # fmt: skip
    if len(paid) >= 14:
        return paid
    traces = [t for k, t in traces_of(laid, tell(story, laid.store.time_zone)).items() if k in laid.meters]
    rounds = sorted({round(moment(t.happened), 2) for t in story if isinstance(t.body, ReadingTaken)})
    out = []
    for a, b in pairwise(rounds):
        steps = [t.between(a, b)[0] for t in traces] if 0.8 <= b - a <= 1.2 else []
        if steps and np.isfinite(steps).all():
            out.append((datetime.fromtimestamp((a + b) / 2 * 86_400, zone).date(), float(sum(steps))))
    return out


def _open_hours(laid: Layout) -> list[bool]:
    flags = [False] * 24
    for opening in laid.store.hours:
        first, last = (int(t[:2]) + int(t[3:5]) / 60 for t in (opening.open, opening.close))
        for hour in range(int(first), int(np.ceil(last if last > first else last + 24))):
            flags[hour % 24] = True
    return flags
