"""How often somebody may ask: a bucket that fills steadily, for each token, each person and each address.

Kept in this process: several servers behind one address each allow as much. What is counted here guards the book against a
program run wild and a password tried out; it is not a wall against a flood from many addresses.
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict

import msgspec

KEPT = 20_000


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """``burst`` at once, then ``per_s`` more each second."""

    burst: int
    per_s: float


BY_TOKEN = Limit(burst=240, per_s=8)
BY_PERSON = Limit(burst=240, per_s=8)
BY_ADDRESS = Limit(burst=1200, per_s=60)
"""A van's or a shop's whole crew may come from one address."""
BY_STRANGER = Limit(burst=20, per_s=0.2)
"""Tokens that are not known, by address: twenty, then one every five seconds."""


class Buckets:
    """Tokens left for each asker, by the clock handed in."""

    def __init__(self) -> None:
        self._left: OrderedDict[tuple[str, str], tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()
        self.clock = time.monotonic

    def take(self, what: str, who: str, limit: Limit) -> int:
        """0 where one more is allowed; otherwise the seconds to wait."""
        now = self.clock()
        with self._lock:
            left, then = self._left.pop((what, who), (float(limit.burst), now))
            left = min(limit.burst, left + (now - then) * limit.per_s)
            wait = 0 if left >= 1 else math.ceil((1 - left) / limit.per_s)
            self._left[what, who] = (left if wait else left - 1, now)
            while len(self._left) > KEPT:
                self._left.popitem(last=False)
        return wait

    def left(self, what: str, who: str, limit: Limit) -> float:
        """How many are left, without taking one."""
        with self._lock:
            left, then = self._left.get((what, who), (float(limit.burst), self.clock()))
        return min(limit.burst, left + (self.clock() - then) * limit.per_s)

    def clear(self) -> None:
        with self._lock:
            self._left.clear()


buckets = Buckets()
