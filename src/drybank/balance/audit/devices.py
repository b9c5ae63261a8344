"""Counters and meters followed through time: roll-over, exchange, resets and slips of the pen.

A trace is a running total that does not start again; where an increment cannot be known (a reset, a
board exchanged without its last figure) the trace breaks into stretches, and nothing is computed across.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from drybank.balance.audit.story import Shown, Swapped
from drybank.balance.reading.expect import FLEET_SD, Expected, expect_next, is_clearly_usual
from drybank.balance.reading.fits import After, Fit, why
from drybank.balance.statistics.growth import Floats

_ODD = 4.0  # ln rates further from their neighbours than this many sd are looked at closely
SAME_VISIT_DAYS = 1.0 / 24.0  # readings and emptyings within an hour count as one stop
NEAR_DAYS = 0.3


@dataclass(frozen=True)
class Odd:
    """A reading that does not follow the one before: what it most likely is, and how sure that is."""

    device: str
    at: float
    entry: str
    before: int
    shown: int
    way: str
    chance: float
    others: tuple[Fit, ...]


@dataclass
class Trace:
    """Running totals of one device; ``stretch`` numbers the parts between which nothing is known."""

    device: str
    at: list[float] = field(default_factory=list)
    total: list[float] = field(default_factory=list)
    stretch: list[int] = field(default_factory=list)
    odd: list[Odd] = field(default_factory=list)

    def _add(self, at: float, step: float | None) -> None:
        """Go on by a step; None begins a new stretch."""
        stretch = self.stretch[-1] + (step is None) if self.at else 0
        self.total.append((self.total[-1] if self.at else 0.0) + (step or 0.0))
        self.stretch.append(stretch)
        self.at.append(at)

    def look(self, at: float) -> tuple[float, int, float]:
        """Total at a moment, its stretch, and the days to the nearest reading; (NaN, -1, inf) if not known.

        Between two readings of a stretch the total is laid straight; up to `NEAR_DAYS` outside it is
        carried on at the last rate.
        """
        if not self.at:
            return np.nan, -1, np.inf
        k = bisect_right(self.at, at + 1e-6)
        if k and at - self.at[k - 1] <= 1e-6:
            # of several at one moment the last of the visit counts (the first figure of a new board)
            return self.total[k - 1], self.stretch[k - 1], 0.0
        gap_before = at - self.at[k - 1] if k else np.inf
        gap_after = self.at[k] - at if k < len(self.at) else np.inf
        if min(gap_before, gap_after) <= SAME_VISIT_DAYS:  # one stop: the reading stands as it is
            k = k - 1 if gap_before <= gap_after else k
            return self.total[k], self.stretch[k], min(gap_before, gap_after)
        if 0 < k < len(self.at) and self.stretch[k - 1] == self.stretch[k]:
            f = gap_before / (gap_before + gap_after)
            return (1 - f) * self.total[k - 1] + f * self.total[k], self.stretch[k], min(gap_before, gap_after)
        near = k - 1 if gap_before <= gap_after else k
        gap = min(gap_before, gap_after)
        if gap <= NEAR_DAYS:
            return self.total[near] + self._rate(near) * (at - self.at[near]), self.stretch[near], gap
        return np.nan, -1, np.inf

    def _rate(self, k: int) -> float:
        """Steps a day about reading ``k`` within its stretch."""
        for a, b in ((k - 1, k), (k, k + 1)):
            if a >= 0 and b < len(self.at) and self.stretch[a] == self.stretch[b] and self.at[b] - self.at[a] > 0.5:
                return (self.total[b] - self.total[a]) / (self.at[b] - self.at[a])
        return 0.0

    def between(self, start: float, end: float) -> tuple[float, float, float]:
        """Steps between two moments and the days from each to its nearest reading; NaN across a break."""
        a, part_a, gap_a = self.look(start)
        b, part_b, gap_b = self.look(end)
        if part_a < 0 or part_a != part_b:
            return np.nan, gap_a, gap_b
        return b - a, gap_a, gap_b


@dataclass(frozen=True)
class _Item:
    at: float
    value: int | None
    entry: str
    is_last_of_old: bool = False
    is_first_of_new: bool = False


def _items(device: str, shown: Sequence[Shown], swapped: Sequence[Swapped]) -> list[_Item]:
    items = [_Item(s.at, s.value, s.entry) for s in shown]
    for s in swapped:
        concerns = device in s.last or device in s.first or s.devices == device
        if concerns:
            items.append(_Item(s.at, s.last.get(device), "", is_last_of_old=True))
            items.append(_Item(s.at, s.first.get(device), "", is_first_of_new=True))
    # a reading at the very moment of the exchange is taken to be of the new part
    return sorted(items, key=lambda i: (i.at, 0 if i.is_last_of_old else 1 if i.is_first_of_new else 2))


def usual_rate(shown: Sequence[Shown], size: int) -> float:
    """Median steps a day of a device, roll-over bridged; NaN with fewer than two readings."""
    if len(shown) < 2:
        return float("nan")
    t = np.array([s.at for s in shown])
    step = np.diff(np.array([s.value for s in shown], float))
    days = np.diff(t)
    good = days > 0.5
    step = np.where(step < 0, step + size, step)
    return float(np.median(step[good] / days[good])) if good.any() else float("nan")


def follow(
    device: str,
    shown: Sequence[Shown],
    swapped: Sequence[Swapped],
    *,
    size: int,
    fleet_sd: float = FLEET_SD,
    fleet_rate: float | None = None,
) -> Trace:
    """Follow one device through its readings.

    ``size`` is the number at which it starts again from nothing, in its own steps; ``fleet_rate`` the
    siblings' median steps a day, for a device without a past.
    """
    items = _items(device, shown, swapped)
    trace = Trace(device)
    if _all_plain(items, size):
        _plain(trace, items, size)
    else:
        _careful(trace, items, size, fleet_sd, fleet_rate)
    return trace


def _steps(items: Sequence[_Item], size: int) -> tuple[Floats, Floats]:
    value = np.array([i.value for i in items], float)
    step = np.diff(value)
    return np.where(step < 0, step + size, step), np.diff(np.array([i.at for i in items]))


def _all_plain(items: Sequence[_Item], size: int) -> bool:
    """Whether every step, roll-over bridged, is near what the device does before and after."""
    if any(i.is_first_of_new or i.value is None or i.value >= size for i in items) or len(items) < 6:
        return False
    step, days = _steps(items, size)
    if (days < 0.5).any():
        return False
    rate = np.log(np.maximum(step, 0.5) / days)
    pad = np.pad(rate, 4, mode="reflect") if rate.size > 4 else np.pad(rate, 4, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(pad, 9), axis=1)
    off = np.abs(rate - middle)
    return bool((off <= _ODD * max(0.12, 1.4826 * float(np.median(off)))).all())


def _plain(trace: Trace, items: Sequence[_Item], size: int) -> None:
    step, _ = _steps(items, size)
    trace.at = [i.at for i in items]
    trace.total = [0.0, *np.cumsum(step).tolist()]
    trace.stretch = [0] * len(items)


@dataclass
class _Walk:
    """Where the careful walk stands: the last reading kept, and the steps and days before it."""

    last_at: float = 0.0
    last: int | None = None
    earlier_at: float = 0.0
    earlier: int | None = None
    past: list[float] = field(default_factory=list)
    days: list[float] = field(default_factory=list)

    def keep(self, at: float, value: int | None) -> None:
        self.earlier_at, self.earlier = self.last_at, self.last
        self.last_at, self.last = at, value


def _careful(trace: Trace, items: Sequence[_Item], size: int, fleet_sd: float, fleet_rate: float | None) -> None:
    walk = _Walk()
    for k, item in enumerate(items):
        after = next((i for i in items[k + 1 : k + 2] if i.value is not None and not i.is_last_of_old), None)
        if item.is_first_of_new:
            walk.keep(item.at, item.value)  # the new part goes on where the old one ended
        elif item.value is None:  # the old part's last figure is not known
            if item.is_last_of_old and trace.at:
                trace._add(item.at, None)
        elif walk.last is None:
            trace._add(item.at, None)
            walk.keep(item.at, item.value)
        elif item.at - walk.last_at < 1e-6:
            walk.keep(item.at, max(item.value, walk.last))
        else:
            _step_on(trace, walk, (item, after), (size, fleet_sd, fleet_rate))


def _step_on(
    trace: Trace, walk: _Walk, items: tuple[_Item, _Item | None], device: tuple[int, float, float | None]
) -> None:
    """Take one reading into the trace, or leave it out."""
    item, next_item = items
    size, fleet_sd, fleet_rate = device
    shown, before = item.value or 0, walk.last or 0
    days = item.at - walk.last_at

    def expect(span: float) -> Expected:
        past, took = np.array(walk.past[-8:]), np.array(walk.days[-8:])
        return expect_next(past, took, span, fleet_sd=fleet_sd, fleet_rate_day=fleet_rate)

    step: float | None = float(shown - before + (size if shown < before else 0))
    if shown >= size or not is_clearly_usual(step or 0.0, walk.past, walk.days, days, fleet_sd=fleet_sd):
        expected = expect(days)
        low, high = expected.interval()
        if shown >= size or not (low - 1 <= (step or 0.0) <= high + 1):
            after = earlier = None
            if next_item is not None and next_item.value is not None and next_item.at > item.at:
                after = After(next_item.value, expect(next_item.at - item.at), expect(next_item.at - walk.last_at))
            if walk.earlier is not None and walk.last_at > walk.earlier_at:
                earlier = (walk.earlier, expect(walk.last_at - walk.earlier_at))
            fits = why(shown, before, expected, size=size, after=after, earlier=earlier)
            step, is_kept = _judge(trace, item, before, fits, size)
            if not is_kept:
                return
    trace._add(item.at, step)
    if step is not None:
        walk.past.append(step)
        walk.days.append(days)
    walk.keep(item.at, shown)


def _judge(trace: Trace, item: _Item, before: int, fits: tuple[Fit, ...], size: int) -> tuple[float | None, bool]:
    """What an odd reading means: its step (None: not known) and whether it is kept.

    A slip is left out and the next reading bridges it; a reading after a slip, a reset or another board
    begins a new stretch.
    """
    shown = item.value or 0
    best = fits[0]
    step = float(shown - before)
    if best.way == "fits":
        return step, True
    if best.way.startswith("rolled over"):
        return step + size, True
    trace.odd.append(Odd(trace.device, item.at, item.entry, before, shown, best.way, best.chance, fits[1:3]))
    return None, best.way not in ("slip now", "neighbour's reading")
