"""Units at the faces; SI inside.

Factors are exact by definition unless marked: the international pound and foot (1959),
the BTU(IT) of 1055.05585262 J, the US survey of gas in therms of 100,000 BTU(IT).
Heat content of gas is not a unit: it is data of a supply (see `drybank.energy`).
"""

from __future__ import annotations

from typing import Final

POUND_KG: Final = 0.45359237
FOOT_M: Final = 0.3048
INCH_M: Final = 0.0254
BTU_J: Final = 1055.05585262
THERM_J: Final = 100_000 * BTU_J
KWH_J: Final = 3_600_000.0
CUBIC_FOOT_M3: Final = FOOT_M**3
CFM_M3_S: Final = CUBIC_FOOT_M3 / 60.0
US_GALLON_M3: Final = 231 * INCH_M**3
PSI_PA: Final = 6894.757293168
INCH_WATER_PA: Final = 249.08891  # inch of water, conventional (4 °C)
ZERO_C_K: Final = 273.15


def c_from_f(temp_f: float) -> float:
    """Degrees Celsius from degrees Fahrenheit."""
    return (temp_f - 32.0) / 1.8


def f_from_c(temp_c: float) -> float:
    """Degrees Fahrenheit from degrees Celsius."""
    return temp_c * 1.8 + 32.0


def minutes(seconds: float) -> str:
    """A span of seconds as a person says it: 8 min, 3 min 20 s, 45 s."""
    whole = round(seconds)
    mins, secs = divmod(abs(whole), 60)
    sign = "-" if whole < 0 else ""
    if mins and secs:
        return f"{sign}{mins} min {secs} s"
    return f"{sign}{mins} min" if mins else f"{sign}{secs} s"


def degrees_said(temp_c: float, scale: str) -> str:
    """A temperature in a person's scale, C or F: 72 °F."""
    return f"{f_from_c(temp_c):.0f} °F" if scale == "F" else f"{temp_c:.0f} °C"


def mass_said(mass_kg: float, unit: str) -> str:
    """A mass in a person's unit, kg or lb: 12.0 lb."""
    return f"{mass_kg / POUND_KG:.1f} lb" if unit == "lb" else f"{mass_kg:.1f} kg"


def flow_said(flow_m3_s: float, scale: str) -> str:
    """A flow of air: cubic feet a minute beside degrees Fahrenheit, else cubic metres a second."""
    return f"{flow_m3_s / CFM_M3_S:.0f} cfm" if scale == "F" else f"{flow_m3_s:.2f} m3/s"
