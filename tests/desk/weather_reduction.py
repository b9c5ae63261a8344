"""The reduction behind the demo town's weather table: one year of hours to a mean day of each month.

Source: TMY3 files as shipped by pvlib (the pvlib-python package, ``pvlib/data``): 723170 Greensboro NC and 703165 Sand
Point AK; National Solar Radiation Data Base, NREL. Dry bulb, dew point and pressure are columns 32, 35 and 41 (from 1).
"""

from __future__ import annotations

import csv
import math
from importlib.util import find_spec
from pathlib import Path

STATIONS = {"harbour": "703165TY.csv", "piedmont": "723170TYA.CSV"}
Table = list[list[float]]


def data_file(name: str) -> Path:
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "data" / name


def humidity_kg_kg(dew_c: float, pressure_pa: float) -> float:
    """Humidity ratio of air with this dew point: Magnus form over water (Alduchov and Eskridge, J. Appl. Meteorol. 35,
    1996, from memory), its enhancement in air (WMO Guide to Instruments, annex 4.B, from memory), molar mass ratio
    0.621945 (ASHRAE Fundamentals 2017 ch. 1, from memory)."""
    air_hpa = pressure_pa / 100
    in_air = 1.0016 + 3.15e-6 * air_hpa - 0.074 / air_hpa
    vapour_pa = in_air * 610.94 * math.exp(17.625 * dew_c / (dew_c + 243.04))
    return 0.621945 * vapour_pa / (pressure_pa - vapour_pa)


def reduced(name: str) -> tuple[Table, Table]:
    """Mean dry bulb [°C, to 0.1] and humidity ratio [kg/kg, to 0.00001] by month and hour of local standard time."""
    temp, wet = ([[[] for _ in range(24)] for _ in range(12)] for _ in range(2))
    with data_file(STATIONS[name]).open(newline="") as file:
        rows = csv.reader(file)
        next(rows)
        head = next(rows)
        dry, dew, air = (head.index(h) for h in ("Dry-bulb (C)", "Dew-point (C)", "Pressure (mbar)"))
        for row in rows:
            month, hour = int(row[0][:2]) - 1, int(row[1][:2]) - 1  # the hour that ends at 01:00 is hour 0
            temp[month][hour].append(float(row[dry]))
            wet[month][hour].append(humidity_kg_kg(float(row[dew]), 100 * float(row[air])))
    return _means(temp, 1), _means(wet, 5)


def _means(cells: list[list[list[float]]], digits: int) -> Table:
    return [[round(math.fsum(c) / len(c), digits) for c in month] for month in cells]


def as_toml() -> str:
    """The two tables as they stand in ``weather.toml``."""
    out = []
    for name in STATIONS:
        temp, wet = reduced(name)
        out.append(f"[{name}.table]")
        out.append("temp_c = [\n" + "".join(f"  {m},\n" for m in temp) + "]")
        out.append("humidity_kg_kg = [\n" + "".join(f"  [{', '.join(f'{w:.5f}' for w in m)}],\n" for m in wet) + "]\n")
    return "\n".join(out)
