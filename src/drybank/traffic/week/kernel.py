"""The compiled week: one event calendar for any rule, which may look at the present state.

`drybank.traffic.reference` says the same in plain Python and the tests hold the two together. Times are whole
ticks (microseconds). Arrays come from `drybank.traffic.packing`, which also guards sizes; nothing here checks
an index unless NUMBA_BOUNDSCHECK=1.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from numba.core.caching import FunctionCache

from drybank.traffic import places as pl
from drybank.traffic.week import buying, calendar, due, machines, people, staff
from drybank.traffic.week.calendar import (
    NEVER,
    Floats,
    Ints,
    entry,
    fill,
    new_hour,
    pocket,
    row,
    sample,
    set_event,
    ticks,
)
from drybank.traffic.week.due import arrive, break_draw, next_arrival, person_due, planned, pocket_breaks, set_breakdown
from drybank.traffic.week.machines import owner_looks, taken_out, wash_ends

Keys = npt.NDArray[np.uint64]


@entry
def open_store(m: Ints, f: Floats, keys: Keys) -> None:
    """Everything empty and free; the first arrivals, breakdowns and plans in the calendar."""
    fill(m, pl.ST, pl.SCRATCH - pl.ST, 0)
    fill(m, m[pl.AT_TREE], 2 * m[pl.TREE], NEVER)
    fill(m, m[pl.AT_PTREE], 2 * m[pl.PEOPLE], NEVER)
    fill(m, m[pl.AT_FTREE], 2 * m[pl.FTREE], NEVER)
    for i in range(m[pl.PEOPLE]):
        m[m[pl.AT_POOL] + i] = m[pl.PEOPLE] - 1 - i
    m[pl.ST_POOL] = m[pl.PEOPLE]
    for x in range(m[pl.WASHERS]):
        z = m[m[pl.AT_WASHER] + 2 * x + 1]
        m[m[pl.AT_WSTACK] + z * m[pl.WASHERS] + m[pl.ST_WFREE + z]] = x
        m[pl.ST_WFREE + z] += 1
        m[pl.ST_WFREE_ALL] += 1
    for r in range(m[pl.ROWS]):
        n = m[row(m, r) + pl.R_COUNT]
        m[row(m, r) + pl.R_FREE] = -1 if n == 64 else (1 << n) - 1
        m[row(m, r) + pl.R_LEFT] = 0
        for b in range(n):
            q = pocket(m, m[row(m, r)] + b)
            fill(m, int(q), pl.POCKET_FIELDS, 0)
            m[q + pl.K_BANK] = m[row(m, r) + pl.R_BANK]
            m[q + pl.K_ROW] = r
    m[pl.ST_PFREE] = m[pl.POCKETS]
    new_hour(m, 0)
    for s in range(pl.STREAMS):
        m[pl.ST_STREAM_KEY + s] = np.int64(keys[s])
        set_event(m, s, next_arrival(m, f, s, 0))
    m[pl.ST_BREAK_KEY] = np.int64(keys[pl.STREAMS])
    if m[pl.BREAKS] != 0:
        for p in range(m[pl.POCKETS]):
            m[pocket(m, p) + pl.K_FAILS] = 1
            set_breakdown(m, p, ticks(sample(f, pl.D_BETWEEN, break_draw(m, p, 0))))
    set_event(m, pl.SLOT_PLAN, m[m[pl.AT_PLAN]])


@entry
def run_weeks(m: Ints, f: Floats) -> int:
    """Handle events until the horizon."""
    first_pocket, events = m[pl.FIRST_POCKET], 0
    end = m[pl.HORIZON] << pl.SLOT_BITS
    while m[m[pl.AT_TREE] + 1] < end and m[pl.ST_FAULT] == 0:
        t, slot = m[m[pl.AT_TREE] + 1] >> pl.SLOT_BITS, m[m[pl.AT_TREE] + 1] & pl.SLOT_MASK
        events += 1
        if t >= m[pl.ST_HOUR_END]:
            new_hour(m, t)
        if slot >= first_pocket:
            p = slot - first_pocket
            if m[pocket(m, p) + pl.K_PHASE] != pl.RUNNING or owner_looks(m, f, p, t):
                taken_out(m, f, p, t)
        elif slot >= pl.FIRST_WASHER:
            wash_ends(m, f, slot - pl.FIRST_WASHER, t)
        elif slot < pl.STREAMS:
            arrive(m, f, slot, t)
        elif slot == pl.SLOT_PERSON:
            person_due(m, f, t)
        elif slot == pl.SLOT_BREAK:
            pocket_breaks(m, f, t)
        else:
            planned(m, f, t)
    return events


def _stamp_caches() -> None:
    """Tie the two cached functions to every file they are compiled from, not to this one alone."""
    entries: tuple[Any, ...] = (open_store, run_weeks)
    parts: tuple[Any, ...] = (
        calendar.put,
        people.depart,
        buying.top_up,
        staff.start_washer,
        machines.enter,
        due.arrive,
    )
    cache_of: Any = FunctionCache
    stamps = (
        *(cache_of(f.py_func)._impl.locator.get_source_stamp() for f in (*parts, *entries)),
        *(value for value in vars(pl).values() if isinstance(value, int | np.integer)),
    )
    for entry_point in entries:
        cached = getattr(entry_point, "_cache", None)
        if cached is not None and hasattr(cached, "_cache_file"):
            cached._cache_file._source_stamp = stamps


_stamp_caches()
