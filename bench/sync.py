"""Fifty phones send two hundred entries each at the same moment to one server on this computer, into one store's chain.

    python bench/sync.py [--phones 50] [--entries 200] [--batch 40] [--only sqlite]

Nothing may be lost, nothing doubled, and 95 of 100 answers must come within a second. The book holds two years of the demo's
history, so that the checks have a past to look at; every entry is then sent once more, as a phone does that lost its answers.
Server and phones share this computer's processors, which a real server would not do.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "web"))
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "book"))

from book_making import Server, postgres_bin
from phones import STORE, Phone, Served, written

from drybank.book import move, open_book
from drybank.desk.demo import make_demo
from drybank.desk.standing import layout_at

GOAL_S = 1.0


def race(served: Served, load: list[list[dict[str, Any]]], batch: int) -> tuple[list[Phone], float]:
    """Every phone in a thread of its own, all from one moment on."""
    gate = threading.Barrier(len(load) + 1)
    phones = [Phone(served, n) for n in range(len(load))]

    def go(phone: Phone) -> None:
        gate.wait()
        phone.send(load[phone.number], batch=batch)

    threads = [threading.Thread(target=go, args=(phone,)) for phone in phones]
    for thread in threads:
        thread.start()
    gate.wait()
    begun = time.perf_counter()
    for thread in threads:
        thread.join()
    return phones, time.perf_counter() - begun


def processor_s(pid: int) -> float:
    """Processor seconds that a process has taken so far (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def report(name: str, phones: list[Phone], seconds: float, taken_s: float) -> float:
    """One line; gives the 95th of 100 answers."""
    times = sorted(s for phone in phones for s in phone.seconds)
    said = Counter(word for phone in phones for word in phone.acknowledged.values())
    refused = sum(len(phone.refused) for phone in phones)
    p50, p95 = times[len(times) // 2], times[int(0.95 * len(times))]
    print(f"  {name:<22} {seconds:6.1f} s  answers {len(times):5}  median {p50:5.2f} s  95 % {p95:5.2f} s  longest {times[-1]:5.2f} s  {dict(said)} refused {refused}  server's processor {taken_s:.1f} s")  # fmt: skip
    return p95


def look(where: str, load: list[list[dict[str, Any]]]) -> tuple[int, int]:
    """Lost and doubled, by the book itself after it was opened anew and verified."""
    with open_book(where) as book:
        assert book.verify(STORE).is_whole
        count = Counter(b.entry.id for b in book.chain(STORE))
    ids = [e["id"] for phone in load for e in phone]
    return sum(count[i] == 0 for i in ids), sum(count[i] > 1 for i in ids)


@contextlib.contextmanager
def book_at(vendor: str, folder: Path) -> Iterator[str]:
    made = folder / "town.book"
    if not made.exists():
        make_demo(made)
    if vendor == "sqlite":
        yield str(made)
        return
    server = Server()
    try:
        server.sql("postgres", "ALTER SYSTEM SET fsync = on; SELECT pg_reload_conf()", user="postgres")
        where = server.url(server.new_database())
        with open_book(made) as book:
            move(book, where)
        yield where
    finally:
        server.close()


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--phones", type=int, default=50)
    asked.add_argument("--entries", type=int, default=200)
    asked.add_argument("--batch", type=int, default=10)
    asked.add_argument("--only", choices=("sqlite", "postgresql"))
    said = asked.parse_args()
    for vendor in (said.only,) if said.only else ("postgresql", "sqlite"):
        if vendor == "postgresql":
            try:
                postgres_bin()
            except LookupError as why:
                print(f"{vendor}: not measured, {why}")
                continue
        with tempfile.TemporaryDirectory() as folder, book_at(vendor, Path(folder)) as where:
            with open_book(where) as book:
                layout = layout_at(book, STORE)
            load = [written(layout, n, said.entries) for n in range(said.phones)]
            print(f"{vendor}: {said.phones} phones x {said.entries} entries, {said.batch} at once; load of this computer {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")  # fmt: skip
            with Served(where, said.phones, folder) as served:
                begun = processor_s(served.process.pid)
                first = race(served, load, said.batch)
                middle = processor_s(served.process.pid)
                p95 = report("first sending", *first, middle - begun)
                again = race(served, load, said.batch)
                report("the same once more", *again, processor_s(served.process.pid) - middle)
            lost, doubled = look(where, load)
        is_met = p95 <= GOAL_S and not lost and not doubled
        print(f"  lost {lost}, doubled {doubled}; goal 95 % within {GOAL_S:g} s and nothing lost or doubled: {'met' if is_met else 'NOT met'}")  # fmt: skip


if __name__ == "__main__":
    main()
