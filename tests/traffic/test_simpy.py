"""Path by path against SimPy, a process for everybody: counts and histograms equal, sums to 1e-12."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from tests.traffic import cases
from tests.traffic.simpy_twin import SimpyWeek
from tests.traffic.test_reference import as_arrays

from drybank.traffic import places as pl
from drybank.traffic.packing import stream_keys
from drybank.traffic.running import Work, count


def without_orders(store):
    return msgspec.structs.replace(store, arrivals=msgspec.structs.replace(store.arrivals, drop_off_by_hour=()))


@pytest.mark.parametrize(("scale", "seed"), [(0.9, 1), (1.6, 2), (3.0, 3), (3.0, 4)])
def test_same_customers_same_paths(scale, seed):
    """Two sizes, two banks, patience, balking, returns, breakdowns under loads, outages, staff who empty pockets."""
    store, settings, weeks = without_orders(cases.busy_store(scale)), cases.busy_settings(), 2
    ours = count(store, settings, Work(weeks=weeks, replications=1, seed=seed))
    keys = [int(k) for k in stream_keys(seed, 1)[0]]
    theirs = SimpyWeek(store, settings, weeks=weeks, keys=keys).run()
    totals, waits, hours, meters = as_arrays(theirs, weeks, len(store.pockets))
    names = [n for n in pl.TOTALS if n != "events"]
    counts = [n for n in names if not n.endswith("ticks")]
    assert {n: int(ours.column(n)[0]) for n in counts} == {n: int(totals[pl.TOTALS.index(n)]) for n in counts}
    assert (ours.waits == waits).all()
    for mine, yours in ((ours.hours, hours), (ours.meters, meters), (ours.totals[0, 1:], totals[1:])):
        np.testing.assert_allclose(mine, yours, rtol=1e-12, atol=0)
