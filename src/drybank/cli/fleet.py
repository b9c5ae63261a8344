"""`drybank fleet`: every bank's plan, or every store's week, of a whole book; here or on a cluster."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By

if TYPE_CHECKING:
    from drybank.desk.everywhere import Everywhere


@app.command(epilog="Example: drybank fleet plan --cluster tcp://10.0.0.5:8786")
def fleet(
    what: Annotated[str, typer.Argument(help="plan (every bank) or traffic (every store's week).", show_default=False)],
    cluster: Annotated[str, typer.Option("--cluster", help="A running dask scheduler, as tcp://10.0.0.5:8786.")] = "",
    weeks: Annotated[int, typer.Option("--weeks", help="With traffic: weeks of each replication.")] = 4,
    replications: Annotated[int, typer.Option("--replications", help="With traffic: independent replications.")] = 20,
    seed: Annotated[int, typer.Option("--seed", help="With traffic: the same seed brings the same customers.")] = 1,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Every bank's plan, or every store's week, of a whole book. For the balance of all stores: drybank balance --all."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import everywhere
    from drybank.records.errors import InputError
    from drybank.traffic.running import Work

    if what not in ("plan", "traffic"):
        raise InputError(f"“{what}” is not done for a whole book.", allowed="plan, traffic")
    with opened(book) as it, say.progress("Reading stores", shown=not as_json) as bar:
        if what == "plan":
            answer = everywhere.plan_everywhere(it, pen(by), cluster=cluster, step=bar.step)
        else:
            work = Work(weeks=weeks, replications=replications, seed=seed, warm_weeks=1, threads=1 if cluster else 2)
            answer = everywhere.weeks_everywhere(it, pen(by), work, cluster=cluster, step=bar.step)
    say.as_json(answer) if as_json else _show(answer)


def _show(answer: Everywhere) -> None:
    from drybank.cli import say

    for line in answer.lines:
        say.head(f"{line.store}, {line.bank}" if line.bank else line.store)
        say.line(line.says)
    for sentence in answer.left_out:
        say.heed(f"Left out: {sentence}")
    say.quiet(f"{len(answer.lines)} worked out, {len(answer.left_out) or 'none'} left out.")
