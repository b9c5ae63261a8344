"""One drying run in lanes against LSODA over the same compiled right-hand side, in one run; and reading of need tables.

`python bench/drying.py [loads]`: 200 loads for LSODA unless said, 20 times as many for the lanes.
"""

from __future__ import annotations

import importlib.util
import platform
import sys
import time
from pathlib import Path

import numpy as np

from drybank.drying import NeedAxes, Pocket
from drybank.drying import layout as at
from drybank.drying.need import build_needs, needs_at
from drybank.drying.rows import row_of, start_of
from drybank.drying.run import run_many

HERE = Path(__file__).resolve().parent


def _beside(name: str):
    """A module of tests/drying by its file."""
    spec = importlib.util.spec_from_file_location(name, HERE.parent / "tests" / "drying" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _cpu(work) -> tuple[float, object]:
    begun = time.process_time()
    out = work()
    return time.process_time() - begun, out


def _verdict(goal: str, figure: str, target: str, met: bool) -> None:
    print(f"goal {goal}: {figure} (goal {target}) {'met' if met else 'short'}")


def runs(count: int) -> None:
    """Lanes and LSODA on the same loads."""
    outside, loads = _beside("outside"), _beside("loads")
    cases = loads.random_cases(count, 2026)
    rows = np.array([row_of(*c) for c in cases])
    starts = np.array([start_of(c[0], c[2]) for c in cases])
    rows[:, at.COOL] = 0.0
    run_many(rows[:8], starts[:8])
    outside.run_to_dry_bare(rows[0], starts[0])

    many_rows, many_starts = np.tile(rows, (20, 1)), np.tile(starts, (20, 1))
    lanes = [_cpu(lambda: run_many(many_rows, many_starts))[0] / len(many_rows) for _ in range(5)]
    ours = float(np.median(lanes))
    outs = run_many(rows, starts)
    spent, found = {}, {}
    for name, work in (
        ("solve_ivp 1e-8", lambda r, s: outside.run_to_dry(r, s, rtol=1e-8)),
        ("LSODA stepped by hand 1e-8", lambda r, s: outside.run_to_dry_bare(r, s, rtol=1e-8)),
        ("LSODA stepped by hand 1e-4", lambda r, s: outside.run_to_dry_bare(r, s, rtol=1e-4)),
    ):
        took, answers = _cpu(lambda work=work: np.array([work(r, s)[:2] for r, s in zip(rows, starts, strict=True)]))
        spent[name], found[name] = took / count, answers
    true = found["solve_ivp 1e-8"]
    worst = np.nanmax(np.abs(outs[:, at.O_DRY_S] / true[:, 0] - 1))
    worst_gas = np.nanmax(np.abs(outs[:, at.O_DRY_BURNED] / true[:, 1] - 1))
    print(f"lanes: {1 / ours:,.0f} loads/s a core ({outs[:, at.O_STEPS].mean():.0f} steps a load, cool-down left out)")
    for name, took in spent.items():
        error = np.nanmax(np.abs(found[name][:, 0] / true[:, 0] - 1))
        print(
            f"{name}: {1e3 * took:.1f} ms a load, {took / ours:,.0f} x the lanes' time, worst error {100 * error:.4f} %"
        )
    print(f"lanes against solve_ivp 1e-8: worst time {100 * worst:.4f} %, worst gas {100 * worst_gas:.4f} %")
    print(
        f"worst balance: water {np.abs(outs[:, at.O_WATER]).max():.1e}, energy {np.abs(outs[:, at.O_ENERGY]).max():.1e}"
    )
    ratio = spent["LSODA stepped by hand 1e-8"] / ours
    good = worst <= 1e-3
    _verdict(
        "6", f"{ratio:,.0f}x LSODA 1e-8 at {100 * worst:.3f} % error", ">= 100x at <= 0.1 %", ratio >= 100 and good
    )
    _verdict("6 (stretch)", f"{ratio:,.0f}x LSODA 1e-8", ">= 150x", ratio >= 150 and good)


def tables() -> None:
    """A default need table of three heats: its error, and how fast it is read."""
    took, table = _cpu(lambda: build_needs(Pocket(), [88.0, 65.0, 50.0], NeedAxes(), rng=np.random.default_rng(1)))
    rng = np.random.default_rng(2)
    n = 1_000_000
    asked = (
        rng.integers(0, 3, n), rng.uniform(1, 14, n), rng.uniform(0.35, 1, n), rng.uniform(0, 34, n),
        rng.uniform(0.15, 0.80, n),
    )  # fmt: skip
    needs_at(table, *(a[:10] for a in asked))
    speed = n / float(np.median([_cpu(lambda: needs_at(table, *asked))[0] for _ in range(7)]))
    print(
        f"need table, 3 heats x {table.values[0, ..., 0].size:,} points: built in {took:.1f} s of CPU, worst error of minutes "
        f"{100 * table.error_max_frac:.2f} %, rms {100 * table.error_rms_frac:.2f} %, of fuel "
        f"{100 * table.error_fuel_max_frac:.2f} % ({table.error_points} points)"
    )
    _verdict("need table speed", f"{speed / 1e6:.1f} M reads/s a core", "> 5 M/s", speed > 5e6)
    _verdict(
        "need table error", f"{100 * table.error_max_frac:.2f} % of minutes", "<= 1 %", table.error_max_frac <= 0.01
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"conditions: Python {platform.python_version()}, {platform.machine()}, one thread, CPU seconds, {count} random "
          "loads (1..14 kg, 35..100 %, three ways of firing, 0..2,500 m, 5..38 °C, settings 45..90 °C)")  # fmt: skip
    runs(count)
    tables()
