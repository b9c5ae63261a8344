"""What happens at machines: coming in, washes that end, loads looked at, pockets handed on."""

from __future__ import annotations

import numpy as np

from drybank.traffic import places as pl
from drybank.traffic.week.buying import book_run, start_moved, take_from_pile, take_pockets, top_up
from drybank.traffic.week.calendar import (
    NEVER,
    Floats,
    Ints,
    U,
    clear_event,
    coin,
    count_taken,
    draw,
    field16,
    field32,
    hot,
    part,
    person,
    pocket,
    row,
    sample,
    set_event,
    set_person,
    ticks,
)
from drybank.traffic.week.people import (
    depart_if_done,
    ring_head,
    ring_pop,
    ring_push,
    ring_size,
    turn_away,
    waiting_loads,
)
from drybank.traffic.week.staff import (
    empty_delay,
    join_pocket_line,
    leave_pocket_line,
    leave_washer_line,
    start_drop_off,
    start_washer,
    start_washes,
)


@hot
def to_pockets(m: Ints, f: Floats, c: int, t: int) -> None:
    """All of a person's washes are done: take pockets, wait, or go home wet."""
    a = person(m, c)
    m[a + pl.C_JOINED] = t
    if m[a + pl.C_PILE] == 0:
        depart_if_done(m, c)
    elif m[a + pl.C_STREAM] == pl.STREAM_DROP:
        ring_push(m, pl.RING_DROP_DRY, c)
        start_drop_off(m, f, t)
    else:
        if m[pl.ST_PFREE] > 0:
            take_pockets(m, f, c, t)
            if m[a + pl.C_PILE] > 0:
                join_pocket_line(m, f, c, t)
        else:
            bits = draw(m[a + pl.C_KEY], pl.PLACE_LIMITS)
            if m[pl.ST_WAIT_P] >= np.int64(sample(f, pl.D_PLINE, field16(bits, 16))):
                m[a + pl.C_PILE] = 0
                m[a + pl.C_LOST] = pl.LOST_POCKET_LINE
                depart_if_done(m, c)
            else:
                join_pocket_line(m, f, c, t)


@part
def come_wet(m: Ints, f: Floats, c: int, t: int) -> None:
    """To the pockets by a rarer way than from one's own last washer."""
    to_pockets(m, f, c, t)


@hot
def enter(m: Ints, f: Floats, c: int, t: int) -> None:
    """A person at the door looks at the washers (or, with wet things, at the pockets)."""
    a = person(m, c)
    m[a + pl.C_JOINED] = t
    if m[a + pl.C_UNWASHED] == 0:
        come_wet(m, f, c, t)
        return
    started = start_washes(m, f, c, t, 0)
    left = waiting_loads(m, c)
    if left == 0:
        return
    bits = draw(m[a + pl.C_KEY], pl.PLACE_LIMITS)
    if started == 0 and m[pl.ST_WAIT_W] >= np.int64(sample(f, pl.D_WLINE, field16(bits, 0))):
        turn_away(m, f, c, t, pl.LOST_WASHER_LINE)
        return
    for s in range(m[pl.SIZES]):
        if m[a + pl.C_WAITING + U(s)] > 0:
            ring_push(m, s, c)
    m[pl.ST_WAIT_W] += 1
    m[a + pl.C_STATE] = pl.IN_WASHER_LINE
    u = field32(draw(m[a + pl.C_KEY], pl.PLACE_PATIENCE), 0)
    set_person(m, c, t + ticks(sample(f, pl.D_PATIENCE_W, u)))


@hot
def release_washer(m: Ints, f: Floats, x: int, t: int) -> None:
    """A washer falls free: the longest waiting load that fits it takes it."""
    z, best, since = m[U(m[pl.AT_WASHER]) + U(2 * x + 1)], -1, NEVER
    for s in range(z + 1):
        if ring_size(m, s) > 0:
            joined = m[person(m, ring_head(m, s)) + pl.C_JOINED]
            if joined < since:
                since, best = joined, s
    if best < 0:
        clear_event(m, pl.FIRST_WASHER + x)
        m[m[pl.AT_WSTACK] + z * m[pl.WASHERS] + m[pl.ST_WFREE + z]] = x
        m[pl.ST_WFREE + z] += 1
        m[pl.ST_WFREE_ALL] += 1
        if ring_size(m, pl.RING_DROP_WASH) > 0:
            start_drop_off(m, f, t)
        return
    c = ring_head(m, best)
    a = person(m, c)
    m[a + pl.C_WAITING + U(best)] -= 1
    if m[a + pl.C_WAITING + U(best)] == 0:
        ring_pop(m, best)
        if waiting_loads(m, c) == 0:
            leave_washer_line(m, c)
    start_washer(m, f, x, c, t)


@hot
def wash_ends(m: Ints, f: Floats, x: int, t: int) -> None:
    c = m[U(m[pl.AT_WASHER]) + U(2 * x)]
    a = person(m, c)
    release_washer(m, f, x, t)
    m[a + pl.C_UNWASHED] -= 1
    if m[a + pl.C_UNWASHED] == 0:
        to_pockets(m, f, c, t)


@part
def serve_line(m: Ints, f: Floats, p: int, t: int) -> None:
    """The first in line takes a pocket, and leaves the line when the pile is gone."""
    c = ring_head(m, pl.RING_POCKET)
    take_from_pile(m, f, p, c, t)
    if m[person(m, c) + pl.C_PILE] == 0:
        ring_pop(m, pl.RING_POCKET)
        leave_pocket_line(m, c)


@hot
def release_pocket(m: Ints, f: Floats, p: int, t: int) -> None:
    """An empty pocket: out of service, or to a moved load, or to the line, or free."""
    q = pocket(m, p)
    if m[q + pl.K_DOWN] > 0:
        clear_event(m, m[pl.FIRST_POCKET] + p)
    elif ring_size(m, pl.RING_MOVED) > 0:
        c, need = ring_head(m, pl.RING_MOVED), ring_head(m, pl.RING_MOVED_NEED)
        ring_pop(m, pl.RING_MOVED)
        ring_pop(m, pl.RING_MOVED_NEED)
        start_moved(m, f, p, c, t, need)
    elif ring_size(m, pl.RING_POCKET) > 0:
        serve_line(m, f, p, t)
    else:
        clear_event(m, m[pl.FIRST_POCKET] + p)
        r = m[q + pl.K_ROW]
        m[row(m, r) + pl.R_FREE] |= 1 << (p - m[row(m, r)])
        m[pl.ST_PFREE] += 1
        if ring_size(m, pl.RING_DROP_DRY) > 0:
            start_drop_off(m, f, t)


@hot
def taken_out(m: Ints, f: Floats, p: int, t: int) -> None:
    """The clothes are out: the pocket goes to the next, the owner perhaps home."""
    q = pocket(m, p)
    c = m[q + pl.K_PERSON]
    r = m[q + pl.K_ROW]
    m[row(m, r) + pl.R_LEFT] &= ~(1 << (p - m[row(m, r)]))
    count_taken(m, p, m[q + pl.K_TAKEN], t)
    m[q + pl.K_PHASE] = pl.EMPTY
    m[person(m, c) + pl.C_DRYING] -= 1
    release_pocket(m, f, p, t)
    depart_if_done(m, c)


@hot
def owner_looks(m: Ints, f: Floats, p: int, t: int) -> bool:
    """The time the owner chose to look: early and dry, or the heat has ended. True if the load is out at once."""
    q = pocket(m, p)
    heat_end = m[q + pl.K_HEAT_END]
    b = coin(m, m[q + pl.K_BANK])
    if t < heat_end:
        m[q + pl.K_PAID] = heat_end + m[b + pl.B_INSIDE]
        m[pl.TOTAL + pl.T_EARLY] += 1
        book_run(m, p, t, t, t)
        return True
    if m[q + pl.K_DRY_AT] > t:
        if top_up(m, f, p, t):
            return False
        m[pl.TOTAL + pl.T_DAMP] += 1
    stop = heat_end + m[b + pl.B_COOL]
    m[q + pl.K_PAID] = 0
    book_run(m, p, heat_end, stop, t)
    bits = draw(m[q + pl.K_KEY], 2)
    house = m[person(m, m[q + pl.K_PERSON]) + pl.C_STREAM] == pl.STREAM_DROP
    if not house and field16(bits, 0) < f[pl.PROB + pl.PR_AWAY]:
        out = stop + ticks(sample(f, pl.D_AWAY, field32(bits, 32)))
        delay = empty_delay(m)
        if m[pl.ST_WAIT_P] > 0 and delay >= 0 and stop + delay < out:
            out = stop + delay
        r = m[q + pl.K_ROW]
        m[row(m, r) + pl.R_LEFT] |= 1 << (p - m[row(m, r)])
        m[pl.TOTAL + pl.T_LEFT] += 1
    else:
        out = stop
    m[q + pl.K_PHASE] = pl.ENDING
    m[q + pl.K_STOP] = stop
    if out == t:
        return True
    set_event(m, m[pl.FIRST_POCKET] + p, out)
    return False
