"""A store's week: the general kernel against SimPy, Ciw and the bare cost of a calendar, in one run.

Run from the repository: ``python bench/traffic.py``. Only ratios of one run mean anything; each is the median over
rounds in which both sides were timed one after the other, in CPU seconds of this process. SimPy and Ciw are given
customers drawn beforehand; the kernel draws its own.
"""

# ruff: noqa: E402
from __future__ import annotations

import os
import statistics
import sys
import time
from pathlib import Path

# the repository in place of this folder, so that no bench hides a library of its name
sys.path[0] = str(Path(__file__).resolve().parent.parent)

import numba
import numpy as np
from tests.traffic import cases, ciw_twin
from tests.traffic.simpy_twin import Prepared, SimpyWeek
from tests.traffic.test_reference import as_arrays

from drybank.traffic import chance, packing, running
from drybank.traffic import places as pl
from drybank.traffic.reference import Week
from drybank.traffic.week.calendar import draw, field53, put

ROUNDS = int(os.environ.get("DRYBANK_BENCH_ROUNDS", "5"))
SEED = 1


def cpu(work) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def ours(store, settings, weeks, replications=1):
    """A timed run of the kernel, seconds, and its counts."""
    world = packing.pack(store, settings, weeks=weeks, warm_weeks=0, people_max=4096)
    keys = packing.stream_keys(SEED, replications)
    counts = running.run(world, keys)
    return (lambda: running.run(world, keys)), counts


@numba.njit
def hold(tree, size, live, steps, key):
    """Take the first event, put it back later by a random span: nothing else."""
    for s in range(live):
        put(tree, 0, size, s, (np.int64(field53(draw(key, s)) * 2e9) << pl.SLOT_BITS) | s)
    for i in range(steps):
        first = tree[1]
        slot, tick = first & pl.SLOT_MASK, first >> pl.SLOT_BITS
        put(tree, 0, size, slot, ((tick + np.int64(field53(draw(key, live + i)) * 2e9)) << pl.SLOT_BITS) | slot)


@numba.njit
def draws(n, key):
    total = 0.0
    for i in range(n):
        total += field53(draw(key, i))
    return total


def bare_ns(live: int, draws_each: float) -> float:
    """A hold on a tree as large as the store's, and the random numbers that the model needs an event. [ns]"""
    size, steps = 1 << (live - 1).bit_length(), 2_000_000
    tree = np.full(2 * size, pl.NEVER)
    hold(tree, size, live, 10, SEED), draws(10, SEED)
    tree[:] = pl.NEVER
    held = cpu(lambda: hold(tree, size, live, steps, SEED)) / steps
    drawn = cpu(lambda: draws(10 * steps, SEED)) / (10 * steps)
    return 1e9 * (held + max(0.0, draws_each - 1) * drawn)


def draws_an_event(store, settings) -> float:
    """Distinct random numbers the model looks at for an event, counted in the plain week."""
    keys, seen, plain = [int(k) for k in packing.stream_keys(SEED, 1)[0]], set(), chance.draw

    def counted(key, place):
        seen.add((key, place))
        return plain(key, place)

    chance.draw = counted
    try:
        events = Week(store, settings, weeks=1, keys=keys).run().totals["events"]
    finally:
        chance.draw = plain
    return len(seen) / events


def against_simpy(store, settings, weeks=13):
    """Ratio of CPU times on the same paths, nanoseconds an event, and whether all counts agree."""
    keys, prepared = [int(k) for k in packing.stream_keys(SEED, 1)[0]], Prepared(store)
    theirs = SimpyWeek(store, settings, weeks=weeks, keys=keys, prepared=prepared).run()
    timed, counts = ours(store, settings, weeks)
    totals, waits, hours, meters = as_arrays(theirs, weeks, len(store.pockets))
    agree = bool(
        (counts.totals[0, 1:] == totals[1:]).all() and (counts.waits == waits).all()
        and (counts.hours == hours).all() and (counts.meters == meters).all()
    )  # fmt: skip
    events, ratios, us, ns = int(counts.totals[0, 0]), [], [], []
    for _ in range(ROUNDS):
        slow = cpu(lambda: SimpyWeek(store, settings, weeks=weeks, keys=keys, prepared=prepared).run())
        fast = cpu(lambda: [timed() for _ in range(10)]) / 10
        ratios.append(slow / fast), us.append(1e6 * slow / events), ns.append(1e9 * fast / events)
    return statistics.median(ratios), statistics.median(us), statistics.median(ns), agree


def against_ciw(weeks=1):
    store, settings = cases.reduced_store(), cases.reduced_settings()
    keys = [int(k) for k in packing.stream_keys(SEED, 1)[0]]
    prepared = ciw_twin.reduced(store, settings, weeks=weeks, keys=keys)
    timed, counts = ours(store, settings, weeks)
    ratios = []
    for _ in range(ROUNDS):
        slow = cpu(lambda: ciw_twin.simulate(store, *prepared, weeks * pl.WEEK))
        ratios.append(slow / (cpu(lambda: [timed() for _ in range(40)]) / 40))
    return statistics.median(ratios), int(counts.totals[0, 0])


def growth():
    """Nanoseconds an event and the bare cost at 24 and at 1,000 pockets, interleaved."""
    settings, found = cases.busy_settings(), {}
    sizes = {24: (1.0, 52), 1000: (1000 / 24, 4)}
    each = draws_an_event(cases.timed_store(), settings)
    runs = {n: ours(cases.timed_store(scale), settings, weeks) for n, (scale, weeks) in sizes.items()}
    for _ in range(ROUNDS):
        for n, (timed, counts) in runs.items():
            machines = n + round(14 * n / 24) + round(6 * n / 24)
            pair = 1e9 * cpu(timed) / int(counts.totals[:, 0].sum()), bare_ns(machines, each)
            found.setdefault(n, []).append(pair)
    median = {n: [statistics.median(x) for x in zip(*pairs, strict=True)] for n, pairs in found.items()}
    to_bare = {n: statistics.median(a / b for a, b in pairs) for n, pairs in found.items()}
    grew = statistics.median(b[0] / a[0] for a, b in zip(found[24], found[1000], strict=True))
    return median, to_bare, grew, each


def threads():
    """Wall-clock gain of two threads over one."""
    world = packing.pack(cases.timed_store(), cases.busy_settings(), weeks=52, warm_weeks=0, people_max=4096)
    keys, gains = packing.stream_keys(SEED, 16), []
    for _ in range(ROUNDS):
        walls = []
        for n in (1, 2):
            began = time.perf_counter()
            running.run_threads(world, keys, n)
            walls.append(time.perf_counter() - began)
        gains.append(walls[0] / walls[1])
    return statistics.median(gains)


def goal(number: int, figure: str, target: str, met: bool) -> None:
    print(f"goal {number}: {figure} (goal {target}) {'met' if met else 'short'}")


def main() -> None:
    store, settings = cases.timed_store(), cases.busy_settings()
    load = os.getloadavg()[0]
    print(f"python {sys.version.split()[0]}, numba {numba.__version__}, numpy {np.__version__}, "
          f"{os.cpu_count()} cores, load {load:.1f} at the start, {ROUNDS} rounds, medians, CPU seconds")  # fmt: skip
    began = time.perf_counter()
    ours(store, settings, 1)
    print(f"first call (compiled, or from its cache): {time.perf_counter() - began:.1f} s")
    ratio, us, ns, agree = against_simpy(store, settings)
    print(
        f"full model, 24 pockets, a quarter of a year: SimPy {us:.1f} us an event, kernel {ns:.0f} ns, ratio {ratio:.0f}"
    )
    ciw_ratio, events = against_ciw()
    print(f"reduced model, one week ({events:,} events): kernel {ciw_ratio:.0f} times Ciw")
    median, to_bare, grew, each = growth()
    for n, (mine, bare) in median.items():
        print(f"{n} pockets: {mine:.0f} ns an event, bare hold + {each:.1f} random numbers {bare:.1f} ns")
    print(f"two threads: {threads():.2f} times one (wall clock)")
    goal(1, f"{ratio:.0f} times SimPy on the same paths", ">= 250, stretch 400", ratio >= 250)
    worst = max(to_bare.values())
    both = f"{to_bare[24]:.1f} at 24, {to_bare[1000]:.1f} at 1,000 pockets times the bare cost"
    goal(2, both, "<= 2.5", worst <= 2.5)
    goal(3, f"{grew:.2f} times the cost an event from 24 to 1,000 pockets", "<= 1.35", grew <= 1.35)
    said = "counts, histograms and sums equal to SimPy's" if agree else "differs from SimPy"
    goal(4, said + "; M/M/c inside 3 standard errors: tests/traffic/test_queues.py", "equal, sums to 1e-12", agree)


if __name__ == "__main__":
    main()
