"""The one-pass sums of `kernel.py` in plain numpy, for reading and for holding the two together."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.integer]


def fleet_sums(
    start: Ints, columns: tuple[Ints, Ints, Ints], counter_size: Ints, meter_size: Ints
) -> tuple[Ints, Ints, Ints, Ints]:
    """Sums between first and last reading of every pocket.

    Parameters
    ----------
    start : int (pocket + 1,)
        Where each pocket's rows begin; rows are sorted by pocket, then time.
    columns : three of int (row,): counter, meter, counted
        What the counter and the meter showed (whole steps) and the pieces counted at that visit. The first
        row of a pocket opens its span: its pieces belong to before.
    counter_size, meter_size : int (pocket,)
        Numbers at which each starts again from nothing.

    Returns
    -------
    pieces, steps, cash : int (pocket,)
        Sums of increments of counter and meter, and of pieces counted.
    lowest : int (pocket,)
        Lowest single (counted - pieces) of the span, 0 when none is below: a first look at single weeks.
    """
    counter, meter, counted = columns
    pockets = start.size - 1
    pieces, steps, cash, lowest = (np.zeros(pockets, np.int64) for _ in range(4))
    for p in range(pockets):
        rows = slice(int(start[p]), int(start[p + 1]))
        if rows.stop - rows.start < 2:
            continue
        k = np.diff(counter[rows].astype(np.int64))
        h = np.diff(meter[rows].astype(np.int64))
        k = np.where(k < 0, k + counter_size[p], k)
        h = np.where(h < 0, h + meter_size[p], h)
        d = counted[rows][1:]
        pieces[p], steps[p], cash[p] = k.sum(), h.sum(), d.sum()
        lowest[p] = min(0, int((d - k).min()))
    return pieces, steps, cash, lowest
