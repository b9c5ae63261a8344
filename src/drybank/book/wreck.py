"""Reading a damaged SQLite book page by page, without asking SQLite, which stops at the first thing it cannot follow.

Every table leaf page is read by itself (file format: sqlite.org/fileformat2.html, M); a record counts only if its text agrees
with its own hash, so whatever else is broken cannot smuggle anything in. The damaged file is copied first and never written.
"""

from __future__ import annotations

import contextlib
import importlib
import re
import shutil
import struct
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, get_args

import msgspec

from drybank.book import beside, chain, database
from drybank.records.errors import ChainBroken, InputError, Missing

LEAF = 0x0D
HASH = re.compile(r"[0-9a-f]{64}")
ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
MOST_COLUMNS = 64


class Found(msgspec.Struct, frozen=True, kw_only=True):
    """What a wreck still holds, in chain order, and what is known of the rest."""

    lines: tuple[chain.Line, ...]
    kept: tuple[dict[str, Any], ...]
    lost: tuple[str, ...]


def intact_lines(damaged: Path) -> Found:
    """Every entry of a damaged book whose text agrees with its hash, and every kept thing that does."""
    if not damaged.is_file():
        raise Missing(f"There is no book at {damaged}.")
    lines: dict[str, chain.Line] = {}
    changed: dict[tuple[str, int], str] = {}
    kept: dict[str, dict[str, Any]] = {}
    for record in _records(_settled(damaged)):
        line = _as_line(record)
        if line is not None:
            if _is_intact(line):
                lines[line.id] = line
            else:
                changed[line.store, line.seq] = line.id
        elif (thing := _as_kept(record)) is not None:
            kept[thing["sha256"]] = thing
    ordered = tuple(sorted(lines.values(), key=lambda line: (line.store, line.seq)))
    return Found(lines=ordered, kept=tuple(kept.values()), lost=tuple(_lost(ordered, changed)))


def _settled(damaged: Path) -> bytes:
    """The file's bytes, with its write-ahead log folded in where SQLite still can."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "wreck"
        shutil.copyfile(damaged, copy)
        log = damaged.with_name(damaged.name + "-wal")
        if log.is_file():
            shutil.copyfile(log, copy.with_name("wreck-wal"))
            database.prepare_sqlite()
            driver = importlib.import_module("sqlite3")
            with contextlib.suppress(driver.Error), contextlib.closing(driver.connect(copy)) as connection:
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        return copy.read_bytes()


def _as_line(record: Sequence[Any]) -> chain.Line | None:
    """A record of the entry table, or None. Columns that repeat the text are read from the text where it can be read."""
    if len(record) < 12 or not _is_text(record[0], ID) or not _is_text(record[10], HASH):
        return None
    said = dict(
        zip(
            ("id", "store", "seq", "kind", "happened", "by", "corrects", "text", "booked", "prev", "hash", "old_hash"),
            record[:12],
            strict=True,
        )
    )
    said |= {name: str(value) for name, value in said.items() if name != "seq"}
    if not isinstance(said["seq"], int):
        return None
    with contextlib.suppress(InputError):
        said |= chain.columns(chain.read(said["text"]))
    return chain.Line(**said)


def _is_intact(line: chain.Line) -> bool:
    try:
        chain.written_of(line)
        chain.moment(line.booked)
    except (ChainBroken, ValueError):
        return False
    return True


def _as_kept(record: Sequence[Any]) -> dict[str, Any] | None:
    if len(record) < 6 or not _is_text(record[0], HASH) or record[1] not in get_args(beside.What):
        return None
    thing = dict(zip(("sha256", "what", "is_text", "salt", "content", "erased"), record[:6], strict=True))
    if not isinstance(thing["salt"], bytes) or not isinstance(thing["content"], bytes):
        return None
    if not thing["erased"] and not beside.is_true_to(thing["sha256"], thing["salt"], thing["content"]):
        return None
    return thing | {"is_text": bool(thing["is_text"]), "erased": str(thing["erased"])}


def _is_text(value: Any, form: re.Pattern[str]) -> bool:
    return isinstance(value, str) and form.fullmatch(value) is not None


def _lost(lines: Sequence[chain.Line], changed: dict[tuple[str, int], str]) -> Iterator[str]:
    """A sentence for each place that should hold an entry and does not."""
    there = {(line.store, line.seq) for line in lines}
    last: dict[str, int] = {}
    for store, seq in sorted({*there, *changed}):
        for missing in range(last.get(store, 0) + 1, seq):
            yield f"{store}, place {missing}: nothing is left of it."
        if (store, seq) not in there:
            yield f"{store}, place {seq} (entry {changed[store, seq]}): what it says does not agree with its hash."
        last[store] = seq


# The file format


def _records(raw: bytes) -> Iterator[list[Any]]:
    """Every record of every table leaf page that can be read."""
    size = _page_size(raw)
    for start in range(0, len(raw) - size + 1, size):
        page = raw[start : start + size]
        head = 100 if start == 0 else 0
        if page[head] != LEAF:
            continue
        (cells,) = struct.unpack_from(">H", page, head + 3)
        for n in range(min(cells, (size - head - 8) // 2)):
            (at,) = struct.unpack_from(">H", page, head + 8 + 2 * n)
            with contextlib.suppress(IndexError, struct.error, UnicodeDecodeError, ValueError):
                yield _record(_payload(raw, page, at, size))


def _page_size(raw: bytes) -> int:
    """As the header says, if that can be; Drybank's books have 4096."""
    (said,) = struct.unpack_from(">H", raw, 16) if len(raw) >= 18 else (0,)
    size = 65536 if said == 1 else int(said)
    return size if size in {1 << n for n in range(9, 17)} else 4096


def _payload(raw: bytes, page: bytes, at: int, size: int) -> bytes:
    """A cell's whole payload, following its overflow pages."""
    length, at = _varint(page, at)
    _, at = _varint(page, at)
    most = size - 35
    if length <= most:
        return page[at : at + length]
    if length > len(raw):
        raise ValueError("longer than the file")
    least = (size - 12) * 32 // 255 - 23
    here = least + (length - least) % (size - 4)
    here = here if here <= most else least
    parts, got = [page[at : at + here]], here
    (follow,) = struct.unpack_from(">I", page, at + here)
    while got < length and follow:
        start = (follow - 1) * size
        (follow,) = struct.unpack_from(">I", raw, start)
        part = raw[start + 4 : start + 4 + min(size - 4, length - got)]
        if not part:
            raise ValueError("overflow page missing")
        parts.append(part)
        got += len(part)
    return b"".join(parts)


def _record(payload: bytes) -> list[Any]:
    """The values of a record: its header of types, then its body."""
    end, at = _varint(payload, 0)
    types: list[int] = []
    while at < end and len(types) < MOST_COLUMNS:
        kind, at = _varint(payload, at)
        types.append(kind)
    values: list[Any] = []
    at = end
    for kind in types:
        value, at = _value(payload, at, kind)
        values.append(value)
    return values


_WIDTHS = {0: 0, 1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 7: 8, 8: 0, 9: 0}


def _value(payload: bytes, at: int, kind: int) -> tuple[Any, int]:
    width = _WIDTHS[kind] if kind in _WIDTHS else (kind - 12) // 2
    part = payload[at : at + width]
    if kind in (10, 11) or len(part) != width:
        raise ValueError("a value runs past its record")
    at += width
    if kind >= 12:
        return (part if kind % 2 == 0 else part.decode()), at
    if kind in (0, 7):
        return (None if kind == 0 else struct.unpack(">d", part)[0]), at
    return (kind - 8 if kind in (8, 9) else int.from_bytes(part, "big", signed=True)), at


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """SQLite's variable-length integer, and where it ends."""
    value = 0
    for n in range(8):
        byte = data[at + n]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + n + 1
    return value << 8 | data[at + 8], at + 9
