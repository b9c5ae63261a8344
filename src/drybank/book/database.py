"""Opening: where a book lies, how Django is told of it, and that its schema is one we know.

Several books may be open in one process; each has a connection alias of its own. Inside a web app that is a Django project
already, list ``drybank.book`` in INSTALLED_APPS, build its DATABASES entry with `connection_settings`, and open the book
with that alias. Django is imported inside functions, so that importing the room costs nothing.

SQLite: Linux distributions ship versions whose write-ahead log could be corrupted by two checkpoints at once (public
release notes of SQLite 3.51.3, R2), so the bundled one is swapped in before Django loads. Where no good version is to be
had the slower rollback journal is used and a warning says so.
"""

from __future__ import annotations

import importlib
import itertools
import logging
import os
import pkgutil
import sys
import time
import warnings
from pathlib import Path
from typing import Any
from urllib.parse import quote

from drybank.book import guards
from drybank.records.errors import BookError, InputError, Missing, NewerBook

SAFE_WAL = (3, 51, 3)
CACHE_KIB = 65_536
"""Pages kept in memory, at most; filled as they are used. With SQLite's own 2 MiB an entry of a book of 1,000 stores cost half
as much again as one of ten: the index of ids is met at random, and its pages were read and spilled over and over."""
BUSY_S = 5
POSTGRES = ("postgres://", "postgresql://")
_numbers = itertools.count(1)


class BookWarning(UserWarning):
    """Something about where the book lies that its owner should know."""


def is_postgres(where: str | Path) -> bool:
    return str(where).startswith(POSTGRES)


def name_of(where: str | Path) -> str:
    """Where a book lies, fit to show: a path, or an address without its password."""
    if not is_postgres(where):
        return str(where)
    rest = str(where).split("://", 1)[1].split("?", 1)[0]
    return "postgresql://" + rest.rsplit("@", 1)[-1]


def prepare_sqlite() -> tuple[int, ...]:
    """Swap the bundled SQLite in, if it is there and Django has not loaded yet; the version that will be used."""
    loaded = sys.modules.get("django.db.backends.sqlite3.base")
    if loaded is None:
        try:
            bundled = importlib.import_module("pysqlite3")
        except ImportError:
            pass
        else:
            sys.modules["sqlite3"] = bundled
            sys.modules["sqlite3.dbapi2"] = importlib.import_module("pysqlite3.dbapi2")
    version: tuple[int, ...] = sys.modules.get("sqlite3", importlib.import_module("sqlite3")).sqlite_version_info
    return version if loaded is None else tuple(loaded.Database.sqlite_version_info)


def connection_settings(where: str | Path, *, create: bool = False) -> dict[str, Any]:
    """The DATABASES entry of a book, complete."""
    common = {
        "ATOMIC_REQUESTS": False, "AUTOCOMMIT": True, "CONN_MAX_AGE": None, "CONN_HEALTH_CHECKS": False,
        "TIME_ZONE": None, "USER": "", "PASSWORD": "", "HOST": "", "PORT": "",
        "TEST": {"CHARSET": None, "COLLATION": None, "MIGRATE": True, "MIRROR": None, "NAME": None},
    }  # fmt: skip
    return common | (_postgres_settings(str(where)) if is_postgres(where) else _sqlite_settings(Path(where), create))


def _sqlite_settings(path: Path, create: bool) -> dict[str, Any]:
    version = prepare_sqlite()
    journal = "WAL"
    if version < SAFE_WAL:
        journal = "DELETE"
        warnings.warn(
            f"SQLite {'.'.join(map(str, version))} can corrupt a book in write-ahead mode; the slower rollback journal "
            "is used. Install pysqlite3 0.6.1 or later to have both speed and safety.", BookWarning, stacklevel=4,
        )  # fmt: skip
    pragmas = (
        f"journal_mode={journal}", "synchronous=FULL", "mmap_size=0", "secure_delete=ON", "cell_size_check=ON",
        "trusted_schema=OFF", f"cache_size=-{CACHE_KIB}",
    )  # fmt: skip
    mode = "rwc" if create else "rw"
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": f"file:{quote(str(path.absolute()))}?mode={mode}",
        "OPTIONS": {
            "timeout": BUSY_S, "transaction_mode": "IMMEDIATE",
            "init_command": ";".join(f"PRAGMA {p}" for p in pragmas),
        },
    }  # fmt: skip


def _postgres_settings(url: str) -> dict[str, Any]:
    try:
        from psycopg import ProgrammingError
        from psycopg.conninfo import conninfo_to_dict
    except ImportError as bad:
        raise InputError("no driver for PostgreSQL is installed.", mend="Install drybank[postgres].") from bad
    try:
        said = {key: str(value) for key, value in conninfo_to_dict(url).items() if value is not None}
    except ProgrammingError as bad:
        raise InputError(
            "the address of the database cannot be read.", mend="Write it like postgresql://user@host:5432/drybank."
        ) from bad
    named = {"NAME": "dbname", "USER": "user", "PASSWORD": "password", "HOST": "host", "PORT": "port"}
    settings: dict[str, Any] = {key: said.pop(name, "") for key, name in named.items()}
    if not settings["NAME"]:
        raise InputError("the address names no database.", mend="Write it like postgresql://user@host:5432/drybank.")
    options = {"connect_timeout": str(BUSY_S), "application_name": "drybank"} | said
    return settings | {"ENGINE": "django.db.backends.postgresql", "OPTIONS": options}


def ensure_django() -> None:
    """Configure Django for a plain process; leave a web app's settings alone, configured already or named to be ours."""
    prepare_sqlite()
    from django.apps import apps
    from django.conf import settings

    is_ours = os.environ.get("DJANGO_SETTINGS_MODULE", "").startswith("drybank.")
    if not settings.configured and not is_ours:
        settings.configure(
            INSTALLED_APPS=["drybank.book"], DATABASES={}, USE_TZ=True, TIME_ZONE="UTC", LOGGING_CONFIG=None,
            USE_I18N=False,
        )  # fmt: skip
        logging.getLogger("psycopg").setLevel(logging.ERROR)  # a lost connection is told in our own words
        apps.populate(
            settings.INSTALLED_APPS
        )  # all of django.setup() that a plain process needs; no addresses, no forms
    if not apps.ready:
        import django

        django.setup()
    if not apps.is_installed("drybank.book"):
        raise BookError("The web app that runs here does not list drybank.book in INSTALLED_APPS. Add it.")


def connect(where: str | Path, *, create: bool, alias: str = "") -> str:
    """Make the book at ``where`` known to Django, check its schema, and give its alias.

    Raises
    ------
    Missing, InputError, NewerBook, BookError
        Nothing there; something else there; written by a later Drybank; not to be opened.
    """
    if not is_postgres(where):
        check_file(Path(where), create)
    ensure_django()
    from django.db import connections

    name = alias or f"book-{next(_numbers)}"
    if name not in connections.settings:
        connections.settings[name] = connection_settings(where, create=create)
    try:
        _ensure_schema(name, name_of(where), create)
    except BaseException:
        if not alias:
            disconnect(name)
        raise
    return name


def disconnect(alias: str) -> None:
    """Close and forget a connection."""
    from django.db import connections

    try:
        connections[alias].close()
        del connections[alias]
    except AttributeError:  # this thread had none
        pass
    finally:
        connections.settings.pop(alias, None)


def check_file(path: Path, create: bool) -> None:
    """Refuse what cannot be a book before anything touches it."""
    if path.is_dir():
        raise InputError(f"{path} is a folder.", mend="Name the book's file, such as town.book.")
    if not path.exists():
        if not create:
            raise Missing(f"There is no book at {path}. Check the path, or make a new book there.")
        if not path.absolute().parent.is_dir():
            raise InputError(f"the folder of {path} does not exist.", mend="Make the folder first.")
        return
    with path.open("rb") as file:
        head = file.read(16)
    if not head and not create:
        raise InputError(f"{path} holds no book of Drybank.", mend="Check the path, or make a new book there.")
    if head and head != b"SQLite format 3\0":
        raise InputError(f"{path} is not a book of Drybank.", mend="Check the path.")


def known_steps() -> list[str]:
    """The names of this Drybank's schema steps, in order."""
    from drybank.book import migrations

    return sorted(m.name for m in pkgutil.iter_modules(migrations.__path__) if m.name[0].isdigit())


def _ensure_schema(alias: str, name: str, create: bool) -> None:
    from drybank.book.rows import faults

    for pause in (0.05, 0.2, 0.5, 1, 2):
        try:
            with faults(name):
                return _check_schema(alias, name, create)
        except BookError as bad:
            # Two programs that open a new file at once may collide while it turns to write-ahead mode.
            if type(bad) is not BookError or "busy" not in str(bad):
                raise
            time.sleep(pause)
    with faults(name):
        return _check_schema(alias, name, create)


def _check_schema(alias: str, name: str, create: bool) -> None:
    _check_journal(alias, name)
    steps = known_steps()
    applied = applied_steps(alias)
    later = sorted(set(applied) - set(steps))
    if later:
        raise NewerBook(
            f"The book at {name} was written by a later Drybank (it knows “{later[-1]}”, this one stops at “{steps[-1]}”). "
            "Nothing was touched. Update Drybank on this computer and open it again."
        )
    if not applied and not create:
        raise InputError(f"{name} holds no book of Drybank.", mend="Check the path, or make a new book there.")
    if not applied:
        _check_nothing_else(alias, name)
    if set(steps) - set(applied):
        migrate(alias)


def _check_journal(alias: str, name: str) -> None:
    """An old SQLite may not touch a book that another program holds in write-ahead mode."""
    from django.db import connections

    if connections[alias].vendor != "sqlite" or prepare_sqlite() >= SAFE_WAL:
        return
    with connections[alias].cursor() as cursor:
        cursor.execute("PRAGMA journal_mode")
        if str(cursor.fetchone()[0]).lower() == "wal":
            raise BookError(
                f"The book at {name} is open in another program, in a way that this computer's SQLite could corrupt. Close that "
                "program, or install pysqlite3 0.6.1 or later. Nothing was touched."
            )


def _check_nothing_else(alias: str, name: str) -> None:
    """A new book is not put among another program's tables; a Django project keeps its own beside the book."""
    from django.db import connections

    tables = connections[alias].introspection.table_names()
    if tables and "django_migrations" not in tables:
        raise InputError(f"{name} holds something else ({tables[0]}).", mend="Make the book in a place of its own.")


def applied_steps(alias: str) -> list[str]:
    """The schema steps that a database has taken; none where it holds no book."""
    from django.db import connections
    from django.db.migrations.recorder import MigrationRecorder

    recorder = MigrationRecorder(connections[alias])
    return [name for app, name in recorder.applied_migrations() if app == "book"]


def migrate(alias: str) -> None:
    """Take every missing step in one transaction: a crash leaves the old schema or the new one."""
    from django.db import connections, transaction
    from django.db.migrations.executor import MigrationExecutor

    connection = connections[alias]
    if connection.vendor == "sqlite":
        connection.disable_constraint_checking()  # cannot be done inside the transaction; there are no foreign keys
    with transaction.atomic(using=alias):
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(hashtext('drybank schema'))")
        executor = MigrationExecutor(connection)
        executor.migrate([("book", known_steps()[-1])])
        guards.put_up(connection)
