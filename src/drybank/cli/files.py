"""`drybank check`, `drybank load`: files in."""

from __future__ import annotations

from typing import Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By

Files = Annotated[
    list[str], typer.Argument(help="Store files, control sheets or settings files (TOML).", show_default=False)
]
Yes = Annotated[bool, typer.Option("--yes", "-y", help="Enter it without asking.")]


@app.command(epilog="Example: drybank check millrace.toml alder.toml")
def check(files: Files, as_json: AsJson = False) -> None:
    """Explain every mistake in store files and control sheets: line, value, what is allowed, how to mend it."""
    from drybank.cli import say
    from drybank.desk.files import check_files, text_of

    checked = check_files([(name, text_of(name)) for name in files])
    if as_json:
        say.as_json(checked)
    else:
        for one in checked:
            wrong = len(one.mistakes)
            say.head(
                f"{one.file}: {one.kind}, " + ("no mistakes" if not wrong else f"{wrong} mistake{'s' * (wrong > 1)}")
            )
            for sentence in (*one.mistakes, *one.says):
                say.line(f"  {sentence}")
    if any(one.mistakes for one in checked):
        raise typer.Exit(2)


@app.command(epilog="Example: drybank load millrace.toml alder.toml --from 2026-05-03 --yes")
def load(
    files: Files,
    book: BookPath = DEFAULT_BOOK,
    from_day: Annotated[
        str, typer.Option("--from", help="The day it holds from, as 2026-05-03; today if not said.")
    ] = "",
    store: Annotated[str, typer.Option("--store", help="Only this store of the book.")] = "",
    yes: Yes = False,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Show what a store file or sheet changes, then enter it into the book from a date. Makes the book if there is none."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.files import load as load_files
    from drybank.desk.files import text_of
    from drybank.desk.standing import parse_day

    named = [(name, text_of(name)) for name in files]
    with opened(book, create=True) as it:
        day = parse_day(from_day, "The day")
        writer = pen(by)
        loaded = load_files(it, named, writer, from_date=day, store=store, is_real=False)
        if not as_json:
            for change in loaded.changes:
                say.head(
                    f"{change.store}: {change.what}, from {loaded.from_date}" + (" (new)" if change.is_new else "")
                )
                for sentence in change.says:
                    say.line(f"  {sentence}")
            if not loaded.changes:
                say.line("Nothing changes: the book holds the same already.")
        if loaded.changes and (yes or confirmed("Enter this?", as_json=as_json)):
            loaded = load_files(it, named, writer, from_date=day, store=store)
    if as_json:
        say.as_json(loaded)
    elif loaded.is_entered:
        say.line("Entered.")
    elif loaded.changes:
        say.line("Nothing entered. Add --yes to enter it.")


def confirmed(question: str, *, as_json: bool) -> bool:
    """A plain yes or no where somebody is there to answer; no anywhere else."""
    import sys

    if as_json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    return typer.confirm(question, default=False)
