"""The check while a reading is typed: ask to read again without showing the range; suggest only after the
same number came twice. Nothing is ever changed silently, and cash and counts are not checked at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drybank.balance.reading.expect import Expected
from drybank.balance.reading.slips import meant
from drybank.balance.statistics.growth import Floats

RATIO_SD = 3.4  # hours per coin further off than this many sd are asked again; true ones about 1 in 1,000


@dataclass(frozen=True)
class HoursKnown:
    """What the hours of the same visit say about the pieces: ln(pieces) ~ N(centre, sd)."""

    centre: float
    sd: float

    def log_chance(self, pieces: Floats) -> Floats:
        """Log likelihood of so many pieces, up to a constant."""
        t = (np.log(np.maximum(pieces, 0.5)) - self.centre) / self.sd
        return np.asarray(-0.5 * t**2)


@dataclass(frozen=True)
class EntryCheck:
    """Whether to accept, and what to say. ``suggested`` is empty until the same number came twice."""

    accept: bool
    says: str = ""
    suggested: tuple[int, ...] = ()


def _step(number: Floats, last: int, size: int | None) -> Floats:
    step = np.asarray(number, float) - last
    return np.where(step < 0, step + size, step) if size else step


def fits_expected(
    typed: int, last: int, expected: Expected, *, size: int | None = None, hours: HoursKnown | None = None
) -> bool:
    """Whether a typed reading lies where the past, and the hours if known, let it lie."""
    if typed < 0 or (size is not None and typed >= size):
        return False
    step = float(_step(np.array([typed]), last, size)[0])
    low, high = expected.interval()
    if not low - 1.0 <= step <= high + 1.0:
        return False
    return hours is None or abs(np.log(max(step, 0.5)) - hours.centre) <= RATIO_SD * hours.sd


def check_entry(
    typed: int,
    last: int,
    expected: Expected,
    *,
    size: int | None = None,
    hours: HoursKnown | None = None,
    neighbours: Sequence[int] = (),
    typed_before: int | None = None,
) -> EntryCheck:
    """Check one typed reading.

    ``typed_before`` is what was typed at the first try of the same field, if there was one. The answer
    never holds a range or an expected figure. ``neighbours`` are the last readings of the devices nearby.
    """
    if fits_expected(typed, last, expected, size=size, hours=hours):
        return EntryCheck(accept=True)
    if typed_before is None or typed_before != typed:
        return EntryCheck(accept=False, says="Please read it again, digit by digit.")
    suggested = suggestions(typed, last, expected, size=size, hours=hours)
    says = "Kept as you read it twice; it will be looked at."
    if suggested:
        says = "Kept as you read it twice. Could it be " + " or ".join(f"{s}" for s in suggested) + "?"
    elif any(0 <= typed - n <= expected.interval()[1] for n in neighbours):
        says = "Kept as you read it twice. Is it the reading of the pocket next to it?"
    return EntryCheck(accept=True, says=says, suggested=suggested)


def suggestions(
    typed: int,
    last: int,
    expected: Expected,
    *,
    size: int | None = None,
    hours: HoursKnown | None = None,
    most: int = 2,
) -> tuple[int, ...]:
    """Numbers one slip away that fit, likeliest first."""
    options = [m for m in meant(typed) if fits_expected(m.number, last, expected, size=size, hours=hours)]
    if not options:
        return ()
    steps = _step(np.array([m.number for m in options], float), last, size)
    log = np.log([m.chance for m in options]) + expected.log_density(steps)
    if hours is not None:
        log = log + hours.log_chance(steps)
    order = np.argsort(-log, kind="stable")
    seen: list[int] = []
    for k in order:
        if options[k].number not in seen:
            seen.append(options[k].number)
    return tuple(seen[:most])
