"""An assumed range after something was seen: prior times likelihood, both shown.

The range that a plan assumes is read as belief: its ends hold nine tenths of a log-normal about its value. What was seen is an
effect with its standard error and degrees of freedom; how likely each value of the unknown made it is Student's t.
What comes out is again a range that holds nine tenths of belief. It is never a sampling interval.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np

from drybank.records.errors import InputError
from drybank.records.learn import F64, Narrowed
from drybank.records.plan import Ranged
from drybank.records.working import Input, Working

Z90: Final = 1.6448536269514722
POINTS: Final = 401
REACH: Final = 4.0
"""Standard deviations of the prior that are looked at."""


def prior_of(ranged: Ranged) -> tuple[float, float]:
    """Mean and spread of ln(value) that put a twentieth of belief beyond each end of the range."""
    if not 0 < ranged.low < ranged.high:
        raise InputError("A range that is to be narrowed needs a low above zero and a higher high.", where="learn")
    low, high = math.log(ranged.low), math.log(ranged.high)
    return (low + high) / 2, (high - low) / (2 * Z90)


class Effect(NamedTuple):
    """A log effect that was seen, its standard error, and the degrees of freedom of that."""

    log: float
    se: float
    df: float


def narrow(
    name: str,
    prior: Ranged,
    expected: Callable[[F64], F64],
    effect: Effect,
    *,
    model_se: Callable[[F64], F64] | None = None,
    unit: str = "",
    seen: str = "",
) -> Narrowed:
    """Narrow an assumed range by an effect that was seen.

    ``expected`` gives the log effect that each value of the unknown would bring, ``model_se`` how far that may be off
    itself; ``effect`` came out. Raises `InputError` where the range or the standard error cannot be.
    """
    if not (math.isfinite(effect.log) and effect.se > 0 and effect.df > 0):
        raise InputError("What was seen has no standard error, so nothing can be learned from it.", where="learn")
    middle, spread = prior_of(prior)
    x = np.linspace(middle - REACH * spread, middle + REACH * spread, POINTS)
    rough = np.zeros(POINTS) if model_se is None else np.asarray(model_se(np.exp(x)), dtype=np.float64)
    scale = np.sqrt(effect.se**2 + rough**2)
    off = (effect.log - np.asarray(expected(np.exp(x)), dtype=np.float64)) / scale
    log_like = -0.5 * (effect.df + 1) * np.log1p(off**2 / effect.df) - np.log(scale)
    log_post = log_like - 0.5 * ((x - middle) / spread) ** 2
    weight = np.exp(log_post - log_post.max())
    run = np.cumsum(weight) - 0.5 * weight
    low, value, high = (float(np.exp(np.interp(q, run / weight.sum(), x))) for q in (0.05, 0.5, 0.95))
    width = 100 * (1 - math.log(high / low) / math.log(prior.high / prior.low))
    says = (
        f"{name.capitalize()} was taken as {prior.low:.0f} to {prior.high:.0f} {unit}; after what was seen, "
        f"{low:.0f} to {high:.0f} {unit} ({width:.0f} % narrower)."
    )
    working = Working(
        figure=name,
        formula="belief before (log-normal, ends of the range at a twentieth each) times Student's t of what was seen",
        inputs=(
            Input(name="range before", value=f"{prior.low:.4g} to {prior.high:.4g}", unit=unit, how="assumed", source=prior.source),
            Input(name="effect seen", value=f"{100 * math.expm1(effect.log):+.1f} %", how="computed", source=seen),
            Input(name="its standard error, ln", value=f"{effect.se:.3g} with {effect.df:.3g} degrees"),
        ),
    )  # fmt: skip
    return Narrowed(
        name=name, unit=unit, prior_low=prior.low, prior=prior.value, prior_high=prior.high, low=low, value=value,
        high=high, seen=seen, says=says, working=working,
    )  # fmt: skip


def as_ranged(narrowed: Narrowed, source: str) -> Ranged:
    """The narrowed range as a plan takes it, said to be learned."""
    return Ranged(value=narrowed.value, low=narrowed.low, high=narrowed.high, how="learned", source=source)
