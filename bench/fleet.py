"""A fleet in one book: load, balance of all stores, Today, a round's list; growth with the number of stores, beside engines.

    python bench/fleet.py [--stores 10 100] [--weeks 156] [--full] [--old-ids] [--book postgresql://...]

Each store has 24 pockets read, emptied and counted every week (`fleet_made.py`): 1,000 stores over three years are 24,000
pockets, 3.7 million pocket readings (7.5 million numbers) and 5 million entries. ``--full`` is 10 and 1,000 stores, which
takes about half an hour and 5 GB of disk. Times are processor seconds of this process and, where said, of the wall.

Engines: the sums of every pocket over all its weeks (pieces, meter steps, cash, lowest single week), in memory, from the same
rows; they do nothing of the balance beyond.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import numpy as np

from drybank.book import Book, open_book
from drybank.book.snapshot import each_series, folder_of
from fleet_made import BEGIN, KEYS, entries, key_of

H_SIZE, K_SIZE = 100_000, 10_000
SAMPLE = 5
MOST_GROWTH = 1.25
"""Time a store at the largest size over that at the smallest: 1 is linear; a quarter more is let pass as noise."""


def cpu(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def in_child(work: Callable[[], dict[str, float]]) -> dict[str, float]:
    """Run in a process of its own, so that the peak of memory is that of this step alone."""
    import pickle

    read, write = os.pipe()
    child = os.fork()
    if not child:
        os.close(read)
        with os.fdopen(write, "wb") as out:
            found = work()
            pickle.dump(found | {"peak MB": peak_mb()}, out)
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as got:
        answer: dict[str, float] = pickle.load(got)
    os.waitpid(child, 0)
    return answer


def load(where: str, stores: int, weeks: int, *, old_ids: bool = False) -> dict[str, float]:
    seconds = made = 0.0
    wall = time.perf_counter()
    with open_book(where, create=True) as book:
        for number in range(stores):
            lines = list(entries(number, weeks, old_ids=old_ids))
            made += len(lines)
            seconds += cpu(lambda lines=lines: book.append(lines))
    return {"append": seconds, "entries": made, "append wall": time.perf_counter() - wall}


def balanced(where: str, when: datetime) -> dict[str, float]:
    import scipy.optimize
    import scipy.stats  # noqa: F401  (start-up is not what grows)

    from drybank.balance.audit import result  # noqa: F401
    from drybank.desk.fleet import balance_fleet

    with at(where, when) as book:
        begin, started = time.perf_counter(), time.process_time()
        answer = balance_fleet(book, when)
        wall = time.perf_counter() - begin
        found = {f.store for f in answer.findings if f.finding.name == "cash short" and f.finding.where == "Pocket 1"}
        planted = {s.store for s in answer.stores if int(s.store[1:]) % 10 == 0}
        names = sum(f.finding.weight == "money" for f in answer.findings)
    return {
        "cpu": time.process_time() - started, "wall": wall, "questions": names, "planted": len(planted),
        "planted found": len(found & planted),
    }  # fmt: skip


def at(where: str, when: datetime) -> Book:
    return open_book(where, clock=lambda: when)


def looked_at(where: str, stores: int, when: datetime) -> dict[str, float]:
    """Today and the round's list of some stores, as the desk works them out for a page; seconds a store."""
    from drybank.desk.balancing import balance_store
    from drybank.desk.stamp import Pen
    from drybank.desk.today import today
    from drybank.desk.upkeep import round_of, upkeep

    pen = Pen(by="bench", clock=lambda: when)
    out: dict[str, list[float]] = {"open": [], "today": [], "round": [], "balance one": []}
    with at(where, when) as book:
        chosen = [key_of(int(n)) for n in np.linspace(0, stores - 1, SAMPLE)]
        upkeep(book, chosen[0], pen)  # warm up
        for store in chosen:
            out["today"].append(cpu(lambda s=store: today(s, upkeep(book, s, pen), ())))
            out["round"].append(cpu(lambda s=store: round_of(book, s, pen)))
            out["balance one"].append(cpu(lambda s=store: balance_store(book, s, when)))
    out["open"].append(cpu(lambda: at(where, when).close()))
    return {name: median(values) for name, values in out.items()}


def rows_of(book: Book) -> dict[str, np.ndarray]:
    """Every pocket's weeks as rows from the series beside the book: pocket, counter, meter, counted."""
    parts: dict[str, list[np.ndarray]] = {"k": [], "h": [], "d": []}
    weeks, names, order = 0, (), {}
    for series in each_series(book):
        shown, counted = series.shown, series.counted
        if (shown.names, counted.names) != names:  # devices stand in the order they were first read in
            names = (shown.names, counted.names)
            weeks = int(shown.start[1])
            order = {
                "k": [shown.names.index(f"{key}.coins") for key in KEYS],
                "h": [shown.names.index(f"{key}.run") for key in KEYS],
                "d": [counted.names.index(f"{key}.box") for key in KEYS],
            }
        number, pieces = shown.number.reshape(-1, weeks), counted.number.reshape(-1, weeks)
        for name, of in (("k", number), ("h", number), ("d", pieces)):
            parts[name].append(of[order[name]])
    out = {name: np.concatenate(values).astype(np.int32, copy=False).ravel() for name, values in parts.items()}
    out["p"] = np.repeat(np.arange(out["k"].size // weeks, dtype=np.int32), weeks)
    return out


def engines(where: str, when: datetime) -> dict[str, float]:
    """The same sums by the kernel from the columns, and by pandas, polars and DuckDB from rows in memory."""
    import duckdb
    import pandas as pd
    import polars as pl

    import balance_speed as peers

    with at(where, when) as book:
        took = {"columns read": cpu(lambda: rows_of(book))}
        r = rows_of(book)
    pockets = int(r["p"][-1]) + 1
    check = peers.by_kernel(r, pockets, 1)
    frame, table, duck = pl.DataFrame(r), pd.DataFrame(r), duckdb.connect()
    t = np.tile(np.arange(r["k"].size // pockets, dtype=np.int32), pockets)
    duck.register("given", pd.DataFrame(r | {"t": t}))
    duck.execute("create table readings as select * from given")
    ways: dict[str, Callable[[], peers.Sums]] = {
        "kernel": lambda: peers.by_kernel(r, pockets, 1),
        **peers.polars_ways(frame),
        "pandas": lambda: peers.by_pandas(table),
        "DuckDB": lambda: peers.from_table(duck.execute(peers.WINDOWS).fetchall()),
    }
    for name, way in ways.items():
        got = way()
        if not all(np.array_equal(np.asarray(a), b) for a, b in zip(got, check, strict=True)):
            raise SystemExit(f"{name} gives other sums")
        took[name] = min(cpu(way) for _ in range(3))
    return took | {"rows": float(r["k"].size)}


def measure(stores: int, weeks: int, where: str, *, old_ids: bool = False) -> dict[str, float]:
    when = datetime.fromtimestamp(BEGIN.timestamp() + (weeks * 7 + 2) * 86_400, UTC)
    found: dict[str, float] = {}
    steps: dict[str, Callable[[], dict[str, float]]] = {
        "load": lambda: load(where, stores, weeks, old_ids=old_ids),
        "balance --all, columns made": lambda: balanced(where, when),
        "balance --all": lambda: balanced(where, when),
        "pages": lambda: looked_at(where, stores, when),
        "engines": lambda: engines(where, when),
    }
    for name, step in steps.items():
        got = in_child(step)
        shown = "  ".join(f"{k} {v:,.4g}" for k, v in got.items())
        print(f"{stores:>5} stores, {name}: {shown}", flush=True)
        found |= {f"{name}: {k}": v for k, v in got.items()}
    found["stores"] = stores
    return found


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--stores", type=int, nargs="+", default=[10, 100])
    asked.add_argument("--weeks", type=int, default=156)
    asked.add_argument("--full", action="store_true", help="10 and 1,000 stores")
    asked.add_argument("--old-ids", action="store_true", help="ids by when things happened, as an old export has them")
    asked.add_argument("--book", default="", help="a PostgreSQL address, for one size only")
    asked.add_argument("--folder", default="", help="where the books are made; a temporary folder if not said")
    said = asked.parse_args()
    sizes = [10, 1000] if said.full else said.stores
    print(f"run: {', '.join(map(str, sizes))} stores of {len(KEYS)} pockets, {said.weeks} weeks; load {os.getloadavg()[0]:.1f}, Python {sys.version.split()[0]}")  # fmt: skip
    results = []
    with tempfile.TemporaryDirectory(dir=said.folder or None) as folder:
        for stores in sizes:
            where = said.book or str(Path(folder) / f"{stores}.book")
            results.append(measure(stores, said.weeks, where, old_ids=said.old_ids))
            with open_book(where) as book:
                kept = sum(f.stat().st_size for f in folder_of(book).iterdir())
            size = Path(where).stat().st_size if not said.book else 0
            print(f"{stores:>5} stores, on disk: book {size / 1e6:,.0f} MB, columns {kept / 1e6:,.0f} MB", flush=True)
    return verdict(results[0], results[-1])


def verdict(small: dict[str, float], large: dict[str, float]) -> int:
    per = large["stores"] / small["stores"]
    print()
    bad = 0
    for name in ("load: append", "balance --all, columns made: cpu", "balance --all: cpu"):
        growth = large[name] / small[name] / per
        met = growth <= MOST_GROWTH
        bad += not met
        print(f"goal fleet: {name}: {growth:.2f} times a store's share at {small['stores']:.0f} stores (goal at most {MOST_GROWTH:g}, linear) {'met' if met else 'short'}")  # fmt: skip
    for name in ("pages: today", "pages: round", "pages: balance one"):
        print(f"{name}: {1e3 * large[name]:.0f} ms a store in a book of {large['stores']:.0f} stores, {1e3 * small[name]:.0f} ms in one of {small['stores']:.0f}")  # fmt: skip
    best = min(v for k, v in large.items() if k.startswith("engines: polars"))
    kernel = large["engines: kernel"]
    print(f"sums of {large['engines: rows']:,.0f} rows in memory: kernel {best / kernel:.1f} x polars' best, {large['engines: pandas'] / kernel:.1f} x pandas, {large['engines: DuckDB'] / kernel:.1f} x DuckDB, CPU seconds")  # fmt: skip
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
