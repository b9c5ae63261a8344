"""`drybank weigh`: how many coins are in a bag, or what a mixed bag is worth. Needs no book."""

from __future__ import annotations

from typing import Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import AsJson


@app.command(
    epilog="Example: drybank weigh '2.4 kg' 25 --currency USD --tare '40 g' --step '1 g' --own '25=1000:5622 g'"
)
def weigh(
    gross: Annotated[str, typer.Argument(help="The weight shown, with its unit, as '2.4 kg'.", show_default=False)],
    coins: Annotated[
        list[int], typer.Argument(help="The coins in the bag, by minor units: 25, or 25 100.", show_default=False)
    ],
    currency: Annotated[str, typer.Option("--currency", help="USD, CAD, EUR or GBP.")] = "USD",
    tare: Annotated[str, typer.Option("--tare", help="The empty bag, as '40 g'.")] = "",
    step: Annotated[str, typer.Option("--step", help="The scale's step, as '1 g'.")] = "1 g",
    own: Annotated[list[str] | None, typer.Option("--own", help="Your own coins: 25=1000:5622 g.")] = None,
    share: Annotated[
        list[str] | None, typer.Option("--share", help="A kind's share of the coins: 100=45-55 %.")
    ] = None,
    year: Annotated[int, typer.Option("--year", help="Year of the coins where it changes their mass.")] = 0,
    as_json: AsJson = False,
) -> None:
    """Count coins by weight, with how far off the count may be; say when a mixed bag cannot be told."""
    from drybank.cli import say
    from drybank.desk.weighing import Bag
    from drybank.desk.weighing import weigh as weigh_bag

    found = weigh_bag(
        Bag(coins=tuple(coins), currency=currency, gross=gross, tare=tare, step=step, own=tuple(own or ()),
            shares=tuple(share or ()), year=year)
    )  # fmt: skip
    if as_json:
        say.as_json(found)
        return
    say.line(found.says)
    if found.worth is not None:
        say.line(f"Worth {found.worth}.")
    if found.exact_up_to is not None:
        say.quiet(f"This scale tells to the coin up to {found.exact_up_to} coins.")
    for spec in found.coins:
        say.quiet(f"  {spec.name}: {spec.mass_g:g} g new ({spec.source}; {spec.known})")
    for taken in found.count.assumed if found.count is not None else ():
        say.quiet(f"  Assumed: {taken.name}, {taken.taken} ({taken.source})")
