"""`drybank close`, `bill`, `statement`, `income`: the week's end and what is told of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.records.takings import WeekClose

Language = Annotated[str, typer.Option("--language", help="en or es.")]
Pdf = Annotated[str, typer.Option("--pdf", help="Write a PDF here.")]
Xlsx = Annotated[str, typer.Option("--xlsx", help="Write a spreadsheet here.")]


@app.command(epilog="Example: drybank close lantern 2026-W19")
def close(
    store: StoreKey,
    week: Annotated[str, typer.Argument(help="The ISO week, as 2026-W19.")],
    only_look: Annotated[bool, typer.Option("--only-look", help="Show it; close nothing.")] = False,
    although_missing: Annotated[
        bool, typer.Option("--although-missing", help="Close it with what is missing listed.")
    ] = False,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Close a week: what came in, tax, shares, what is missing; frozen under a seal."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.takings import ClosedWeek, week_as_it_stands
    from drybank.desk.takings import close as close_it

    with opened(book) as it:
        writer = pen(by)
        if only_look:
            done = ClosedWeek(week=week_as_it_stands(it, store, week, writer.clock()))
        else:
            done = close_it(it, store, week, writer, although_missing=although_missing)
    if as_json:
        say.as_json(done)
        return
    _show_week(done.week)
    if done.seal:
        say.head(
            "Closed. Keep this line somewhere else, printed or mailed: it proves later that nothing before it was changed."
        )
        say.line(f"  {done.seal}")


def _show_week(week: WeekClose) -> None:
    from drybank.cli import say

    say.head(f"{week.store}, {week.week}: took {week.takings}, {week.kept} after tax and shares")
    rows = [
        ("coins", str(week.coins)),
        ("cards, apps, tokens", str(week.cards)),
        ("adjustments of closed weeks", str(week.adjustments)),
    ]
    rows += [
        (f"tax, {week.tax.percent} %", str(week.tax.tax)),
        *((f"share of {s.name}", str(s.due)) for s in week.shares),
    ]
    rows += [("refunds", str(week.refunds)), ("channel fees", str(week.fees))]
    say.table(("", "amount"), rows, right=(1,))
    for sentence in (*week.missing, *week.late):
        say.heed(f"  {sentence}")


@app.command(epilog="Example: drybank bill lantern gas 2026-05 --quantity 812 --unit m3 --amount 391.20")
def bill(
    store: StoreKey,
    fuel: Annotated[str, typer.Argument(help="gas, propane or electricity.")],
    period: Annotated[str, typer.Argument(help="2026-05, or 2026-05-03..2026-06-02.")],
    quantity: Annotated[float, typer.Option("--quantity", help="What the meter measured.")],
    unit: Annotated[str, typer.Option("--unit", help="Its unit: m3, therm, Ccf, GJ, kWh, gal, L, kg.")],
    amount: Annotated[str, typer.Option("--amount", help="What it cost.")],
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Enter a fuel bill: it is the cost of its period and the cross-check of the takings."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.takings import enter_bill

    with opened(book) as it:
        entry = enter_bill(it, store, fuel, period, quantity, unit, amount, pen(by))
    say.as_json({"entry": entry}) if as_json else say.line(f"Bill entered: {quantity:g} {unit} of {fuel}, {amount}.")


@app.command(epilog="Example: drybank statement lantern 2026-05 --pdf may.pdf --xlsx may.xlsx")
def statement(
    store: StoreKey,
    period: Annotated[str, typer.Argument(help="2026-05, 2026, or 2026-05-01..2026-05-15.")],
    reader: Annotated[str, typer.Option("--for", help="A partner or landlord by name; the owner if not said.")] = "",
    pdf: Pdf = "",
    xlsx: Xlsx = "",
    csv: Annotated[str, typer.Option("--csv", help="Write CSV here.")] = "",
    journal: Annotated[str, typer.Option("--journal", help="Write the accountant's plain journal here.")] = "",
    language: Language = "en",
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """The owner's statement of a period, or one partner's own."""
    from drybank.cards import grids_csv, grids_xlsx, statement_grids, statement_notes, statement_pdf
    from drybank.cli import say
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened, pen
    from drybank.desk.takings import journal_of, statement_of

    one_of("--language", language, ("en", "es"))
    with opened(book) as it:
        when = pen("").clock()
        told = statement_of(it, store, period, when, reader=reader)
        grids = statement_grids(told, language)  # type: ignore[arg-type]
        files = {pdf: statement_pdf(told, language) if pdf else b"", xlsx: grids_xlsx(grids) if xlsx else b""}  # type: ignore[arg-type]
        texts = {csv: grids_csv(grids) if csv else "", journal: journal_of(it, store, period, when) if journal else ""}
    _write(files, texts)
    if as_json:
        say.as_json(told)
        return
    for grid in grids:
        rows = [*grid.rows, *((grid.total,) if grid.total else ())]
        say.head(grid.title)
        say.table(grid.heads, rows, right=[i for i, side in enumerate(grid.columns) if side == "right"])
    for note in statement_notes(told, language):  # type: ignore[arg-type]
        say.quiet(note)


def _write(files: dict[str, bytes], texts: dict[str, str]) -> None:
    for name, content in files.items():
        if name:
            Path(name).write_bytes(content)
    for name, text in texts.items():
        if name:
            Path(name).write_text(text, encoding="utf-8")


@app.command(epilog="Example: drybank income lantern 2025-06 2026-05 --pdf income.pdf")
def income(
    store: StoreKey,
    first: Annotated[str, typer.Argument(help="First month, as 2025-06.")],
    last: Annotated[str, typer.Argument(help="Last month, as 2026-05.")],
    pdf: Pdf = "",
    xlsx: Xlsx = "",
    language: Language = "en",
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """Proof of income: months of takings beside hours, pieces and fuel, with the seals and how to check them."""
    from drybank.cards import check_words, grids_xlsx, income_notes, proof_grids, proof_pdf, seal_rows
    from drybank.cli import say
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened, pen
    from drybank.desk.takings import proof_of_income

    one_of("--language", language, ("en", "es"))
    with opened(book) as it:
        proof = proof_of_income(it, store, first, last, pen("").clock())
    grids = proof_grids(proof, language)  # type: ignore[arg-type]
    _write({pdf: proof_pdf(proof, language) if pdf else b"", xlsx: grids_xlsx(grids) if xlsx else b""}, {})  # type: ignore[arg-type]
    if as_json:
        say.as_json(proof)
        return
    say.head(f"{proof.store_name}: took {proof.total} in {len(proof.months)} months")
    say.table(grids[0].heads, grids[0].rows, right=(1, 2, 3, 4))
    for sentence in (*income_notes(proof, language), *check_words(proof, language)):  # type: ignore[arg-type]
        say.quiet(sentence)
    if proof.seals:
        say.head("Seals of the weeks")
        for row in seal_rows(proof):
            say.line(f"  {row}")
