"""What the weeks before a period say about its first reading, and how thick the tails of the noise are.

Coins that fell between reading a counter and emptying its box at the start of a period are missing from
its cash, or are in it without having been counted. The running total of (cash - counter) of the weeks
before shows them: it keeps to a line, and the last point's distance from that line is the offset. A
steady loss before the period tilts the line and so is not taken for an offset.
"""

from __future__ import annotations

import numpy as np

from drybank.balance.statistics.growth import Floats, Growth, blocks
from drybank.balance.statistics.ratios import compare

_SLOPE_SD = 0.05  # what a line may tilt beforehand, as a share of the coins: wide on purpose
_CLIP = 4.0  # a step further out than this many sd moves the line no further
LEAST_SPANS = 4
_TAIL_SHARES = ((0.998, 2.8781617390954826), (0.999, 3.090232306167813))
_TAIL_PRIOR = ((1, 1.01), (4, 1.02), (8, 1.045), (12, 1.07))  # by spans, with little to see; an assumption
_TAIL_WEIGHT = 5_000.0  # spans that this assumption counts for
_TAIL_MARGIN = 1.015
LEAST_TAIL = 20
"""Blocks below which the far tail is taken as assumed."""


def start_offset(cash: Floats, counter: Floats, growth: Growth, centre: float = 0.0) -> tuple[Floats, Floats]:
    """Pieces that the last emptying before the period held too many (+) or too few (-), and their variance.

    Parameters
    ----------
    cash, counter : array (pocket, span)
        Pieces before the period, oldest first, the last column ending where the period begins. NaN breaks
        the chain; with fewer than `LEAST_SPANS` unbroken spans the offset is 0 with variance b/2.

    Notes
    -----
    A filter with two states per pocket, level and tilt: total_t = level_t + offset_t, level_t = level_(t-1) +
    tilt x coins + noise of variance a x coins; offsets are independent with variance b/2.
    """
    pockets, spans = cash.shape
    end = growth.b / 2.0
    level, tilt, total = np.zeros(pockets), np.zeros(pockets), np.zeros(pockets)
    var_l, cov, var_t = np.full(pockets, end), np.zeros(pockets), np.full(pockets, _SLOPE_SD**2)
    unbroken = np.zeros(pockets, np.int64)
    for t in range(spans):
        n = np.nan_to_num(counter[:, t])
        gap = cash[:, t] - counter[:, t] * np.exp(centre)
        known = np.isfinite(gap)
        total = total + np.where(known, gap, 0.0)
        level = level + tilt * n
        var_l = var_l + 2.0 * n * cov + n * n * var_t + growth.a * n
        cov = cov + n * var_t
        spread = var_l + end
        limit = _CLIP * np.sqrt(spread)
        off = np.clip(total - level, -limit, limit)
        gain_l, gain_t = var_l / spread, cov / spread
        level, tilt = level + gain_l * off, tilt + gain_t * off
        var_t, cov, var_l = var_t - gain_t * cov, cov - gain_l * cov, var_l - gain_l * var_l
        unbroken = np.where(known, unbroken + 1, 0)
        level, total = np.where(known, level, 0.0), np.where(known, total, 0.0)
        tilt, var_t = np.where(known, tilt, 0.0), np.where(known, var_t, _SLOPE_SD**2)
        var_l, cov = np.where(known, var_l, end), np.where(known, cov, 0.0)
    use = unbroken >= LEAST_SPANS
    return np.where(use, total - level, 0.0), np.where(use, np.minimum(var_l, end), end)


def tail_factor(cash: Floats, counter: Floats, growth: Growth, centre: float = 0.0, *, spans: int = 8) -> float:
    """How much thicker the far tail of clean spans is than a normal's, from the side that no loss touches.

    One or more; jams and counters of their own kind make it so. z is divided by it.

    Measured on blocks as long as the period (``spans``), since the tail thickens with length: the coins between
    reading and emptying, which are normal, weigh less and less, and the fitted growth is a few per cent narrow at its
    far end. With fewer spans before the period than in it, the longest block is taken and lengthened as assumed.
    """
    if not cash.shape[1] or spans < 1:
        return _assumed_tail(spans)
    weeks = min(spans, cash.shape[1])
    n, d = blocks(counter, weeks).ravel(), blocks(cash, weeks).ravel()
    good = (n >= 100.0) & (d > 0)
    seen = compare(d[good], n[good], growth, centre).z
    if seen.size < LEAST_TAIL:
        return _assumed_tail(spans)
    own = seen.size / (seen.size + _TAIL_WEIGHT)
    factor = float(np.mean([float(np.quantile(seen, q)) / normal for q, normal in _TAIL_SHARES]))
    longer = _assumed_tail(spans) / _assumed_tail(weeks)
    return max(1.0, own * _TAIL_MARGIN * factor * longer + (1.0 - own) * _assumed_tail(spans))


def _assumed_tail(spans: int) -> float:
    at, factor = zip(*_TAIL_PRIOR, strict=True)
    return float(np.interp(spans, at, factor))
