"""The rows of one book: the only place that asks the ORM. It has no rule of the job and no opinion on what is stored.

Every public method is one transaction or one statement, and is tried again where the database went away in between: an
append can be repeated without harm, since the same entries are stored once.
"""

from __future__ import annotations

import importlib
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

import msgspec
from django.db import DataError, Error, InterfaceError, OperationalError, connections, transaction
from django.db.models import OuterRef, Q, QuerySet, Subquery

from drybank.book import guards
from drybank.book.chain import Line
from drybank.book.models import Head, KeptThing, Row
from drybank.records.errors import BookError, ChainBroken, InputError, Missing

COLUMNS = tuple(Line.__struct_fields__)
AT_ONCE = 500
"""Rows or ids in one statement; SQLite's ORM back end allows 999 parameters."""

ROWS_AT_ONCE = 80
"""Rows of twelve columns in one statement, by the same limit."""

PAUSES_S = (0.1, 0.3, 0.6, 1.0, 2.0, 4.0)

P = ParamSpec("P")
T = TypeVar("T")


@contextmanager
def faults(name: str) -> Iterator[None]:
    """Turn the database's own faults into plain sentences."""
    try:
        yield
    except (OperationalError, InterfaceError, DataError, Error) as bad:
        raise _plain(name, bad) from bad


def _plain(name: str, bad: Exception) -> BookError | InputError:
    said = str(bad)
    low = said.lower()
    if "append-only" in low:
        return BookError(f"The database refused it: {said.splitlines()[0]}.")
    if "locked" in low or "lock timeout" in low:
        return BookError(
            f"The book at {name} is busy: another program has been writing for a while. Nothing was stored; try again."
        )
    if "disk is full" in low or "no space" in low:
        return BookError(
            f"The disk that holds {name} is full. Nothing of this was stored; make room and send it again."
        )
    if "readonly" in low or "read-only" in low or "permission denied" in low:
        return BookError(
            f"The book at {name} cannot be written by this user. Nothing was stored; mend the file's rights."
        )
    if "malformed" in low or "not a database" in low or "disk i/o" in low or "invalid page" in low:
        return ChainBroken(
            f"The file of the book at {name} is damaged ({said}). Stop writing to it, keep a copy as it is, then restore the last "
            "backup or save what is whole with `drybank salvage`."
        )
    return BookError(
        f"The database of the book at {name} answers: {said.splitlines()[0] if said else type(bad).__name__}."
    )


def _persistent(work: Callable[Concatenate[Rows, P], T]) -> Callable[Concatenate[Rows, P], T]:
    """Run again on a fresh connection where the old one was lost; give plain sentences for what stays wrong."""

    @wraps(work)
    def wrapped(self: Rows, /, *args: P.args, **kwargs: P.kwargs) -> T:
        for pause in (*PAUSES_S, None):
            try:
                return work(self, *args, **kwargs)
            except (OperationalError, InterfaceError) as bad:
                if pause is None or not self.is_lost():
                    raise _plain(self.name, bad) from bad
                time.sleep(pause)
            except Error as bad:
                raise _plain(self.name, bad) from bad
        raise AssertionError("unreachable")

    return wrapped


class Rows:
    """The rows behind one connection alias; each thread gets a connection of its own."""

    def __init__(self, alias: str, name: str) -> None:
        self.alias, self.name = alias, name

    @property
    def vendor(self) -> str:
        return connections[self.alias].vendor

    def is_lost(self) -> bool:
        """Whether the connection is gone (a server restarted); if so it is dropped, so that the next use opens another."""
        connection = connections[self.alias]
        if connection.vendor != "postgresql" or connection.in_atomic_block:
            return False
        if connection.connection is not None and connection.is_usable():
            return False
        connection.close()
        return True

    def _rows(self) -> QuerySet[Row]:
        return Row.objects.using(self.alias)

    def _lines(self, rows: QuerySet[Row]) -> list[Line]:
        return [Line(**dict(zip(COLUMNS, row, strict=True))) for row in rows.values_list(*COLUMNS)]

    @_persistent
    def heads(self, stores: Sequence[str] | None = None) -> dict[str, tuple[int, str]]:
        """Place and hash of the last entry of each store."""
        heads = Head.objects.using(self.alias)
        if stores is None:
            return {
                store: (seq, tip) for store, seq, tip in heads.order_by("store").values_list("store", "seq", "hash")
            }
        return {s: (n, tip) for part in _parts(stores) for s, n, tip in heads.filter(store__in=part).values_list()}

    @_persistent
    def by_ids(self, ids: Iterable[str]) -> dict[str, Line]:
        """The lines of those ids that are in the book."""
        found = (self._lines(self._rows().filter(id__in=part)) for part in _parts(sorted(set(ids))))
        return {line.id: line for lines in found for line in lines}

    @_persistent
    def page(self, store: str, after_seq: int, most: int = 2000) -> list[Line]:
        """The next lines of a chain."""
        return self._lines(self._rows().filter(store=store, seq__gt=after_seq).order_by("seq")[:most])

    @_persistent
    def ends(self) -> list[tuple[str, Line | None]]:
        """For each head, the line it points at; None where there is none, or where the chain goes on behind it."""
        heads = Head.objects.using(self.alias).annotate(
            last=Subquery(Row.objects.filter(store=OuterRef("store")).order_by("-seq").values("id")[:1])
        )
        pointed = list(heads.order_by("store").values_list("store", "seq", "hash", "last"))
        lines = {
            line.id: line
            for part in _parts([p[3] for p in pointed if p[3]])
            for line in self._lines(self._rows().filter(id__in=part))
        }
        return [(store, _if_at(lines.get(last), seq, tip)) for store, seq, tip, last in pointed]

    @_persistent
    def stray_stores(self) -> list[str]:
        """Stores that have entries but no head."""
        known = Head.objects.using(self.alias).values("store")
        return list(self._rows().exclude(store__in=known).order_by("store").values_list("store", flat=True).distinct())

    @_persistent
    def telling(self, store: str, kinds: Sequence[str], since: str, until: str) -> list[Line]:
        """Lines that a story needs, in order of booking: those asked for, and every correction of one of them."""
        rows = self._rows().filter(store=store)
        corrections = rows.filter(kind="correction")
        if kinds:
            asked = Q(kind__in=list(kinds)) | Q(corrects__in=rows.filter(kind__in=list(kinds)).values("id"))
            rows = rows.filter(asked)
        if since or until:
            within = Q(happened__gte=since) if since else Q()
            within &= Q(happened__lt=until) if until else Q()
            rows = rows.filter(within | Q(kind="correction") | Q(id__in=corrections.values("corrects")))
        return self._lines(rows.order_by("seq"))

    def write(
        self, stores: Sequence[str], compose: Callable[[], list[Line]], kept: Sequence[Mapping[str, Any]] = ()
    ) -> None:
        """One transaction that no other writer of these stores comes between: compose the lines, then add them.

        ``kept`` goes beside the chain; what is there already, or was erased here, stays as it is.
        """
        self.write_in_parts(stores, lambda: [compose()], lambda: kept)

    @_persistent
    def write_in_parts(
        self,
        stores: Sequence[str],
        compose: Callable[[], Iterable[Sequence[Line]]],
        kept: Callable[[], Iterable[Mapping[str, Any]]] = tuple,
    ) -> None:
        """`write`, with the lines composed and added some at a time; both are asked anew where it is tried again."""
        with transaction.atomic(using=self.alias):
            if self.vendor == "postgresql":
                with connections[self.alias].cursor() as cursor:
                    for store in sorted(set(stores)):
                        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [f"drybank {store}"])
            for part in compose():
                self._add(part)
            for thing in kept():
                KeptThing.objects.using(self.alias).get_or_create(sha256=thing["sha256"], defaults=thing)

    def _add(self, lines: Sequence[Line]) -> None:
        if not lines:
            return
        # Plain statements: building model objects and their statement takes twice as long as storing the rows. Many rows in
        # one, because SQLite lets go of the interpreter at each step, and other threads keep it for a while.
        with connections[self.alias].cursor() as cursor:
            quote = connections[self.alias].ops.quote_name
            names, marks = ", ".join(map(quote, COLUMNS)), f"({', '.join(['%s'] * len(COLUMNS))})"
            for start in range(0, len(lines), ROWS_AT_ONCE):
                some = lines[start : start + ROWS_AT_ONCE]
                values = [value for line in some for value in msgspec.structs.astuple(line)]
                places = ", ".join([marks] * len(some))
                cursor.execute(f"INSERT INTO {quote(Row._meta.db_table)} ({names}) VALUES {places}", values)
        heads = Head.objects.using(self.alias)
        for line in {line.store: line for line in lines}.values():
            if not heads.filter(store=line.store).update(seq=line.seq, hash=line.hash):
                heads.create(store=line.store, seq=line.seq, hash=line.hash)

    @_persistent
    def kept(self, sha256: str) -> tuple[bytes, bytes, str]:
        """Salt, content and when it was erased."""
        found = (
            KeptThing.objects.using(self.alias).filter(sha256=sha256).values_list("salt", "content", "erased").first()
        )
        if found is None:
            raise Missing(f"Nothing is kept under {sha256}. Check the number.")
        return bytes(found[0]), bytes(found[1]), found[2]

    @_persistent
    def all_kept(self) -> list[dict[str, Any]]:
        """Everything beside the chain, erased or not."""
        things = KeptThing.objects.using(self.alias).order_by("sha256").values()
        return [thing | {"salt": bytes(thing["salt"]), "content": bytes(thing["content"])} for thing in things]

    @_persistent
    def erase(self, sha256: str, when: str) -> None:
        """Blank salt and content for good; the line stays and says when."""
        things = KeptThing.objects.using(self.alias).filter(sha256=sha256, erased="")
        things.update(salt=b"", content=b"", erased=when)
        if self.vendor == "sqlite":
            with connections[self.alias].cursor() as cursor:
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def copy_to(self, path: str) -> None:
        """SQLite's online backup: one moment's state of the book, while others read and write."""
        driver = importlib.import_module(sys.modules["sqlite3"].__name__)
        with faults(self.name):
            connections[self.alias].ensure_connection()
            target = driver.connect(path)
            try:
                connections[self.alias].connection.backup(target)
            except driver.Error as bad:
                raise _plain(self.name, bad) from bad
            finally:
                target.close()

    @_persistent
    def raise_guards(self) -> str:
        """Put missing guards back where that can be done; a sentence if any were missing."""
        away = guards.missing(connections[self.alias])
        if not away:
            return ""
        said = (
            f"The database's guards against changing entries were missing ({', '.join(away)}): somebody took them away."
        )
        if not guards.can_put_up(connections[self.alias]):
            return f"{said} Open the book once as the tables' owner: that puts them back."
        with transaction.atomic(using=self.alias):
            guards.put_up(connections[self.alias])
        return f"{said} They were put back. Ask who could write the file, and hold the book against the last seal."

    def file_faults(self) -> list[str]:
        """What SQLite's own check of the file's pages finds; PostgreSQL looks after its files itself."""
        if self.vendor != "sqlite":
            return []
        with connections[self.alias].cursor() as cursor:
            try:
                cursor.execute("PRAGMA integrity_check(20)")
                return [said for (said,) in cursor.fetchall() if said != "ok"]
            except Error as bad:
                return [str(bad)]

    @_persistent
    def grant(self, role: str) -> None:
        """On PostgreSQL, let a role add and read; it gets no right to change or remove an entry."""
        if self.vendor != "postgresql":
            raise InputError("a book that is a file has no roles.", mend="Its folder's rights say who may write it.")
        name = connections[self.alias].ops.quote_name(role)
        if '"' in role:
            raise InputError(f"“{role}” is no name for a role.")
        with transaction.atomic(using=self.alias), connections[self.alias].cursor() as cursor:
            cursor.execute(f"REVOKE ALL ON book_entry, book_head, book_kept, django_migrations FROM {name}")
            cursor.execute(f"GRANT SELECT, INSERT ON book_entry TO {name}")
            cursor.execute(f"GRANT SELECT, INSERT, UPDATE ON book_head, book_kept TO {name}")
            cursor.execute(f"GRANT SELECT ON django_migrations TO {name}")

    @_persistent
    def close_file(self) -> None:
        """Fold the write-ahead log into the file, so that the book is that one file."""
        if self.vendor == "sqlite":
            with connections[self.alias].cursor() as cursor:
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                cursor.execute("PRAGMA journal_mode=DELETE")


def _if_at(line: Line | None, seq: int, tip: str) -> Line | None:
    return line if line is not None and (line.seq, line.hash) == (seq, tip) else None


def _parts(values: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(values), AT_ONCE):
        yield values[start : start + AT_ONCE]
