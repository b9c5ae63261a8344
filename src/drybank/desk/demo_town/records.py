"""What the demo town adds to stores and sheets: its weather, and the faults written into its history."""

from __future__ import annotations

import msgspec


class TownWeather(msgspec.Struct, frozen=True, kw_only=True):
    """The mean day of each month: 12 rows of 24 hours of local standard time, hour 0 from midnight to one o'clock.

    ``temp_c`` is dry bulb [°C], ``humidity_kg_kg`` water per dry air [kg/kg], ``altitude_m`` the height the air is taken
    at; pressure is that of the standard atmosphere there. ``says`` tells what is assumed.
    """

    name: str
    station: str
    altitude_m: float
    says: str
    temp_c: tuple[tuple[float, ...], ...]
    humidity_kg_kg: tuple[tuple[float, ...], ...]

    def at(self, month: int, hour: int) -> tuple[float, float]:
        """Temperature [°C] and humidity ratio [kg/kg] in a month (1 to 12) and hour (0 to 23)."""
        return self.temp_c[month - 1][hour], self.humidity_kg_kg[month - 1][hour]


class PlantedFault(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing done to the demo's history on purpose: where, from which week until which (not included), how much."""

    key: str
    store: str
    kind: str
    from_week: int
    until_week: int | None = None
    pocket: str = ""
    device: str = ""
    other: str = ""
    size: float
    size_is: str
    says: str
