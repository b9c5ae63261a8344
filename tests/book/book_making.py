"""What the tests of the book share: an invented store, histories, places to keep a book, a PostgreSQL server to test on."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import strategies as st

from drybank.book import Book, new_entry, open_book
from drybank.records.entry import (
    AnyBody,
    CheckWaived,
    Corrected,
    DeviceValue,
    Entry,
    Noted,
    OfferMade,
    Pieces,
    PiecesCounted,
    PlanAdopted,
    Proved,
    ReadingTaken,
    Refunded,
    SettingChanged,
    SettingValue,
    StoreDated,
    Watched,
)
from drybank.records.ids import uuid7
from drybank.records.sheet import HouseValue
from drybank.records.store import Bank, Machine, Pocket, Store

BEGIN = datetime(2025, 1, 6, 9, 0, tzinfo=UTC)
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


def now() -> datetime:
    """The tests' clock."""
    return NOW


def a_store(key: str = "elm", name: str = "Elm Street", zone: str = "America/Toronto") -> Store:
    return Store(
        key=key, name=name, time_zone=zone, currency="CAD", country="CA", coins=(25, 100, 200),
        banks=(Bank(key="big", name="Big drums"),), machines=(Machine(key="m1", bank="big", sheet="alder", pockets=("1", "2")),),
        pockets=(Pocket(key="1", fill_kg=12.0), Pocket(key="2", fill_kg=12.0)),
    )  # fmt: skip


def entry(
    store: str, body: AnyBody, happened: datetime = BEGIN, *, by: str = "ann", number: int | None = None
) -> Entry:
    """An entry; with a number its id is always the same."""
    if number is None:
        return new_entry(store, happened, by, "test", body, clock=now)
    ident = uuid7(int(BEGIN.timestamp() * 1000) + number, number.to_bytes(10, "big"))
    return Entry(id=ident, store=store, happened=happened, by=by, origin="test", body=body)


def first(key: str = "elm", from_date: str = "2025-01-01") -> Entry:
    return entry(key, StoreDated(store=a_store(key), from_date=from_date))


def reading(shown: int, *, store: str = "elm", at: datetime = BEGIN, number: int | None = None) -> Entry:
    return entry(store, ReadingTaken(values=(DeviceValue(device="1.hours", shown=shown),)), at, number=number)


def readings(count: int, *, store: str = "elm", start: int = 0) -> list[Entry]:
    return [reading(start + i, store=store, at=BEGIN + timedelta(minutes=start + i)) for i in range(count)]


# Histories for Hypothesis

words = st.text(st.characters(codec="utf-8"), max_size=30)
keys = st.text("abcdefghij.-", min_size=1, max_size=8)
moments = st.datetimes(datetime(2025, 1, 1), datetime(2026, 5, 31), timezones=st.just(UTC))  # noqa: DTZ001
counts = st.integers(0, 10**12)
numbers = st.floats(allow_nan=False, allow_infinity=False)
pieces = st.builds(Pieces, piece_minor=counts, count=counts)
values = st.builds(DeviceValue, device=keys, shown=st.none() | counts, why_not=words)
settings = st.builds(SettingValue, setting=keys, value=st.none() | st.integers(-1000, 1000))
house = st.builds(
    HouseValue, purpose=st.just("temperature"), value=st.integers(0, 200), base=st.sampled_from(["°C", "°F"])
)

plain_bodies: st.SearchStrategy[AnyBody] = st.one_of(
    st.builds(ReadingTaken, values=st.lists(values, max_size=3).map(tuple), visit=words),
    st.builds(PiecesCounted, pieces=st.lists(pieces, max_size=3).map(tuple), weight_g=st.none() | numbers),
    st.builds(Refunded, pocket=keys, minor=st.integers(-(10**12), 10**12), why=words),
    st.builds(Noted, says=words, at=words),
    st.builds(OfferMade, bank=keys, starts=moments, ends=moments, minutes_given=st.none() | numbers),
    st.builds(SettingChanged, control=keys, found=st.lists(settings, max_size=3).map(tuple), left=st.lists(settings, max_size=3).map(tuple)),
    st.builds(CheckWaived, bank=keys, check=keys, reason=st.text("abc ", min_size=3, max_size=9)),
    st.builds(PlanAdopted, bank=keys, values=st.lists(house, max_size=2).map(tuple), from_date=st.dates(datetime(2025, 1, 1).date(), datetime(2026, 5, 31).date()).map(str)),  # noqa: DTZ001
    st.builds(Proved, test=keys, at=keys, measured=st.dictionaries(keys, numbers | words, max_size=3), verdict=st.sampled_from(["pass", "fail"])),
    st.builds(Watched, starts=moments, ends=moments, pocket_loads=st.lists(st.tuples(keys, counts), max_size=2).map(tuple)),
)  # fmt: skip


@st.composite
def histories(draw: st.DrawFn, most: int = 12, stores: Sequence[str] = ("elm",)) -> list[Entry]:
    """A store's life: its description first, then entries of many kinds, some of them corrections of earlier ones."""
    told: list[Entry] = [
        entry(key, StoreDated(store=a_store(key), from_date="2025-01-01"), number=n) for n, key in enumerate(stores)
    ]
    for number in range(len(told), len(told) + draw(st.integers(1, most))):
        key = draw(st.sampled_from(list(stores)))
        body: AnyBody = draw(plain_bodies)
        right = [e for e in told if type(e.body) is type(body) and e.store == key]
        if right and draw(st.booleans()):
            taken_back = draw(st.booleans())
            body = Corrected(
                corrects=draw(st.sampled_from(right)).id, reason="wrong", instead=None if taken_back else body,
                happened_instead=draw(st.none() | moments),
            )  # fmt: skip
        told.append(entry(key, body, draw(moments), by=draw(keys), number=number))
    return told


# Places


class Server:
    """A PostgreSQL server of its own, on a short socket path, as the system's ``postgres`` user."""

    def __init__(self, *, roles: bool = True) -> None:
        self.bin = postgres_bin()
        # A socket's path may have 107 bytes at most; in memory, if there is room, since every database is 300 files.
        memory = Path("/dev/shm")
        is_roomy = memory.is_dir() and shutil.disk_usage(memory).free > 4e9
        self.root = Path(tempfile.mkdtemp(prefix="dbk", dir=memory if is_roomy else "/tmp"))
        shutil.chown(self.root, "postgres", "postgres")
        self._run("initdb", "-D", str(self.root / "data"), "-A", "trust", "-U", "postgres", "--no-sync", "-E", "UTF8")
        self.start()
        if roles:
            self.sql(
                "postgres", "CREATE ROLE keeper LOGIN CREATEDB CREATEROLE; CREATE ROLE clerk LOGIN", user="postgres"
            )
        self._count = 0

    def _run(self, tool: str, *args: str) -> None:
        command = ["runuser", "-u", "postgres", "--", str(self.bin / tool), *args]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=self.root)

    def start(self) -> None:
        options = f"-k {self.root} -c listen_addresses='' -c fsync=off -c max_connections=60"
        self._run("pg_ctl", "-D", str(self.root / "data"), "-o", options, "-l", str(self.root / "log"), "-w", "start")

    def stop(self, mode: str = "immediate") -> None:
        self._run("pg_ctl", "-D", str(self.root / "data"), "-m", mode, "-w", "stop")

    def url(self, name: str, user: str = "keeper") -> str:
        return f"postgresql://{user}@/{name}?host={self.root}"

    def sql(self, name: str, statement: str, user: str = "keeper") -> None:
        import psycopg

        with psycopg.connect(self.url(name, user), autocommit=True) as connection:
            for each in statement.split("; "):
                connection.execute(each.encode())

    def new_database(self, template: str = "") -> str:
        self._count += 1
        name = f"book{self._count}"
        self.sql("postgres", f"CREATE DATABASE {name}" + (f" TEMPLATE {template}" if template else ""))
        return name

    def close(self) -> None:
        with contextlib.suppress(subprocess.CalledProcessError):
            self.stop()
        shutil.rmtree(self.root, ignore_errors=True)


def postgres_bin() -> Path:
    """The newest server's programs; raises LookupError with the reason where there is none to be run."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not found:
        raise LookupError("no PostgreSQL server is installed (apt install postgresql)")
    if os.geteuid() != 0 or shutil.which("runuser") is None:
        raise LookupError("a PostgreSQL server is started through runuser, which needs root")
    return found[-1].parent


class Places:
    """Where books of one kind of database can be made, quickly: each is a copy of an empty one."""

    def __init__(self, vendor: str, root: Path, server: Server | None) -> None:
        self.vendor, self.root, self.server = vendor, root, server
        self._count = 0
        self._spare: list[str] = []
        self.empty = self._place("")
        open_book(self.empty, create=True, clock=now).close()

    def _place(self, template: str) -> str:
        self._count += 1
        if self.server is not None:
            return self.server.url(self.server.new_database(template))
        return str(self.root / f"{self._count}.book")

    def new(self) -> str:
        """An empty book's place."""
        if self.server is not None:
            return self._place(self.empty.split("@/")[1].split("?")[0])
        place = self._place("")
        shutil.copy(self.empty, place)
        return place

    @contextlib.contextmanager
    def lent(self) -> Iterator[str]:
        """An empty book's place for a while; a database is emptied and used again, which is quicker than a new one."""
        if self.server is None:
            yield self.new()
            return
        place = self._spare.pop() if self._spare else self.new()
        yield place
        tables = ("book_entry", "book_head", "book_kept")
        off, on = ("; ".join(f"ALTER TABLE {t} {word} TRIGGER USER" for t in tables) for word in ("DISABLE", "ENABLE"))
        self.tamper(place, f"{off}; TRUNCATE {', '.join(tables)}; {on}")
        self._spare.append(place)

    def tamper(self, place: str, statement: str) -> None:
        """What an insider with all rights on the database can do: switch the guards off, then run a statement."""
        if self.server is not None:
            name = place.split("@/")[1].split("?")[0]
            guards = "; ".join(
                f"ALTER TABLE {t} DISABLE TRIGGER USER" for t in ("book_entry", "book_head", "book_kept")
            )
            self.server.sql(name, f"{guards}; {statement}", user="postgres")
            return
        import pysqlite3

        with contextlib.closing(pysqlite3.connect(place)) as connection:
            for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                connection.execute(f"DROP TRIGGER {trigger}")
            for each in statement.split("; "):
                connection.execute(each)
            connection.commit()


def opened(place: str) -> Book:
    return open_book(place, clock=now)


@contextlib.contextmanager
def begun(places: Places, keys: Sequence[str] = ("elm",)) -> Iterator[Book]:
    """A book with its stores described."""
    with places.lent() as place, opened(place) as book:
        book.append([first(key) for key in keys])
        yield book
