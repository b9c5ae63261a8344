"""The look-alike guard: a phone without signal asks "read it again", and nothing that it holds says what was expected.

Plausible readings of a device fall into buckets of a fixed width (a ten-thousandth of where it starts again: the width tells
nothing). Of every plausible bucket the phone gets a digest::

    digest = PBKDF2-HMAC-SHA256( "<bucket>:<spice>", salt, STRETCH rounds )[:6]      spice one of 0 .. SPICES - 1, thrown away

To ask about one bucket, all spices must be tried, so asking is `SPICES` times as dear as making. The list is filled up with
digests of nothing to one length, so that its length says nothing either. What this is worth stands in docs/guides/phone.md:
it keeps a range from being read off the phone, it does not keep it from someone who takes the phone's data to a computer
and works on it for hours.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.second_look import plausible
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.book import Book

SPICES = 512
STRETCH = 1_000
LENGTH = 40
"""Digests on the phone for each device, true ones and fillers together."""
MOST = 30
"""True ones at most."""
BUCKETS = 10_000
GOOD_FOR = timedelta(hours=36)
"""How long a round may be walked after it was fetched; later the guard keeps still."""


class Guard(msgspec.Struct, frozen=True, kw_only=True):
    """What the phone asks: salt in hex, bucket width in the device's own steps, spices, stretch, digests in hex."""

    salt: str
    width: int
    spices: int
    stretch: int
    digests: tuple[str, ...]


def digest(bucket: int, spice: int, salt: bytes, stretch: int = STRETCH) -> str:
    """One digest, as the phone works it out too."""
    return hashlib.pbkdf2_hmac("sha256", f"{bucket}:{spice}".encode(), salt, stretch, 6).hex()


def guard_of(low: int, high: int, size: int, *, entropy: Callable[[int], bytes] = os.urandom) -> Guard | None:
    """A guard for readings from ``low`` on to ``high`` (which may lie past the roll-over); None where that is nearly all.

    A range too wide for the list takes wider buckets, which tells that it is wide.
    """
    width = max(1, size // BUCKETS)
    while (high - low) // width > MOST:
        width *= 2
    if high - low >= size // 2:
        return None
    buckets = dict.fromkeys((b * width) % size // width for b in range(low // width, high // width + 1))
    salt = entropy(16)
    true = [digest(b, entropy(1)[0] % SPICES, salt) for b in buckets]
    fill = [entropy(6).hex() for _ in range(LENGTH - len(true))]
    out = sorted([*true, *fill])  # an order that says nothing
    return Guard(salt=salt.hex(), width=width, spices=SPICES, stretch=STRETCH, digests=tuple(out))


def guards_for(book: Book, laid: Layout, devices: Iterable[str], when: datetime) -> dict[str, Guard]:
    """Guards of the devices whose past says enough; whatever may be read from now until the round is stale passes."""
    out = {}
    for device, (low, high) in plausible(book, laid, devices, (when, when + GOOD_FOR)).items():
        size = (laid.meters[device] if device in laid.meters else laid.counters[device]).rolls_over_at
        made = guard_of(low, high, size)
        if made is not None:
            out[device] = made
    return out
