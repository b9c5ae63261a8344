"""Nouns of learning: what a change did, what a heated hour burns, how use goes on, what loads need, what to try next.

Effects are fractions (-0.12: twelve of a hundred fewer). An `Estimate` that came out of counting chance carries a
sampling interval; a range that was assumed and then narrowed by what was seen carries ``assumption``, and the two
are never added.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.finding import Finding
from drybank.records.working import Assumption, Estimate, Working

F64 = NDArray[np.float64]
Measure = Literal["pieces", "hours"]
Verdict = Literal["less", "more", "no difference seen", "not known"]
Switching = Literal["lost", "switched", "both", "cannot tell", "nothing to tell apart"]


@dataclass(frozen=True, eq=False)
class WeeklyUse:
    """Use by week of everything that sells time in a store, oldest week first.

    ``units`` are controls (P,); ``starts`` the first moment of each week in days since 1970 (W,); ``pieces`` in the
    smallest piece's worth and ``hours`` of motor (P, W), NaN where readings do not tell. ``bank`` and ``pockets`` of each unit.
    """

    units: tuple[str, ...]
    banks: tuple[str, ...]
    pockets: tuple[int, ...]
    starts: F64
    pieces: F64
    hours: F64

    def of(self, what: Measure) -> F64:
        return self.pieces if what == "pieces" else self.hours


class Contrast(msgspec.Struct, frozen=True, kw_only=True):
    """Units that were changed against units that were not, each collapsed to one number.

    ``p_t`` is Student's with ``df``; ``p_relabel`` the share of all ``relabelings`` at least as far out, where they were
    all gone through. ``decided_by`` names the one that gives the verdict: relabelings where they can reach 1 in 20.
    """

    what: Measure
    effect: Estimate
    log_effect: float
    log_se: float
    df: int
    p_t: float
    p_relabel: float | None
    relabelings: int
    decided_by: Literal["relabelings", "t"]
    verdict: Verdict
    says: str


class StoreMove(msgspec.Struct, frozen=True, kw_only=True):
    """The store's own total after a change, against all that is known of it before, season taken out.

    ``log_se`` and ``df`` are of the store's own line (or of its ratio to other stores, where ``against`` is not 0); None where
    the past is too short.
    """

    what: Measure
    effect: Estimate
    log_effect: float
    log_se: float | None
    df: float | None
    against: int
    weeks_known: int
    p: float | None
    verdict: Verdict
    says: str


class Diversion(msgspec.Struct, frozen=True, kw_only=True):
    """Of what the changed units lost (or won), how much the unchanged ones won (or lost): 0 all lost, 1 all switched."""

    share: Estimate | None
    verdict: Switching
    says: str


class SmallestEffect(msgspec.Struct, frozen=True, kw_only=True):
    """Smallest effect that this store would see four times in five, at one false alarm in twenty.

    Weeks on each side; ``within_frac`` between units of the store, ``store_frac`` in the store's total (None: never told
    here). A fall and a rise of the same certainty differ; these are falls.
    """

    weeks: int
    changed: int
    units: int
    within_frac: float | None
    store_frac: float | None


class Sight(msgspec.Struct, frozen=True, kw_only=True):
    """What a store could see and how long it must wait, said before anything is changed."""

    rows: tuple[SmallestEffect, ...]
    is_from_own_past: bool
    weeks_known: int
    says: str
    assumed: tuple[Assumption, ...] = ()


class Narrowed(msgspec.Struct, frozen=True, kw_only=True):
    """An assumed range after something was seen: prior beside posterior, both 90 % of belief, never a sampling interval."""

    name: str
    unit: str
    prior_low: float
    prior: float
    prior_high: float
    low: float
    value: float
    high: float
    seen: str
    says: str
    working: Working | None = None

    @property
    def narrower_frac(self) -> float:
        """How much of the prior's width on the log scale is gone; below 0 where it grew."""
        before, after = np.log(self.prior_high / self.prior_low), np.log(self.high / self.low)
        return float(1.0 - after / before)


class ChangeSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A change of price or settings and what became of it."""

    what: str
    on: str
    changed: tuple[str, ...]
    unchanged: tuple[str, ...]
    weeks_before: int
    weeks_after: int
    contrasts: tuple[Contrast, ...]
    store: tuple[StoreMove, ...]
    diversion: Diversion | None
    sight: Sight
    narrowed: tuple[Narrowed, ...] = ()
    notes: tuple[str, ...] = ()


# ---------------------------------------------------------------- fuel


class FuelBill(msgspec.Struct, frozen=True, kw_only=True):
    """What a meter measured over days, beside what ran meanwhile.

    ``quantity`` in the bill's unit; ``hours`` of heat or motor; ``air_c`` the mean outdoor air while the store ran;
    ``washes`` where counted; ``share_after`` of the hours that fell after each of the dated changes asked about.
    """

    first: str
    last: str
    days: float
    quantity: float
    hours: float
    air_c: float | None = None
    washes: float | None = None
    share_after: tuple[float, ...] = ()


class FuelLearned(msgspec.Struct, frozen=True, kw_only=True):
    """Fuel of one heated hour, and what stands behind it.

    ``verdict`` "learned" carries a sampling interval; "cannot tell" falls back to the physics with its band, an
    assumption. ``changes`` are effects of dated changes on the hour's fuel, as fractions.
    """

    fuel: str
    unit: str
    verdict: Literal["learned", "cannot tell"]
    per_hour: Estimate
    per_day: Estimate | None
    per_degree_hour: Estimate | None
    per_wash: Estimate | None
    changes: tuple[tuple[str, Estimate], ...] = ()
    last_off: Estimate | None = None
    bills: int
    data_from: str
    data_to: str
    says: str
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


# ---------------------------------------------------------------- use


class Ahead(msgspec.Struct, frozen=True, kw_only=True):
    """Use of one unit or of the whole store over the coming weeks, with the interval that the back-test allows."""

    at: str
    what: Measure
    weeks: int
    total: Estimate


class BackTested(msgspec.Struct, frozen=True, kw_only=True):
    """How often intervals held the past, each made only from what was known before it."""

    weeks: int
    tried: int
    held_frac: float
    level: float = 0.95


class Timing(msgspec.Struct, frozen=True, kw_only=True):
    """Shares of the week (7, Monday first) or of the day (24): told by what, or assumed."""

    what: Literal["weekdays", "hours of the day"]
    share: tuple[float, ...]
    give_or_take: tuple[float, ...]
    how: Literal["learned", "assumed"]
    source: str


class Quarter(msgspec.Struct, frozen=True, kw_only=True):
    """Mean weekly use over the last year's weeks that began in three months of it; measured, over ``weeks`` weeks."""

    at: str
    what: Measure
    months: str
    per_week: float
    weeks: int


class Starts(msgspec.Struct, frozen=True, kw_only=True):
    """Starts a week and what is put in at first and in all, from loads watched; None where nobody watched."""

    per_week: Estimate | None
    first_pieces: Estimate | None
    pieces: Estimate | None
    topped_up_frac: Estimate | None
    how: Literal["learned", "assumed"]
    says: str


class UseLearned(msgspec.Struct, frozen=True, kw_only=True):
    """Weekly use, season where two years tell it, what comes next."""

    weeks: int
    per_week: tuple[Ahead, ...]
    season_swing: Estimate | None
    trend_year: Estimate | None
    ahead: tuple[Ahead, ...]
    back_test: tuple[BackTested, ...]
    timing: tuple[Timing, ...]
    starts: Starts | None = None
    by_season: tuple[Quarter, ...] = ()
    notes: tuple[str, ...] = ()


# ---------------------------------------------------------------- needs


class LoadSeen(msgspec.Struct, frozen=True, kw_only=True):
    """One load as somebody saw it, in minutes of heat.

    ``first`` was bought at first; ``need_low`` to ``need_high`` holds the minutes that it needed (equal: a stop-watch;
    ``need_high`` None: more than was seen). ``sold`` in all; ``first_step`` is what one piece buys, so that the time
    the owner had in mind lay within one step below ``first``. ``first`` 0: the owner's purchase was not seen.
    """

    need_low: float
    need_high: float | None
    first: float = 0.0
    first_step: float = 0.0
    start: float = 0.0
    sold: float = 0.0
    is_calibration: bool = False


class NeedsLearned(msgspec.Struct, frozen=True, kw_only=True):
    """Minutes of heat that loads need: a log-normal distribution, with intervals on each figure."""

    loads: int
    exact: int
    mean: Estimate
    spread_frac: Estimate
    quantiles: tuple[tuple[float, Estimate], ...]
    on_dry: Estimate | None
    bought_more: Estimate | None
    says: str
    notes: tuple[str, ...] = ()


# ---------------------------------------------------------------- experiments


class Option(msgspec.Struct, frozen=True, kw_only=True):
    """One way to find out: what to change for how long, what it would tell, what it may cost.

    ``cost_if_wrong_minor`` is what the worse end of the assumed response loses over the trial.
    """

    name: str
    changed: tuple[str, ...]
    kept: tuple[str, ...]
    weeks_before: int
    weeks_after: int | None
    sees_frac: float | None
    cost_if_wrong_minor: float | None
    measures: str
    cautions: tuple[str, ...] = ()


class Experiment(msgspec.Struct, frozen=True, kw_only=True):
    """How to learn an effect of a given size, options best first."""

    store: str
    effect_frac: float
    options: tuple[Option, ...]
    sight: Sight
    says: str
    assumed: tuple[Assumption, ...] = ()
    currency: str = ""
