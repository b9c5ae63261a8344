"""A field test's result as findings, and as the words that go into the book."""

from __future__ import annotations

from typing import Final

from drybank.records.entry import Proved
from drybank.records.finding import Cause, Finding, Weight
from drybank.records.proof import Judgement, ProofKind, ProofResult

_WEIGHT: Final[dict[ProofKind, Weight]] = {
    "time sold": "money",
    "exhaust temperature": "danger",
    "gas input": "danger",
    "make-up air": "danger",
    "exhaust duct": "danger",
    "exhaust pressure": "danger",
    "exhaust flow": "danger",
    "lint": "danger",
    "supply voltage": "danger",
    "motor current": "danger",
    "price sign": "money",
    "scale": "money",
}
# Order of likely causes: common practice, no source; no chance is claimed.
_CAUSES: Final[dict[ProofKind, tuple[str, ...]]] = {
    "time sold": (
        "a setting differs from the sheet",
        "the control's clock is off",
        "a coin was missed or counted twice",
    ),
    "exhaust temperature": ("the heat is set too high", "the sensor is off", "too little air"),
    "gas input": ("gas pressure", "a dirty or wrong orifice", "another appliance on the meter"),
    "make-up air": ("the opening is too small", "the louvre is closed or full of lint"),
    "exhaust duct": ("the duct is too long or narrow", "too many elbows"),
    "exhaust pressure": ("lint in screen or duct", "a stuck outlet flap", "a crushed duct"),
    "supply voltage": ("a loaded or long circuit", "a loose connection", "the utility's supply"),
    "motor current": ("a tight belt or worn bearing", "a dragging drum"),
    "price sign": ("the sign is older than the settings", "a setting was changed without a new sign"),
    "scale": ("the scale needs adjusting",),
}


def findings(result: ProofResult) -> tuple[Finding, ...]:
    """One finding for each judgement that failed; nothing for "cannot tell" or "no tolerance"."""
    return tuple(_finding(result, j) for j in result.judgements if j.verdict == "fail")


def _finding(result: ProofResult, judged: Judgement) -> Finding:
    causes = tuple(Cause(name=name, chance=None) for name in _CAUSES.get(result.kind, ()))
    is_set_only = judged.name == "heat against its setting"
    return Finding(
        key=f"proof/{result.kind}/{result.subject}/{judged.name}",
        room="proof",
        name=judged.name,
        where=result.subject,
        says=result.says,
        weight="money" if is_set_only else _WEIGHT[result.kind],
        size=judged.measured,
        certainty="sure to 97.5 %: the whole interval of the measurement lies beyond the limit"
        if judged.measured is not None
        else "seen",
        causes=causes,
        next_check=result.next_step,
        working=result.workings[0] if result.workings else None,
    )


def as_entry(result: ProofResult, *, at: str, test: str = "") -> Proved:
    """The body of a book entry: every measured value, the verdict, the smallest margin, the tolerance's line."""
    worst = min((j for j in result.judgements if j.margin is not None), key=lambda j: j.margin or 0.0, default=None)
    measured: dict[str, float | str] = {}
    for j in result.judgements:
        if j.measured is not None:
            measured[j.name] = j.measured.value
            measured[f"{j.name}, give or take"] = j.plus_minus
        else:
            measured[j.name] = j.saw
    measured |= {f.name: f.estimate.value for f in result.figures}
    shown = [j.tolerance.shown() for j in result.judgements if j.tolerance is not None]
    units = {j.measured.unit for j in result.judgements if j.measured is not None}
    return Proved(
        test=test or result.kind,
        at=at,
        measured=measured,
        unit=units.pop() if len(units) == 1 else "",
        verdict=result.verdict,
        margin=None if worst is None else worst.margin,
        tolerance="; ".join(dict.fromkeys(shown)),
        instrument=", ".join(result.conduct.instruments),
        minutes_taken=result.conduct.minutes,
        is_shop_open=result.conduct.shop_open,
    )
