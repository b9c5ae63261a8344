"""The pages as one running thing: Django set up on a book, its own tables beside the book's, the book itself, the clock."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drybank.book import Book

Wsgi = Callable[..., Any]


class _Standing:
    """What is open in this process."""

    book: Book | None = None
    clock: Callable[[], datetime] | None = None
    is_demo: bool = False
    is_local: bool = True
    address: str = ""
    ca: Path | None = None


standing = _Standing()


def now() -> datetime:
    """This moment by the pages' clock."""
    from drybank.desk.stamp import now as wall

    return standing.clock() if standing.clock else wall()


def name_book(where: str) -> None:
    """Say which book the pages are on, before anything loads Django."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "drybank.web.settings"
    os.environ["DRYBANK_BOOK"] = where


def begin(where: str) -> Book:
    """Set Django up on a book (made where there is none), take the missing schema steps, open the book."""
    name_book(where)
    import django

    django.setup()
    return use(where)


def use(where: str | Path) -> Book:
    """Open the book behind the pages; the accounts' tables are made beside its own."""
    from django.core.management import call_command
    from django.db import connections

    from drybank.book import connection_settings, open_book
    from drybank.web.read_once import ReadOnce

    connections["default"].close()
    del connections["default"]
    connections.settings["default"] = connection_settings(where, create=True)
    standing.book = ReadOnce(open_book(where, create=True, alias="default"))
    call_command("migrate", verbosity=0, interactive=False)
    return standing.book


def book() -> Book:
    """The open book."""
    assert standing.book is not None, "the pages were not begun"
    return standing.book


def application() -> Wsgi:
    """The WSGI application: pages, and the files they need from their own folders, nothing from outside."""
    import django_htmx
    from django.core.wsgi import get_wsgi_application
    from whitenoise import WhiteNoise  # type: ignore[import-untyped]

    import drybank.cards

    served = WhiteNoise(
        get_wsgi_application(),
        root=str(Path(__file__).parent / "static"),
        prefix="static/",
        max_age=3600,
        mimetypes={".ttf": "font/ttf"},
    )
    served.add_files(str(Path(str(drybank.cards.__file__)).parent / "fonts"), prefix="static/fonts/")
    served.add_files(str(Path(str(django_htmx.__file__)).parent / "static" / "django_htmx"), prefix="static/htmx/")
    return served  # type: ignore[no-any-return]
