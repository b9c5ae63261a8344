"""What was not given: collected with what was taken instead."""

from __future__ import annotations

from drybank.records.money import Money
from drybank.records.store import Units
from drybank.records.units import degrees_said, flow_said, mass_said
from drybank.records.working import Assumption


class Assumed:
    """Collects what was not given, in the person's own units."""

    def __init__(self, currency: str, units: Units) -> None:
        self.currency, self.units = currency, units
        self.list: list[Assumption] = []

    def money(self, minor: float) -> str:
        return str(Money(round(minor), self.currency))

    def degrees(self, temp_c: float) -> str:
        return degrees_said(temp_c, self.units.temperature)

    def mass(self, mass_kg: float) -> str:
        return mass_said(mass_kg, self.units.mass)

    def flow(self, flow_m3_s: float) -> str:
        return flow_said(flow_m3_s, self.units.temperature)

    def __call__(self, name: str, taken: str, source: str, *, low: str = "", high: str = "", matters: str = "") -> None:
        self.list.append(Assumption(name=name, taken=taken, source=source, low=low, high=high, matters=matters))
