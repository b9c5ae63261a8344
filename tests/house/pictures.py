"""The pictures of the README, made anew from the demo's pages: ``python -m tests.house.pictures``.

Debian's Chromium looks at the pages of an invented store, as an owner sees them; each picture is the first screen of its page.
"""

import os
import tempfile
import threading
from pathlib import Path

os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
from tests.web.conftest import PASSWORD, begin

PLACE = Path(__file__).parents[2] / "docs" / "pictures"
STORE = "lantern"
LARGEST_BYTES = 150_000
WIDTH, HEIGHT = 1000, 760
PAGES = {
    "today": f"/s/{STORE}/", "plan": f"/s/{STORE}/plan/long%20wall", "balance": f"/s/{STORE}/balance?since=2026-08-24&until=2026-11-15&wait=1",
    "pocket": f"/s/{STORE}/pocket/22",
}  # fmt: skip


def serve(book):
    """The address of the pages on a demo book."""
    from waitress import create_server

    from drybank.web import serving, site

    begin(book)
    taken = serving.listen("127.0.0.1", 0)
    server = create_server(site.application(), sockets=[taken], threads=4, ident=None)
    threading.Thread(target=server.run, daemon=True).start()
    return f"http://127.0.0.1:{taken.getsockname()[1]}"


def main():
    from playwright.sync_api import sync_playwright

    PLACE.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as run:
        base = serve(Path(folder) / "town.book")
        browser = run.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        tab = browser.new_context(
            viewport={"width": WIDTH, "height": HEIGHT}, base_url=base, reduced_motion="reduce"
        ).new_page()
        tab.goto("/log-in")
        tab.fill("#handle", "ada")
        tab.fill("#password", PASSWORD)
        tab.click("main button")
        tab.wait_for_url(lambda url: "log-in" not in url)
        for name, where in PAGES.items():
            tab.goto(where)
            tab.wait_for_selector("main h1", timeout=120_000)
            file = PLACE / f"{name}.png"
            tab.screenshot(path=str(file))
            assert file.stat().st_size < LARGEST_BYTES, f"{name} has {file.stat().st_size} bytes"
        browser.close()


if __name__ == "__main__":
    main()
    os._exit(0)  # the server's thread goes with it
