"""Copies of a whole book: backup and restore with a checksum of the file, salvage of a damaged one, move to another place."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from drybank.book import chain, database
from drybank.book.placing import Arrival, Placing
from drybank.records.errors import BookError, ChainBroken, InputError, Missing

if TYPE_CHECKING:
    from drybank.book.ledger import Book, Clock

AT_ONCE = 2000
"""Entries moved in one transaction; a move broken off goes on where it stopped."""


class Backup(msgspec.Struct, frozen=True, kw_only=True):
    """A closed copy of the book and what it held."""

    path: str
    sha256: str
    size: int
    tips: dict[str, str]


class Moved(msgspec.Struct, frozen=True, kw_only=True):
    """What stands at the new place; every hash is what it was."""

    to: str
    entries: int
    kept: int
    tips: dict[str, str]


class Salvaged(msgspec.Struct, frozen=True, kw_only=True):
    """What could be saved: entries whose text agrees with their hash. ``lost`` says of the others what is known."""

    to: str
    saved: int
    lost: tuple[str, ...]
    kept: int


def checksum_path(path: Path) -> Path:
    """Where a backup's checksum lies, in the form that ``sha256sum -c`` reads."""
    return path.with_name(path.name + ".sha256")


def file_sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def backup(book: Book, path: Path) -> Backup:
    """Copy the book while it is in use, check the copy, then put it in place with its checksum beside it.

    From SQLite by its online backup; from PostgreSQL by moving every entry into a SQLite file. Either way the copy is one
    file that any Drybank opens.
    """
    if path.exists():
        raise InputError(
            f"{path} is there already.", mend="Give the backup a name of its own, such as one with the date."
        )
    if not path.absolute().parent.is_dir():
        raise InputError(f"the folder of {path} does not exist.", mend="Make the folder first.")
    with _beside(path) as part:
        tips = _copy(book, part)
        sha256 = file_sha256(part)
        _write_through(checksum_path(path), f"{sha256}  {path.name}\n")
        _sync(part)
        part.replace(path)
        _sync(path.absolute().parent)
    return Backup(path=str(path), sha256=sha256, size=path.stat().st_size, tips=tips)


def _copy(book: Book, part: Path) -> dict[str, str]:
    from drybank.book.ledger import open_book

    if book.rows.vendor == "sqlite":
        book.rows.copy_to(str(part))
    else:
        _copy_entries(book, part)
    with open_book(part, clock=book.clock) as copy:
        report = copy.verify()
        tips = {checked.store: checked.tip for checked in report.stores}
        if not report.is_whole:
            raise ChainBroken(f"The book is damaged, and so would be its backup: {report.sentence()}")
        copy.rows.close_file()
    return tips


def restore(backup_path: str | Path, to: str | Path, *, clock: Clock | None = None) -> Backup:
    """Check a backup against its checksum, copy it to a new place, and verify every entry there."""
    from drybank.book.ledger import open_book, utc_now

    source, path = Path(backup_path), Path(to)
    if not source.is_file():
        raise Missing(f"There is no backup at {source}.")
    if path.exists():
        raise InputError(f"{path} is there already.", mend="Restore to a new name, look at it, then put it in place.")
    stated = _stated_sha256(source)
    with _beside(path) as part:
        digest = hashlib.sha256()
        with source.open("rb") as old, part.open("wb") as new:
            for block in iter(lambda: old.read(1 << 20), b""):
                digest.update(block)
                new.write(block)
        if digest.hexdigest() != stated:
            raise ChainBroken(
                f"The backup {source} is not what was written: its checksum differs. Use another backup; if there is none, "
                "save what is whole with `drybank salvage`."
            )
        with open_book(part, clock=clock or utc_now) as copy:
            report = copy.verify()
            copy.rows.close_file()
        if not report.is_whole:
            raise ChainBroken(report.sentence())
        _sync(part)
        part.replace(path)
    tips = {checked.store: checked.tip for checked in report.stores}
    return Backup(path=str(path), sha256=stated, size=path.stat().st_size, tips=tips)


def _stated_sha256(source: Path) -> str:
    beside = checksum_path(source)
    if not beside.is_file():
        raise Missing(
            f"The checksum {beside} is missing, so nobody can tell whether the backup is whole. Put it beside the backup."
        )
    stated = beside.read_text(encoding="utf-8", errors="replace").split()
    if not stated or len(stated[0]) != 64:
        raise InputError(f"{beside} holds no SHA-256.", mend="Put the checksum back that was written with the backup.")
    return stated[0]


def move(book: Book, to: str | Path) -> Moved:
    """Copy every entry to a book at another place, hashes unchanged; broken off, it goes on where it stopped.

    The new place must be empty or hold the beginning of these very chains. The old book is left as it is.
    """
    report = book.verify()
    if not report.is_whole:
        raise ChainBroken(f"The book is damaged and stays where it is. {report.sentence()}")
    moved = _copy_entries(book, to)
    if {store: tip for store, (_, tip) in book.rows.heads().items()} != moved.tips:
        raise BookError(
            "The book was written to while it moved. Stop the other programs and move it again; it goes on."
        )
    return moved


def _copy_entries(book: Book, to: str | Path) -> Moved:
    """The state of one moment, at another place, verified there."""
    from drybank.book.ledger import open_book

    heads = book.rows.heads()
    with open_book(to, create=True, clock=book.clock) as new:
        for store, (last, _) in heads.items():
            _check_begins_here(book, new, store)
            _move_store(book, new, store, last)
        kept = book.rows.all_kept()
        new.rows.write([], list, kept)
        after = new.verify()
        if not after.is_whole:
            raise ChainBroken(after.sentence())
        tips = {store: tip for store, (_, tip) in new.rows.heads().items()}
        if new.rows.vendor == "sqlite":
            new.rows.close_file()
        return Moved(to=new.name, entries=sum(seq for seq, _ in heads.values()), kept=len(kept), tips=tips)


def _check_begins_here(book: Book, new: Book, store: str) -> None:
    seq, tip = new.rows.heads([store]).get(store, (0, ""))
    if seq and [line.hash for line in book.rows.page(store, seq - 1, 1)] != [tip]:
        raise InputError(
            f"store “{store}” is at {new.name} already, with other entries.",
            mend="Move into an empty book, or import with append.",
        )


def _move_store(book: Book, new: Book, store: str, last: int) -> None:
    seq = new.rows.heads([store]).get(store, (0, ""))[0]
    while seq < last and (lines := book.rows.page(store, seq, min(AT_ONCE, last - seq))):
        arrivals = [
            Arrival(written=chain.written_of(line), booked=line.booked, old_hash=line.old_hash, seq=line.seq)
            for line in lines
        ]

        def compose(arrivals: list[Arrival] = arrivals) -> list[chain.Line]:
            placing = Placing(new.rows, arrivals, doubts=new.doubts)
            for arrival in arrivals:
                placing.place(arrival)
            return placing.lines

        new.rows.write([store], compose)
        seq = lines[-1].seq


def salvage(damaged: str | Path, to: str | Path, *, clock: Clock | None = None) -> Salvaged:
    """Save every intact entry of a damaged book into a new one; where the chain still holds, its hashes are kept.

    Entries behind a gap are booked anew, each with the hash it had. The damaged file is only read.
    """
    from drybank.book.ledger import open_book, utc_now
    from drybank.book.wreck import intact_lines

    clock = clock or utc_now
    if database.is_postgres(damaged):
        raise InputError("salvage reads a book that is a file.", mend="Restore the database from its own backup.")
    if Path(to).exists():
        raise InputError(f"{to} is there already.", mend="Give the new book a name of its own.")
    found = intact_lines(Path(damaged))
    lost, saved = list(found.lost), 0
    with open_book(to, create=True, clock=clock) as new:
        for start in range(0, len(found.lines), AT_ONCE):
            batch = found.lines[start : start + AT_ONCE]
            why = _save(new, batch, chain.moment_text(clock()))
            saved, lost = saved + len(batch) - len(why), lost + why
        new.rows.write([], list, found.kept)
        new.rows.close_file()
    return Salvaged(to=str(to), saved=saved, lost=tuple(lost), kept=len(found.kept))


def _save(new: Book, lines: Sequence[chain.Line], now: str) -> list[str]:
    """Book salvaged lines, each at its old place where the chain still leads there; says which could not be booked."""
    written = [chain.written_of(line) for line in lines]
    refused: list[str] = []

    def compose() -> list[chain.Line]:
        refused.clear()
        behind = [Arrival(written=w, booked=now, old_hash=line.hash) for w, line in zip(written, lines, strict=True)]
        placing = Placing(new.rows, behind, doubts={}, is_salvage=True)
        for line, arrival in zip(lines, behind, strict=True):
            if placing.follows(line.store, line.seq, line.prev):
                arrival = Arrival(written=arrival.written, booked=line.booked, old_hash=line.old_hash, seq=line.seq)
            try:
                placing.place(arrival)
            except (InputError, BookError) as bad:
                refused.append(f"{line.store}, place {line.seq} (entry {line.id}): {bad.sentence()}")
        return placing.lines

    new.rows.write(sorted({line.store for line in lines}), compose)
    return refused


class _beside:  # noqa: N801
    """A name for an unfinished file in the same folder; what is left of it is removed."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> Path:
        handle, name = tempfile.mkstemp(prefix=f".{self._path.name}.", suffix=".part", dir=self._path.absolute().parent)
        os.close(handle)
        self._part = Path(name)
        return self._part

    def __exit__(self, *fault: Any) -> None:
        for left in self._left():
            left.unlink(missing_ok=True)

    def _left(self) -> Iterator[Path]:
        yield from (self._part.with_name(self._part.name + end) for end in ("", "-wal", "-shm", "-journal"))


def _write_through(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    _sync(path)


def _sync(path: Path) -> None:
    """Make the kernel write a file or folder down (folders cannot be opened everywhere; then it is left to the system)."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except (PermissionError, IsADirectoryError):
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
