"""`drybank adopt`: house settings of a bank, from a date on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.files import Yes, confirmed
from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.houses import Proposal

Bank = Annotated[str, typer.Argument(help="The bank's key; may be left out where the store has one bank.")]
MARKS = {"passed": "well", "notice": "note", "failed": "stop", "waived": "waived"}


@app.command(
    epilog='Example: drybank adopt millrace north "time per piece=6 min" "start price=1.00" --from 2026-05-03 --yes'
)
def adopt(
    store: StoreKey,
    bank: Bank = "",
    settings: Annotated[
        list[str] | None, typer.Argument(help="name=value lines; what is not named stays.", show_default=False)
    ] = None,
    file: Annotated[str, typer.Option("--file", help="A settings file instead of name=value lines.")] = "",
    waive: Annotated[
        list[str] | None, typer.Option("--waive", help="check=reason: go on although this check fails.")
    ] = None,
    from_day: Annotated[
        str, typer.Option("--from", help="The day they hold from, as 2026-05-03; today if not said.")
    ] = "",
    book: BookPath = DEFAULT_BOOK,
    yes: Yes = False,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Check house settings for a bank and make them the ones that every control should hold."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.houses import adopt as adopt_settings
    from drybank.desk.houses import house_of_file, propose
    from drybank.desk.houses import waive as waive_check
    from drybank.desk.standing import parse_day

    texts = list(settings or ())
    if bank and "=" in bank:  # a store of one bank: the bank was left out
        texts, bank = [bank, *texts], ""
    with opened(book) as it:
        writer = pen(by)
        day = parse_day(from_day)
        house = house_of_file(it, store, bank, file, writer) if file else None
        for text in waive or ():
            check, _, reason = text.partition("=")
            waive_check(it, store, bank, check.strip(), reason, writer)
        proposal = propose(it, store, bank, writer, texts=texts, house=house, from_date=day)
        if not as_json:
            show_proposal(proposal)
        adopted = None
        if proposal.is_settable and (yes or confirmed("Adopt these?", as_json=as_json)):
            adopted = adopt_settings(it, proposal, writer)
    if as_json:
        say.as_json(adopted or proposal)
    elif not proposal.is_settable:
        stops = [c.key for c in proposal.checks if c.verdict == "failed"]
        say.line(f"Nothing adopted. Mend what says stop, or go on knowingly: --waive {stops[0]}=reason")
    elif adopted:
        say.line(f"Adopted from {proposal.from_date}. Next: drybank card {store} {proposal.bank}")
    else:
        say.line("Nothing adopted. Add --yes to adopt them.")
    if not proposal.is_settable:
        raise typer.Exit(2)


def show_proposal(proposal: Proposal) -> None:
    """What changes and every check with its reason."""
    from drybank.cli import say

    if proposal.changes:
        say.head(f"{proposal.store}, bank {proposal.bank}: what changes")
        say.table(
            ("setting", "today", "from " + proposal.from_date),
            [(c.name, c.today or "not set", c.proposed or "no longer set") for c in proposal.changes],
        )
    else:
        say.line("These are the settings that stand already.")
    say.head("Checks")
    for check in proposal.checks:
        speak = say.danger if check.verdict == "failed" else say.heed if check.verdict == "notice" else say.line
        speak(
            f"  {MARKS[check.verdict]:<7}{check.name}: {check.reason}"
            + (f" {check.mend}" if check.mend and check.verdict != "passed" else "")
        )
    if proposal.way_out:
        say.heed(f"  {proposal.way_out}")
