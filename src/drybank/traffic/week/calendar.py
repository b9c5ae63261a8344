"""Chance, addresses, calendar and counts: what every part of the compiled week stands on.

The calendar is a winner tree of packed keys, ``tick << SLOT_BITS | slot``: its root is the next event, ties
go to the lower slot, and setting a leaf climbs to the root without a branch on values.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
from numba import njit
from numba.cpython.unsafe.numbers import trailing_zeros

from drybank.traffic import places as pl

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
lowest_bit: Any = trailing_zeros
F = TypeVar("F", bound=Callable[..., Any])
_compile: Any = njit
U = np.uint64
NEVER = pl.NEVER
tiny: Callable[[F], F] = _compile(nogil=True, forceinline=True, error_model="numpy")
part: Callable[[F], F] = _compile(nogil=True, error_model="numpy")
entry: Callable[[F], F] = _compile(cache=True, nogil=True, error_model="numpy")


@tiny
def mix(z: Any) -> Any:
    z = (z ^ (z >> U(30))) * U(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> U(27))) * U(0x94D049BB133111EB)
    return z ^ (z >> U(31))


@tiny
def draw(key: Any, place: int) -> Any:
    return mix(U(key) + U(place + 1) * U(pl.GOLDEN))


@tiny
def field16(bits: Any, at: int) -> Any:
    return (float(np.int64((bits >> U(at)) & U(0xFFFF))) + 0.5) * 2.0**-16


@tiny
def field24(bits: Any, at: int) -> Any:
    return (float(np.int64((bits >> U(at)) & U(0xFFFFFF))) + 0.5) * 2.0**-24


@tiny
def field32(bits: Any, at: int) -> Any:
    return (float(np.int64((bits >> U(at)) & U(0xFFFFFFFF))) + 0.5) * 2.0**-32


@tiny
def field53(bits: Any) -> Any:
    return (float(np.int64(bits >> U(11))) + 0.5) * 2.0**-53


@tiny
def sample(dist: Floats, row: int, u: float) -> Any:
    at = row * pl.ROW
    if dist[at] > 0.0:
        return -math.log(u) * dist[at]
    pos = u * dist[at + 1]
    i = np.int64(pos)
    low = dist[at + 2 + i]
    return low + (dist[at + 3 + i] - low) * (pos - i)


@tiny
def ticks(x: float) -> Any:
    return np.int64(x + 0.5)


@tiny
def person(m: Ints, c: int) -> Any:
    return m[pl.AT_PERSON] + (c << pl.PERSON_SHIFT)


@tiny
def pocket(m: Ints, p: int) -> Any:
    return m[pl.AT_POCKET] + (p << pl.POCKET_SHIFT)


@tiny
def row(m: Ints, r: int) -> Any:
    return m[pl.AT_ROW] + r * pl.ROW_FIELDS


@tiny
def coin(m: Ints, bank: int) -> Any:
    return m[pl.AT_COIN] + bank * pl.COIN_FIELDS


@tiny
def put(m: Ints, base: int, size: int, slot: int, key: Any) -> None:
    """Set one leaf; the smaller key climbs to the root without a branch on its value."""
    i = size + slot
    m[base + i] = key
    while i > 1:
        other = m[base + (i ^ 1)]
        key = other if other < key else key
        i >>= 1
        m[base + i] = key


@tiny
def set_event(m: Ints, slot: int, tick: int) -> None:
    put(m, m[pl.AT_TREE], m[pl.TREE], slot, (tick << pl.SLOT_BITS) | slot)


@tiny
def clear_event(m: Ints, slot: int) -> None:
    put(m, m[pl.AT_TREE], m[pl.TREE], slot, NEVER)


@part
def set_person(m: Ints, c: int, tick: int) -> None:
    """The deadline or return of a waiting person; the earliest of all stands in the calendar."""
    put(m, m[pl.AT_PTREE], m[pl.PEOPLE], c, NEVER if tick >= pl.LATEST else (tick << pl.SLOT_BITS) | c)
    key = m[m[pl.AT_PTREE] + 1]
    put(m, m[pl.AT_TREE], m[pl.TREE], pl.SLOT_PERSON, NEVER if key == NEVER else (key & ~pl.SLOT_MASK) | pl.SLOT_PERSON)


@part
def fill(m: Ints, at: int, n: int, value: int) -> None:
    for i in range(at, at + n):
        m[i] = value


@tiny
def hour_of_week(t: int) -> Any:
    return (t // pl.HOUR) % 168


@part
def spread_hours(m: Ints, base: int, begin: int, end: int) -> None:
    """Add a span to the hours of the week it covers. [ticks]"""
    while begin < end:
        edge = (begin // pl.HOUR + 1) * pl.HOUR
        stop = end if end < edge else edge
        m[pl.HOURS_AT + base + (begin // pl.HOUR) % 168] += stop - begin
        begin = stop


@part
def count_wait(m: Ints, base: int, total: int, joined: int, now: int) -> None:
    """Book one wait at the hour it began: bin 0 is none, bin k up to k minutes."""
    wait = now - joined
    m[pl.TOTAL + total] += 1
    if wait > 0:
        m[pl.TOTAL + total + 1] += wait
        b = (wait + pl.MINUTE - 1) // pl.MINUTE
        m[pl.HIST_AT + base + hour_of_week(joined) * pl.BINS + (b if b < pl.BINS else pl.BINS - 1)] += 1
    else:
        m[pl.HIST_AT + base + hour_of_week(joined) * pl.BINS] += 1


@tiny
def week_row(m: Ints, p: int, t: int) -> Any:
    """Address of a pocket's meters of a week."""
    return m[pl.AT_SERIES] + ((t // pl.WEEK) * m[pl.POCKETS] + p) * pl.METERS


@part
def count_taken(m: Ints, p: int, since: int, t: int) -> None:
    """A pocket is empty again: the time it was taken, by hour and on its own meter."""
    spread_hours(m, pl.H_TAKEN, since, t)
    m[pl.TOTAL + pl.T_TAKEN] += t - since
    m[week_row(m, p, t) + pl.M_TAKEN] += t - since
