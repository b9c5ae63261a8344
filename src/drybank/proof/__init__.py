"""Field tests: what was measured, pass / fail / cannot tell, the margin, what to do next.

judge     guard-banded verdicts          standing  tolerances and cautions that ship, as data
timing    time sold by the stop-watch    heat      exhaust temperature, cycling, care limits
gas       gas input by clocking          air       moist air, ducts, make-up openings
power     voltage, unbalance, current    airtest   air judged; lint between visits
sign      the price sign, exact          coin      scale, count by weight, mixed bags
outcome   findings and book entries of a result
"""

from drybank.proof.air import Duct, ExhaustAir, duct_flow, face_area_m2, friction_factor, make_up_area_m2
from drybank.proof.airtest import (
    Opening,
    PlateLimit,
    lint_trend,
    prove_back_pressure,
    prove_duct,
    prove_flow,
    prove_make_up,
)
from drybank.proof.coin import OwnMass, Share, Weighing, count_by_weight, exact_up_to, prove_scale, value_mixed
from drybank.proof.gas import (
    CA_DERATE,
    PROPANE,
    US_DERATE,
    Clocking,
    GasSupply,
    GasTest,
    orifice_flow_m3_s,
    plan_clocking,
    pressure_at_height_pa,
    prove_gas,
    supply_from,
)
from drybank.proof.heat import HeatLog, HeatTest, prove_heat
from drybank.proof.judge import judge, looked, overall
from drybank.proof.outcome import as_entry, findings
from drybank.proof.power import prove_current, prove_voltage
from drybank.proof.sign import PostedLine, PostedSign, SignRules, prove_sign
from drybank.proof.standing import CARE_LIMIT, CAUTIONS, COIN_TEST, GAS_INPUT, MAKE_UP_AIR, MOTOR_VOLTAGE, TIME_SOLD
from drybank.proof.timing import Stopwatch, TimedSale, judge_coin_test, pockets_needed, prove_time, starts_needed

__all__ = [
    "CARE_LIMIT",
    "CAUTIONS",
    "CA_DERATE",
    "COIN_TEST",
    "GAS_INPUT",
    "MAKE_UP_AIR",
    "MOTOR_VOLTAGE",
    "PROPANE",
    "TIME_SOLD",
    "US_DERATE",
    "Clocking",
    "Duct",
    "ExhaustAir",
    "GasSupply",
    "GasTest",
    "HeatLog",
    "HeatTest",
    "Opening",
    "OwnMass",
    "PlateLimit",
    "PostedLine",
    "PostedSign",
    "Share",
    "SignRules",
    "Stopwatch",
    "TimedSale",
    "Weighing",
    "as_entry",
    "count_by_weight",
    "duct_flow",
    "exact_up_to",
    "face_area_m2",
    "findings",
    "friction_factor",
    "judge",
    "judge_coin_test",
    "lint_trend",
    "looked",
    "make_up_area_m2",
    "orifice_flow_m3_s",
    "overall",
    "plan_clocking",
    "pockets_needed",
    "pressure_at_height_pa",
    "prove_back_pressure",
    "prove_current",
    "prove_duct",
    "prove_flow",
    "prove_gas",
    "prove_heat",
    "prove_make_up",
    "prove_scale",
    "prove_sign",
    "prove_time",
    "prove_voltage",
    "starts_needed",
    "supply_from",
    "value_mixed",
]
