"""Air, judged: make-up opening, duct against the plate, pressure and flow readings, lint between visits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from drybank.proof.air import (
    LINTED_M,
    LOUVRE_FREE_FRAC,
    MAKE_UP_ABOVE_M3_S,
    ROUGHNESS_M,
    Duct,
    DuctFlow,
    ExhaustAir,
    duct_flow,
    face_area_m2,
    make_up_area_m2,
)
from drybank.proof.judge import judge, overall, within
from drybank.proof.standing import CAUTIONS, DUCT_VELOCITY, DUCT_VELOCITY_MAX_M_S, MAKE_UP_AIR
from drybank.records.errors import InputError, NotIdentified
from drybank.records.proof import Conduct, Figure, Judgement, Measured, ProofResult, Tolerance
from drybank.records.units import INCH_M
from drybank.records.working import Assumption, Estimate, Input, Interval, Working

_PLATE_FIRST = "Ask the maker for the highest duct pressure and enter it with the manual's page."


class Opening(msgspec.Struct, frozen=True, kw_only=True):
    """The make-up air opening as measured: face area [m²] and its give or take, what covers it.

    ``free_frac`` is the maker's free share of the louvre; None takes the code's figure for
    the kind, as an assumption.
    """

    face_m2: float
    plus_minus_m2: float = 0.0
    cover: Literal["metal", "wood", "open"] = "metal"
    free_frac: float | None = None

    def __post_init__(self) -> None:
        within("The opening", self.face_m2, 0.0, 100.0, "m²", "Were square inches entered as m²?")
        if self.free_frac is not None:
            within("Free share", self.free_frac, 0.05, 1, "as a fraction", "75 % is 0.75.")

    @property
    def share(self) -> float:
        if self.free_frac is not None:
            return self.free_frac
        return 1.0 if self.cover == "open" else LOUVRE_FREE_FRAC[self.cover]


def prove_make_up(
    *,
    total_input_w: float,
    opening: Opening,
    subject: str = "the room",
    tolerance: Tolerance | None = MAKE_UP_AIR,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Judge the free make-up opening against what the total gas input in the room needs."""
    need = make_up_area_m2(total_input_w)
    free = opening.face_m2 * opening.share
    judged = judge(
        "free make-up opening",
        Measured(value=free, unit="m²", plus_minus=opening.plus_minus_m2 * opening.share, instrument="rule"),
        tolerance,
        nominal=need,
    )
    face = face_area_m2(need, free_frac=opening.share)
    assumed: tuple[Assumption, ...] = ()
    if opening.free_frac is None and opening.cover != "open":
        assumed = (
            Assumption(
                name=f"free share of a {opening.cover} louvre",
                taken=f"{100 * opening.share:.0f} %",
                source="NFPA 54 9.3.7; IFGC 304.10 (from memory)",
                matters="the free area in direct proportion; the louvre's own figure comes first",
            ),
        )
    inches = INCH_M**2
    return ProofResult(
        kind="make-up air",
        subject=subject,
        verdict=judged.verdict,
        says=f"The dryers need {need / inches:,.0f} in² ({need * 1e4:,.0f} cm²) of free opening; "
        f"there are {free / inches:,.0f} in². {judged.because}".strip(),
        next_step=(
            "Keep the louvre clear of lint and stock."
            if judged.verdict == "pass"
            else f"Ask a licensed contractor for an opening of {face / inches:,.0f} in² face area behind this cover."
        ),
        cautions=CAUTIONS["air"],
        judgements=(judged,),
        figures=(
            Figure(name="free opening needed", estimate=Estimate(value=need, unit="m²")),
            Figure(name="face opening needed", estimate=Estimate(value=face, unit="m²")),
        ),
        workings=(
            Working(
                figure="free opening needed",
                formula="1 in² for every 1000 Btu/h of the total input of all gas dryers in the room",
                inputs=(
                    Input(name="total input", value=f"{total_input_w / 1000:.1f}", unit="kW"),
                    Input(name="face", value=f"{opening.face_m2:.4f}", unit="m²", how="measured"),
                    Input(name="free share", value=f"{opening.share:g}", how="given" if not assumed else "assumed"),
                ),
                source=MAKE_UP_AIR.shown(),
            ),
        ),
        assumed=assumed,
        conduct=conduct or Conduct(instruments=("rule",)),
    )


class PlateLimit(msgspec.Struct, frozen=True, kw_only=True):
    """The highest pressure at the collar that the maker allows [Pa], and where it says so."""

    highest_pa: float
    source: str

    def tolerance(self) -> Tolerance:
        within("The plate's duct pressure", self.highest_pa, 1, 2000, "Pa", "0.3 in of water is 75 Pa.")
        return Tolerance(
            name="highest pressure at the exhaust collar", unit="Pa", above=0.0, source=self.source,
            known="maker's plate or manual",
        )  # fmt: skip


def _loss_range(flow: Measured, duct: Duct, air: ExhaustAir) -> tuple[DuctFlow, Measured, Interval]:
    """Loss at the measured flow, its instrument interval, and its range from clean to linted wall."""
    mid = duct_flow(flow_m3_s=flow.value, duct=duct, air=air)
    ends = [
        duct_flow(flow_m3_s=max(1e-3, flow.value + s * flow.plus_minus), duct=duct, air=air).loss_pa for s in (-1, 1)
    ]
    linted = msgspec.structs.replace(duct, roughness_m=max(LINTED_M, duct.roughness_m))
    worst = duct_flow(flow_m3_s=flow.value, duct=linted, air=air).loss_pa
    reading = Measured(value=mid.loss_pa, unit="Pa", plus_minus=max(ends) - mid.loss_pa, instrument=flow.instrument)
    return mid, reading, Interval(mid.loss_pa, worst, kind="assumption")


def prove_duct(
    *,
    subject: str,
    flow: Measured,
    duct: Duct,
    air: ExhaustAir | None = None,
    limit: PlateLimit | None = None,
    speed: Tolerance | None = DUCT_VELOCITY,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Work out what a flow costs in this duct and hold it against the maker's plate."""
    air = air or ExhaustAir()
    found, loss, assumed = _loss_range(flow, duct, air)
    pressure = judge("duct pressure", loss, limit.tolerance() if limit else None,
                     nominal=limit.highest_pa if limit else 0.0, assumed=assumed)  # fmt: skip
    fast = judge(
        "duct velocity",
        Measured(value=found.velocity_m_s, unit="m/s", plus_minus=flow.plus_minus / duct.area_m2),
        speed,
        nominal=DUCT_VELOCITY_MAX_M_S,
    )
    verdict = overall((pressure, fast))
    return ProofResult(
        kind="exhaust duct",
        subject=subject,
        verdict=verdict,
        says=f"At {flow.value:.3f} m³/s the air runs {found.velocity_m_s:.1f} m/s and costs {loss.value:.0f} Pa "
        f"({assumed.low:.0f} clean to {assumed.high:.0f} linted) at the collar.",
        next_step=_duct_step(pressure, fast),
        cautions=CAUTIONS["air"],
        judgements=(pressure, fast),
        figures=_duct_figures(found),
        workings=(_duct_working(flow, duct, air, found),),
        assumed=_duct_assumed(flow, duct),
        conduct=conduct or Conduct(instruments=(flow.instrument,) if flow.instrument else ()),
    )


def _duct_step(pressure: Judgement, speed: Judgement) -> str:
    if pressure.verdict == "fail":
        return "The duct costs more than the maker allows: have it shortened or widened before cleaning burners."
    if pressure.verdict == "no tolerance":
        return _PLATE_FIRST
    if pressure.verdict == "cannot tell":
        return "Measure the pressure at the collar itself with a gauge while it dries."
    if speed.verdict in ("fail", "cannot tell"):
        return "The air runs fast for this duct: lint stays aloft but noise and pressure rise; ask about a wider run."
    return "Nothing to do; measure again after any change to the duct."


def _duct_figures(found: DuctFlow) -> tuple[Figure, ...]:
    return tuple(
        Figure(name=name, estimate=Estimate(value=value, unit=unit))
        for name, value, unit in (
            ("velocity", found.velocity_m_s, "m/s"),
            ("Reynolds number", found.reynolds, ""),
            ("friction factor", found.friction, ""),
            ("velocity pressure", found.velocity_pressure_pa, "Pa"),
            ("friction", found.friction_pa_m, "Pa/m"),
        )
    )


def _duct_working(flow: Measured, duct: Duct, air: ExhaustAir, found: DuctFlow) -> Working:
    return Working(
        figure="pressure at the collar",
        formula="friction factor (Colebrook) x effective length / hydraulic diameter x velocity pressure "
        "+ outlet factor x velocity pressure",
        inputs=(
            Input(name="flow", value=f"{flow.value:.4f}", unit="m³/s", how="measured"),
            Input(name="effective length", value=f"{duct.effective_length_m:.1f}", unit="m",
                  source="elbows by IRC table M1502.4.5.1 (secondary), scaled by diameter"),
            Input(name="hydraulic diameter", value=f"{duct.hydraulic_m:.4f}", unit="m"),
            Input(name="air density", value=f"{air.density_kg_m3:.4f}", unit="kg/m³", how="computed"),
            Input(name="friction factor", value=f"{found.friction:.5f}", how="computed"),
        ),
    )  # fmt: skip


def _duct_assumed(flow: Measured, duct: Duct) -> tuple[Assumption, ...]:
    out = [
        Assumption(
            name="wall of the duct",
            taken=f"{duct.roughness_m * 1000:.2g} mm",
            source="galvanised sheet, ASHRAE Fundamentals duct chapter (secondary)"
            if duct.roughness_m == ROUGHNESS_M
            else "given",
            high=f"{LINTED_M * 1000:g} mm with some lint (assumed, no source)",
            matters="the pressure at the collar",
        )
    ]
    if flow.value > MAKE_UP_ABOVE_M3_S:
        out.append(
            Assumption(
                name="make-up air",
                taken="needed: more than 200 ft³/min leaves the room",
                source="UFC 3-410-02N dryer clause d) (read); IMC 504.7 (secondary)",
            )
        )
    return tuple(out)


def prove_back_pressure(
    *, subject: str, reading: Measured, limit: PlateLimit | None, conduct: Conduct | None = None
) -> ProofResult:
    """Judge a static pressure read at the collar [Pa] against the maker's plate."""
    within("Static pressure", reading.value, -500, 2500, "Pa", "Was the gauge zeroed, and in Pa?")
    judged = judge("static pressure at the collar", reading, limit.tolerance() if limit else None,
                   nominal=limit.highest_pa if limit else 0.0)  # fmt: skip
    return ProofResult(
        kind="exhaust pressure",
        subject=subject,
        verdict=judged.verdict,
        says=f"{reading.value:.0f} Pa at the collar (give or take {reading.plus_minus:.0f}). {judged.because}".strip(),
        next_step={
            "fail": "Have lint screen, duct and outlet flap cleaned, then read again.",
            "no tolerance": _PLATE_FIRST,
            "cannot tell": "Read again with a finer gauge.",
        }.get(judged.verdict, "Nothing to do; read again at the next visit, so that lint shows as a trend."),
        cautions=CAUTIONS["air"],
        judgements=(judged,),
        conduct=conduct or Conduct(instruments=(reading.instrument,) if reading.instrument else ()),
    )


def prove_flow(
    *,
    subject: str,
    reading: Measured,
    plate_m3_s: float | None,
    tolerance: Tolerance | None = None,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Hold a measured exhaust flow [m³/s] against the plate's airflow.

    No published tolerance on airflow is on file; the owner may enter the maker's.
    """
    within("Air flow", reading.value, 0.001, 20, "m³/s", "Were cfm or L/s entered as m³/s?")
    if plate_m3_s is not None:
        within("The plate's airflow", plate_m3_s, 0.005, 20, "m³/s", "Were cfm or L/s entered as m³/s?")
    judged = judge("exhaust flow", reading, tolerance if plate_m3_s else None, nominal=plate_m3_s or 0.0)
    share = "" if plate_m3_s is None else f", {100 * reading.value / plate_m3_s:.0f} % of the plate's {plate_m3_s:.3f}"
    return ProofResult(
        kind="exhaust flow",
        subject=subject,
        verdict=judged.verdict,
        says=f"{reading.value:.3f} m³/s leave the dryer (give or take {reading.plus_minus:.3f}){share}. "
        f"{judged.because}".strip(),
        next_step={
            "fail": "Have lint screen, fan and duct cleaned, then measure again.",
            "no tolerance": "Ask the maker for the least airflow and enter it with the manual's page.",
            "cannot tell": "Measure again with more points in the traverse.",
        }.get(judged.verdict, "Nothing to do; measure again at the next visit, so that lint shows as a trend."),
        cautions=CAUTIONS["air"],
        judgements=(judged,),
        conduct=conduct or Conduct(instruments=(reading.instrument,) if reading.instrument else ()),
    )


class LintTrend(msgspec.Struct, frozen=True, kw_only=True):
    """How a reading moves between visits: slope per day, its 95 % interval, days until the limit.

    ``days_to_limit`` are earliest and latest from the last visit; latest is infinite where
    the slope may be flat. Sampling interval only.
    """

    slope: Estimate
    verdict: Literal["rising", "falling", "not shown"]
    days_to_limit: tuple[float, float] | None
    says: str


def lint_trend(
    days: Sequence[float], readings: Sequence[float], *, plus_minus: float, unit: str = "Pa", limit: float | None = None
) -> LintTrend:
    """Straight line through the readings since the last cleaning.

    Three readings or more; the scatter about the line is not taken smaller than the
    instrument's (``plus_minus``/2). Interval: Student t on n - 2 degrees, or normal where
    the instrument's scatter rules.
    """
    slope, half, level = _line(days, readings, plus_minus)
    low, high = slope - half, slope + half
    verdict: Literal["rising", "falling", "not shown"] = "rising" if low > 0 else "falling" if high < 0 else "not shown"
    until = None
    if limit is not None and high > 0:
        gap = max(0.0, limit - level)
        until = (gap / high, gap / low if low > 0 else math.inf)
    words = {"rising": "The reading rises", "falling": "The reading falls", "not shown": "No trend is shown yet"}
    return LintTrend(
        slope=Estimate(value=slope, unit=f"{unit}/day", interval=Interval(low, high), how="measured"),
        verdict=verdict,
        days_to_limit=until,
        says=f"{words[verdict]}: {slope * 7:.2g} {unit} a week ({low * 7:.2g} to {high * 7:.2g}).",
    )


def _line(days: Sequence[float], readings: Sequence[float], plus_minus: float) -> tuple[float, float, float]:
    """Slope, half-width of its 95 % interval, and the line's value at the last day."""
    from scipy.stats import norm, t

    n = len(days)
    if n != len(readings):
        raise InputError("Each reading needs its day.")
    if not all(map(math.isfinite, (*days, *readings, plus_minus))):
        raise InputError("A reading or its day is not a number.")
    if n < 3 or max(days) <= min(days):
        raise NotIdentified("A trend needs three readings on different days since the last cleaning.")
    mean_x, mean_y = sum(days) / n, sum(readings) / n
    sxx = sum((x - mean_x) ** 2 for x in days)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(days, readings, strict=True)) / sxx
    rest = sum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in zip(days, readings, strict=True))
    own, tool = math.sqrt(rest / (n - 2)), plus_minus / 2
    half = max(float(t.ppf(0.975, n - 2)) * own, float(norm.ppf(0.975)) * tool) / math.sqrt(sxx)
    return slope, half, mean_y + slope * (days[-1] - mean_x)
