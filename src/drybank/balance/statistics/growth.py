"""How the error of a log ratio shrinks as weeks are added up.

Over a span whose denominator tally is n, the log ratio of two tallies has variance
c + a/n + b/n^2: c is what lasts (a counter's own bias), a is fresh noise of each piece, b belongs to
the two ends of the span (coins that fell between reading and emptying, a meter read rounded down).
The three are taken from the fleet's own clean weeks, never typed in: spans of 1, 2, 4, 8 and 12 weeks
are laid side by side and the spread over pockets is fitted by non-negative least squares.
Spread is a biweight, so that a few thieves or slips do not widen the limits.
"""

from __future__ import annotations

import msgspec
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

REACH = 9.0  # median absolute deviations within which a value counts, the usual choice of the biweight
PRIOR_WEIGHT = 50.0  # pockets that the assumed growth counts for; a choice, tried in bench/balance_power.py
BLOCKS = (1, 2, 4, 8, 12)
_LEAST = 20.0  # pieces (or piece equivalents) below which a span is not used in the fit


class Growth(msgspec.Struct, frozen=True, kw_only=True):
    """Variance of a log ratio as c + a/n + b/n^2. ``pockets`` is how many it was fitted on (0: assumed)."""

    c: float
    a: float
    b: float
    pockets: int = 0

    def variance(self, n: Floats | float) -> Floats:
        """Variance at tally ``n`` (> 0)."""
        x = 1.0 / np.maximum(np.asarray(n, float), 1e-9)
        return np.asarray(self.c + self.a * x + self.b * x * x)

    def end_share(self, n: float) -> float:
        """Share of the variance at tally ``n`` that comes from the two ends of the span."""
        return float((self.b / n**2) / self.variance(n))

    def end_coins_sd(self) -> float:
        """Coins, as a standard deviation, that one reading-to-emptying gap leaves open: sqrt(b / 2)."""
        return float(np.sqrt(self.b / 2.0))


def spread_sd(values: Floats) -> float:
    """Robust spread as a standard deviation: the biweight midvariance.

    Pieces are whole numbers, so that the median absolute deviation jumps from step to step; the biweight
    (Tukey; form of Lax 1985, from memory) is smooth and sees the occasional jam, yet gives no weight to
    what lies far out.
    """
    middle = float(np.median(values))
    near = float(np.median(np.abs(values - middle)))
    if near <= 0.0:
        near = float(np.mean(np.abs(values - middle))) / 1.2
    if near <= 0.0:
        return 0.0
    u2 = np.minimum(((values - middle) / (REACH * near)) ** 2, 1.0)
    weight = (1.0 - u2) ** 2
    middle = float(np.sum(weight * values) / np.sum(weight))  # a median of whole numbers sits on a step
    off = values - middle
    u2 = np.minimum((off / (REACH * near)) ** 2, 1.0)
    scale = float(np.sum(np.where(u2 < 1.0, (1.0 - u2) * (1.0 - 5.0 * u2), 0.0))) ** 2 / values.size
    return float(np.sqrt(np.sum(off**2 * (1.0 - u2) ** 4) / scale))


def blocks(tally: Floats, weeks: int) -> Floats:
    """Sums over consecutive spans of ``weeks``; shape (pocket, week) -> (pocket, span)."""
    spans = tally.shape[1] // weeks
    out: Floats = tally[:, : spans * weeks].reshape(tally.shape[0], spans, weeks).sum(axis=2)
    return out


def nonnegative_fit(x1: Floats, x2: Floats, spread: Floats, count: Floats) -> tuple[float, float, float]:
    """(c, a, b) >= 0 with c + a x1 + b x2 close to ``spread``; weighted by count over the fitted variance.

    The weights are renewed from the fit, so that spans that came out narrow by luck do not pull it down.
    """
    from scipy.optimize import nnls

    design = np.column_stack([np.ones_like(x1), x1, x2])
    scale = spread.copy()
    fit = np.zeros(3)
    for _ in range(4):
        weight = np.sqrt(count) / np.maximum(scale, 1e-12)
        # columns are brought to one size first: they differ by ten powers
        size = np.maximum(np.abs(design * weight[:, None]).max(axis=0), 1e-300)
        fit = nnls(design * weight[:, None] / size, spread * weight)[0] / size
        scale = design @ fit
    return float(fit[0]), float(fit[1]), float(fit[2])


def _spreads(ratio: Floats, x1: Floats, x2: Floats) -> list[tuple[float, float, float, float]]:
    """Spread of ``ratio`` in up to five groups of like x1: rows (x1, x2, variance, count)."""
    order = np.argsort(x1, kind="stable")
    groups = int(np.clip(order.size // 30, 1, 5))
    rows = []
    for part in np.array_split(order, groups):
        if part.size >= 6:
            # a count has no finer grain than one piece; the floor is its rounding error
            floor = float(np.median(x2[part])) / 12.0
            v = max(spread_sd(ratio[part]) ** 2, floor)
            rows.append((float(np.mean(x1[part])), float(np.mean(x2[part])), v, float(part.size)))
    return rows


def fit_growth(numerator: Floats, denominator: Floats, *, prior: Growth, prior_weight: float = PRIOR_WEIGHT) -> Growth:
    """Growth of ln(sum numerator / sum denominator) from clean weeks of many pockets.

    Parameters
    ----------
    numerator, denominator : array (pocket, week)
        Weekly tallies, denominators in pieces or piece equivalents.
    prior : Growth
        What is assumed before any data; it counts for ``prior_weight`` pockets.

    Notes
    -----
    Robust: up to a third of spans may be wrong without moving the fit much. With no usable span
    the prior is returned.
    """
    pieces: list[tuple[float, float, float, float]] = []
    pockets = numerator.shape[0]
    for weeks in BLOCKS:
        if weeks > numerator.shape[1]:
            break
        n, d = blocks(denominator, weeks).ravel(), blocks(numerator, weeks).ravel()
        good = (n >= _LEAST) & (d > 0)
        if good.sum() >= 6:
            n, d = n[good], d[good]
            pieces += _spreads(np.log(d / n), 1.0 / n, 1.0 / n**2)
    return shrink(pieces, pockets, prior, prior_weight)


def shrink(pieces: list[tuple[float, float, float, float]], pockets: int, prior: Growth, prior_weight: float) -> Growth:
    """Fit the rows (x1, x2, spread, count) and lean on the prior as a small fleet must."""
    if len(pieces) < 2:
        return prior
    x1, x2, spread, count = (np.array(col) for col in zip(*pieces, strict=True))
    c, a, b = nonnegative_fit(x1, x2, spread, count)
    own = pockets / (pockets + prior_weight)
    return Growth(
        c=own * c + (1.0 - own) * prior.c,
        a=own * a + (1.0 - own) * prior.a,
        b=own * b + (1.0 - own) * prior.b,
        pockets=pockets,
    )
