"""Starting washers, and what staff do: orders left with them, stopped pockets emptied."""

from __future__ import annotations

from typing import Any

import numpy as np

from drybank.traffic import places as pl
from drybank.traffic.week.buying import take_single
from drybank.traffic.week.calendar import (
    Floats,
    Ints,
    U,
    count_wait,
    draw,
    field24,
    field32,
    hot,
    lowest_bit,
    part,
    person,
    pocket,
    row,
    sample,
    set_event,
    set_person,
    ticks,
)
from drybank.traffic.week.people import ring_head, ring_pop, ring_push, ring_size, waiting_loads


@hot
def start_washer(m: Ints, f: Floats, x: int, c: int, t: int) -> None:
    """One load of a person into one washer; its cycle time belongs to the person's k-th started load."""
    a = person(m, c)
    k = m[a + pl.C_STARTED]
    m[a + pl.C_STARTED] = k + 1
    m[U(m[pl.AT_WASHER]) + U(2 * x)] = c
    u = field24(draw(m[a + pl.C_KEY], pl.PLACE_WASH + k), 40)
    m[pl.TOTAL + pl.T_WASHED] += 1
    if m[a + pl.C_STREAM] != pl.STREAM_DROP:
        count_wait(m, pl.HIST_AT, pl.TOTAL + pl.T_WASHER_WAITS, m[a + pl.C_JOINED], t)
    set_event(m, pl.FIRST_WASHER + x, t + ticks(sample(f, pl.D_CYCLE + m[U(m[pl.AT_WASHER]) + U(2 * x + 1)], u)))


@hot
def start_washes(m: Ints, f: Floats, c: int, t: int, keep: int) -> int:
    """Start every load that a free washer of its size or the next larger takes; how many were started."""
    a = person(m, c)
    n_sizes, started = m[pl.SIZES], 0
    for s in range(n_sizes):
        z = s
        while m[a + pl.C_WAITING + U(s)] > 0 and z < n_sizes:
            if m[pl.ST_WFREE + z] > 0 and m[pl.ST_WFREE_ALL] > keep:
                m[pl.ST_WFREE + z] -= 1
                m[pl.ST_WFREE_ALL] -= 1
                x = m[m[pl.AT_WSTACK] + z * m[pl.WASHERS] + m[pl.ST_WFREE + z]]
                m[a + pl.C_WAITING + U(s)] -= 1
                start_washer(m, f, x, c, t)
                started += 1
            else:
                z += 1
    return started


@part
def start_drop_off(m: Ints, f: Floats, t: int) -> None:
    """Staff start left orders while nobody waits and machines are to spare."""
    if m[pl.ST_STAFFED] == 0:
        return
    while ring_size(m, pl.RING_DROP_WASH) > 0 and m[pl.ST_WAIT_W] == 0:
        c = ring_head(m, pl.RING_DROP_WASH)
        start_washes(m, f, c, t, m[pl.KEEP_FREE])
        if waiting_loads(m, c) > 0:
            break
        ring_pop(m, pl.RING_DROP_WASH)
    while ring_size(m, pl.RING_DROP_DRY) > 0 and m[pl.ST_WAIT_P] == 0:
        c = ring_head(m, pl.RING_DROP_DRY)
        if m[pl.ST_PFREE] <= m[pl.KEEP_FREE]:
            break
        take_single(m, f, c, t)
        if m[person(m, c) + pl.C_PILE] == 0:
            ring_pop(m, pl.RING_DROP_DRY)


@part
def empty_delay(m: Ints) -> Any:
    return m[pl.EMPTY_STAFFED] if m[pl.ST_STAFFED] != 0 else m[pl.EMPTY_OTHERS]


@part
def empty_stopped(m: Ints, t: int, n: int) -> None:
    """Somebody waits: up to ``n`` stopped pockets with clothes in are emptied, in walking order."""
    delay = empty_delay(m)
    if delay < 0:
        return
    size = m[pl.TREE]
    for r in range(m[pl.ROWS]):
        bits = U(m[row(m, r) + pl.R_LEFT])
        while bits != U(0) and n > 0:
            b = np.int64(lowest_bit(bits))
            bits &= bits - U(1)
            p = m[row(m, r)] + b
            slot = m[pl.FIRST_POCKET] + p
            due = m[m[pl.AT_TREE] + size + slot] >> pl.SLOT_BITS
            if m[pocket(m, p) + pl.K_STOP] <= t and due > t + delay:
                set_event(m, slot, t + delay)
                n -= 1


@part
def join_pocket_line(m: Ints, f: Floats, c: int, t: int) -> None:
    a = person(m, c)
    ring_push(m, pl.RING_POCKET, c)
    m[pl.ST_WAIT_P] += 1
    m[a + pl.C_STATE] = pl.IN_POCKET_LINE
    u = field32(draw(m[a + pl.C_KEY], pl.PLACE_PATIENCE), 32)
    set_person(m, c, t + ticks(sample(f, pl.D_PATIENCE_P, u)))
    empty_stopped(m, t, m[a + pl.C_MIN_LOADS])


@part
def leave_washer_line(m: Ints, c: int) -> None:
    m[pl.ST_WAIT_W] -= 1
    m[person(m, c) + pl.C_STATE] = pl.BUSY
    set_person(m, c, pl.LATEST)


@part
def leave_pocket_line(m: Ints, c: int) -> None:
    m[pl.ST_WAIT_P] -= 1
    m[person(m, c) + pl.C_STATE] = pl.BUSY
    set_person(m, c, pl.LATEST)
