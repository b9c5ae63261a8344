"""One pass over a fleet's readings: increments with roll-over, their sums, and the lowest single week.

The plain form of the same sums is `reference.fleet_sums`. Rows are sorted by pocket, then time; the
caller checks shapes, for compiled code has no bounds checks (`fleet_sums` does it). Columns may be of 32
or 64 bits; sums are of 64.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from drybank.records.errors import InputError

Ints = npt.NDArray[np.integer[Any]]
Columns = tuple[Ints, Ints, Ints, Ints]


@njit(cache=True, nogil=True)
def _sums(first: int, last: int, start: Ints, columns: tuple[Ints, Ints, Ints], sizes: Ints, out: Columns) -> None:
    counter, meter, counted = columns
    pieces, steps, cash, lowest = out
    for p in range(first, last):
        a, b = start[p], start[p + 1]
        ks, hs, ds, low = np.int64(0), np.int64(0), np.int64(0), np.int64(0)
        k_size, h_size = sizes[0, p], sizes[1, p]
        kc, hc, dc = counter[a:b], meter[a:b], counted[a:b]
        for r in range(1, b - a):  # views from zero let the compiler see that nothing aliases or wraps
            k = np.int64(kc[r]) - np.int64(kc[r - 1])
            k = k + k_size if k < 0 else k
            h = np.int64(hc[r]) - np.int64(hc[r - 1])
            h = h + h_size if h < 0 else h
            d = np.int64(dc[r])
            ks += k
            hs += h
            ds += d
            low = min(low, d - k)
        pieces[p], steps[p], cash[p], lowest[p] = ks, hs, ds, low


def fleet_sums(
    start: Ints,
    columns: tuple[Ints, Ints, Ints],
    counter_size: Ints,
    meter_size: Ints,
    threads: int = 1,
) -> Columns:
    """`reference.fleet_sums`, compiled. ``columns`` are counter, meter and counted pieces.

    ``threads`` share the pockets (the compiled loop holds no lock). Raises `InputError` when the shapes
    or the row numbers do not fit together.
    """
    pockets = start.size - 1
    rows = columns[0].size
    fits = (
        pockets >= 0
        and all(c.size == rows and c.ndim == 1 for c in columns)
        and counter_size.size == pockets == meter_size.size
        and (pockets == 0 or (start[0] >= 0 and start[-1] <= rows and bool(np.all(np.diff(start) >= 0))))
    )
    if not fits:
        raise InputError("The columns of readings do not have the same length.", where="balance kernel")
    pieces, steps, cash, lowest = (np.zeros(pockets, np.int64) for _ in range(4))
    out = (pieces, steps, cash, lowest)
    sizes = np.vstack([counter_size, meter_size]).astype(np.int64)
    if threads <= 1 or pockets < 2 * threads:
        _sums(0, pockets, start, columns, sizes, out)
        return out
    from concurrent.futures import ThreadPoolExecutor

    cuts = np.linspace(0, pockets, threads + 1).astype(int)
    with ThreadPoolExecutor(threads) as pool:
        jobs = [pool.submit(_sums, a, b, start, columns, sizes, out) for a, b in pairwise(cuts.tolist())]
        for job in jobs:
            job.result()
    return out
