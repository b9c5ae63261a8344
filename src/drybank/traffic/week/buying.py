"""From a pile of wet things to a running pocket: shares, need, pieces, top-ups, meters."""

from __future__ import annotations

from typing import Any

import numpy as np

from drybank.traffic import places as pl
from drybank.traffic.week.calendar import (
    Floats,
    Ints,
    U,
    coin,
    count_wait,
    draw,
    field16,
    field24,
    field32,
    hot,
    inverse_of,
    lowest_bit,
    part,
    person,
    pieces_for,
    pocket,
    row,
    sample,
    set_event,
    span_hours,
    ticks,
    week_row,
)


@hot
def load_size(m: Ints, a: int, bank: int) -> Any:
    """Loads the pile makes in a bank's pockets: the fewest that hold it, never fewer than kept apart."""
    fill, least, pile = m[coin(m, bank) + pl.B_FILL], m[a + pl.C_MIN_LOADS], m[a + pl.C_PILE]
    return least if least * fill >= pile else (pile + fill - 1) // fill


@hot
def take_from_pile(m: Ints, f: Floats, p: int, c: int, t: int) -> None:
    """The next even share of a person's pile goes into one pocket."""
    a = person(m, c)
    bank = m[pocket(m, p) + pl.K_BANK]
    n = load_size(m, a, bank)
    pile = m[a + pl.C_PILE]
    grams = pile if n == 1 else (pile + n - 1) // n
    m[a + pl.C_PILE] = pile - grams
    m[a + pl.C_MIN_LOADS] = max(0, m[a + pl.C_MIN_LOADS] - 1)
    m[a + pl.C_DRYING] += 1
    if m[a + pl.C_STREAM] != pl.STREAM_DROP:
        count_wait(m, pl.HIST_AT + pl.HIST, pl.TOTAL + pl.T_POCKET_WAITS, m[a + pl.C_JOINED], t)
    start_drying(m, f, p, c, t, grams)


@hot
def need_ticks(m: Ints, f: Floats, bank: int, grams: int, u: float) -> Any:
    """Heat until dry, from the bank's table. [ticks]"""
    n, kinds, x = m[pl.NEED_MASSES], m[coin(m, bank) + pl.B_KINDS], U(m[pl.AT_NEEDX] + 4 * bank)
    pos = min(max((grams - f[x]) * f[x + U(1)], 0.0), f[x + U(2)])
    i = np.int64(pos)
    at = U(m[pl.AT_NEED] + (bank * n + i) * pl.KINDS + np.int64(u * kinds))
    low = f[at]
    season = f[U(m[pl.AT_NSEASON] + bank * pl.SEASON + m[pl.ST_SEASON])]
    return ticks((low + (f[at + U(pl.KINDS)] - low) * (pos - i)) * season)


@hot
def pieces_to_buy(m: Ints, f: Floats, bits: Any, bank: int, want: int, left: int) -> Any:
    """Pieces for a first purchase: by belief or habit, over-bought or not, within the clock's limit."""
    b = coin(m, bank)
    least, base, most = m[b + pl.B_START], m[b + pl.B_FIRST], m[b + pl.B_MOST]
    if left > 0:
        least, base = 0, 0
        most = max(0, (m[b + pl.B_LIMIT] - left) // m[b + pl.B_EACH])
    n = least
    if want > base:
        n += pieces_for(f, inverse_of(m, bank), want - base, m[b + pl.B_EACH])
    if left == 0 and field16(bits, 0) < f[pl.PROB + pl.PR_HABIT]:
        n = least + np.int64(sample(f, pl.D_HABIT, field16(bits, 16)))
    if field16(bits, 32) < f[pl.PROB + pl.PR_OVERBUY]:
        n += m[pl.OVERBUY]
    return min(n, most)


@hot
def start_drying(m: Ints, f: Floats, p: int, c: int, t: int, grams: int) -> None:
    """One load into one pocket: transfer, pieces, and the tick when the owner looks.

    A negative ``grams`` is the need that a load moved from a broken pocket still has. [ticks]
    """
    a, q = person(m, c), pocket(m, p)
    j = m[a + pl.C_DRY_NEXT]
    m[a + pl.C_DRY_NEXT] = j + 1
    k = m[a + pl.C_KEY] + np.int64(U(pl.PLACE_DRY + 64 * j) * U(pl.GOLDEN))
    bank = m[q + pl.K_BANK]
    b = coin(m, bank)
    bits, more = draw(k, 0), draw(k, 1)
    need = -grams if grams < 0 else need_ticks(m, f, bank, grams, field16(bits, 0))
    start = t + ticks(sample(f, pl.D_TRANSFER, field24(bits, 40)))
    left = max(0, m[q + pl.K_PAID] - start)
    house = m[a + pl.C_STREAM] == pl.STREAM_DROP
    want = ticks(need * sample(f, pl.D_BELIEF, field24(bits, 16))) + m[b + pl.B_INSIDE] - left
    n = pieces_to_buy(m, f, more, bank, want, left)
    bought = n * m[b + pl.B_EACH]
    if left == 0:
        bought += m[b + pl.B_FIRST] - m[b + pl.B_START] * m[b + pl.B_EACH]
    heat_end = start + left + bought - m[b + pl.B_INSIDE]
    heat_end = heat_end if heat_end > start else start
    early = start + need + m[pl.EARLY_MARGIN]
    look = heat_end
    if early < heat_end and field16(more, 48) < f[pl.PROB + pl.PR_EARLY]:
        look = early
    m[q + pl.K_PERSON] = c
    m[q + pl.K_PHASE] = pl.RUNNING
    m[q + pl.K_START] = start
    m[q + pl.K_HEAT_END] = heat_end
    m[q + pl.K_DRY_AT] = start + need
    m[q + pl.K_KEY] = k
    m[q + pl.K_ROUND] = 0
    m[q + pl.K_TAKEN] = t
    meter = week_row(m, p)
    m[meter + pl.M_STARTS] += 1
    m[meter + (pl.M_HOUSE if house else pl.M_PIECES)] += n
    m[meter + pl.M_SOLD] += bought
    m[pl.TOTAL + (pl.T_HOUSE if house else pl.T_PIECES)] += n
    m[pl.TOTAL + pl.T_LOADS] += 1
    set_event(m, m[pl.FIRST_POCKET] + p, look)


@hot
def top_up(m: Ints, f: Floats, p: int, t: int) -> bool:
    """A damp load when the heat ends: pieces added until dry, or none. True if it goes on."""
    q = pocket(m, p)
    c = m[q + pl.K_PERSON]
    house = m[person(m, c) + pl.C_STREAM] == pl.STREAM_DROP
    r = m[q + pl.K_ROUND]
    u = field32(draw(m[q + pl.K_KEY], 3 + r), 0)
    if r >= 60 or (u >= f[pl.PROB + pl.PR_TOP_UP] and not house):
        return False
    b = coin(m, m[q + pl.K_BANK])
    each = m[b + pl.B_EACH]
    n = pieces_for(f, inverse_of(m, m[q + pl.K_BANK]), m[q + pl.K_DRY_AT] - t, each)
    if not house:
        n = min(n, m[pl.TOP_UP_MAX])
    n = min(n, m[b + pl.B_TOP_UP])
    m[q + pl.K_ROUND] = r + 1
    m[q + pl.K_HEAT_END] = t + n * each
    meter = week_row(m, p)
    m[meter + (pl.M_HOUSE if house else pl.M_PIECES)] += n
    m[meter + pl.M_SOLD] += n * each
    m[pl.TOTAL + (pl.T_HOUSE if house else pl.T_PIECES)] += n
    m[pl.TOTAL + pl.T_TOP_UPS] += 1
    set_event(m, m[pl.FIRST_POCKET] + p, t + n * each)
    return True


@hot
def book_run(m: Ints, p: int, heat_end: int, stop: int, t: int) -> None:
    """Meters and hours of a run that is over or bound to be."""
    start = m[pocket(m, p) + pl.K_START]
    meter = week_row(m, p)
    if stop > start:
        m[meter + pl.M_MOTOR] += stop - start
    if heat_end > start:
        m[meter + pl.M_HEATED] += heat_end - start
        m[pl.TOTAL + pl.T_HEATED] += heat_end - start
        span_hours(m, pl.HOURS_AT + pl.H_HEATED, start, heat_end)


@hot
def take_free(m: Ints, f: Floats, p: int, r: int, c: int, t: int) -> None:
    m[row(m, r) + pl.R_FREE] &= ~(1 << (p - m[row(m, r)]))
    m[pl.ST_PFREE] -= 1
    take_from_pile(m, f, p, c, t)


@part
def take_single(m: Ints, f: Floats, c: int, t: int) -> None:
    """The first free pocket in walking order (staff, and loads moved from a broken pocket)."""
    r = 0
    while m[row(m, r) + pl.R_FREE] == 0:
        r += 1
    take_free(m, f, m[row(m, r)] + np.int64(lowest_bit(U(m[row(m, r) + pl.R_FREE]))), r, c, t)


@part
def take_scattered(m: Ints, f: Floats, c: int, t: int, r0: int, ahead: Any) -> None:
    """One pocket after the other while any is free; of its own row those ahead of the person first."""
    a, rows, r = person(m, c), m[pl.ROWS], r0
    for _ in range(rows):
        while m[row(m, r) + pl.R_FREE] != 0 and m[a + pl.C_PILE] > 0:
            free = U(m[row(m, r) + pl.R_FREE])
            if r == r0 and (free & ahead) != U(0):
                free &= ahead
            take_free(m, f, m[row(m, r)] + np.int64(lowest_bit(free)), r, c, t)
        r = r + 1 if r + 1 < rows else 0


@hot
def take_pockets(m: Ints, f: Floats, c: int, t: int) -> None:
    """Side by side in one row where they fit, else what is free from the person's place on."""
    a = person(m, c)
    u = field16(draw(m[a + pl.C_KEY], pl.PLACE_LIMITS), 32)
    p0: Any = np.int64(u * m[pl.POCKETS])
    r0: Any = m[pocket(m, p0) + pl.K_ROW]
    ahead = ~((U(1) << U(p0 - m[row(m, r0)])) - U(1))
    rows: Any = m[pl.ROWS]
    r: Any = r0
    for _ in range(rows):
        free = U(m[row(m, r) + pl.R_FREE])
        if free != U(0):
            n = load_size(m, a, m[row(m, r) + pl.R_BANK])
            run = free
            for i in range(1, n):
                run &= free >> U(i) if i < 64 else U(0)
            if r == r0 and (run & ahead) != U(0):
                run &= ahead
            if run != U(0):
                p: Any = m[row(m, r)] + np.int64(lowest_bit(run))
                for i in range(n):
                    take_free(m, f, p + i, r, c, t)
                return
        r = r + 1 if r + 1 < rows else 0
    take_scattered(m, f, c, t, r0, ahead)


@part
def start_moved(m: Ints, f: Floats, p: int, c: int, t: int, missing: int) -> None:
    """A load from a broken pocket goes on in another one."""
    start_drying(m, f, p, c, t, -missing)


@part
def move_load(m: Ints, f: Floats, c: int, t: int, missing: int) -> None:
    r = 0
    while m[row(m, r) + pl.R_FREE] == 0:
        r += 1
    b = np.int64(lowest_bit(U(m[row(m, r) + pl.R_FREE])))
    m[row(m, r) + pl.R_FREE] &= ~(1 << b)
    m[pl.ST_PFREE] -= 1
    start_moved(m, f, m[row(m, r)] + b, c, t, missing)
