"""Minutes of heat that loads need, from what was seen of them: a log-normal distribution by maximum likelihood.

What a watch sees is an interval: a load that was topped up needed more than it had and no more than it got; one that was not
needed at most what was bought. What was bought at first tells of the need too, because owners buy what they believe the
load needs, so need and belief are fitted together (two log-normals): leaving that out would take long needs for short
ones. A stop-watch gives the minute itself.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from drybank.learn.belief import Drawn, Sold, chance, draw, share_on_dry
from drybank.learn.compare import LEVEL
from drybank.learn.use import wilson
from drybank.records.errors import InputError, NotIdentified
from drybank.records.learn import F64, LoadSeen, NeedsLearned
from drybank.records.working import Estimate, Input, Interval, Working

LEAST_LOADS: Final = 12
QUANTILES: Final = (0.1, 0.25, 0.5, 0.75, 0.9)
NODES: Final = 16
_FLOOR: Final = 1e-300


class _Seen:
    """Loads as arrays of logs: need's ends, belief's ends, and which needs are exact."""

    def __init__(self, loads: Sequence[LoadSeen]) -> None:
        def log(values: list[float]) -> F64:
            with np.errstate(divide="ignore"):
                return np.log(np.array(values, np.float64))

        self.low = log([x.need_low for x in loads])
        self.high = log([math.inf if x.need_high is None else x.need_high for x in loads])
        self.exact = np.array([x.need_high == x.need_low for x in loads])
        least = [0.0 if x.first <= x.start else x.first - x.first_step for x in loads]
        self.first_low, self.first_high = log(least), log([x.first for x in loads])
        self.bought = np.array([x.first > 0 for x in loads])
        self.sold = np.array([x.sold for x in loads], np.float64)
        gauss = np.polynomial.legendre.leggauss(NODES)
        self.nodes: F64 = np.asarray(gauss[0], np.float64)
        self.weights: F64 = np.asarray(gauss[1], np.float64)


def learn_needs(loads: Sequence[LoadSeen], *, damp_frac: float = 0.0) -> NeedsLearned:
    """Distribution of minutes needed, with 95 % intervals.

    ``damp_frac``: share of loads still damp whose owners buy no more and go (assumed). Raises `NotIdentified` with fewer than
    a dozen loads, or where none bounds the need from both sides.
    """
    _refuse(loads, damp_frac)
    seen = _Seen(loads)
    with_belief = bool(seen.bought.sum() >= LEAST_LOADS)
    theta, cov = _best(seen, _start(seen, with_belief), damp_frac)

    def log_like(many: F64, family: F64) -> F64:
        like = _likelihood(many, family, seen, damp_frac)
        return np.asarray(np.log(np.maximum(like, _FLOOR)).sum(axis=1), np.float64)

    drawn = draw(theta, cov, log_like)
    quantiles = tuple((q, _told(_at_quantile(q), theta, drawn)) for q in QUANTILES)
    middle = quantiles[QUANTILES.index(0.5)][1]
    on_dry, more = _on_dry(loads, drawn, damp_frac), _more(loads, seen)
    working = Working(
        figure="minutes needed",
        formula="log-normal need and owners' belief by maximum likelihood; intervals from draws weighed by likelihood, "
        "beliefs log-normal, even or long-tailed",
        inputs=(Input(name="loads seen", value=str(len(loads)), how="measured"),
                Input(name="timed to the minute", value=str(int(seen.exact.sum())), how="measured")),
    )  # fmt: skip
    return NeedsLearned(
        loads=len(loads), exact=int(seen.exact.sum()), quantiles=quantiles,
        mean=_told(lambda t: np.exp(t[:, 0] + 0.5 * np.exp(2 * t[:, 1])), theta, drawn, working=working),
        spread_frac=_told(lambda t: np.exp(t[:, 1]), theta, drawn, unit="fraction"),
        on_dry=on_dry, bought_more=more, says=_says(middle, quantiles, on_dry), notes=_notes(seen, damp_frac),
    )  # fmt: skip


def _refuse(loads: Sequence[LoadSeen], damp_frac: float) -> None:
    if not 0 <= damp_frac < 0.9:
        raise InputError("The share that leaves damp is out of range.", allowed="0 to 0.9")
    for x in loads:
        high = math.inf if x.need_high is None else x.need_high
        if not (
            0 <= x.need_low <= high and math.isfinite(x.need_low) and x.first >= 0 and x.first_step >= 0 and high > 0
        ):
            raise InputError(
                f"A load needed {x.need_low:g} to {high:g} minutes.", mend="Give minutes, the lower first."
            )
    if len(loads) < LEAST_LOADS:
        raise NotIdentified(f"{len(loads)} loads seen are too few; watch {LEAST_LOADS} or more.")
    if not any(x.need_high is not None and x.need_low > 0 for x in loads):
        raise NotIdentified("No load bounds the need from both sides: time some with a stop-watch, or watch top-ups.")


def _start(seen: _Seen, with_belief: bool) -> F64:
    both = np.isfinite(seen.low) & np.isfinite(seen.high)
    middle = (seen.low[both] + seen.high[both]) / 2
    mu, s = float(middle.mean()), max(float(middle.std()), 0.15)
    one = np.where(np.isfinite(seen.high), seen.high - 0.2, seen.low + 0.2)
    mu = 0.5 * mu + 0.5 * float(one.mean())
    return np.array([mu, math.log(s), 0.0, math.log(0.2)]) if with_belief else np.array([mu, math.log(s)])


def _at_quantile(q: float) -> Callable[[F64], F64]:
    """The need that a share q of loads stay under (D,), from parameters (D, p)."""
    from scipy.special import ndtri

    z = float(ndtri(q))
    return lambda t: np.asarray(np.exp(t[:, 0] + z * np.exp(t[:, 1])), np.float64)


def _bracket(n: F64, theta: F64, family: F64, seen: _Seen) -> F64:
    """Chance that an owner of need exp(n) (D, L, K) bought at first what was bought; 1 where that was not seen."""
    if theta.shape[1] < 4:
        return np.ones_like(n)
    middle, spread = theta[:, 2, None, None], np.exp(theta[:, 3])[:, None, None]
    flag = family[:, None, None]
    up, down = (chance(x[:, None] - n, middle, spread, flag) for x in (seen.first_high, seen.first_low))
    return np.asarray(np.where(seen.bought[:, None], up - down, 1.0), np.float64)


def _over(low: F64, high: F64, theta: F64, family: F64, seen: _Seen) -> F64:
    """Chance (D, L) that the need's log lies between low and high (L,) and belief made what was bought at first.

    By Gauss over the need's own scale.
    """
    from scipy.special import ndtr, ndtri

    mu, s = theta[:, :1], np.exp(theta[:, 1:2])
    a, b = ndtr((low - mu) / s), ndtr((high - mu) / s)
    u = np.clip(a[..., None] + (b - a)[..., None] * (seen.nodes + 1) / 2, 1e-15, 1 - 1e-15)
    n = np.asarray(mu[..., None] + s[..., None] * ndtri(u), np.float64)
    weight = (b - a)[..., None] / 2 * seen.weights * _bracket(n, theta, family, seen)
    return np.asarray(weight.sum(axis=2), np.float64)


def _likelihood(theta: F64, family: F64, seen: _Seen, damp: float) -> F64:
    """Likelihood of every load (D, L) under parameters (D, p)."""
    mu, s = theta[:, :1], np.exp(theta[:, 1:2])
    between = _over(seen.low, seen.high, theta, family, seen)
    if damp > 0:  # nothing more was bought: dry, or damp and gone
        none = ~np.isfinite(seen.low)
        beyond = _over(seen.high, np.full_like(seen.high, np.inf), theta, family, seen)
        between = np.where(none, between + damp * beyond, np.where(seen.exact, between, (1 - damp) * between))
    at = np.where(seen.exact, seen.low, 0.0)
    here = np.broadcast_to(at[:, None], (len(theta), at.size, 1))
    point = np.exp(-0.5 * ((at - mu) / s) ** 2) / (s * math.sqrt(2 * math.pi))
    return np.asarray(
        np.where(seen.exact, point * _bracket(here, theta, family, seen)[..., 0], between), np.float64
    )  # fmt: skip


def _best(seen: _Seen, start: F64, damp: float) -> tuple[F64, F64]:
    """The likeliest parameters, beliefs log-normal, and the covariance that the likelihood's curvature gives."""
    from scipy.optimize import minimize

    def loss(theta: F64) -> float:
        return -float(np.log(np.maximum(_likelihood(theta[None, :], np.zeros(1), seen, damp), _FLOOR)).sum())

    found = minimize(loss, start, method="BFGS", options={"gtol": 2e-2})
    theta = np.asarray(found.x, np.float64)
    cov = np.asarray(np.linalg.pinv(_curvature(loss, theta)), np.float64)
    if not (np.isfinite(theta).all() and (np.diag(cov) > 0).all()):
        raise NotIdentified("What was seen does not pin the needs down; time some loads with a stop-watch.")
    return theta, cov


def _curvature(loss: Callable[[F64], float], theta: F64, h: float = 2e-3) -> F64:
    """Second differences of the loss."""
    p = theta.size
    eye = h * np.eye(p)
    out = np.empty((p, p))
    for i in range(p):
        for j in range(i + 1):
            four = [loss(theta + a * eye[i] + b * eye[j]) for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
            out[i, j] = out[j, i] = (four[0] - four[1] - four[2] + four[3]) / (4 * h * h)
    return out


def _told(
    of: Callable[[F64], F64], theta: F64, drawn: Drawn, *, unit: str = "min", working: Working | None = None
) -> Estimate:  # fmt: skip
    """A figure at the best fit with its interval over the draws."""
    value = float(of(theta[None, :])[0])
    low, high = drawn.interval(of(drawn.theta), LEVEL)
    ends = Interval(min(low, value), max(high, value), level=LEVEL)
    return Estimate(value=value, unit=unit, interval=ends, how="learned", working=working)


def _on_dry(loads: Sequence[LoadSeen], drawn: Drawn, damp: float) -> Estimate | None:
    """Share of sold minutes on clothes that were dry, of loads sold as those watched were; the middle of its draws."""
    sold = Counter((x.start, x.first_step) for x in loads if x.first > 0 and x.first_step > 0 and x.start > 0)
    if sold.total() < LEAST_LOADS or drawn.theta.shape[1] < 4:
        return None
    dry, total = np.zeros(len(drawn.weight)), np.zeros(len(drawn.weight))
    for (start, step), n in sold.items():
        one = share_on_dry(drawn.theta, drawn.family, Sold(start, step, n), damp=damp)
        dry, total = dry + n * one[0], total + n * one[1]
    share = dry / np.maximum(total, 1e-9)
    low, high = drawn.interval(share, LEVEL)
    middle = drawn.interval(share, 0.0)[0]
    return Estimate(value=middle, unit="fraction", interval=Interval(low, high, level=LEVEL), how="learned")


def _more(loads: Sequence[LoadSeen], seen: _Seen) -> Estimate | None:
    """Share of watched loads that bought more; Wilson's interval."""
    n = int(seen.bought.sum())
    if n == 0:
        return None
    k = sum(x.first > 0 and x.sold > x.first + 1e-9 for x in loads)
    return Estimate(value=k / n, unit="fraction", interval=wilson(k, n), how="learned")


def _says(middle: Estimate, quantiles: Sequence[tuple[float, Estimate]], on_dry: Estimate | None) -> str:
    assert middle.interval is not None
    low, high = quantiles[0][1].value, quantiles[-1][1].value
    text = (
        f"Half of the loads need {middle.value:.0f} minutes or less ({middle.interval.low:.0f} to {middle.interval.high:.0f}); "
        f"four in five lie between {low:.0f} and {high:.0f}."
    )
    if on_dry is not None and on_dry.interval is not None:
        text += f" {100 * on_dry.value:.0f} % of the sold time runs on dry clothes ({100 * on_dry.interval.low:.0f} to {100 * on_dry.interval.high:.0f})."
    return text


def _notes(seen: _Seen, damp: float) -> tuple[str, ...]:
    notes = [f"Taken: {100 * damp:.0f} % of loads still damp leave without more money (assumed; ask or look)."]
    if not seen.exact.any():
        notes.append("No load was timed to the minute; a few by stop-watch narrow this most.")
    return tuple(notes)
