"""Which minutes per coin a pocket seems set to, and whether it runs free or sells wrong minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drybank.balance.statistics.growth import Floats, Growth

STEP_MINUTES = 0.5
HALF_MINUTE_ODDS = 0.2  # prior odds of a half-minute value against a whole one; a choice
LASTING_SPREAD = 0.02  # lasting spread of the run fraction from its siblings' median; a choice
_ROUNDING = 0.41  # sd of the difference of two readings rounded down, in steps: sqrt(1/6)


@dataclass(frozen=True)
class MinutesSeen:
    """Posterior over minutes per coin of one pocket. ``values`` in minutes, ``chance`` sums to one."""

    estimate: float
    sd: float
    values: Floats
    chance: Floats

    @property
    def likeliest(self) -> float:
        return float(self.values[int(np.argmax(self.chance))])

    def chance_of(self, minutes: float) -> float:
        """Posterior of one value; 0 where it is not on the lattice."""
        at = np.flatnonzero(np.abs(self.values - minutes) < 1e-9)
        return float(self.chance[at[0]]) if at.size else 0.0


def minutes_per_coin(
    hours: float,
    coins: float,
    run_frac: float,
    *,
    meter_step_h: float,
    growth: Growth | None = None,
    lattice: Floats | None = None,
) -> MinutesSeen:
    """Posterior over minutes per coin from hours run and coins counted.

    Parameters
    ----------
    hours, coins : float
        Run and counted between two readings (> 0).
    run_frac : float
        Siblings' median of hours run over hours sold.
    meter_step_h : float
        Step of the meter. [h]
    growth : Growth, optional
        Its ``a`` is the fresh noise of hours per coin.
    lattice : array, optional
        Minutes that the control can be set to; half minutes up to 60 otherwise. [min]
    """
    values = np.asarray(np.arange(1, 121) * STEP_MINUTES if lattice is None else lattice, np.float64)
    estimate = max(60.0 * hours / max(coins, 1.0) / max(run_frac, 1e-3), 1e-3)  # nothing run is nearly nothing
    fresh = 0.0 if growth is None else growth.a / max(coins, 1.0)
    sd = np.sqrt(estimate**2 * (LASTING_SPREAD**2 + fresh) + (60.0 * _ROUNDING * meter_step_h / max(coins, 1.0)) ** 2)
    odds = np.where(np.abs(values - np.rint(values)) < 1e-9, 1.0, HALF_MINUTE_ODDS)
    # the spread belongs to the value supposed true, not to the estimate: relative part scales with it
    wide = np.maximum(sd * values / estimate, 1e-9)
    log = np.log(odds) - 0.5 * ((estimate - values) / wide) ** 2 - np.log(wide)
    chance = np.exp(log - log.max())
    return MinutesSeen(estimate=estimate, sd=float(sd), values=values, chance=chance / chance.sum())


def free_against_minutes(hours: Floats, coins: Floats, usual: Floats, growth: Growth) -> Floats:
    """Log likelihood of a constant excess of hours against one in proportion to the coins, per pocket.

    Above zero: constant, so running free or unlogged service runs. Below: in proportion, so a wrong time
    per coin. ``hours`` and ``coins`` (pocket, week); ``usual`` hours per coin before (pocket,).
    """
    expected = usual[:, None] * coins
    excess = hours - expected
    weight = 1.0 / np.maximum(expected**2 * growth.variance(np.maximum(coins, 1.0)), 1e-9)
    constant = np.sum(weight * excess, axis=1) / np.maximum(np.sum(weight, axis=1), 1e-12)
    slope = np.sum(weight * excess * coins, axis=1) / np.maximum(np.sum(weight * coins**2, axis=1), 1e-12)
    left_constant = np.sum(weight * (excess - constant[:, None]) ** 2, axis=1)
    left_slope = np.sum(weight * (excess - slope[:, None] * coins) ** 2, axis=1)
    return np.asarray(0.5 * (left_slope - left_constant))
