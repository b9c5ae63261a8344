"""What was not given: collected with what was taken instead."""

from __future__ import annotations

from drybank.records.money import Money
from drybank.records.working import Assumption


class Assumed:
    """Collects what was not given."""

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.list: list[Assumption] = []

    def money(self, minor: float) -> str:
        return str(Money(round(minor), self.currency))

    def __call__(self, name: str, taken: str, source: str, *, low: str = "", high: str = "", matters: str = "") -> None:
        self.list.append(Assumption(name=name, taken=taken, source=source, low=low, high=high, matters=matters))
