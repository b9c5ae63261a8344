"""The demo town: Quillmere, an invented town with three stores, as files.

`files` gives every TOML file by name, exactly as shipped with the package: stores, control sheets, house settings, the
weather table and the faults written into its history. `weather` and `faults` give the last two as records. Nothing here
reads a path outside the package.
"""

from __future__ import annotations

import tomllib
from importlib import resources

import msgspec

from drybank.desk.demo_town.records import PlantedFault, TownWeather
from drybank.records.errors import InputError

FIRST_DAY = "2024-11-18"
WEEKS = 104


def files() -> dict[str, str]:
    """Every file of the demo town by its name, as text."""
    town = resources.files(__name__)
    found = sorted((f for f in town.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    return {f.name: f.read_text("utf-8") for f in found}


def _table(name: str) -> dict[str, object]:
    return tomllib.loads((resources.files(__name__) / name).read_text("utf-8"))


def weather(name: str) -> TownWeather:
    """The weather that a store file names: ``harbour``, ``piedmont`` or ``upland``."""
    tables: dict[str, dict[str, object]] = _table("weather.toml")  # type: ignore[assignment]
    if name not in tables:
        raise InputError(f"The demo town has no weather “{name}”.", allowed=", ".join(tables))
    said = tables[name]
    hours = tables[str(said.get("table_of", name))]["table"]
    plain = {k: v for k, v in said.items() if k not in ("table", "table_of")}
    return msgspec.convert({"name": name, **plain, **hours}, TownWeather)  # type: ignore[dict-item]


def faults() -> tuple[PlantedFault, ...]:
    """The faults written into the demo's two-year history."""
    return msgspec.convert(_table("faults.toml")["fault"], tuple[PlantedFault, ...])


__all__ = ["FIRST_DAY", "WEEKS", "PlantedFault", "TownWeather", "faults", "files", "weather"]
