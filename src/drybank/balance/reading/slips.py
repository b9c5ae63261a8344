"""Slips of the pen: which numbers could have been meant, and how likely each slip is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

# shares of slips by kind; a choice, told in the working (no count of slips of this trade is published)
SHARE = {"two digits swapped": 0.30, "one digit wrong": 0.40, "a digit left out": 0.15, "a digit doubled": 0.15}


@dataclass(frozen=True)
class Meant:
    """A number that may have been meant, the slip that would explain what was written, and its chance."""

    number: int
    slip: str
    chance: float


def _swapped(text: str) -> Iterator[str]:
    for i in range(len(text) - 1):
        if text[i] != text[i + 1]:
            yield text[:i] + text[i + 1] + text[i] + text[i + 2 :]


def _wrong(text: str) -> Iterator[str]:
    for i, digit in enumerate(text):
        for other in "0123456789":
            if other != digit:
                yield text[:i] + other + text[i + 1 :]


def _left_out(text: str) -> Iterator[str]:
    """Numbers that lose one digit to give ``text``."""
    seen = set()
    for i in range(len(text) + 1):
        for digit in "0123456789":
            longer = text[:i] + digit + text[i:]
            if longer not in seen and not longer.startswith("0"):
                seen.add(longer)
                yield longer


def _doubled(text: str) -> Iterator[str]:
    """Numbers that give ``text`` when one of their digits is written twice."""
    for i in range(len(text) - 1):
        if text[i] == text[i + 1] and (i == 0 or text[i - 1] != text[i]):
            yield text[:i] + text[i + 1 :]


def meant(written: int) -> tuple[Meant, ...]:
    """Every number one slip away from the one written, with the chance of just that slip."""
    text = str(written)
    n = len(text)
    ways: list[tuple[str, Iterator[str], int]] = [
        ("two digits swapped", _swapped(text), max(1, n - 1)),
        ("one digit wrong", _wrong(text), 9 * n),
        ("a digit left out", _left_out(text), n + 1),
        ("a digit doubled", _doubled(text), max(1, n - 1)),
    ]
    out = [Meant(int(t), slip, SHARE[slip] / places) for slip, texts, places in ways for t in texts if t]
    return tuple(m for m in out if m.number != written)
