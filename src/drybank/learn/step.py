"""A step in a store's own total: season and weeks that follow each other taken for what they are.

ln(total) of every known week is a level, a step at the change, a wave of the year of unknown height and phase, and weeks
that wander: part of the chance lasts from week to week, the rest does not. How high the wave is, how much lasts and for how
long is not known; a grid of them is gone through, each weighed by its restricted likelihood, and what the step may be is the
weighed mixture of Student's t. A year whose shape is no single wave counts as wandering.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import product
from typing import Final, NamedTuple

import numpy as np

from drybank.learn.compare import LEVEL, smallest, t_edge
from drybank.records.learn import F64

YEAR_WEEKS: Final = 52.1775
LASTING: Final = (0.0, 0.3, 0.5, 0.7, 0.85, 0.95)
"""How much of a lasting week goes on into the next."""
LASTING_SHARE: Final = (0.3, 0.6, 1.0)
WAVE: Final = (0.0, 0.7, 1.5, 3.0)
"""Height of the year's wave over the spread of weeks."""
LEAST_WEEKS: Final = 12
MOST_WEEKS: Final = 156
_GRID: Final = tuple(
    (lasts, share, wave)
    for lasts, share, wave in product(LASTING, LASTING_SHARE, WAVE)
    if lasts > 0 or share == LASTING_SHARE[0]
)
_PRIOR: Final = 0.7 * np.log([1.0 - lasts for lasts, _, _ in _GRID])
"""Belief before: the longer chance lasts, the less is it expected (assumed)."""


class Stepped(NamedTuple):
    """A step's ln with the standard error and degrees of a t that has the mixture's own 95 % ends, and its two-sided p."""

    log: float
    se: float
    df: int
    p: float

    def interval(self) -> tuple[float, float]:
        half = t_edge(self.df) * self.se
        return self.log - half, self.log + half


class _Fits(NamedTuple):
    """Every grid point's weight, step, the step's standard error, and the variance of a week."""

    weight: F64
    log: F64
    se: F64
    variance: F64
    df: int


def step(weeks: F64, at: int, *, others_at: Sequence[int] = ()) -> Stepped | None:
    """The step of a line (W,) at week ``at``, with ``others_at`` steps of other changes; None where too little is known.

    Weeks without use or not known are left out; of a long past the last three years are taken.
    """
    first = max(0, len(weeks) - MOST_WEEKS)
    t = np.arange(first, len(weeks), dtype=np.float64)
    line = np.asarray(weeks[first:], np.float64)
    known = np.isfinite(line) & (line > 0)
    t, y = t[known], np.log(line[known])
    steps = [(t >= k) * 1.0 for k in others_at if k != at]
    x = np.column_stack([np.ones(t.size), *(c for c in steps if 0 < c.sum() < t.size), (t >= at) * 1.0])
    if t.size < x.shape[1] + LEAST_WEEKS or not 0 < x[:, -1].sum() < t.size:
        return None
    fits = _fits(t, x, y)
    return None if fits is None else _mixed(fits)


def smallest_step(weeks: F64, after: int) -> float | None:
    """Smallest fall in the total, ln, that ``after`` weeks of a new level would show four times in five; None if not known.

    From the chance that the past (W,) tells: the weeks to come are laid on, and the step's standard error is worked out.
    """
    first = max(0, len(weeks) - MOST_WEEKS)
    line = np.asarray(weeks[first:], np.float64)
    known = np.isfinite(line) & (line > 0)
    t, y = np.arange(line.size, dtype=np.float64)[known], np.log(line[known])
    if t.size < 1 + LEAST_WEEKS:
        return None
    fits = _fits(t, np.ones((t.size, 1)), y)
    if fits is None:
        return None
    then = np.concatenate([t, line.size + np.arange(after)])
    x = np.column_stack([np.ones(then.size), then >= line.size])
    xs = _whiteners(tuple(then.tolist()))[0] @ x
    own = np.linalg.inv(xs.transpose(0, 2, 1) @ xs)[:, -1, -1]
    return smallest(math.sqrt(float((fits.weight * fits.variance * own).sum())), fits.df + after - 1)


def _covariance(t: F64, point: tuple[float, float, float]) -> F64:
    lasts, share, wave = point
    apart = np.abs(t[:, None] - t[None, :])
    lasting = (apart == 0) * 1.0 if lasts == 0 else share * lasts**apart + (1 - share) * (apart == 0)
    return np.asarray(lasting + 0.5 * wave**2 * np.cos(2 * np.pi * apart / YEAR_WEEKS), np.float64)


@lru_cache(maxsize=4)
def _whiteners(weeks: tuple[float, ...]) -> tuple[F64, F64]:
    """For every grid point the inverse of the covariance's lower root (G, W, W), and ln of that root's determinant (G,)."""
    from scipy.linalg import solve_triangular

    t, eye = np.array(weeks), np.eye(len(weeks))
    lows = [np.linalg.cholesky(_covariance(t, point) + 1e-9 * eye) for point in _GRID]
    inverse = np.stack([solve_triangular(low, eye, lower=True) for low in lows])
    return inverse, np.array([float(np.log(np.diag(low)).sum()) for low in lows])


def _fits(t: F64, x: F64, y: F64) -> _Fits | None:
    """Least squares under every grid point's covariance; restricted likelihood with the spread taken out."""
    df = t.size - x.shape[1]
    white, root = _whiteners(tuple(t.tolist()))
    both = white @ np.column_stack([x, y])
    xs, ys = both[..., :-1], both[..., -1:]
    gram = xs.transpose(0, 2, 1) @ xs
    beta = np.asarray(np.linalg.solve(gram, xs.transpose(0, 2, 1) @ ys), np.float64)
    rest = ((ys - xs @ beta) ** 2).sum(axis=(1, 2))
    if rest.min() <= 1e-18:
        return None
    score = _PRIOR - root - 0.5 * np.linalg.slogdet(gram)[1] - 0.5 * df * np.log(rest)
    weight = np.exp(score - score.max())
    own = np.linalg.inv(gram)[:, -1, -1]
    return _Fits(weight / weight.sum(), beta[:, -1, 0], np.asarray(np.sqrt(rest / df * own), np.float64), rest / df, df)


def _mixed(fits: _Fits) -> Stepped:
    from scipy.optimize import brentq
    from scipy.special import stdtr

    def below(x: float) -> float:
        return float((fits.weight * stdtr(fits.df, (x - fits.log) / fits.se)).sum())

    reach = 60 * float(fits.se.max())
    ends = [
        float(brentq(lambda x, q=q: below(x) - q, fits.log.min() - reach, fits.log.max() + reach))
        for q in ((1 - LEVEL) / 2, (1 + LEVEL) / 2)
    ]  # fmt: skip
    none = below(0.0)
    half = (ends[1] - ends[0]) / 2
    return Stepped(sum(ends) / 2, half / t_edge(fits.df), fits.df, min(1.0, 2 * min(none, 1 - none)))
