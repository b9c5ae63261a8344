"""Columns kept beside the book, one file a store: brought up to the book's end, never the truth, safe to delete.

A file counts only where its checksum agrees and its place and hash stand in the chain. At the chain's end it is used as it is;
earlier in the chain, the lines behind it are read and added (anew from the first line where one of them corrects something);
else it is made anew. Lines read for it are held against their hash like any other; a store with a line that does not hold is
not kept as columns. Whoever can write the folder can forge a file with its checksum: what must be certain is asked of the book
itself (``anew``), and `drybank verify` never looks here.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from drybank.book import database, story
from drybank.book.columns import StoreColumns, StoreSeries, columns, unpack, unpack_series
from drybank.records.errors import InputError

if TYPE_CHECKING:
    from drybank.book.ledger import Book

K = TypeVar("K", StoreColumns, StoreSeries)


def folder_of(book: Book) -> Path:
    """Where a book's columns lie: beside the file; for a database, in this user's cache."""
    if not database.is_postgres(book.where):
        return Path(f"{book.where}.columns")
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return cache / "drybank" / f"{sha256(book.name.encode()).hexdigest()[:24]}.columns"


def columns_of(
    book: Book, store: str, *, head: tuple[int, str] | None = None, anew: bool = False, folder: Path | None = None
) -> StoreColumns:
    """A store's columns up to its chain's end; ``anew`` makes them from the book whatever is kept."""
    seq, tip = head if head is not None else book.head(store)
    path = _path(folder or folder_of(book), store, "columns")
    kept = None if anew else _kept(path, store, unpack)
    if kept is not None and (kept.seq, kept.tip) == (seq, tip):
        return kept
    made = _continued(book, kept) if kept is not None and kept.seq < seq else None
    if made is None:
        made = _from_start(book, store)
    if store not in book.doubts:
        _keep(path, made.pack())
    return made


def each_store(book: Book, *, anew: bool = False) -> Iterator[StoreColumns]:
    """Every store's columns, in the order of the stores' keys."""
    folder = folder_of(book)
    for store, head in sorted(book.rows.heads().items()):
        yield columns_of(book, store, head=head, anew=anew, folder=folder)


def each_series(book: Book) -> Iterator[StoreSeries]:
    """Every store's series, in the order of the stores' keys; kept in files of their own, which are small."""
    folder = folder_of(book)
    for store, head in sorted(book.rows.heads().items()):
        path = _path(folder, store, "series")
        kept = _kept(path, store, unpack_series)
        if kept is None or (kept.seq, kept.tip) != head:
            kept = columns_of(book, store, head=head, folder=folder).series()
            if store not in book.doubts:
                _keep(path, kept.pack())
        yield kept


def _path(folder: Path, store: str, kind: str) -> Path:
    return folder / f"{sha256(store.encode()).hexdigest()[:32]}.{kind}"


def _kept(path: Path, store: str, read: Callable[[bytes], K]) -> K | None:
    try:
        found = read(path.read_bytes())
    except (OSError, InputError, ValueError, KeyError, TypeError, IndexError):
        return None
    return found if found.store == store else None


def _from_start(book: Book, store: str) -> StoreColumns:
    seq, tip = 0, ""
    chain = []
    for booked in book.chain(store):
        chain.append(booked)
        seq, tip = booked.seq, booked.hash
    told = story.tell(chain)
    return columns(store, seq, tip, ((t.entry, t.seq) for t in told))


def _continued(book: Book, kept: StoreColumns) -> StoreColumns | None:
    """The columns with the lines behind them; None where they do not stand in the chain, or something was corrected."""
    at = book.rows.page(kept.store, kept.seq - 1, 1)
    if not at or (at[0].seq, at[0].hash) != (kept.seq, kept.tip):
        return None
    behind = list(book.chain(kept.store, kept.seq))
    if not behind or any(b.entry.kind == "correction" for b in behind):
        return None
    last = behind[-1]
    return columns(kept.store, last.seq, last.hash, ((b.entry, b.seq) for b in behind), onto=kept)


def _keep(path: Path, raw: bytes) -> None:
    """Put the file in its place in one go; where that cannot be done, do without."""
    with contextlib.suppress(OSError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(raw)
            Path(part).replace(path)
        except BaseException:
            Path(part).unlink(missing_ok=True)
            raise
