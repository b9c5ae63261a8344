"""Who comes, and what comes due: patience, returns, breakdowns, repairs, dated plans."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from drybank.traffic import places as pl
from drybank.traffic.week.buying import book_run, move_load
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
    field24,
    field32,
    field53,
    fill,
    hot,
    mix,
    part,
    person,
    pocket,
    put,
    row,
    sample,
    set_event,
    set_person,
    ticks,
    week_row,
)
from drybank.traffic.week.machines import come_wet, enter, release_pocket
from drybank.traffic.week.people import depart_if_done, ring_push, ring_remove, turn_away, waiting_loads
from drybank.traffic.week.staff import start_drop_off


@hot
def next_arrival(m: Ints, f: Floats, s: int, t: int) -> Any:
    """The tick of a stream's next arrival: a unit exponential used up along the hours' rates."""
    key = mix(U(m[pl.ST_STREAM_KEY + s]) + U(m[pl.ST_NEXT + s]) * U(pl.GOLDEN))
    m[pl.ST_NEXT + s] += 1
    m[pl.ST_PENDING + s] = np.int64(key)
    left = -math.log(field53(draw(key, 0)))
    h, edge, season = m[pl.ST_HOW], m[pl.ST_HOUR_END], m[pl.ST_SEASON]
    while t < m[pl.HORIZON]:
        rate = f[pl.RATES + s * 168 + h] * f[pl.SEASONS + season]
        room = rate * (edge - t)
        if left <= room:
            return t + ticks(left / rate)
        left -= room
        t = edge
        edge += pl.HOUR
        h += 1
        if h == 168:
            h = 0
            season = season + 1 if season + 1 < pl.SEASON else 0
    return pl.LATEST


@hot
def bring(m: Ints, f: Floats, c: int, key: Any, s: int) -> None:
    """How many loads, of which sizes and masses, washed here or not, dried here or not."""
    a = person(m, c)
    u = field16(draw(key, pl.PLACE_LIMITS), 48)
    n = 1
    for i in range(pl.MOST_LOADS - 1):
        n += u >= f[pl.PROB + pl.PR_LOADS + i]
    pile = 0
    for i in range(n):
        bits = draw(key, pl.PLACE_WASH + i)
        z, v = 0, field16(bits, 0)
        for k in range(pl.MOST_SIZES - 1):
            z += v >= f[pl.PROB + pl.PR_SIZES + k]
        m[a + pl.C_WAITING + U(z)] += 1
        grams = ticks(sample(f, pl.D_MASS + z, field24(bits, 16)))
        pile += grams if grams > 1 else 1
    bits = draw(key, pl.PLACE_KIND)
    m[a + pl.C_UNWASHED] = n
    m[a + pl.C_PILE] = pile
    m[a + pl.C_MIN_LOADS] = 1 if field16(bits, 32) < f[pl.PROB + pl.PR_JOIN] else n
    if s != pl.STREAM_DROP:
        if field16(bits, 0) < f[pl.PROB + pl.PR_DRY_ONLY]:
            m[a + pl.C_UNWASHED] = 0
        elif field16(bits, 16) < f[pl.PROB + pl.PR_WASH_ONLY]:
            m[a + pl.C_PILE] = 0


@hot
def arrive(m: Ints, f: Floats, s: int, t: int) -> None:
    """A customer comes in, or an order is left; the next of the stream is put into the calendar."""
    key = m[pl.ST_PENDING + s]
    set_event(m, s, next_arrival(m, f, s, t))
    h = m[pl.ST_HOW]
    if s == pl.STREAM_WALK and field32(draw(key, pl.PLACE_STAY), 0) >= f[pl.KEEP + h]:
        m[pl.TOTAL + pl.T_STAYED_AWAY] += 1
        return
    if m[pl.ST_POOL] == 0:
        m[pl.ST_FAULT] = pl.FAULT_PEOPLE
        return
    m[pl.ST_POOL] -= 1
    c = m[m[pl.AT_POOL] + m[pl.ST_POOL]]
    m[pl.ST_INSIDE] += 1
    a = person(m, c)
    for i in range(pl.PERSON_FIELDS):
        m[a + U(i)] = 0
    m[a + pl.C_KEY] = key
    m[a + pl.C_STREAM] = s
    bring(m, f, c, key, s)
    if s == pl.STREAM_DROP:
        m[pl.TOTAL + pl.T_DROP_OFFS] += 1
        ring_push(m, pl.RING_DROP_WASH, c)
        start_drop_off(m, f, t)
    else:
        m[pl.TOTAL + pl.T_CUSTOMERS] += 1
        m[pl.HOURS_AT + pl.H_CUSTOMERS + h] += 1
        enter(m, f, c, t)


@part
def give_up_washing(m: Ints, f: Floats, c: int, t: int) -> None:
    """Loads not yet started leave; those started are washed and dried."""
    a = person(m, c)
    m[pl.ST_WAIT_W] -= 1
    for s in range(m[pl.SIZES]):
        if m[a + pl.C_WAITING + U(s)] > 0:
            ring_remove(m, s, c)
    if m[a + pl.C_STARTED] == 0:
        turn_away(m, f, c, t, pl.LOST_WASHER_WAIT)
        return
    left = waiting_loads(m, c)
    for s in range(m[pl.SIZES]):
        m[a + pl.C_WAITING + U(s)] = 0
    m[a + pl.C_LOST] = pl.LOST_WASHER_WAIT
    m[a + pl.C_PILE] -= m[a + pl.C_PILE] * left // (left + m[a + pl.C_STARTED])
    m[a + pl.C_MIN_LOADS] = max(0, m[a + pl.C_MIN_LOADS] - left)
    m[a + pl.C_UNWASHED] -= left
    if m[a + pl.C_UNWASHED] == 0:
        come_wet(m, f, c, t)


@part
def person_due(m: Ints, f: Floats, t: int) -> None:
    """The earliest deadline or return among all people."""
    c = m[m[pl.AT_PTREE] + 1] & pl.SLOT_MASK
    a = person(m, c)
    state = m[a + pl.C_STATE]
    m[a + pl.C_STATE] = pl.BUSY
    set_person(m, c, pl.LATEST)
    if state == pl.AWAY:
        enter(m, f, c, t)
    elif state == pl.IN_POCKET_LINE:
        ring_remove(m, pl.RING_POCKET, c)
        m[pl.ST_WAIT_P] -= 1
        m[a + pl.C_PILE] = 0
        m[a + pl.C_LOST] = pl.LOST_POCKET_WAIT
        depart_if_done(m, c)
    else:
        give_up_washing(m, f, c, t)


@part
def set_breakdown(m: Ints, p: int, tick: int) -> None:
    put(m, m[pl.AT_FTREE], m[pl.FTREE], p, NEVER if tick >= pl.LATEST else (tick << pl.SLOT_BITS) | p)
    key = m[m[pl.AT_FTREE] + 1]
    put(m, m[pl.AT_TREE], m[pl.TREE], pl.SLOT_BREAK, NEVER if key == NEVER else (key & ~pl.SLOT_MASK) | pl.SLOT_BREAK)


@part
def break_draw(m: Ints, p: int, n: int) -> Any:
    key = mix(U(m[pl.ST_BREAK_KEY]) + U(p) * U(pl.GOLDEN))
    return field53(draw(key, n))


@part
def goes_down(m: Ints, p: int) -> None:
    q = pocket(m, p)
    m[q + pl.K_DOWN] += 1
    if m[q + pl.K_PHASE] == pl.EMPTY and m[q + pl.K_DOWN] == 1:
        r = m[q + pl.K_ROW]
        m[row(m, r) + pl.R_FREE] &= ~(1 << (p - m[row(m, r)]))
        m[pl.ST_PFREE] -= 1


@part
def comes_back(m: Ints, f: Floats, p: int, t: int) -> None:
    q = pocket(m, p)
    m[q + pl.K_DOWN] -= 1
    if m[q + pl.K_PHASE] == pl.EMPTY and m[q + pl.K_DOWN] == 0:
        release_pocket(m, f, p, t)


@part
def interrupt(m: Ints, f: Floats, p: int, t: int) -> None:
    """A pocket breaks under a load: unused pieces go back if staff are in, the load moves on."""
    q = pocket(m, p)
    c = m[q + pl.K_PERSON]
    since = max(t, m[q + pl.K_START])
    book_run(m, p, t, t, t)
    b = coin(m, m[q + pl.K_BANK])
    unused = (m[q + pl.K_HEAT_END] + m[b + pl.B_INSIDE] - since) // m[b + pl.B_EACH]
    if m[person(m, c) + pl.C_STREAM] != pl.STREAM_DROP:
        if m[pl.ST_STAFFED] != 0:
            m[pl.TOTAL + pl.T_REFUNDED] += unused
            m[week_row(m, p) + pl.M_REFUNDED] += unused
        else:
            m[pl.TOTAL + pl.T_OWED] += unused
    count_taken(m, p, m[q + pl.K_TAKEN], t)
    m[q + pl.K_PHASE] = pl.EMPTY
    m[q + pl.K_PAID] = 0
    clear_event(m, m[pl.FIRST_POCKET] + p)
    missing = m[q + pl.K_DRY_AT] - since
    if missing <= 0:
        m[person(m, c) + pl.C_DRYING] -= 1
        depart_if_done(m, c)
    elif m[pl.ST_PFREE] > 0:
        move_load(m, f, c, t, missing)
    else:
        ring_push(m, pl.RING_MOVED, c)
        ring_push(m, pl.RING_MOVED_NEED, missing)


@part
def pocket_breaks(m: Ints, f: Floats, t: int) -> None:
    """A pocket breaks, or its repair is done."""
    p = m[m[pl.AT_FTREE] + 1] & pl.SLOT_MASK
    q = pocket(m, p)
    n = m[q + pl.K_FAILS]
    m[q + pl.K_FAILS] = n + 1
    u = break_draw(m, p, n)
    if n % 2 == 1:
        set_breakdown(m, p, t + ticks(sample(f, pl.D_REPAIR, u)))
        m[pl.TOTAL + pl.T_BREAKDOWNS] += 1
        goes_down(m, p)
        if m[q + pl.K_PHASE] == pl.RUNNING:
            interrupt(m, f, p, t)
    else:
        set_breakdown(m, p, t + ticks(sample(f, pl.D_BETWEEN, u)))
        comes_back(m, f, p, t)


@part
def planned(m: Ints, f: Floats, t: int) -> None:
    """Dated events given with the store: pockets out and back, staff coming in, counting begins."""
    i = m[pl.ST_PLAN]
    kind, p = m[m[pl.AT_PLAN] + 3 * i + 1], m[m[pl.AT_PLAN] + 3 * i + 2]
    m[pl.ST_PLAN] = i + 1
    set_event(m, pl.SLOT_PLAN, m[m[pl.AT_PLAN] + 3 * i + 3])
    if kind == pl.PLAN_OUT:
        goes_down(m, p)
    elif kind == pl.PLAN_BACK:
        comes_back(m, f, p, t)
    elif kind == pl.PLAN_STAFF:
        start_drop_off(m, f, t)
    else:
        fill(m, pl.TOTAL, pl.SCRATCH - pl.TOTAL, 0)
