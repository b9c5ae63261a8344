"""Changed against unchanged, one number a unit: Student's t, all relabelings, and what could be seen.

Weeks are summed before they are compared, because weeks that follow each other are alike: tests on single weeks cry
wolf far more often than they say (Bertrand, Duflo and Mullainathan, NBER working paper 8841: up to 45 % instead of 5 %;
abstract read). A unit's number is ln(after) - ln(before).
"""

from __future__ import annotations

import math
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np

from drybank.records.errors import InputError, NotIdentified
from drybank.records.learn import F64

LEVEL: Final = 0.95
POWER: Final = 0.80
MOST_RELABELED: Final = 12
"""Units up to which every relabeling is gone through (924 at most)."""


class Compared(NamedTuple):
    """Difference of two groups' means with its standard error, Student's p and that of all relabelings."""

    difference: float
    se: float
    df: int
    p_t: float
    p_relabel: float | None
    relabelings: int

    @property
    def decides(self) -> bool:
        """Relabelings decide where they can reach 1 in 20 at all."""
        return self.p_relabel is not None and 2.0 / self.relabelings <= 1.0 - LEVEL

    @property
    def p(self) -> float:
        return self.p_relabel if self.decides and self.p_relabel is not None else self.p_t

    def interval(self) -> tuple[float, float]:
        half = t_edge(self.df) * self.se
        return self.difference - half, self.difference + half


def t_edge(df: float, level: float = LEVEL) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.5 + level / 2))


def p_two_sided(t: float, df: float) -> float:
    from scipy.special import stdtr

    return float(2 * stdtr(df, -abs(t)))


def compare(changed: F64, unchanged: F64) -> Compared:
    """Difference of two groups of numbers, pooled spread.

    Raises `NotIdentified` with no unit in a group or fewer than three in all.
    """
    a, b = (np.asarray(x, dtype=np.float64) for x in (changed, unchanged))
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        raise InputError("A unit's change is not a number.", mend="Leave out units that stood still before or after.")
    n, m = a.size, b.size
    if n < 1 or m < 1 or n + m < 3:
        raise NotIdentified(f"{n} changed and {m} unchanged units cannot be compared; it takes three in all.")
    df = n + m - 2
    difference = float(a.mean() - b.mean())
    spread = math.sqrt((((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / df)
    se = spread * math.sqrt(1 / n + 1 / m)
    p_t = p_two_sided(difference / se, df) if se > 0 else float(difference == 0)
    p_relabel, count = relabel(a, b) if n + m <= MOST_RELABELED else (None, 0)
    return Compared(difference, se, df, p_t, p_relabel, count)


def relabel(changed: F64, unchanged: F64) -> tuple[float, int]:
    """Share of all ways to call as many units "changed" whose difference is at least as far from none, and their number."""
    both = np.concatenate([changed, unchanged])
    n = changed.size
    picks = np.array(list(combinations(range(both.size), n)))
    sums = both[picks].sum(axis=1)
    stat = np.abs(sums / n - (both.sum() - sums) / (both.size - n))
    seen = abs(float(changed.mean() - unchanged.mean()))
    return float(np.mean(stat >= seen - 1e-9 * max(1.0, seen))), len(picks)


def smallest(se: float, df: float, *, power: float = POWER, level: float = LEVEL) -> float:
    """Smallest true difference that a two-sided t test finds with the given power: noncentral t, solved. [same as se]"""
    from scipy.optimize import brentq
    from scipy.special import nctdtr

    edge = t_edge(df, level)

    def found(size: float) -> float:  # far out on the wrong side is left out: under 1e-6 here
        return 1.0 - float(nctdtr(df, size, edge))

    high = edge
    while found(high) < power and high < 1e3 * edge:
        high *= 1.25
    return float(brentq(lambda size: found(size) - power, 0.0, high)) * se
