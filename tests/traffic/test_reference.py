"""The kernel against the plain-Python week: every count, every hour, every meter equal."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from tests.traffic import cases

from drybank.traffic import Demand, Settings, Spread, simulate_counts
from drybank.traffic import places as pl
from drybank.traffic.packing import stream_keys
from drybank.traffic.reference import Week
from drybank.traffic.running import Work, count


def as_arrays(counted, weeks, pockets):
    """What the plain week counted, in the kernel's shapes."""
    totals = np.array([counted.totals[name] for name in pl.TOTALS])
    waits = np.zeros((2, 168, pl.BINS), dtype=np.int64)
    for place, n in counted.waits.items():
        waits[place] = n
    hours = np.array([[counted.hours[name, h] for h in range(168)] for name in ("customers", "taken", "heated")])
    meters = np.array(
        [[[counted.meters[w, p][name] for name in pl.METER_NAMES] for p in range(pockets)] for w in range(weeks)]
    )
    return totals, waits, hours, meters


def assert_equal_paths(store, settings, *, weeks, seed, warm_weeks=0):
    ours = count(store, settings, Work(weeks=weeks, replications=1, seed=seed, warm_weeks=warm_weeks))
    keys = [int(k) for k in stream_keys(seed, 1)[0]]
    plain = Week(store, settings, weeks=weeks, keys=keys, warm_weeks=warm_weeks).run()
    totals, waits, hours, meters = as_arrays(plain, weeks + warm_weeks, len(store.pockets))
    assert dict(zip(pl.TOTALS, ours.totals[0].tolist(), strict=True)) == dict(
        zip(pl.TOTALS, totals.tolist(), strict=True)
    )
    assert (ours.waits == waits).all()
    assert (ours.hours == hours).all()
    assert (ours.meters == meters[warm_weeks:]).all()
    return ours


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("scale", [0.8, 1.6, 3.0])
def test_every_rule_at_work_counts_the_same(scale, seed):
    """Quiet, busy and overrun; the overrun store exercises every way of losing a customer."""
    ours = assert_equal_paths(cases.busy_store(scale), cases.busy_settings(), weeks=2, seed=seed)
    if scale == 3.0:
        for name in ("lost_washer_line", "lost_washer_wait", "lost_pocket_line", "lost_pocket_wait", "retries",
                     "drop_done", "damp", "early", "left", "top_ups", "owed", "breakdowns"):  # fmt: skip
            assert ours.column(name)[0] > 0, name


def test_counts_after_settling_are_the_same():
    assert_equal_paths(cases.busy_store(), cases.busy_settings(), weeks=1, seed=9, warm_weeks=1)


def test_many_rows_of_pockets_count_the_same():
    """150 pockets in two banks make four rows; runs end at a row's end."""
    store = cases.busy_store(scale=9.0, pockets=150, small=80, large=40)
    assert_equal_paths(store, cases.busy_settings(), weeks=1, seed=2)


@pytest.mark.parametrize("factor", [0.7, 1.25])
def test_changed_demand_counts_the_same(factor):
    settings = msgspec.structs.replace(
        cases.busy_settings(), demand=Demand(factor_by_hour=(factor,) * 100 + (1.0,) * 68)
    )
    assert_equal_paths(cases.busy_store(), settings, weeks=1, seed=4)


def test_plain_lines_count_the_same():
    service = Spread("exponential", (1800.0,))
    store = cases.washer_queue(rate_hour=6.0, servers=4, service=service)
    assert_equal_paths(store, Settings(banks=(cases.plain_setting(),)), weeks=3, seed=1)
    store = cases.pocket_queue(rate_hour=40.0, servers=3, line_max=4, belief=Spread("uniform", (0.5, 5.0)))
    assert_equal_paths(store, Settings(banks=(cases.plain_setting(100.0),)), weeks=1, seed=1)


def test_replications_and_threads_share_the_work_and_not_the_result():
    """One by one, in another split, and on threads: the same numbers."""
    store, settings = cases.busy_store(), cases.busy_settings()
    alone = simulate_counts(store, settings, Work(weeks=1, replications=6, seed=8))
    threads = simulate_counts(store, settings, Work(weeks=1, replications=6, seed=8, threads=3))
    parts = [count(store, settings, Work(weeks=1, replications=2, seed=8, first=f)) for f in (0, 2, 4)]
    assert (alone.totals == np.concatenate([p.totals for p in parts])).all()
    for a, b in zip(alone, threads, strict=True):
        assert (a == b).all()
