"""Lines and people: joining, leaving from the middle, turning away, going home."""

from __future__ import annotations

from typing import Any

from drybank.traffic import places as pl
from drybank.traffic.week.calendar import (
    Floats,
    Ints,
    draw,
    field16,
    field32,
    hot,
    part,
    person,
    sample,
    set_person,
    ticks,
)


@part
def ring_push(m: Ints, ring: int, value: int) -> None:
    """Last place of a line: 0..3 washers by size, then pockets, moved loads, drop-off before and after."""
    at = pl.ST_RING + 2 * ring
    cap = m[pl.RING]
    if m[at + 1] >= cap:
        m[pl.ST_FAULT] = pl.FAULT_LINE
    else:
        m[m[pl.AT_RING] + ring * cap + ((m[at] + m[at + 1]) & (cap - 1))] = value
        m[at + 1] += 1


@hot
def ring_head(m: Ints, ring: int) -> Any:
    return m[m[pl.AT_RING] + ring * m[pl.RING] + m[pl.ST_RING + 2 * ring]]


@part
def ring_pop(m: Ints, ring: int) -> None:
    at = pl.ST_RING + 2 * ring
    m[at] = (m[at] + 1) & (m[pl.RING] - 1)
    m[at + 1] -= 1


@hot
def ring_size(m: Ints, ring: int) -> Any:
    return m[pl.ST_RING + 2 * ring + 1]


@part
def ring_remove(m: Ints, ring: int, value: int) -> None:
    """Take somebody out of the middle of a line; those behind step up."""
    at, cap = pl.ST_RING + 2 * ring, m[pl.RING]
    head, n, kept = m[at], m[at + 1], 0
    for i in range(n):
        v = m[m[pl.AT_RING] + ring * cap + ((head + i) & (cap - 1))]
        if v != value:
            m[m[pl.AT_RING] + ring * cap + ((head + kept) & (cap - 1))] = v
            kept += 1
    m[at + 1] = kept


@hot
def depart(m: Ints, c: int) -> None:
    """A person leaves for good: served, unless some of their things were taken home undried or unwashed."""
    a = person(m, c)
    if m[a + pl.C_STREAM] == pl.STREAM_DROP:
        m[pl.TOTAL + pl.T_DROP_DONE] += 1
    elif m[a + pl.C_LOST] == 0:
        m[pl.TOTAL + pl.T_SERVED] += 1
    else:
        m[pl.TOTAL + pl.T_LOST + m[a + pl.C_LOST] - 1] += 1
    m[pl.ST_INSIDE] -= 1
    m[m[pl.AT_POOL] + m[pl.ST_POOL]] = c
    m[pl.ST_POOL] += 1


@hot
def depart_if_done(m: Ints, c: int) -> None:
    a = person(m, c)
    if m[a + pl.C_DRYING] == 0 and m[a + pl.C_PILE] == 0:
        depart(m, c)


@part
def turn_away(m: Ints, f: Floats, c: int, t: int, reason: int) -> None:
    """Nothing of theirs was started: some come again later, the others are lost."""
    a = person(m, c)
    tries = m[a + pl.C_TRIES]
    bits = draw(m[a + pl.C_KEY], pl.PLACE_RETRY + tries)
    if tries < m[pl.RETRY_MAX] and field16(bits, 0) < f[pl.PROB + pl.PR_RETRY]:
        m[a + pl.C_TRIES] = tries + 1
        m[a + pl.C_STATE] = pl.AWAY
        m[pl.TOTAL + pl.T_RETRIES] += 1
        set_person(m, c, t + ticks(sample(f, pl.D_RETRY, field32(bits, 32))))
    else:
        m[a + pl.C_LOST] = reason
        depart(m, c)


@hot
def waiting_loads(m: Ints, c: int) -> Any:
    a = (person(m, c)) + pl.C_WAITING
    return m[a] + m[a + 1] + m[a + 2] + m[a + 3]
