"""`drybank tariff`: what the store's tariff makes of a quantity of fuel, and whether a bill agrees with itself."""

from __future__ import annotations

from typing import Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, StoreKey


@app.command(epilog="Example: drybank tariff lantern gas 2026-05 1623 --amount 794.75 --price 0.49")
def tariff(
    store: StoreKey,
    fuel: Annotated[str, typer.Argument(help="gas, propane or electricity.")],
    period: Annotated[str, typer.Argument(help="2026-05, or 2026-05-03..2026-06-02.")],
    quantity: Annotated[str, typer.Argument(help="How much was used.")],
    unit: Annotated[str, typer.Option("--unit", help="Its unit, if not the tariff's own.")] = "",
    peak: Annotated[str, typer.Option("--peak", help="Highest demand in kW, where the tariff bills it.")] = "",
    amount: Annotated[str, typer.Option("--amount", help="What the bill says it cost.")] = "",
    price: Annotated[str, typer.Option("--price", help="The unit price printed on the bill.")] = "",
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """Make the bill by the store's own tariff, line by line to the cent; flag a printed price or amount that does not agree."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.tariffs import TariffAsk, tariff_told

    ask = TariffAsk(fuel=fuel, period=period, quantity=quantity, unit=unit, peak_kw=peak, amount=amount, price=price)
    with opened(book) as it:
        told = tariff_told(it, store, ask, pen("").clock())
    if as_json:
        say.as_json(told)
    else:
        say.head(f"{told.bill.tariff}, {told.bill.first_day} to {told.bill.last_day}")
        rows = [(x.name, x.formula, str(x.amount)) for x in told.bill.lines]
        say.table(("line", "how", "amount"), [*rows, ("total", "", str(told.bill.total))], right=(2,), wraps=(1,))
        say.line(cost_said(told.cost.unit, told.cost.currency, told.cost.marginal_minor, told.cost.average_minor))
        for note in told.bill.notes:
            say.quiet(note)
        for one in told.assumptions:
            say.quiet(f"Assumed: {one.name}: {one.taken} ({one.source})")
        for finding in told.findings:
            say.heed(finding)
    if told.findings:
        raise typer.Exit(3)


def cost_said(unit: str, currency: str, marginal: object, average: object) -> str:
    """The next unit and the average, in whole currency units."""
    from decimal import Decimal

    from drybank.records.money import MINOR_DIGITS

    def major(minor: object) -> str:
        return f"{Decimal(str(minor)).scaleb(-MINOR_DIGITS[currency]).normalize():f} {currency}"

    text = f"One more {unit} costs {major(marginal)}"
    return text + (f"; a {unit} on average {major(average)}." if average is not None else ".")
