"""Chance by random access: every draw is a pure function of seed, stream, customer and place.

A setting that changes who waits or buys what never changes which customers come or what
they would do, so two settings meet the same customers. The mixer is splitmix64's
(Steele, Lea, Flood 2014; constants from memory, held against its published outputs in the tests).
"""

from __future__ import annotations

import math
from typing import Final

MASK: Final = (1 << 64) - 1
GOLDEN: Final = 0x9E3779B97F4A7C15
MIX_A: Final = 0xBF58476D1CE4E5B9
MIX_B: Final = 0x94D049BB133111EB
ROW: Final = 36  # floats of one spread: mean, last index, up to 33 values


def mix(z: int) -> int:
    """64 well-mixed bits from 64."""
    z = ((z ^ (z >> 30)) * MIX_A) & MASK
    z = ((z ^ (z >> 27)) * MIX_B) & MASK
    return z ^ (z >> 31)


def draw(key: int, place: int) -> int:
    """The 64 bits at one place of a key."""
    return mix((key + (place + 1) * GOLDEN) & MASK)


def field(bits: int, at: int, width: int) -> float:
    """A uniform number in (0, 1), from the middle of one of ``2**width`` equal cells."""
    return (((bits >> at) & ((1 << width) - 1)) + 0.5) * 2.0**-width


def sample(dist: list[float], row: int, u: float) -> float:
    """The value of a packed spread at probability ``u``."""
    at = row * ROW
    if dist[at] > 0.0:
        return -math.log(u) * dist[at]
    pos = u * dist[at + 1]
    i = int(pos)
    low = dist[at + 2 + i]
    return low + (dist[at + 3 + i] - low) * (pos - i)
