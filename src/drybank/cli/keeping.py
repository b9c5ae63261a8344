"""`drybank verify`, `seal`, `backup`, `restore`, `export`, `import`, `move`, `salvage`, `doctor`: keeping the book."""

from __future__ import annotations

from typing import Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By


def _stores(tips: dict[str, str]) -> str:
    return f"{len(tips):,} store{'s' * (len(tips) != 1)}"


OneStore = Annotated[str, typer.Argument(help="Only this store; all of them if not said.", show_default=False)]


@app.command(epilog="Example: drybank verify --seal seals.txt")
def verify(
    store: OneStore = "",
    book: BookPath = DEFAULT_BOOK,
    seal: Annotated[
        list[str] | None, typer.Option("--seal", help="A seal kept elsewhere, or a file of them.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Find any change to what an entry says, any entry dropped or moved; with seals, a cut tail or a rewritten chain."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.keeping import read_seals, verify_book

    seals = read_seals(seal or [])
    with opened(book) as it, say.progress("Verifying every entry", shown=not as_json):
        done = verify_book(it, store, seals)
    if as_json:
        say.as_json(done)
    else:
        (say.head if done.is_whole else say.danger)(done.says)
        for fault in done.faults:
            say.danger(f"  {fault}")
        for notice in done.notices:
            say.heed(f"  {notice}")
        say.quiet(done.proves)
        if not done.is_whole:
            say.line("Next: keep the file as it is, restore the last backup, or run drybank salvage.")
    if not done.is_whole:
        raise typer.Exit(3)


@app.command(epilog='Example: drybank seal millrace --kept "printed, in the safe"')
def seal(
    store: OneStore = "",
    book: BookPath = DEFAULT_BOOK,
    kept: Annotated[str, typer.Option("--kept", help="Where the seal will be kept.")] = "",
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Write down the end of a store's chain, on a line to print or mail: proof that nothing before it was changed."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.keeping import seal as seal_stores

    with opened(book) as it:
        made = seal_stores(it, store, pen(by), kept)
    if as_json:
        say.as_json(made)
        return
    for each in made:
        say.line(each.line)
    say.quiet("Keep these lines where nobody who can write the book reaches them. Later: drybank verify --seal FILE")


@app.command(epilog="Example: drybank backup /media/stick")
def backup(
    to: Annotated[str, typer.Argument(help="A folder, or a new file's name.", show_default=False)],
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """Copy the book while it is in use, verify the copy, and write its checksum beside it."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.keeping import back_up
    from drybank.desk.stamp import now

    with opened(book) as it, say.progress("Copying and verifying", shown=not as_json):
        done = back_up(it, to, now())
    if as_json:
        say.as_json(done)
        return
    say.line(f"{done.path}: {done.size:,} bytes, {_stores(done.tips)}, verified.")
    say.quiet(f"SHA-256 {done.sha256}, beside it in {done.path}.sha256")


@app.command(epilog="Example: drybank restore /media/stick/drybank-2026-05-03-181500.book town.book")
def restore(
    backup: Annotated[str, typer.Argument(help="The backup; its checksum lies beside it.", show_default=False)],
    to: Annotated[str, typer.Argument(help="The new book's file; nothing may be there.", show_default=False)],
    as_json: AsJson = False,
) -> None:
    """Check a backup against its checksum, verify every entry, and put it at a new place."""
    from drybank.cli import say
    from drybank.desk.keeping import restore as restore_backup

    with say.progress("Checking and verifying", shown=not as_json):
        done = restore_backup(backup, to)
    if as_json:
        say.as_json(done)
        return
    say.line(f"{done.path}: {_stores(done.tips)}, every entry verified, as the backup's checksum says.")


@app.command(epilog="Example: drybank export town.jsonl")
def export(
    to: Annotated[str, typer.Argument(help="A new file's name, or - for standard output.", show_default=False)],
    store: Annotated[
        list[str] | None, typer.Option("--store", help="Only this store; may be said again.", show_default=False)
    ] = None,
    with_kept: Annotated[
        bool, typer.Option("--with-kept", help="Also names, phones and photos that lie beside the chain.")
    ] = False,
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """Write the book as JSON Lines, lossless: imported elsewhere, every hash is the same."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.keeping import export as export_book

    with opened(book) as it, say.progress("Writing", shown=not as_json):
        done = export_book(it, to, store or (), with_kept=with_kept)
    if as_json and to != "-":
        say.as_json(done)
    elif to != "-":
        say.line(f"{to}: {done.entries:,} entries of {_stores(done.tips)}, {done.kept} kept things.")
        say.quiet(f"SHA-256 {done.sha256}")


@app.command("import", epilog="Example: drybank import town.jsonl --book other.book --create")
def import_(
    file: Annotated[str, typer.Argument(help="A file that drybank export wrote.", show_default=False)],
    book: BookPath = DEFAULT_BOOK,
    behind: Annotated[
        bool, typer.Option("--append", help="Where the chain moved on, book unknown entries behind it, old hash kept.")
    ] = False,
    create: Annotated[bool, typer.Option("--create", help="Make the book if there is none.")] = False,
    as_json: AsJson = False,
) -> None:
    """Book every entry of an export or none; a line that was changed is refused with its number."""
    from pathlib import Path

    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.keeping import bring_in

    with Path(file).open("rb") as lines, opened(book, create=create) as it:
        done = bring_in(it, lines, behind=behind)
    if as_json:
        say.as_json(done)
        return
    say.line(f"{done.added} entries added, {done.known} were there already, {done.kept} kept things.")
    if done.behind:
        say.heed(f"Booked anew behind chains that had moved on, old hashes kept: {', '.join(done.behind)}.")


@app.command(epilog="Example: drybank move postgresql://keeper@localhost/drybank")
def move(
    to: Annotated[str, typer.Argument(help="The new place: a file, or a postgresql:// address.", show_default=False)],
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """Copy the whole book to another file or database, hashes unchanged; broken off, it goes on. The old one stays."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.keeping import move as move_book

    with opened(book) as it, say.progress("Moving and verifying", shown=not as_json):
        done = move_book(it, to)
    if as_json:
        say.as_json(done)
        return
    say.line(f"{done.to}: {done.entries:,} entries of {_stores(done.tips)}, every hash as it was, verified.")
    say.quiet("The old book is still there. Put it away once the new one is in use, so that nobody writes to it.")


@app.command(epilog="Example: drybank grant clerk --book postgresql://keeper@/drybank")
def grant(
    role: Annotated[str, typer.Argument(help="A role of the database that exists.", show_default=False)],
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """On PostgreSQL, let a role read the book and add to it; it gets no right to change or remove an entry."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.keeping import Granted
    from drybank.desk.keeping import grant as grant_role

    with opened(book) as it:
        done: Granted = grant_role(it, role)
    if as_json:
        say.as_json(done)
        return
    say.line(f"{done.role} may read {done.book} and add entries, nothing else.")


@app.command(epilog="Example: drybank salvage damaged.book saved.book")
def salvage(
    damaged: Annotated[str, typer.Argument(help="The damaged file; it is only read.", show_default=False)],
    to: Annotated[str, typer.Argument(help="The new book's file; nothing may be there.", show_default=False)],
    as_json: AsJson = False,
) -> None:
    """Save every intact entry of a damaged book into a new one, and name what was lost."""
    from drybank.cli import say
    from drybank.desk.keeping import salvage as salvage_book

    with say.progress("Reading page by page", shown=not as_json):
        done = salvage_book(damaged, to)
    if as_json:
        say.as_json(done)
    else:
        say.line(f"{done.to}: {done.saved} entries and {done.kept} kept things saved.")
        for sentence in done.lost:
            say.danger(f"  {sentence}")
        say.quiet("Lost at the very end of a chain leaves no gap: compare with the last seal or backup.")
    if done.lost:
        raise typer.Exit(3)


@app.command(epilog="Example: drybank doctor --backups /media/stick")
def doctor(
    book: BookPath = DEFAULT_BOOK,
    backups: Annotated[str, typer.Option("--backups", help="The folder where backups go.")] = "",
    certificate: Annotated[
        str, typer.Option("--certificate", help="A certificate (PEM); the place's own if not said.")
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Is this installation fit to keep a book: packages, database, disk, clock, backups, certificate."""
    from drybank.cli import say
    from drybank.desk.doctor import examine
    from drybank.desk.stamp import now

    done = examine(book, now(), backups=backups, certificate=certificate)
    if as_json:
        say.as_json(done)
    else:
        ways = {"well": say.line, "look": say.heed, "ill": say.danger}
        for point in done.points:
            ways[point.verdict](
                f"{point.verdict:<5}{point.name}: {point.says}" + (f" {point.mend}" if point.mend else "")
            )
    if not done.is_well:
        raise typer.Exit(3)
