"""The fast form of the drying model: one time step of `LANES` loads side by side.

Lanes share nothing but the pass, so that the arithmetic runs in the vector unit. The maths is that of
`drybank.drying.reference`; what differs is how: exponentials are polynomials without branches, and a class
that a load does not have is carried with no mass. A step is the classical fourth-order Runge-Kutta step;
`drybank.drying.lanes` decides how long it is and what happens between steps.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drybank.drying import layout as at
from drybank.drying import properties as prop

LANES = 8

_P0, _P1, _P2, _P3, _P4, _P5, _P6 = prop.PSAT_ROOT
_L0, _L1, _L2, _L3 = prop.LATENT
_GAB_B = prop.REGAIN_MONOLAYER * prop.REGAIN_C
_GAB_D = prop.REGAIN_C - 2.0
_GAB_E = 4.0 * (prop.REGAIN_C - 1.0)
_GAB_K2 = 2.0 / prop.REGAIN_K
_X_SAT = prop.REGAIN_SATURATED
_INV_X_SAT = 1.0 / prop.REGAIN_SATURATED
_Q_SORB = prop.HEAT_SORPTION_J_KG
_INV_FALL = 1.0 / prop.HEAT_SORPTION_FALL
_INV_RV = 1.0 / prop.R_VAPOUR_J_KG_K
_INV_T_REGAIN = 1.0 / (prop.TEMP_REGAIN_C + 273.15)
_CPA, _CPV, _CW, _H0, _MW = (
    prop.CP_AIR_J_KG_K, prop.CP_VAPOUR_J_KG_K, prop.CP_WATER_J_KG_K, prop.H0_J_KG, prop.RATIO_MASS,
)  # fmt: skip
_CF = at.HEAT_FABRIC
_INV_X_CRIT = 1.0 / at.MOISTURE_CRITICAL
_INV_LEWIS = 1.0 / at.LEWIS
_L = LANES

F = TypeVar("F", bound=Callable[..., Any])


def _jit(**options: Any) -> Callable[[F], F]:
    """numba's decorator, typed."""
    made: Callable[[F], F] = njit(cache=True, nogil=True, error_model="numpy", **options)
    return made


# Contraction and reciprocals only: nothing that reorders sums or assumes away a NaN.
_LOOSE = {"contract", "nsz", "arcp"}
_INSIDE = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}  # called by kernels only
inline = _jit(forceinline=True, fastmath=_LOOSE, **_INSIDE)
fast = _jit(fastmath=_LOOSE, **_INSIDE)
plain = _jit(**_INSIDE)
entry = _jit()

Rows = NDArray[np.float64]


@inline
def _exp(x: float) -> float:
    """e^x for -20 <= x <= 4 (clipped): a series at x/32, squared five times."""
    x = -20.0 if x < -20.0 else x
    x = 4.0 if x > 4.0 else x
    z = x * 0.03125
    e = 1.0 + z * (
        1.0 + z * (0.5 + z * (1 / 6 + z * (1 / 24 + z * (1 / 120 + z * (1 / 720 + z * (1 / 5040 + z / 40320))))))
    )
    e *= e
    e *= e
    e *= e
    e *= e
    return e * e


@inline
def _cloth(temp: float, moisture: float, inv_cotton: float, pressure: float) -> tuple[float, float, float]:
    """Of damp cloth: humidity ratio at its surface, falling-rate factor, heat of sorption."""
    x = moisture if moisture > 0.0 else 0.0
    y = x * _INV_X_CRIT
    y = y if y < 1.0 else 1.0
    root = np.sqrt(y)
    falling = root * np.sqrt(root)
    r = x * inv_cotton
    r = r if r < _X_SAT else _X_SAT
    b = _GAB_B - _GAB_D * r
    activity = _GAB_K2 * r / (b + np.sqrt(b * b + _GAB_E * r * r))
    s = r * _INV_X_SAT
    s *= s
    sorb = _Q_SORB * (1.0 - s * s) / (1.0 + r * _INV_FALL)
    activity *= _exp(sorb * _INV_RV * (_INV_T_REGAIN - 1.0 / (temp + 273.15)))
    activity = activity if activity < 1.0 else 1.0
    t = 0.01 * temp
    p = _P0 + t * (_P1 + t * (_P2 + t * (_P3 + t * (_P4 + t * (_P5 + t * _P6)))))
    p *= p
    p *= p
    p *= activity
    top = 0.98 * pressure
    p = p if p < top else top
    return _MW * p / (pressure - p), falling, sorb


@inline
def _slopes(row: Rows, i: int, fire_mode: float, y: Any) -> Any:
    """Rates of the nine states and four sums of lane i, then inlet temperature, fire, stiffness."""
    t1, t2, t3, x1, x2, x3, t_metal, t_exhaust, t_limit = y
    m_x = row[at.FLOW * _L + i] / (t_exhaust + 273.15)
    m_d = row[at.KEEP * _L + i] * m_x
    inv_md = 1.0 / m_d
    fire = (row[at.FIRE_ZERO * _L + i] - t_exhaust) * row[at.FIRE_SLOPE * _L + i]
    cap = row[at.FIRE_CAP * _L + i]
    floor = row[at.FIRE_FLOOR * _L + i]
    fire = fire if fire < cap else cap
    fire = fire if fire > floor else floor
    burned = fire * fire_mode * row[at.HEAT_W * _L + i]
    h_in = row[at.H_AIR * _L + i] + burned * inv_md
    w_in = row[at.W_AIR * _L + i] + row[at.WATER_FIRE * _L + i] * burned * inv_md
    cp = _CPA + _CPV * w_in
    t_in = (h_in - _H0 * w_in) / cp
    cap_air = m_d * cp
    inv_cap = 1.0 / cap_air

    q_am = cap_air * (1.0 - _exp(-row[at.UA_AM * _L + i] * inv_cap)) * (t_in - t_metal)
    t_2 = t_in - q_am * inv_cap

    pressure = row[at.PRESSURE * _L + i]
    c1 = at.CLASS_0 * _L + i
    c2 = c1 + at.CLASS_WIDTH * _L
    c3 = c2 + at.CLASS_WIDTH * _L
    ws1, f1, q1 = _cloth(t1, x1, row[c1 + at.INV_COTTON_K * _L], pressure)
    ws2, f2, q2 = _cloth(t2, x2, row[c2 + at.INV_COTTON_K * _L], pressure)
    ws3, f3, q3 = _cloth(t3, x3, row[c3 + at.INV_COTTON_K * _L], pressure)

    n = row[at.CONTACT * _L + i] * inv_cap
    a1 = row[c1 + at.CONTACT_K * _L]
    a2 = row[c2 + at.CONTACT_K * _L]
    a3 = row[c3 + at.CONTACT_K * _L]
    t_b = a1 * t1 + a2 * t2 + a3 * t3
    t_air = t_b + (t_2 - t_b) * (1.0 - _exp(-n)) / n
    g1 = a1 * f1 + 1e-12
    g2 = a2 * f2
    g3 = a3 * f3
    g_sum = g1 + g2 + g3
    w_b = (g1 * ws1 + g2 * ws2 + g3 * ws3) / g_sum
    ng = n * _INV_LEWIS
    g = ng * g_sum
    g_safe = g if g > 1e-9 else 1e-9
    w_air = w_b + (w_in - w_b) * (1.0 - _exp(-g_safe)) / g_safe

    k = cap_air * n
    kg = m_d * ng
    u = row[at.UA_MF * _L + i]
    s1 = row[c1 + at.SHARE_K * _L]
    s2 = row[c2 + at.SHARE_K * _L]
    s3 = row[c3 + at.SHARE_K * _L]
    d1 = u * s1 * (t_metal - t1)
    d2 = u * s2 * (t_metal - t2)
    d3 = u * s3 * (t_metal - t3)
    e1 = k * a1 * (t_air - t1)
    e2 = k * a2 * (t_air - t2)
    e3 = k * a3 * (t_air - t3)
    v1 = kg * a1 * f1 * (ws1 - w_air)
    v2 = kg * a2 * f2 * (ws2 - w_air)
    v3 = kg * a3 * f3 * (ws3 - w_air)
    z1 = 0.01 * t1
    z2 = 0.01 * t2
    z3 = 0.01 * t3
    l1 = _L0 + z1 * (_L1 + z1 * (_L2 + z1 * _L3))
    l2 = _L0 + z2 * (_L1 + z2 * (_L2 + z2 * _L3))
    l3 = _L0 + z3 * (_L1 + z3 * (_L2 + z3 * _L3))
    m1 = row[c1 + at.INV_MASS_K * _L]
    m2 = row[c2 + at.INV_MASS_K * _L]
    m3 = row[c3 + at.INV_MASS_K * _L]
    b1 = m1 / (_CF + _CW * x1)
    b2 = m2 / (_CF + _CW * x2)
    b3 = m3 / (_CF + _CW * x3)
    loss = row[at.UA_LOSS * _L + i] * (t_metal - row[at.T_ROOM * _L + i])

    vapour = v1 + v2 + v3
    m_l = m_x - m_d
    water_x = m_d * w_in + vapour + m_l * row[at.W_ROOM * _L + i]
    heat_x = (
        m_d * h_in - q_am - e1 - e2 - e3
        + v1 * (l1 + _CW * t1) + v2 * (l2 + _CW * t2) + v3 * (l3 + _CW * t3)
        + m_l * row[at.H_ROOM * _L + i]
    )  # fmt: skip
    w_x = water_x / m_x
    t_x = (heat_x / m_x - _H0 * w_x) / (_CPA + _CPV * w_x)
    water_out = m_x * w_x - m_d * row[at.W_AIR * _L + i] - m_l * row[at.W_ROOM * _L + i]
    enthalpy_out = (
        m_x * (_CPA * t_x + w_x * (_H0 + _CPV * t_x))
        - m_d * row[at.H_AIR * _L + i] - m_l * row[at.H_ROOM * _L + i]
    )  # fmt: skip

    # fastest wet time constant: sensible, latent and moisture terms of each class, 5300 K = L M / R
    k1 = a1 * b1 * (k + kg * f1 * l1 * ws1 * 5300.0 / ((t1 + 273.15) * (t1 + 273.15)))
    k2 = a2 * b2 * (k + kg * f2 * l2 * ws2 * 5300.0 / ((t2 + 273.15) * (t2 + 273.15)))
    k3 = a3 * b3 * (k + kg * f3 * l3 * ws3 * 5300.0 / ((t3 + 273.15) * (t3 + 273.15)))
    k1 = k1 if k1 > k2 else k2
    stiff = k1 if k1 > k3 else k3
    return (
        (e1 + d1 - v1 * (l1 + q1)) * b1,
        (e2 + d2 - v2 * (l2 + q2)) * b2,
        (e3 + d3 - v3 * (l3 + q3)) * b3,
        -v1 * m1, -v2 * m2, -v3 * m3,
        (q_am - d1 - d2 - d3 - loss) * row[at.INV_C_METAL * _L + i],
        (t_x - t_exhaust) * row[at.INV_LAG * _L + i],
        (t_in - t_limit) * row[at.INV_LAG_LIMIT * _L + i],
        burned, water_out, enthalpy_out, loss,
        t_in, fire * fire_mode, stiff,
    )  # fmt: skip


# Work buffer: blocks of LANES figures each.
B_Y = 0  # state and sums
B_YN = at.WIDTH  # the same a step later
B_ROW = 2 * at.WIDTH  # constants
_KS = B_ROW + at.ROW  # slopes and by-products of the stage at hand
_RATES = at.WIDTH + 3
B_K = _KS + _RATES  # those of the start of the step
B_T_IN, B_FIRE_NOW, B_STIFF = B_K + at.WIDTH, B_K + at.WIDTH + 1, B_K + at.WIDTH + 2
B_H = B_K + _RATES
B_FIRE, B_T, B_LIGHT, B_FIRE_S, B_COOL_END, B_STORED, B_WATER = (
    B_H + 1,
    B_H + 2,
    B_H + 3,
    B_H + 4,
    B_H + 5,
    B_H + 6,
    B_H + 7,
)
B_MODE, B_TRIES, B_LOAD = B_H + 8, B_H + 9, B_H + 10
B_BLOCKS = B_H + 11


@fast
def _stage(buf: Rows, ahead: float, weight: float, keep: float) -> None:
    """One stage of the step of every lane: slopes at ``ahead`` of the step along the last stage's slopes."""
    for i in range(_L):
        h = buf[B_H * _L + i]
        s = ahead * h
        w = weight * h
        base = i + _KS * _L
        k = _slopes(buf, i + B_ROW * _L, buf[B_FIRE * _L + i], (
            buf[0 * _L + i] + s * buf[base], buf[1 * _L + i] + s * buf[base + _L],
            buf[2 * _L + i] + s * buf[base + 2 * _L], buf[3 * _L + i] + s * buf[base + 3 * _L],
            buf[4 * _L + i] + s * buf[base + 4 * _L], buf[5 * _L + i] + s * buf[base + 5 * _L],
            buf[6 * _L + i] + s * buf[base + 6 * _L], buf[7 * _L + i] + s * buf[base + 7 * _L],
            buf[8 * _L + i] + s * buf[base + 8 * _L],
        ))  # fmt: skip
        n = i + B_YN * _L
        r = 1.0 - keep
        buf[base + 0 * _L] = k[0]
        buf[n + 0 * _L] = keep * buf[n + 0 * _L] + r * buf[0 * _L + i] + w * k[0]
        buf[base + 1 * _L] = k[1]
        buf[n + 1 * _L] = keep * buf[n + 1 * _L] + r * buf[1 * _L + i] + w * k[1]
        buf[base + 2 * _L] = k[2]
        buf[n + 2 * _L] = keep * buf[n + 2 * _L] + r * buf[2 * _L + i] + w * k[2]
        buf[base + 3 * _L] = k[3]
        buf[n + 3 * _L] = keep * buf[n + 3 * _L] + r * buf[3 * _L + i] + w * k[3]
        buf[base + 4 * _L] = k[4]
        buf[n + 4 * _L] = keep * buf[n + 4 * _L] + r * buf[4 * _L + i] + w * k[4]
        buf[base + 5 * _L] = k[5]
        buf[n + 5 * _L] = keep * buf[n + 5 * _L] + r * buf[5 * _L + i] + w * k[5]
        buf[base + 6 * _L] = k[6]
        buf[n + 6 * _L] = keep * buf[n + 6 * _L] + r * buf[6 * _L + i] + w * k[6]
        buf[base + 7 * _L] = k[7]
        buf[n + 7 * _L] = keep * buf[n + 7 * _L] + r * buf[7 * _L + i] + w * k[7]
        buf[base + 8 * _L] = k[8]
        buf[n + 8 * _L] = keep * buf[n + 8 * _L] + r * buf[8 * _L + i] + w * k[8]
        buf[base + 9 * _L] = k[9]
        buf[n + 9 * _L] = keep * buf[n + 9 * _L] + r * buf[9 * _L + i] + w * k[9]
        buf[base + 10 * _L] = k[10]
        buf[n + 10 * _L] = keep * buf[n + 10 * _L] + r * buf[10 * _L + i] + w * k[10]
        buf[base + 11 * _L] = k[11]
        buf[n + 11 * _L] = keep * buf[n + 11 * _L] + r * buf[11 * _L + i] + w * k[11]
        buf[base + 12 * _L] = k[12]
        buf[n + 12 * _L] = keep * buf[n + 12 * _L] + r * buf[12 * _L + i] + w * k[12]
        buf[base + 13 * _L] = k[13]
        buf[base + 14 * _L] = k[14]
        buf[base + 15 * _L] = k[15]


@fast
def step_lanes(buf: Rows) -> None:
    """One Runge-Kutta step of every lane, from block Y to block YN."""
    _stage(buf, 0.0, 1.0 / 6.0, 0.0)
    for what in range(_RATES * _L):
        buf[B_K * _L + what] = buf[_KS * _L + what]
    _stage(buf, 0.5, 1.0 / 3.0, 1.0)
    _stage(buf, 0.5, 1.0 / 3.0, 1.0)
    _stage(buf, 1.0, 1.0 / 6.0, 1.0)


@entry
def slopes_of(spread: Rows, fire: float, state: Rows, out: Rows) -> None:
    """Rates (WIDTH figures, then inlet, fire, stiffness) of one state, for an outside integrator.

    ``spread`` is `spread_row` of the row of constants.
    """
    y = (
        state[0], state[1], state[2], state[3], state[4], state[5], state[6], state[7], state[8],
    )  # fmt: skip
    k = _slopes(spread, 0, fire, y)
    out[0], out[1], out[2], out[3], out[4], out[5], out[6], out[7] = k[0], k[1], k[2], k[3], k[4], k[5], k[6], k[7]
    out[8], out[9], out[10], out[11], out[12], out[13], out[14], out[15] = (
        k[8], k[9], k[10], k[11], k[12], k[13], k[14], k[15],
    )  # fmt: skip


def spread_row(row: Rows) -> Rows:
    """A row of constants in the first lane of an otherwise empty buffer."""
    out = np.zeros(at.ROW * LANES)
    out[::LANES] = row
    return out


@inline
def _cell(value: float, frame: Rows, axis: int, count: int) -> tuple[int, int, float]:
    """Lower point, upper point and how far between them, of an axis of a need table."""
    x = (value - frame[axis, 0]) * frame[axis, 1]
    i = int(x)
    i = min(max(i, 0), max(count - 2, 0))
    f = min(max(x - i, 0.0), 1.0)
    return i, min(i + 1, count - 1), f


@inline
def need_at(
    values: Rows, frame: Rows, heat: int, mass: float, residual: float, air: float, humidity: float
) -> tuple[float, float, float]:
    """Seconds, fuel and fuel rate after dry out of a need table; NaN beside a point that does not get dry."""
    a0, a1, fa = _cell(np.log(mass), frame, 0, values.shape[1])
    b0, b1, fb = _cell(residual, frame, 1, values.shape[2])
    c0, c1, fc = _cell(air, frame, 2, values.shape[3])
    d0, d1, fd = _cell(humidity, frame, 3, values.shape[4])
    rate, fuel, over, least = 0.0, 0.0, 0.0, 1.0
    for ia in range(2):
        a = a1 if ia else a0
        wa = fa if ia else 1.0 - fa
        for ib in range(2):
            b = b1 if ib else b0
            wb = wa * (fb if ib else 1.0 - fb)
            for ic in range(2):
                c = c1 if ic else c0
                wc = wb * (fc if ic else 1.0 - fc)
                w0, w1 = wc * (1.0 - fd), wc * fd
                v0, v1 = values[heat, a, b, c, d0], values[heat, a, b, c, d1]
                rate += w0 * v0[0] + w1 * v1[0]
                fuel += w0 * v0[1] + w1 * v1[1]
                over += w0 * v0[2] + w1 * v1[2]
                least = min(least, v0[0], v1[0])
    water = mass * residual
    if least <= 0.0:
        return np.nan, np.nan, np.nan
    return water / rate, fuel * water, over


@entry
def read_needs(
    values: Rows, frame: Rows, heat: NDArray[np.int64], mass: Rows, residual: Rows, air: Rows, humidity: Rows, out: Rows
) -> None:
    """Needs of n loads, arrays (n,), into out (3, n). The caller has checked the ranges."""
    for i in range(mass.size):
        out[0, i], out[1, i], out[2, i] = need_at(values, frame, heat[i], mass[i], residual[i], air[i], humidity[i])
