"""What most likely went wrong at a pocket: a posterior over causes from three changes of log ratios.

Channels: cash per counted piece (D/K), hours per counted piece (H/K), pieces against the siblings' (K).
Each cause moves them in its own way; its size is averaged over a grid. Effects, sizes and priors are
assumptions until an operator's own confirmed findings replace the priors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drybank.balance.statistics.growth import Floats, spread_sd

CAUSES = ("none", "theft", "slugs", "minutes", "free", "double", "miss", "avoided")
PRIORS: dict[str, float] = {
    "none": 0.932, "theft": 0.012, "slugs": 0.008, "minutes": 0.012, "free": 0.006,
    "double": 0.010, "miss": 0.010, "avoided": 0.010,
}  # fmt: skip
CHANNELS = ("cash per counted coin", "hours per counted coin", "coins against the other pockets")
_PRICE_REACTIONS = (0.0, -0.3)  # change of log pieces per log minutes a coin buys: none, or some; assumptions
_REJECT_RATE = 0.0005  # foreign pieces per piece at a clean pocket; an assumption
_EIGEN_FLOOR = 0.05
_SHARES = np.array([0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.07, 0.10, 0.15, 0.20, 0.30, 0.45])


@dataclass(frozen=True)
class Effects:
    """One cause's effects on the three channels over its grid of sizes, with weights that sum to one."""

    name: str
    shift: Floats  # (size, 3), logs
    weight: Floats  # (size,)
    rejects: Floats  # (size,) expected foreign pieces per piece


def effects(coin_minutes: float) -> tuple[Effects, ...]:
    """The effects of every cause at pockets where a coin buys ``coin_minutes``. [min]"""
    zero = np.zeros_like(_SHARES)
    even = np.full(_SHARES.size, 1.0 / _SHARES.size)
    less, more = np.log1p(-_SHARES), np.log1p(_SHARES)
    clean = np.full(_SHARES.size, _REJECT_RATE)
    steps = np.concatenate([np.arange(-8, 0), np.arange(1, 9)]) * 0.5
    steps = steps[coin_minutes + steps >= 0.5]
    minutes = np.log((coin_minutes + steps) / coin_minutes)
    odds = np.where(np.abs(steps - np.rint(steps)) < 1e-9, 1.0, 0.2) / np.abs(steps)
    one = np.ones(1)
    return (
        Effects("none", np.zeros((1, 3)), one, np.full(1, _REJECT_RATE)),
        Effects("theft", np.column_stack([less, zero, zero]), even, clean),
        Effects("slugs", np.column_stack([less, zero, zero]), even, clean + _SHARES),
        Effects(
            "minutes",
            np.concatenate([np.column_stack([0.0 * minutes, minutes, r * minutes]) for r in _PRICE_REACTIONS]),
            np.tile(odds / odds.sum() / len(_PRICE_REACTIONS), len(_PRICE_REACTIONS)),
            np.full(steps.size * len(_PRICE_REACTIONS), _REJECT_RATE),
        ),
        Effects("free", np.column_stack([zero, more, zero]), even, clean),
        Effects("double", np.column_stack([-more, -more, more]), even, clean),
        Effects("miss", np.column_stack([-less, -less, less]), even, clean),
        Effects("avoided", np.column_stack([zero, zero, less]), even, clean),
    )


def correlation(z: Floats) -> Floats:
    """Robust correlations of the channels' z over the fleet (pocket, 3).

    Pairwise by spreads of sums and differences (Gnanadesikan, Kettenring 1972), each channel scaled
    first; eigenvalues are kept above .05. Fewer than 20 complete pockets give the identity.
    """
    full = z[np.isfinite(z).all(axis=1)]
    k = z.shape[1]
    out = np.eye(k)
    if full.shape[0] < 20:
        return out
    scaled = full / np.array([max(spread_sd(full[:, j]), 1e-9) for j in range(k)])
    for i in range(k):
        for j in range(i):
            plus, minus = spread_sd(scaled[:, i] + scaled[:, j]) ** 2, spread_sd(scaled[:, i] - scaled[:, j]) ** 2
            r = (plus - minus) / (plus + minus)
            out[i, j] = out[j, i] = r * full.shape[0] / (full.shape[0] + 50.0)
    values, vectors = np.linalg.eigh(out)
    fixed: Floats = (vectors * np.maximum(values, _EIGEN_FLOOR)) @ vectors.T
    scale = np.sqrt(np.diag(fixed))
    return np.asarray(fixed / np.outer(scale, scale))


@dataclass(frozen=True)
class CauseTable:
    """Posterior per pocket and cause, and the log Bayes factor of each channel against "none".

    ``posterior`` (pocket, cause) in the order of `CAUSES`; ``log_factor`` (pocket, cause, channel) looks
    at each channel alone; ``log_shape`` and ``log_rejects`` (pocket, cause) likewise."""

    posterior: Floats
    log_factor: Floats
    log_shape: Floats
    log_rejects: Floats

    def order(self, pocket: int) -> NDArray[np.int64]:
        """Causes of one pocket, likeliest first."""
        return np.argsort(-self.posterior[pocket], kind="stable")


def _log_mean(log: Floats, weight: Floats) -> Floats:
    top = log.max(axis=1)
    return np.asarray(top + np.log(np.maximum((np.exp(log - top[:, None]) * weight).sum(axis=1), 1e-300)))


def _gauss(x: Floats, sd: Floats, shift: Floats, inverse: Floats) -> Floats:
    """Log density up to a constant: (pocket, size)."""
    d = (x[:, None, :] - shift[None, :, :]) / sd[:, None, :]
    return np.asarray(-0.5 * np.einsum("psi,ij,psj->ps", d, inverse, d))


def weigh_causes(
    x: Floats,
    sd: Floats,
    *,
    corr: Floats,
    coin_minutes: float = 6.0,
    pieces: Floats | None = None,
    rejects: Floats | None = None,
    shape: Floats | None = None,
    priors: dict[str, float] | None = None,
) -> CauseTable:
    """Posterior over `CAUSES` for each pocket.

    Parameters
    ----------
    x, sd : array (pocket, 3)
        Changes of the three log ratios and their standard deviations. A channel that is not known is
        NaN: it says nothing.
    corr : array (3, 3)
        Correlations of the channels, see `correlation`.
    pieces, rejects : array (pocket,), optional
        Pieces counted and foreign pieces among them. Without ``rejects``, slugs and theft cannot be
        told apart and share their evidence.
    shape : array (pocket,), optional
        Log likelihood of constant against proportional excess hours, `free_against_minutes`.
    priors : dict, optional
        Prior of each cause; `PRIORS` otherwise.
    """
    priors = priors or PRIORS
    known = np.isfinite(x) & np.isfinite(sd)
    value = np.where(known, x, 0.0)
    wide = np.where(known, sd, 1e6)
    inverse = np.asarray(np.linalg.inv(corr), np.float64)
    shapes = (x.shape[0], len(CAUSES))
    joint, log_shape, log_rejects = np.zeros(shapes), np.zeros(shapes), np.zeros(shapes)
    alone = np.zeros((*shapes, x.shape[1]))
    for k, effect in enumerate(effects(coin_minutes)):
        per_size = _gauss(value, wide, effect.shift, inverse)
        if rejects is not None and pieces is not None:
            rate = np.maximum(pieces[:, None] * effect.rejects[None, :], 1e-6)
            with_rejects = rejects[:, None] * np.log(rate) - rate
            log_rejects[:, k] = _log_mean(with_rejects, effect.weight)
            per_size = per_size + with_rejects
        joint[:, k] = _log_mean(per_size, effect.weight)
        for c in range(x.shape[1]):
            d = (value[:, c, None] - effect.shift[None, :, c]) / wide[:, c, None]
            alone[:, k, c] = _log_mean(-0.5 * d**2, effect.weight)
    if shape is not None:
        log_shape[:, CAUSES.index("minutes")] = -0.5 * shape
        log_shape[:, CAUSES.index("free")] = 0.5 * shape
    log = joint + log_shape + np.log([priors[c] for c in CAUSES])
    post = np.exp(log - log.max(axis=1, keepdims=True))
    return CauseTable(
        posterior=post / post.sum(axis=1, keepdims=True),
        log_factor=alone - alone[:, :1, :],
        log_shape=log_shape,
        log_rejects=log_rejects - log_rejects[:, :1],
    )
