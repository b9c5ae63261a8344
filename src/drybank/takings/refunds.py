"""Refunds and complaints: counted against the pocket, compared with the store's own rate."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from drybank.records.entry import Claimed, Refunded
from drybank.records.finding import Cause, Finding
from drybank.records.takings import Line
from drybank.records.working import Estimate, Input, Working

LEAST_CLAIMS = 3
FALSE_SHARE = 0.10


def per_pocket(lines: Sequence[Line]) -> Counter[str]:
    """Complaints per pocket: every claim, and every refund that answers no claim (so that none is counted twice)."""
    return Counter(
        line.body.pocket
        for line in lines
        if isinstance(line.body, Claimed) or (isinstance(line.body, Refunded) and not line.body.claim)
    )


def clusters(lines: Sequence[Line], use: Mapping[str, float]) -> tuple[Finding, ...]:
    """Pockets with more complaints than their share of the use explains.

    ``use`` is each pocket's use over the same days (hours or starts, any one unit, positive somewhere). Given all the
    complaints, one pocket's number is binomial with its share of the use; the one-sided chances of all pockets go through
    Benjamini-Hochberg at 10 %, and a pocket is named from three complaints on.
    """
    from scipy.stats import binom, false_discovery_control

    counts = per_pocket(lines)
    whole, everything = sum(counts.values()), sum(use.values())
    if not whole or everything <= 0:
        return ()
    pockets = sorted(use)
    chance = [float(binom.sf(counts[p] - 1, whole, use[p] / everything)) for p in pockets]
    adjusted = false_discovery_control(chance)
    return tuple(
        _finding(p, counts[p], whole * use[p] / everything, float(q))
        for p, q in zip(pockets, adjusted, strict=True)
        if q <= FALSE_SHARE and counts[p] >= LEAST_CLAIMS
    )


def _finding(pocket: str, count: int, expected: float, chance: float) -> Finding:
    return Finding(
        key=f"takings:refunds:{pocket}", room="takings", name="many complaints", where=pocket, weight="money",
        says=f"Pocket {pocket} had {count} complaints; its share of the use would bring about {expected:.1f}.",
        size=Estimate(value=float(count), unit="complaints", how="measured"),
        certainty=f"chance by luck after looking at every pocket: {chance:.2g}",
        causes=(
            Cause(name="sells short minutes", chance=None, evidence=("customers say so; a stop-watch tells",)),
            Cause(name="coin path jams or swallows", chance=None, evidence=("coins against the counter tell",)),
            Cause(name="does not heat or starves for air", chance=None, evidence=("a thermometer in the exhaust tells",)),
        ),
        next_check="Stop-watch one start, then put a thermometer in the exhaust.",
        working=Working(
            figure="complaints expected here", formula="all complaints x this pocket's share of the use",
            inputs=(Input(name="complaints on this pocket", value=str(count)), Input(name="expected", value=f"{expected:.2f}")),
            source="binomial tail, Benjamini-Hochberg 1995 at 10 %",
        ),
    )  # fmt: skip


def rate_change(refunds_now: int, use_now: float, refunds_before: int, use_before: float) -> float:
    """Chance that so many refunds (or more) fall into the later span if the rate had not changed.

    Both Poisson with one rate: given their sum, the later is binomial with its share of the use (Przyborowski and
    Wilenski 1940, from memory). 1 where either span had no use.
    """
    from scipy.stats import binom

    if use_now <= 0 or use_before <= 0:
        return 1.0
    return float(binom.sf(refunds_now - 1, refunds_now + refunds_before, use_now / (use_now + use_before)))
