"""A year of outdoor air, hour by hour: from a weather file, or from a table that a store names.

Weather files in open formats: EPW (EnergyPlus weather; columns as its auxiliary programs' guide states them, from memory)
and TMY3 (National Solar Radiation Data Base), or a plain CSV with a head ``temp_c`` and, where moisture counts, ``rh_pct``
(relative humidity) or ``humidity_kg_kg``; 8,760 rows, from the first hour of 1 January on.
"""

from __future__ import annotations

import csv
import math
from calendar import monthrange
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.energy import RoomAir
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.plan_given import HOURS_A_YEAR, PlanRoom

BYTES_AT_MOST: Final = 20_000_000
EPW_TEMP, EPW_DEW, EPW_PRESSURE, EPW_HEAD = 6, 7, 9, 8
SATURATED: Final = 1.3  # how far above saturation at sea level an hour may read: thin air holds more, instruments err
MEND: Final = "Give --weather with an EPW or TMY3 file of the nearest station, or a CSV with temp_c and rh_pct."
F64 = NDArray[np.float64]


class RoomAsk(msgspec.Struct, frozen=True, kw_only=True):
    """Whether the cost of room air is asked for, and from which weather; without either, the store file decides."""

    is_asked: bool = False
    weather: str = ""


class Year(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """temp_c and humidity_kg_kg (8760,) from 1 January on; humidity None where the file has none."""

    temp_c: F64
    humidity_kg_kg: F64 | None
    source: str


def room_of(laid: Layout, ask: RoomAsk) -> tuple[PlanRoom | None, tuple[str, ...]]:
    """The conditioned room where its cost is asked for or the store file gives one, and what to say where it is not counted.

    Raises `InputError` where it is asked for and no hourly weather is known.
    """
    store = laid.store
    if not (ask.is_asked or ask.weather or store.room_air is not None):
        hint = "The room is conditioned: what it costs to make up the air that the dryers throw out is not counted here; --room-air shows it."
        return None, (hint,) if store.is_conditioned else ()
    from drybank.proof.gas import pressure_at_height_pa

    year = read_year(ask.weather) if ask.weather else _named(store.weather)
    if year is None:
        what = f"no hourly weather is known for {store.name}, so the cost of room air cannot be worked out."
        if ask.is_asked:
            raise InputError(what, where="--room-air", mend=MEND)
        return None, (f"{what[0].upper()}{what[1:]} {MEND}",)
    room = store.room_air or RoomAir()
    if room.cool_to_c is not None and room.counts_moisture and year.humidity_kg_kg is None:
        room = msgspec.structs.replace(room, counts_moisture=False)
    notes = () if store.room_air is not None else (
        f"How the room is conditioned is assumed: heated to {room.heat_to_c:g} °C, {100 * room.heating_efficiency_frac:.0f} % of the fuel's "
        "heat into the room, not cooled, all of the dryers' air from it. Say it under [room_air] in the store file.",
    )  # fmt: skip
    return PlanRoom(
        room=room, temp_c=year.temp_c, humidity_kg_kg=year.humidity_kg_kg,
        pressure_pa=pressure_at_height_pa(store.altitude_m), source=year.source,
    ), notes  # fmt: skip


def _named(name: str) -> Year | None:
    """The weather that a store file names, where it is one of the demo town's; a mean day for each month, repeated."""
    from drybank.desk.demo_town import weather

    try:
        town = weather(name) if name else None
    except InputError:
        return None
    if town is None:
        return None
    days = [monthrange(2026, month)[1] for month in range(1, 13)]

    def spread(table: Sequence[Sequence[float]]) -> F64:
        return np.concatenate([np.tile(np.array(row), n) for row, n in zip(table, days, strict=True)])

    source = f"mean day of each month at {town.station}; {town.says}"
    return Year(temp_c=spread(town.temp_c), humidity_kg_kg=spread(town.humidity_kg_kg), source=source)


def read_year(path: str) -> Year:
    """A year of outdoor air from an EPW, TMY3 or plain CSV file; every refusal says what and how to mend it."""
    file = Path(path)
    if not file.is_file():
        raise InputError(f"There is no weather file at {path}.", where="--weather", mend=MEND)
    if file.stat().st_size > BYTES_AT_MOST:
        raise InputError(f"{path} is far larger than a year of hours.", where="--weather", mend=MEND)
    with file.open(newline="", encoding="utf-8-sig", errors="replace") as text:
        rows = list(csv.reader(text))
    if rows and rows[0] and rows[0][0].strip().upper() == "LOCATION":
        found = _epw(rows, path)
    elif len(rows) > 2 and "Dry-bulb (C)" in rows[1]:
        found = _tmy3(rows, path)
    else:
        found = _plain(rows, path)
    return _sound(found, path)


def _epw(rows: list[list[str]], path: str) -> Year:
    body = rows[EPW_HEAD:]
    temp = _column(body, EPW_TEMP, path, EPW_HEAD)
    dew, pressure = _column(body, EPW_DEW, path, EPW_HEAD), _column(body, EPW_PRESSURE, path, EPW_HEAD)
    return Year(temp_c=temp, humidity_kg_kg=_from_dew(dew, pressure), source=f"weather file {Path(path).name} (EPW)")


def _tmy3(rows: list[list[str]], path: str) -> Year:
    head = rows[1]
    temp, dew, air = (_column(rows[2:], head.index(h), path, 2) for h in ("Dry-bulb (C)", "Dew-point (C)", "Pressure (mbar)"))  # fmt: skip
    return Year(
        temp_c=temp, humidity_kg_kg=_from_dew(dew, 100.0 * air), source=f"weather file {Path(path).name} (TMY3)"
    )


def _plain(rows: list[list[str]], path: str) -> Year:
    head = [c.strip().lower() for c in rows[0]] if rows else []
    if "temp_c" not in head:
        raise InputError(
            f"{path} is no weather file that Drybank reads: no column temp_c.", where="--weather", mend=MEND
        )
    temp = _column(rows[1:], head.index("temp_c"), path, 1)
    wet = None
    if "humidity_kg_kg" in head:
        wet = _column(rows[1:], head.index("humidity_kg_kg"), path, 1)
    elif "rh_pct" in head:
        share = _column(rows[1:], head.index("rh_pct"), path, 1)
        vapour = share / 100.0 * _saturation_pa(temp)
        wet = 0.621945 * vapour / (101_325.0 - vapour)
    return Year(temp_c=temp, humidity_kg_kg=wet, source=f"weather file {Path(path).name}")


def _column(rows: list[list[str]], index: int, path: str, before: int) -> F64:
    out = []
    for number, row in enumerate(rows, before + 1):
        if not row:
            continue
        try:
            value = float(row[index])
        except (IndexError, ValueError):
            raise InputError(
                f"line {number} of {path} has no number in column {index + 1}.", where="--weather", mend=MEND
            ) from None
        out.append(value)
    return np.array(out)


def _from_dew(dew_c: F64, pressure_pa: F64) -> F64:
    vapour = _saturation_pa(dew_c)
    return np.asarray(0.621945 * vapour / np.maximum(pressure_pa - vapour, 1.0))


def _saturation_pa(temp_c: F64) -> F64:
    """Water vapour pressure, Magnus form over water (Alduchov and Eskridge 1996, from memory; 0.4 % from -40 to 50 °C)."""
    return np.asarray(610.94 * np.exp(17.625 * temp_c / (temp_c + 243.04)))


def _sound(year: Year, path: str) -> Year:
    """A year of plausible hours; a leap day is left out."""
    temp, wet = year.temp_c, year.humidity_kg_kg
    if temp.size == HOURS_A_YEAR + 24:
        keep = np.r_[0:1416, 1440 : temp.size]
        temp, wet = temp[keep], None if wet is None else wet[keep]
    if temp.size != HOURS_A_YEAR:
        raise InputError(
            f"{path} holds {temp.size} hours.", where="--weather", allowed="8,760 hours, one year", mend=MEND
        )
    bad = np.flatnonzero(~((temp >= -70.0) & (temp <= 60.0)))
    if bad.size:
        raise InputError(f"hour {int(bad[0]) + 1} of {path} is {temp[bad[0]]:g} °C.", where="--weather", allowed="-70 to 60 °C",
                         mend="A gap in the file is often written as 99.9: fill it.")  # fmt: skip
    if wet is not None:
        most = np.minimum(0.06, SATURATED * _from_dew(temp, np.full(temp.size, 101_325.0)) + 0.0005)
        odd = np.flatnonzero(~((wet >= 0.0) & (wet <= most)))
    if wet is not None and odd.size:
        first = int(odd[0])
        what = "no number" if math.isnan(wet[first]) else f"{wet[first]:g} kg of water in a kg of air"
        raise InputError(f"hour {first + 1} of {path} comes to {what}.", where="--weather", allowed="no more than air of its temperature holds",
                         mend="Check the columns of dew point, humidity and pressure.")  # fmt: skip
    return Year(temp_c=temp, humidity_kg_kg=wet, source=year.source)
