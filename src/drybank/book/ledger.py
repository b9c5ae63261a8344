"""The book's port: append, query, verify. Rules, chain, story and rows are in their own modules; this one ties them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Any, Literal

import msgspec

from drybank.book import beside, chain, database, rules, story, verify
from drybank.book.chain import Line
from drybank.book.placing import Arrival, Placing
from drybank.book.story import SheetState, Told
from drybank.book.verify import ChainFault, Seal, StoreChecked, VerifyReport
from drybank.records.entry import AnyBody, Booked, Entry, Kept, Sealed
from drybank.records.errors import ChainBroken, InputError, Missing
from drybank.records.ids import uuid7
from drybank.records.sheet import ControlSheet, HouseSettings, Values
from drybank.records.store import Store

if TYPE_CHECKING:
    from drybank.book.backup import Backup
    from drybank.book.lines import Exported, Imported
    from drybank.book.rows import Rows

Clock = Callable[[], datetime]
Moment = datetime | date


def utc_now() -> datetime:
    return datetime.now(UTC)


def new_entry(store: str, happened: datetime, by: str, origin: str, body: AnyBody, *, clock: Clock = utc_now) -> Entry:
    """An entry with an id of its own, ready to append."""
    unix_ms = int(clock().timestamp() * 1000)
    return Entry(id=uuid7(unix_ms, os.urandom(10)), store=store, happened=happened, by=by, origin=origin, body=body)


def open_book(where: str | Path, *, create: bool = False, clock: Clock = utc_now, alias: str = "") -> Book:
    """Open the book at a path or a ``postgresql://`` address; with ``create``, make it if it is not there.

    ``alias`` names a database of a Django project that runs already. The end of every chain is checked on the way; a chain
    whose end does not hold can be read and verified, but nothing is added to it.
    """
    name = database.connect(where, create=create, alias=alias)
    from drybank.book.rows import Rows

    try:
        return Book(where, Rows(name, database.name_of(where)), clock, is_ours=not alias)
    except BaseException:
        if not alias:
            database.disconnect(name)
        raise


class Book:
    """An open book. Every method is safe to call from any thread; each thread has a connection of its own.

    ``doubts`` says of each store whose chain was seen not to hold why not: on opening, or while it was read. Every face
    shows it, and nothing is added to such a chain. ``guards_missed`` says so where the database's guards were missing.
    """

    def __init__(self, where: str | Path, rows: Rows, clock: Clock, *, is_ours: bool = True) -> None:
        self.where, self.rows, self.clock, self._is_ours = where, rows, clock, is_ours
        self.guards_missed = self.rows.raise_guards()
        self.doubts: dict[str, str] = self._check_ends()

    @property
    def name(self) -> str:
        """Where the book lies, without any password."""
        return self.rows.name

    def __enter__(self) -> Book:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        if self._is_ours:
            database.disconnect(self.rows.alias)

    def grant(self, role: str) -> None:
        """PostgreSQL: give an existing role the rights of an application: add and read, never change or remove."""
        self.rows.grant(role)

    # Writing

    def append(self, entries: Sequence[Entry], *, expected_tip: dict[str, str] | None = None) -> list[Booked]:
        """Book all entries or none; what is in the book already comes back as it was booked."""
        now = self.clock()
        booked = chain.moment_text(now)
        written = [chain.write(entry) for entry in entries]
        for each in written:
            rules.check_alone(each, now)
        return self.book_arrivals([Arrival(written=w, booked=booked) for w in written], expected_tip or {})

    def book_arrivals(
        self, arrivals: Sequence[Arrival], expected_tip: dict[str, str], kept: Sequence[Mapping[str, Any]] = ()
    ) -> list[Booked]:
        """One transaction; see `append`. ``kept`` goes beside the chain in the same one."""
        if not arrivals:
            return []
        stores = sorted({a.written.entry.store for a in arrivals})
        done: list[Line] = []

        def compose() -> list[Line]:
            placing = Placing(self.rows, arrivals, doubts=self.doubts, expected_tip=expected_tip)
            done[:] = [placing.place(arrival) for arrival in arrivals]
            return placing.lines

        self.rows.write(stores, compose, kept)
        return [_booked(line, arrival.written.entry) for line, arrival in zip(done, arrivals, strict=True)]

    def seal(self, store: str, *, by: str, origin: str, where: str = "") -> Seal:
        """Write the chain's end down as an entry and hand it out, to be kept elsewhere."""
        seq, tip = self.head(store)
        now = self.clock()
        body = Sealed(seq=seq, tip=tip, kept_at=where)
        # Others may add to the store in between; the seal holds for the place it names all the same.
        self.append([new_entry(store, now, by, origin, body, clock=self.clock)])
        return Seal(store=store, seq=seq, tip=tip, when=f"{now.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}")

    # Reading

    def stores(self) -> tuple[str, ...]:
        return tuple(self.rows.heads())

    def tip(self, store: str) -> str:
        """The hash of the store's last entry; "" where its chain has not begun."""
        return self.rows.heads([store]).get(store, (0, ""))[1]

    def head(self, store: str) -> tuple[int, str]:
        """Place and hash of the store's last entry; raises `Missing` where the chain has not begun."""
        head = self.rows.heads([store]).get(store)
        if head is None:
            known = ", ".join(self.stores()) or "none"
            raise Missing(f"The book knows no store “{store}”. Stores in it: {known}.")
        return head

    def lines(self, store: str, after_seq: int = 0) -> Iterator[Line]:
        """The rows of a chain as stored, unread; what another writer adds meanwhile may or may not come along."""
        while page := self.rows.page(store, after_seq):
            yield from page
            after_seq = page[-1].seq

    def chain(self, store: str, after_seq: int = 0) -> Iterator[Booked]:
        """A store's entries as written, in order of booking."""
        self.head(store)
        return self._read(self.lines(store, after_seq))

    def _read(self, lines: Iterable[Line]) -> Iterator[Booked]:
        """Entries of lines. One that was changed raises a doubt; one that cannot be read is left out, with a doubt."""
        for line in lines:
            if wrong := chain.doubt(line):
                self.doubts[line.store] = wrong
            try:
                yield chain.booked_of(line)
            except InputError as bad:
                self.doubts[line.store] = wrong or chain.unreadable(line, bad)

    def find(self, entry_id: str) -> Booked:
        line = self.rows.by_ids([entry_id]).get(entry_id)
        if line is None:
            raise Missing(f"The book holds no entry {entry_id}. Check the id.")
        return _booked(line, chain.written_of(line).entry)

    def story(
        self,
        store: str,
        *,
        kinds: Sequence[str] = (),
        since: datetime | None = None,
        until: datetime | None = None,
        with_taken_back: bool = False,
    ) -> list[Told]:
        """A store's entries as they stand today; see `drybank.book.story.tell`."""
        self.head(store)
        bounds = [chain.moment_text(m) if m is not None else "" for m in (since, until)]
        lines = self.rows.telling(store, tuple(kinds), *bounds)
        return story.tell(self._read(lines), kinds=kinds, since=since, until=until, with_taken_back=with_taken_back)

    # As of a moment

    def store_at(self, store: str, when: Moment) -> Store:
        return story.store_at(self.story(store, kinds=("store version",)), when)

    def _moment(self, store: str, when: Moment | None) -> tuple[datetime, str]:
        asked = self.clock() if when is None else when
        try:
            zone = self.store_at(store, asked).time_zone
        except Missing:
            if not isinstance(asked, datetime):
                raise
            zone = self.store_at(store, self.clock()).time_zone
        return story.moment_of(asked, zone), zone

    def sheets_at(self, store: str, when: Moment) -> dict[str, ControlSheet]:
        return story.sheets_at(self.story(store, kinds=("sheet version",)), *self._moment(store, when))

    def house_at(self, store: str, bank: str, when: Moment) -> HouseSettings:
        return story.house_at(self.story(store, kinds=("adopted plan",)), bank, *self._moment(store, when))

    def settings_at(self, store: str, when: Moment) -> dict[str, Values]:
        """What each control held, as far as anybody wrote it down."""
        told = self.story(store, kinds=("setting change", "replacement"))
        return story.settings_at(told, self._moment(store, when)[0])

    def sheet_state(self, store: str, sheet: str, when: Moment | None = None) -> SheetState:
        told = self.story(store, kinds=("sheet version", "sheet read back"))
        return story.sheet_state(told, sheet, *self._moment(store, when))

    def waivers_at(self, store: str, when: Moment) -> dict[tuple[str, str], Told]:
        return story.waivers_at(self.story(store, kinds=("waiver",)), self._moment(store, when)[0])

    # Verifying

    def verify(self, store: str | None = None, seals: Sequence[Seal] = ()) -> VerifyReport:
        """Every entry of one store or of all, against the hashes, the columns, the heads and the seals given."""
        heads = self.rows.heads()
        if store is not None:
            self.head(store)
            chosen = [store]
        else:
            chosen = sorted({*heads, *self.rows.stray_stores(), *(s.store for s in seals)})
        held = [s for s in seals if s.store in chosen]
        parts = (self._check_store(each, held) for each in chosen)
        report = verify.merge(parts, self.rows.file_faults() if store is None else (), len(held))
        if self.guards_missed:
            report = msgspec.structs.replace(report, notices=(self.guards_missed, *report.notices))
        return report

    def _check_store(self, store: str, seals: Sequence[Seal]) -> tuple[StoreChecked, list[ChainFault], list[str]]:
        head: list[tuple[int, str] | None] = []

        def lines() -> Iterator[Line]:
            """To the end of the chain, and on where another program added to it before its head was read."""
            seq, is_done = 0, False
            while not is_done:
                for line in self.lines(store, seq):
                    seq = line.seq
                    yield line
                head[:] = [self.rows.heads([store]).get(store)]
                is_done = head[0] is None or head[0][0] <= seq or not self.rows.page(store, seq, 1)

        return verify.check_chain(store, lines(), head=lambda: head[0], seals=seals)

    def _check_ends(self) -> dict[str, str]:
        """The cheap check on opening: the last entry of every chain against its head and its own hash."""
        doubts = {}
        for store, line in self.rows.ends():
            if line is None or line.hash != chain.entry_hash(
                line.prev, line.text, line.seq, line.booked, line.old_hash
            ):
                doubts[store] = (
                    f"The end of store “{store}” does not hold, so nothing is added to it. See `drybank verify`, then "
                    "restore the last backup or save what is whole with `drybank salvage`."
                )
        return doubts

    # Files in and out

    def backup(self, path: str | Path) -> Backup:
        from drybank.book.backup import backup

        return backup(self, Path(path))

    def export(self, out: IO[bytes], stores: Sequence[str] | None = None, *, with_kept: bool = False) -> Exported:
        from drybank.book.lines import export

        return export(self, out, stores, with_kept=with_kept)

    def import_lines(self, lines: Iterable[bytes], *, if_moved: Literal["refuse", "append"] = "refuse") -> Imported:
        from drybank.book.lines import import_lines

        return import_lines(self, lines, if_moved=if_moved)

    # Beside the chain

    def keep(self, what: beside.What, content: str | bytes) -> Kept:
        """Put a name, phone, address, photo or words beside the chain; the answer goes into an entry."""
        raw = beside.content_bytes(what, content)
        salt = os.urandom(beside.SALT_BYTES)
        sha256 = beside.salted_hash(salt, raw)
        thing = {"sha256": sha256, "what": what, "is_text": isinstance(content, str), "salt": salt, "content": raw}
        self.rows.write([], list, [thing])
        return Kept(what=what, sha256=sha256)

    def keep_under(self, sha256: str, what: beside.What, salt: bytes, content: bytes) -> None:
        """Put something beside the chain under the hash that an entry names already; once is enough, erased stays erased."""
        self.rows.write([], list, [beside.thing(sha256, what, salt, content)])

    def kept(self, sha256: str) -> bytes | None:
        """What was kept, None once erased. Raises `ChainBroken` where it is not what the hash stands for."""
        salt, content, erased = self.rows.kept(sha256)
        if erased:
            return None
        if not beside.is_true_to(sha256, salt, content):
            raise ChainBroken(f"What is kept under {sha256} is not what was put there. Do not rely on it.")
        return content

    def erase(self, sha256: str) -> None:
        """Erase for good. Backups and exports made earlier still hold it: see the guide on backups."""
        self.rows.kept(sha256)
        self.rows.erase(sha256, chain.moment_text(self.clock()))


def _booked(line: Line, entry: Entry) -> Booked:
    return Booked(
        entry=entry,
        seq=line.seq,
        booked=chain.moment(line.booked),
        prev=line.prev,
        hash=line.hash,
        old_hash=line.old_hash,
    )
