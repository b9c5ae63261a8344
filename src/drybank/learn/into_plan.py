"""Learned figures laid into a plan's inputs: walk-away price, minutes needed, fuel of an hour; each said to be learned."""

from __future__ import annotations

import math
from typing import Final

import msgspec
import numpy as np

from drybank.learn.narrow import Effect, narrow
from drybank.records.errors import InputError
from drybank.records.plan import PlanInputs, Ranged

WALK_ASSUMED: Final = "walk-away price of a normal load"
Z95: Final = 1.959963984540054
WATCHED_DF: Final = 30.0
"""Degrees that a watched median is given: its interval is of large samples (a dozen loads or more)."""


def with_walk_away(inputs: PlanInputs, walk: Ranged) -> PlanInputs:
    """The learned range of walk-away prices in place of the assumed or given one; its assumption leaves the list."""
    answer = msgspec.structs.replace(inputs.price_answer, walk_away_minor=walk, source=walk.source)
    left = tuple(a for a in inputs.assumptions if a.name != WALK_ASSUMED)
    return msgspec.structs.replace(inputs, price_answer=answer, assumptions=left)


def with_needs(inputs: PlanInputs, *, planned_min: float, median: Ranged, source: str) -> PlanInputs:
    """Needs moved by what watches say of their median, as far as the plan's own range of needs gives way.

    ``planned_min`` is the median minutes of the plan's loads at today's heats; ``median`` the learned one with its 95 % ends.
    """
    loads = inputs.loads
    if not (planned_min > 0 and 0 < median.low < median.high):
        raise InputError("A learned median of minutes wants its two ends, above zero.", where="learn")
    prior = Ranged(value=1.0, low=loads.need_low_frac, high=max(loads.need_high_frac, 1.001 * loads.need_low_frac))
    se = math.log(median.high / median.low) / (2 * Z95)
    seen = narrow("minutes needed", prior, np.log, Effect(math.log(median.value / planned_min), se, WATCHED_DF))
    f = seen.value
    moved = msgspec.structs.replace(
        loads, need_s=loads.need_s * f, fuel_j=loads.fuel_j * f, normal_need_s=loads.normal_need_s * f,
        normal_fuel_j=loads.normal_fuel_j * f, need_low_frac=seen.low / f, need_high_frac=seen.high / f, how="learned",
        source=f"{loads.source}; {source}",
    )  # fmt: skip
    return msgspec.structs.replace(inputs, loads=moved)


def with_fuel(inputs: PlanInputs, *, factor: Ranged, source: str) -> PlanInputs:
    """Fuel of every load moved by the bills' fuel of an hour over the plan's own; the price's range stays as it was."""
    if not 0.1 <= factor.value <= 10:
        raise InputError(
            f"Bills burn {factor.value:.3g} times what the drying runs say.", allowed="0.1 to 10 times",
            mend="Check the bills' unit, and what else is on the meter.",
        )  # fmt: skip
    loads, f = inputs.loads, factor.value
    moved = msgspec.structs.replace(
        loads, fuel_j=loads.fuel_j * f, fuel_over_w=loads.fuel_over_w * f, normal_fuel_j=loads.normal_fuel_j * f,
        source=f"{loads.source}; fuel {100 * (f - 1):+.0f} %, {source}",
    )  # fmt: skip
    return msgspec.structs.replace(inputs, loads=moved)


def ranged_of(value: float, low: float | None, high: float | None, source: str) -> Ranged | None:
    """A kept value as a learned range; None where its ends are not on file or out of order."""
    if low is None or high is None or not 0 < low <= value <= high:
        return None
    return Ranged(value=value, low=low, high=high, how="learned", source=source)
