"""A dask scheduler at an address gives what threads here give."""

from __future__ import annotations

import pytest
from tests.traffic import cases

from drybank.traffic.running import Work, count, count_many

distributed = pytest.importorskip("distributed")


def test_a_cluster_gives_the_same_counts():
    """Two stores, seven replications each, in parts of one; two workers that are threads of this process."""
    settings = cases.busy_settings()
    stores = [cases.busy_store(1.0), cases.busy_store(1.5)]
    work = Work(weeks=1, replications=7, seed=5)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None, protocol="tcp", host="127.0.0.1"
    ) as cluster:
        far = count_many(
            [(s, settings) for s in stores], Work(weeks=1, replications=7, seed=5, cluster=cluster.scheduler_address)
        )
    for store, theirs in zip(stores, far, strict=True):
        for a, b in zip(count(store, settings, work), theirs, strict=True):
            assert (a == b).all()
