"""From counts to a week that a person can read: means with intervals, waits by hour, pockets."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from drybank.records.traffic import HOURS, HourOfWeek, LostReason, PocketWeek, Store, Traffic
from drybank.records.working import Assumption, Estimate, Interval
from drybank.traffic import places as pl
from drybank.traffic.running import Counts, Ints

Floats = npt.NDArray[np.float64]
LOST: dict[LostReason, str] = {
    "washer line too long": "lost_washer_line",
    "washer wait": "lost_washer_wait",
    "pocket line too long": "lost_pocket_line",
    "pocket wait": "lost_pocket_wait",
}


def estimate(each: Floats, unit: str) -> Estimate:
    """Mean over replications with its 95 % interval (Student's t); no interval from a single one.

    ``each`` holds one value a replication; values that are not known (NaN) are left out.
    """
    known = each[np.isfinite(each)]
    if len(known) == 0:
        return Estimate(value=math.nan, unit=unit)
    mean = float(known.mean())
    if len(known) < 2:
        return Estimate(value=mean, unit=unit)
    from scipy.special import stdtrit

    half = float(stdtrit(len(known) - 1, 0.975) * known.std(ddof=1) / math.sqrt(len(known)))
    return Estimate(value=mean, unit=unit, interval=Interval(mean - half, mean + half))


def ratio(over: Ints, under: Ints) -> Floats:
    """One ratio a replication; not known (NaN) where nothing was counted."""
    out: Floats = np.full(len(over), np.nan)
    np.divide(over, under, out=out, where=under > 0)
    return out


def percentile_s(bins: Ints, frac: float) -> float | None:
    """Upper edge of the minute in which a percentile of waits lies, 0 for none; None without waits. [s]

    Waits beyond the last minute kept are reported as that minute (62 min).
    """
    total = int(bins.sum())
    if total == 0:
        return None
    return 60.0 * int(np.searchsorted(np.cumsum(bins), math.ceil(frac * total)))


def _hours(counts: Counts, span: int) -> tuple[HourOfWeek, ...]:
    """``span`` weeks were counted in all."""
    return tuple(
        HourOfWeek(
            hour=h,
            customers=float(counts.hours[0, h]) / span,
            pockets_taken=float(counts.hours[1, h]) / span / pl.HOUR,
            heated_s=float(counts.hours[2, h]) / span / pl.SECOND,
            washer_wait_p50_s=percentile_s(counts.waits[0, h], 0.5),
            washer_wait_p95_s=percentile_s(counts.waits[0, h], 0.95),
            pocket_wait_p50_s=percentile_s(counts.waits[1, h], 0.5),
            pocket_wait_p95_s=percentile_s(counts.waits[1, h], 0.95),
        )
        for h in range(HOURS)
    )


def _pockets(store: Store, counts: Counts, span: int) -> tuple[PocketWeek, ...]:
    sums = counts.meters.sum(axis=0) / span
    return tuple(
        PocketWeek(
            name=pocket.name,
            starts=float(row[pl.M_STARTS]),
            pieces=float(row[pl.M_PIECES]),
            sold_s=float(row[pl.M_SOLD]) / pl.SECOND,
            motor_s=float(row[pl.M_MOTOR]) / pl.SECOND,
            heated_s=float(row[pl.M_HEATED]) / pl.SECOND,
            taken_frac=float(row[pl.M_TAKEN]) / pl.WEEK,
        )
        for pocket, row in zip(store.pockets, sums, strict=True)
    )


def wait_p95_each(counts: Counts) -> float | None:
    """The 95th percentile of all waits for a pocket. [s]"""
    return percentile_s(counts.waits[1].sum(axis=0), 0.95)


def summary(store: Store, counts: Counts, *, weeks: int, seed: int, assumed: tuple[Assumption, ...]) -> Traffic:
    """The readable week of counts; ``weeks`` were counted in each replication."""
    n = len(counts.totals)

    def weekly(name: str, unit: str, scale: float = 1.0) -> Estimate:
        return estimate(counts.column(name) / (weeks * scale), unit)

    def mean_s(kind: str) -> Estimate:
        waits = ratio(counts.column(f"{kind}_wait_ticks"), counts.column(f"{kind}_waits"))
        return estimate(waits / pl.SECOND, "s")

    taken = counts.column("taken_ticks") / (weeks * pl.WEEK * len(store.pockets))
    return Traffic(
        weeks=weeks, replications=n, seed=seed, events=int(counts.column("events").sum()),
        customers=weekly("customers", "a week"), served=weekly("served", "a week"),
        lost={reason: weekly(name, "a week") for reason, name in LOST.items()},
        loads_dried=weekly("loads", "a week"), loads_damp=weekly("damp", "a week"),
        pieces=weekly("pieces", "a week"), refunded_pieces=weekly("refunded", "a week"),
        washer_wait_mean_s=mean_s("washer"), pocket_wait_mean_s=mean_s("pocket"),
        pocket_wait_p95_s=wait_p95_each(counts),
        pockets_taken_frac=estimate(taken, "fraction"), heated_s=weekly("heated_ticks", "s a week", pl.SECOND),
        hours=_hours(counts, n * weeks), pockets=_pockets(store, counts, n * weeks), assumptions=assumed,
    )  # fmt: skip
