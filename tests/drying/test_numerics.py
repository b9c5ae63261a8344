"""The kernel against the plain reference and against SciPy's general-purpose integrators."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from tests.drying import outside
from tests.drying.loads import random_cases
from tests.facts.report import note

from drybank.drying import dry_many, layout, reference
from drybank.drying.rows import row_of, start_of
from drybank.drying.run import run_many


def _rows(cases):
    return np.array([row_of(*c) for c in cases]), np.array([start_of(c[0], c[2]) for c in cases])


def test_slopes_of_kernel_and_reference_are_equal_to_a_hundred_millionth():
    rng = np.random.default_rng(5)
    for case in random_cases(30, 11):
        row, y = row_of(*case), np.zeros(layout.STATES)
        y[:3] = rng.uniform(5, 110, 3)
        y[3:6] = rng.choice([0.001, 0.03, 0.12, 0.22, 0.6], 3)
        y[6:] = rng.uniform(10, 110, 3)
        for fire in (0.0, 0.3, 1.0):
            ours = outside.compiled(row)(0.0, y, fire)
            plain = outside.plain(row)(0.0, np.append(y, 0.0), fire)
            np.testing.assert_allclose(ours, plain, rtol=2e-7, atol=1e-8)


def test_kernel_and_reference_dry_in_the_same_time():
    """Different step lengths and different ways onto a switch: 5 s and parabola against 2 s and bisection."""
    cases = random_cases(4, 23)
    rows, starts = _rows(cases)
    outs = run_many(rows, starts)
    for row, start, out in zip(rows, starts, outs, strict=True):
        plain = reference.run_to_dry(row, start, step_s=2.0)
        assert out[layout.O_DRY_S] == pytest.approx(plain.seconds, rel=5e-4)
        assert out[layout.O_DRY_BURNED] == pytest.approx(plain.state[layout.BURNED], rel=5e-4)
        assert out[layout.O_TRIPS] == plain.trips


@pytest.mark.facts
@pytest.mark.slow
def test_time_to_dry_lies_within_a_thousandth_of_lsoda():
    """solve_ivp, LSODA rtol 1e-8, restarted at located switches, the same compiled right-hand side; 102 loads."""
    cases = random_cases(102, 31)
    rows, starts = _rows(cases)
    outs = run_many(rows, starts)
    outer = np.array([outside.run_to_dry(r, s) for r, s in zip(rows, starts, strict=True)])
    assert np.array_equal(np.isnan(outs[:, layout.O_DRY_S]), np.isnan(outer[:, 0]))
    error = np.abs(outs[:, layout.O_DRY_S] / outer[:, 0] - 1.0)
    gas = np.abs(outs[:, layout.O_DRY_BURNED] / outer[:, 1] - 1.0)
    note("time to dry, 102 random loads", "SciPy solve_ivp, LSODA 1e-8", "C", "equal",
         f"worst {100 * np.nanmax(error):.4f} %", f"median {100 * np.nanmedian(error):.5f} %")  # fmt: skip
    assert np.nanmax(error) < 1e-3
    assert np.nanmax(gas) < 1e-3


def test_lsoda_and_radau_agree_and_the_plain_right_hand_side_gives_the_same():
    cases = random_cases(3, 47)
    rows, starts = _rows(cases)
    for row, start in zip(rows, starts, strict=True):
        lsoda = outside.run_to_dry(row, start)
        radau = outside.run_to_dry(row, start, method="Radau", rtol=1e-7)
        assert radau[0] == pytest.approx(lsoda[0], rel=2e-6)
        assert radau[1] == pytest.approx(lsoda[1], rel=2e-6)
    plain = outside.run_to_dry(rows[0], starts[0], rhs=outside.plain)
    assert plain[0] == pytest.approx(outside.run_to_dry(rows[0], starts[0])[0], rel=1e-6)


@pytest.mark.facts
def test_water_and_energy_balance_over_600_random_loads():
    cases = random_cases(600, 3)
    needs = dry_many(*(list(x) for x in zip(*cases, strict=True)))
    water, energy = np.abs(needs.water_residual_frac), np.abs(needs.energy_residual_frac)
    note("water balance, 600 random loads", "conservation", "C", "0", f"{water.max():.1e} of the water", "worst")
    note("energy balance, 600 random loads", "conservation", "C", "0", f"{energy.max():.1e} of the gas", "worst")
    assert water.max() <= 1e-12
    assert energy.max() <= 5e-4


def test_balances_hold_for_sold_runs_that_end_wet_and_over_dry():
    cases = random_cases(200, 8)
    sold = np.random.default_rng(9).uniform(60, 4800, 200)
    needs = dry_many(*(list(x) for x in zip(*cases, strict=True)), sold_s=sold)
    assert np.abs(needs.water_residual_frac).max() <= 1e-12
    assert np.abs(needs.energy_residual_frac).max() <= 5e-4


def test_a_load_gives_the_same_figures_whatever_runs_in_the_lanes_beside_it():
    cases = random_cases(40, 77)
    rows, starts = _rows(cases)
    together = run_many(rows, starts)
    order = np.random.default_rng(1).permutation(40)
    shuffled = run_many(rows[order], starts[order])
    alone = np.array([run_many(r[None], s[None])[0] for r, s in zip(rows[:9], starts[:9], strict=True)])
    assert np.array_equal(together[order], shuffled, equal_nan=True)
    assert np.array_equal(together[:9], alone, equal_nan=True)


def test_kernel_stays_inside_its_arrays_when_bounds_are_checked(tmp_path):
    """numba leaves bounds unchecked; a run with the check on must give the same figures."""
    code = (
        "from loads import random_cases\n"
        "from drybank.drying import dry_many\n"
        "n = dry_many(*(list(x) for x in zip(*random_cases(11, 5))))\n"
        "print(repr(float(n.seconds_to_dry.sum())))\n"
    )
    env = {**os.environ, "NUMBA_BOUNDSCHECK": "1", "NUMBA_OPT": "1", "NUMBA_CACHE_DIR": str(tmp_path)}
    checked = subprocess.run(
        [sys.executable, "-c", code], env=env, cwd=Path(__file__).parent, capture_output=True, text=True, check=True
    )
    ours = dry_many(*(list(x) for x in zip(*random_cases(11, 5), strict=True)))
    assert float(checked.stdout) == pytest.approx(float(ours.seconds_to_dry.sum()), rel=1e-12)
