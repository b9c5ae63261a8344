"""The doctor: is this installation fit to keep a book? Each point with what was seen and how to mend it."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Literal

import msgspec

from drybank.book import SAFE_WAL, checksum_path, file_sha256, is_postgres, name_of, open_book, prepare_sqlite
from drybank.desk import state
from drybank.records.errors import DrybankError

NEEDED = ("msgspec", "django", "numpy", "numba", "scipy", "typer", "rich", "typst", "segno", "babel", "tzdata")
ROOM_BYTES = 500_000_000
"""Space to keep free on the book's disk at least (chosen: some years of one store's book, and its write-ahead log)."""
OLD_BACKUP = timedelta(days=7)
"""A backup older than a week misses a collection (chosen: stores are collected weekly)."""
CERTIFICATE_DAYS = 21
_RENEW = "Renew it; the place's own is made anew when drybank open --lan starts."

Verdict = Literal["well", "look", "ill"]


class Point(msgspec.Struct, frozen=True, kw_only=True):
    """One point examined. "look": worth a look, nothing is lost; "ill": to be mended before anything else is written."""

    name: str
    verdict: Verdict
    says: str
    mend: str = ""


class Examined(msgspec.Struct, frozen=True, kw_only=True):
    points: tuple[Point, ...]

    @property
    def is_well(self) -> bool:
        return all(p.verdict == "well" for p in self.points)


def examine(where: str, now: datetime, *, backups: str = "", certificate: str = "") -> Examined:
    """Installation, database, disk, clock, backups' age and checksum, certificate."""
    points = [_installation(), *_book(where, now), _disk(where), _backups(backups, now)]
    own = (state.folder() / state.LEAF, state.folder() / state.CA)
    points += [
        _certificate(p, now) for p in ((Path(certificate),) if certificate else own) if certificate or p.exists()
    ]
    return Examined(points=tuple(points))


def _installation() -> Point:
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    try:
        said = f"Drybank {version('drybank')} on Python {sys.version.split()[0]}"
    except PackageNotFoundError:
        return Point(
            name="installation", verdict="ill", says="Drybank is not installed as a package.", mend="Run make demo."
        )
    if missing:
        return Point(
            name="installation",
            verdict="ill",
            says=f"{said}; missing: {', '.join(missing)}.",
            mend="Install Drybank again.",
        )
    return Point(name="installation", verdict="well", says=f"{said}, every package it needs is there.")


def _book(where: str, now: datetime) -> Iterator[Point]:
    if not is_postgres(where):
        yield _sqlite()
    try:
        with open_book(where) as book:
            heads = book.rows.heads()
            entries = sum(seq for seq, _ in heads.values())
            if book.doubts:
                yield Point(name="book", verdict="ill", says=" ".join(book.doubts.values()), mend="See drybank verify.")
            else:
                says = f"{book.name} opens: {len(heads)} stores, {entries} entries, and the end of every chain holds."
                yield Point(name="book", verdict="well", says=says)
            lines = [line for _, line in book.rows.ends() if line is not None]
            yield _clock(now, max((line.booked for line in lines), default=""))
    except DrybankError as bad:
        yield Point(name="book", verdict="ill", says=bad.sentence())


def _sqlite() -> Point:
    found = ".".join(map(str, prepare_sqlite()))
    if prepare_sqlite() < SAFE_WAL:
        return Point(
            name="database", verdict="look", says=f"SQLite {found} can corrupt a book in write-ahead mode; the slower journal is used.",
            mend="Install pysqlite3 0.6.1 or later.",
        )  # fmt: skip
    return Point(name="database", verdict="well", says=f"SQLite {found}.")


def _clock(now: datetime, last: str) -> Point:
    if last and datetime.fromisoformat(last) > now + timedelta(minutes=1):
        return Point(
            name="clock", verdict="ill",
            says=f"This computer says {now:%Y-%m-%d %H:%M} UTC, but the last entry was booked at {last[:16]}.",
            mend="Set the clock; let the system keep it by network time.",
        )  # fmt: skip
    return Point(name="clock", verdict="well", says=f"{now:%Y-%m-%d %H:%M} UTC, after the last entry.")


def _disk(where: str) -> Point:
    if is_postgres(where):
        return Point(name="disk", verdict="well", says=f"{name_of(where)} is on a server: look at its disk there.")
    path = Path(where)
    folder = path.absolute().parent
    if not folder.is_dir():
        return Point(name="disk", verdict="ill", says=f"{folder} does not exist.", mend="Check the book's path.")
    free = shutil.disk_usage(folder).free
    need = max(ROOM_BYTES, 3 * path.stat().st_size if path.is_file() else 0)
    says = f"{free / 1e9:.1f} GB free where the book lies"
    if free < need:
        return Point(name="disk", verdict="look", says=f"{says}; {need / 1e9:.1f} GB would be safe.", mend="Make room.")
    return Point(name="disk", verdict="well", says=f"{says}.")


def _backups(folder: str, now: datetime) -> Point:
    if not folder:
        return Point(
            name="backups",
            verdict="look",
            says="No folder of backups was named.",
            mend="Name it with --backups FOLDER.",
        )
    sums = sorted(Path(folder).glob("*.sha256"), key=lambda p: p.stat().st_mtime) if Path(folder).is_dir() else []
    if not sums:
        return Point(
            name="backups", verdict="ill", says=f"No backup lies in {folder}.", mend=f"Run drybank backup {folder}."
        )
    newest = sums[-1].with_suffix("")
    made = datetime.fromtimestamp(sums[-1].stat().st_mtime, UTC)
    age = f"The newest backup, {newest.name}, is {(now - made).days} days old"
    if not newest.is_file() or sums[-1].read_text(errors="replace").split()[:1] != [file_sha256(newest)]:
        return Point(
            name="backups", verdict="ill", says=f"{newest.name} does not agree with its checksum {checksum_path(newest).name}.",
            mend=f"Run drybank backup {folder}, and try another backup with drybank restore.",
        )  # fmt: skip
    if now - made > OLD_BACKUP:
        return Point(name="backups", verdict="look", says=f"{age}.", mend=f"Run drybank backup {folder}.")
    return Point(name="backups", verdict="well", says=f"{age} and agrees with its checksum.")


def _certificate(path: Path, now: datetime) -> Point:
    """The end of a certificate's validity, read by the standard library's own decoder."""
    import ssl

    try:
        said = ssl._ssl._test_decode_cert(str(path))  # type: ignore[attr-defined]
        ends = datetime.fromtimestamp(ssl.cert_time_to_seconds(said["notAfter"]), UTC)
    except (OSError, ValueError, KeyError) as bad:
        return Point(name="certificate", verdict="ill", says=f"{path} cannot be read as a certificate: {bad}.")
    days = (ends - now).days
    if days < 0:
        return Point(name="certificate", verdict="ill", says=f"{path.name} ended on {ends:%Y-%m-%d}.", mend=_RENEW)
    verdict: Verdict = "look" if days < CERTIFICATE_DAYS else "well"
    return Point(
        name="certificate", verdict=verdict, says=f"{path.name} ends on {ends:%Y-%m-%d}, in {days} days.",
        mend=_RENEW if verdict == "look" else "",
    )  # fmt: skip
