"""Does a reading fit the one before, and if not, why: a posterior over the ways it can come about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drybank.balance.reading.expect import Expected
from drybank.balance.reading.slips import meant
from drybank.balance.statistics.growth import Floats

COMMON_SIZES = (10_000, 65_536, 100_000, 1_000_000)

# chances before looking; assumptions. A roll-over is no event: it is certain once the size is right.
PRIOR = {
    "fits": 0.959, "reset": 0.004, "board swapped": 0.002, "slip now": 0.022,
    "slip before": 0.008, "neighbour's reading": 0.005,
}  # fmt: skip
SIZE_PRIOR = 0.25  # of each size a counter may have, when its sheet does not say


@dataclass(frozen=True)
class Fit:
    """Posterior over ways a reading came about, likeliest first, and the increment each would mean.

    ``increment`` is None where the way leaves it unknown."""

    way: str
    chance: float
    increment: float | None


@dataclass(frozen=True)
class After:
    """The reading after the odd one: what it showed, and what to expect from the odd one, or from the one before."""

    shown: int
    from_odd: Expected
    from_before: Expected

    def log_chance(self, way: str, odd: int, before: int, size: int | None) -> float:
        """Log chance of the next reading if the odd one came about in this way."""
        was_slip = way in ("slip now", "neighbour's reading")
        step = self.shown - (before if was_slip else odd)
        if step < 0 and size:
            step += size
        expected = self.from_before if was_slip else self.from_odd
        return max(float(expected.log_density(step)), -60.0)


def _log_sum(log: Floats) -> float:
    top = float(np.max(log))
    return top + float(np.log(np.sum(np.exp(log - top)))) if np.isfinite(top) else -np.inf


def _slips(
    written: int, expected: Expected, gain: Floats, earlier: tuple[int, Expected] | None = None
) -> tuple[float, int | None]:
    """Log chance that ``written`` is a slip, and the likeliest number meant. ``gain`` maps a number meant
    to its increment: meant * gain[0] + gain[1]."""
    options = meant(written)
    numbers = np.array([m.number for m in options], float)
    log = expected.log_density(numbers * gain[0] + gain[1]) + np.log([m.chance for m in options])
    if earlier is not None:
        value, then = earlier
        log = log + then.log_density(numbers - value) - max(float(then.log_density(written - value)), -60.0)
    best = int(np.argmax(log))
    return _log_sum(log), options[best].number if np.isfinite(log[best]) else None


def _reset(shown: int, expected: Expected) -> float:
    """Log chance of a counter that started from zero at some moment of the period: shown ~ U(0, increment)."""
    low, high = expected.interval(0.9999)
    grid = np.exp(np.linspace(np.log(low), np.log(high), 200))
    mass = np.exp(expected.log_density(grid)) * np.gradient(grid)
    total = float(np.sum(np.where(grid >= shown, mass / np.maximum(grid, 1.0), 0.0)) / np.sum(mass))
    return float(np.log(max(total, 1e-300)))


def why(
    shown: int,
    before: int,
    expected: Expected,
    *,
    size: int | None = None,
    neighbours: Sequence[tuple[int, Expected]] = (),
    after: After | None = None,
    earlier: tuple[int, Expected] | None = None,
) -> tuple[Fit, ...]:
    """Why a counter shows what it shows.

    Parameters
    ----------
    shown, before : int
        This reading and the last one, in the device's own steps.
    size : int, optional
        Number at which the counter starts again from nothing; None tries the common sizes.
    neighbours : sequence of (last reading, Expected)
        Devices whose reading might have been written here.
    after : After, optional
        The next reading, once there is one: a slip is followed by a reading that goes on from ``before``, a
        reset or another board by one that goes on from ``shown``.
    earlier : (reading, Expected), optional
        The reading before ``before`` and what was expected to follow it: a slip before must fit that too.
    """
    ways: dict[str, tuple[float, float | None]] = {}
    step = float(shown - before)
    ways["fits"] = (np.log(PRIOR["fits"]) + float(expected.log_density(step)), step)
    for s in (size,) if size else COMMON_SIZES:
        if s > max(shown, before):
            prior = np.log(PRIOR["fits"]) + (0.0 if size else np.log(SIZE_PRIOR))
            ways[f"rolled over at {s:,}"] = (prior + float(expected.log_density(step + s)), step + s)
    ways["reset"] = (np.log(PRIOR["reset"]) + _reset(shown, expected), None)
    wide = float(size or 100_000)
    anywhere = 0.9 / wide + 0.1 / (max(shown, 1) * np.log(wide))  # a used board, seldom a new one
    ways["board swapped"] = (np.log(PRIOR["board swapped"] * anywhere), None)
    log, number = _slips(shown, expected, np.array([1.0, -before]))
    ways["slip now"] = (np.log(PRIOR["slip now"]) + log, None if number is None else float(number - before))
    log, number = _slips(before, expected, np.array([-1.0, shown]), earlier)
    ways["slip before"] = (np.log(PRIOR["slip before"]) + log, None if number is None else float(shown - number))
    if neighbours:
        near = np.array([float(e.log_density(shown - last)) for last, e in neighbours])
        ways["neighbour's reading"] = (np.log(PRIOR["neighbour's reading"] / len(near)) + _log_sum(near), None)
    if after is not None:
        ways = {w: (log + after.log_chance(w, shown, before, size), step) for w, (log, step) in ways.items()}
    log_all = np.array([v[0] for v in ways.values()])
    chance = np.exp(log_all - _log_sum(log_all))
    fits = [Fit(w, float(c), v[1]) for (w, v), c in zip(ways.items(), chance, strict=True)]
    return tuple(sorted(fits, key=lambda f: -f.chance))
