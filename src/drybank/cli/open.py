"""`drybank open`: the pages on the book, in the browser."""

from __future__ import annotations

from typing import Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, BookPath

PORT = 8730


@app.command("open", epilog="Example: drybank open --book town.book")
def open_pages(
    book: BookPath = DEFAULT_BOOK,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="0 takes any that is free.")] = PORT,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser too.")] = True,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan", help="Open them to phones on the local network too, over TLS by a certificate of the place's own."
        ),
    ] = False,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", help="With --lan: one more name or address this computer is reached by."),
    ] = None,
) -> None:
    """Open the pages on this computer; a new book is made where there is none. The first start prints the owner's link."""
    import runpy
    import sys

    sys.argv = ["drybank open", "--book", book, "--port", str(port), *([] if browser else ["--no-browser"])]
    sys.argv += [*(["--lan"] if lan else []), *(word for one in name or () for word in ("--name", one))]
    runpy.run_module("drybank.web", run_name="__main__")  # a face of its own: nothing here knows what is in it
