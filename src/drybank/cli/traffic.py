"""`drybank traffic`: a store's week, customer by customer, and what a change would do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.traffic import StoreWeek


@app.command(epilog='Example: drybank traffic lantern --broken 5 --promotion "wed +20 %" --chart week.svg')
def traffic(
    store: StoreKey,
    more: Annotated[str, typer.Option("--more", help="A bank that gets one more pocket.")] = "",
    broken: Annotated[str, typer.Option("--broken", help="A pocket that is out of service.")] = "",
    promotion: Annotated[str, typer.Option("--promotion", help="More customers on a day, as wed +20 %.")] = "",
    setting: Annotated[
        list[str] | None, typer.Option("--set", help="Another house setting, as name=value; repeat for several.")
    ] = None,
    bank: Annotated[str, typer.Option("--bank", help="The bank that --set is for.")] = "",
    weeks: Annotated[int, typer.Option("--weeks", help="Weeks of each replication.")] = 4,
    replications: Annotated[int, typer.Option("--replications", help="Independent replications.")] = 60,
    seed: Annotated[int, typer.Option("--seed", help="The same seed brings the same customers.")] = 1,
    cluster: Annotated[str, typer.Option("--cluster", help="A running dask scheduler, as tcp://10.0.0.5:8786.")] = "",
    chart: Annotated[str, typer.Option("--chart", help="Draw the week into this file: .svg or .png.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """A store's week: customers, waits, pockets taken; what one more or one broken pocket, a promotion or a price does."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.drying_ask import form_of
    from drybank.desk.traffic import Ask, chart_of, store_week

    form = form_of(chart)
    ask = Ask(
        more=more, broken=broken, promotion=promotion, settings=tuple(setting or ()), bank=bank, weeks=weeks,
        replications=replications, seed=seed, cluster=cluster,
    )  # fmt: skip
    with opened(book) as it, say.progress("Simulating weeks", shown=not as_json):
        week = store_week(it, store, pen(by), ask)
    if form:
        from pathlib import Path

        from drybank.desk.drawing import draw

        Path(chart).write_bytes(draw(chart_of(week), "png" if form == "png" else "svg"))
    if as_json:
        say.as_json(week)
        return
    _show(week)
    if form:
        say.line(f"Drawn: {chart}")


def _show(week: StoreWeek) -> None:
    from drybank.cli import say
    from drybank.desk.traffic import HEADS, day_rows, effect_rows

    say.head(week.answer)
    say.table(HEADS, day_rows(week.traffic), right=(1, 2, 3, 4, 5))
    for change in week.changes:
        say.head(f"With {change.change}")
        say.table(("a week", "today", "change", "give or take"), effect_rows(change), right=(1, 2, 3))
    say.quiet(
        f"{week.traffic.replications} replications of {week.traffic.weeks} weeks; “give or take” covers chance alone (95 %), "
        "not what is assumed."
    )
    for note in week.notes:
        say.heed(note)
    for taken in week.traffic.assumptions:
        say.quiet(f"  Assumed: {taken.name}: {taken.taken} ({taken.source})")
