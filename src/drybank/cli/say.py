"""How the terminal speaks: plain lines, aligned tables, JSON for machines, progress on anything over a second.

Money and numbers come with their unit from the desk's result; nothing is worked out here.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console

PLAIN_WIDTH = 110
WORD_AT_MOST = 18
_consoles: dict[bool, Console] = {}


def console(*, err: bool = False) -> Console:
    """The one console for a stream; plain where it is not a terminal."""
    from rich.console import Console

    if err not in _consoles:
        is_terminal = sys.stdout is not None and sys.stdout.isatty()
        wide = None if is_terminal or "COLUMNS" in os.environ else PLAIN_WIDTH
        _consoles[err] = Console(stderr=err, highlight=False, soft_wrap=not is_terminal, width=wide)
    return _consoles[err]


def line(text: str = "") -> None:
    """A plain line, brackets and all."""
    console().print(text, markup=False)


def head(text: str) -> None:
    """A heading: the answer or question that the lines below are about."""
    console().print(f"\n{text}", markup=False, style="bold")


def quiet(text: str) -> None:
    console().print(text, markup=False, style="dim")


def heed(text: str) -> None:
    """Something to look at; the words say it, the colour only helps."""
    console().print(text, markup=False, style="yellow")


def danger(text: str) -> None:
    console().print(text, markup=False, style="bold red")


def complain(text: str) -> None:
    """To standard error."""
    console(err=True).print(text, markup=False)


def table(
    heads: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[int] = (), wraps: Sequence[int] = ()
) -> None:
    """Rows under heads; the columns named in ``right`` are numbers and stand to the right, those in ``wraps`` are prose."""
    from rich.table import Table
    from rich.text import Text

    lines = [tuple(row) for row in rows]
    made = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1))
    for index, text in enumerate(heads):
        is_number = index in right
        fixed = is_number or (index == 0 and index not in wraps)
        words = [word for cells in ((text,), *((line[index],) for line in lines)) for word in cells[0].split()]
        least = min(max((len(w) for w in words), default=1), WORD_AT_MOST)
        made.add_column(
            text,
            justify="right" if is_number else "left",
            overflow="fold",
            no_wrap=fixed,
            min_width=None if fixed else least,
        )
    for row in lines:
        made.add_row(*(Text(cell) for cell in row))
    console().print(made)


def as_json(result: Any) -> None:
    """The result as JSON on one stream, keys as the desk names them; exact numbers as text."""
    import msgspec

    from drybank.desk.plainly import as_json as plainly

    sys.stdout.write(msgspec.json.format(plainly(result), indent=2).decode() + "\n")


class Progress:
    """Tells what is being worked out and how far; silent where nobody looks or JSON is asked for."""

    def __init__(self, bar: Any, task: Any) -> None:
        self._bar, self._task = bar, task

    def step(self, done: float, of: float, what: str = "") -> None:
        if self._bar is not None:
            words = {"description": what} if what else {}
            self._bar.update(self._task, completed=done, total=of, **words)

    def say(self, what: str) -> None:
        """What is being worked out now."""
        if self._bar is not None:
            self._bar.update(self._task, description=what)


@contextmanager
def progress(what: str, *, shown: bool = True) -> Iterator[Progress]:
    """A line of progress on standard error while the block runs."""
    if not shown or not sys.stderr.isatty():
        yield Progress(None, None)
        return
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    with Bar(
        TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), console=console(err=True), transient=True
    ) as bar:
        yield Progress(bar, bar.add_task(what, total=None))
