"""Loads through the lanes of the kernel: each with its own step, fire and events.

When a step runs over a switch of the fire, over the inlet limit or over the moment of being dry, it is taken again up
to that moment; without this the fire would only switch on whole steps. A lane whose load has ended takes the next one.
"""

from __future__ import annotations

import numpy as np

from drybank.drying import layout as at
from drybank.drying import properties as prop
from drybank.drying.kernel import (
    B_BLOCKS,
    B_COOL_END,
    B_FIRE,
    B_FIRE_NOW,
    B_FIRE_S,
    B_H,
    B_K,
    B_LIGHT,
    B_LOAD,
    B_MODE,
    B_ROW,
    B_STIFF,
    B_STORED,
    B_T,
    B_T_IN,
    B_TRIES,
    B_WATER,
    B_Y,
    B_YN,
    LANES,
    Rows,
    entry,
    inline,
    plain,
    step_lanes,
)  # fmt: skip

STEP_MAX_S = 5.0
STEP_STIFF = 0.8  # of the fastest wet time constant
STEP_LEAST_S = 1e-3
T_WILD_C = 450.0
STEPS_MOST = 200_000.0  # a run takes a few thousand; beyond this its steps have shrunk to nothing
TOL_K = 1e-3  # how near a switch counts as reached
TOL_X = 1e-7

_L = LANES
_X_SAT = prop.REGAIN_SATURATED
_Q_SORB = prop.HEAT_SORPTION_J_KG
_INV_FALL = 1.0 / prop.HEAT_SORPTION_FALL
_CW, _CF = prop.CP_WATER_J_KG_K, at.HEAT_FABRIC


@plain
def _stored(buf: Rows, i: int, y: int) -> float:
    """Enthalpy held by cloth, its water and the metal of lane i, from block y on."""
    total = buf[(y + at.T_METAL) * _L + i] / buf[(B_ROW + at.INV_C_METAL) * _L + i]
    for k in range(at.CLASSES):
        c = (B_ROW + at.CLASS_0 + k * at.CLASS_WIDTH) * _L + i
        inv_mass = buf[c + at.INV_MASS_K * _L]
        if inv_mass == 0.0:
            continue
        temp, moisture = buf[(y + k) * _L + i], buf[(y + at.X_0 + k) * _L + i]
        inv_cotton = buf[c + at.INV_COTTON_K * _L]
        x = min(max(moisture * inv_cotton, 0.0), _X_SAT)
        b = 1.0 / _INV_FALL
        log_part = np.log1p(x * _INV_FALL)
        quartic = x**4 / 4 - b * x**3 / 3 + b**2 * x**2 / 2 - b**3 * x + b**4 * log_part
        wetting = _Q_SORB * b * (log_part - quartic / _X_SAT**4)
        total += ((_CF + _CW * moisture) * temp - wetting / inv_cotton) / inv_mass
    return float(total)


@plain
def _water(buf: Rows, i: int, y: int) -> float:
    """Water in the load of lane i, kg."""
    total = 0.0
    for k in range(at.CLASSES):
        inv_mass = buf[(B_ROW + at.CLASS_0 + k * at.CLASS_WIDTH + at.INV_MASS_K) * _L + i]
        if inv_mass > 0.0:
            total += buf[(y + at.X_0 + k) * _L + i] / inv_mass
    return total


@inline
def _row_of(buf: Rows, what: int, i: int) -> float:
    return float(buf[(B_ROW + what) * _L + i])


@plain
def _share_of(buf: Rows, i: int, k: int) -> float:
    return float(buf[(B_ROW + at.CLASS_0 + k * at.CLASS_WIDTH + at.SHARE_K) * _L + i])


@plain
def _mean(buf: Rows, i: int, first: int) -> float:
    """Mass-weighted mean over the classes of three blocks from ``first`` on."""
    return float(
        buf[first * _L + i] * _share_of(buf, i, 0)
        + buf[(first + 1) * _L + i] * _share_of(buf, i, 1)
        + buf[(first + 2) * _L + i] * _share_of(buf, i, 2)
    )


@plain
def _root(g0: float, slope: float, g1: float, h: float) -> float:
    """Where the parabola through g0 with this slope and through g1 at h is zero; g0 and g1 differ in sign."""
    c = (g1 - g0 - slope * h) / (h * h)
    d = slope * slope - 4.0 * c * g0
    if d > 0.0:
        s = np.sqrt(d)
        q = -0.5 * (slope + (s if slope >= 0.0 else -s))
        for r in ((g0 / q if q != 0.0 else -1.0), (q / c if c != 0.0 else -1.0)):
            if 0.0 < r <= h:
                return float(r)
    return h * g0 / (g0 - g1)


@plain
def _cut(buf: Rows, i: int, out: Rows) -> float:
    """The step to take instead when this one ran over an event; the step itself when it did not."""
    mode = int(buf[B_MODE * _L + i])
    h = buf[B_H * _L + i]
    best = h
    e0, e1 = buf[at.T_EXHAUST * _L + i], buf[(B_YN + at.T_EXHAUST) * _L + i]
    slope = buf[(B_K + at.T_EXHAUST) * _L + i]
    kind = int(_row_of(buf, at.KIND, i))
    setting, band = _row_of(buf, at.SETTING, i), _row_of(buf, at.BAND, i)
    if mode == at.MODE_OFF:
        lower = setting - band if kind != 3 else setting
        if e1 < lower - TOL_K:
            best = min(best, _root(e0 - lower, slope, e1 - lower, h))
    elif mode == at.MODE_FULL or mode == at.MODE_LOW:
        upper = setting
        if kind == 3:
            upper += _row_of(buf, at.OVER, i)
        elif kind == 2 and mode == at.MODE_FULL:
            upper -= band
        if e1 > upper + TOL_K:
            best = min(best, _root(e0 - upper, slope, e1 - upper, h))
        if mode == at.MODE_LOW and e1 < setting - 2.0 * band - TOL_K:
            lower = setting - 2.0 * band
            best = min(best, _root(e0 - lower, slope, e1 - lower, h))
        limit = _row_of(buf, at.LIMIT, i)
        l1 = buf[(B_YN + at.T_LIMIT) * _L + i]
        if l1 > limit + TOL_K:
            l0 = buf[at.T_LIMIT * _L + i]
            best = min(best, _root(l0 - limit, buf[(B_K + at.T_LIMIT) * _L + i], l1 - limit, h))
    elif mode == at.MODE_LIMIT:
        limit = _row_of(buf, at.LIMIT, i) - _row_of(buf, at.BAND_LIMIT, i)
        l1 = buf[(B_YN + at.T_LIMIT) * _L + i]
        if l1 < limit - TOL_K:
            l0 = buf[at.T_LIMIT * _L + i]
            best = min(best, _root(l0 - limit, buf[(B_K + at.T_LIMIT) * _L + i], l1 - limit, h))
    if mode != at.MODE_COOL and np.isnan(out[at.O_DRY_S]):
        best = min(best, _cut_dry(buf, i, h))
    return float(best)


@plain
def _cut_dry(buf: Rows, i: int, h: float) -> float:
    """The step up to the moment of being dry, or h."""
    thick = int(_row_of(buf, at.THICKEST, i))
    m1 = _mean(buf, i, B_YN + at.X_0) - at.DRY_MEAN
    x1 = buf[(B_YN + at.X_0 + thick) * _L + i] - at.DRY_THICKEST
    if max(m1, x1) >= -TOL_X:
        return h
    m0 = _mean(buf, i, at.X_0) - at.DRY_MEAN
    x0 = buf[(at.X_0 + thick) * _L + i] - at.DRY_THICKEST
    when = 0.0
    if m0 > 0.0:
        when = _root(m0, _mean(buf, i, B_K + at.X_0), m1, h)
    if x0 > 0.0:
        when = max(when, _root(x0, buf[(B_K + at.X_0 + thick) * _L + i], x1, h))
    return when if when > 0.0 else h


@plain
def _is_dry(buf: Rows, i: int) -> bool:
    thick = int(_row_of(buf, at.THICKEST, i))
    if buf[(at.X_0 + thick) * _L + i] - at.DRY_THICKEST > TOL_X:
        return False
    return bool(_mean(buf, i, at.X_0) - at.DRY_MEAN <= TOL_X)


@plain
def _go(buf: Rows, i: int, mode: int) -> None:
    """Enter a mode of the fire."""
    buf[B_MODE * _L + i] = mode
    fire = 0.0
    if mode == at.MODE_FULL:
        fire = 1.0
    elif mode == at.MODE_LOW:
        fire = _row_of(buf, at.LOW_FIRE, i)
    elif mode == at.MODE_DELAY:
        buf[B_LIGHT * _L + i] = buf[B_T * _L + i] + _row_of(buf, at.DELAY, i)
    buf[B_FIRE * _L + i] = fire


@plain
def _switch(buf: Rows, i: int, out: Rows) -> None:
    """Let the control act on where lane i now is; a few rounds, as one act may call the next."""
    kind = int(_row_of(buf, at.KIND, i))
    setting, band = _row_of(buf, at.SETTING, i), _row_of(buf, at.BAND, i)
    for _ in range(4):
        mode = int(buf[B_MODE * _L + i])
        exhaust = buf[at.T_EXHAUST * _L + i]
        if mode == at.MODE_OFF:
            if exhaust > (setting - band if kind != 3 else setting) + TOL_K:
                return
            _go(buf, i, at.MODE_DELAY)
        elif mode == at.MODE_DELAY:
            if buf[B_T * _L + i] < buf[B_LIGHT * _L + i]:
                return
            _go(buf, i, at.MODE_LOW if kind == 2 and exhaust > setting - 2.0 * band else at.MODE_FULL)
        elif mode == at.MODE_FULL or mode == at.MODE_LOW:
            if buf[at.T_LIMIT * _L + i] >= _row_of(buf, at.LIMIT, i) - TOL_K:
                out[at.O_TRIPS] += 1.0
                _go(buf, i, at.MODE_LIMIT)
                continue
            over = _row_of(buf, at.OVER, i) if kind == 3 else 0.0
            if exhaust >= setting + over - TOL_K:
                _go(buf, i, at.MODE_OFF)
            elif kind == 2 and mode == at.MODE_FULL and exhaust >= setting - band - TOL_K:
                _go(buf, i, at.MODE_LOW)
            elif mode == at.MODE_LOW and exhaust <= setting - 2.0 * band + TOL_K:
                _go(buf, i, at.MODE_FULL)
            else:
                return
        elif mode == at.MODE_LIMIT:
            limit = _row_of(buf, at.LIMIT, i) - _row_of(buf, at.BAND_LIMIT, i)
            if buf[at.T_LIMIT * _L + i] > limit + TOL_K:
                return
            _go(buf, i, at.MODE_DELAY)
        else:
            return


@plain
def _next_step(buf: Rows, i: int) -> None:
    """Choose the next step: stiffness, then what is due at a known time."""
    h = STEP_MAX_S
    stiff = buf[B_STIFF * _L + i]
    if stiff * h > STEP_STIFF:
        h = STEP_STIFF / stiff
    t = buf[B_T * _L + i]
    mode = int(buf[B_MODE * _L + i])
    due = buf[B_COOL_END * _L + i]
    if mode == at.MODE_DELAY:
        due = min(due, buf[B_LIGHT * _L + i])
    if t + 1.000001 * h > due:
        h = due - t
    buf[B_H * _L + i] = h
    buf[B_TRIES * _L + i] = 0.0


@plain
def _begin(buf: Rows, i: int, rows: Rows, starts: Rows, load: int, out: Rows) -> None:
    """Put a load into lane i."""
    for what in range(at.ROW):
        buf[(B_ROW + what) * _L + i] = rows[load, what]
    for what in range(at.WIDTH):
        buf[what * _L + i] = starts[load, what] if what < at.STATES else 0.0
    for what in range(at.OUT):
        out[what] = 0.0
    out[at.O_DRY_S] = np.nan
    out[at.O_HEAT_END_S] = np.nan
    buf[B_LOAD * _L + i] = load
    buf[B_T * _L + i] = 0.0
    buf[B_FIRE_S * _L + i] = 0.0
    heat_end = _row_of(buf, at.HEAT_END, i)
    buf[B_COOL_END * _L + i] = heat_end if heat_end >= 0.0 else at.LONGEST_S
    buf[B_STORED * _L + i] = _stored(buf, i, B_Y)
    buf[B_WATER * _L + i] = _water(buf, i, B_Y)
    buf[B_STIFF * _L + i] = 0.25
    if int(_row_of(buf, at.KIND, i)) == 0:
        _go(buf, i, at.MODE_LIMIT)
        buf[(B_ROW + at.LIMIT) * _L + i] = -1e9  # a fire that never lights
    else:
        _go(buf, i, at.MODE_DELAY)
    _switch(buf, i, out)
    _next_step(buf, i)


@plain
def _take(buf: Rows, i: int, out: Rows) -> None:
    """Accept the step of lane i."""
    h = buf[B_H * _L + i]
    for what in range(at.WIDTH):
        buf[what * _L + i] = buf[(B_YN + what) * _L + i]
    buf[B_T * _L + i] += h
    if buf[B_FIRE * _L + i] > 0.0:
        buf[B_FIRE_S * _L + i] += h
    out[at.O_PEAK_INLET] = max(out[at.O_PEAK_INLET], buf[B_T_IN * _L + i])
    for k in range(at.CLASSES):
        if _share_of(buf, i, k) > 0.0:
            out[at.O_PEAK_FABRIC] = max(out[at.O_PEAK_FABRIC], buf[k * _L + i])
    out[at.O_STEPS] += 1.0


@plain
def _moment(buf: Rows, i: int, out: Rows) -> bool:
    """After a step: dry? heat at its end? all over? True when the load of lane i is done."""
    t = buf[B_T * _L + i]
    if int(buf[B_MODE * _L + i]) == at.MODE_COOL:
        return bool(t >= buf[B_COOL_END * _L + i])
    is_over = t >= buf[B_COOL_END * _L + i]
    if np.isnan(out[at.O_DRY_S]) and _is_dry(buf, i):
        out[at.O_DRY_S] = t
        out[at.O_DRY_BURNED] = buf[at.BURNED * _L + i]
        out[at.O_DRY_WATER] = buf[B_WATER * _L + i] - _water(buf, i, B_Y)
        out[at.O_DRY_FIRE_S] = buf[B_FIRE_S * _L + i]
        is_over = is_over or _row_of(buf, at.HEAT_END, i) < 0.0
    if not is_over:
        return False
    out[at.O_HEAT_END_S] = t
    out[at.O_HEAT_END_T] = _mean(buf, i, at.T_0)
    out[at.O_MOISTURE_HEAT_END] = _mean(buf, i, at.X_0)
    _go(buf, i, at.MODE_COOL)
    buf[B_COOL_END * _L + i] = t + _row_of(buf, at.COOL, i)
    return bool(_row_of(buf, at.COOL, i) <= 0.0)


@plain
def _finish(buf: Rows, i: int, out: Rows) -> None:
    """Write what the end of a run gives."""
    burned = buf[at.BURNED * _L + i]
    water_left = _water(buf, i, B_Y)
    out[at.O_END_S] = buf[B_T * _L + i]
    out[at.O_BURNED] = burned
    out[at.O_FIRE_S] = buf[B_FIRE_S * _L + i]
    out[at.O_END_T] = _mean(buf, i, at.T_0)
    hottest = -1e9
    for k in range(at.CLASSES):
        if _share_of(buf, i, k) > 0.0:
            hottest = max(hottest, buf[k * _L + i])
    out[at.O_END_T_MAX] = hottest
    out[at.O_MOISTURE_END] = _mean(buf, i, at.X_0)
    gained = _stored(buf, i, B_Y) - buf[B_STORED * _L + i]
    scale = max(burned, abs(buf[at.ENTHALPY_OUT * _L + i]), 1.0)
    out[at.O_ENERGY] = (burned - buf[at.ENTHALPY_OUT * _L + i] - buf[at.LOST * _L + i] - gained) / scale
    water_fire = burned * _row_of(buf, at.WATER_FIRE, i)
    water_start = buf[B_WATER * _L + i]
    out[at.O_WATER] = (water_start + water_fire - water_left - buf[at.WATER_OUT * _L + i]) / water_start
    out[at.O_METAL] = buf[at.T_METAL * _L + i]
    out[at.O_EXHAUST] = buf[at.T_EXHAUST * _L + i]
    out[at.O_LIMIT] = buf[at.T_LIMIT * _L + i]


@plain
def _is_wild(buf: Rows, i: int) -> bool:
    """Whether the step of lane i overshot: fabric drier than nothing, or hotter than any fire makes it.

    The step follows the wet time constant; a light load in a large drum has a faster one just before it is dry.
    """
    if buf[B_H * _L + i] < STEP_LEAST_S:
        return False
    for k in range(at.CLASSES):
        if buf[(B_YN + at.X_0 + k) * _L + i] < -1e-4 or buf[(B_YN + k) * _L + i] > T_WILD_C:
            return True
    return False


@plain
def _note(buf: Rows, i: int, trace: Rows, n: int) -> None:
    """Row n of the trace: time, states, inlet, fire."""
    if n < trace.shape[0]:
        trace[n, 0] = buf[B_T * _L + i]
        for what in range(at.STATES):
            trace[n, 1 + what] = buf[what * _L + i]
        trace[n, 1 + at.STATES] = buf[B_T_IN * _L + i]
        trace[n, 2 + at.STATES] = buf[B_FIRE_NOW * _L + i]


@entry
def run_rows(rows: Rows, starts: Rows, outs: Rows, trace: Rows) -> int:
    """Run every row (n, ROW) from its start (n, STATES) and write outs (n, OUT).

    ``trace`` (m, STATES + 3) is filled for a single row; give it no rows otherwise. Returns the trace's length.
    """
    count = rows.shape[0]
    buf = np.zeros(B_BLOCKS * _L)
    idle = np.zeros(at.OUT)
    zero = count - count  # not a literal, which would compile what it is handed to twice
    queued, running, noted = zero, zero, zero
    for i in range(_L):
        if queued < count:
            _begin(buf, i, rows, starts, queued, outs[queued])
            queued += 1
            running += 1
        else:  # a lane without a load repeats the first one's figures with no step
            _begin(buf, i, rows, starts, zero, idle)
            buf[B_LOAD * _L + i] = -1.0
            buf[B_H * _L + i] = 0.0
    while running > 0:
        step_lanes(buf)
        for i in range(_L):
            load = int(buf[B_LOAD * _L + i])
            if load < 0:
                continue
            out = outs[load]
            if _is_wild(buf, i):
                buf[B_H * _L + i] *= 0.25
                continue
            if buf[B_TRIES * _L + i] < 3.0:
                h = _cut(buf, i, out)
                if h < buf[B_H * _L + i]:
                    buf[B_H * _L + i] = h
                    buf[B_TRIES * _L + i] += 1.0
                    continue
            if trace.shape[0] > 0:
                _note(buf, i, trace, noted)
                noted += 1
            _take(buf, i, out)
            is_lost = out[at.O_STEPS] > STEPS_MOST or not np.isfinite(buf[B_T * _L + i])
            if not is_lost:
                is_done = _moment(buf, i, out)
                _switch(buf, i, out)
                if not is_done:
                    _next_step(buf, i)
                    continue
                _finish(buf, i, out)
            else:  # beyond what the model can step through: no figure is better than a wrong one
                for what in range(at.OUT):
                    out[what] = np.nan
            if trace.shape[0] > 0:
                _note(buf, i, trace, noted)
                noted += 1
            if queued < count:
                _begin(buf, i, rows, starts, queued, outs[queued])
                queued += 1
            else:
                running -= 1
                buf[B_LOAD * _L + i] = -1.0
                buf[B_H * _L + i] = 0.0
    return int(noted)
