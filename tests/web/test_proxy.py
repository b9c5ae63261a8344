"""The reverse proxy and the service unit of the guide on many stores, run as they stand there but for places and ports."""

import json
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest

from .test_api_entries import note
from .test_lan import place, trusting

GUIDE = Path(__file__).parents[2] / "docs" / "guides" / "many-stores.md"
NGINX = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
ANALYZE = shutil.which("systemd-analyze")
HERE = {k: v for k, v in os.environ.items() if not k.startswith(("DRYBANK", "DJANGO"))}


def block(word):
    return re.search(rf"<!-- {word}:[^>]*-->\n```\w+\n(.*?)```", GUIDE.read_text(), re.DOTALL)[1]


@pytest.mark.skipif(ANALYZE is None, reason="systemd-analyze is not installed")
def test_the_unit_is_one_that_systemd_takes(tmp_path):
    unit = block("unit").replace("/opt/drybank/.venv/bin/drybank", str(Path(sys.executable).parent / "drybank"))
    (tmp_path / "drybank.service").write_text(unit.replace("User=drybank", "User=root"))
    said = subprocess.run(
        [ANALYZE, "verify", str(tmp_path / "drybank.service")], capture_output=True, text=True, env=HERE
    )
    ours = [line for line in said.stderr.splitlines() if "drybank.service" in line]
    assert ours == []
    bent = unit.replace("Restart=on-failure", "Restart=whenever")
    (tmp_path / "drybank.service").write_text(bent)
    said = subprocess.run(
        [ANALYZE, "verify", str(tmp_path / "drybank.service")], capture_output=True, text=True, env=HERE
    )
    assert "restart specifier" in said.stderr, "it would have said so"


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@pytest.fixture
def proxied(tmp_path):
    """Drybank behind nginx: the address outside, what the first start said, the authority."""
    made = place(tmp_path / "place")
    inside, outside = free_port(), free_port()
    conf = (
        block("proxy")
        .replace("listen 443", f"listen 127.0.0.1:{outside}")
        .replace("127.0.0.1:8730", f"127.0.0.1:{inside}")
    )
    conf = conf.replace("server_name laundry.example", "server_name localhost")
    conf = re.sub(r"ssl_certificate \S+;", f"ssl_certificate {made.leaf};", conf)
    conf = re.sub(r"ssl_certificate_key \S+;", f"ssl_certificate_key {made.key};", conf)
    for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"):
        (tmp_path / name).mkdir()
    paths = "".join(f"{n}_temp_path {tmp_path / n};\n" for n in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
    user = "user root;" if os.geteuid() == 0 else ""
    (tmp_path / "nginx.conf").write_text(
        f"{user}daemon off;pid {tmp_path}/pid;error_log {tmp_path}/error.log;\nevents {{}}\nhttp {{ access_log off;\n{paths}{conf}}}\n"
    )
    said = HERE | {
        "XDG_STATE_HOME": str(tmp_path),
        "DRYBANK_TLS": "1",
        "DRYBANK_PROXY": "1",
        "DRYBANK_BOOK": str(tmp_path / "a.book"),
    }
    words = [
        sys.executable,
        "-c",
        "from drybank.cli.main import run; run()",
        "open",
        "--no-browser",
        "--port",
        str(inside),
    ]
    drybank = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=said)
    nginx = subprocess.Popen([NGINX, "-c", str(tmp_path / "nginx.conf"), "-p", str(tmp_path)], stderr=subprocess.PIPE)
    try:
        text = ""
        while "/invited/" not in text:
            line = drybank.stdout.readline()
            assert line, text
            text += line
        for _ in range(100):
            try:
                socket.create_connection(("127.0.0.1", outside), timeout=1).close()
                break
            except OSError:
                time.sleep(0.05)
        yield f"https://localhost:{outside}", re.search(r"(/invited/\S+)", text)[1], made.ca, tmp_path / "a.book"
    finally:
        for process in (nginx, drybank):
            process.terminate()
            process.wait(15)


@pytest.mark.skipif(NGINX is None, reason="nginx is not installed (apt install nginx-light)")
def test_log_in_forms_entries_and_addresses_come_through_the_proxy(proxied):
    outside, link, ca, book = proxied
    jar = CookieJar()
    web = urllib.request.build_opener(
        urllib.request.HTTPCookieProcessor(jar), urllib.request.HTTPSHandler(context=trusting(ca))
    )
    form = web.open(outside + link).read().decode()
    mark = re.search(r'csrfmiddlewaretoken" value="([^"]+)"', form)[1]
    given = {
        "csrfmiddlewaretoken": mark,
        "handle": "rosa",
        "name": "R",
        "password": "wet heavy towels",
        "again": "wet heavy towels",
    }
    sent = urllib.request.Request(
        outside + link, urllib.parse.urlencode(given).encode(), {"Origin": outside, "Referer": outside + link}
    )
    page = web.open(sent)
    assert "Begin with your store" in page.read().decode()
    assert page.headers["Strict-Transport-Security"]
    assert all(cookie.secure for cookie in jar)
    me = json.load(web.open(outside + "/api/v1/me"))
    assert me["handle"] == "rosa"
    entries = json.dumps({"entries": [note()]}).encode()
    heads = {"X-CSRFToken": me["csrf"], "Content-Type": "application/json", "Referer": outside + "/", "Origin": outside}
    with pytest.raises(urllib.error.HTTPError) as refused:
        web.open(urllib.request.Request(f"{outside}/api/v1/stores/none/entries", entries, heads))
    assert refused.value.code == 404, "the form's mark was taken; there is no such store"
    wrong = urllib.parse.urlencode({"csrfmiddlewaretoken": mark, "handle": "rosa", "password": "no"}).encode()
    fresh = urllib.request.build_opener(
        urllib.request.HTTPCookieProcessor(CookieJar()), urllib.request.HTTPSHandler(context=trusting(ca))
    )
    form = fresh.open(outside + "/log-in").read().decode()
    mark = re.search(r'csrfmiddlewaretoken" value="([^"]+)"', form)[1]
    wrong = urllib.parse.urlencode({"csrfmiddlewaretoken": mark, "handle": "rosa", "password": "no"}).encode()
    spoofed = {"Origin": outside, "Referer": outside + "/log-in", "X-Forwarded-For": "203.0.113.9"}
    with pytest.raises(urllib.error.HTTPError) as refused:
        fresh.open(urllib.request.Request(outside + "/log-in", wrong, spoofed))
    assert refused.value.code == 401
    import pysqlite3

    with pysqlite3.connect(str(book)) as rows:
        seen = [ip for (ip,) in rows.execute("SELECT ip_address FROM axes_accessattempt")]
    assert seen == ["127.0.0.1"], "the proxy's word counts, not the caller's"


def test_plain_tls_versions_of_the_guide_are_those_of_lan():
    assert "TLSv1.2 TLSv1.3" in block("proxy")
    assert ssl.HAS_TLSv1_3
