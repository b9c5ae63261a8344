"""The server killed while phones send: what a phone was told is there, is there once, however often it sends again.

A nursery process sets Django up once and forks a server for each try, so that a kill costs a fork and not a start.
``python tests/book/torture_sync.py`` is the nursery: it reads a line of JSON and answers with one.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from book_making import Places
from phones import STORE, Phone, written

PHONES, BATCHES, BATCH = 5, 4, 12


# The nursery


def nursery() -> None:
    """Fork what is asked for until the line ends."""
    from drybank.web import site

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    site.begin(sys.argv[1])
    from django.db import connections
    from django.urls import get_resolver

    site.application()
    get_resolver().url_patterns  # noqa: B018  # every view is loaded once, here, and not again in each fork
    connections.close_all()
    for line in sys.stdin:
        asked = json.loads(line)
        if os.fork() == 0:
            try:
                {"make": _make, "serve": _serve}[asked["do"]](asked["where"])
            except BaseException as bad:
                _tell({"fault": repr(bad)})
            finally:
                os._exit(0)


def _tell(what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def _make(where: str) -> None:
    """A book with one store described, and the people and tokens that send to it."""
    from datetime import date
    from importlib.resources import files

    from drybank.desk.files import load
    from drybank.desk.stamp import Pen, now
    from drybank.web import devices, site
    from drybank.web.models import Membership, Person

    room = files("drybank.desk.demo_town")
    named = [(name, room.joinpath(name).read_bytes()) for name in ("high_saddle.toml", "alder.toml", "birch.toml")]
    load(site.use(where), named, Pen(by="owner"), from_date=date(2026, 1, 1))
    owner = Person.objects.create(handle="owner", password="!")
    Membership.objects.create(person=owner, store=STORE, role="owner")
    tokens = []
    for n in range(PHONES):
        person = Person.objects.create(handle=f"phone{n}", password="!")
        for role in ("technician", "collector"):
            Membership.objects.create(person=person, store=STORE, role=role)
        tokens.append(devices.make(store=STORE, handle=person.handle, label=f"phone {n}", now=now(), made_by=owner)[0])
    from django.db import connections

    connections.close_all()
    _tell({"tokens": tokens})


def _serve(where: str) -> None:
    from drybank.web import serving, site

    site.use(where)
    taken = serving.listen("127.0.0.1", 0)
    _tell({"pid": os.getpid(), "port": taken.getsockname()[1]})
    serving._answer(taken, None)


class Nursery:
    """The process that forks servers."""

    def __init__(self, folder: Path) -> None:
        said = {k: v for k, v in os.environ.items() if not k.startswith(("DRYBANK", "DJANGO"))} | {
            "XDG_STATE_HOME": str(folder)
        }
        said["PYTHONPATH"] = str(Path(__file__).parents[2] / "src")
        self.process = subprocess.Popen(
            [sys.executable, __file__, str(folder / "first.book")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            text=True, env=said,
        )  # fmt: skip

    def ask(self, do: str, where: str) -> dict[str, Any]:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps({"do": do, "where": where}) + "\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        if not line:
            raise RuntimeError("the nursery ended by itself")
        said = dict(json.loads(line))
        if "fault" in said:
            raise RuntimeError(said["fault"])
        return said

    def close(self) -> None:
        self.process.kill()
        self.process.wait(30)


class _Server:
    """One forked server, as a phone sees it."""

    def __init__(self, nursery: Nursery, where: str, tokens: Sequence[str]) -> None:
        begun = nursery.ask("serve", where)
        self.pid, self.port, self.tokens = begun["pid"], begun["port"], tokens

    def kill(self) -> bool:
        try:
            os.kill(self.pid, signal.SIGKILL)
        except ProcessLookupError:
            return False
        return True


# The tries


class Sync:
    """Books to send to, each a copy of one with a store and its people, on one kind of database."""

    def __init__(self, places: Places, folder: Path) -> None:
        self.places, self.folder, self.nursery = places, folder, Nursery(folder)
        self.template = (
            places.server.url(places.server.new_database()) if places.server else str(folder / "template.book")
        )
        self.tokens = self.nursery.ask("make", self.template)["tokens"]
        from drybank.book import open_book
        from drybank.desk.standing import layout_at

        with open_book(self.template) as book:
            layout = layout_at(book, STORE)
            book.rows.close_file()
        self.load = [written(layout, n, BATCHES * BATCH) for n in range(PHONES)]
        self._count = 0

    def copy(self) -> str:
        self._count += 1
        if self.places.server is not None:
            return self.places.server.url(self.places.server.new_database(self.template.split("@/")[1].split("?")[0]))
        place = str(self.folder / f"{self._count}.book")
        shutil.copy(self.template, place)
        return place

    def send(self, server: _Server, after_s: float | None = None) -> list[Phone]:
        """All phones at once; the server is killed after a while, if told."""
        phones = [Phone(server, n, timeout=30) for n in range(PHONES)]

        def go(phone: Phone) -> None:
            with contextlib.suppress(OSError, ValueError, Exception if after_s is not None else ()):
                phone.send(self.load[phone.number], batch=BATCH)

        threads = [threading.Thread(target=go, args=(phone,)) for phone in phones]
        for thread in threads:
            thread.start()
        if after_s is not None:
            time.sleep(after_s)
            server.kill()
        for thread in threads:
            thread.join()
        return phones

    def ids(self) -> list[str]:
        return [e["id"] for load in self.load for e in load]

    def close(self) -> None:
        self.nursery.close()


def in_book(where: str) -> tuple[list[str], bool]:
    """Ids in the chain, and whether it verifies."""
    from drybank.book import open_book

    with open_book(where) as book:
        return [b.entry.id for b in book.chain(STORE)], book.verify(STORE).is_whole and not book.doubts


@contextlib.contextmanager
def syncing(places: Places) -> Iterator[Sync]:
    with tempfile.TemporaryDirectory() as folder:
        sync = Sync(places, Path(folder))
        try:
            yield sync
        finally:
            sync.close()


def kill_sync(places: Places, tries: int, rng: np.random.Generator, count: Any) -> Any:
    """SIGKILL of the server at random moments while five phones send; then all of them send everything again."""
    stored = 0
    with syncing(places) as sync:
        where = sync.copy()
        server = _Server(sync.nursery, where, sync.tokens)
        begun = time.perf_counter()
        sync.send(server)
        whole = time.perf_counter() - begun
        server.kill()
        for _ in range(tries):
            where = sync.copy()
            server = _Server(sync.nursery, where, sync.tokens)
            phones = sync.send(server, rng.uniform(0, whole))
            acked = {i for phone in phones for i in phone.acknowledged}
            there, is_whole = in_book(where)
            count.tries, count.struck = count.tries + 1, count.struck + (len(acked) < len(sync.ids()))
            count.lost += len(acked - set(there))
            count.broken += not is_whole
            stored += len(acked)
            again = _Server(sync.nursery, where, sync.tokens)
            refused = [r for phone in sync.send(again) for r in phone.refused]
            again.kill()
            there, is_whole = in_book(where)
            count.lost += len(set(sync.ids()) - set(there)) + len(refused)
            count.doubled += len(there) - len(set(there))
            count.broken += not is_whole
    count.note = f"{PHONES} phones; {stored} of {tries * len(sync.ids())} entries acknowledged before the kill"
    return count


if __name__ == "__main__":
    nursery()
