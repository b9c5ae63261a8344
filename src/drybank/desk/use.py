"""Use of pockets and boxes from the book: spans of hours, starts and pieces between readings, outages, what was done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from drybank.balance import Story, Trace, follow, moment, tell
from drybank.control import first_on, terms, to_sheet, worth
from drybank.desk.standing import layout_at
from drybank.records.entry import PartReplaced, Proved, Serviced
from drybank.records.errors import DrybankError
from drybank.records.layout import Layout
from drybank.records.upkeep import Outage, Span
from drybank.upkeep import Place, Season, TradeClock, Use, fit_season
from drybank.upkeep.clock import SEASON_WEEKS

if TYPE_CHECKING:
    from drybank.book import Book, Told

WEEKLY_DAYS: Final = 10
METERS: Final = ("motor", "sold time", "heat")
# A field test kept in the book is the task done.
PROVED_TASKS: Final = {"time sold": "time-sold", "exhaust temperature": "heat-run", "gas input": "gas-input",
                       "make-up air": "make-up-air"}  # fmt: skip
# A part exchanged is its task done.
REPLACED_TASKS: Final = {"drum": "bearings", "acceptor": "coin-path"}


class StoreUse(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that upkeep needs of one store, as the book has it."""

    layout: Layout
    places: tuple[Place, ...]
    boxes: dict[str, tuple[tuple[Span, ...], float | None]]
    weekly_loads: dict[str, tuple[float, ...]]
    season: Season
    notes: tuple[str, ...]
    told: tuple[Told, ...]


def _day(at: float, zone: ZoneInfo) -> date:
    return datetime.fromtimestamp(at * 86_400.0, zone).date()


def _spans(trace: Trace | None, per: float, zone: ZoneInfo) -> tuple[Span, ...]:
    """Spans between readings on different days, never across a break; ``per`` steps are one hour or start."""
    if trace is None or per <= 0:
        return ()
    out: list[Span] = []
    since = 0
    for k in range(1, len(trace.at)):
        if trace.stretch[k] != trace.stretch[since]:
            since = k
            continue
        first, last = _day(trace.at[since], zone), _day(trace.at[k], zone)
        if last > first:
            out.append(Span(first=first, last=last, amount=max(0.0, trace.total[k] - trace.total[since]) / per))
            since = k
    return tuple(out)


def _traces(laid: Layout, story: Story) -> dict[str, Trace]:
    sizes = {m.key: m.rolls_over_at for m in laid.meters.values()} | {
        c.key: c.rolls_over_at for c in laid.counters.values()
    }
    return {
        key: follow(key, story.shown.get(key, ()), story.swapped, size=size)
        for key, size in sizes.items()
        if key in story.shown
    }


def _hours(laid: Layout, traces: Mapping[str, Trace], pocket: str, zone: ZoneInfo) -> tuple[tuple[Span, ...], float]:
    """Hours of the pocket's best meter (motor before sold time before heat) and its resolution."""
    mine = [m for m in laid.meters.values() if m.pocket == pocket and m.key in traces]
    if not mine:
        return (), 1.0
    meter = min(mine, key=lambda m: METERS.index(m.counts))
    return _spans(traces[meter.key], float(meter.per_hour), zone), 1.0 / meter.per_hour


class _Held:
    """What controls hold, read from the book once; a bank's house settings where a control was never entered."""

    def __init__(self, book: Book, laid: Layout, when: datetime) -> None:
        self.laid, self.held = laid, book.settings_at(laid.store.key, when)
        self.houses = {b.key: book.house_at(laid.store.key, b.key, when) for b in laid.store.banks}

    def starts(self, control: str) -> dict[str, int]:
        """Pieces that start the control, by input; empty where no number does, or drying is free."""
        laid, one = self.laid, self.laid.controls[control]
        values = self.held.get(control, {})
        if not values and self.houses[one.bank]:
            values = to_sheet(laid, control, self.houses[one.bank])
        rule = terms(laid.sheets[one.sheet], values, worth=worth(laid, control))
        found = {i.key: first_on(rule, i.sheet_input) for i in laid.inputs.values() if i.control == control}
        return {key: f.pieces for key, f in found.items() if f is not None and f.pieces > 0}


def _cycles(laid: Layout, traces: Mapping[str, Trace], held: _Held, control: str, zone: ZoneInfo) -> tuple[Span, ...]:
    """Starts, as if every load took the fewest pieces that start: too many rather than too few.

    The counter with the most pieces speaks for the control; a control of several pockets
    shares its starts evenly.
    """
    try:
        pieces = held.starts(control)
    except DrybankError:
        return ()
    mine = [c for c in laid.counters.values() if c.control == control and c.key in traces and not c.counts_value]
    best = max(mine, key=lambda c: traces[c.key].total[-1] if traces[c.key].total else 0.0, default=None)
    if best is None:
        return ()
    least = min((pieces[i] for i in best.inputs if i in pieces), default=0)
    return _spans(traces[best.key], float(least * len(laid.controls[control].pockets)), zone)


def _outages(story: Story, zone: ZoneInfo) -> dict[str, tuple[Outage, ...]]:
    out: dict[str, list[Outage]] = {}
    for at, body in sorted(story.out, key=lambda pair: pair[0]):
        mine, day = out.setdefault(body.pocket, []), _day(at, zone)
        is_open = bool(mine) and mine[-1].last is None
        if body.is_back and is_open:
            mine[-1] = msgspec.structs.replace(mine[-1], last=day)
        elif not body.is_back and not is_open:
            mine.append(Outage(first=day, why=body.why))
    return {key: tuple(value) for key, value in out.items()}


def _done(told: Iterable[Told], zone: ZoneInfo, store: str) -> dict[str, dict[str, date]]:
    """Place -> task -> the last day it was entered as done; a field test or a part exchanged counts."""
    out: dict[str, dict[str, date]] = {}
    for line in told:
        body, day = line.body, line.happened.astimezone(zone).date()
        tasks: tuple[str, ...]
        places: tuple[str, ...]
        if isinstance(body, Serviced):
            tasks, places = body.tasks, (body.at,)
        elif isinstance(body, Proved) and body.test in PROVED_TASKS:
            tasks, places = (PROVED_TASKS[body.test],), tuple(p.strip() for p in body.at.split(","))
        elif isinstance(body, PartReplaced) and body.part in REPLACED_TASKS:
            tasks, places = (REPLACED_TASKS[body.part],), (body.at,)
        else:
            continue
        for place in places:
            mine = out.setdefault("store" if place == store else place, {})
            for task in tasks:
                mine[task] = max(day, mine.get(task, day))
    return out


def _weekly(traces: Sequence[Trace], end: float, weeks: int) -> np.ndarray | None:
    """Steps of several devices in each of the weeks before ``end``, oldest first; None where not all are known."""
    edges = end - 7.0 * np.arange(weeks, -1, -1)
    total = np.zeros(weeks)
    for trace in traces:
        steps = [trace.between(a, b)[0] for a, b in pairwise(edges)]
        total += np.array(steps)
    return total if np.all(np.isfinite(total)) else None


def _season(hours: Sequence[Trace], zone: ZoneInfo) -> tuple[Season, str]:
    """Season of the store's hours where two years are on file."""
    known = [t for t in hours if t.at]
    if not known:
        return Season(), "No hour meter was ever read."
    end, begin = min(t.at[-1] for t in known), max(t.at[0] for t in known)
    weeks = int((end - begin) // 7)
    if weeks < SEASON_WEEKS:
        return (
            Season(),
            f"Season: not told from trend yet ({max(0, weeks)} of {SEASON_WEEKS} weeks); a flat year is taken.",
        )
    rows = [_weekly([t], end, weeks) for t in known]
    whole = [r for r in rows if r is not None]
    if 2 * len(whole) < len(rows):
        return Season(), "Season: too many meters broke off, so a flat year is taken."
    return fit_season(_day(end - 7.0 * weeks, zone), list(map(float, np.sum(whole, axis=0)))), ""


def _box_spans(laid: Layout, traces: Mapping[str, Trace], story: Story, box: str, zone: ZoneInfo) -> tuple[tuple[Span, ...], float | None]:  # fmt: skip
    """Pieces that fell into a box between readings, and what lies in it now (None: never emptied in the book)."""
    inputs = set(laid.boxes[box].inputs)
    mine = [
        traces[c.key]
        for c in laid.counters.values()
        if c.key in traces and not c.counts_value and set(c.inputs) <= inputs
    ]
    mine = [t for t in mine if len(t.at) >= 2]
    if not mine:
        return (), None
    spans = []
    for a, b in pairwise(mine[0].at):
        first, last = _day(a, zone), _day(b, zone)
        amount = sum(t.between(a, b)[0] for t in mine)
        if last > first and np.isfinite(amount):
            spans.append(Span(first=first, last=last, amount=max(0.0, float(amount))))
    emptied = [e.at for e in story.emptied if box in e.boxes]
    end = min(t.at[-1] for t in mine)
    if not emptied or not spans:
        return tuple(spans), None
    lies = sum(t.between(min(emptied[-1], end), end)[0] for t in mine)
    return tuple(spans), float(lies) if np.isfinite(lies) else None


def use_of(book: Book, store: str, when: datetime) -> StoreUse:
    """Read one store's use out of the book as it stands at a moment."""
    laid = layout_at(book, store, when)
    zone = ZoneInfo(laid.store.time_zone)
    told = tuple(book.story(store, until=when + timedelta(microseconds=1)))
    story = tell(told, laid.store.time_zone)
    traces = _traces(laid, story)
    outages, done = _outages(story, zone), _done(told, zone, store)
    best = {p: min((m for m in laid.meters.values() if m.pocket == p and m.key in traces), key=lambda m: METERS.index(m.counts), default=None) for p in laid.pockets}  # fmt: skip
    season, note = _season([traces[m.key] for m in best.values() if m is not None], zone)
    places = _places(laid, (traces, outages, done, season), _Held(book, laid, when), zone)
    boxes = {key: _box_spans(laid, traces, story, key, zone) for key in laid.boxes}
    return StoreUse(
        layout=laid, places=places, boxes=boxes, weekly_loads=_loads(places, moment(when), zone), season=season,
        notes=(note,) if note else (), told=told,
    )  # fmt: skip


Known = tuple[dict[str, Trace], dict[str, tuple[Outage, ...]], dict[str, dict[str, date]], Season]


def _places(laid: Layout, known: Known, held: _Held, zone: ZoneInfo) -> tuple[Place, ...]:
    traces, outages, done, season = known
    pockets: dict[str, Place] = {}
    for control in laid.controls.values():
        cycles = _cycles(laid, traces, held, control.key, zone)
        for pocket in control.pockets:
            hours, step = _hours(laid, traces, pocket, zone)
            out = outages.get(pocket, ())
            clock = TradeClock(season=season, outages=out)
            pockets[pocket] = Place(
                key=pocket, scope="pocket", use=Use(hours=hours, cycles=cycles, clock=clock, resolution_h=step),
                last_done=_latest(done, pocket, control.key, control.machine), outages=out,
                has_gas=laid.pockets[pocket].plate.fuel != "electric",
            )  # fmt: skip
    machines = [_machine(m.key, [pockets[p] for p in m.pockets], done.get(m.key, {})) for m in laid.machines.values()]
    gas = any(p.has_gas for p in pockets.values())
    room = Place(key="store", scope="store", last_done=done.get("store", {}), has_gas=gas)
    return (*pockets.values(), *machines, room)


def _latest(done: Mapping[str, Mapping[str, date]], *keys: str) -> dict[str, date]:
    """The latest day of each task over a pocket, its control and its machine."""
    out: dict[str, date] = {}
    for key in keys:
        for task, day in done.get(key, {}).items():
            out[task] = max(day, out.get(task, day))
    return out


def _machine(key: str, pockets: Sequence[Place], done: dict[str, date]) -> Place:
    """A machine is as used as its most used pocket, and out when all its pockets are."""
    busiest = max(pockets, key=lambda p: sum(s.amount for s in p.use.hours))
    quiet = all(p.outages for p in pockets)
    return Place(
        key=key, scope="machine", use=busiest.use, last_done=done, outages=busiest.outages if quiet else (),
        has_gas=any(p.has_gas for p in pockets),
    )  # fmt: skip


def _loads(places: Sequence[Place], end: float, zone: ZoneInfo, weeks: int = 20) -> dict[str, tuple[float, ...]]:
    """Starts a week of each pocket over the last weeks, pieces laid straight between readings; only whole rows."""
    today = _day(end, zone)
    out: dict[str, tuple[float, ...]] = {}
    for place in places:
        if place.scope != "pocket" or not place.use.cycles:
            continue
        last = min(today, place.use.cycles[-1].last)
        recent = [s for s in place.use.cycles if s.last > last - timedelta(weeks=weeks)]
        if max((s.last - s.first).days for s in recent) > WEEKLY_DAYS:
            continue  # laid straight over longer spans, weeks would look calmer than they were
        row = [
            _between(place.use.cycles, last - timedelta(weeks=k + 1), last - timedelta(weeks=k)) for k in range(weeks)
        ]
        if all(v is not None for v in row):
            out[place.key] = tuple(float(v or 0.0) for v in reversed(row))
    return out


def _between(spans: Sequence[Span], first: date, last: date) -> float | None:
    """Use between two days, laid straight within each span; None where the spans do not cover them."""
    total, covered = 0.0, 0
    for span in spans:
        days = (min(span.last, last) - max(span.first, first)).days
        if days > 0:
            total += span.amount * days / (span.last - span.first).days
            covered += days
    return total if covered == (last - first).days else None
