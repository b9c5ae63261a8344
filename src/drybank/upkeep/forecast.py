"""When an amount of use will have been reached, with an interval that was checked against the past.

On the trade clock, with rate l and variance v a week from the last twelve weeks (W of them)
and ``left`` still to go:

    t = left / l
    sd² = t v / l² + t² (v / (W l²) + .05²) + (.41 res / l)²

.05 is how far the level of trade may have moved by then (an assumption); .41 res the
rounding of two meter readings. The half-width is sd times a factor from the back-test: the
80th percentile of |error| / sd over the operator's own pockets at that horizon.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Final

import msgspec
import numpy as np

from drybank.records.errors import InputError, NotIdentified
from drybank.records.upkeep import Span
from drybank.records.working import Input, Working
from drybank.upkeep.clock import Floats, TradeClock

RECENT_WEEKS: Final = 12.0
LEVEL_DRIFT: Final = 0.05
ROUNDING: Final = 0.41
HORIZONS: Final = (4.0, 8.0, 13.0, 26.0)
FEWEST_PAST: Final = 60
RECENT_SPANS: Final = 120  # more readings than twelve weeks can hold, unless read daily and more
FEW_SPANS_CV: Final = 0.25  # weekly scatter taken where fewer than three spans are on file: assumed, no source


class Rate(msgspec.Struct, frozen=True, kw_only=True):
    """Use a trade week [amount], its variance a week, from how many weeks and spans."""

    per_week: float
    variance: float
    weeks: float
    spans: int


class BackTest(msgspec.Struct, frozen=True, kw_only=True):
    """Percentiles of |error| / sd at the horizons [weeks], and from how many past forecasts."""

    horizons: tuple[float, ...] = HORIZONS
    p80: tuple[float, ...]
    p95: tuple[float, ...]
    forecasts: tuple[int, ...]
    source: str

    def factor(self, weeks: float, level: float) -> float:
        """Half-width in sd for a horizon, between the horizons by straight lines."""
        if level not in (0.80, 0.95):
            raise InputError(f"A level of {level:g} is not kept.", allowed="0.80 or 0.95")
        return float(np.interp(weeks, self.horizons, self.p80 if level == 0.80 else self.p95))


# Until the book's own past says otherwise: pooled over 40 simulated stores of 12 pockets, two
# years, no season fitted (`tests/upkeep/test_forecast.py` redoes it); not from a store.
FIRST_GUESS: Final = BackTest(
    p80=(1.36, 1.45, 1.54, 1.62),
    p95=(2.18, 2.29, 2.44, 2.49),
    forecasts=(0, 0, 0, 0),
    source="simulated stores, not yours",
)


def rate(spans: Sequence[Span], clock: TradeClock, *, recent_weeks: float = RECENT_WEEKS) -> Rate:
    """Rate of use over the latest spans that make up ``recent_weeks`` trade weeks.

    Spans may differ in length; variance is that of a week, from the spans' own scatter,
    each weighed by its length. Raises `NotIdentified` where nothing was read in service.
    """
    ordered = sorted(spans, key=lambda s: s.last)
    return _rate([s.amount for s in ordered], [clock.weeks(s.first, s.last) for s in ordered], recent_weeks)


def _rate(amounts: Sequence[float], lengths: Sequence[float], recent_weeks: float = RECENT_WEEKS) -> Rate:
    took: list[tuple[float, float]] = []
    weeks = 0.0
    for amount, length in zip(reversed(amounts), reversed(lengths), strict=True):
        if weeks >= recent_weeks - 1e-9:
            break
        if length > 1e-9:
            took.append((amount, length))
            weeks += length
    total = sum(a for a, _ in took)
    if not took or weeks < 1 / 7 or total <= 0:
        raise NotIdentified("No use was read in service, so no date can be given; read the meter.")
    per_week = total / weeks
    if len(took) < 3:
        variance = (FEW_SPANS_CV * per_week) ** 2
    else:
        variance = sum((a - per_week * w) ** 2 / w for a, w in took) / (len(took) - 1)
    return Rate(per_week=per_week, variance=variance, weeks=weeks, spans=len(took))


def sd_weeks(left: float, found: Rate, *, resolution: float) -> tuple[float, float]:
    """Expected trade weeks until ``left`` is used, and their standard deviation by the formula alone."""
    lam, v = found.per_week, found.variance
    t = left / lam
    var = t * v / lam**2 + t * t * (v / (found.weeks * lam**2) + LEVEL_DRIFT**2) + (ROUNDING * resolution / lam) ** 2
    return t, math.sqrt(var)


class Reached(msgspec.Struct, frozen=True, kw_only=True):
    """The day an amount is reached, its interval, and how it came about. None: beyond ten years."""

    on: date | None
    low: date | None
    high: date | None
    weeks: float
    half_weeks: float
    level: float
    working: Working


def forecast(
    left: float,
    spans: Sequence[Span],
    *,
    today: date,
    clock: TradeClock | None = None,
    resolution: float = 1.0,
    past: BackTest = FIRST_GUESS,
    level: float = 0.80,
) -> Reached:
    """When ``left`` more of the spans' amount will have been used, counted from ``today``.

    ``left`` is what was left at the end of the last span less nothing: use since then is
    forecast too, so ``today`` should be the day of the last reading or later.
    """
    clock = clock or TradeClock()
    found = rate(spans, clock)
    since = max(s.last for s in spans)
    t, sd = sd_weeks(max(left, 0.0), found, resolution=resolution)
    half = past.factor(t, level) * sd
    days = [clock.day_after(since, w) for w in (t, max(0.0, t - half), t + half)]
    on, low, high = ((None if d is None else max(d, today)) for d in days)
    return Reached(on=on, low=low, high=high, weeks=t, half_weeks=half, level=level,
                   working=_working(left, found, clock, past, level))  # fmt: skip


def _working(left: float, found: Rate, clock: TradeClock, past: BackTest, level: float) -> Working:
    season = f"{clock.season.weeks} weeks of the store" if clock.season.weeks else "none: flat year"
    return Working(
        figure="due date",
        formula="left / rate, on a clock of season, weekday and outages; give or take = back-test factor x sd",
        inputs=(
            Input(name="left", value=f"{left:.4g}", how="measured"),
            Input(name="rate a week", value=f"{found.per_week:.4g}", how="learned", source=f"last {found.weeks:.1f} weeks"),
            Input(name="scatter a week", value=f"{math.sqrt(found.variance):.3g}",
                  how="learned" if found.spans >= 3 else "assumed", source=f"{found.spans} readings"),
            Input(name="season", value=season, how="learned" if clock.season.weeks else "assumed"),
            Input(name="back-test factor at 13 weeks", value=f"{past.factor(13.0, level):.2f}", source=past.source,
                  how="learned" if max(past.forecasts) else "assumed"),
        ),
    )  # fmt: skip


# --- the past as judge --------------------------------------------------------------------


def back_test(
    fleet: Sequence[tuple[Sequence[Span], TradeClock]], *, resolution: float = 1.0, every_spans: int = 4
) -> BackTest:
    """Forecast every pocket from many days of its past, compare with what then happened.

    Each pocket is a pair of its spans in order and its clock. At each cut with twelve trade
    weeks before it, the amount that the rate would use in 4, 8, 13, 26 weeks is set as the
    target and the true crossing read off the later spans. A target not reached by the end
    of the past counts with the error it has at least, and only where the past is long
    enough that it should have been reached with room to spare (1.5 times the horizon). A
    horizon with fewer than 60 forecasts keeps the first guess.
    """
    ratios: dict[float, list[float]] = {h: [] for h in HORIZONS}
    for spans, clock in fleet:
        ordered = sorted(spans, key=lambda s: s.first)
        weeks = [clock.weeks(s.first, s.last) for s in ordered]
        amounts = [s.amount for s in ordered]
        run_w, run_a = np.cumsum(weeks), np.cumsum(amounts)
        for cut in range(1, len(ordered), every_spans):
            recent = slice(max(0, cut - RECENT_SPANS), cut)
            if run_w[cut - 1] >= RECENT_WEEKS and sum(amounts[recent]) > 0:
                found = _rate(amounts[recent], weeks[recent])
                _one_cut(found, run_w[cut - 1 :], run_a[cut - 1 :], resolution, ratios)
    return _percentiles(ratios)


def _one_cut(found: Rate, run_w: Floats, run_a: Floats, resolution: float, ratios: dict[float, list[float]]) -> None:
    ahead_w, ahead_a = run_w - run_w[0], run_a - run_a[0]
    for horizon in HORIZONS:
        if ahead_w[-1] < 1.5 * horizon:
            continue
        left = found.per_week * horizon
        t, sd = sd_weeks(left, found, resolution=resolution)
        true = float(np.interp(left, ahead_a, ahead_w)) if ahead_a[-1] >= left else float(ahead_w[-1])
        ratios[horizon].append(abs(true - t) / sd)


def _percentiles(ratios: dict[float, list[float]]) -> BackTest:
    p80, p95, counts = [], [], []
    for i, horizon in enumerate(HORIZONS):
        got = ratios[horizon]
        enough = len(got) >= FEWEST_PAST
        p80.append(float(np.quantile(got, 0.80)) if enough else FIRST_GUESS.p80[i])
        p95.append(float(np.quantile(got, 0.95)) if enough else FIRST_GUESS.p95[i])
        counts.append(len(got))
    known = max(counts) >= FEWEST_PAST
    return BackTest(
        p80=tuple(p80), p95=tuple(p95), forecasts=tuple(counts),
        source="your own pockets' past" if known else "simulated stores, not yours",
    )  # fmt: skip
