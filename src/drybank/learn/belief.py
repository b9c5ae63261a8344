"""What a watch leaves open about minutes needed: parameters drawn about the best fit and weighed by how likely each is.

How owners' beliefs scatter about the need is not known, and a watch hardly tells. So three families of the same spread are gone
through, log-normal, even and long-tailed beliefs, each weighed by how likely it makes what was seen. The interval of a figure is the
middle 95 of 100 of its weighed draws. Draws are a fixed lattice: the same watch gives the same interval.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np

from drybank.records.errors import NotIdentified
from drybank.records.learn import F64

DRAWS: Final = 600
PROPOSED_DF: Final = 5.0
WIDER: Final = 1.4
"""The proposal's spread over the fit's own, so that no likely corner is missed."""
LEAST_WORTH: Final = 30.0
"""Draws' worth below which the weights rest on a few of them."""
BELIEF_LOG, BELIEF_LOG_SD = math.log(0.2), 0.6
"""Spread of owners' beliefs before anything was seen: .2, from .075 to .53 nineteen times in twenty (assumed, no source)."""
EVEN_MOST: Final = 0.95
FAMILIES: Final = ("log-normal", "even", "log-logistic")
_CHUNK: Final = 60
_STEPS_MOST: Final = 40


class Drawn(NamedTuple):
    """Parameters (D, p) of all families one after the other, and their weights (D,), summing to one."""

    theta: F64
    family: F64
    weight: F64

    def interval(self, values: F64, level: float) -> tuple[float, float]:
        """The ends that leave the same weight of values (D,) beyond each."""
        order = np.argsort(values)
        run = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        low, high = np.interp([(1 - level) / 2, (1 + level) / 2], run, values[order])
        return float(low), float(high)


def chance(factor_log: F64, middle: F64, spread: F64, family: F64) -> F64:
    """Chance that ln(believed / needed) lies below ``factor_log``, of beliefs about exp(middle) with that spread.

    ``family``: place in `FAMILIES`. Even beliefs run from 1 - w to 1 + w times exp(middle), w the root of three spreads (at
    most .95); a log-logistic of the same spread has the longer tails.
    """
    from scipy.special import expit, ndtr

    off = factor_log - middle
    w = np.minimum(math.sqrt(3.0) * spread, EVEN_MOST)
    made: dict[int, Callable[[], F64]] = {
        0: lambda: np.asarray(ndtr(off / spread), np.float64),
        1: lambda: np.clip((np.exp(np.minimum(off, 5.0)) - (1.0 - w)) / (2.0 * w), 0.0, 1.0),
        2: lambda: np.asarray(expit(off / (spread * math.sqrt(3.0) / math.pi)), np.float64),
    }
    asked = np.unique(family)
    out = made[int(asked[0])]()
    for which in asked[1:]:
        out = np.where(family == which, made[int(which)](), out)
    return out


def draw(theta: F64, cov: F64, log_like: Callable[[F64, F64], F64], *, draws: int = DRAWS) -> Drawn:
    """Draws about a fit, weighed. ``log_like`` takes parameters (D, p) and their families (D,), gives (D,).

    Raises `NotIdentified` where the weights rest on a handful of draws.
    """
    families = FAMILIES if theta.size == 4 else FAMILIES[:1]
    made, proposed = _lattice(theta, cov, draws)
    both = np.concatenate([made] * len(families))
    family = np.repeat(np.arange(len(families), dtype=np.float64), draws)
    score = np.concatenate([
        log_like(both[k : k + _CHUNK], family[k : k + _CHUNK]) for k in range(0, len(both), _CHUNK)
    ])  # fmt: skip
    score -= np.concatenate([proposed] * len(families))
    if theta.size == 4:
        score -= 0.5 * ((both[:, 3] - BELIEF_LOG) / BELIEF_LOG_SD) ** 2
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    if 1.0 / float((weight**2).sum()) < LEAST_WORTH:
        raise NotIdentified("What was seen does not pin the needs down; time some loads with a stop-watch.")
    return Drawn(both, family, weight)


def _lattice(theta: F64, cov: F64, draws: int) -> tuple[F64, F64]:
    """Points (D, p) of Student's t about theta and their log density, on an additive lattice (M. Roberts, 2018; from memory)."""
    from scipy.special import gammaincinv, ndtri

    p = theta.size
    root = 2.0
    for _ in range(60):  # the one root above 1 of x^(d + 1) = x + 1
        root = (1.0 + root) ** (1.0 / (p + 2))
    u = (0.5 + np.arange(1, draws + 1)[:, None] * root ** -np.arange(1.0, p + 2)) % 1.0
    u = np.clip(u, 1e-6, 1 - 1e-6)
    scale = np.sqrt(PROPOSED_DF / (2.0 * gammaincinv(PROPOSED_DF / 2, u[:, p])))
    z = np.asarray(ndtri(u[:, :p]) * scale[:, None], np.float64)
    values, vectors = np.linalg.eigh(cov)
    side = vectors * np.sqrt(np.maximum(values, 1e-8)) * WIDER
    density = -0.5 * (PROPOSED_DF + p) * np.log1p((z**2).sum(axis=1) / PROPOSED_DF)
    return theta + z @ side.T, np.asarray(density, np.float64)


class Sold(NamedTuple):
    """How a bank sold time while it was watched: minutes of the start, of one piece more, and how many loads saw it."""

    start: float
    step: float
    loads: int


def share_on_dry(theta: F64, family: F64, sold: Sold, *, damp: float, nodes: int = 40) -> tuple[F64, F64]:
    """Minutes on dry clothes and minutes sold of a usual load (D,), by every first purchase that belief may make."""
    from scipy.special import ndtri

    u = (np.arange(nodes) + 0.5) / nodes
    n = theta[:, :1] + np.exp(theta[:, 1:2]) * np.asarray(ndtri(u), np.float64)
    need = np.exp(n)
    middle, spread, flag = theta[:, 2:3], np.exp(theta[:, 3:4]), family[:, None]
    up_to = sold.start + sold.step * np.maximum(0.0, np.ceil((need - sold.start) / sold.step))
    over, total, below = np.zeros_like(n), np.zeros_like(n), np.zeros_like(n)
    for k in range(_STEPS_MOST):
        first = sold.start + sold.step * k
        now = chance(math.log(first) - n, middle, spread, flag)
        mine, below = now - below, now
        is_short = first < need
        got = np.where(is_short, damp * first + (1 - damp) * up_to, first)
        dry = np.where(is_short, (1 - damp) * (up_to - need), first - need)
        over, total = over + mine * dry, total + mine * got
        if below.min() > 1 - 1e-6:
            break
    return over.mean(axis=1), total.mean(axis=1)
