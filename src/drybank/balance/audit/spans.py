"""Usage between emptyings: what counters, meters and boxes say of each span, in one row each.

A span runs from one complete emptying of a group's boxes to the next. Counters and meters are looked up at
those moments: exactly where they were read at the same stop, laid straight between readings otherwise,
with the coins that may have fallen in between told as a variance.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypeVar

import numpy as np

from drybank.balance.audit.devices import SAME_VISIT_DAYS, Trace
from drybank.balance.audit.held import Held
from drybank.balance.audit.story import Counted, Emptied, Story, moment
from drybank.balance.audit.units import Group
from drybank.records.layout import Layout, Meter

T = TypeVar("T", Emptied, Counted)

CLUSTER_DAYS = 0.5  # boxes of one group emptied within this count as one emptying
GAP_SPREAD = 9.0  # variance of pieces per piece expected in a gap: loads come in lots; an assumption
SHARE_SPREAD = 0.3  # sd of the share of use before an unread change, times sqrt(f (1 - f)); an assumption


BASE_SPANS = 26  # spans before the period that an own past rests on
COVERED = 0.98  # share of a span that statements must cover to count
METER_ORDER = ("motor", "sold time", "heat")  # which meter of a pocket is believed first


@dataclass(frozen=True)
class Source:
    """One store's devices and settings followed through time, as its spans are cut from them."""

    layout: Layout
    story: Story
    traces: Mapping[str, Trace]
    held: Mapping[str, Held]
    meter: Mapping[str, Meter]  # pocket -> the meter believed first
    emptied: Mapping[str, Sequence[Emptied]]  # box -> its emptyings
    counted: Mapping[str, Sequence[Counted]]  # box -> its counts


def source(layout: Layout, story: Story, traces: Mapping[str, Trace], held: Mapping[str, Held]) -> Source:
    """Gather what the spans of a store are cut from."""
    meter: dict[str, Meter] = {}
    for m in sorted(layout.meters.values(), key=lambda m: METER_ORDER.index(m.counts)):
        meter.setdefault(m.pocket, m)
    emptied: dict[str, list[Emptied]] = {}
    counted: dict[str, list[Counted]] = {}
    for e in story.emptied:
        for box in e.boxes:
            emptied.setdefault(box, []).append(e)
    for c in story.counted:
        for box in c.boxes:
            counted.setdefault(box, []).append(c)
    return Source(layout, story, traces, held, meter, emptied, counted)


@dataclass(frozen=True)
class Span:
    """One span of one group. Money in minor units, times in days, hours as seconds run; NaN is not known."""

    start: float
    end: float
    counted_minor: float
    pieces_counted: float
    foreign: int
    method: str
    counter_minor: float
    pieces: float
    run_s: float
    sold_counter_s: float
    sold_cash_s: float
    gap_start_var: float
    gap_end_var: float
    gap_hours: float
    shared_var: float = 0.0

    @property
    def days(self) -> float:
        return self.end - self.start


@dataclass
class Rows:
    """The spans of one group, oldest first."""

    group: Group
    spans: list[Span] = field(default_factory=list)
    piece_minor: float = 25.0


def _at(e: Emptied | Counted) -> float:
    return e.at


def _once(of_box: Mapping[str, Sequence[T]], boxes: frozenset[str]) -> list[T]:
    """Emptyings or counts that touch any of the boxes, once each, in order of time."""
    seen = {id(e): e for box in sorted(boxes) for e in of_box.get(box, ())}
    return sorted(seen.values(), key=_at)


def emptyings(group: Group, of: Source) -> list[float]:
    """Moments at which every box of the group had been emptied, within half a day."""
    events = [(e.at, e.boxes & group.boxes) for e in _once(of.emptied, group.boxes)]
    if not events:  # counts without an emptying entry date themselves
        events = [(c.at, c.boxes & group.boxes) for c in _once(of.counted, group.boxes)]
    out: list[float] = []
    have: set[str] = set()
    first = -np.inf
    for at, boxes in events:
        if at - first > CLUSTER_DAYS:
            have, first = set(), at
        have |= boxes
        if have == group.boxes:
            out.append(at)
            have, first = set(), -np.inf
    return out


def _cash(group: Group, counted: Sequence[Counted], start: float, end: float) -> tuple[float, dict[int, int], int, str]:
    """Minor units, pieces by value, foreign pieces and way of counting of what was emptied in (start, end]."""
    minor, foreign, method = 0.0, 0, ""
    pieces: dict[int, int] = {}
    covered: set[str] = set()
    for c in counted[bisect_right(counted, start + 1e-9, key=_at) :]:
        if c.at > end + 1e-9:
            break
        if not c.boxes <= group.boxes:
            return np.nan, {}, 0, c.method  # counted together with boxes of others
        minor += c.minor
        foreign += c.foreign
        covered |= c.boxes
        method = c.method
        for v, n in c.pieces.items():
            pieces[v] = pieces.get(v, 0) + n
    if covered != group.boxes:
        return np.nan, {}, foreign, method  # not all of it is counted yet
    return minor, pieces, foreign, method


def _counters(of: Source, keys: Sequence[str], start: float, end: float) -> tuple[dict[str, float], float, float]:
    """Steps of each counter over a span, and the days from both ends to the nearest reading."""
    out: dict[str, float] = {}
    gap_a = gap_b = 0.0
    for key in keys:
        trace = of.traces.get(key)
        step, a, b = trace.between(start, end) if trace else (np.nan, np.inf, np.inf)
        out[key] = step
        gap_a, gap_b = max(gap_a, a), max(gap_b, b)
    return out, gap_a, gap_b


def _money(layout: Layout, steps: Mapping[str, float]) -> tuple[float, float]:
    """Minor units and pieces that counters stand for."""
    minor = pieces = 0.0
    for key, step in steps.items():
        counter = layout.counters[key]
        worths = [layout.inputs[i].piece_minor for i in counter.inputs]
        if counter.counts_value:
            minor += step
            pieces += step / max(1, min(w for w in worths if w) if any(worths) else 1)
        else:
            minor += step * worths[0]
            pieces += step
    return minor, pieces


def _sold_by_counters(of: Source, group: Group, ends: tuple[float, float]) -> tuple[float, float]:
    """Seconds sold by every counter of the group, and the variance that an unread change leaves."""
    layout = of.layout
    total = var = 0.0
    for key in group.all_counters:
        counter = layout.counters[key]
        control = of.held[counter.control]
        trace = of.traces.get(key)
        if trace is None:
            return np.nan, 0.0
        cuts = [ends[0], *control.changes(*ends), ends[1]]
        whole, _, _ = trace.between(*ends)
        for a, b in pairwise(cuts):
            step, _, gap = trace.between(a, b)
            seconds = control.at(a)
            each = [seconds[i] for i in counter.inputs]
            worths = [max(1, layout.inputs[i].piece_minor) for i in counter.inputs]
            per_step = each[0] / worths[0] if counter.counts_value else sum(each) / len(each)
            total += step * per_step
            if b < ends[1] and gap > SAME_VISIT_DAYS:
                share = (b - ends[0]) / (ends[1] - ends[0])
                after = control.at(b + 1e-6)[counter.inputs[0]]
                unsure = SHARE_SPREAD * math.sqrt(share * (1 - share)) * whole
                var += (unsure * (each[0] - after)) ** 2
    return total, var


def _run_seconds(of: Source, group: Group, start: float, end: float) -> float:
    """Seconds run by all pockets of the group; NaN where one meter is missing or unread."""
    total = 0.0
    for pocket in group.pockets:
        meter = of.meter.get(pocket)
        trace = of.traces.get(meter.key) if meter else None
        if meter is None or trace is None:
            return np.nan
        step, _, _ = trace.between(start, end)
        total += step * 3600.0 / meter.per_hour
    return total


def _seconds_per_minor(of: Source, group: Group, start: float, end: float) -> float:
    """Seconds that one minor unit in the boxes buys, on average over the span and the group's inputs."""
    out = []
    for i in group.box_inputs:
        control = of.held[of.layout.inputs[i].control]
        worth = max(1, of.layout.inputs[i].piece_minor)
        cuts = [start, *control.changes(start, end), end]
        parts = [control.at(a)[i] * (b - a) / max(end - start, 1e-9) for a, b in pairwise(cuts)]
        out.append(sum(parts) / worth)
    return sum(out) / len(out) if out else np.nan


def _statement_seconds(of: Source, group: Group, ends: tuple[float, float]) -> float:
    """Seconds sold by cards and apps of the group over a span, from statements.

    NaN unless statements cover (nearly) the whole span for each such input.
    """
    if not group.other_inputs:
        return 0.0
    total = 0.0
    covered = dict.fromkeys(group.other_inputs, 0.0)
    for paid in of.story.paid:
        a, b = _statement_ends(paid.period_from, paid.period_to)
        overlap = max(0.0, min(b, ends[1]) - max(a, ends[0]))
        for key, count, minor in paid.inputs if overlap > 0 else ():
            if key in covered:
                entry = of.layout.inputs[key]
                pieces = count if count else minor / max(1, entry.piece_minor)
                total += pieces * overlap / (b - a) * of.held[entry.control].at(max(a, ends[0]))[key]
                covered[key] += overlap
    return total if min(covered.values()) >= COVERED * (ends[1] - ends[0]) else np.nan


def _statement_ends(period_from: str, period_to: str) -> tuple[float, float]:
    from datetime import UTC, date, datetime, time

    a = datetime.combine(date.fromisoformat(period_from[:10]), time(), UTC)
    b = datetime.combine(date.fromisoformat(period_to[:10]), time(), UTC)
    return moment(a), max(moment(b) + 1.0, moment(a) + 1.0)


def _house_seconds(of: Source, group: Group, start: float, end: float) -> float:
    """Seconds run for the house or given away over a span: no coin is expected for them."""
    used = sum(u.seconds for at, u in of.story.house_use if u.pocket in group.pockets and start < at <= end)
    given = 0.0
    layout = of.layout
    for offer in of.story.offers:
        if offer.bank not in group.banks or offer.minutes_given is None:
            continue
        a, b = moment(offer.starts), moment(offer.ends)
        overlap = max(0.0, min(b, end) - max(a, start)) / max(b - a, 1e-9)
        of_bank = sum(len(c.pockets) for c in layout.controls.values() if c.bank == offer.bank)
        mine = sum(len(layout.controls[c].pockets) for c in group.controls if layout.controls[c].bank == offer.bank)
        given += offer.minutes_given * 60.0 * overlap * mine / max(1, of_bank)
    return float(used) + given


def usual_piece(layout: Layout, group: Group, spans: Sequence[dict[int, int]]) -> float:
    """The piece by which the group's noise grows: mean value of a piece, weighted by value."""
    total: dict[int, int] = {}
    for pieces in spans:
        for v, n in pieces.items():
            total[v] = total.get(v, 0) + n
    if total:
        value = sum(v * n for v, n in total.items())
        return sum(v * v * n for v, n in total.items()) / value if value else 25.0
    worths = [layout.inputs[i].piece_minor for i in group.box_inputs if layout.inputs[i].piece_minor]
    return float(min(worths)) if worths else 25.0


def rows(of: Source, group: Group, since: float, until: float) -> Rows:
    """The spans of one group that end within a period, and the last `BASE_SPANS` before it."""
    ends = list(pairwise(emptyings(group, of)))
    mine = _once(of.counted, group.boxes)
    cash = [_cash(group, mine, a, b) for a, b in ends]
    out = Rows(group, piece_minor=usual_piece(of.layout, group, [c[1] for c in cash]))
    first = max(0, sum(b <= since + 1e-9 for _, b in ends) - BASE_SPANS)
    last = sum(b <= until + 1e-9 for _, b in ends)
    kept = slice(first, last)
    out.spans = [_span(of, group, span, took) for span, took in zip(ends[kept], cash[kept], strict=True)]
    return out


def _span(of: Source, group: Group, ends: tuple[float, float], cash: tuple[float, dict[int, int], int, str]) -> Span:
    minor, pieces, foreign, method = cash
    steps, gap_a, gap_b = _counters(of, group.cash_counters, *ends)
    counter_minor, counter_pieces = _money(of.layout, steps) if steps else (np.nan, np.nan)
    sold_counter, var = _sold_by_counters(of, group, ends) if group.all_counters else (np.nan, 0.0)
    run = _run_seconds(of, group, *ends) - _house_seconds(of, group, *ends)
    by_cash = minor * _seconds_per_minor(of, group, *ends)
    by_others = 0.0 if group.cash_counters else _statement_seconds(of, group, ends)
    rate = counter_pieces / max(ends[1] - ends[0], 1e-9) if math.isfinite(counter_pieces) else 0.0
    var_of = [GAP_SPREAD * rate * g if SAME_VISIT_DAYS < g < math.inf else 0.0 for g in (gap_a, gap_b)]
    return Span(
        start=ends[0], end=ends[1], counted_minor=minor, pieces_counted=float(sum(pieces.values())) or np.nan,
        foreign=foreign, method=method, counter_minor=counter_minor, pieces=counter_pieces, run_s=run,
        sold_counter_s=sold_counter, sold_cash_s=by_cash + by_others, gap_start_var=var_of[0], gap_end_var=var_of[1],
        gap_hours=24.0 * gap_b if math.isfinite(gap_b) else np.nan,
        shared_var=var / sold_counter**2 if sold_counter and math.isfinite(sold_counter) else 0.0,
    )  # fmt: skip
