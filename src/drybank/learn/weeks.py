"""Use by week from a book's readings: pieces and hours of every control, week edges where they are asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final

import numpy as np

from drybank.balance.audit.devices import Trace, follow, usual_rate
from drybank.balance.audit.story import Story, moment, tell
from drybank.records.balance import Told
from drybank.records.layout import Layout
from drybank.records.learn import F64, WeeklyUse

METERS: Final = ("motor", "sold time", "heat")
WEEK: Final = 7.0


def traces_of(layout: Layout, story: Story) -> dict[str, Trace]:
    """Every meter and counter that was read, followed through its readings."""
    sizes = {m.key: m.rolls_over_at for m in layout.meters.values()} | {
        c.key: c.rolls_over_at for c in layout.counters.values()
    }
    out = {}
    for key, size in sizes.items():
        if key in story.shown:
            shown = story.shown[key]
            rate = usual_rate(shown, size)
            out[key] = follow(key, shown, story.swapped, size=size, fleet_rate=rate if np.isfinite(rate) else None)
    return out


def weekly_use(layout: Layout, entries: Iterable[Told], *, at: datetime) -> WeeklyUse:
    """Use of every control by week; one week ends and the next begins at ``at``, as far as readings reach.

    Between readings use is laid straight, so weeks are as sharp as the readings are close.
    """
    traces = traces_of(layout, tell(entries, layout.store.time_zone))
    edges = _edges(traces, moment(at))
    units = tuple(layout.controls)
    pieces, hours = (np.full((len(units), max(0, edges.size - 1)), np.nan) for _ in range(2))
    for i, key in enumerate(units):
        pieces[i] = _pieces(layout, traces, key, edges)
        hours[i] = _hours(layout, traces, key, edges)
    return WeeklyUse(
        units=units,
        banks=tuple(layout.controls[k].bank for k in units),
        pockets=tuple(len(layout.controls[k].pockets) for k in units),
        starts=edges[:-1],
        pieces=pieces,
        hours=hours,
    )


def _edges(traces: Mapping[str, Trace], at: float) -> F64:
    known = [t for t in traces.values() if len(t.at) >= 2]
    if not known:
        return np.empty(1)
    first, last = min(t.at[0] for t in known), max(t.at[-1] for t in known)
    slack = 0.25  # a round that begins some hours late still fills its week
    low, high = int(np.ceil((first - slack - at) / WEEK)), int(np.floor((last + slack - at) / WEEK))
    return at + WEEK * np.arange(low, high + 1, dtype=np.float64)


def _steps(trace: Trace | None, edges: F64) -> F64:
    if trace is None:
        return np.full(max(0, edges.size - 1), np.nan)
    looked = [trace.look(float(t)) for t in edges]
    total, part = np.array([v[0] for v in looked]), np.array([v[1] for v in looked])
    out: F64 = np.diff(total)
    out[(part[1:] != part[:-1]) | (part[1:] < 0)] = np.nan
    return np.where(out < 0, np.nan, out)


def _pieces(layout: Layout, traces: Mapping[str, Trace], control: str, edges: F64) -> F64:
    """Pieces of all the control's counters, each weighed by its worth over the smallest; coins and cards alike."""
    mine = [c for c in layout.counters.values() if c.control == control]
    worth = {}
    for counter in mine:
        values = {layout.inputs[i].piece_minor for i in counter.inputs if i in layout.inputs} - {0}
        worth[counter.key] = float(min(values)) if values and not counter.counts_value else 1.0
    seen = [c.key for c in mine if c.key in traces]
    if not seen:
        return np.full(max(0, edges.size - 1), np.nan)
    least = min(worth[k] for k in seen)
    return np.asarray(np.sum([worth[k] / least * _steps(traces[k], edges) for k in seen], axis=0), np.float64)


def _hours(layout: Layout, traces: Mapping[str, Trace], control: str, edges: F64) -> F64:
    """Hours of the control's pockets, the best meter of each."""
    total = np.zeros(max(0, edges.size - 1))
    for pocket in layout.controls[control].pockets:
        mine = [m for m in layout.meters.values() if m.pocket == pocket and m.key in traces]
        if not mine:
            return np.full_like(total, np.nan)
        meter = min(mine, key=lambda m: METERS.index(m.counts))
        total = total + _steps(traces[meter.key], edges) / meter.per_hour
    return total
