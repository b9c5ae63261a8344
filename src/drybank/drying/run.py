"""`dry` one load, `dry_many` arrays of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from drybank.drying import layout as at
from drybank.drying.rows import is_fire_proved, row_of, start_of
from drybank.records.drying import (
    Air,
    Array,
    Drying,
    Heat,
    Load,
    Needs,
    Pocket,
    Start,
    Trace,
)
from drybank.records.errors import InputError, NoConvergence, OutOfRange
from drybank.records.units import ZERO_C_K

_TRACE_ROWS = 2_000  # first guess of a trace's length
T = TypeVar("T")
NDBool = NDArray[np.bool_]


def heat_end_s(sold_s: float, heat: Heat) -> float:
    """When the heat ends for a sold time: at its end, or a cool-down before it. [s]"""
    if not 0.0 <= sold_s <= at.LONGEST_S:
        raise OutOfRange("Sold time", sold_s, 0.0, at.LONGEST_S, "s", "The model looks four hours ahead.")
    return max(0.0, sold_s - heat.cool_down_s) if heat.is_cool_down_inside_sold else sold_s


def dry(
    load: Load, pocket: Pocket, air: Air, heat: Heat, *, sold_s: float | None = None, start: Start | None = None
) -> Drying:
    """What one load needs to get dry, and what ``sold_s`` seconds give it.

    The trace, the temperatures at the end and the balances are those of the sold run when a time is sold, else of a
    run that heats until dry and then cools down. ``start`` is the ``left`` of the load before, for a warm pocket.

    Raises `OutOfRange` for a sold time beyond four hours; the records refuse the rest when they are made.
    """
    to_dry, trace_dry = _run_one(row_of(load, pocket, air, heat), start_of(load, air, start))
    sold: Array | None = None
    trace = trace_dry
    if sold_s is not None:
        row = row_of(load, pocket, air, heat, heat_end_s(sold_s, heat))
        if sold_s < heat.cool_down_s and heat.is_cool_down_inside_sold:
            row[at.COOL] = sold_s
        sold, trace = _run_one(row, start_of(load, air, start))
    return _result(load, pocket, to_dry, sold, trace)


def sold_run(load: Load, pocket: Pocket, air: Air, heat: Heat, sold_s: float) -> tuple[float, Trace]:
    """Moisture at the end of a sold time, and the trace: the part of `dry` that a fit asks for many times."""
    row = row_of(load, pocket, air, heat, heat_end_s(sold_s, heat))
    out, trace = _run_one(row, start_of(load, air))
    return float(out[at.O_MOISTURE_END]), _trace(trace, len(load.classes))


def _run_one(row: Array, start: Array) -> tuple[Array, Array]:
    from drybank.drying.lanes import run_rows  # numba, only when a load is dried

    length = _TRACE_ROWS
    while True:
        out, trace = np.zeros((1, at.OUT)), np.empty((length, at.STATES + 3))
        noted = run_rows(row[None, :].copy(), start[None, :].copy(), out, trace)
        if np.isnan(out[0, at.O_END_S]):
            raise NoConvergence(
                "This load in this pocket changes faster than the model can follow: its heat, air and mass do not belong together. "
                "Check the pocket's input, its airflow and the load."
            )
        if noted <= length:
            return out[0], trace[:noted]
        length = noted


def _result(load: Load, pocket: Pocket, to_dry: Array, sold: Array | None, trace: Array) -> Drying:
    end = to_dry if sold is None else sold
    seconds = float(to_dry[at.O_DRY_S])
    is_dry = bool(np.isfinite(seconds))
    burned, fan = _gas_and_electricity(pocket, float(to_dry[at.O_DRY_BURNED]), seconds)
    gas_sold = electricity_sold = None
    if sold is not None:
        gas_sold, electricity_sold = _gas_and_electricity(pocket, float(sold[at.O_BURNED]), float(sold[at.O_END_S]))
    span = seconds if is_dry else float(to_dry[at.O_HEAT_END_S])
    fire_s = float(to_dry[at.O_DRY_FIRE_S] if is_dry else to_dry[at.O_FIRE_S])
    return Drying(
        minutes_to_dry=seconds / 60.0 if is_dry else None,
        gas_to_dry_j=burned if is_dry else None,
        electricity_to_dry_j=fan if is_dry else None,
        firing_share_frac=fire_s / span if span > 0.0 else 0.0,
        water_removed_kg=float(
            to_dry[at.O_DRY_WATER] if is_dry else (load.residual_frac - to_dry[at.O_MOISTURE_END]) * load.mass_dry_kg
        ),
        gas_sold_j=gas_sold,
        electricity_sold_j=electricity_sold,
        moisture_sold_frac=None if sold is None else float(sold[at.O_MOISTURE_END]),
        is_dry_when_sold_ends=None if sold is None else bool(np.isfinite(sold[at.O_DRY_S])),
        load_temp_before_cool_down_k=float(end[at.O_HEAT_END_T]) + ZERO_C_K,
        load_temp_after_cool_down_k=float(end[at.O_END_T]) + ZERO_C_K,
        hottest_class_after_cool_down_k=float(end[at.O_END_T_MAX]) + ZERO_C_K,
        hottest_fabric_k=float(end[at.O_PEAK_FABRIC]) + ZERO_C_K,
        hottest_inlet_k=float(end[at.O_PEAK_INLET]) + ZERO_C_K,
        limit_trips=int(end[at.O_TRIPS]),
        is_fire_proved=is_fire_proved(pocket),
        energy_residual_frac=float(end[at.O_ENERGY]),
        water_residual_frac=float(end[at.O_WATER]),
        left=Start(
            temp_metal_c=float(end[at.O_METAL]),
            temp_exhaust_c=float(end[at.O_EXHAUST]),
            temp_limit_sensor_c=float(end[at.O_LIMIT]),
        ),
        trace=_trace(trace, len(load.classes)),
        steps=int(end[at.O_STEPS]),
    )


def _gas_and_electricity(pocket: Pocket, burned_j: float, seconds: float) -> tuple[float, float]:
    """Fuel and electricity of a span: the motor runs throughout, electric heat is electricity."""
    motor = pocket.motor_w * seconds
    return (0.0, motor + burned_j) if pocket.fuel == "electric" else (burned_j, motor)


def _trace(rows: Array, classes: int) -> Trace:
    return Trace(
        time_s=rows[:, 0],
        temp_fabric_c=rows[:, 1 : 1 + classes],
        moisture_frac=rows[:, 1 + at.X_0 : 1 + at.X_0 + classes],
        temp_metal_c=rows[:, 1 + at.T_METAL],
        temp_exhaust_c=rows[:, 1 + at.T_EXHAUST],
        temp_inlet_c=rows[:, 1 + at.STATES],
        fire_frac=rows[:, 2 + at.STATES],
    )


def dry_many(
    loads: Load | Sequence[Load],
    pockets: Pocket | Sequence[Pocket],
    airs: Air | Sequence[Air],
    heats: Heat | Sequence[Heat],
    *,
    sold_s: Array | float | None = None,
    starts: Sequence[Start | None] | None = None,
) -> Needs:
    """The figures of `dry` for n loads as arrays (n,); one record stands for all where a sequence is not given.

    Releases the interpreter's lock while it computes. With ``sold_s`` the *end* figures are those of the sold run and
    a load that the sold time does not dry has NaN seconds to dry; without it, of heating until dry plus cool-down.
    """
    n = _count(loads, pockets, airs, heats, sold_s)
    many = (_many(loads, n), _many(pockets, n), _many(airs, n), _many(heats, n))
    ends = [-1.0] * n
    if sold_s is not None:
        ends = [heat_end_s(float(s), h) for s, h in zip(np.broadcast_to(sold_s, n), many[3], strict=True)]
    rows, first = np.empty((n, at.ROW)), np.empty((n, at.STATES))
    for i, (load, pocket, air, heat) in enumerate(zip(*many, strict=True)):
        rows[i] = row_of(load, pocket, air, heat, ends[i])
        first[i] = start_of(load, air, None if starts is None else starts[i])
    if sold_s is not None:
        inside = np.array([h.is_cool_down_inside_sold for h in many[3]])
        rows[:, at.COOL] = np.where(inside, np.minimum(rows[:, at.COOL], sold_s), rows[:, at.COOL])
    motors = np.array([p.motor_w for p in many[1]])
    is_electric = np.array([p.fuel == "electric" for p in many[1]])
    return needs_of(run_many(rows, first), motors, is_electric)


def run_many(rows: Array, starts: Array) -> Array:
    """Rows (n, ROW) and starts (n, STATES) through the kernel: outs (n, OUT)."""
    from drybank.drying.lanes import run_rows

    outs = np.zeros((rows.shape[0], at.OUT))
    run_rows(np.ascontiguousarray(rows), np.ascontiguousarray(starts), outs, np.zeros((0, at.STATES + 3)))
    return outs


def needs_of(outs: Array, motors_w: Array, is_electric: NDBool) -> Needs:
    """Named arrays out of the kernel's figures."""
    seconds, end = outs[:, at.O_DRY_S], outs[:, at.O_END_S]
    is_dry = np.isfinite(seconds)
    burned = np.where(is_dry, outs[:, at.O_DRY_BURNED], np.nan)
    span = np.where(is_dry, seconds, np.maximum(outs[:, at.O_HEAT_END_S], 1e-9))
    return Needs(
        seconds_to_dry=seconds.copy(),
        gas_to_dry_j=np.where(is_electric, np.where(is_dry, 0.0, np.nan), burned),
        electricity_to_dry_j=motors_w * seconds + np.where(is_electric, burned, 0.0),
        water_removed_kg=np.where(is_dry, outs[:, at.O_DRY_WATER], np.nan),
        gas_end_j=np.where(is_electric, 0.0, outs[:, at.O_BURNED]),
        electricity_end_j=motors_w * end + np.where(is_electric, outs[:, at.O_BURNED], 0.0),
        seconds_end=end.copy(),
        load_temp_end_k=outs[:, at.O_END_T] + ZERO_C_K,
        hottest_class_end_k=outs[:, at.O_END_T_MAX] + ZERO_C_K,
        hottest_fabric_k=outs[:, at.O_PEAK_FABRIC] + ZERO_C_K,
        hottest_inlet_k=outs[:, at.O_PEAK_INLET] + ZERO_C_K,
        energy_residual_frac=outs[:, at.O_ENERGY].copy(),
        water_residual_frac=outs[:, at.O_WATER].copy(),
        firing_share_frac=np.where(is_dry, outs[:, at.O_DRY_FIRE_S], outs[:, at.O_FIRE_S]) / span,
    )


def _count(*given: object) -> int:
    lengths = {len(g) for g in given if isinstance(g, Sequence | np.ndarray) and np.ndim(g) > 0}
    if len(lengths) > 1:
        raise InputError(
            f"Loads, pockets, air, heats and sold times differ in number: {sorted(lengths)}.",
            mend="Give one of each for every load, or a single one for all.",
        )
    return lengths.pop() if lengths else 1


def _many(given: T | Sequence[T], n: int) -> list[T]:
    return list(given) if isinstance(given, Sequence) else [given] * n
