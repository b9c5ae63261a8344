"""The book at fleet size: append, open, tell, verify and back up from 10 to 1,000 stores; growth must be at most linear.

    python bench/book.py [--stores 10 100 1000] [--weeks 156]

Each store has four machines of six pockets; a weekly reading of each machine is one entry with six hour meters:
1,000 stores over three years are 24,000 pockets, 625,000 entries and 3.7 million meter values. Times are processor seconds, so that
other work on the machine does not count. Beside them the same rows put into and read from a bare SQLite table in the same run,
which is the least that any keeping costs.
"""

from __future__ import annotations

import argparse
import os
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from drybank.book import Book, open_book
from drybank.records.entry import DeviceValue, Entry, ReadingTaken, StoreDated
from drybank.records.ids import uuid7
from drybank.records.store import Bank, Machine, Pocket, Store

MACHINES, POCKETS = 4, 6
BEGIN = datetime(2023, 1, 2, 9, tzinfo=UTC)


def a_store(number: int) -> Store:
    pockets = [f"{m}{p}" for m in range(MACHINES) for p in range(POCKETS)]
    machines = tuple(
        Machine(key=f"m{m}", bank="all", sheet="any", pockets=tuple(f"{m}{p}" for p in range(POCKETS)))
        for m in range(MACHINES)
    )
    return Store(
        key=f"s{number:04}", name=f"Store {number}", time_zone="UTC", currency="USD", country="US", coins=(25, 100),
        banks=(Bank(key="all", name="All"),), machines=machines, pockets=tuple(Pocket(key=k, fill_kg=12.0) for k in pockets),
    )  # fmt: skip


def entries(number: int, weeks: int) -> Iterator[Entry]:
    """A store's life: its description, then every machine read every week."""
    key = f"s{number:04}"

    def entry(n: int, body: ReadingTaken | StoreDated) -> Entry:
        happened = BEGIN + timedelta(weeks=n // MACHINES, minutes=n % MACHINES)
        ident = uuid7(int(happened.timestamp() * 1000), (number * 100_000 + n).to_bytes(10, "big"))
        return Entry(id=ident, store=key, happened=happened, by="tech", origin="bench", body=body)

    yield entry(0, StoreDated(store=a_store(number), from_date="2023-01-01"))
    for n in range(1, weeks * MACHINES + 1):
        machine = n % MACHINES
        shown = (DeviceValue(device=f"{machine}{p}.hours", shown=n * 70 + p) for p in range(POCKETS))
        yield entry(n, ReadingTaken(values=tuple(shown)))


def timed(work: Callable[[], object]) -> float:
    """Processor seconds of this process, in which SQLite works too; waiting for the disk is not in it."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def load(book: Book, stores: int, weeks: int) -> None:
    for number in range(stores):
        book.append(list(entries(number, weeks)))


def bare(book: Book, path: Path) -> tuple[float, float]:
    """The same texts in a plain table, a transaction a store as above, and read back."""
    texts = {store: [line.text for line in book.lines(store)] for store in book.stores()}
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE t (store TEXT, seq INTEGER, text TEXT, PRIMARY KEY (store, seq))")

    def put() -> None:
        for store, rows in texts.items():
            connection.executemany("INSERT INTO t VALUES (?, ?, ?)", [(store, n, text) for n, text in enumerate(rows)])
            connection.commit()

    def get() -> None:
        for store in texts:
            connection.execute("SELECT text FROM t WHERE store = ? ORDER BY seq", [store]).fetchall()

    return timed(put), timed(get)


def measure(stores: int, weeks: int, folder: Path) -> dict[str, float]:
    path = folder / f"{stores}.book"
    with open_book(path, create=True) as book:
        seconds = {"append": timed(lambda: load(book, stores, weeks))}
    seconds["open"] = timed(lambda: open_book(path).close())
    with open_book(path) as book:
        seconds["tell every store"] = timed(lambda: [book.story(store) for store in book.stores()])
        seconds["last quarter of every store"] = timed(lambda: quarter(book, weeks))
        seconds["verify"] = timed(lambda: _whole(book))
        seconds["back up"] = timed(lambda: book.backup(folder / f"{stores}.copy"))
        seconds["entries"] = sum(seq for seq, _ in book.rows.heads().values())
        seconds["bare put"], seconds["bare get"] = (
            bare(book, folder / f"{stores}.bare") if stores <= 100 else (0.0, 0.0)
        )
    seconds["MB on disk"] = path.stat().st_size / 1e6
    return seconds


def quarter(book: Book, weeks: int) -> None:
    since = BEGIN + timedelta(weeks=weeks - 13)
    for store in book.stores():
        book.story(store, kinds=("reading",), since=since)


def _whole(book: Book) -> None:
    assert book.verify().is_whole


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--stores", type=int, nargs="+", default=[10, 100])
    asked.add_argument("--weeks", type=int, default=156)
    said = asked.parse_args()
    results: dict[int, dict[str, float]] = {}
    for stores in said.stores:
        with tempfile.TemporaryDirectory() as folder:
            results[stores] = measure(stores, said.weeks, Path(folder))
        row = "  ".join(f"{name} {value:.3g}" for name, value in results[stores].items())
        print(f"{stores:>5} stores: {row}  peak memory {peak_mb():.0f} MB  load {os.getloadavg()[0]:.1f}", flush=True)
    return verdict(results)


def verdict(results: dict[int, dict[str, float]]) -> int:
    """Time an entry at the largest size over that at the smallest: 1 is linear; a quarter more is let pass as noise."""
    small, large = results[min(results)], results[max(results)]
    bad = []
    for name in ("append", "tell every store", "verify", "back up"):
        ratio = (large[name] / large["entries"]) / (small[name] / small["entries"])
        print(f"{name}: {1e6 * large[name] / large['entries']:.0f} µs an entry, {ratio:.2f} of the smallest size's")
        bad += [name] if ratio > 1.25 else []
    if bad:
        print(f"More than linear: {', '.join(bad)}")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
