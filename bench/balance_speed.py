"""The one pass over a fleet's readings against other engines on the same rows, in one run.

    python bench/balance_speed.py [--pockets 20000] [--readings 500] [--stores 40] [--weeks 156]

Every engine gives the same four sums per pocket (pieces, meter steps, cash, lowest single week), roll-over
bridged, and is checked against the plain form on a part of the pockets. Medians of CPU seconds of this
process (all threads), so that other work on the machine does not count; wall seconds beside them.
"""

from __future__ import annotations

import argparse
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np

from drybank.balance import reference
from drybank.balance.kernel import fleet_sums

K_SIZE, H_SIZE = 10_000, 100_000
Sums = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def rows(pockets: int, readings: int, seed: int) -> dict[str, np.ndarray]:
    """Sorted readings: pocket, counter, meter, counted, as a fleet writes them."""
    rng = np.random.default_rng(seed)
    step = rng.integers(80, 400, (pockets, readings), dtype=np.int32)
    hours = step // 10 + rng.integers(0, 3, step.shape, dtype=np.int32)
    counter = (rng.integers(0, K_SIZE, (pockets, 1)) + np.cumsum(step, axis=1)) % K_SIZE
    meter = (rng.integers(0, H_SIZE, (pockets, 1)) + np.cumsum(hours, axis=1)) % H_SIZE
    counted = step + rng.integers(-5, 6, step.shape, dtype=np.int32)
    flat = {"k": counter, "h": meter, "d": counted}
    out = {name: np.ascontiguousarray(v.ravel().astype(np.int32)) for name, v in flat.items()}
    out["p"] = np.repeat(np.arange(pockets, dtype=np.int32), readings)
    return out


def timed(name: str, n: int, work: Callable[[], Sums], check: Sums, *, runs: int = 5) -> tuple[float, float]:
    """Median CPU and wall seconds; the first run warms up and is held against the plain form."""
    got = work()
    for a, b in zip(got, check, strict=True):
        if not np.array_equal(np.asarray(a)[: len(b)], b):
            raise SystemExit(f"{name} gives other sums than the plain form")
    cpu, wall = [], []
    for _ in range(runs):
        a, b = time.process_time(), time.perf_counter()
        work()
        cpu.append(time.process_time() - a)
        wall.append(time.perf_counter() - b)
    print(
        f"  {name:44s} {n / median(cpu) / 1e6:9.2f} M rows per CPU second  {n / median(wall) / 1e6:9.2f} M rows per second"
    )
    return median(cpu), median(wall)


def by_kernel(r: dict[str, np.ndarray], pockets: int, threads: int) -> Sums:
    start = np.arange(pockets + 1) * (r["k"].size // pockets)
    return fleet_sums(start, (r["k"], r["h"], r["d"]), np.full(pockets, K_SIZE), np.full(pockets, H_SIZE), threads)


def by_numpy(r: dict[str, np.ndarray], pockets: int) -> Sums:
    shape = (pockets, -1)
    k, h = (np.diff(r[c].reshape(shape), axis=1) for c in ("k", "h"))
    k, h = np.where(k < 0, k + K_SIZE, k), np.where(h < 0, h + H_SIZE, h)
    d = r["d"].reshape(shape)[:, 1:]
    return k.sum(1), h.sum(1), d.sum(1), np.minimum(0, (d - k).min(1))


def polars_ways(frame) -> dict[str, Callable[[], Sums]]:
    import polars as pl

    def sums(with_steps):
        good = with_steps.filter(pl.col("dk").is_not_null())
        out = good.group_by("p", maintain_order=True).agg(
            pl.col("dk").sum(), pl.col("dh").sum(), pl.col("d").sum(), (pl.col("d") - pl.col("dk")).min().alias("low")
        )
        out = out.collect() if isinstance(out, pl.LazyFrame) else out
        return (
            out["dk"].to_numpy(), out["dh"].to_numpy(), out["d"].to_numpy(), np.minimum(0, out["low"].to_numpy())
        )  # fmt: skip

    def bridged(step, size):
        return pl.when(step < 0).then(step + size).otherwise(step)

    def shifted() -> Sums:
        same = pl.col("p") == pl.col("p").shift(1)
        dk, dh = (pl.when(same).then(pl.col(c) - pl.col(c).shift(1)) for c in ("k", "h"))
        steps = frame.lazy().with_columns(dk=bridged(dk, K_SIZE), dh=bridged(dh, H_SIZE))
        return sums(steps)

    def over() -> Sums:
        dk, dh = (pl.col(c).diff().over("p") for c in ("k", "h"))
        return sums(frame.lazy().with_columns(dk=bridged(dk, K_SIZE), dh=bridged(dh, H_SIZE)))

    def set_sorted() -> Sums:
        same = pl.col("p") == pl.col("p").shift(1)
        dk, dh = (pl.when(same).then(pl.col(c) - pl.col(c).shift(1)) for c in ("k", "h"))
        steps = frame.lazy().with_columns(pl.col("p").set_sorted(), dk=bridged(dk, K_SIZE), dh=bridged(dh, H_SIZE))
        return sums(steps)

    return {
        "polars, one shift over sorted rows": shifted,
        "polars, diff over pocket": over,
        "polars, shift, sorted flag": set_sorted,
    }


def by_pandas(frame) -> Sums:
    grouped = frame.groupby("p", sort=False)
    k, h = grouped["k"].diff(), grouped["h"].diff()
    k, h = k.where(~(k < 0), k + K_SIZE), h.where(~(h < 0), h + H_SIZE)
    known = k.notna()
    part = frame.assign(dk=k, dh=h, low=frame["d"] - k)[known].groupby("p", sort=True)
    out = part.agg(dk=("dk", "sum"), dh=("dh", "sum"), d=("d", "sum"), low=("low", "min"))
    return out["dk"].to_numpy(), out["dh"].to_numpy(), out["d"].to_numpy(), np.minimum(0, out["low"].to_numpy())


WINDOWS = f"""
with s as (
  select p, d,
    k - lag(k) over (partition by p order by t) as dk,
    h - lag(h) over (partition by p order by t) as dh
  from readings),
b as (
  select p, d, case when dk < 0 then dk + {K_SIZE} else dk end as dk, case when dh < 0 then dh + {H_SIZE} else dh end as dh
  from s where dk is not null)
select p, sum(dk), sum(dh), sum(d), min(d - dk) from b group by p order by p
"""


def from_table(table: list[tuple[int, ...]]) -> Sums:
    a = np.array(table, np.int64)
    return a[:, 1], a[:, 2], a[:, 3], np.minimum(0, a[:, 4])


def in_memory(pockets: int, readings: int) -> list[str]:
    import pandas as pd
    import polars as pl

    n = pockets * readings
    r = rows(pockets, readings, 1)
    few = min(pockets, 500)
    check = reference.fleet_sums(
        np.arange(few + 1) * readings, (r["k"], r["h"], r["d"]), np.full(few, K_SIZE), np.full(few, H_SIZE)
    )
    print(f"\nin memory, {pockets:,} pockets x {readings} readings = {n / 1e6:.0f} M rows, 32-bit columns")
    one, _ = timed("kernel, one thread", n, lambda: by_kernel(r, pockets, 1), check, runs=9)
    _, wall = timed("kernel, two threads", n, lambda: by_kernel(r, pockets, 2), check, runs=9)
    timed("numpy", n, lambda: by_numpy(r, pockets), check)
    frame = pl.DataFrame(r)
    best = [timed(name, n, work, check) for name, work in polars_ways(frame).items()]
    polars_cpu, polars_wall = min(b[0] for b in best), min(b[1] for b in best)
    table = pd.DataFrame(r)
    pandas_cpu, pandas_wall = timed("pandas groupby", n, lambda: by_pandas(table), check, runs=3)
    print(f"  wall: {polars_wall / wall:.1f} x polars' best, {pandas_wall / wall:.1f} x pandas (two threads)")
    return [
        line("7", polars_cpu / one, 10, "x polars' best, in memory, CPU seconds"),
        line("7", pandas_cpu / one, 50, "x pandas, in memory, CPU seconds"),
    ]


def line(number: str, figure: float, target: float, what: str) -> str:
    return f"goal {number}: {figure:.1f} {what} (goal >= {target:g}) {'met' if figure >= target else 'short'}"


def from_book(stores: int, weeks: int, folder: Path) -> list[str]:
    """A real book of `fleet_made` and its columns, beside SQL windows over a plain table of the very same rows.

    What the book's side does: ask the book for every chain's end, read each store's columns, hold them against their
    checksum and that end, lay counter, meter and count of every pocket side by side, and sum.
    """
    import duckdb
    import pandas as pd

    import fleet
    import fleet_made
    from drybank.book import open_book
    from drybank.book.snapshot import each_store

    where = folder / "fleet.book"
    with open_book(where, create=True) as book:
        for number in range(stores):
            book.append(list(fleet_made.entries(number, weeks)))
        begin = time.process_time()
        made = sum(len(c) for c in each_store(book))
        print(f"\nfrom a book of {stores} stores, {weeks} weeks, {made:,} entries: columns made in"
              f" {time.process_time() - begin:.1f} CPU s, once; later only what was added")  # fmt: skip
        r = fleet.rows_of(book)  # the series are kept on the way
        n, pockets = r["k"].size, int(r["p"][-1]) + 1
        check = by_kernel(r, pockets, 1)
        columns_cpu, _ = timed("the book's columns, then kernel", n, lambda: by_kernel(fleet.rows_of(book), pockets, 1), check, runs=7)  # fmt: skip
        begin = time.process_time()
        told = sum(len(book.story(store, kinds=("reading", "count"))) for store in book.stores())
        print(f"  the book's entries read and verified line by line: {n / (time.process_time() - begin) / 1e6:.3f} M rows per CPU second ({told:,} entries)")  # fmt: skip
    con = sqlite3.connect(folder / "rows.sqlite")
    con.execute("create table readings (p integer, t integer, k integer, h integer, d integer, primary key (p, t)) without rowid")  # fmt: skip
    t = np.tile(np.arange(n // pockets, dtype=np.int32), pockets)
    con.executemany("insert into readings values (?, ?, ?, ?, ?)", zip(*(c.tolist() for c in (r["p"], t, r["k"], r["h"], r["d"])), strict=True))  # fmt: skip
    con.commit()
    sql_cpu, _ = timed("SQLite table, windows in SQL", n, lambda: from_table(con.execute(WINDOWS).fetchall()), check, runs=3)  # fmt: skip
    con.close()
    duck = duckdb.connect(str(folder / "rows.duckdb"))
    duck.register("given", pd.DataFrame(r | {"t": t}))
    duck.execute("create table readings as select * from given")
    timed("DuckDB file, windows in SQL", n, lambda: from_table(duck.execute(WINDOWS).fetchall()), check, runs=3)
    duck.close()
    return [
        line("7", sql_cpu / columns_cpu, 20, "x SQL windows on the same rows, from the book's own columns, CPU seconds")
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pockets", type=int, default=20_000)
    parser.add_argument("--readings", type=int, default=500)
    parser.add_argument("--stores", type=int, default=40, help="stores of 24 pockets in the book that is made")
    parser.add_argument("--weeks", type=int, default=156)
    a = parser.parse_args()
    import duckdb
    import pandas
    import polars

    print(f"numpy {np.__version__}, polars {polars.__version__}, pandas {pandas.__version__}, duckdb {duckdb.__version__},"
          f" SQLite {sqlite3.sqlite_version}, Python {sys.version.split()[0]}")  # fmt: skip
    goals = in_memory(a.pockets, a.readings)
    with tempfile.TemporaryDirectory() as folder:
        goals += from_book(a.stores, a.weeks, Path(folder))
    print("\n" + "\n".join(goals))


if __name__ == "__main__":
    main()
