"""Exhaust temperature: does the heat run as set, how far does it swing, how hot does it get.

A log of an exhaust thermometer is cut at its turning points. From the first peak on the
heat is steady; peaks and troughs give the cycling band.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from drybank.proof.judge import combine, judge, overall, within
from drybank.proof.standing import CARE_LIMIT, CARE_LIMIT_C, CAUTIONS
from drybank.records.errors import InputError, NotIdentified
from drybank.records.proof import Conduct, Figure, Judgement, Measured, ProofResult, Tolerance
from drybank.records.store import Care
from drybank.records.working import Assumption, Estimate, Input, Interval, Working

LOWEST_C: Final = 10.0
HIGHEST_C: Final = 150.0  # beyond this a household thermometer or its unit is wrong


class HeatLog(msgspec.Struct, frozen=True, kw_only=True):
    """What an exhaust thermometer showed: seconds, degrees, its give or take [°C].

    From the start of the heat to its end, without the cool-down; a reading every 10 to 15 s.
    """

    seconds: tuple[float, ...]
    temps_c: tuple[float, ...]
    plus_minus_c: float
    instrument: str = "exhaust thermometer"

    def __post_init__(self) -> None:
        if len(self.seconds) != len(self.temps_c):
            raise InputError("Every temperature needs its time.", where=self.instrument)
        if len(self.seconds) < 8:
            raise InputError(
                f"{len(self.seconds)} readings do not show a cycle.", mend="Log every 10 to 15 s for at least 6 min."
            )
        if not all(map(math.isfinite, self.seconds)):
            raise InputError("A time in the log is not a number.", where=self.instrument)
        if self.seconds[0] < 0 or any(b <= a for a, b in zip(self.seconds, self.seconds[1:], strict=False)):
            raise InputError("Times must begin at zero or later and rise.", mend="Is one time typed twice?")
        for temp in self.temps_c:
            slip = (
                "Was °F read as °C?"
                if temp > HIGHEST_C
                else "Was °C read as °F, or the thermometer not in the exhaust?"
            )
            within("An exhaust temperature", temp, LOWEST_C, HIGHEST_C, "°C", slip)
        within("The thermometer's give or take", self.plus_minus_c, 0.0, 15.0, "°C")


class Cycling(msgspec.Struct, frozen=True, kw_only=True):
    """How a heat runs: peaks, troughs, middle of the band, from when on it is steady."""

    peaks_c: tuple[float, ...]
    troughs_c: tuple[float, ...]
    steady_from_s: float
    steady_frac: float
    middle_c: Estimate
    peak_c: Estimate
    band_c: float
    highest_c: float


def turning_points(values: Sequence[float], swing: float) -> list[tuple[int, bool]]:
    """Places where a series turns by at least ``swing``: (index, is a peak). The two ends are none.

    >>> turning_points([0, 5, 9, 6, 3, 7, 10, 8], 2)
    [(2, True), (4, False), (6, True)]
    """
    out: list[tuple[int, bool]] = []
    top = low = 0
    rising: bool | None = None
    for i, v in enumerate(values):
        top = i if v > values[top] else top
        low = i if v < values[low] else low
        if rising is not False and values[top] - v >= swing:
            if rising or top > 0:
                out.append((top, True))
            rising, low = False, i
        elif rising is not True and v - values[low] >= swing:
            if rising is False:
                out.append((low, False))
            rising, top = True, i
    return out


def _mean_of(values: Sequence[float], plus_minus: float) -> Estimate:
    """Mean with its interval: scatter of the cycles (Student t) and the instrument, as roots of squares."""
    from scipy.stats import t

    n = len(values)
    mean = sum(values) / n
    own = 0.0
    if n > 1:
        sd = math.sqrt(sum((v - mean) ** 2 for v in values) / (n - 1))
        own = float(t.ppf(0.975, n - 1)) * sd / math.sqrt(n)
    give = combine(own, plus_minus)
    return Estimate(
        value=mean, unit="°C", interval=Interval(mean - give, mean + give, kind="instrument"), how="measured"
    )


def cycling(log: HeatLog, *, swing_c: float = 1.0) -> Cycling:
    """Peaks, troughs and steady part of a log.

    A burner that modulates may show no cycle: then the plateau is taken, the readings after
    the last one that lies more than ``swing_c`` from the median of the last third. Raises
    `NotIdentified` where the log neither cycles twice nor settles.
    """
    temps, secs = log.temps_c, log.seconds
    turns = turning_points(temps, swing_c)
    peaks = [i for i, is_peak in turns if is_peak]
    troughs = [i for i, is_peak in turns if not is_peak and peaks and i > peaks[0]]
    if len(peaks) >= 2 and len(troughs) >= 2:
        first = peaks[0]
        tops, lows = [temps[i] for i in peaks], [temps[i] for i in troughs]
        pairs = [(a + b) / 2 for a, b in zip(tops, lows, strict=False)]
        band = sum(tops) / len(tops) - sum(lows) / len(lows)
    else:
        first = _plateau(temps, swing_c)
        tops = lows = list(temps[first:])
        pairs, band = tops, max(tops) - min(tops)
    return Cycling(
        peaks_c=tuple(tops) if peaks else (),
        troughs_c=tuple(lows) if peaks else (),
        steady_from_s=secs[first],
        steady_frac=(secs[-1] - secs[first]) / (secs[-1] - secs[0]),
        middle_c=_mean_of(pairs, log.plus_minus_c),
        peak_c=_mean_of(tops, log.plus_minus_c),
        band_c=band,
        highest_c=max(temps),
    )


def _plateau(temps: Sequence[float], swing_c: float) -> int:
    tail = sorted(temps[-(len(temps) // 3) :])
    centre = tail[len(tail) // 2]
    away = [i for i, v in enumerate(temps) if abs(v - centre) > swing_c]
    first = away[-1] + 1 if away else 0
    if len(temps) - first < max(4, len(temps) // 4):
        raise NotIdentified("The exhaust neither cycled twice nor settled: log longer, at least two on-off cycles.")
    return first


class HeatTest(msgspec.Struct, frozen=True, kw_only=True):
    """One heat of one pocket: what it is set to, its care symbol, the maker's limit, the log.

    ``set_means`` says what the set temperature is on this control: the middle of the band or
    the point where the burner cuts out; the control's manual tells. None assumes the middle.
    """

    pocket: str
    heat: str
    set_c: float
    log: HeatLog
    care: Care = "none"
    maker_limit_c: float | None = None
    maker_source: str = ""
    set_means: Literal["middle", "cut-out"] | None = None

    def __post_init__(self) -> None:
        within("The set temperature", self.set_c, LOWEST_C, HIGHEST_C, "°C", "Was °F entered as °C?")
        if self.maker_limit_c is not None:
            within("The maker's limit", self.maker_limit_c, 30, HIGHEST_C, "°C", "Was °F entered as °C?")
            if not self.maker_source.strip():
                raise InputError("The maker's limit needs its source.", mend="Name the manual and page.")


def _hottest(test: HeatTest) -> tuple[Measured, Interval]:
    """The highest reading, and how much higher the peak may have been between two readings."""
    log = test.log
    top = max(range(len(log.temps_c)), key=log.temps_c.__getitem__)
    steps = [abs(log.temps_c[top] - log.temps_c[j]) for j in (top - 1, top + 1) if 0 <= j < len(log.temps_c)]
    value = log.temps_c[top]
    reading = Measured(value=value, unit="°C", plus_minus=log.plus_minus_c, instrument=log.instrument)
    return reading, Interval(value, value + max(steps) / 2, kind="assumption")


def _limits(test: HeatTest) -> tuple[Judgement, ...]:
    reading, between = _hottest(test)
    out = []
    if test.care != "none":
        rule = CARE_LIMIT[test.care]
        out.append(
            judge(f"highest exhaust, {test.care}", reading, rule, nominal=CARE_LIMIT_C[test.care], assumed=between)
        )
    if test.maker_limit_c is not None:
        rule = Tolerance(name="the maker's highest exhaust temperature", unit="°C", above=0.0,
                         source=test.maker_source, known="maker's plate or manual")  # fmt: skip
        out.append(judge("highest exhaust, maker's limit", reading, rule, nominal=test.maker_limit_c, assumed=between))
    return tuple(out)


def _against_set(test: HeatTest, found: Cycling, tolerance: Tolerance | None) -> Judgement:
    shown = found.peak_c if test.set_means == "cut-out" else found.middle_c
    assert shown.interval is not None
    reading = Measured(value=shown.value, unit="°C", plus_minus=shown.interval.high - shown.value,
                       instrument=test.log.instrument)  # fmt: skip
    return judge("heat against its setting", reading, tolerance, nominal=test.set_c)


def _next_step(limits: Sequence[Judgement], own: Judgement, offset: float) -> str:
    if any(j.verdict == "fail" for j in limits):
        return "Set this heat lower, or take its care symbol off the sign, and log it again before it is sold."
    if any(j.verdict == "cannot tell" for j in limits):
        return "Log again with a finer thermometer and a reading every 5 s before trusting the symbol."
    if own.verdict == "fail":
        return "Clean the lint screen, check airflow, then have the sensor looked at if it stays off."
    if own.verdict == "no tolerance":
        way = "above" if offset > 0 else "below"
        return (
            f"Nothing is judged: it runs {abs(offset):.1f} °C {way} its setting. Enter the maker's tolerance to judge."
        )
    return "Nothing to do; log again after work on burner, sensor or duct."


def prove_heat(test: HeatTest, *, tolerance: Tolerance | None = None, conduct: Conduct | None = None) -> ProofResult:
    """Hold a logged heat against its setting, its care label and the maker's limit.

    No published tolerance of the exhaust about its setting is on file, so without one
    entered by the owner the offset is shown and not judged.
    """
    found = cycling(test.log)
    own = _against_set(test, found, tolerance)
    limits = _limits(test)
    assert own.measured is not None
    offset = own.measured.value - test.set_c
    give = own.plus_minus
    judged = (*limits, own)
    assumed = () if test.set_means else (
        Assumption(name="what the set temperature means", taken="the middle of the cycling band",
                   source="assumed; the control's manual tells",
                   low=f"{found.middle_c.value - test.set_c:+.1f} °C if the middle",
                   high=f"{found.peak_c.value - test.set_c:+.1f} °C if the cut-out", matters="the offset of the sensor"),
    )  # fmt: skip
    return ProofResult(
        kind="exhaust temperature",
        subject=f"pocket {test.pocket}, {test.heat}",
        verdict=overall(judged),
        says=f"Set to {test.set_c:g} °C, it runs about {found.middle_c.value:.1f} °C and swings {found.band_c:.1f} °C; "
        f"hottest {found.highest_c:.1f} °C (give or take {test.log.plus_minus_c:g}).",
        next_step=_next_step(limits, own, offset),
        cautions=CAUTIONS["heat"],
        judgements=judged,
        figures=(
            Figure(name="offset from the setting", estimate=Estimate(
                value=offset, unit="°C", interval=Interval(offset - give, offset + give, kind="instrument"), how="measured")),
            Figure(name="cycling band", estimate=Estimate(value=found.band_c, unit="°C", how="measured")),
            Figure(name="steady share", estimate=Estimate(value=found.steady_frac, unit="", how="measured")),
            Figure(name="steady from", estimate=Estimate(value=found.steady_from_s, unit="s", how="measured")),
        ),
        workings=(
            Working(
                figure="middle of the band",
                formula="mean over cycles of (peak + trough) / 2, from the first peak on",
                inputs=(
                    Input(name="peaks", value=", ".join(f"{v:.1f}" for v in found.peaks_c[:8]), unit="°C", how="measured"),
                    Input(name="troughs", value=", ".join(f"{v:.1f}" for v in found.troughs_c[:8]), unit="°C",
                          how="measured"),
                ),
            ),
        ),
        assumed=assumed,
        conduct=conduct or Conduct(instruments=(test.log.instrument,)),
    )  # fmt: skip
