"""A general-purpose integrator (SciPy) run over the same model, restarted at every switch of the fire."""

from __future__ import annotations

import numpy as np
from scipy.integrate import LSODA, solve_ivp
from scipy.optimize import brentq

from drybank.drying import layout as at
from drybank.drying import reference
from drybank.drying.kernel import slopes_of, spread_row

STATES = at.STATES + 1  # and the heat burned


def compiled(row):
    """The kernel's own right-hand side, called as SciPy wants it."""
    spread, full = spread_row(row), np.zeros(at.WIDTH + 3)

    def rates(_t, y, fire):
        slopes_of(spread, fire, y, full)
        return full[:STATES].copy()

    return rates


def plain(row):
    """The reference's right-hand side."""

    def rates(_t, y, fire):
        return reference.slopes(row, fire, np.append(y, (0.0, 0.0, 0.0)))[:STATES]

    return rates


def _event(state, value, sense):
    def g(_t, y, _fire):
        return y[state] - value

    g.terminal, g.direction = True, sense
    return g


def _dry_event(row):
    shares = [float(row[at.CLASS_0 + k * at.CLASS_WIDTH + at.SHARE_K]) for k in range(at.CLASSES)]
    s1, s2, s3 = shares
    thickest = at.X_0 + int(row[at.THICKEST])

    def g(_t, y, _fire):
        mean = s1 * y[at.X_0] + s2 * y[at.X_0 + 1] + s3 * y[at.X_0 + 2]
        return max(mean - at.DRY_MEAN, y[thickest] - at.DRY_THICKEST)

    g.terminal, g.direction = True, -1
    return g


def run_to_dry(row, start, *, method="LSODA", rtol=1e-8, rhs=compiled):
    """Seconds to dry, heat burned, seconds of fire, by solve_ivp restarted at located events."""
    rates = rhs(row)
    y, t, fire_s = np.append(start, 0.0), 0.0, 0.0
    atol = np.array([1e-3] * 3 + [1e-5] * 3 + [1e-3] * 3 + [1e2]) * rtol * 1e2
    mode, light = (at.MODE_DELAY, float(row[at.DELAY])) if row[at.KIND] > 0 else (at.MODE_COOL, 0.0)
    while t < at.LONGEST_S:
        if mode == at.MODE_DELAY and t >= light:
            mode = reference.lit_mode(row, y[at.T_EXHAUST])
        watched = reference.switches(row, mode)
        passed = [s for s in watched if s.sense * (y[s.state] - s.value) >= -1e-6]
        if passed:
            mode, light = reference.next_mode(row, mode, passed[0]), t + float(row[at.DELAY])
            continue
        until = light if mode == at.MODE_DELAY else at.LONGEST_S
        fire = reference.fire_of(row, mode)
        events = [_event(*s) for s in watched] + [_dry_event(row)]
        done = solve_ivp(
            rates, (t, until), y, method=method, rtol=rtol, atol=atol, events=events, args=(fire,),
        )  # fmt: skip
        if done.status < 0:
            raise RuntimeError(done.message)
        fire_s += (done.t[-1] - t) if fire > 0.0 else 0.0
        t, y = float(done.t[-1]), done.y[:, -1]
        if done.status == 1 and len(done.t_events[-1]):
            return t, float(y[-1]), fire_s
    return np.nan, float(y[-1]), fire_s


def run_to_dry_bare(row, start, *, rtol=1e-8):
    """The same through SciPy's LSODA stepped by hand: no event machinery but sign checks. The fastest way found."""
    rates = compiled(row)
    y, t = np.append(start, 0.0), 0.0
    atol = np.array([1e-3] * 3 + [1e-5] * 3 + [1e-3] * 3 + [1e2]) * rtol * 1e2
    dry = _dry_event(row)
    mode, light = (at.MODE_DELAY, float(row[at.DELAY])) if row[at.KIND] > 0 else (at.MODE_COOL, 0.0)
    while t < at.LONGEST_S:
        if mode == at.MODE_DELAY and t >= light:
            mode = reference.lit_mode(row, y[at.T_EXHAUST])
        watched = reference.switches(row, mode)
        passed = [s for s in watched if s.sense * (y[s.state] - s.value) >= -1e-6]
        if passed:
            mode, light = reference.next_mode(row, mode, passed[0]), t + float(row[at.DELAY])
            continue
        until = light if mode == at.MODE_DELAY else at.LONGEST_S
        fire = reference.fire_of(row, mode)
        solver = LSODA(lambda s, x, fire=fire: rates(s, x, fire), t, y, until, rtol=rtol, atol=atol)
        found = None
        while found is None and solver.status == "running":
            solver.step()
            x = solver.y
            over = [s for s in watched if s.sense * (x[s.state] - s.value) > 0.0]
            is_dry = dry(0.0, x, fire) <= 0.0
            if over or is_dry:
                found, y = _first(solver, over, dry if is_dry else None)
                t = found
        if found is None:
            t, y = solver.t, solver.y.copy()
        if dry(0.0, y, fire) <= 1e-12:
            return t, float(y[-1]), 0.0
    return np.nan, float(y[-1]), 0.0


def _first(solver, over, dry):
    """The earliest event inside the last step, and the state there."""
    curve = solver.dense_output()
    span = (solver.t_old, solver.t)
    ends = [brentq(lambda s, e=e: curve(s)[e.state] - e.value, *span, xtol=1e-9) for e in over]
    if dry is not None:
        ends.append(brentq(lambda s: dry(0.0, curve(s), 0.0), *span, xtol=1e-9))
    return min(ends), curve(min(ends))
