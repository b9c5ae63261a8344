"""Serve the pages of one book: the port, the owner's first link, the browser."""

from __future__ import annotations

import argparse
import os
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
    from drybank.web.certificate import Place

THREADS = 16
LARGEST_BODY = 20_000_000
SWITCH_S = 0.0005
"""The database lets go of the interpreter at every row; with the usual 5 ms each row of a sending waited so long for its turn."""
CONNECTIONS = 1000
"""Kept open at once: a browser holds several, and with the server's usual hundred a crew of fifty phones waited for each other."""


class Serving(msgspec.Struct, frozen=True, kw_only=True):
    """What to serve and where. ``is_demo``: the demo's book, whose owner is let in by one link.

    ``is_lan``: to the local network over TLS, by a certificate made for the place and for ``names`` besides its own.
    """

    book: str
    host: str = "127.0.0.1"
    port: int = 8730
    opens_browser: bool = True
    is_demo: bool = False
    is_lan: bool = False
    names: tuple[str, ...] = ()


def asked(words: Sequence[str] | None = None) -> Serving:
    """What the command line asks for."""
    parser = argparse.ArgumentParser(prog="drybank open", add_help=False)
    parser.add_argument("--book", required=True)
    parser.add_argument("--port", type=int, default=8730)
    parser.add_argument("--no-browser", action="store_true")
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--name", action="append", default=[])
    said = parser.parse_args(words)
    return Serving(
        book=said.book, host="0.0.0.0" if said.lan else "127.0.0.1", port=said.port, opens_browser=not said.no_browser,
        is_demo=said.demo, is_lan=said.lan, names=tuple(said.name),
    )  # fmt: skip


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

    place = _place(wanted) if wanted.is_lan else None
    taken = listen(wanted.host, wanted.port)
    port = taken.getsockname()[1]
    address = f"https://{place.names[0]}:{port}/" if place else f"http://{wanted.host}:{port}/"
    site.name_book(wanted.book)
    if wanted.is_demo:
        from drybank.desk.demo import make_demo

        make_demo(wanted.book)
    book = site.begin(wanted.book)
    site.standing.address, site.standing.is_demo = address, wanted.is_demo
    link = first_link(address)
    _say(f"Drybank is open at {address} on the book {book.name}. Stop it with Ctrl-C.")
    if place:
        site.standing.ca = place.ca
        _say_place(place, port)
    if link:
        _say(f"This book has no owner yet. This link makes the owner's account, once, within a day:\n  {link}")
    if wanted.opens_browser:
        threading.Timer(0.5, webbrowser.open, [link or address]).start()
    threading.Thread(target=_warm, args=(book,), daemon=True, name="warm").start()
    try:
        _answer(taken, place)
    except KeyboardInterrupt:
        _say("Closed. Everything entered is in the book.")


def _place(wanted: Serving) -> Place:
    """The place's certificate, and the surroundings that say so, before anything loads Django."""
    from drybank.desk.stamp import now
    from drybank.web.certificate import own_names, place_certificate

    place = place_certificate(wanted.names, own_names(), now())
    said = {name for name in os.environ.get("DRYBANK_HOSTS", "").split(",") if name} | set(place.names)
    os.environ |= {"DRYBANK_TLS": "1", "DRYBANK_LAN": "1", "DRYBANK_HOSTS": ",".join(sorted(said))}
    return place


def _say_place(place: Place, port: int) -> None:
    _say("Anybody on this network can reach it, and must log in. It answers to:")
    for name in place.names:
        _say(f"  https://{name}:{port}/")
    _say(
        f"Put this place's certificate on each phone once: {place.ca}, or from the address above with ca.crt behind it.\n"
        f"Trust it only if the phone shows this fingerprint (SHA-256):\n  {place.fingerprint}"
    )


def _answer(taken: socket.socket, place: Place | None) -> None:
    """Answer until stopped: over TLS to the network, else plainly to this computer or to the proxy on it."""
    sys.setswitchinterval(SWITCH_S)
    from drybank.web import site

    if place is not None:
        from drybank.web.tls import server

        return server(taken, site.application(), place.leaf, place.key).start()
    from waitress import create_server  # type: ignore[import-untyped]

    said = {"trusted_proxy": "127.0.0.1", "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"}}
    made: Any = create_server(
        site.application(), sockets=[taken], threads=THREADS, ident=None, clear_untrusted_proxy_headers=True,
        max_request_body_size=LARGEST_BODY, connection_limit=CONNECTIONS, asyncore_use_poll=True, **(said if os.environ.get("DRYBANK_PROXY", "") == "1" else {}),
    )  # fmt: skip
    return made.run()  # type: ignore[no-any-return]


def first_link(address: str) -> str:
    """A link that makes the owner's account, where there is no owner yet; earlier ones stop working."""
    from drybank.web import people, site
    from drybank.web.models import EVERY_STORE, Invitation

    if people.has_owner():
        return ""
    Invitation.objects.filter(role="owner", store=EVERY_STORE, used=None).delete()
    return f"{address}invited/{people.invite(store=EVERY_STORE, role='owner', now=site.now(), days=1)}"


def warm_intake(book: Book) -> None:
    """Load every view and read the past of the first stores, so that the first phone to send need not wait for that."""
    from django.urls import get_resolver

    from drybank.desk.intake_past import STORES_KEPT, past_of

    get_resolver().url_patterns  # noqa: B018
    for store in book.stores()[:STORES_KEPT]:
        past = past_of(book, store)
        with past.lock:
            past.refresh(book, store)


def _warm(book: Book) -> None:
    """Draw once and read each store's use, so that the first page is quick."""
    from django.db import connections

    from drybank.desk.drawing import Chart, draw
    from drybank.records.errors import DrybankError
    from drybank.web import work

    try:
        warm_intake(book)
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
