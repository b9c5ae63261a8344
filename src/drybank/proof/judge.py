"""Guard-banded judgement: pass, fail or cannot tell.

A value passes when even the far end of its 95 % interval lies inside the limit, fails
when even the near end lies outside, and is undecided between. So a value that truly
breaks a limit passes with a chance of at most 2.5 %, and one that truly keeps it fails
with at most 2.5 % (the rule of JCGM 106:2012, 8.3, with a guard band of one expanded
uncertainty; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from drybank.records.errors import InputError
from drybank.records.proof import Judgement, Measured, Tolerance, Verdict
from drybank.records.working import Estimate, Interval

_ORDER: dict[Verdict, int] = {"fail": 3, "cannot tell": 2, "pass": 1, "no tolerance": 0}


def within(name: str, value: float, low: float, high: float, unit: str, slip: str = "") -> None:
    """Refuse a value outside what can be, in a plain sentence with the likely slip."""
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(f"{name} is {value:g} {unit}.", allowed=f"{low:g} to {high:g} {unit}", mend=slip)


def combine(*parts: float) -> float:
    """Root of the sum of squares of independent expanded uncertainties, all in one unit."""
    return math.hypot(*parts) if parts else 0.0


def _against(value: float, plus_minus: float, low: float | None, high: float | None) -> Verdict:
    """The guard-banded verdict; touching a limit exactly keeps it."""
    if low is None and high is None:
        return "no tolerance"
    lo = -math.inf if low is None else low
    hi = math.inf if high is None else high
    if value + plus_minus < lo or value - plus_minus > hi:
        return "fail"
    if value - plus_minus >= lo and value + plus_minus <= hi:
        return "pass"
    return "cannot tell"


def _margin(value: float, low: float | None, high: float | None) -> float | None:
    sides = ([] if low is None else [value - low]) + ([] if high is None else [high - value])
    return min(sides) if sides else None


def _because(ends: list[Verdict], verdict: Verdict, plus_minus: float, unit: str) -> str:
    if len(set(ends)) > 1:
        return "What had to be assumed decides it: the ends of the assumed range give different verdicts."
    if verdict == "cannot tell":
        return f"The limit lies within the {plus_minus:.3g} {unit} that the measurement leaves open."
    if verdict == "no tolerance":
        return "No tolerance is on file; enter one with its source to have this judged."
    return ""


def judge(
    name: str,
    measured: Measured,
    tolerance: Tolerance | None,
    *,
    nominal: float = 0.0,
    assumed: Interval | None = None,
) -> Judgement:
    """Hold a measured value against a tolerance about a nominal.

    ``assumed`` is the range that the value would take over what had to be assumed; it is
    kept apart from the instrument's uncertainty. If the verdict is not the same at both of
    its ends, the verdict is "cannot tell".
    """
    low, high = (None, None) if tolerance is None else tolerance.limits(nominal)
    spots = [measured.value] if assumed is None else [measured.value, assumed.low, assumed.high]
    ends = [_against(v, measured.plus_minus, low, high) for v in spots]
    verdict = ends[0] if len(set(ends)) == 1 else "cannot tell"
    return Judgement(
        name=name,
        verdict=verdict,
        measured=Estimate(
            value=measured.value,
            unit=measured.unit,
            interval=measured.interval() if measured.plus_minus else None,
            assumption=assumed,
            how="measured",
        ),
        nominal=nominal,
        low=low,
        high=high,
        margin=_margin(measured.value, low, high),
        plus_minus=measured.plus_minus,
        tolerance=tolerance,
        because=_because(ends, verdict, measured.plus_minus, measured.unit),
    )


def looked(name: str, *, holds: bool, saw: str, tolerance: Tolerance | None = None) -> Judgement:
    """A look that either holds or does not."""
    return Judgement(name=name, verdict="pass" if holds else "fail", saw=saw, tolerance=tolerance)


def overall(judgements: Iterable[Judgement]) -> Verdict:
    """Fail before cannot tell before pass; "no tolerance" only where nothing was judged."""
    return max((j.verdict for j in judgements), key=_ORDER.__getitem__, default="no tolerance")
