"""The settings search: a whole control grid with customers who walk away, against tuned brute force; and the command.

    .venv/bin/python bench/plan.py [--loads 10000] [--threads 2] [--cold]

Second part: `drybank plan` of each demo store as a person runs it, interpreter start, book, search, store's week and output
included. Warm: with machine code and need tables kept (median of five runs). ``--cold``: once with both caches empty. Wall
times count only while the load average is near nothing; CPU seconds of all processes stand beside them.

Grid: time per coin 1 s to 99 min in 1 s steps x start coins 1 to 20 x 8 coin values x 11 cool-downs x 220 ordered
combinations of 10 temperatures over 3 heats: 2.3e9 settings, all of them searched, with three constraints switched on
(posted minutes stay free, the first start must heat 5 minutes, a normal load is dry for at most 12 coins of 25).
Brute force is a numba kernel that goes through the loads for one setting after the other: loads sorted by heat, contiguous
columns, no branch but the walk-away, vectorised, one thread; ratios are per CPU second of one thread. Loads and prices are invented; no
revenue follows from them. Every winner is evaluated again; a random sample of settings is checked bit for bit.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
from numba import njit

from drybank.plan.search.problem import Choice, Problem
from drybank.plan.search.reference import is_allowed, ladders, worth_micro
from drybank.plan.search.running import Ranking, search

COINS = (5, 10, 20, 25, 50, 75, 100, 200)
GOAL_S, GOAL_RATIO = 1.0, 20_000.0


def question(n: int, coin: int) -> Problem:
    """Invented loads: need near 25 minutes at the hottest of ten levels, limits near 300 minor units."""
    rng = np.random.default_rng(20_260_501)
    levels, heats = 10, 3
    base = rng.lognormal(np.log(1500.0), 0.35, n)
    slower = 1.0 + 0.045 * np.arange(levels - 1, -1, -1)
    need = np.minimum(base[:, None] * slower, 5900.0)
    idle = 60_000.0 + 2_500.0 * np.arange(levels)
    fixed = 120e6 - base[:, None] * 250_000.0 + need * idle
    return Problem(
        need_s=np.ceil(need).astype(np.int64),
        fixed_micro=np.rint(fixed).astype(np.int64),
        weight=np.ones(n, np.int64),
        heat=rng.choice(heats, n, p=[0.55, 0.3, 0.15]),
        limit_minor=np.floor(300.0 * np.sqrt(base / 1500.0) * rng.lognormal(0.0, 0.3, n)).astype(np.int64),
        lost_micro=n * 120_000_000,
        piece_minor=coin,
        rate_micro_s=np.rint(np.broadcast_to(idle + 2_500.0, (heats, levels))).astype(np.int64),
        rate_cool_micro_s=2_500,
        times_s=np.arange(1, 5941),
        starts=np.arange(1, 21),
        firsts_s=np.array([], np.int64),
        cools_s=np.arange(0, 330, 30),
        cool_is_inside=True,
        allowed=np.ones((heats, levels), np.bool_),
        stands=np.ones((5940, 20, 1), np.bool_),
        least_gap=0,
        normal_heat=0,
        normal_need_s=np.ceil(1500.0 * slower).astype(np.int64),
        normal_pieces=300 // coin,
        least_heated_s=300,
    )


@njit(cache=True, nogil=True, fastmath=True)
def brute(need, fixed, limit, bounds, rate, rate_cool, piece, times, starts, cools, levels, out):
    """Worth of settings one after the other. ``need`` and ``fixed`` are (T, N) with loads sorted by heat, so that the
    inner loop runs along contiguous columns and the compiler can take several loads at a time."""
    for s in range(times.size):
        t, n, cool = float(times[s]), float(starts[s]), float(cools[s])
        at_start = n * t - cool
        total = 0.0
        for k in range(bounds.size - 1):
            level = levels[s, k]
            a_second = rate[k, level]
            for j in range(bounds[k], bounds[k + 1]):
                extra = max(0.0, np.ceil((need[level, j] - at_start) / t))
                price = (n + extra) * piece
                worth = price * 1e6 + fixed[level, j] - a_second * (at_start + extra * t) - rate_cool * cool
                total += worth if price <= limit[j] else 0.0
        out[s] = total


def brute_settings_per_s(p: Problem, settings: int) -> tuple[float, int]:
    """Brute force's rate on random settings of the grid, and how many agree bit for bit with the plain maths."""
    rng = np.random.default_rng(7)
    all_ladders = np.array(list(ladders(p)))
    places = [rng.integers(0, size, settings) for size in (p.times_s.size, p.starts.size, p.cools_s.size)]
    rungs = all_ladders[rng.integers(0, len(all_ladders), settings)]
    out = np.empty(settings)
    by_heat = np.argsort(p.heat, kind="stable")
    args = (
        np.ascontiguousarray(p.need_s[by_heat].T).astype(np.float64),
        np.ascontiguousarray(p.fixed_micro[by_heat].T).astype(np.float64), p.limit_minor[by_heat].astype(np.float64),
        np.searchsorted(p.heat[by_heat], np.arange(len(p.allowed) + 1)), p.rate_micro_s.astype(np.float64),
        float(p.rate_cool_micro_s), float(p.piece_minor),
    )  # fmt: skip
    picked = [v[i].astype(np.int32) for v, i in zip((p.times_s, p.starts, p.cools_s), places, strict=True)]
    brute(*args, *[v[:2] for v in picked], rungs[:2].astype(np.int32), out)
    begin = time.process_time()
    brute(*args, *picked, rungs.astype(np.int32), out)
    spent = time.process_time() - begin
    equal = 0
    for s in range(12):
        choice = Choice(int(places[0][s]), int(places[1][s]), 0, int(places[2][s]), tuple(int(x) for x in rungs[s]))
        equal += int(out[s]) - p.lost_micro == worth_micro(p, choice)
    return settings / spent, equal


def whole_grid(problems: list[Problem], threads: int) -> tuple[float, float, list[Ranking]]:
    """Wall and CPU seconds of the whole search, winners re-evaluated included."""
    wall, cpu = time.perf_counter(), time.process_time()
    if threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            found = list(pool.map(lambda p: search(p, 16, recheck=1), problems))
    else:
        found = [search(p, 16, recheck=1) for p in problems]
    return time.perf_counter() - wall, time.process_time() - cpu, found


STORES = (("lantern", "long wall"), ("weir", "river side"), ("saddle", "gallery"))
WARM_S, COLD_S = 3.0, 15.0


def timed(book: str, store: str, bank: str, env: dict[str, str]) -> tuple[float, float]:
    """Wall seconds and CPU seconds (children with it) of one `drybank plan`."""
    before, wall = os.times(), time.perf_counter()
    command = [str(Path(sys.executable).parent / "drybank"), "plan", store, bank, "--book", book]
    subprocess.run(command, check=True, env=os.environ | env, stdout=subprocess.DEVNULL)
    after = os.times()
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - wall, cpu


def the_command(is_cold: bool) -> None:
    """`drybank plan` of each demo store, warm; cold on request."""
    with tempfile.TemporaryDirectory() as room:
        drybank = str(Path(sys.executable).parent / "drybank")
        subprocess.run([drybank, "demo", "--only-book", "--out", room], check=True, stdout=subprocess.DEVNULL)
        book, warm = f"{room}/quillmere.book", {"DRYBANK_CACHE": f"{room}/kept"}
        worst = 0.0
        for store, bank in STORES:
            timed(book, store, bank, warm)
            runs = sorted(timed(book, store, bank, warm) for _ in range(5))
            wall, cpu = runs[2][0], sorted(c for _, c in runs)[2]
            worst = max(worst, wall)
            print(f"drybank plan {store} “{bank}”, warm: wall {wall:.2f} s, CPU {cpu:.2f} s, median of 5; "
                  f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")  # fmt: skip
        told = "met" if worst < WARM_S else "short"
        print(f"goal 8: warm, the slowest of three stores {worst:.2f} s (goal < {WARM_S:g} s) {told}")
        if is_cold:
            empty = {"DRYBANK_CACHE": f"{room}/none", "NUMBA_CACHE_DIR": f"{room}/machine"}
            wall, cpu = timed(book, *STORES[0], empty)
            told = "met" if wall < COLD_S else "short"
            print(
                f"first run with nothing kept: CPU {cpu:.1f} s in two processes; load average {os.getloadavg()[0]:.1f}"
            )
            print(f"goal 8: first run {wall:.1f} s (goal < {COLD_S:g} s) {told}")


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--loads", type=int, default=10_000)
    ask.add_argument("--threads", type=int, default=2)
    ask.add_argument("--cold", action="store_true", help="also the first run, with nothing kept (a minute)")
    asked = ask.parse_args()
    problems = [question(asked.loads, coin) for coin in COINS]
    settings = sum(p.settings for p in problems)
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {sys.version.split()[0]}, numpy {np.__version__}")
    print(f"{settings:.3g} settings, {asked.loads} loads, walk-away and two constraints on")
    begin = time.perf_counter()
    small = replace(problems[-1], times_s=np.arange(300, 310), stands=np.ones((10, 20, 1), np.bool_))
    search(small, 16, recheck=0)
    print(f"machine code ready in {time.perf_counter() - begin:.2f} s (cached after the first time)")
    runs = [whole_grid(problems, asked.threads) for _ in range(3)]
    single = min(whole_grid(problems, 1)[1] for _ in range(2))
    wall = sorted(r[0] for r in runs)[1]
    cpu = sorted(r[1] for r in runs)[1]
    found = runs[0][2]
    best = max(range(len(COINS)), key=lambda i: found[i].found[0].worth_micro)
    top = found[best].found[0]
    print(f"best: coin {COINS[best]}, time {problems[best].times_s[top.choice.time]} s, "
          f"start {problems[best].starts[top.choice.start]}, levels {top.choice.levels}, "
          f"keeps every constraint: {is_allowed(problems[best], top.choice)}")  # fmt: skip
    print(f"search: wall {wall:.2f} s on {asked.threads} threads, CPU {cpu:.2f} s; one thread CPU {single:.2f} s; "
          f"{os.getloadavg()[0]:.1f} processes were running (wall times count only while that is near {asked.threads})")  # fmt: skip
    rate, equal = brute_settings_per_s(problems[3], 2000)
    print(f"brute force: {rate:,.0f} settings a second; {equal} of 12 equal the plain maths to the last digit")
    ratio = settings / single / rate
    told = "met" if wall < GOAL_S and ratio >= GOAL_RATIO else "short"
    print(f"goal 5: {wall:.2f} s and {ratio:,.0f}x brute force (goal < {GOAL_S:g} s and >= {GOAL_RATIO:,.0f}x, "
          f"stretch 100,000x) {told}")  # fmt: skip
    the_command(asked.cold)


if __name__ == "__main__":
    main()
