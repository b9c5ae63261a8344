"""Torture: kill, race, fill, tear and restart the book, and count what was lost, doubled or half-stored.

    .venv/bin/python tests/book/torture.py [--kills 60] [--seed 1] [--only append] [--write]

Each row of the table is one fault on one database. A *try* is one fault injected; afterwards the book is opened, verified and
held against what had been acknowledged, then everything is sent again and must stand there once. ``--write`` puts the table
into docs/concepts/safety.md. The tests run a short form of the same functions.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from book_making import NOW, Places, Server, first, now, opened, postgres_bin, readings

from drybank.book import backup, open_book, restore, salvage
from drybank.book import move as move_book
from drybank.records.entry import Entry
from drybank.records.errors import BookError, DrybankError, InputError, Missing

PAGE = Path(__file__).parents[2] / "docs" / "concepts" / "safety.md"
MARKS = ("<!-- torture table: written by `make torture` -->", "<!-- end of torture table -->")
Ack = Callable[[int], None]
Batches = list[list[Entry]]


@dataclass
class Count:
    """One row: a fault, how often, and what came of it."""

    fault: str
    database: str
    tries: int = 0
    struck: int = 0
    lost: int = 0
    doubled: int = 0
    half: int = 0
    broken: int = 0
    note: str = ""

    @property
    def is_clean(self) -> bool:
        return not (self.lost or self.doubled or self.half or self.broken)

    def row(self) -> str:
        cells = (
            self.fault,
            self.database,
            self.tries,
            self.struck,
            self.lost,
            self.doubled,
            self.half,
            self.broken,
            self.note,
        )
        return "| " + " | ".join(map(str, cells)) + " |"


HEAD = (
    "| fault | database | tried | struck at work | entries lost | doubled | half-stored | book broken | what was seen |\n"
    "| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | --- |"
)


# The tools: a forked child that is killed, and the reckoning afterwards


def struck(work: Callable[[Ack], None], after_s: float | None) -> tuple[list[int], bool]:
    """Run work in a forked child; kill it after a while. What it acknowledged, and whether it was killed at work."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.close(reading)
            work(lambda n: os.write(writing, f"{n}\n".encode()) and None)
            code = 0
        finally:
            os._exit(code)
    os.close(writing)
    if after_s is not None:
        time.sleep(after_s)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    with open(reading, "rb") as pipe:  # noqa: PTH123
        acked = [int(line) for line in pipe.read().split(b"\n")[:-1]]
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise RuntimeError("the child failed by itself")
    return acked, os.WIFSIGNALED(status)


@contextlib.contextmanager
def killing_at(event: int) -> Iterator[list[int]]:
    """Kill this process at its n-th touch of the database: before and after every statement and every commit."""
    from django.db.backends.base.base import BaseDatabaseWrapper
    from django.db.backends.utils import CursorWrapper

    seen = [0]

    def touch() -> None:
        seen[0] += 1
        if seen[0] == event:
            os.kill(os.getpid(), signal.SIGKILL)

    def around(method: Callable[..., object]) -> Callable[..., object]:
        def wrapped(*args: object, **kwargs: object) -> object:
            touch()
            result = method(*args, **kwargs)
            touch()
            return result

        return wrapped

    for owner, names in ((CursorWrapper, ("execute", "executemany")), (BaseDatabaseWrapper, ("_commit",))):
        for name in names:
            setattr(owner, name, around(getattr(owner, name)))
    yield seen  # the child ends here; nothing is put back


def batches(count: int = 6, size: int = 10) -> Batches:
    many = readings(count * size)
    return [many[n * size : (n + 1) * size] for n in range(count)]


def reckon(count: Count, place: str, sent: Batches, acked: Sequence[int]) -> None:
    """Open, verify, hold against what was acknowledged; then send all again and count."""
    with opened(place) as book:
        if not book.verify().is_whole or book.doubts:
            count.broken += 1
            return
        there = {b.entry.id for b in book.chain("elm")}
        for n, batch in enumerate(sent):
            held = sum(e.id in there for e in batch)
            count.half += held not in (0, len(batch))
            count.lost += len(batch) - held if n in acked else 0
        for batch in sent:
            book.append(batch)
        ids = [b.entry.id for b in book.chain("elm")]
        count.doubled += len(ids) - len(set(ids))
        count.lost += len({e.id for batch in sent for e in batch} - set(ids))
        count.broken += not book.verify().is_whole


def span(work: Callable[[Ack], None]) -> float:
    """How long the work takes when nobody disturbs it."""
    begin = time.perf_counter()
    struck(work, None)
    return time.perf_counter() - begin


# Faults


def kill_append(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL at random moments while batches are appended."""
    count = Count("killed while appending", places.vendor)
    sent = batches()

    def work_on(place: str) -> Callable[[Ack], None]:
        def work(ack: Ack) -> None:
            book = opened(place)
            for n, batch in enumerate(sent):
                book.append(batch)
                ack(n)

        return work

    with begun_place(places) as place:
        whole = span(work_on(place))
    for _ in range(tries):
        with begun_place(places) as place:
            acked, was_killed = struck(work_on(place), rng.uniform(0, whole))
            count.tries, count.struck = count.tries + 1, count.struck + was_killed
            reckon(count, place, sent, acked)
    return count


def kill_append_boundaries(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL before and after every statement and every commit of one append, opening included; the first so many if told."""
    count = Count("killed at every statement and commit of an append", places.vendor)
    sent = batches(1)
    was_killed, event = True, 0
    while was_killed and (not tries or event < tries):
        event += 1
        with begun_place(places) as place:

            def work(ack: Ack, place: str = place, event: int = event) -> None:
                with killing_at(event):
                    opened(place).append(sent[0])
                    ack(0)

            acked, was_killed = struck(work, None)
            count.tries, count.struck = count.tries + 1, count.struck + was_killed
            reckon(count, place, sent, acked)
    count.note = f"{event - 1} boundaries"
    return count


def kill_import(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL while an export is imported: all of the file or nothing."""
    count = Count("killed while importing", places.vendor)
    many = readings(200)
    with begun_place(places) as place, opened(place) as book:
        begin = [b.entry for b in book.chain("elm")]
        book.append(many)
        out = io.BytesIO()
        book.export(out)
    whole_file = [[*begin, *many]]

    def work_on(place: str) -> Callable[[Ack], None]:
        def work(ack: Ack) -> None:
            opened(place).import_lines(io.BytesIO(out.getvalue()))
            ack(0)

        return work

    with places.lent() as place:
        whole = span(work_on(place))
    for _ in range(tries):
        with places.lent() as place:
            acked, was_killed = struck(work_on(place), rng.uniform(0, whole))
            count.tries, count.struck = count.tries + 1, count.struck + was_killed
            with opened(place) as book:
                there = len(list(book.chain("elm"))) if book.stores() else 0
                count.half += there not in (0, 201)
                count.lost += 201 - there if acked else 0
            reckon_import(count, place, out.getvalue(), whole_file)
    return count


def reckon_import(count: Count, place: str, file: bytes, sent: Batches) -> None:
    with opened(place) as book:
        count.broken += not book.verify().is_whole
        book.import_lines(io.BytesIO(file))
    reckon(count, place, sent, [0])


def kill_migrate(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL while the tables are made: the old schema or the new one, never half."""
    count = Count("killed while the schema is made", places.vendor)
    with tempfile.TemporaryDirectory() as folder:
        bare = places.server.url(places.server.new_database()) if places.server else str(Path(folder) / "new.book")

        def work(ack: Ack) -> None:
            open_book(bare, create=True, clock=now)
            ack(0)

        whole = span(work)
        for _ in range(tries):
            _strip(places, bare)
            acked, was_killed = struck(work, rng.uniform(0, whole))
            count.tries, count.struck = count.tries + 1, count.struck + was_killed
            try:
                opened(bare).close()
            except (Missing, InputError):  # no book there yet: fine, unless it had been acknowledged
                count.lost += len(acked)
            with open_book(bare, create=True, clock=now) as book:
                book.append([first()])
                count.broken += not book.verify().is_whole
    return count


def _strip(places: Places, place: str) -> None:
    """No book there any more."""
    if places.server is None:
        for end in ("", "-wal", "-shm"):
            Path(place + end).unlink(missing_ok=True)
        return
    name = place.split("@/")[1].split("?")[0]
    places.server.sql(name, "DROP SCHEMA public CASCADE; CREATE SCHEMA public AUTHORIZATION keeper", user="postgres")


def kill_backup(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL during a backup: no backup, or a whole one with its checksum."""
    count = Count("killed while backing up", places.vendor)
    with begun_place(places) as place, tempfile.TemporaryDirectory() as folder:
        with opened(place) as book:
            book.append(readings(300))
            tip = book.tip("elm")

        def work_to(path: Path) -> Callable[[Ack], None]:
            def work(ack: Ack) -> None:
                opened(place).backup(path)
                ack(0)

            return work

        whole = span(work_to(Path(folder) / "first"))
        there = 0
        for n in range(tries):
            path = Path(folder) / f"b{n}"
            acked, was_killed = struck(work_to(path), rng.uniform(0, whole))
            count.tries, count.struck = count.tries + 1, count.struck + was_killed
            count.lost += bool(acked) and not path.exists()
            if path.exists():
                there += 1
                count.broken += restore(path, Path(folder) / f"r{n}", clock=now).tips != {"elm": tip}
        with opened(place) as book:
            count.broken += not book.verify().is_whole
    count.note = f"{there} whole backups, else none"
    return count


def kill_move(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL while a book is moved to this database; moved again, it goes on."""
    count = Count("killed while moving there", places.vendor)
    with tempfile.TemporaryDirectory() as folder:
        source = str(Path(folder) / "source.book")
        with open_book(source, create=True, clock=now) as book:
            book.append([first(), *readings(300)])
            hashes = [b.hash for b in book.chain("elm")]

        def work_to(place: str) -> Callable[[Ack], None]:
            def work(ack: Ack) -> None:
                backup.AT_ONCE = 40
                move_book(opened(source), place)
                ack(0)

            return work

        with places.lent() as place:
            whole = span(work_to(place))
        for _ in range(tries):
            with places.lent() as place:
                acked, was_killed = struck(work_to(place), rng.uniform(0, whole))
                count.tries, count.struck = count.tries + 1, count.struck + was_killed
                with opened(source) as old:
                    if acked:
                        with opened(place) as new:
                            count.lost += [b.hash for b in new.chain("elm")] != hashes
                    move_book(old, place)
                with opened(place) as new:
                    there = [b.hash for b in new.chain("elm")]
                    count.doubled += len(there) - len(set(there))
                    count.broken += there != hashes or not new.verify().is_whole
    return count


def race(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """Two programs send the same entries to one store at the same time, each in an order of its own."""
    count = Count("same entries sent by two programs at once", places.vendor)
    for _ in range(tries):
        sent = batches(5, 6)
        with begun_place(places) as place:

            def work(order: Sequence[int], place: str = place, sent: Batches = sent) -> None:
                book = opened(place)
                for n in order:
                    book.append(sent[n])

            children = [_forked(work, list(rng.permutation(5))) for _ in range(2)]
            failed = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
            count.tries, count.struck = count.tries + 1, count.struck + 1
            count.lost += sum(map(bool, failed))
            reckon(count, place, sent, range(5))
    return count


def _forked(work: Callable[[Sequence[int]], None], order: Sequence[int]) -> int:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work(order)
            code = 0
        finally:
            os._exit(code)
    return child


def restart(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """The database server is stopped hard and started again in the middle of a round of appends."""
    count = Count("server stopped hard and started again", places.vendor)
    if places.server is None:
        return count
    for _ in range(tries):
        sent = batches(30, 6)
        with begun_place(places) as place:
            acked: list[int] = []
            refused: list[str] = []

            def work(
                place: str = place, sent: Batches = sent, acked: list[int] = acked, refused: list[str] = refused
            ) -> None:
                with opened(place) as book:
                    for n, batch in enumerate(sent):
                        try:
                            book.append(batch)
                            acked.append(n)
                        except BookError as bad:
                            refused.append(bad.sentence())
                        time.sleep(0.01)

            thread = threading.Thread(target=work)
            thread.start()
            time.sleep(rng.uniform(0.05, 0.3))
            begin = time.perf_counter()
            places.server.stop()
            places.server.start()
            away_s = time.perf_counter() - begin
            thread.join()
            count.tries, count.struck = count.tries + 1, count.struck + (len(acked) > 0)
            count.note = f"last: away for {away_s:.1f} s, {len(refused)} of {len(sent)} appends refused"
            reckon(count, place, sent, acked)
    return count


def full_disk(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """A disk of 3 MB (tmpfs) that fills up while appending; afterwards room is made and the same is sent again."""
    count = Count("disk full", places.vendor)
    if places.server is not None or os.geteuid() != 0:
        return count
    for _ in range(tries):
        with tempfile.TemporaryDirectory() as folder, mounted(Path(folder), "3m"):
            place = str(Path(folder) / "x.book")
            shutil.copy(places.empty, place)
            sent, acked = batches(60, 15), []
            ballast = Path(folder) / "ballast"
            with opened(place) as book:
                book.append([first()])
                free = shutil.disk_usage(folder).free
                ballast.write_bytes(b"x" * max(0, free - int(rng.uniform(10_000, 400_000))))
                for n, batch in enumerate(sent):
                    try:
                        book.append(batch)
                        acked.append(n)
                    except BookError as bad:
                        count.broken += "full" not in bad.sentence()
                        break
                count.tries, count.struck = count.tries + 1, count.struck + (len(acked) < len(sent))
                ballast.unlink()
            reckon(count, place, sent[: len(acked) + 1], acked)
    return count


@contextlib.contextmanager
def mounted(folder: Path, size: str) -> Iterator[None]:
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def flip(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """One bit of a closed book's file is flipped."""
    return _damaged(Count("one bit flipped", places.vendor), places, tries, rng, _flip)


def tear(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """One page of a closed book's file is half written: its second half is of another time."""
    return _damaged(Count("one page torn", places.vendor), places, tries, rng, _tear)


def _flip(raw: bytearray, rng: np.random.Generator) -> None:
    raw[int(rng.integers(len(raw)))] ^= 1 << int(rng.integers(8))


def _tear(raw: bytearray, rng: np.random.Generator) -> None:
    start = int(rng.integers(len(raw) // 4096)) * 4096 + 2048
    raw[start : start + 2048] = bytes(rng.integers(0, 256, 2048, dtype=np.uint8))


def _damaged(
    count: Count,
    places: Places,
    tries: int,
    rng: np.random.Generator,
    damage: Callable[[bytearray, np.random.Generator], None],
) -> Count:
    """``lost``: entries that differ while verify calls the book whole (must be none). Salvage is counted in the note."""
    if places.server is not None:
        return count
    by_verify = by_checksum = gone = 0
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "whole.book"
        with open_book(whole, create=True, clock=now) as book:
            book.append([first(), *readings(300)])
            entries = [b.entry for b in book.chain("elm")]
            book.rows.close_file()
        for n in range(tries):
            path = Path(folder) / f"{n}.book"
            raw = bytearray(whole.read_bytes())
            damage(raw, rng)
            path.write_bytes(raw)
            count.tries, count.struck = count.tries + 1, count.struck + 1
            saved = salvage(path, Path(folder) / f"{n}.saved", clock=now)
            gone += len(entries) - saved.saved
            if _is_found(path):
                by_verify += 1
                continue
            by_checksum += 1
            with opened(str(path)) as book:
                count.lost += [b.entry for b in book.chain("elm")] != entries
    count.note = (
        f"{by_verify} found on opening or by verify; {by_checksum} touched no entry and are found by a backup's checksum; "
        f"salvage saved all but {gone} of {tries * len(entries)} entries"
    )
    return count


def _is_found(path: Path) -> bool:
    try:
        with opened(str(path)) as book:
            return not book.verify().is_whole
    except DrybankError:
        return True


def clock_back(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """The computer's clock jumps back between two appends."""
    count = Count("clock set back", places.vendor)
    noticed = 0
    for _ in range(tries):
        sent = batches(2)
        back = timedelta(days=float(rng.uniform(0.1, 200)))
        with begun_place(places) as place:
            with opened(place) as book:
                book.append(sent[0])
            with open_book(place, clock=lambda back=back: NOW - back) as book:
                book.append(sent[1])
                noticed += len(book.verify().notices) == 1
            count.tries, count.struck = count.tries + 1, count.struck + 1
            reckon(count, place, sent, [0, 1])
    count.note = f"noticed by verify {noticed} times; the order of the chain is kept"
    return count


def kill_sync(places: Places, tries: int, rng: np.random.Generator) -> Count:
    """SIGKILL of the server while phones send; see torture_sync.py."""
    import torture_sync

    count: Count = torture_sync.kill_sync(places, tries, rng, Count("server killed while phones send", places.vendor))
    return count


@contextlib.contextmanager
def begun_place(places: Places) -> Iterator[str]:
    """A book in which a store is described."""
    with places.lent() as place:
        with opened(place) as book:
            book.append([first()])
        yield place


FAULTS: dict[str, tuple[Callable[[Places, int, np.random.Generator], Count], float]] = {
    "append": (kill_append, 1.0), "boundaries": (kill_append_boundaries, 0.0), "import": (kill_import, 0.7),
    "migrate": (kill_migrate, 0.5), "backup": (kill_backup, 0.5), "move": (kill_move, 0.5), "race": (race, 0.3),
    "restart": (restart, 0.15), "full": (full_disk, 0.3), "flip": (flip, 2.0), "tear": (tear, 1.0), "clock": (clock_back, 0.2),
    "sync": (kill_sync, 1.0),
}  # fmt: skip
"""Each fault, and its share of the number of kills asked for."""


def run(places: Places, name: str, kills: int, seed: int) -> Count:
    work, share = FAULTS[name]
    return work(
        places, max(2, round(kills * share)) if share else 0, np.random.default_rng([seed, list(FAULTS).index(name)])
    )


def everything(kills: int, seed: int, only: str, root: Path) -> Iterator[Count]:
    try:
        postgres_bin()
        server = Server()
    except LookupError as why:
        print(f"PostgreSQL left out: {why}", file=sys.stderr)  # noqa: T201
        server = None
    try:
        for vendor in ("sqlite", "postgresql"):
            if vendor == "postgresql" and server is None:
                continue
            places = Places(vendor, root, server if vendor == "postgresql" else None)
            for name in FAULTS:
                if only in ("", name):
                    done = run(places, name, kills, seed)
                    if done.tries:
                        yield done
    finally:
        if server is not None:
            server.close()


def write_table(rows: Sequence[str], kills: int, seed: int) -> None:
    """Put rows into the page in place of earlier ones of the same fault and database; the others stay."""
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(MARKS[0])
    table, after = rest.split(MARKS[1])
    old = [line for line in table.splitlines() if line.startswith("| ") and line not in HEAD]
    new = {tuple(row.split(" | ")[:2]): row for row in (*old, *rows)}
    order = sorted(new.values(), key=lambda row: (row.split(" | ")[1] != "sqlite",))
    said = f"`make torture` (`--kills {kills} --seed {seed}`), last run by hand:"
    PAGE.write_text(
        f"{before}{MARKS[0]}\n{said}\n\n{HEAD}\n" + "\n".join(order) + f"\n{MARKS[1]}{after}", encoding="utf-8"
    )


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--kills", type=int, default=60)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", choices=["", *FAULTS], default="")
    asked.add_argument("--write", action="store_true", help="put the table into docs/concepts/safety.md")
    said = asked.parse_args()
    counts = []
    print(HEAD, flush=True)  # noqa: T201
    with tempfile.TemporaryDirectory() as root:
        for count in everything(said.kills, said.seed, said.only, Path(root)):
            counts.append(count)
            print(count.row(), flush=True)  # noqa: T201
    if said.write:
        write_table([c.row() for c in counts], said.kills, said.seed)
    return 0 if all(c.is_clean for c in counts) else 1


if __name__ == "__main__":
    sys.exit(main())
