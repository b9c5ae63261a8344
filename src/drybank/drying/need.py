"""What loads need, tabulated: built once for a pocket, then read millions of times a second.

Between points the drying *rate* (mass x residual / seconds) is interpolated, which is nearly straight in every axis
where minutes are not; mass is spaced by ratios. The error of minutes against `dry` is measured when the table is built
and travels with it. A table is bytes in and bytes out; where they are kept is the caller's business.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import msgspec
import numpy as np

from drybank.drying import layout as at
from drybank.drying.rows import row_of, start_of
from drybank.drying.run import run_many
from drybank.records.drying import Air, Array, Heat, Load, NeedAxes, NeedMap, Pocket
from drybank.records.errors import InputError, OutOfRange

MODEL: Final = "drying 1"  # changes whenever the model's figures change, so that no stale table is read
OVER_S: Final = 600.0  # span after dry over which the heat burned is averaged
Progress = Callable[[float], None]


class Need(NamedTuple):
    """Arrays (n,): seconds of heat until dry (NaN: not within four hours), fuel until then [J], fuel per second
    after dry [W], all as heat released; for an electric pocket that is electricity."""

    seconds: Array
    fuel_j: Array
    over_w: Array


def need_key(pocket: Pocket, temps_exhaust_c: Sequence[float | None], axes: NeedAxes) -> str:
    """Hash of everything that a table follows from; the name to keep it under."""
    said = msgspec.json.encode([MODEL, msgspec.structs.replace(pocket, calibration=None), list(temps_exhaust_c), axes])
    return hashlib.sha256(said).hexdigest()


def build_needs(
    pocket: Pocket,
    temps_exhaust_c: Sequence[float | None],
    axes: NeedAxes,
    *,
    rng: np.random.Generator,
    checks: int = 200,
    progress: Progress | None = None,
) -> NeedMap:
    """Tabulate a pocket: one drying run, and one that goes on after dry, for every point and heat.

    ``checks`` random points a heat, as many cell centres and the 16 corners are dried in full to state the error.
    """
    if not temps_exhaust_c:
        raise InputError("A need table wants at least one heat.")
    grid = _points(axes)
    mesh = np.stack([m.ravel() for m in np.meshgrid(*grid, indexing="ij")], axis=1)
    shape = tuple(len(g) for g in grid)
    values = np.empty((len(temps_exhaust_c), *shape, 3))
    for h, temp in enumerate(temps_exhaust_c):
        seconds, fuel, over = _dry_points(pocket, temp, axes, mesh, is_over_wanted=True)
        water = mesh[:, 0] * mesh[:, 1]
        is_dry = np.isfinite(seconds)
        values[h, ..., 0] = np.where(is_dry, water / seconds, 0.0).reshape(shape)
        values[h, ..., 1] = np.where(is_dry, fuel / water, 0.0).reshape(shape)
        values[h, ..., 2] = np.where(is_dry, over, 0.0).reshape(shape)
        if progress is not None:
            progress((h + 1) / len(temps_exhaust_c))
    table = NeedMap(
        key=need_key(pocket, temps_exhaust_c, axes),
        axes=axes,
        temps_exhaust_c=tuple(temps_exhaust_c),
        values=values,
        is_electric=pocket.fuel == "electric",
        motor_w=pocket.motor_w,
        error_max_frac=0.0,
        error_rms_frac=0.0,
        error_fuel_max_frac=0.0,
        error_points=0,
    )
    return _checked(table, pocket, grid, rng, checks)


def _points(axes: NeedAxes) -> tuple[Array, Array, Array, Array]:
    n_mass, n_res, n_air, n_hum = axes.points
    return (
        np.geomspace(*axes.mass_kg, n_mass),
        np.linspace(*axes.residual_frac, n_res),
        np.linspace(*axes.air_c, n_air),
        np.linspace(*axes.humidity_frac, n_hum),
    )


def _dry_points(
    pocket: Pocket, temp: float | None, axes: NeedAxes, points: Array, *, is_over_wanted: bool
) -> tuple[Array, Array, Array]:
    """Seconds, fuel and fuel rate after dry at points (n, 4) of mass, residual, air, humidity."""
    heat = Heat(temp_exhaust_c=temp, cool_down_s=0.0)
    rows, starts = np.empty((len(points), at.ROW)), np.empty((len(points), at.STATES))
    for i, (mass, residual, air_c, humidity) in enumerate(points.tolist()):
        load = Load(mass_dry_kg=mass, residual_frac=residual, temp_c=axes.load_temp_c, classes=axes.classes)
        air = Air(temp_c=air_c, humidity_frac=humidity, altitude_m=axes.altitude_m)
        rows[i], starts[i] = row_of(load, pocket, air, heat), start_of(load, air)
    outs = run_many(rows, starts)
    seconds, fuel = outs[:, at.O_DRY_S], outs[:, at.O_DRY_BURNED]
    over = np.zeros(len(points))
    is_dry = np.isfinite(seconds) & (seconds + OVER_S < at.LONGEST_S)
    if is_over_wanted and is_dry.any():
        rows[:, at.HEAT_END] = np.where(is_dry, seconds + OVER_S, 0.0)
        longer = run_many(rows[is_dry], starts[is_dry])
        over[is_dry] = (longer[:, at.O_BURNED] - fuel[is_dry]) / OVER_S
    return seconds, np.where(np.isfinite(seconds), fuel, np.nan), over


def _checked(table: NeedMap, pocket: Pocket, grid: tuple[Array, ...], rng: np.random.Generator, checks: int) -> NeedMap:
    """The table with its measured error."""
    errors, fuel_errors = [], []
    for h, temp in enumerate(table.temps_exhaust_c):
        spots = np.concatenate([_random_points(grid, rng, checks), _centres(grid, rng, checks), _corners(grid)])
        seconds, fuel, _ = _dry_points(pocket, temp, table.axes, spots, is_over_wanted=False)
        read = needs_at(table, np.full(len(spots), h), *spots.T)
        both = np.isfinite(seconds) & np.isfinite(read.seconds)
        errors.append(read.seconds[both] / seconds[both] - 1.0)
        fuel_errors.append(read.fuel_j[both] - fuel[both])
        fuel_errors[-1] /= np.maximum(fuel[both], 1e3)
    all_errors, all_fuel = np.concatenate(errors), np.concatenate(fuel_errors)
    return msgspec.structs.replace(
        table,
        error_max_frac=float(np.max(np.abs(all_errors), initial=0.0)),
        error_rms_frac=float(np.sqrt(np.mean(all_errors**2))) if all_errors.size else 0.0,
        error_fuel_max_frac=float(np.max(np.abs(all_fuel), initial=0.0)),
        error_points=int(all_errors.size),
    )


def _random_points(grid: tuple[Array, ...], rng: np.random.Generator, count: int) -> Array:
    return np.stack([rng.uniform(g[0], g[-1], count) for g in grid], axis=1)


def _centres(grid: tuple[Array, ...], rng: np.random.Generator, count: int) -> Array:
    middles = [0.5 * (g[1:] + g[:-1]) if len(g) > 1 else g for g in grid]
    return np.stack([rng.choice(m, count) for m in middles], axis=1)


def _corners(grid: tuple[Array, ...]) -> Array:
    ends = np.meshgrid(*[np.array([g[0], g[-1]]) for g in grid], indexing="ij")
    return np.stack([e.ravel() for e in ends], axis=1)


def needs_at(
    table: NeedMap, heat: np.ndarray, mass_kg: Array, residual_frac: Array, air_c: Array, humidity_frac: Array
) -> Need:
    """Needs of n loads by heat number (0-based, in the table's order), mass, residual, air and humidity, arrays (n,).

    Raises `OutOfRange` for a value beyond the table.
    """
    from drybank.drying.kernel import read_needs

    axes = table.axes
    columns = [np.ascontiguousarray(c, dtype=np.float64) for c in (mass_kg, residual_frac, air_c, humidity_frac)]
    spans = (axes.mass_kg, axes.residual_frac, axes.air_c, axes.humidity_frac)
    names = (("Dry mass", "kg"), ("Residual moisture", "kg/kg"), ("Air", "°C"), ("Relative humidity", "of 1"))
    for column, (low, high), (name, unit) in zip(columns, spans, names, strict=True):
        _within_table(column, low, high, name, unit)
    numbers = np.ascontiguousarray(heat, dtype=np.int64)
    _within_table(numbers, 0, len(table.temps_exhaust_c) - 1, "Number of the heat", "")
    out = np.empty((3, len(columns[0])))
    mass, residual, air, humidity = columns
    read_needs(table.values, lookup_frame(axes), numbers, mass, residual, air, humidity, out)
    return Need(out[0], out[1], out[2])


def lookup_frame(axes: NeedAxes) -> Array:
    """Origin and points per unit of each axis (4, 2), mass by its logarithm; what `kernel.need_at` reads."""
    frame = np.zeros((4, 2))
    spans = (tuple(np.log(axes.mass_kg)), axes.residual_frac, axes.air_c, axes.humidity_frac)
    for i, ((low, high), count) in enumerate(zip(spans, axes.points, strict=True)):
        frame[i] = low, (count - 1) / (high - low) if count > 1 else 0.0
    return frame


def _within_table(column: np.ndarray, low: float, high: float, name: str, unit: str) -> None:
    slack = 1e-9 * max(1.0, abs(low), abs(high))
    if column.size == 0:
        return
    least, most = float(column.min()), float(column.max())  # NaN fails the comparison below
    if not (least >= low - slack and most <= high + slack):
        bad = most if least >= low - slack else least
        raise OutOfRange(name, bad, low, high, unit, "That is how far this need table goes; build a wider one.")


def pack_needs(table: NeedMap) -> bytes:
    """A table as bytes, to be kept under its key."""
    plain = {
        "key": table.key,
        "axes": msgspec.to_builtins(table.axes),
        "temps": table.temps_exhaust_c,
        "shape": table.values.shape,
        "values": table.values.astype("<f8").tobytes(),
        "rest": (
            table.is_electric, table.motor_w, table.error_max_frac, table.error_rms_frac, table.error_fuel_max_frac,
            table.error_points,
        ),
    }  # fmt: skip
    body = msgspec.msgpack.encode(plain)
    return hashlib.sha256(body).digest() + body


def unpack_needs(data: bytes, key: str) -> NeedMap:
    """A table out of bytes; refused when damaged or of another key, so that the caller builds it anew."""
    if len(data) < 33 or hashlib.sha256(data[32:]).digest() != data[:32]:
        raise InputError("A kept need table is damaged.", mend="Delete it; it is built again.")
    plain = msgspec.msgpack.decode(data[32:])
    if plain["key"] != key:
        raise InputError("A kept need table belongs to another pocket or model.", mend="Delete it; it is built again.")
    rest = plain["rest"]
    return NeedMap(
        key=key,
        axes=msgspec.convert(plain["axes"], NeedAxes),
        temps_exhaust_c=tuple(plain["temps"]),
        values=np.frombuffer(plain["values"], dtype="<f8").reshape(plain["shape"]),
        is_electric=rest[0],
        motor_w=rest[1],
        error_max_frac=rest[2],
        error_rms_frac=rest[3],
        error_fuel_max_frac=rest[4],
        error_points=rest[5],
    )
