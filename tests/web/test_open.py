"""`drybank open` as a process of its own: a new book, the owner's link once, a first page that says what to do first."""

import http.cookiejar
import re
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request

import pytest


@pytest.fixture
def opened(tmp_path):
    """The running command, its address and first link."""
    import os

    surroundings = {k: v for k, v in os.environ.items() if not k.startswith(("DRYBANK", "DJANGO"))}
    surroundings |= {"XDG_STATE_HOME": str(tmp_path / "state")}
    words = [sys.executable, "-c", "from drybank.cli.main import run; run()", "open", "--no-browser", "--port", "0"]
    run = subprocess.Popen([*words, "--book", str(tmp_path / "new.book")], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=surroundings)  # fmt: skip
    said = "".join(run.stdout.readline() for _ in range(3))
    yield said, tmp_path
    run.terminate()
    run.wait(10)


def test_first_start_prints_a_link_that_makes_the_owner_and_the_new_book_says_what_to_do_first(opened):
    said, place = opened
    address = re.search(r"open at (http://127\.0\.0\.1:\d+)/", said)[1]
    link = re.search(r"(http\S+/invited/\S+)", said)[1]
    assert (place / "new.book").exists()
    key = next((place / "state" / "drybank").iterdir())
    assert key.stat().st_mode & 0o077 == 0, "the key is its owner's alone"

    jar = http.cookiejar.CookieJar()
    web = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    form = web.open(link).read().decode()
    mark = re.search(r'csrfmiddlewaretoken" value="([^"]+)"', form)[1]
    given = {
        "csrfmiddlewaretoken": mark,
        "handle": "r",
        "name": "R",
        "password": "wet heavy towels",
        "again": "wet heavy towels",
    }
    refused = urllib.request.Request(link, urllib.parse.urlencode(given).encode(), {"Origin": address, "Referer": link})
    with pytest.raises(urllib.error.HTTPError) as bad:
        web.open(refused)
    assert bad.value.code == 422, "one letter is too short for a name"
    given["handle"] = "rosa"
    page = web.open(
        urllib.request.Request(link, urllib.parse.urlencode(given).encode(), {"Origin": address, "Referer": link})
    )
    text = page.read().decode()
    assert "Begin with your store" in text
    assert "Make the demo" in text
    font = web.open(f"{address}/static/fonts/AtkinsonHyperlegibleNext-400.ttf")
    assert font.headers["Content-Type"] == "font/ttf"
    assert "server" not in {k.lower() for k in page.headers}


def test_a_port_that_is_taken_is_a_plain_sentence(tmp_path):
    import socket

    from drybank.records.errors import InputError
    from drybank.web.serving import listen

    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(InputError, match=r"Port \d+ is taken"):
            listen("127.0.0.1", other.getsockname()[1])
