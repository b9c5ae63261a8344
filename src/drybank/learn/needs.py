"""Minutes of heat that loads need, from what was seen of them: a log-normal distribution by maximum likelihood.

What a watch sees is an interval: a load that was topped up needed more than it had and no more than it got; one that was not
needed at most what was bought. What was bought at first tells of the need too, because owners buy what they believe the
load needs, so need and belief are fitted together (two log-normals): leaving that out would take long needs for short
ones. A stop-watch gives the minute itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from drybank.learn.compare import LEVEL
from drybank.records.errors import InputError, NotIdentified
from drybank.records.learn import F64, LoadSeen, NeedsLearned
from drybank.records.working import Estimate, Input, Interval, Working

LEAST_LOADS: Final = 12
QUANTILES: Final = (0.1, 0.25, 0.5, 0.75, 0.9)
NODES: Final = 12
_Z: Final = 1.959963984540054
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
    start = _start(seen, with_belief)

    def loss(theta: F64) -> float:
        return -float(np.log(np.maximum(_likelihood(theta, seen, damp_frac), _FLOOR)).sum())

    theta, cov = _best(loss, start)
    mean, spread = math.exp(theta[0] + 0.5 * math.exp(2 * theta[1])), math.exp(theta[1])
    quantiles = tuple((q, _told(_at_quantile(q), theta, cov)) for q in QUANTILES)
    middle = quantiles[QUANTILES.index(0.5)][1]
    on_dry, more = _on_dry(theta, cov, seen, damp_frac), _more(loads, seen)
    working = Working(
        figure="minutes needed", formula="log-normal need and belief by maximum likelihood; intervals from its curvature",
        inputs=(Input(name="loads seen", value=str(len(loads)), how="measured"),
                Input(name="timed to the minute", value=str(int(seen.exact.sum())), how="measured")),
    )  # fmt: skip
    return NeedsLearned(
        loads=len(loads), exact=int(seen.exact.sum()), quantiles=quantiles,
        mean=_told(lambda t: t[0] + 0.5 * math.exp(2 * t[1]), theta, cov, working=working, value=mean),
        spread_frac=_told(lambda t: t[1], theta, cov, unit="fraction", value=spread),
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


def _at_quantile(q: float) -> Callable[[F64], float]:
    """ln of the need that a share q of loads stay under, from the parameters."""
    from scipy.special import ndtri

    z = float(ndtri(q))
    return lambda t: float(t[0] + z * math.exp(t[1]))


def _bracket(n: F64, theta: F64, seen: _Seen) -> F64:
    """Chance that an owner of need exp(n) (L, K) bought at first what was bought; 1 where that was not seen."""
    from scipy.special import ndtr

    if theta.size < 4:
        return np.ones_like(n)
    sb = math.exp(theta[3])
    chance = ndtr((seen.first_high[:, None] - n - theta[2]) / sb) - ndtr((seen.first_low[:, None] - n - theta[2]) / sb)
    return np.asarray(np.where(seen.bought[:, None], chance, 1.0), np.float64)


def _over(low: F64, high: F64, theta: F64, seen: _Seen) -> tuple[F64, F64]:
    """Nodes ln(need) (L, K) of an interval and their weights times belief's chance, by Gauss over the need's own scale."""
    from scipy.special import ndtr, ndtri

    s = math.exp(theta[1])
    a, b = ndtr((low - theta[0]) / s), ndtr((high - theta[0]) / s)
    u = np.clip(a[:, None] + (b - a)[:, None] * (seen.nodes + 1) / 2, 1e-15, 1 - 1e-15)
    n = np.asarray(theta[0] + s * ndtri(u), np.float64)
    weight = np.asarray((b - a)[:, None] / 2 * seen.weights * _bracket(n, theta, seen), np.float64)
    return n, weight


def _likelihood(theta: F64, seen: _Seen, damp: float) -> F64:
    s = math.exp(theta[1])
    between = _over(seen.low, seen.high, theta, seen)[1].sum(axis=1)
    if damp > 0:  # nothing more was bought: dry, or damp and gone
        none = ~np.isfinite(seen.low)
        beyond = _over(seen.high, np.full_like(seen.high, np.inf), theta, seen)[1].sum(axis=1)
        between = np.where(none, between + damp * beyond, np.where(seen.exact, between, (1 - damp) * between))
    at = np.where(seen.exact, seen.low, 0.0)
    point = (
        np.exp(-0.5 * ((at - theta[0]) / s) ** 2)
        / (s * math.sqrt(2 * math.pi))
        * _bracket(at[:, None], theta, seen)[:, 0]
    )
    return np.asarray(np.where(seen.exact, point, between), np.float64)


def _best(loss: Callable[[F64], float], start: F64) -> tuple[F64, F64]:
    from scipy.optimize import minimize

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


def _slope(of: Callable[[F64], float], theta: F64, h: float = 1e-4) -> F64:
    eye = h * np.eye(theta.size)
    return np.array([(of(theta + e) - of(theta - e)) / (2 * h) for e in eye])


def _told(
    of_log: Callable[[F64], float], theta: F64, cov: F64, *, unit: str = "min", working: Working | None = None,
    value: float | None = None,
) -> Estimate:  # fmt: skip
    """exp of a function of the parameters, interval on the log scale."""
    middle, slope = of_log(theta), _slope(of_log, theta)
    half = _Z * math.sqrt(float(slope @ cov @ slope))
    ends = Interval(math.exp(middle - half), math.exp(middle + half), level=LEVEL)
    return Estimate(
        value=math.exp(middle) if value is None else value, unit=unit, interval=ends, how="learned", working=working
    )


def _share_over(theta: F64, seen: _Seen, damp: float) -> F64:
    """Expected minutes of each load that ran dry, given what was seen of it. (L,)"""
    n, weight = _over(seen.low, seen.high, theta, seen)
    top = (weight * np.maximum(seen.sold[:, None] - np.exp(n), 0.0)).sum(axis=1)
    total = weight.sum(axis=1)
    if damp > 0:
        gone = damp * _over(seen.high, np.full_like(seen.high, np.inf), theta, seen)[1].sum(axis=1)
        total = total + np.where(np.isfinite(seen.low), 0.0, gone)
    exact = np.maximum(seen.sold - np.exp(np.where(seen.exact, seen.low, 0.0)), 0.0)
    return np.asarray(np.where(seen.exact, exact, top / np.maximum(total, _FLOOR)), np.float64)


def _on_dry(theta: F64, cov: F64, seen: _Seen, damp: float) -> Estimate | None:
    """Share of sold minutes on clothes that were dry: a ratio over the loads, chance of loads and of the fit together."""
    mine = seen.sold > 0
    if mine.sum() < LEAST_LOADS:
        return None
    sold = seen.sold[mine]

    def share(t: F64) -> float:
        return float(_share_over(t, seen, damp)[mine].sum() / sold.sum())

    value, slope = share(theta), _slope(share, theta)
    rest = np.where(mine, _share_over(theta, seen, damp) - value * seen.sold, 0.0) / sold.sum()
    pull = rest + _scores(theta, seen, damp) @ cov @ slope  # what each load does to the share, through the fit as well
    n = pull.size
    variance = float((pull**2).sum()) * n / (n - 1)
    if value <= 0:
        return None
    half = _Z * math.sqrt(variance) / value  # on the log scale: a small share is skewed
    ends = Interval(value * math.exp(-half), min(1.0, value * math.exp(half)))
    return Estimate(value=value, unit="fraction", interval=ends, how="learned")


def _scores(theta: F64, seen: _Seen, damp: float, h: float = 1e-4) -> F64:
    """Slope of each load's log likelihood in the parameters. (L, p)"""
    eye = h * np.eye(theta.size)

    def log_of(t: F64) -> F64:
        return np.log(np.maximum(_likelihood(t, seen, damp), _FLOOR))

    return np.stack([(log_of(theta + e) - log_of(theta - e)) / (2 * h) for e in eye], axis=1)


def _more(loads: Sequence[LoadSeen], seen: _Seen) -> Estimate | None:
    """Share of watched loads that bought more; Wilson's interval."""
    n = int(seen.bought.sum())
    if n == 0:
        return None
    k = sum(x.first > 0 and x.sold > x.first + 1e-9 for x in loads)
    p, z2 = k / n, _Z**2
    middle, half = (p + z2 / (2 * n)) / (1 + z2 / n), _Z * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return Estimate(value=p, unit="fraction", interval=Interval(middle - half, middle + half), how="learned")


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
    notes.append(
        "Intervals hold where owners' beliefs scatter as a log-normal does; otherwise, and for the share on dry clothes, they "
        "are too narrow by a tenth or two."
    )
    if not seen.exact.any():
        notes.append("No load was timed to the minute; a few by stop-watch narrow this most.")
    return tuple(notes)
