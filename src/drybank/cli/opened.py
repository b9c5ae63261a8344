"""The book and the pen of a command: opened late, so that help and mistakes in options cost nothing."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.desk.stamp import Pen


@contextmanager
def opened(path: str, *, create: bool = False) -> Iterator[Book]:
    """The book at a path or address, closed afterwards; a chain seen not to hold is told of, on standard error.

    A book made for a command that was then refused is taken away again while nothing is in it.
    """
    from pathlib import Path

    from drybank.book import open_book
    from drybank.cli.say import complain

    is_made_here = create and "://" not in path and not Path(path).exists()
    is_left_empty = False
    with open_book(path, create=create) as book:
        try:
            yield book
        except BaseException:
            is_left_empty = is_made_here and not book.stores()
            raise
        finally:
            for doubt in (book.guards_missed, *book.doubts.values()):
                if doubt:
                    complain(f"Heed: {doubt}")
            if is_left_empty:
                for rest in ("", "-wal", "-shm"):
                    Path(f"{path}{rest}").unlink(missing_ok=True)


def pen(by: str, origin: str = "terminal") -> Pen:
    """Who writes: the handle given, or this computer's user name."""
    from drybank.desk.stamp import Pen

    return Pen(by=by or getpass.getuser(), origin=origin)
