"""What the next reading should be, from a device's own past and the fleet's restlessness."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import median

import numpy as np

from drybank.balance.statistics.growth import REACH, Floats, spread_sd

HISTORY = 8  # increments that the centre rests on
FLEET_DF = 8.0  # degrees of freedom that the fleet's spread counts for; a choice
FLEET_SD = 0.22  # week-to-week sd of ln(increment) when no fleet is known; an assumption
NEWCOMER_SD = 0.45  # spread of trade between pockets, when a device has no past; an assumption
LEVEL = 0.998
STEPS_A_LOAD = 4.0  # pieces, or tenths of an hour, that come with one load; an assumption
USUAL_STEPS = 200.0  # pieces a week from which the fleet's spread stands for itself; an assumption


@dataclass(frozen=True)
class Expected:
    """Predictive distribution of the next increment: ln increment ~ t(df) about ``centre`` with ``scale``."""

    centre: float
    scale: float
    df: float

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Lowest and highest increment at a level; for the desk and the owner, never for who reads."""
        reach = _reach(self.df, level) * self.scale
        return float(np.exp(self.centre - reach)), float(np.exp(self.centre + reach))

    def log_density(self, increment: Floats | float) -> Floats:
        """Log chance of a whole-number increment; of less than one piece, as of half a piece."""
        from scipy.special import gammaln

        x = np.maximum(np.asarray(increment, float), 0.5)
        t = (np.log(x) - self.centre) / self.scale
        nu = self.df
        norm = gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(nu * np.pi) - np.log(self.scale)
        out = norm - 0.5 * (nu + 1) * np.log1p(t * t / nu) - np.log(x)
        return np.asarray(np.where(np.asarray(increment) < 0, -np.inf, out))


@cache
def _reach(df: float, level: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.5 + 0.5 * level))


def fleet_restlessness(increments: Floats) -> float:
    """Standard deviation of one ln(increment), from week-to-week changes over a fleet (device, week)."""
    good = np.maximum(increments, 0.5)
    steps = np.diff(np.log(good), axis=1).ravel()
    steps = steps[np.isfinite(steps)]
    return spread_sd(steps) / float(np.sqrt(2.0)) if steps.size >= 8 else FLEET_SD


def few_loads(steps: float) -> float:
    """Variance of ln(increment) that a fleet's spread does not know of: steps come in loads, and a quiet device has few.

    A load brings about `STEPS_A_LOAD` steps at once, so ``steps`` of them vary like steps / STEPS_A_LOAD loads would
    (Poisson). The fleet's own spread already holds that of a usual week, from which on nothing is added.
    """
    return STEPS_A_LOAD * max(0.0, 1.0 / max(steps, 0.5) - 1.0 / USUAL_STEPS)


def expect_next(
    increments: Floats,
    days: Floats,
    days_next: float,
    *,
    fleet_sd: float = FLEET_SD,
    fleet_rate_day: float | None = None,
) -> Expected:
    """Expected increment over the next ``days_next`` days.

    Parameters
    ----------
    increments, days : array
        Past increments, oldest first, and the days each took.
    fleet_rate_day : float, optional
        Median increment per day of the siblings, used while the device has no past.

    Notes
    -----
    ln rate ~ t(d0 + n - 1) about the median of the last 8; the scale pools the device's own spread with
    the fleet's and widens for the centre's own error. Intervals other than a week scale the spread
    as the square root of their length, as Poisson loads would.
    """
    x, d = np.asarray(increments, float)[-HISTORY:], np.asarray(days, float)[-HISTORY:]
    good = (d > 0) & (x >= 0)
    x, d = x[good], d[good]
    span = max(days_next, 0.25)
    stretch = float(np.sqrt(max(1.0, 7.0 / span)))
    if x.size == 0:
        rate = fleet_rate_day if fleet_rate_day else 1.0
        wide = float(np.hypot(NEWCOMER_SD, fleet_sd * stretch)) if fleet_rate_day else 3.0
        return Expected(float(np.log(rate * span)), wide, FLEET_DF)
    rates = np.log(np.maximum(x, 0.5) / d)
    n = x.size
    # a spread by ranks rather than squares, so that an odd week past does not blind the check
    own = spread_sd(rates) ** 2 if n >= 4 else (float(np.var(rates, ddof=1)) if n > 1 else fleet_sd**2)
    df = FLEET_DF + n - 1
    pooled = (FLEET_DF * fleet_sd**2 + (n - 1) * own) / df * (1.0 + 1.57 / n)
    centre = float(np.median(rates) + np.log(span))
    return Expected(centre, float(np.sqrt(pooled * stretch**2 + few_loads(float(np.exp(centre))))), df)


_CLEAR = 1e-6  # an increment this near to an end of the quick interval is looked at exactly
_LEAST_QUICK = 4


def is_clearly_usual(
    step: float, past: Sequence[float], days: Sequence[float], days_next: float, *, fleet_sd: float = FLEET_SD
) -> bool:
    """Whether an increment lies well inside the interval of `expect_next`, worked out in plain numbers.

    True only where the exact interval (widened by one step) holds it too; False says nothing. It spares the exact form for
    nearly all readings.
    """
    both = [(x, d) for x, d in zip(past[-HISTORY:], days[-HISTORY:], strict=True) if d > 0 and x >= 0]
    n = len(both)
    if n < _LEAST_QUICK:
        return False
    rates = [math.log(max(x, 0.5) / d) for x, d in both]
    df = FLEET_DF + n - 1
    pooled = (FLEET_DF * fleet_sd**2 + (n - 1) * _plain_spread(rates) ** 2) / df * (1.0 + 1.57 / n)
    span = max(days_next, 0.25)
    centre = median(rates) + math.log(span)
    reach = _reach(df, LEVEL) * math.sqrt(pooled * max(1.0, 7.0 / span) + few_loads(math.exp(centre))) * (1.0 - _CLEAR)
    return math.exp(centre - reach) - 1.0 <= step <= math.exp(centre + reach) + 1.0


def _plain_spread(values: Sequence[float]) -> float:
    """`drybank.balance.statistics.growth.spread_sd` of a few values, without arrays."""
    middle = median(values)
    near = median(abs(v - middle) for v in values)
    if near <= 0.0:
        near = sum(abs(v - middle) for v in values) / len(values) / 1.2
    if near <= 0.0:
        return 0.0
    weights = [(1.0 - min(((v - middle) / (REACH * near)) ** 2, 1.0)) ** 2 for v in values]
    middle = sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)
    top = scale = 0.0
    for v in values:
        u2 = min(((v - middle) / (REACH * near)) ** 2, 1.0)
        top += (v - middle) ** 2 * (1.0 - u2) ** 4
        scale += (1.0 - u2) * (1.0 - 5.0 * u2) if u2 < 1.0 else 0.0
    return math.sqrt(top / (scale**2 / len(values)))
