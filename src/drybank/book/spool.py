"""What an import has read and checked, on disk until it is stored: a file of any size takes the same little memory.

Lines stand in a temporary file in the order they came, ids in a temporary index beside it. Both are gone when the import is.
"""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Final

import msgspec

from drybank.book.chain import Line

AT_ONCE: Final = 500
_encode = msgspec.msgpack.Encoder().encode


class Spooled(msgspec.Struct, frozen=True, array_like=True):
    """A chained line of the file with its number, or something kept beside the chain."""

    number: int
    line: Line | None = None
    kept: dict[str, Any] | None = None


_decode = msgspec.msgpack.Decoder(Spooled).decode
_LENGTH: Final = 8


class Spool:
    """Lines and kept things on their way; count of each; the number under which an id came first."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="drybank-import-")
        self._path = Path(self._folder.name) / "lines"
        self._out = self._path.open("wb")
        self._ids = sqlite3.connect(Path(self._folder.name) / "ids", isolation_level=None)
        for pragma in ("journal_mode=OFF", "synchronous=OFF"):
            self._ids.execute(f"PRAGMA {pragma}")
        self._ids.execute("CREATE TABLE seen (id TEXT PRIMARY KEY, number INTEGER) WITHOUT ROWID")
        self._ids.execute("BEGIN")
        self.lines = self.things = 0

    def __enter__(self) -> Spool:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._out.close()
        self._ids.close()
        self._folder.cleanup()

    def first_seen(self, entry_id: str, number: int) -> int:
        """The number of the line in which an id came first: this one's, where it is new."""
        if self._ids.execute("INSERT OR IGNORE INTO seen VALUES (?, ?)", (entry_id, number)).rowcount:
            return number
        return int(self._ids.execute("SELECT number FROM seen WHERE id = ?", (entry_id,)).fetchone()[0])

    def put(self, number: int, line: Line) -> None:
        self.lines += 1
        self._write(Spooled(number, line))

    def put_kept(self, kept: dict[str, Any]) -> None:
        self.things += 1
        self._write(Spooled(0, None, kept))

    def _write(self, spooled: Spooled) -> None:
        raw = _encode(spooled)
        self._out.write(len(raw).to_bytes(_LENGTH, "big"))
        self._out.write(raw)

    def _each(self) -> Iterator[Spooled]:
        self._out.flush()
        with self._path.open("rb") as file:
            while size := file.read(_LENGTH):
                yield _decode(file.read(int.from_bytes(size, "big")))

    def all_lines(self) -> Iterator[tuple[int, Line]]:
        """Every line with its number, in the order they came."""
        return ((s.number, s.line) for s in self._each() if s.line is not None)

    def in_parts(self) -> Iterator[list[tuple[int, Line]]]:
        """The same, some at a time."""
        part: list[tuple[int, Line]] = []
        for each in self.all_lines():
            part.append(each)
            if len(part) >= AT_ONCE:
                yield part
                part = []
        if part:
            yield part

    def all_kept(self) -> Iterator[dict[str, Any]]:
        """Every kept thing."""
        return (s.kept for s in self._each() if s.kept is not None)
