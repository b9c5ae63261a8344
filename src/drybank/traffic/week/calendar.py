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
# no reference counts (nothing is allocated) and no wrappers for calls from Python, except at the entries
_PLAIN = {
    "nogil": True, "error_model": "numpy", "_nrt": False, "no_cpython_wrapper": True, "no_cfunc_wrapper": True,
}  # fmt: skip
hot: Callable[[F], F] = _compile(forceinline=True, **_PLAIN)
part: Callable[[F], F] = _compile(**_PLAIN)
entry: Callable[[F], F] = _compile(cache=True, nogil=True, error_model="numpy", _nrt=False)


@hot
def mix(z: Any) -> Any:
    z = (z ^ (z >> U(30))) * U(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> U(27))) * U(0x94D049BB133111EB)
    return z ^ (z >> U(31))


@hot
def draw(key: Any, place: int) -> Any:
    return mix(U(key) + U(place + 1) * U(pl.GOLDEN))


@hot
def field16(bits: Any, at: int) -> Any:
    return (float(np.int64((bits >> U(at)) & U(0xFFFF))) + 0.5) * 2.0**-16


@hot
def field24(bits: Any, at: int) -> Any:
    return (float(np.int64((bits >> U(at)) & U(0xFFFFFF))) + 0.5) * 2.0**-24


@hot
def field32(bits: Any, at: int) -> Any:
    return (float(np.int64((bits >> U(at)) & U(0xFFFFFFFF))) + 0.5) * 2.0**-32


@hot
def field53(bits: Any) -> Any:
    return (float(np.int64(bits >> U(11))) + 0.5) * 2.0**-53


@hot
def sample(dist: Floats, row: int, u: float) -> Any:
    at = U(row * pl.ROW)
    if dist[at] > 0.0:
        return -math.log(u) * dist[at]
    pos = u * dist[at + U(1)]
    i = np.int64(pos)
    low = dist[at + U(2) + U(i)]
    return low + (dist[at + U(3) + U(i)] - low) * (pos - i)


@hot
def ticks(x: float) -> Any:
    return np.int64(x + 0.5)


@hot
def person(m: Ints, c: int) -> Any:
    return U(m[pl.AT_PERSON] + (c << pl.PERSON_SHIFT))


@hot
def pocket(m: Ints, p: int) -> Any:
    return U(m[pl.AT_POCKET] + (p << pl.POCKET_SHIFT))


@hot
def row(m: Ints, r: int) -> Any:
    return U(m[pl.AT_ROW] + r * pl.ROW_FIELDS)


@hot
def coin(m: Ints, bank: int) -> Any:
    return U(m[pl.AT_COIN] + bank * pl.COIN_FIELDS)


@hot
def put(m: Ints, base: int, size: int, slot: int, key: Any) -> None:
    """Set one leaf; the smaller key climbs to the root without a branch on its value."""
    at, i = U(base), U(size + slot)
    m[at + i] = key
    while i > U(1):
        other = m[at + (i ^ U(1))]
        key = other if other < key else key
        i >>= U(1)
        m[at + i] = key


@hot
def set_event(m: Ints, slot: int, tick: int) -> None:
    put(m, m[pl.AT_TREE], m[pl.TREE], slot, (tick << pl.SLOT_BITS) | slot)


@hot
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


@part
def new_hour(m: Ints, t: int) -> None:
    """What belongs to the present hour: its ends, its place in the week, the week's meters and season."""
    hour = t // pl.HOUR
    week = hour // 168
    m[pl.ST_HOUR_BEGIN] = hour * pl.HOUR
    m[pl.ST_HOUR_END] = (hour + 1) * pl.HOUR
    m[pl.ST_HOW] = hour - week * 168
    m[pl.ST_WEEK_AT] = m[pl.AT_SERIES] + week * m[pl.POCKETS] * pl.METERS
    m[pl.ST_SEASON] = (m[pl.FIRST_WEEK] + week) % pl.SEASON
    m[pl.ST_STAFFED] = m[pl.ATTENDED + m[pl.ST_HOW]]


@hot
def span_hours(m: Ints, base: int, begin: int, now: int) -> None:
    """Add a span that ends now to the hours of the week it covers. [ticks]"""
    edge, h = m[pl.ST_HOUR_BEGIN], m[pl.ST_HOW]
    end = now
    while begin < edge:
        m[U(base + h)] += end - edge
        end = edge
        edge -= pl.HOUR
        h = h - 1 if h > 0 else 167
    if begin < end:
        m[U(base + h)] += end - begin


@hot
def count_wait(m: Ints, base: int, total: int, joined: int, now: int) -> None:
    """Book one wait at the hour it began: bin 0 is none, bin k up to k minutes."""
    m[total] += 1
    if joined == now:
        m[U(base + m[pl.ST_HOW] * pl.BINS)] += 1
    else:
        m[total + 1] += now - joined
        b = (now - joined + pl.MINUTE - 1) // pl.MINUTE
        m[U(base + joined // pl.HOUR % 168 * pl.BINS + min(b, pl.BINS - 1))] += 1


@hot
def week_row(m: Ints, p: int) -> Any:
    """Address of a pocket's meters of the present week."""
    return U(m[pl.ST_WEEK_AT] + p * pl.METERS)


@hot
def pieces_for(f: Floats, inverse_at: int, span: int, each: int) -> Any:
    """Whole pieces that cover a span: a product and one correction instead of a division."""
    n = np.int64(span * f[U(inverse_at)])
    return n + 1 if n * each < span else n


@hot
def inverse_of(m: Ints, bank: int) -> Any:
    return m[pl.AT_NEEDX] + 4 * bank + 3


@hot
def count_taken(m: Ints, p: int, since: int, t: int) -> None:
    """A pocket is empty again: the time it was taken, by hour and on its own meter."""
    span_hours(m, pl.HOURS_AT + pl.H_TAKEN, since, t)
    m[pl.TOTAL + pl.T_TAKEN] += t - since
    m[week_row(m, p) + pl.M_TAKEN] += t - since
