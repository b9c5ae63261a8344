"""The kernel with every index checked, in a process of its own: the busiest stores never step outside an array."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
import numba
from tests.traffic import cases
from drybank.traffic import Settings, Spread
from drybank.traffic.running import Work, count
assert numba.config.BOUNDSCHECK == 1
work = Work(weeks=2, replications=2, seed=3, warm_weeks=1)
for scale in (1.0, 4.0):
    count(cases.busy_store(scale), cases.busy_settings(), work)
count(cases.busy_store(9.0, pockets=150, small=80, large=40), cases.busy_settings(), work)
count(cases.busy_store(0.5, pockets=2, small=1, large=1), cases.busy_settings(), work)
from drybank.records.errors import InputError
try:
    count(cases.pocket_queue(rate_hour=500.0, servers=2), Settings(banks=(cases.plain_setting(3600.0),)), work)
except InputError as guarded:
    print(guarded.sentence())
"""


@pytest.mark.slow
def test_no_index_leaves_its_array(tmp_path):
    """NUMBA_BOUNDSCHECK=1 with a cache of its own; the last store overruns its people's room, and is stopped."""
    env = {
        **os.environ,
        "NUMBA_BOUNDSCHECK": "1",
        "NUMBA_OPT": "1",  # compiles quicker; the checks are the same
        "NUMBA_CACHE_DIR": str(tmp_path),
        "PYTHONPATH": f"{ROOT / 'src'}:{ROOT}",
    }
    run = subprocess.run(
        [sys.executable, "-c", PROGRAM], env=env, capture_output=True, text=True, timeout=280, check=False
    )
    assert run.returncode == 0, run.stderr[-2000:]
    assert "More than 4,096 people" in run.stdout
