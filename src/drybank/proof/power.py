"""Electricity: supply voltage against the plate, unbalance of three phases, motor current."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from drybank.proof.judge import judge, overall, within
from drybank.proof.standing import CAUTIONS, MOTOR_VOLTAGE, VOLTAGE_UNBALANCE
from drybank.records.errors import InputError
from drybank.records.proof import Conduct, Figure, Judgement, Measured, ProofResult, Tolerance, Verdict
from drybank.records.working import Estimate, Input, Working

_NEAR: Final = 0.15


def _slip(reading_v: float, plate_v: float) -> str:
    """The likely slip behind a voltage that cannot be this plate's supply."""
    near = {
        10.0: "Is a digit missing?",
        0.1: "Is there a digit too many?",
        math.sqrt(3): "Was it read from phase to neutral?",
        1 / math.sqrt(3): "Was it read between phases, where the plate means phase to neutral?",
        2.0: "Was one leg read to neutral?",
        0.5: "Were two legs read across, where the plate means one?",
        1000.0: "Was kV entered?",
    }
    for factor, words in near.items():
        if abs(reading_v * factor / plate_v - 1) <= _NEAR / 2:
            return words
    if 0.4 <= 10 * reading_v / plate_v <= 1.4:
        return "Is a digit missing?"
    return "Check the plate and the meter's range. A leg that is truly dead is for an electrician, at once."


def _check(reading: Measured, plate_v: float) -> None:
    within("The plate voltage", plate_v, 90, 700, "V", "Read it off the rating plate.")
    share = reading.value / plate_v
    if not 0.6 <= share <= 1.4:
        raise InputError(
            f"{reading.value:g} V is not the supply of a machine with {plate_v:g} V on its plate.",
            where="voltage",
            allowed=f"{0.6 * plate_v:.0f} to {1.4 * plate_v:.0f} V",
            mend=_slip(reading.value, plate_v),
        )


def unbalance_pct(volts: Sequence[float]) -> float:
    """Largest distance of a phase from the mean of the three, in percent of the mean."""
    if len(volts) != 3 or min(volts) <= 0:
        raise InputError("Unbalance needs three voltages above zero.")
    mean = sum(volts) / 3
    return 100 * max(abs(v - mean) for v in volts) / mean


def _unbalance(readings: Sequence[Measured], rule: Tolerance | None) -> Judgement:
    """First order: the worst phase moves by its own error less the mean's, two thirds in common."""
    volts = [r.value for r in readings]
    give = 100 * max(r.plus_minus for r in readings) * math.sqrt(2 / 3) / (sum(volts) / 3)
    reading = Measured(value=unbalance_pct(volts), unit="%", plus_minus=give, instrument=readings[0].instrument)
    return judge("voltage unbalance", reading, rule)


def _next_step(verdict: Verdict) -> str:
    return {
        "fail": "Call a licensed electrician; a motor on a wrong supply runs hot.",
        "cannot tell": "Have it measured again with a meter of known accuracy, with the dryer heating.",
        "no tolerance": "Enter the maker's limits with the manual's page.",
    }.get(verdict, "Nothing to do; measure again after work on the supply.")


def prove_voltage(
    *,
    subject: str,
    plate_v: float,
    readings: Sequence[Measured],
    tolerance: Tolerance | None = MOTOR_VOLTAGE,
    unbalance: Tolerance | None = VOLTAGE_UNBALANCE,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Judge one (single-phase) or three (between phases) supply voltages against the plate."""
    if len(readings) not in (1, 3):
        raise InputError(f"{len(readings)} voltages were given.", allowed="one, or three between phases")
    for reading in readings:
        _check(reading, plate_v)
    judged = tuple(
        judge(f"voltage {i + 1}" if len(readings) == 3 else "voltage", r, tolerance, nominal=plate_v)
        for i, r in enumerate(readings)
    )
    if len(readings) == 3:
        judged = (*judged, _unbalance(readings, unbalance))
    verdict = overall(judged)
    shown = ", ".join(f"{r.value:g}" for r in readings)
    return ProofResult(
        kind="supply voltage",
        subject=subject,
        verdict=verdict,
        says=f"{shown} V where the plate says {plate_v:g} V.",
        next_step=_next_step(verdict),
        cautions=CAUTIONS["power"],
        judgements=judged,
        figures=tuple(Figure(name=f"voltage {i + 1}", estimate=Estimate(value=r.value, unit="V", how="measured"))
                      for i, r in enumerate(readings)),
        workings=(Working(figure="voltage", formula="as measured against the plate",
                          inputs=(Input(name="plate", value=f"{plate_v:g}", unit="V"),),
                          source=tolerance.shown() if tolerance else "no tolerance on file"),),
        conduct=conduct or Conduct(instruments=tuple({r.instrument for r in readings if r.instrument})),
    )  # fmt: skip


def prove_current(
    *,
    subject: str,
    plate_a: float,
    reading: Measured,
    is_licensed: bool,
    plate_source: str = "the motor's rating plate",
    conduct: Conduct | None = None,
) -> ProofResult:
    """Judge a motor current against the plate's; only where a licensed person measured it."""
    if not is_licensed:
        raise InputError(
            "A motor current is measured inside the machine with the power on.",
            mend="Leave it to a licensed electrician and enter what they measured.",
        )
    within("The plate current", plate_a, 0.2, 100, "A", "Were watts or volts entered?")
    within("The motor current", reading.value, 0.0, 5 * plate_a, "A", "Was the meter on mA, or the start-up peak read?")
    plate = Tolerance(
        name="motor current at most the plate's",
        unit="A",
        above=0.0,
        source=plate_source,
        known="maker's plate or manual",
    )
    judged = judge("motor current", reading, plate, nominal=plate_a)
    steps: dict[Verdict, str] = {
        "fail": "Have belt, bearings, fan and duct looked at; a motor over its plate current runs hot.",
        "cannot tell": "Have it measured again with a finer meter, with a full load turning.",
    }
    return ProofResult(
        kind="motor current",
        subject=subject,
        verdict=judged.verdict,
        says=f"{reading.value:g} A where the plate says {plate_a:g} A (give or take {reading.plus_minus:g}).",
        next_step=steps.get(judged.verdict, "Nothing to do."),
        cautions=CAUTIONS["power"],
        judgements=(judged,),
        conduct=conduct or Conduct(instruments=(reading.instrument,) if reading.instrument else ()),
    )
