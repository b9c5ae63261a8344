"""What a store's own past tells of chance: the same windows laid where nothing was changed.

A placebo window is a moment in the past with as many weeks before and after it as the question has. The spread of its
numbers is the noise that a real change has to rise above: season, weather, school holidays and all.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np

from drybank.records.learn import F64

UNIT_WEEK_VAR: Final = 0.044
"""Variance of one unit's weekly log use about its store, taken where no past tells: 35 loads a week (assumed, no source)."""
LEAST_DF: Final = 3.0
"""Placebo windows' worth below which a store's own total tells nothing."""


class Noise(NamedTuple):
    """Spread of a unit's ln(after/before) about its store, with what stands behind it."""

    unit_sd: float
    windows: int
    is_own: bool


def log_ratio(weeks: F64, moment: int, before: int, after: int) -> F64:
    """ln(sum of ``after`` weeks / sum of ``before`` weeks) about a moment, weeks on the last axis, for means of weeks."""
    pre = weeks[..., moment - before : moment].mean(axis=-1)
    post = weeks[..., moment : moment + after].mean(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        out: F64 = np.log(post) - np.log(pre)
    return out


def placebos(weeks: F64, before: int, after: int) -> F64:
    """Numbers of every window that fits, moments last: (..., M); empty where none fits."""
    moments = np.arange(before, weeks.shape[-1] - after + 1)
    if moments.size == 0:
        return np.empty((*weeks.shape[:-1], 0))
    run = np.concatenate([np.zeros((*weeks.shape[:-1], 1)), np.cumsum(weeks, axis=-1)], axis=-1)
    pre = (run[..., moments] - run[..., moments - before]) / before
    post = (run[..., moments + after] - run[..., moments]) / after
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log(post) - np.log(pre), np.float64)


def window_df(moments: int, before: int, after: int) -> float:
    """How many independent windows overlapping ones are worth, for the mean of their squares.

    Squares of two windows k weeks apart correlate as the square of the windows' own correlation; that of a step of
    weights -1/before, +1/after under even chance.
    """
    if moments < 1:
        return 0.0
    step = np.concatenate([np.full(before, -1.0 / before), np.full(after, 1.0 / after)])
    own = np.correlate(step, step, "full")[step.size - 1 :]
    rho = own / own[0]
    k = np.arange(1, min(rho.size, moments))
    return moments / (1.0 + 2.0 * float(np.sum((1 - k / moments) * rho[1 : k.size + 1] ** 2)))


def store_noise(total: F64, before: int, after: int) -> tuple[float, float, int]:
    """Root mean square of the store's own placebo numbers about no change, what they are worth, and how many."""
    d = placebos(total, before, after)
    d = d[np.isfinite(d)]
    if d.size == 0:
        return math.nan, 0.0, 0
    return float(np.sqrt(np.mean(d**2))), window_df(d.size, before, after), int(d.size)


def unit_variance(weeks: F64, before: int, after: int) -> tuple[float, int]:
    """Mean variance of units' placebo numbers about their store's mean, and windows used; NaN where none fits."""
    d = placebos(weeks, before, after)
    if d.shape[-1] == 0 or d.shape[0] < 2:
        return math.nan, 0
    whole = np.isfinite(d).all(axis=0)
    if not whole.any():
        return math.nan, 0
    return float(np.mean(np.var(d[:, whole], axis=0, ddof=1))), int(whole.sum())


def carried_variance(weeks: F64, before: int, after: int) -> tuple[float, bool]:
    """Variance of a unit's number for windows that the past is too short for: shorter ones carried on.

    Var = lasting + weekly x (1/before + 1/after), both at least nothing, by least squares over windows of 1 to 8 weeks;
    False beside an assumed value where not even these fit.
    """
    rows, seen = [], []
    for w in (1, 2, 3, 4, 6, 8):
        variance, windows = unit_variance(weeks, w, w)
        if windows >= 3:
            rows.append((1.0, 2.0 / w))
            seen.append(variance)
    if len(rows) < 2:
        return UNIT_WEEK_VAR * (1 / before + 1 / after), False
    from scipy.optimize import nnls

    scale = 1.0 / np.array(seen)
    lasting, weekly = nnls(np.array(rows) * scale[:, None], np.ones(len(seen)))[0]
    return float(lasting + weekly * (1 / before + 1 / after)), True


def noise(weeks: F64, before: int, after: int) -> Noise:
    """Noise of units for a window, from weeks (P, W) in which nothing was changed."""
    variance, windows = unit_variance(weeks, before, after)
    is_own = windows >= 4
    if not is_own:
        variance, is_own = carried_variance(weeks, before, after)
    return Noise(math.sqrt(max(variance, 1e-12)), windows, is_own)
