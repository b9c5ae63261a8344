"""Running replications: one after the other, on threads, or sent to other machines, with equal counts."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import msgspec
import numpy as np
import numpy.typing as npt

from drybank.records.errors import InputError
from drybank.records.traffic import HOURS, Settings, Store
from drybank.traffic import packing
from drybank.traffic import places as pl

Ints = npt.NDArray[np.int64]
CHUNKS = 16  # most parts of one store sent to a cluster


class Counts(NamedTuple):
    """What replications counted.

    ``totals`` (replications, names of `places.TOTALS`); ``waits`` (2 kinds, 168 hours, 64 bins) and
    ``hours`` (customers, taken ticks, heated ticks; 168) over all replications; ``hours_each`` the heated
    ticks of each replication (replications, 168); ``meters`` (weeks, pockets, names of `places.METER_NAMES`)
    over all replications.
    """

    totals: Ints
    waits: Ints
    hours: Ints
    hours_each: Ints
    meters: Ints

    def column(self, name: str) -> Ints:
        """One total of each replication."""
        return self.totals[:, pl.TOTALS.index(name)]


def join(parts: Sequence[Counts]) -> Counts:
    """Counts of several runs, in their order."""
    return Counts(
        np.concatenate([p.totals for p in parts]),
        np.sum([p.waits for p in parts], axis=0),
        np.sum([p.hours for p in parts], axis=0),
        np.concatenate([p.hours_each for p in parts]),
        np.sum([p.meters for p in parts], axis=0),
    )


def run(world: packing.World, keys: npt.NDArray[np.uint64]) -> Counts:
    """Every replication in turn on one thread; the kernel holds no interpreter lock."""
    from drybank.traffic.week import kernel

    m, f = world.ints, world.floats
    shape = (world.weeks, world.pockets, pl.METERS)
    series = m[m[pl.AT_SERIES] : m[pl.AT_SERIES] + world.weeks * world.pockets * pl.METERS].reshape(shape)
    totals = np.zeros((len(keys), pl.N_TOTALS), dtype=np.int64)
    waits = np.zeros((2, HOURS, pl.BINS), dtype=np.int64)
    hours = np.zeros((pl.HOUR_ROWS, HOURS), dtype=np.int64)
    each = np.zeros((len(keys), HOURS), dtype=np.int64)
    series[:] = 0
    for i in range(len(keys)):
        kernel.open_store(m, f, keys[i])
        events = kernel.run_weeks(m, f)
        if m[pl.ST_FAULT]:
            raise packing.fault(int(m[pl.ST_FAULT]), world.people_max)
        totals[i] = m[pl.TOTAL : pl.TOTAL + pl.N_TOTALS]
        totals[i, pl.T_EVENTS], totals[i, pl.T_INSIDE] = events, m[pl.ST_INSIDE]
        waits += m[pl.HIST_AT : pl.ATTENDED].reshape(2, HOURS, pl.BINS)
        now = m[pl.HOURS_AT : pl.HIST_AT].reshape(pl.HOUR_ROWS, HOURS)
        hours += now
        each[i] = now[2]
    return Counts(totals, waits, hours, each, series.copy())


def run_threads(world: packing.World, keys: npt.NDArray[np.uint64], threads: int) -> Counts:
    """The same on several threads, each with its own copy of what changes."""
    if threads <= 1 or len(keys) < 2:
        return run(world, keys)
    chunks = [c for c in np.array_split(keys, min(threads, len(keys))) if len(c)]

    def one(chunk: npt.NDArray[np.uint64]) -> Counts:
        ints = packing.aligned(len(world.ints))
        ints[:] = world.ints
        return run(world._replace(ints=ints), chunk)

    with ThreadPoolExecutor(len(chunks)) as pool:
        return join(list(pool.map(one, chunks)))


class Work(msgspec.Struct, frozen=True, kw_only=True):
    """How much to simulate, from which seed, and where: threads here, or a cluster at an address.

    ``weeks`` are counted in each of ``replications`` runs, after ``warm_weeks`` that are not. ``first`` is the
    number of the first replication. ``cluster`` is the address of a running dask scheduler (tcp://host:port).
    """

    weeks: int
    replications: int
    seed: int
    warm_weeks: int = 0
    threads: int = 1
    people_max: int = 4096
    first: int = 0
    cluster: str = ""


def count(store: Store, settings: Settings, work: Work) -> Counts:
    """Counts of one store; equal wherever and on however many threads it runs."""
    if work.cluster:
        return count_many([(store, settings)], work)[0]
    world = packing.pack(store, settings, weeks=work.weeks, warm_weeks=work.warm_weeks, people_max=work.people_max)
    counts = run_threads(world, packing.stream_keys(work.seed, work.replications, work.first), work.threads)
    return counts._replace(meters=counts.meters[work.warm_weeks :])


def count_many(pairs: Sequence[tuple[Store, Settings]], work: Work) -> list[Counts]:
    """Counts of several stores or settings, in their order; chunks of replications go to the cluster if any."""
    if not work.cluster:
        return [count(store, settings, work) for store, settings in pairs]
    for store, settings in pairs:  # a mistake is said here, not on a far machine
        packing.pack(store, settings, weeks=work.weeks, warm_weeks=work.warm_weeks, people_max=work.people_max)
    chunk = max(1, -(-work.replications // CHUNKS))
    firsts = range(work.first, work.first + work.replications, chunk)
    end = work.first + work.replications
    parts = [msgspec.structs.replace(work, first=f, replications=min(chunk, end - f), cluster="") for f in firsts]
    return gather(work.cluster, pairs, parts)


def gather(address: str, pairs: Sequence[tuple[Store, Settings]], parts: Sequence[Work]) -> list[Counts]:
    """Every part of every pair on a dask cluster, joined in order."""
    try:
        from distributed import Client
    except ImportError as missing:
        raise InputError(
            "Working on a cluster needs the “cluster” extra.", mend="Install drybank[cluster]."
        ) from missing
    try:
        connect: Any = Client
        client = connect(address, timeout=5)
    except (OSError, ValueError, TimeoutError) as away:
        raise InputError(f"No scheduler answers at {address}.", mend="Start one, or leave --cluster out.") from away
    with client:
        futures = [
            [client.submit(count, store, settings, part, pure=False) for part in parts] for store, settings in pairs
        ]
        return [join(client.gather(row)) for row in futures]
