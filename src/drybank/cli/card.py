"""`drybank card`, `drybank sign`: PDFs for the visit and for the wall."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from drybank.cli.house import Bank
from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

Out = Annotated[str, typer.Option("--out", "-o", help="The folder for the PDFs.")]


@app.command(epilog="Example: drybank card millrace north --out cards --paper half-letter")
def card(
    store: StoreKey,
    bank: Bank = "",
    machine: Annotated[str, typer.Option("--machine", "-m", help="Only this machine.")] = "",
    out: Out = ".",
    paper: Annotated[str, typer.Option("--paper", help="a5 or half-letter.")] = "a5",
    language: Annotated[str, typer.Option("--language", help="en or es.")] = "en",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Make the work cards of a bank: cautions first, as found to set, in each control's own order and way of changing."""
    from drybank.cards import file_name, work_card_pdf
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.cards import work_cards

    one_of("--paper", paper, ("a5", "half-letter"))
    one_of("--language", language, ("en", "es"))
    with opened(book) as it:
        cards = work_cards(it, store, pen(by), bank=bank, machine=machine, language=language)  # type: ignore[arg-type]
    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    with say.progress("Setting the cards", shown=not as_json) as bar:
        for index, one in enumerate(cards):
            twin = "-power-off" if any(c.machine == one.machine for c in cards[:index]) else ""
            path = folder / f"{file_name('card', store, one.machine)}{twin}.pdf"
            path.write_bytes(work_card_pdf(one, paper))  # type: ignore[arg-type]
            made.append(path)
            bar.step(index + 1, len(cards))
    if as_json:
        say.as_json({"cards": cards, "files": made})
    else:
        steps = sum(len(c.steps) for one in cards for c in one.controls)
        cards_said = "1 card" if len(made) == 1 else f"{len(made)} cards"
        say.line(f"{cards_said} with {steps} setting{'s' * (steps != 1)} to change, in {folder}/")
        say.line(f"When a machine is done: drybank set {store} POCKET --as-house --read METER=VALUE")


@app.command(epilog="Example: drybank sign millrace north --out cards --paper letter")
def sign(
    store: StoreKey,
    bank: Bank = "",
    out: Out = ".",
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "letter",
    language: Annotated[
        list[str] | None, typer.Option("--language", help="en, es or fr; the store's own if not said.")
    ] = None,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Make the price sign for the wall: money for time, coins accepted, how many start it, who gives money back."""
    from drybank.cards import file_name, sign_pdf
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.cards import bank_sign

    one_of("--paper", paper, ("a4", "letter"))
    for one in language or ():
        one_of("--language", one, ("en", "es", "fr"))
    with opened(book) as it:
        made = bank_sign(it, store, bank, pen=pen(by), languages=tuple(language or ()))  # type: ignore[arg-type]
    path = Path(out) / f"{file_name('sign', store, bank or 'all')}.pdf"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(sign_pdf(made, paper))
    if as_json:
        say.as_json({"sign": made, "file": path})
    else:
        first = made.texts[0]
        say.line(f"{path}: {first.start.money} for {first.start.time}. {first.start_says}.")


def one_of(option: str, value: str, allowed: tuple[str, ...]) -> None:
    """Refuse a word that an option does not know, naming those it does."""
    if value not in allowed:
        from drybank.records.errors import InputError

        raise InputError(f"“{value}” is not known.", where=option, allowed=", ".join(allowed))
