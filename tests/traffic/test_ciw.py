"""Path by path against Ciw on the model it can express: one load a customer, two lines in a row."""

from __future__ import annotations

import numpy as np
import pytest
from tests.traffic import cases, ciw_twin

from drybank.traffic import places as pl
from drybank.traffic.packing import stream_keys
from drybank.traffic.running import Work, count


@pytest.mark.parametrize("seed", [1, 2])
def test_every_wait_is_the_same(seed):
    """Both lines; counts and histograms equal, sums to 1e-12; the store is empty when the week ends."""
    store, settings = cases.reduced_store(), cases.reduced_settings()
    ours = count(store, settings, Work(weeks=1, replications=1, seed=seed))
    keys = [int(k) for k in stream_keys(seed, 1)[0]]
    gaps, washes, dries = ciw_twin.reduced(store, settings, weeks=1, keys=keys)
    records = ciw_twin.simulate(store, gaps, washes, dries, pl.WEEK)
    assert ours.column("customers")[0] == len(gaps)
    assert ours.column("inside")[0] == 0
    for node, kind in ((1, 0), (2, 1)):
        name = ("washer", "pocket")[kind]
        waits = np.array([r.waiting_time for r in records if r.node == node])
        began = np.array([r.arrival_date for r in records if r.node == node])
        assert ours.column(f"{name}_waits")[0] == len(waits)
        assert ours.column(f"{name}_wait_ticks")[0] == pytest.approx(waits.sum(), rel=1e-12)
        assert waits.sum() > 0
        theirs = np.zeros((168, pl.BINS), dtype=np.int64)
        minutes = np.minimum(np.ceil(waits / pl.MINUTE), pl.BINS - 1).astype(int)
        np.add.at(theirs, ((began // pl.HOUR).astype(int) % 168, minutes), 1)
        assert (ours.waits[kind] == theirs).all()
