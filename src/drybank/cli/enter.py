"""`drybank enter`: readings, collections and counts as people keep them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.files import Yes, confirmed
from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.entering import EnterLook

SHOWN = 20


@app.command(epilog="Example: drybank enter lantern readings.xlsx --mapping readings.toml --yes")
def enter(
    store: StoreKey,
    file: Annotated[
        str, typer.Argument(help="A CSV or XLSX file of readings, collections or counts.", show_default=False)
    ],
    mapping: Annotated[
        str,
        typer.Option("--mapping", "-m", help="What its columns hold (TOML); guessed from the headings if not said."),
    ] = "",
    keep_mapping: Annotated[str, typer.Option("--keep-mapping", help="Write the mapping that was taken here.")] = "",
    without_refused: Annotated[
        bool, typer.Option("--without-refused", help="Enter the good rows and leave the refused ones out.")
    ] = False,
    yes: Yes = False,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Show what a history would enter, what is refused and why; then enter all of it or nothing."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import entering as desk
    from drybank.desk.files import text_of

    given = (Path(file).name, text_of(file))
    mapped = (mapping, text_of(mapping)) if mapping else None
    with opened(book) as it, say.progress("Reading every row", shown=not as_json):
        writer = pen(by)
        seen = desk.look(it, store, given, writer, mapping=mapped)
        if keep_mapping:
            Path(keep_mapping).write_text(desk.mapping_text(seen.read), encoding="utf-8")
        go = yes or (not seen.read.refused and not as_json and _show_and_ask(seen))
        if go:
            if not as_json and yes:
                show(seen)
            seen = desk.enter(it, store, given, writer, mapping=mapped, without_refused=without_refused)
        elif seen.read.refused and not as_json:
            show(seen)
    if as_json:
        say.as_json(seen)
    elif seen.is_entered:
        say.line(f"Entered: {seen.entries} entries.")
    else:
        say.line(
            "Nothing entered. " + ("Mend the refused rows first." if seen.read.refused else "Add --yes to enter it.")
        )
    if seen.read.refused and not seen.is_entered:
        raise typer.Exit(2)


def _show_and_ask(seen: EnterLook) -> bool:
    show(seen)
    return confirmed("Enter this?", as_json=False)


def show(seen: EnterLook) -> None:
    """Columns as they were taken, what would be entered, what is refused with every reason."""
    from drybank.cli import say

    say.head(f"{seen.file} into {seen.store}")
    say.table(("column", "taken for"), [(head, role) for head, role in seen.read.columns if role != "ignore"])
    kinds = ", ".join(f"{k.number} {k.kind}{'s' * (k.number != 1)}" for k in seen.kinds) or "nothing new"
    say.line(f"Would enter {kinds}" + (f", {seen.first} to {seen.last}." if seen.first else "."))
    if seen.already:
        say.line(f"{seen.already} of its entries are in the book already; they are not entered twice.")
    for note in seen.read.notes:
        say.quiet(f"  {note}")
    for row in seen.read.skipped[:SHOWN]:
        say.quiet(f"  row {row.row} skipped: {' '.join(row.reasons)}")
    for row in seen.read.refused[:SHOWN]:
        say.heed(f"  row {row.row} refused: {' '.join(row.reasons)}")
    if len(seen.read.refused) > SHOWN:
        say.heed(f"  and {len(seen.read.refused) - SHOWN} more refused (--json lists them all)")
    for one in seen.again[:SHOWN]:
        say.heed(f"  {one.device}, {one.happened:%Y-%m-%d}: {one.says}")
    if seen.again:
        say.line(f"{len(seen.again)} readings are unlikely. They are entered as they stand; correct what was misread.")
