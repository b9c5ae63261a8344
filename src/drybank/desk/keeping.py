"""Keeping the book: verify, seal, back up, restore, export, import, move, salvage."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING

import msgspec

from drybank.book import WHAT_IT_PROVES, Backup, Exported, Imported, Moved, Salvaged, Seal, VerifyReport
from drybank.book import move as move_book
from drybank.book import restore as restore_book
from drybank.book import salvage as salvage_book
from drybank.desk.stamp import Pen
from drybank.records.errors import InputError, InputErrors, Missing

if TYPE_CHECKING:
    from drybank.book import Book


BEGINS = "drybank seal"
LARGEST_SEAL_FILE = 1_000_000


class Verified(msgspec.Struct, frozen=True, kw_only=True):
    """What `drybank verify` found: ``says`` in words, every fault with its place, and what a true chain proves."""

    is_whole: bool
    says: str
    faults: tuple[str, ...]
    notices: tuple[str, ...]
    proves: str
    report: VerifyReport


class SealedStore(msgspec.Struct, frozen=True, kw_only=True):
    """A seal as it is to be kept: one line, on paper or in a letter, out of reach of whoever can write the book."""

    seal: Seal
    line: str


class Granted(msgspec.Struct, frozen=True, kw_only=True):
    """A role that may now read the book and add to it."""

    role: str
    book: str


def verify_book(book: Book, store: str = "", seals: Sequence[Seal] = ()) -> Verified:
    """Every entry against its hash, the chain against its end, all of it against the seals kept elsewhere."""
    report = book.verify(store or None, seals)
    return Verified(
        is_whole=report.is_whole, says=_summary(report), faults=tuple(f.sentence() for f in report.faults),
        notices=report.notices, proves=WHAT_IT_PROVES, report=report,
    )  # fmt: skip


def _summary(report: VerifyReport) -> str:
    entries = sum(s.entries for s in report.stores)
    checked = f"{entries} entries of {len(report.stores)} store{'s' * (len(report.stores) != 1)}"
    if not report.is_whole:
        faults = len(report.faults)
        return f"The book does NOT hold: {faults} fault{'s' * (faults != 1)} in {checked}."
    seals = report.seals_checked
    if not seals:
        return (
            f"The chain holds: {checked}. No seal was given, so a tail cut off together with its end would not be seen."
        )
    return f"The chain holds: {checked}, and agrees with {seals} seal{'s' * (seals != 1)} kept elsewhere."


def read_seals(texts: Sequence[str]) -> list[Seal]:
    """Seals from lines; a text that names a file is read, and whatever stands around its seals is passed over.

    Every mistake is told at once.
    """
    seals, mistakes = [], []
    for text in texts:
        for where, line in _seal_lines(text):
            try:
                seals.append(Seal.read(line))
            except InputError as bad:
                mistakes.append(InputError(bad.what, where=where, mend=bad.mend))
    if mistakes:
        raise InputErrors(mistakes)
    return seals


def _seal_lines(text: str) -> list[tuple[str, str]]:
    """Each line that begins as a seal does, with where it stands."""
    if text.lstrip().startswith(BEGINS):
        return [("--seal", text)]
    path = Path(text)
    if not path.is_file():
        raise InputError(f"“{text}” is neither a seal nor a file of seals.", where="--seal", mend="Check the path.")
    with path.open(errors="replace") as file:
        lines = file.read(LARGEST_SEAL_FILE).splitlines()
    found = [(f"{text}, line {n}", line) for n, line in enumerate(lines, 1) if line.lstrip().startswith(BEGINS)]
    if not found:
        raise InputError("it holds no seal.", where=text, mend="A seal begins with “drybank seal”.")
    return found


def seal(book: Book, store: str, pen: Pen, where: str = "") -> tuple[SealedStore, ...]:
    """Seal one store, or all of them, and give the lines to keep."""
    stores = [store] if store else list(book.stores())
    if not stores:
        raise Missing("The book holds no store yet, so there is nothing to seal.")
    made = [book.seal(each, by=pen.by, origin=pen.origin, where=where) for each in stores]
    return tuple(SealedStore(seal=each, line=each.line()) for each in made)


def back_up(book: Book, to: str, now: datetime) -> Backup:
    """A whole, checked copy. Into a folder it goes under the book's name and this moment."""
    path = Path(to)
    if path.is_dir():
        stem = Path(book.name).stem or "drybank"
        path = path / f"{stem}-{now:%Y-%m-%d-%H%M%S}.book"
    return book.backup(path)


def restore(backup: str, to: str) -> Backup:
    """A backup, checked against its checksum and verified, at a new place."""
    return restore_book(backup, to)


def export(book: Book, to: str, stores: Sequence[str] = (), *, with_kept: bool = False) -> Exported:
    """The book as JSON Lines, to a file that is there only when it is whole, or to ``-``."""
    if to == "-":
        import sys

        return book.export(sys.stdout.buffer, list(stores) or None, with_kept=with_kept)
    path = Path(to)
    if path.exists():
        raise InputError("it is there already.", where=to, mend="Name another file.")
    if not path.absolute().parent.is_dir():
        raise InputError("its folder does not exist.", where=to, mend="Make the folder first.")
    handle, part = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.absolute().parent)
    try:
        with os.fdopen(handle, "wb") as out:
            done = book.export(out, list(stores) or None, with_kept=with_kept)
            out.flush()
            os.fsync(out.fileno())
        Path(part).replace(path)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise
    return done


def bring_in(book: Book, file: IO[bytes], *, behind: bool = False) -> Imported:
    """An export, all of it or nothing; ``behind`` puts what a moved-on chain does not know behind it."""
    return book.import_lines(file, if_moved="append" if behind else "refuse")


def move(book: Book, to: str) -> Moved:
    """Every entry at another place, hashes unchanged; the old book stays."""
    return move_book(book, to)


def salvage(damaged: str, to: str) -> Salvaged:
    """Every intact entry of a damaged file in a new book."""
    return salvage_book(damaged, to)


def grant(book: Book, role: str) -> Granted:
    """An application's rights for a role of the database: read and add, never change or remove."""
    book.grant(role)
    return Granted(role=role, book=book.name)
