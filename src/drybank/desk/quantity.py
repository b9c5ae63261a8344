"""Quantities with their units from a person's text, into SI: 8 in, 450 cfm, 0.3 inwc, 1038 Btu/ft3, 165 F."""

from __future__ import annotations

import re
from typing import Final

from drybank.records.errors import InputError
from drybank.records.units import (
    BTU_J,
    CFM_M3_S,
    CUBIC_FOOT_M3,
    FOOT_M,
    INCH_M,
    INCH_WATER_PA,
    POUND_KG,
    PSI_PA,
    c_from_f,
)

_SPLIT: Final = re.compile(r"^\s*(?P<number>[-+]?(?:\d[\d ]*(?:[.,]\d+)?|[.,]\d+))\s*(?P<unit>\S.*?)?\s*$")

LENGTH: Final = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": FOOT_M, "in": INCH_M, '"': INCH_M}
AREA: Final = {"m2": 1.0, "cm2": 1e-4, "mm2": 1e-6, "ft2": FOOT_M**2, "in2": INCH_M**2}
VOLUME: Final = {"m3": 1.0, "l": 0.001, "dm3": 0.001, "ft3": CUBIC_FOOT_M3, "cf": CUBIC_FOOT_M3}
FLOW: Final = {"m3/s": 1.0, "l/s": 0.001, "m3/h": 1 / 3600, "cfm": CFM_M3_S, "ft3/min": CFM_M3_S}
PRESSURE: Final = {
    "pa": 1.0,
    "hpa": 100.0,
    "mbar": 100.0,
    "kpa": 1000.0,
    "psi": PSI_PA,
    "inwc": INCH_WATER_PA,
    "in": INCH_WATER_PA,
}
HEAT_CONTENT: Final = {"btu/ft3": BTU_J / CUBIC_FOOT_M3, "mj/m3": 1e6, "kwh/m3": 3.6e6}
POWER: Final = {"w": 1.0, "kw": 1000.0, "btu/h": BTU_J / 3600, "kbtu/h": BTU_J / 3.6}
MASS_G: Final = {"g": 1.0, "kg": 1000.0, "lb": POUND_KG * 1000, "oz": POUND_KG * 1000 / 16}
TEMPERATURE_STEP: Final = {"c": 1.0, "°c": 1.0, "f": 1 / 1.8, "°f": 1 / 1.8}


def _parts(text: str, where: str, table: dict[str, float], usual: str) -> tuple[float, str]:
    found = _SPLIT.match(text)
    if found is None:
        raise InputError(
            f"“{text}” is not a quantity.", where=where, mend=f"Write a number and its unit, such as {usual}."
        )
    unit = (found["unit"] or "").lower().replace("³", "3").replace("²", "2").replace("^", "")
    if not unit:
        raise InputError(
            f"“{text}” has no unit.", where=where, allowed=", ".join(table), mend=f"Write it like {usual}."
        )
    if unit not in table:
        raise InputError(f"“{found['unit']}” is not a unit Drybank knows here.", where=where, allowed=", ".join(table))
    return float(found["number"].replace(" ", "").replace(",", ".")), unit


def quantity(text: str, table: dict[str, float], *, where: str, usual: str) -> float:
    """A number with its unit, in SI (mass: grams). ``usual`` is an example for the mend.

    A thousands comma cannot be told from a decimal one, so "1,038" is read as 1.038 and then
    refused by the range of what it is for.
    """
    number, unit = _parts(text, where, table, usual)
    return number * table[unit]


def degrees_c(text: str, *, where: str, scale: str = "") -> float:
    """A temperature with its scale, such as 74 C or 165 F; a bare number takes the store's scale."""
    clean = text.strip() + (f" {scale}" if scale and text.strip()[-1:].isdigit() else "")
    number, unit = _parts(clean, where, TEMPERATURE_STEP, "74 C")
    return c_from_f(number) if unit.endswith("f") else number


_WATCH: Final = re.compile(r"^(?:(?P<m>\d{1,3}):(?P<s>[0-5]?\d(?:[.,]\d+)?)|(?P<only>-?\d+(?:[.,]\d+)?)\s*(?:s|sec)?)$")


def watch_s(text: str, *, where: str) -> float:
    """Seconds on a watch from 26:04.2 or 1564.2 s. A bare number is seconds."""
    found = _WATCH.match(text.strip())
    if found is None:
        raise InputError(f"“{text}” is not a time on a watch.", where=where, mend="Write 26:04.2 or 1564.2 s.")
    if found["only"]:
        return float(found["only"].replace(",", "."))
    return int(found["m"]) * 60 + float(found["s"].replace(",", "."))


def fraction(text: str, *, where: str) -> float:
    """A share from 75 % or 0.75."""
    clean = text.strip().replace(",", ".")
    try:
        return float(clean[:-1]) / 100 if clean.endswith("%") else float(clean)
    except ValueError:
        raise InputError(f"“{text}” is not a share.", where=where, mend="Write it like 75 % or 0.75.") from None
