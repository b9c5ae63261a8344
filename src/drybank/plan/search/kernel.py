"""The exact search in machine code. Same maths, spelled out, in ``reference.py``.

What makes it fast, without leaving exactness:

* Needs, times and offsets are whole steps, so heated time after ``m`` pieces is ``x = m·t - offset``, a whole step.
* A load that pays at most ``l`` pieces is dried if its need is at most ``x`` after ``l`` pieces, and then pays ``l`` less
  one for every ``i < l`` after which it would have been dry already. So the sum over loads is a sum over ``m`` of one table
  row, looked up at one place: pieces ``m·g_m(x) - G_m(x)``, loads ``g_m(x)``, worth ``h_m(x)``, where ``g_m`` counts loads of
  limit exactly ``m`` and ``G_m`` those of limit above ``m`` with need up to ``x``.
* Going down in ``m``, the running sum at ``m`` is the answer for "start with m pieces": one pass gives every start.
* Beyond the longest need a row is constant: its suffix sums stand for all of it.
* Where a start gives a first time of its own, the sum for "start with n pieces at heated time x" is row n at x and the sum
  for n + 1 pieces at x + t: one pass down gives every start and every first time.
* Heats are ordered, and each load uses one: their sums are separate, and only settings whose sum of best heats can still
  enter the list have their ordered combinations counted out.

Money is whole millionths of a minor unit held in doubles: sums of whole numbers below 9e15 are exact in any order, so
ties are true ties and the list equals brute force bit for bit.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@njit(cache=True, nogil=True)
def _worse(value_a: float, code_a: int, value_b: float, code_b: int) -> bool:
    """Whether a stands behind b in the list: less, or equal and later in the order of codes."""
    return value_a < value_b or (value_a == value_b and code_a > code_b)


@njit(cache=True, nogil=True)
def _offer(values: F64, codes: I64, size: int, value: float, code: int) -> int:
    """Put a setting into the list of the best (a heap, its worst on top); returns the list's size."""
    if size < values.size:
        i = size
        while i > 0:
            up = (i - 1) // 2
            if not _worse(value, code, values[up], codes[up]):
                break
            values[i], codes[i] = values[up], codes[up]
            i = up
        values[i], codes[i] = value, code
        return size + 1
    if not _worse(values[0], codes[0], value, code):
        return size
    i = 0
    while True:
        down = 2 * i + 1
        if down >= size:
            break
        if down + 1 < size and _worse(values[down + 1], codes[down + 1], values[down], codes[down]):
            down += 1
        if not _worse(values[down], codes[down], value, code):
            break
        values[i], codes[i] = values[down], codes[down]
        i = down
    values[i], codes[i] = value, code
    return size


@njit(cache=True, nogil=True)
def _bound(row: F64, edges: I64) -> float:
    """Sum of each heat's best level, order of heats left aside: no setting of this row brings more."""
    total = 0.0
    for k in range(edges.size - 1):
        top = -np.inf
        for r in range(edges[k], edges[k + 1]):
            top = max(top, row[r])
        total += top
    return total


@njit(cache=True, nogil=True)
def _heats(
    row: F64, column: I64, fits: NDArray[np.bool_], least_gap: int, base: int, values: F64, codes: I64, size: int, best: F64
) -> int:  # fmt: skip
    """Offer every ordered choice of levels, one for each heat, that can still enter the list.

    ``row[column[k, τ]]`` is worth of heat k at level τ (column -1: not allowed); ``fits`` says which columns may be used;
    levels fall by at least ``least_gap`` from heat to heat.
    """
    heats, levels = column.shape
    rest = 0.0
    for k in range(heats - 1, -1, -1):
        top = -np.inf
        for tau in range(levels):
            r = column[k, tau]
            if r >= 0 and fits[r] and row[r] > top:
                top = row[r]
        rest += top
        best[k] = rest
    if not best[0] > -np.inf or (size == values.size and best[0] < values[0]):
        return size
    at = np.empty(heats, np.int64)
    total = np.empty(heats + 1, np.float64)
    number = np.empty(heats + 1, np.int64)
    total[0], number[0] = 0.0, base
    k, at[0] = 0, -1
    while k >= 0:
        at[k] += 1
        ceiling = levels - 1 if k == 0 else at[k - 1] - least_gap
        if at[k] > ceiling:
            k -= 1
            continue
        r = column[k, at[k]]
        if r < 0 or not fits[r]:
            continue
        here = total[k] + row[r]
        bound = here + (best[k + 1] if k + 1 < heats else 0.0)
        if size == values.size and bound < values[0]:
            continue
        code = number[k] * levels + at[k]
        if k + 1 == heats:
            size = _offer(values, codes, size, here, code)
            continue
        total[k + 1], number[k + 1] = here, code
        k += 1
        at[k] = -1
    return size


@njit(cache=True, nogil=True)
def _row(
    m: int, first: int, last: int, need: I64, fixed: F64, weight: F64, heat: I64, column: I64,
    above: F64, table: F64,
) -> None:  # fmt: skip
    """Table of the loads of limit ``m`` (numbers ``first`` to ``last``): at [x, 0] pieces, [x, 1] worth, [x, 2] loads.

    ``above`` holds the loads of higher limits on entry and takes these in on leaving.
    """
    steps, width = above.shape
    if first == last:
        for x in range(steps):
            for r in range(width):
                table[x, 0, r] = -above[x, r]
                table[x, 1, r] = 0.0
                table[x, 2, r] = 0.0
        return
    table[:, 1:, :] = 0.0
    for j in range(first, last):
        for tau in range(column.shape[1]):
            r = column[heat[j], tau]
            if r < 0:
                continue
            x = need[j, tau]
            table[x, 1, r] += weight[j] * fixed[j, tau]
            table[x, 2, r] += weight[j]
    worth, count = np.zeros(width), np.zeros(width)
    for x in range(steps):
        for r in range(width):
            worth[r] += table[x, 1, r]
            count[r] += table[x, 2, r]
            table[x, 0, r] = m * count[r] - above[x, r]
            table[x, 1, r] = worth[r]
            table[x, 2, r] = count[r]
            above[x, r] += count[r]


@njit(cache=True, nogil=True)
def _normal_fits(column: I64, fits: NDArray[np.bool_], heat: int, need: I64, heated: int) -> bool:
    """Mark the levels at which the normal load's heat dries it in time; false when there is none."""
    if heat < 0:
        return True
    some = False
    for tau in range(column.shape[1]):
        r = column[heat, tau]
        if r >= 0:
            fits[r] = need[tau] <= heated
            some = some or fits[r]
    return some


@njit(cache=True, nogil=True)
def _longest(need: I64, heat: I64, column: I64) -> int:
    """Steps that a table needs: one beyond the longest need at a level that is allowed."""
    steps = 2
    for j in range(need.shape[0]):
        for tau in range(column.shape[1]):
            if column[heat[j], tau] >= 0:
                steps = max(steps, need[j, tau] + 1)
    return steps


@njit(cache=True, nogil=True)
def search_sum(
    need: I64, fixed: F64, weight: F64, heat: I64, starts: I64, column: I64, edges: I64, piece: float, rate: F64,
    rate_cool: float, least_gap: int, normal_heat: int, normal_need: I64, normal_pieces: int, least_heated: int,
    times: I64, time_starts: NDArray[np.bool_], cools: I64, cool_inside: int, values: F64, codes: I64,
) -> int:  # fmt: skip
    """The best settings where a start gives the sum of its pieces' times. Returns how many were kept.

    need (N, T) whole steps 1..; fixed (N, T) worth of a dried load beside pieces; weight (N,); heat (N,) 0..n-1;
    loads sorted by limit in pieces, those of limit m at ``starts[m]`` to ``starts[m + 1]``; column (n, T) table column of
    a heat and level, or -1; edges (n + 1,) first column of each heat; rate (W,) cost of a heated step; times (nt,)
    steps a piece, rising; time_starts (nt, P): whether a start of p + 1 pieces may stand with it; cools (nc,) steps.
    Setting code: ((time · P + start - 1) · nc + cool) · T^n + levels.
    """
    steps, width = _longest(need, heat, column), rate.size
    last, longest, most_start = steps - 1, starts.size - 2, time_starts.shape[1]
    above = np.zeros((steps, width))
    table = np.empty((steps, 3, width))
    sat = np.zeros((3, width))  # suffix sums of the rows beyond the longest need: pieces, worth, loads
    running = np.empty((times.size, cools.size, width))
    is_running = np.zeros((times.size, cools.size), np.bool_)
    fits = np.ones(width, np.bool_)
    row, best = np.empty(width), np.empty(column.shape[0] + 1)
    best[column.shape[0]] = 0.0
    size: int = starts[0] * 0  # no literal: else every helper is compiled twice
    for m in range(longest, 0, -1):
        _row(m, starts[m], starts[m + 1], need, fixed, weight, heat, column, above, table)
        may_start = m <= most_start and (normal_heat < 0 or normal_pieces >= m)
        for c in range(cools.size):
            cool, offset = cools[c], cools[c] * cool_inside
            for i in range(times.size):
                t = times[i]
                x = m * t - offset
                base = (i * most_start + m - 1) * cools.size + c
                if x < last:
                    here = running[i, c]
                    if not is_running[i, c]:
                        is_running[i, c] = True
                        for r in range(width):
                            here[r] = (
                                (piece - rate[r] * t) * sat[0, r]
                                + sat[1, r]
                                + (rate[r] * offset - rate_cool * cool) * sat[2, r]
                            )
                    if x > 0:
                        for r in range(width):
                            here[r] += (
                                (piece - rate[r] * t) * table[x, 0, r]
                                + table[x, 1, r]
                                + (rate[r] * offset - rate_cool * cool) * table[x, 2, r]
                            )
                    if not may_start or x < least_heated or not time_starts[i, m - 1]:
                        continue
                    if size == values.size and _bound(here, edges) < values[0]:
                        continue
                    if _normal_fits(column, fits, normal_heat, normal_need, normal_pieces * t - offset):
                        size = _heats(here, column, fits, least_gap, base, values, codes, size, best)
                    continue
                if not may_start:
                    break  # longer times lie beyond the longest need as well
                if x < least_heated or not time_starts[i, m - 1]:
                    continue
                for r in range(width):
                    row[r] = (
                        (piece - rate[r] * t) * (sat[0, r] + table[last, 0, r])
                        + (sat[1, r] + table[last, 1, r])
                        + (rate[r] * offset - rate_cool * cool) * (sat[2, r] + table[last, 2, r])
                    )
                # Longer times beyond the longest need only burn more: once they cannot enter, none later can.
                if size == values.size and _bound(row, edges) < values[0]:
                    break
                if _normal_fits(column, fits, normal_heat, normal_need, normal_pieces * t - offset):
                    size = _heats(row, column, fits, least_gap, base, values, codes, size, best)
        for r in range(width):
            for part in range(3):
                sat[part, r] += table[last, part, r]
    return size


@njit(cache=True, nogil=True)
def search_first(
    need: I64, fixed: F64, weight: F64, heat: I64, starts: I64, column: I64, edges: I64, piece: float, rate: F64,
    rate_cool: float, least_gap: int, normal_heat: int, normal_need: I64, normal_pieces: int, least_heated: int,
    times: I64, start_pieces: I64, heated_at_start: I64, cools: I64, places: I64, stands: NDArray[np.bool_],
    room: int, values: F64, codes: I64,
) -> int:  # fmt: skip
    """The best settings where a start gives a first time of its own. Returns how many were kept.

    As `search_sum`, but for a row of pairs of first time and cool-down, given as heated steps at the start, cool-down
    steps and the pair's place (first · nc + cool); ``stands`` (nt, ns, pairs); ``room`` places in all.
    Setting code: ((time · ns + start) · room + place) · T^n + levels.
    """
    steps, width = _longest(need, heat, column), rate.size
    last, longest = steps - 1, starts.size - 2
    above = np.zeros((steps, width))
    tables = np.empty((longest + 1, steps, 3, width))
    for m in range(longest, 0, -1):
        _row(m, starts[m], starts[m + 1], need, fixed, weight, heat, column, above, tables[m])
    least_x = np.empty(longest + 1, np.int64)
    place_of = np.full(longest + 1, -1)
    for s in range(start_pieces.size):
        place_of[start_pieces[s]] = s
    fits = np.ones(width, np.bool_)
    sums = np.empty((steps, 3, width))
    row, best = np.empty(width), np.empty(column.shape[0] + 1)
    best[column.shape[0]] = 0.0
    size: int = starts[0] * 0  # no literal: else every helper is compiled twice
    for i in range(times.size):
        t = times[i]
        least_x[0] = last
        for n in range(1, longest + 1):  # the least heated time that any start, or one with fewer pieces, comes to
            least_x[n] = min(last, least_x[n - 1] + t)
            for p in range(heated_at_start.size):
                if place_of[n] >= 0 and stands[i, place_of[n], p] and heated_at_start[p] >= least_heated:
                    least_x[n] = min(least_x[n], heated_at_start[p])
        sums[:, :, :] = 0.0
        for n in range(longest, 0, -1):
            # Start with n pieces at x: those who pay n at most, and then as a start with n + 1 pieces at x + t.
            for x in range(max(0, least_x[n]), steps):
                beyond = min(x + t, last)
                for part in range(3):
                    for r in range(width):
                        sums[x, part, r] = tables[n, x, part, r] + sums[beyond, part, r]
            s = place_of[n]
            if s < 0 or (normal_heat >= 0 and normal_pieces < n):
                continue
            for p in range(heated_at_start.size):
                heated = heated_at_start[p]
                if heated < least_heated or not stands[i, s, p]:
                    continue
                x, offset = min(heated, last), n * t - heated
                for r in range(width):
                    row[r] = (
                        (piece - rate[r] * t) * sums[x, 0, r]
                        + sums[x, 1, r]
                        + (rate[r] * offset - rate_cool * cools[p]) * sums[x, 2, r]
                    )
                if size == values.size and _bound(row, edges) < values[0]:
                    continue
                if not _normal_fits(column, fits, normal_heat, normal_need, heated + (normal_pieces - n) * t):
                    continue
                base = (i * start_pieces.size + s) * room + places[p]
                size = _heats(row, column, fits, least_gap, base, values, codes, size, best)
    return size


@njit(cache=True, nogil=True)
def worth_by_level(
    need: I64, fixed: F64, weight: F64, heat: I64, limit: I64, piece: int, rate: F64, rate_cool: float,
    times: I64, starts: I64, heated: I64, cools: I64, used: NDArray[np.bool_], out: F64,
) -> None:  # fmt: skip
    """Worth of each heat at each level, load by load: out (S, n, T) in whole millionths, lost visits not taken off.

    ``heated`` (S,) is the heated time of a start; ``used`` (n, T) says which levels are asked for.
    """
    out[:, :, :] = 0.0
    for s in range(times.size):
        time, at_start = float(times[s]), float(heated[s])
        for j in range(need.shape[0]):
            k = heat[j]
            for level in range(need.shape[1]):
                if not used[k, level]:
                    continue
                # A quotient of whole numbers this small never rounds across a whole number.
                more = max(0.0, np.ceil((need[j, level] - at_start) / time))
                price = (starts[s] + more) * piece
                worth = price * 1e6 + fixed[j, level] - rate[k, level] * (at_start + more * time) - rate_cool * cools[s]
                out[s, k, level] += weight[j] * worth if price <= limit[j] else 0.0
