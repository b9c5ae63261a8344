"""A field test's result in a person's figures: the verdict, each judgement with its margin and source, what was assumed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

if TYPE_CHECKING:
    from drybank.desk.proof import Proven
    from drybank.records.proof import Judgement
    from drybank.records.working import Estimate


class JudgedSaid(msgspec.Struct, frozen=True, kw_only=True):
    """One judgement: what it is of, its verdict, how far inside or outside, why, and by which tolerance."""

    name: str
    verdict: str
    margin: str
    saw: str
    because: str
    tolerance: str


class Result(msgspec.Struct, frozen=True, kw_only=True):
    """What a page shows of a field test."""

    verdict: str
    judged: tuple[JudgedSaid, ...]
    figures: tuple[tuple[str, str], ...]


def result_said(proven: Proven) -> Result:
    """The result's judgements and figures in words."""
    result = proven.result
    return Result(
        verdict=result.verdict, judged=tuple(_judged(j) for j in result.judgements),
        figures=tuple((f.name, figure_said(f.estimate)) for f in result.figures),
    )  # fmt: skip


def _judged(one: Judgement) -> JudgedSaid:
    margin = "" if one.margin is None else margin_said(one.margin, one.measured.unit if one.measured else "")
    return JudgedSaid(
        name=one.name, verdict=one.verdict, margin=margin, saw=one.saw, because=one.because,
        tolerance=one.tolerance.shown() if one.tolerance is not None else "",
    )  # fmt: skip


def margin_said(margin: float, unit: str) -> str:
    """How far inside or outside its limit, in the value's own unit; large powers in kW."""
    size, unit = (abs(margin) / 1000, "kW") if unit == "W" and abs(margin) >= 1000 else (abs(margin), unit)
    return f"{size:.3g} {unit}".rstrip() + (" inside its limit" if margin >= 0 else " outside its limit")


def figure_said(estimate: Estimate) -> str:
    """An estimate with its interval."""
    text = f"{estimate.value:.4g} {estimate.unit}".rstrip()
    if estimate.interval is not None:
        text += f" ({estimate.interval.low:.4g} to {estimate.interval.high:.4g})"
    return text
