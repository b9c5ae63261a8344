"""`drybank entries`, `drybank correct`: look entries up, put one right."""

from __future__ import annotations

from typing import Annotated

import typer

from drybank.cli.files import Yes, confirmed
from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, Since, StoreKey, Until


@app.command(epilog="Example: drybank entries millrace --kind reading --last 20")
def entries(
    store: StoreKey,
    kind: Annotated[
        list[str] | None, typer.Option("--kind", help="Only this kind; may be said again.", show_default=False)
    ] = None,
    since: Since = "",
    until: Until = "",
    last: Annotated[int, typer.Option("--last", min=0, help="Only the latest so many; 0 for all.")] = 0,
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """A store's entries in the order they happened, corrections folded in, each with its id."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.correcting import between
    from drybank.desk.correcting import entries as entries_of
    from drybank.desk.entry_words import told

    with opened(book) as it:
        first, end = between(it, store, since, until)
        found = entries_of(it, store, kinds=kind or (), since=first, until=end, last=last)
        currency = it.store_at(store, it.clock()).currency
    if as_json:
        say.as_json(found)
        return
    for each in found:
        mark = "taken back" if each.is_taken_back else "corrected" if each.corrected_by else ""
        say.head(f"{each.happened:%Y-%m-%d %H:%M} UTC  {each.kind}  by {each.by}" + (f"  ({mark})" if mark else ""))
        say.quiet(f"  {each.id}")
        for name, value in told(each.says, currency):
            say.line(f"  {name}: {value}")
    if not found:
        say.line("No such entries.")


@app.command(
    epilog='Example: drybank correct 01970000-0000-7000-8000-000000000000 --set 14.near=4213 --reason "digits swapped"'
)
def correct(
    entry: Annotated[str, typer.Argument(help="The entry's id, as drybank entries shows it.", show_default=False)],
    reason: Annotated[str, typer.Option("--reason", help="Why, in a few words.", show_default=False)],
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="name=value, by the names that entries shows, as sold=601.00; may be said again.",
            show_default=False,
        ),
    ] = None,
    happened: Annotated[
        str, typer.Option("--happened", help="The right moment, as 2026-05-03T18:30, by the store's clock.")
    ] = "",
    take_back: Annotated[bool, typer.Option("--take-back", help="It should never have been.")] = False,
    book: BookPath = DEFAULT_BOOK,
    yes: Yes = False,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Put an entry right by a later one that corrects it; the first stays in the book, and both are shown."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.correcting import correct as correct_entry
    from drybank.desk.correcting import local_moment

    with opened(book) as it:
        moment = local_moment(it, entry, happened)
        writer, changed = pen(by), changes or ()
        asked = {"reason": reason, "changes": changed, "happened": moment, "take_back": take_back}
        done = correct_entry(it, entry, writer, **asked, is_real=False)  # type: ignore[arg-type]
        if not as_json:
            say.head(f"{done.kind} of {done.store}" + (": taken back" if done.is_taken_back else ""))
            for path, before, after in done.changes:
                say.line(f"  {path}: {before}" if done.is_taken_back else f"  {path}: {before} → {after}")
        if yes or confirmed("Enter this correction?", as_json=as_json):
            done = correct_entry(it, entry, writer, **asked)  # type: ignore[arg-type]
    if as_json:
        say.as_json(done)
    else:
        say.line(f"Entered as {done.entry}." if done.entry else "Nothing entered. Add --yes to enter it.")
