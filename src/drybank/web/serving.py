"""Serve the pages of one book: the port, the owner's first link, the browser."""

from __future__ import annotations

import argparse
import socket
import sys
import threading
import webbrowser
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from drybank.records.errors import InputError

if TYPE_CHECKING:
    from drybank.book import Book

THREADS = 8


class Serving(msgspec.Struct, frozen=True, kw_only=True):
    """What to serve and where. ``is_demo``: the demo's book, whose owner is let in by one link."""

    book: str
    host: str = "127.0.0.1"
    port: int = 8730
    opens_browser: bool = True
    is_demo: bool = False


def asked(words: Sequence[str] | None = None) -> Serving:
    """What the command line asks for."""
    parser = argparse.ArgumentParser(prog="drybank open", add_help=False)
    parser.add_argument("--book", required=True)
    parser.add_argument("--port", type=int, default=8730)
    parser.add_argument("--no-browser", action="store_true")
    parser.add_argument("--demo", action="store_true")
    said = parser.parse_args(words)
    return Serving(book=said.book, port=said.port, opens_browser=not said.no_browser, is_demo=said.demo)


def main(words: Sequence[str] | None = None) -> None:
    """Until it is stopped."""
    serve(asked(words))


def listen(host: str, port: int) -> socket.socket:
    """The port, taken; a plain sentence where somebody else has it."""
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
        taken.listen(64)  # who comes before the first answer waits
    except OSError as bad:
        taken.close()
        raise InputError(
            f"Port {port} is taken or may not be used ({bad.strerror}).",
            mend="Is Drybank open already? Or choose another: --port 0.",
        ) from bad
    return taken


def serve(wanted: Serving) -> None:
    """Open the book, say where the pages are, answer until stopped."""
    from drybank.web import site

    taken = listen(wanted.host, wanted.port)
    address = f"http://{wanted.host}:{taken.getsockname()[1]}/"
    site.name_book(wanted.book)
    if wanted.is_demo:
        from drybank.desk.demo import make_demo

        make_demo(wanted.book)
    book = site.begin(wanted.book)
    site.standing.address, site.standing.is_demo = address, wanted.is_demo
    link = first_link(address)
    _say(f"Drybank is open at {address} on the book {book.name}. Stop it with Ctrl-C.")
    if link:
        _say(f"This book has no owner yet. This link makes the owner's account, once, within a day:\n  {link}")
    if wanted.opens_browser:
        threading.Timer(0.5, webbrowser.open, [link or address]).start()
    threading.Thread(target=_warm, args=(book,), daemon=True, name="warm").start()
    try:
        _answer(taken)
    except KeyboardInterrupt:
        _say("Closed. Everything entered is in the book.")


def _answer(taken: socket.socket) -> None:
    from waitress import create_server  # type: ignore[import-untyped]

    from drybank.web import site

    server: Any = create_server(
        site.application(), sockets=[taken], threads=THREADS, ident=None, clear_untrusted_proxy_headers=True
    )
    server.run()


def first_link(address: str) -> str:
    """A link that makes the owner's account, where there is no owner yet; earlier ones stop working."""
    from drybank.web import people, site
    from drybank.web.models import EVERY_STORE, Invitation

    if people.has_owner():
        return ""
    Invitation.objects.filter(role="owner", store=EVERY_STORE, used=None).delete()
    return f"{address}invited/{people.invite(store=EVERY_STORE, role='owner', now=site.now(), days=1)}"


def _warm(book: Book) -> None:
    """Draw once and read each store's use, so that the first page is quick."""
    from django.db import connections

    from drybank.desk.drawing import Chart, draw
    from drybank.records.errors import DrybankError
    from drybank.web import work

    try:
        draw(Chart(title="", alt="", spec={"data": {"values": []}, "mark": "bar"}, heads=(), rows=()))
        for store in book.stores():
            work.upkeep(store)
    except DrybankError:
        pass  # the page will say it
    finally:
        connections.close_all()


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()
