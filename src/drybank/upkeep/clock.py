"""The trade clock: how much of an ordinary week each day is worth.

A day's weight is season x weekday share, and nothing while the pocket is out of service.
Seven ordinary days make one trade week. Rates, scatter and due dates are worked out on
this clock and carried back to the calendar.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.errors import InputError, NotIdentified
from drybank.records.upkeep import Outage

Floats = NDArray[np.float64]
YEAR_DAYS: Final = 365.2425
EVEN_WEEK: Final = (1 / 7,) * 7
SEASON_WEEKS: Final = 104  # two years, to tell season from trend


class Season(msgspec.Struct, frozen=True, kw_only=True):
    """Yearly swing of the trade as one or two waves: coefficients of cos and sin on the log scale.

    The empty season is a flat year.
    """

    cos: tuple[float, ...] = ()
    sin: tuple[float, ...] = ()
    weeks: int = 0

    def index(self, ordinals: Floats) -> Floats:
        """Season of days (proleptic ordinals), mean about 1."""
        angle = 2 * np.pi * ordinals / YEAR_DAYS
        log = np.zeros_like(ordinals, dtype=float)
        for k, (a, b) in enumerate(zip(self.cos, self.sin, strict=True), start=1):
            log += a * np.cos(k * angle) + b * np.sin(k * angle)
        index: Floats = np.exp(log)
        return index


FLAT: Final = Season()


def fit_season(first: date, weekly: Sequence[float], *, waves: int = 1) -> Season:
    """Season of a store from its weekly totals, beside a straight trend, by least squares on logs.

    ``weekly`` are totals of all pockets, a week each from ``first`` on. Needs two years;
    weeks without trade are left out.
    """
    y = np.asarray(weekly, dtype=float)
    if y.size < SEASON_WEEKS:
        raise NotIdentified(f"{y.size} weeks cannot tell season from trend; it takes {SEASON_WEEKS}.")
    if np.any(~np.isfinite(y)) or np.any(y < 0):
        raise InputError("A week's total is below zero or missing.", mend="Leave weeks without readings out as 0.")
    days = first.toordinal() + 3.5 + 7.0 * np.arange(y.size)
    keep = y > 0
    angle = 2 * np.pi * days / YEAR_DAYS
    columns = [np.ones_like(days), (days - days.mean()) / YEAR_DAYS]
    for k in range(1, waves + 1):
        columns += [np.cos(k * angle), np.sin(k * angle)]
    a = np.column_stack(columns)[keep]
    fit = np.linalg.lstsq(a, np.log(y[keep]), rcond=None)[0][2:]
    return Season(cos=tuple(map(float, fit[0::2])), sin=tuple(map(float, fit[1::2])), weeks=int(keep.sum()))


class TradeClock(msgspec.Struct, frozen=True, kw_only=True):
    """Season, weekday shares (Monday first, adding to 1) and outages of one pocket or box."""

    season: Season = FLAT
    weekday_frac: tuple[float, ...] = EVEN_WEEK
    outages: tuple[Outage, ...] = ()

    def __post_init__(self) -> None:
        if len(self.weekday_frac) != 7 or min(self.weekday_frac) < 0 or abs(sum(self.weekday_frac) - 1) > 1e-9:
            raise InputError("Weekday shares are seven, none below zero, adding to 1.", mend="Monday first.")

    @property
    def _is_plain(self) -> bool:
        """Every day alike: then weeks are days over seven, without looking at each."""
        return not self.season.cos and not self.outages and self.weekday_frac == EVEN_WEEK

    def weights(self, first: date, days: int) -> Floats:
        """Trade weeks of each day from ``first`` on."""
        ordinals = first.toordinal() + np.arange(days, dtype=float)
        weekday = np.asarray(self.weekday_frac)[(first.weekday() + np.arange(days)) % 7]
        weight: Floats = self.season.index(ordinals) * weekday
        for out in self.outages:
            start = out.first.toordinal() - first.toordinal()
            stop = days if out.last is None else out.last.toordinal() - first.toordinal()
            weight[max(0, start) : max(0, stop)] = 0.0
        return weight

    def weeks(self, first: date, last: date) -> float:
        """Trade weeks from a day to a day (not in it)."""
        if self._is_plain:
            return max(0, (last - first).days) / 7.0
        return float(self.weights(first, max(0, (last - first).days)).sum())

    def day_after(self, start: date, weeks: float, *, within_days: int = 3650) -> date | None:
        """The day on which so many trade weeks have passed from ``start``; None beyond ten years."""
        if weeks <= 0:
            return start
        run = np.cumsum(self.weights(start, within_days))
        at = int(np.searchsorted(run, weeks - 1e-12))
        return None if at >= within_days else start + timedelta(days=at)
