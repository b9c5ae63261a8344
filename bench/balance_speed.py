"""The one pass over a fleet's readings against other engines on the same rows, in one run.

    python bench/balance_speed.py [--pockets 20000] [--readings 500] [--file-pockets 2000]

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


def from_files(pockets: int, readings: int, folder: Path) -> list[str]:
    import duckdb

    n = pockets * readings
    r = rows(pockets, readings, 2)
    few = min(pockets, 500)
    check = reference.fleet_sums(
        np.arange(few + 1) * readings, (r["k"], r["h"], r["d"]), np.full(few, K_SIZE), np.full(few, H_SIZE)
    )
    print(f"\nfrom files, {pockets:,} pockets x {readings} readings = {n / 1e6:.1f} M rows")
    book = folder / "rows.sqlite"
    con = sqlite3.connect(book)
    con.execute(
        "create table readings (p integer, t integer, k integer, h integer, d integer, primary key (p, t)) without rowid"
    )
    t = np.tile(np.arange(readings), pockets)
    con.executemany(
        "insert into readings values (?, ?, ?, ?, ?)",
        zip(*(c.tolist() for c in (r["p"], t, r["k"], r["h"], r["d"])), strict=True),
    )
    con.execute("create table columns (p integer primary key, k blob, h blob, d blob)")
    cut = {c: r[c].reshape(pockets, readings) for c in ("k", "h", "d")}
    con.executemany(
        "insert into columns values (?, ?, ?, ?)", ((p, *(cut[c][p].tobytes() for c in "khd")) for p in range(pockets))
    )
    con.commit()

    def sql() -> Sums:
        return from_table(con.execute(WINDOWS).fetchall())

    def fetched() -> Sums:
        a = np.array(con.execute("select k, h, d from readings order by p, t").fetchall(), np.int32)
        return by_kernel({"k": a[:, 0].copy(), "h": a[:, 1].copy(), "d": a[:, 2].copy()}, pockets, 1)

    def columns() -> Sums:
        found = con.execute("select k, h, d from columns order by p").fetchall()
        k, h, d = (np.frombuffer(b"".join(x), np.int32) for x in zip(*found, strict=True))
        return by_kernel({"k": k, "h": h, "d": d}, pockets, 1)

    sql_cpu, _ = timed("SQLite, windows in SQL", n, sql, check, runs=3)
    rows_cpu, _ = timed("SQLite rows fetched, then kernel", n, fetched, check, runs=3)
    col_cpu, _ = timed("SQLite, a column block per pocket, then kernel", n, columns, check, runs=7)
    duck = duckdb.connect(str(folder / "rows.duckdb"))
    arrow = {"p": r["p"], "t": t.astype(np.int32), "k": r["k"], "h": r["h"], "d": r["d"]}
    import pandas as pd

    duck.register("given", pd.DataFrame(arrow))
    duck.execute("create table readings as select * from given")
    timed("DuckDB file, windows in SQL", n, lambda: from_table(duck.execute(WINDOWS).fetchall()), check, runs=3)
    for name in "khd":
        np.save(folder / f"{name}.npy", r[name])

    def loaded() -> Sums:
        return by_kernel({c: np.load(folder / f"{c}.npy") for c in "khd"}, pockets, 1)

    timed("column files, then kernel", n, loaded, check, runs=7)
    con.close()
    duck.close()
    return [
        line(
            "7",
            sql_cpu / col_cpu,
            20,
            "x SQL windows, column blocks in the same SQLite file (the book keeps none yet), CPU seconds",
        ),
        line("7", sql_cpu / rows_cpu, 20, "x SQL windows, plain rows fetched from the same SQLite file, CPU seconds"),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pockets", type=int, default=20_000)
    parser.add_argument("--readings", type=int, default=500)
    parser.add_argument("--file-pockets", type=int, default=2_000)
    a = parser.parse_args()
    import duckdb
    import pandas
    import polars

    print(f"numpy {np.__version__}, polars {polars.__version__}, pandas {pandas.__version__}, duckdb {duckdb.__version__},"
          f" SQLite {sqlite3.sqlite_version}, Python {sys.version.split()[0]}")  # fmt: skip
    goals = in_memory(a.pockets, a.readings)
    with tempfile.TemporaryDirectory() as folder:
        goals += from_files(a.file_pockets, a.readings, Path(folder))
    print("\n" + "\n".join(goals))


if __name__ == "__main__":
    main()
