"""The pages served by the server people use, on a demo book, looked at with Debian's Chromium; skipped where there is none."""

import os
import threading
from pathlib import Path

import pytest

from tests.web.conftest import PASSWORD, begin, town  # noqa: F401  (the same book and cast as tests/web)

os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = (
    "1"  # the driver of the browser runs a loop in this thread; the book is read beside it
)
CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
]
DESK, PHONE = {"width": 1280, "height": 900}, {"width": 360, "height": 740}


@pytest.fixture(scope="session")
def chromium():
    sync_api = pytest.importorskip("playwright.sync_api")
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium at /usr/bin/chromium")
    with sync_api.sync_playwright() as run:
        browser = run.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def served(town):  # noqa: F811
    """The address of the pages, answered by waitress in a thread."""
    from waitress import create_server

    from drybank.web import serving, site

    taken = serving.listen("127.0.0.1", 0)
    server = create_server(site.application(), sockets=[taken], threads=4, ident=None)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://127.0.0.1:{taken.getsockname()[1]}"
    server.close()


@pytest.fixture(scope="session")
def states():
    return {}


@pytest.fixture
def open_as(chromium, served, states):
    """``open_as("owner", phone=True, dark=True, language="es")`` gives a page logged in; complaints of the browser fail the test."""
    opened, complaints = [], []

    def page(handle, *, phone=False, dark=False, language="en"):
        context = chromium.new_context(
            viewport=PHONE if phone else DESK, color_scheme="dark" if dark else "light", locale=language, base_url=served,
            storage_state=states.get(handle), has_touch=phone, reduced_motion="reduce",
        )  # fmt: skip
        opened.append(context)
        context.add_cookies([{"name": "drybank-language", "value": language, "url": served}])
        tab = context.new_page()
        tab.on("console", lambda m: complaints.append(m.text) if m.type == "error" and "422" not in m.text else None)
        tab.on("pageerror", lambda bad: complaints.append(str(bad)))
        if handle not in states:
            log_in(tab, handle)
            states[handle] = context.storage_state()
        return tab

    yield page
    for context in opened:
        context.close()
    assert complaints == []


def log_in(tab, handle):
    tab.goto("/log-in")
    tab.fill("#handle", handle)
    tab.fill("#password", PASSWORD)
    tab.click("main button")
    tab.wait_for_url(lambda url: "log-in" not in url)


def settled(tab, where):
    """The page with its answer in it, not the one that says what is being worked out."""
    tab.goto(where)
    tab.wait_for_selector("main h1", timeout=90_000)
    return tab
