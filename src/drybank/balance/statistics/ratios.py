"""The test statistics: cash against counters, against hours, hours against pieces, trade against siblings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from drybank.balance.statistics.growth import BLOCKS, Floats, Growth, blocks, shrink, spread_sd

Ints = npt.NDArray[np.int64]

FEW_COINS = 500.0  # below this many pieces a log ratio is skewed and the difference form is used
_CUT = 1.8  # the middle of the fleet that shows its null, in standard deviations
NULL_POCKETS = 50  # least fleet for which the spread of z may be taken from the fleet itself
HALF_WIDTH_95 = 1.959963984540054


@dataclass(frozen=True)
class Ratio:
    """One statistic for many units. ``share`` is the relative gap (below zero: short), with its 95 %
    interval; ``z`` its size in standard deviations (below zero: short); ``n`` the tally it rests on."""

    share: Floats
    low: Floats
    high: Floats
    z: Floats
    sd: Floats
    n: Floats

    @property
    def loss(self) -> Floats:
        """Share of the expected pieces that is missing; below zero when there is more than expected."""
        return -self.share


def _safe(n: Floats) -> Floats:
    return np.where(n > 0, n, np.nan)


def compare(
    numerator: Floats,
    denominator: Floats,
    growth: Growth,
    centre: float = 0.0,
    extra: Floats | float = 0.0,
) -> Ratio:
    """ln(numerator / denominator) against ``centre``, in its own standard deviations.

    ``extra`` is a further variance in pieces squared: ends of further stretches, hours between a reading
    and its emptying.

    At `FEW_COINS` pieces or more the log ratio is used, below it the difference
    (numerator - denominator) / sqrt(c n^2 + a n + b), which stays symmetric at few coins.
    Units whose denominator is zero give NaN: nothing is known of them.
    """
    d = _safe(np.asarray(denominator, float))
    expected = d * np.exp(centre)
    tally = np.where(np.isnan(d), 1.0, d)
    sd = np.sqrt(growth.variance(tally) + np.asarray(extra) / tally**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.log(np.maximum(numerator, 0.5) / expected)
        gap = numerator / expected - 1.0
        few = d < FEW_COINS
        share = np.where(few, gap, np.expm1(log))
        # the noise is in pieces: at a pocket that lost many it weighs more against those that are left
        half = HALF_WIDTH_95 * sd / np.clip(1.0 + gap, 0.05, 1.0)
        low = np.where(few, gap - HALF_WIDTH_95 * sd, np.expm1(log - half))
        high = np.where(few, gap + HALF_WIDTH_95 * sd, np.expm1(log + half))
        z = np.where(few, gap / sd, log / sd)
    return Ratio(share=share, low=low, high=high, z=z, sd=sd, n=np.asarray(denominator, float))


def fleet_centre(numerator: Floats, denominator: Floats, prior_weight: float = 50.0) -> float:
    """Middle of the fleet's log ratio, leaning on zero as a small fleet must."""
    good = (np.asarray(denominator) > 0) & (np.asarray(numerator) > 0)
    count = int(good.sum())
    if count == 0:
        return 0.0
    middle = float(np.median(np.log(numerator[good] / denominator[good])))
    return middle * count / (count + prior_weight)


def null_of(z: Floats) -> tuple[float, float]:
    """Centre and spread of the clean pockets' z: the normal whose middle the fleet's middle fits.

    Maximum likelihood of a normal cut off at `_CUT` on both sides, so that faults further out do not
    count; after Efron (2004, 2008), who matches the centre of the histogram. The spread leans on one as
    50 pockets would, and never goes below it.
    """
    from scipy.optimize import minimize
    from scipy.special import log_ndtr, ndtr

    middle = float(np.median(z))
    low, high = middle - _CUT, middle + _CUT
    inside = z[(z >= low) & (z <= high)]
    if inside.size < NULL_POCKETS // 2:
        return 0.0, 1.0
    mean, square = float(inside.mean()), float(np.mean(inside**2))

    def misfit(par: Floats) -> float:
        d, s = float(par[0]), float(np.exp(par[1]))
        top, bottom = log_ndtr((high - d) / s), log_ndtr((low - d) / s)
        mass = top + np.log(-np.expm1(min(bottom - top, -1e-12)))
        return float(np.log(s) + (square - 2.0 * d * mean + d * d) / (2.0 * s * s) + mass)

    best = minimize(misfit, np.array([middle, 0.0]), method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-9})
    centre, spread = float(best.x[0]), float(np.exp(best.x[1]))
    seen = float(ndtr((high - centre) / spread) - ndtr((low - centre) / spread))
    known = inside.size * seen
    own = known / (known + NULL_POCKETS)
    return own * centre, max(1.0, float(np.sqrt(own * spread**2 + (1.0 - own))))


def honest_centre(numerator: Floats, denominator: Floats, growth: Growth, extra: Floats | float = 0.0) -> float:
    """Middle of the clean pockets' log ratio: the fleet's middle, moved to where the null's centre lies.

    Faults that lean to one side drag a median along; from `NULL_POCKETS` on they no longer do.
    """
    centre = fleet_centre(np.nan_to_num(numerator), np.nan_to_num(denominator))
    for _ in range(2):
        r = compare(numerator, np.nan_to_num(denominator), growth, centre, extra)
        good = np.isfinite(r.z)
        if int(good.sum()) < NULL_POCKETS:
            break
        centre += null_of(r.z[good])[0] * float(np.median(r.sd[good]))
    return centre


def empirical_null(z: Floats) -> Floats:
    """z recentred and, where the fleet is wider than one, narrowed to it; from `NULL_POCKETS` on."""
    good = np.isfinite(z)
    if int(good.sum()) < NULL_POCKETS:
        return z
    centre, spread = null_of(z[good])
    return (z - centre) / spread


def together(numerator: Floats, denominator: Floats, group: Ints, growth: Growth, centre: float = 0.0) -> Ratio:
    """The same comparison for the sums over each group (bank, store): collectors who skim every pocket
    alike are seen here. Variances of the members add in pieces; what lasts is averaged."""
    size = int(group.max()) + 1 if group.size else 0
    num = np.asarray(np.bincount(group, numerator, size), np.float64)
    den = np.asarray(np.bincount(group, denominator, size), np.float64)
    pieces_sq = growth.variance(np.maximum(denominator, 1.0)) * denominator**2
    var = np.bincount(group, pieces_sq, size) / np.maximum(den, 1.0) ** 2
    flat = Growth(c=0.0, a=0.0, b=0.0)
    out = compare(num, den, flat, centre)
    sd = np.sqrt(np.maximum(var, 1e-12))
    log = np.log(np.maximum(num, 0.5) / (_safe(den) * np.exp(centre)))
    return Ratio(
        share=out.share,
        low=np.expm1(log - HALF_WIDTH_95 * sd),
        high=np.expm1(log + HALF_WIDTH_95 * sd),
        z=log / sd,
        sd=sd,
        n=den,
    )


def others_median(values: Floats, group: Ints) -> tuple[Floats, Ints]:
    """Median of the *other* members of each one's group, and how many they are.

    With no other member the median is 0 (nothing to compare with). NaN members are left out.
    """
    out = np.zeros_like(values)
    count = np.zeros(values.shape, np.int64)
    order = np.lexsort((values, group))
    order = order[np.isfinite(values[order])]
    cuts = np.flatnonzero(np.diff(group[order])) + 1
    for part in np.split(order, cuts):
        k = part.size - 1
        count[part] = k
        if k < 1:
            continue
        v = values[part]  # sorted
        place = np.arange(part.size)
        lo, hi = (k - 1) // 2, k // 2  # middle places among the others
        out[part] = 0.5 * (v[lo + (place <= lo)] + v[hi + (place <= hi)])
    return out, count


@dataclass(frozen=True)
class Change:
    """Change of a log ratio from each unit's own past, less the siblings' median change.

    ``x1`` and ``x2`` are the sums of 1/n and 1/n^2 that its variance grows with, siblings included."""

    change: Floats
    x1: Floats
    x2: Floats
    siblings: Ints
    n: Floats

    def judge(self, growth: Growth, extra: Floats | float = 0.0) -> Ratio:
        """The change in its own standard deviations, with its 95 % interval; ``extra`` variance of the log."""
        sd = np.sqrt(growth.c * (1.0 + self._extra()) + growth.a * self.x1 + growth.b * self.x2 + np.asarray(extra))
        return Ratio(
            share=np.expm1(self.change),
            low=np.expm1(self.change - HALF_WIDTH_95 * sd),
            high=np.expm1(self.change + HALF_WIDTH_95 * sd),
            z=self.change / sd,
            sd=sd,
            n=self.n,
        )

    def _extra(self) -> Floats:
        return np.where(self.siblings > 0, 0.5 * np.pi / np.maximum(self.siblings, 1), 0.0)


def _log_ratio(num: Floats, den: Floats) -> Floats:
    good = (num > 0) & (den > 0)
    return np.where(good, np.log(np.where(good, num, 1.0) / np.where(good, den, 1.0)), np.nan)


def change(
    now: tuple[Floats, Floats], base: tuple[Floats, Floats] | None, group: Ints, tally: tuple[Floats, Floats]
) -> Change:
    """Change of ln(num/den) between two spans, less the leave-one-out median over siblings.

    Parameters
    ----------
    now, base : (numerator, denominator) sums per unit; ``base`` None compares with siblings only.
    group : store of each unit.
    tally : pieces of the two spans, by which the variance grows.
    """
    delta = _log_ratio(*now)
    x1 = 1.0 / np.maximum(tally[0], 1.0)
    x2 = x1**2
    if base is not None:
        delta = delta - _log_ratio(*base)
        past = 1.0 / np.maximum(tally[1], 1.0)
        x1, x2 = x1 + past, x2 + past**2
    middle, count = others_median(delta, group)
    size = int(group.max()) + 1 if group.size else 0
    good = np.isfinite(delta) & np.isfinite(x1)
    known = np.bincount(group, good.astype(float), size)
    # the median of k normals has pi/2 times the variance of their mean
    for_median = np.where(count > 0, 0.5 * np.pi / np.maximum(count, 1), 0.0)
    mean1 = (np.bincount(group, np.where(good, x1, 0.0), size) / np.maximum(known, 1.0))[group]
    mean2 = (np.bincount(group, np.where(good, x2, 0.0), size) / np.maximum(known, 1.0))[group]
    return Change(
        change=delta - middle,
        x1=x1 + for_median * mean1,
        x2=x2 + for_median * mean2,
        siblings=count,
        n=tally[0],
    )


def fit_change_growth(
    numerator: Floats,
    denominator: Floats,
    tally: Floats,
    group: Ints,
    *,
    prior: Growth,
    prior_weight: float = 50.0,
) -> Growth:
    """Growth of a *change* from own past less siblings, from clean weeks (pocket, week).

    Neighbouring spans of 1, 2, 4, 8 and 12 weeks are compared the way `change` compares past and now.
    """
    rows: list[tuple[float, float, float, float]] = []
    for weeks in BLOCKS:
        num, den, n = (blocks(a, weeks) for a in (numerator, denominator, tally))
        got: list[Change] = []
        for k in range(0, num.shape[1] - 1, 2):
            c = change((num[:, k + 1], den[:, k + 1]), (num[:, k], den[:, k]), group, (n[:, k + 1], n[:, k]))
            got.append(c)
        if got:
            rows += _change_spreads(got)
    return shrink(rows, numerator.shape[0], prior, prior_weight)


def _change_spreads(changes: list[Change]) -> list[tuple[float, float, float, float]]:
    values = np.concatenate([c.change for c in changes])
    x1 = np.concatenate([c.x1 for c in changes])
    x2 = np.concatenate([c.x2 for c in changes])
    good = np.isfinite(values) & (np.concatenate([c.n for c in changes]) >= 20.0)
    values, x1, x2 = values[good], x1[good], x2[good]
    order = np.argsort(x1, kind="stable")
    parts = np.array_split(order, int(np.clip(order.size // 30, 1, 5)))
    return [
        (float(x1[part].mean()), float(x2[part].mean()), spread_sd(values[part]) ** 2, float(part.size))
        for part in parts
        if part.size >= 6
    ]


def lasting_weeks(z: Floats, cash: Floats, counter: Floats, growth: Growth, centre: float) -> Floats:
    """z of single weeks, taken back where the week before or after makes up for it.

    A slip in one reading, or coins that fell a week late, show short in one week and over in the next. Of
    a week's z and those of the two pairs that it belongs to, the one nearest to "over" is kept.
    """
    out = z.copy()
    if z.shape[1] < 2:
        return out
    num, den = cash[:, 1:] + cash[:, :-1], counter[:, 1:] + counter[:, :-1]
    pair = np.nan_to_num(compare(num, np.nan_to_num(den), growth, centre).z, nan=-np.inf)
    out[:, 1:] = np.maximum(out[:, 1:], pair)
    out[:, :-1] = np.maximum(out[:, :-1], pair)
    return out


def week_and_total(z_total: Floats, z_weeks: Floats) -> Floats:
    """One-sided chance of being this short by luck, looking at the total and at the worst week.

    p = 2 min(p of the total, weeks x p of the worst week): Bonferroni twice. ``z_weeks`` (unit, week).
    """
    from scipy.stats import norm

    worst = np.nanmin(np.where(np.isfinite(z_weeks), z_weeks, np.inf), axis=1)
    p_week = np.minimum(1.0, z_weeks.shape[1] * norm.cdf(worst))
    return np.asarray(np.minimum(1.0, 2.0 * np.minimum(norm.cdf(z_total), p_week)))
