"""Gas input by clocking the meter, held against the plate; what a wrong input may mean.

Gas volume at the meter is brought to the base at which its heat content is stated:
(barometric + gauge pressure) / base pressure x base temperature / gas temperature.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import msgspec

from drybank.drying.properties import standard_pressure_pa
from drybank.proof.judge import combine, judge, within
from drybank.proof.standing import CAUTIONS, GAS_INPUT
from drybank.proof.timing import Stopwatch
from drybank.records.coins import Known
from drybank.records.energy import NaturalGas
from drybank.records.errors import InputError, OutOfRange
from drybank.records.proof import Conduct, Figure, Measured, ProofResult, Tolerance, Verdict
from drybank.records.units import (
    BTU_J,
    CUBIC_FOOT_M3,
    FOOT_M,
    INCH_M,
    INCH_WATER_PA,
    PSI_PA,
    ZERO_C_K,
    c_from_f,
    minutes,
)  # fmt: skip
from drybank.records.working import Assumption, Estimate, Input, Interval, Working

BTU_FT3_J_M3: Final = BTU_J / CUBIC_FOOT_M3
BASE_PRESSURE_PA: Final = 14.73 * PSI_PA  # EIA natural gas volumes (2023); read
BASE_TEMP_C: Final = c_from_f(60.0)  # the same
NATURAL_J_M3: Final = 1038 * BTU_FT3_J_M3  # US delivered average 2023: EIA FAQ 45; read
PROPANE_J_M3: Final = 2500 * BTU_FT3_J_M3  # Federal Register 21 March 2007, quoted by a utility; secondary
ORIFICE_FT3_H: Final = 1658.5  # ft³/h per in² and sqrt(in w.c.): from memory; fits a capacity table to 3 decimals
SEA_LEVEL_PA: Final = 101_325.0


def pressure_at_height_pa(height_m: float) -> float:
    """Standard air pressure at a height of -400 to 5000 m [Pa] (US Standard Atmosphere 1976)."""
    if not -400 <= height_m <= 5000:
        raise OutOfRange("Height above sea level", height_m, -400, 5000, "m", "Were feet entered as metres?")
    return standard_pressure_pa(height_m)


class GasSupply(msgspec.Struct, frozen=True, kw_only=True):
    """Gas as delivered to the meter.

    ``heat_j_m3`` is the heat content at the base pressure and temperature [J/m³], with
    ``heat_range_frac`` how far it may be off where it is an average and not the bill's own.
    ``is_compensated`` says that the meter already corrects to the base ("60 °F" on its plate):
    then only the pressure is corrected.
    """

    kind: Literal["natural", "propane"] = "natural"
    heat_j_m3: float = NATURAL_J_M3
    heat_range_frac: float = 0.03
    heat_source: str = "US delivered average 2023, EIA FAQ 45 (read)"
    gauge_pa: float = 7 * INCH_WATER_PA
    gauge_plus_minus_pa: float = 0.5 * INCH_WATER_PA
    temp_c: float = BASE_TEMP_C
    temp_plus_minus_c: float = 5.0
    barometer_pa: float = SEA_LEVEL_PA
    barometer_plus_minus_pa: float = 1500.0
    base_pressure_pa: float = BASE_PRESSURE_PA
    base_temp_c: float = BASE_TEMP_C
    is_compensated: bool = False

    def __post_init__(self) -> None:
        within("Heat content", self.heat_j_m3 / 1e6, 15, 130, "MJ/m³", "Is it in the unit of your bill?")
        within("Range of the heat content", self.heat_range_frac, 0, 0.3, "as a fraction")
        within("Gas gauge pressure", self.gauge_pa, 0, 70_000, "Pa", "Was psi entered as inches of water?")
        within("Gas temperature", self.temp_c, -30, 50, "°C", "Was °F entered as °C?")
        within("Barometer", self.barometer_pa, 50_000, 110_000, "Pa", "Use the pressure at the store's height.")
        within("Give or take of the gauge", self.gauge_plus_minus_pa, 0, 20_000, "Pa")
        within("Give or take of the gas temperature", self.temp_plus_minus_c, 0, 40, "°C")
        within("Give or take of the barometer", self.barometer_plus_minus_pa, 0, 20_000, "Pa")

    @property
    def correction(self) -> float:
        """Volume at the base per volume through the meter."""
        pressure = (self.barometer_pa + self.gauge_pa) / self.base_pressure_pa
        if self.is_compensated:
            return pressure
        return pressure * (self.base_temp_c + ZERO_C_K) / (self.temp_c + ZERO_C_K)

    @property
    def correction_plus_minus_frac(self) -> float:
        """Expanded relative uncertainty of the correction."""
        total = self.barometer_pa + self.gauge_pa
        heat = 0.0 if self.is_compensated else self.temp_plus_minus_c / (self.temp_c + ZERO_C_K)
        return combine(self.gauge_plus_minus_pa / total, self.barometer_plus_minus_pa / total, heat)


def supply_from(gas: NaturalGas, *, heat_range_frac: float = 0.0) -> GasSupply:
    """The gas of a store's tariff as a field test needs it; pressure corrected by the meter means none here."""
    per_m3 = gas.heat_content_mj_m3
    heat = float(per_m3) * 1e6 if per_m3 is not None else float(gas.heat_content_btu_ft3 or 0) * BTU_FT3_J_M3
    base = float(gas.base_pressure_kpa) * 1000
    return GasSupply(
        heat_j_m3=heat,
        heat_range_frac=heat_range_frac,
        heat_source=gas.source or "the store's gas supply",
        gauge_pa=0.0 if gas.meter_corrects_pressure else float(gas.meter_gauge_kpa) * 1000,
        temp_c=float(gas.meter_temp_c),
        barometer_pa=base if gas.meter_corrects_pressure else float(gas.air_pressure_kpa) * 1000,
        barometer_plus_minus_pa=0.0 if gas.meter_corrects_pressure else 1500.0,
        base_pressure_pa=base,
        base_temp_c=float(gas.base_temp_c),
        is_compensated=gas.meter_corrects_temp,
    )


PROPANE: Final = GasSupply(
    kind="propane",
    heat_j_m3=PROPANE_J_M3,
    heat_range_frac=0.02,
    heat_source="2500 Btu/ft³, Federal Register 21 March 2007 as quoted by a utility (secondary page)",
    gauge_pa=11 * INCH_WATER_PA,
)


class Clocking(msgspec.Struct, frozen=True, kw_only=True):
    """What was read at the meter: gas per turn of the test dial [m³], whole turns, seconds.

    ``dial_plus_minus_turn`` is how well the hand was caught at its mark, both ends together
    (assumed 1/40 of a turn unless given).
    """

    dial_m3: float
    turns: float
    seconds: float
    others_off: bool
    dial_plus_minus_turn: float = 0.025

    def __post_init__(self) -> None:
        if not self.dial_m3 > 0:
            raise InputError("The dial size is zero.", where="dial", mend="Read it off the dial face: 0.5, 1 or 2 ft³.")
        within("The dial size", self.dial_m3 / CUBIC_FOOT_M3, 0.1, 100, "ft³", "Was m³ entered as ft³?")
        if self.seconds < 0:
            raise InputError(
                f"{self.seconds:g} seconds is below zero.", where="seconds", mend="Start and stop may be swapped."
            )
        if not self.turns > 0:
            raise InputError("The hand made no turn.", where="turns", mend="Count at least one whole turn.")
        if self.seconds < 2:
            raise InputError(
                f"{self.turns:g} turns in {self.seconds:g} s cannot be.",
                where="seconds",
                mend="Enter the time for all the turns, in seconds; minutes typed as seconds look like this.",
            )
        within("Seconds", self.seconds, 2, 7200, "s", "Was the watch left running?")
        within("Turns", self.turns, 0.25, 1000, "turns")
        if not 0 <= self.dial_plus_minus_turn <= 0.5:
            raise InputError("The hand must be caught within half a turn.")

    @property
    def flow_m3_s(self) -> float:
        """Gas through the meter as it passes [m³/s]."""
        return self.dial_m3 * self.turns / self.seconds


class DerateRule(msgspec.Struct, frozen=True, kw_only=True):
    """How input must fall with height: nothing up to ``from_m``; then ``per_m`` for every
    metre above ``counted_from_m``, or a ``flat_frac``; nothing on file above ``to_m``."""

    name: str
    from_m: float
    to_m: float
    counted_from_m: float = 0.0
    per_m: float = 0.0
    flat_frac: float = 0.0
    jurisdiction: str
    source: str
    known: Known

    def factor(self, height_m: float) -> float:
        """Share of the plate input allowed at a height; `OutOfRange` above what is on file."""
        if height_m > self.to_m:
            raise OutOfRange("Height", height_m, 0, self.to_m, "m", f"{self.name} says no more; ask the maker.")
        if height_m <= self.from_m:
            return 1.0
        return 1.0 - self.flat_frac - self.per_m * (height_m - self.counted_from_m)


US_DERATE: Final = DerateRule(
    name="4 % for every 1000 ft above sea level, above 2000 ft",
    from_m=2000 * FOOT_M,
    to_m=10_000 * FOOT_M,
    per_m=0.04 / (1000 * FOOT_M),
    jurisdiction="United States",
    source="NFPA 54, 11.1.2, as a trade article gives it (section number from memory)",
    known="read in a secondary page",
)
CA_DERATE: Final = DerateRule(
    name="10 % from 2000 to 4500 ft",
    from_m=2000 * FOOT_M,
    to_m=4500 * FOOT_M,
    flat_frac=0.10,
    jurisdiction="Canada",
    source="CSA B149.1 as quoted in an installation manual",
    known="read in a secondary page",
)


def clocking_s(*, dial_m3: float, input_w: float, supply: GasSupply, turns: float = 1.0) -> float:
    """How long the dial takes for some turns at an input [s]: said before the test begins."""
    if dial_m3 <= 0 or input_w <= 0 or turns <= 0:
        raise InputError("Say the dial size, the plate input and the turns, all above zero.")
    return turns * dial_m3 * supply.correction * supply.heat_j_m3 / input_w


class ClockingPlan(msgspec.Struct, frozen=True, kw_only=True):
    """What to expect before clocking: whole turns worth counting and how long they take [s]."""

    turns: int
    seconds: float
    one_turn_s: float
    plus_minus_frac: float
    says: str


def plan_clocking(
    *, dial_m3: float, plate_w: float, supply: GasSupply, watch: Stopwatch | None = None, aim_frac: float = 0.02
) -> ClockingPlan:
    """Fewest whole turns that time the flow to ``aim_frac`` (95 %), and how long that takes."""
    watch = watch or Stopwatch()
    one = clocking_s(dial_m3=dial_m3, input_w=plate_w, supply=supply)
    for turns in range(1, 1001):
        give = combine(0.025 / turns, watch.plus_minus_s(one * turns) / (one * turns))
        if give <= aim_frac:
            break
    says = (
        f"One turn takes about {one:.0f} s at the plate input. Count {turns} whole {'turn' if turns == 1 else 'turns'}: "
        f"about {minutes(one * turns)}. The burner must fire all that time: start it cold, with wet goods in the drum."
    )
    return ClockingPlan(turns=turns, seconds=one * turns, one_turn_s=one, plus_minus_frac=give, says=says)


def orifice_flow_m3_s(*, bore_m: float, pressure_pa: float, gravity: float, discharge: float = 0.90) -> float:
    """Gas through a burner orifice [m³/s]; serves only to explain a wrong input.

    Q[ft³/h] = 1658.5 K A[in²] sqrt(h[in w.c.] / SG), K the discharge coefficient. Orifices
    are the licensed trade's; nothing here is a size to drill.
    """
    within("The bore", bore_m * 1000, 0.1, 20, "mm")
    within("Manifold pressure", pressure_pa, 50, 10_000, "Pa", "Enter Pa, or let the command convert inches of water.")
    within("Specific gravity", gravity, 0.3, 3.0, "of air")
    within("Discharge coefficient", discharge, 0.5, 1.0, "as a fraction")
    area_in2 = math.pi / 4 * (bore_m / INCH_M) ** 2
    flow_ft3_h = ORIFICE_FT3_H * discharge * area_in2 * math.sqrt(pressure_pa / INCH_WATER_PA / gravity)
    return flow_ft3_h * CUBIC_FOOT_M3 / 3600


class GasTest(msgspec.Struct, frozen=True, kw_only=True):
    """One clocking of one pocket: reading, gas, plate [W], height [m] and the derate in force.

    ``plate_is_for_height`` says that the plate already states the input at this height.
    """

    pocket: str
    clocking: Clocking
    supply: GasSupply = GasSupply()
    plate_w: float
    height_m: float = 0.0
    plate_is_for_height: bool = False
    derate: DerateRule = US_DERATE

    def __post_init__(self) -> None:
        within("Plate input", self.plate_w / 1000, 2, 500, "kW", "Was Btu/h entered as W?")

    @property
    def allowed_w(self) -> float:
        """The plate input at this height [W]."""
        return self.plate_w if self.plate_is_for_height else self.plate_w * self.derate.factor(self.height_m)


def measured_input_w(test: GasTest, watch: Stopwatch) -> Measured:
    """Gas input [W] with the uncertainty of watch, dial, pressure and temperature."""
    clocked, supply = test.clocking, test.supply
    value = clocked.flow_m3_s * supply.correction * supply.heat_j_m3
    frac = combine(
        watch.plus_minus_s(clocked.seconds) / clocked.seconds,
        clocked.dial_plus_minus_turn / clocked.turns,
        supply.correction_plus_minus_frac,
    )
    return Measured(value=value, unit="W", plus_minus=value * frac, instrument="gas meter and stopwatch")


_LOW: Final = "low gas pressure, a dirty burner or orifice, or a burner that cycled off while you counted"
_HIGH: Final = "gas pressure too high, the wrong orifice for this gas, or another appliance still on the meter"


def _next_step(verdict: Verdict, *, is_high: bool) -> str:
    if verdict == "fail":
        cause = _HIGH if is_high else _LOW
        act = "Stop using this pocket and call" if is_high else "Call"
        return f"{act} a licensed gas fitter to measure the manifold pressure. Likely: {cause}."
    if verdict == "cannot tell":
        return "Count more turns, and take the heat content and pressure from the gas bill, then test again."
    if verdict == "no tolerance":
        return "Enter the tolerance of the maker or the local code with its source."
    return "Nothing to do; clock again after work on the gas train or a change of supply."


def _working(test: GasTest, value_w: float, tolerance: Tolerance | None) -> Working:
    clocked, supply = test.clocking, test.supply
    return Working(
        figure="gas input",
        formula="dial x turns / seconds x correction x heat content; "
        "correction = (barometer + gauge) / base pressure x base / gas temperature (absolute)",
        inputs=(
            Input(name="dial", value=f"{clocked.dial_m3 / CUBIC_FOOT_M3:.4g}", unit="ft³ a turn", how="measured"),
            Input(name="turns", value=f"{clocked.turns:g}", how="measured"),
            Input(name="time", value=f"{clocked.seconds:g}", unit="s", how="measured"),
            Input(name="correction", value=f"{supply.correction:.4f}", how="computed"),
            Input(
                name="heat content",
                value=f"{supply.heat_j_m3 / BTU_FT3_J_M3:.0f}",
                unit="Btu/ft³",
                source=supply.heat_source,
            ),
            Input(name="gas input", value=f"{value_w / BTU_J * 3600:,.0f}", unit="Btu/h", how="computed"),
            Input(name="allowed at this height", value=f"{test.allowed_w / BTU_J * 3600:,.0f}", unit="Btu/h",
                  source=test.derate.source),
        ),
        source=tolerance.shown() if tolerance else "no tolerance on file",
    )  # fmt: skip


def _assumed(supply: GasSupply) -> tuple[Assumption, ...]:
    if not supply.heat_range_frac:
        return ()
    low, high = (supply.heat_j_m3 * (1 + s * supply.heat_range_frac) / BTU_FT3_J_M3 for s in (-1, 1))
    return (
        Assumption(
            name="heat content of the gas",
            taken=f"{supply.heat_j_m3 / BTU_FT3_J_M3:.0f} Btu/ft³",
            source=supply.heat_source,
            low=f"{low:.0f}",
            high=f"{high:.0f}",
            matters="the input in direct proportion; the bill's own figure removes the doubt",
        ),
    )


def prove_gas(
    test: GasTest,
    *,
    watch: Stopwatch | None = None,
    tolerance: Tolerance | None = GAS_INPUT,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Judge a clocked gas input against the plate at this height.

    Refuses a clocking with other appliances on the meter: their gas cannot be told apart.
    """
    if not test.clocking.others_off:
        raise InputError(
            "Other appliances were on, so the meter's gas is not this pocket's alone.",
            mend="Have them turned off at their own controls and clock again.",
        )
    watch = watch or Stopwatch()
    reading = measured_input_w(test, watch)
    spread = test.supply.heat_range_frac * reading.value
    assumed = Interval(reading.value - spread, reading.value + spread, kind="assumption") if spread else None
    judged = judge(f"gas input, pocket {test.pocket}", reading, tolerance, nominal=test.allowed_w, assumed=assumed)
    off_pct = 100 * (reading.value / test.allowed_w - 1)
    side = "over" if off_pct > 0 else "under"
    return ProofResult(
        kind="gas input",
        subject=f"pocket {test.pocket}",
        verdict=judged.verdict,
        says=f"Pocket {test.pocket} burns {reading.value / 1000:.1f} kW ({reading.value / BTU_J * 3600:,.0f} Btu/h), "
        f"{abs(off_pct):.1f} % {side} its plate at this height "
        f"(give or take {100 * reading.plus_minus / test.allowed_w:.1f}). {judged.because}".strip(),
        next_step=_next_step(judged.verdict, is_high=off_pct > 0),
        cautions=CAUTIONS["gas"],
        judgements=(judged,),
        figures=(
            Figure(name="correction", estimate=Estimate(value=test.supply.correction, unit="")),
            Figure(
                name="manifold pressure that would explain it, against the right one",
                estimate=Estimate(
                    value=(reading.value / test.allowed_w) ** 2,
                    unit="times",
                    working=Working(
                        figure="pressure ratio",
                        formula="flow through an orifice goes with the root of its pressure: (input / plate)²",
                        source="Q = 1658.5 K A sqrt(h / SG); for the licensed trade to check, not to set",
                    ),
                ),
            ),
            Figure(name="gas flow at the meter", estimate=Estimate(value=test.clocking.flow_m3_s, unit="m³/s")),
        ),
        workings=(_working(test, reading.value, tolerance),),
        assumed=_assumed(test.supply),
        conduct=conduct or Conduct(instruments=("gas meter", watch.name)),
    )
