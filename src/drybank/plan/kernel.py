"""The exact search in machine code. Same maths, spelled out, in ``reference.py``.

What makes it fast, without leaving exactness:

* Needs, times and offsets are whole steps, so heated time after ``m`` pieces is ``x = m·t - offset``, a whole step.
* A load that pays at most ``l`` pieces is dried if its need is at most ``x`` after ``l`` pieces, and then pays ``l`` less
  one for every ``i < l`` after which it would have been dry already. So the sum over loads is a sum over ``m`` of one table
  row, looked up at one place: pieces ``m·g_m(x) - G_m(x)``, loads ``g_m(x)``, worth ``h_m(x)``, where ``g_m`` counts loads of
  limit exactly ``m`` and ``G_m`` those of limit above ``m`` with need up to ``x``.
* Going down in ``m``, the running sum at ``m`` is the answer for "start with m pieces": one pass gives every start.
* Beyond the longest need a row is constant: its suffix sums stand for all of it.
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
def _heats(
    row: F64, allowed: NDArray[np.bool_], least_gap: int, base: int, values: F64, codes: I64, size: int, best: F64
) -> int:
    """Offer every ordered choice of levels, one for each heat, that can still enter the list.

    ``row[k·T + τ]`` is worth of heat k at level τ; levels fall by at least ``least_gap`` from heat to heat.
    """
    heats, levels = allowed.shape
    rest = 0.0
    for k in range(heats - 1, -1, -1):
        top = -np.inf
        for tau in range(levels):
            if allowed[k, tau] and row[k * levels + tau] > top:
                top = row[k * levels + tau]
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
        if not allowed[k, at[k]]:
            continue
        here = total[k] + row[k * levels + at[k]]
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
    m: int, first: int, last: int, need: I64, fixed: F64, weight: F64, heat: I64, levels: int,
    above: F64, count: F64, pieces: F64, worth: F64,
) -> None:  # fmt: skip
    """Tables of the loads of limit ``m`` (numbers ``first`` to ``last``): loads, pieces and worth by need.

    ``above`` holds the loads of higher limits on entry and takes these in on leaving.
    """
    steps, width = above.shape
    if first == last:
        for x in range(steps):
            for r in range(width):
                count[x, r] = 0.0
                worth[x, r] = 0.0
                pieces[x, r] = -above[x, r]
        return
    count[:, :] = 0.0
    worth[:, :] = 0.0
    for j in range(first, last):
        for tau in range(levels):
            r = heat[j] * levels + tau
            x = need[j, tau]
            count[x, r] += weight[j]
            worth[x, r] += weight[j] * fixed[j, tau]
    for r in range(width):
        pieces[0, r] = m * count[0, r] - above[0, r]
    for x in range(1, steps):
        for r in range(width):
            count[x, r] += count[x - 1, r]
            worth[x, r] += worth[x - 1, r]
            pieces[x, r] = m * count[x, r] - above[x, r]
    for x in range(steps):
        for r in range(width):
            above[x, r] += count[x, r]


@njit(cache=True, nogil=True)
def _normal_fits(allowed: NDArray[np.bool_], fits: NDArray[np.bool_], heat: int, need: I64, heated: int) -> bool:
    """Levels at which the normal load's heat dries it in time; false when there is none."""
    fits[:, :] = allowed
    if heat < 0:
        return True
    some = False
    for tau in range(allowed.shape[1]):
        fits[heat, tau] = allowed[heat, tau] and need[tau] <= heated
        some = some or fits[heat, tau]
    return some


@njit(cache=True, nogil=True)
def search_sum(
    need: I64, fixed: F64, weight: F64, heat: I64, starts: I64, levels: int, piece: float, rate: F64, rate_cool: float,
    times: I64, time_starts: NDArray[np.bool_], cools: I64, cool_inside: int, allowed: NDArray[np.bool_], least_gap: int,
    normal_heat: int, normal_need: I64, normal_pieces: int, least_heated: int, values: F64, codes: I64,
) -> int:  # fmt: skip
    """The best settings where a start gives the sum of its pieces' times. Returns how many were kept.

    need (N, T) whole steps 1..; fixed (N, T) worth of a dried load beside pieces; weight (N,); heat (N,) 0..n-1;
    loads sorted by limit in pieces, those of limit m at ``starts[m]`` to ``starts[m + 1]``; rate (n·T,) cost of a heated
    step; times (nt,) steps a piece, rising; time_starts (nt, P): whether a start of p + 1 pieces may stand with it;
    cools (nc,) steps. Setting code: ((time · P + start - 1) · nc + cool) · T^n + levels.
    """
    steps = 1
    for j in range(need.shape[0]):
        for tau in range(levels):
            steps = max(steps, need[j, tau] + 1)
    heats = allowed.shape[0]
    width, longest = heats * levels, starts.size - 2
    most_start = time_starts.shape[1]
    above = np.zeros((steps, width))
    count, pieces, worth = np.empty((steps, width)), np.empty((steps, width)), np.empty((steps, width))
    sat = np.zeros((3, width))  # suffix sums of the rows beyond the longest need: pieces, worth, loads
    running = np.zeros((times.size, cools.size, width))
    is_running = np.zeros((times.size, cools.size), np.bool_)
    fits = np.empty_like(allowed)
    row, best = np.empty(width), np.empty(heats + 1)
    best[heats] = 0.0
    size = 0
    for m in range(longest, 0, -1):
        _row(m, starts[m], starts[m + 1], need, fixed, weight, heat, levels, above, count, pieces, worth)
        for c in range(cools.size):
            cool = cools[c]
            offset = cool * cool_inside
            sat_still = True
            for i in range(times.size):
                t = times[i]
                x = m * t - offset
                if x < steps - 1:
                    if not is_running[i, c]:
                        is_running[i, c] = True
                        for r in range(width):
                            running[i, c, r] = (
                                (piece - rate[r] * t) * sat[0, r]
                                + sat[1, r]
                                + (rate[r] * offset - rate_cool * cool) * sat[2, r]
                            )
                    if x > 0:
                        for r in range(width):
                            running[i, c, r] += (
                                (piece - rate[r] * t) * pieces[x, r]
                                + worth[x, r]
                                + (rate[r] * offset - rate_cool * cool) * count[x, r]
                            )
                elif not sat_still:
                    break
                if m > most_start or not time_starts[i, m - 1] or x < least_heated:
                    continue
                if normal_heat >= 0 and normal_pieces < m:
                    continue
                if not _normal_fits(allowed, fits, normal_heat, normal_need, normal_pieces * t - offset):
                    continue
                base = (i * most_start + m - 1) * cools.size + c
                if x < steps - 1:
                    size = _heats(running[i, c], fits, least_gap, base, values, codes, size, best)
                    continue
                last = steps - 1
                top = 0.0
                for k in range(heats):
                    high = -np.inf
                    for tau in range(levels):
                        r = k * levels + tau
                        row[r] = (
                            (piece - rate[r] * t) * (sat[0, r] + pieces[last, r])
                            + sat[1, r]
                            + worth[last, r]
                            + (rate[r] * offset - rate_cool * cool) * (sat[2, r] + count[last, r])
                        )
                        if allowed[k, tau] and row[r] > high:
                            high = row[r]
                    top += high
                # Longer times beyond the longest need only burn more: once they cannot enter, none later can.
                if size == values.size and top < values[0]:
                    sat_still = False
                    continue
                size = _heats(row, fits, least_gap, base, values, codes, size, best)
        for r in range(width):
            sat[0, r] += pieces[steps - 1, r]
            sat[1, r] += worth[steps - 1, r]
            sat[2, r] += count[steps - 1, r]
    return size


@njit(cache=True, nogil=True)
def search_first(
    need: I64, fixed: F64, weight: F64, heat: I64, starts: I64, levels: int, piece: float, rate: F64, rate_cool: float,
    times: I64, start_pieces: I64, firsts: I64, time_ok: NDArray[np.bool_], cools: I64, cool_inside: int,
    allowed: NDArray[np.bool_], least_gap: int, normal_heat: int, normal_need: I64, normal_pieces: int,
    least_heated: int, values: F64, codes: I64,
) -> int:  # fmt: skip
    """The best settings where a start gives a first time of its own. Returns how many were kept.

    As `search_sum`; ``time_ok`` (nt, ns, nf) says which may stand together. Setting code:
    (((time · ns + start) · nf + first) · nc + cool) · T^n + levels.
    """
    steps = 1
    for j in range(need.shape[0]):
        for tau in range(levels):
            steps = max(steps, need[j, tau] + 1)
    heats = allowed.shape[0]
    width, longest = heats * levels, starts.size - 2
    count, pieces, worth = np.empty((steps, width)), np.empty((steps, width)), np.empty((steps, width))
    above = np.empty((steps, width))
    running = np.empty((times.size, firsts.size, cools.size, width))
    fits = np.empty_like(allowed)
    best = np.empty(heats + 1)
    best[heats] = 0.0
    size = 0
    for s in range(start_pieces.size):
        n = start_pieces[s]
        if normal_heat >= 0 and normal_pieces < n:
            continue
        above[:, :] = 0.0
        running[:, :, :, :] = 0.0
        for m in range(longest, n - 1, -1):
            _row(m, starts[m], starts[m + 1], need, fixed, weight, heat, levels, above, count, pieces, worth)
            for i in range(times.size):
                t = times[i]
                for f in range(firsts.size):
                    if not time_ok[i, s, f]:
                        continue
                    for c in range(cools.size):
                        heated = firsts[f] - cools[c] * cool_inside
                        if heated < least_heated:
                            continue
                        x = heated + (m - n) * t
                        if x <= 0:
                            continue
                        x = min(x, steps - 1)
                        offset = n * t - heated
                        for r in range(width):
                            running[i, f, c, r] += (
                                (piece - rate[r] * t) * pieces[x, r]
                                + worth[x, r]
                                + (rate[r] * offset - rate_cool * cools[c]) * count[x, r]
                            )
        for i in range(times.size):
            for f in range(firsts.size):
                if not time_ok[i, s, f]:
                    continue
                for c in range(cools.size):
                    heated = firsts[f] - cools[c] * cool_inside
                    if heated < least_heated:
                        continue
                    most = heated + (normal_pieces - n) * times[i]
                    if not _normal_fits(allowed, fits, normal_heat, normal_need, most):
                        continue
                    base = ((i * start_pieces.size + s) * firsts.size + f) * cools.size + c
                    size = _heats(running[i, f, c], fits, least_gap, base, values, codes, size, best)
    return size
