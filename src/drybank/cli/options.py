"""Options that several commands share, worded once."""

from __future__ import annotations

from typing import Annotated

import typer

BookPath = Annotated[
    str,
    typer.Option("--book", "-b", envvar="DRYBANK_BOOK", help="The book: a file, or a postgresql:// address."),
]
AsJson = Annotated[bool, typer.Option("--json", help="The result as JSON, for machines.")]
By = Annotated[str, typer.Option("--by", envvar="DRYBANK_BY", help="Who writes this: a handle, such as r or maria.")]
StoreKey = Annotated[str, typer.Argument(help="The store's key, as in its file.", show_default=False)]
Since = Annotated[str, typer.Option("--since", help="First day, as 2026-05-03.", show_default=False)]
Until = Annotated[str, typer.Option("--until", help="Last day, as 2026-05-31.", show_default=False)]
DEFAULT_BOOK = "drybank.book"
