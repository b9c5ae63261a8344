"""Many pockets at once: which to put on the list, and how sure to sound about each."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from drybank.balance.statistics.growth import Floats

Bools = npt.NDArray[np.bool_]

LIST_FALSE_SHARE = 0.10  # share of the list that may be false, on average
WATCH_Z = -3.5  # standing weekly watch: about 3 % of clean pockets ever flagged in a year
_SLABS = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 11.0, 15.0, 20.0, 30.0)
_NULL_WEIGHT = 10.0


def adjusted(p: Floats, *, any_dependence: bool = False) -> Floats:
    """p values adjusted for the false share of a list: Benjamini-Hochberg (1995), or Benjamini-Yekutieli
    (2001) when the tests share a total. NaN stays NaN and does not count as a test."""
    out = np.full(p.shape, np.nan)
    where = np.flatnonzero(np.isfinite(p))
    m = where.size
    if m == 0:
        return out
    order = where[np.argsort(p[where], kind="stable")]
    harmonic = float(np.sum(1.0 / np.arange(1, m + 1))) if any_dependence else 1.0
    raw = p[order] * m * harmonic / np.arange(1, m + 1)
    out[order] = np.minimum(1.0, np.minimum.accumulate(raw[::-1])[::-1])
    return out


def on_list(p: Floats, false_share: float = LIST_FALSE_SHARE) -> Bools:
    """Which units to list so that at most ``false_share`` of the list is false on average."""
    with np.errstate(invalid="ignore"):
        out: Bools = adjusted(p) <= false_share
    return out


def _slab(z: Floats, s: float) -> Floats:
    """Density of z = -|half-normal(s)| + standard normal noise (skewed to the short side)."""
    from scipy.special import ndtr

    wide = np.hypot(1.0, s)
    return np.asarray(2.0 * np.exp(-0.5 * (z / wide) ** 2) / (wide * np.sqrt(2.0 * np.pi)) * ndtr(-z * s / wide))


def chance_of_luck(z: Floats, rounds: int = 200) -> Floats:
    """Local false discovery rate: the chance that a unit with this z is clean after all.

    A mixture of the standard normal and half-normal slabs on the short side is fitted by
    expectation-maximisation, with a pull of ten pockets towards "clean". For the long side hand in -z.
    """
    good = np.isfinite(z)
    out = np.full(z.shape, np.nan)
    v = z[good]
    if v.size == 0:
        return out
    null = np.exp(-0.5 * v**2) / np.sqrt(2.0 * np.pi)
    parts = np.column_stack([null, *(_slab(v, s) for s in _SLABS)])
    parts = np.maximum(parts, 1e-300)
    weight = np.full(parts.shape[1], 0.1 / len(_SLABS))
    weight[0] = 0.9
    pull = np.zeros(parts.shape[1])
    pull[0] = _NULL_WEIGHT
    for _ in range(rounds):
        share = parts * weight
        share /= share.sum(axis=1, keepdims=True)
        fresh = (share.sum(axis=0) + pull) / (v.size + _NULL_WEIGHT)
        if np.abs(fresh - weight).max() < 1e-9:
            weight = fresh
            break
        weight = fresh
    share = parts * weight
    out[good] = share[:, 0] / share.sum(axis=1)
    # luck cannot grow less likely towards zero: make it monotone in z
    order = np.argsort(v, kind="stable")
    mono = np.maximum.accumulate(out[good][order])
    back = np.empty_like(mono)
    back[order] = mono
    out[good] = back
    return out


def words(luck: float) -> str:
    """How sure to sound, from the chance of luck (0 to 1)."""
    if luck < 0.01:
        return "almost certain"
    if luck < 0.05:
        return "very likely"
    if luck < 0.20:
        return "likely"
    if luck < 0.50:
        return "more likely than not"
    return "may well be luck"
