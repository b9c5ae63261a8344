"""`drybank open --lan`: a real TLS handshake against the place's own authority, by the standard library's ssl (OpenSSL)."""

import contextlib
import http.client
import os
import re
import socket
import ssl
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization

from drybank.records.errors import InputError
from drybank.web.certificate import LEAF_DAYS, own_names, place_certificate

NOW = datetime.now(UTC)
OWN = ("laundry-pc", "laundry-pc.local", "localhost", "127.0.0.1", "192.168.7.20")


def place(folder, asked=(), own=OWN, now=NOW):
    return place_certificate(asked, own, now, folder)


def trusting(ca, **how):
    context = ssl.create_default_context(cafile=str(ca))
    for name, value in how.items():
        setattr(context, name, value)
    return context


@contextlib.contextmanager
def echo(leaf, key):
    """A TLS server of the standard library that shakes one hand."""
    import threading

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(leaf, key)
    listening = socket.create_server(("127.0.0.1", 0))

    def once():
        with contextlib.suppress(OSError), context.wrap_socket(listening.accept()[0], server_side=True) as one:
            one.recv(1)

    threading.Thread(target=once, daemon=True).start()
    yield listening.getsockname()[1]
    listening.close()


def shake(port, ca, name):
    with (
        socket.create_connection(("127.0.0.1", port), timeout=5) as raw,
        trusting(ca).wrap_socket(raw, server_hostname=name) as tls,
    ):
        return tls.version()


class TestCertificate:
    @pytest.mark.parametrize("name", ["laundry-pc.local", "localhost", "192.168.7.20"])
    def test_who_trusts_the_authority_reaches_every_name_and_address(self, tmp_path, name):
        made = place(tmp_path)
        with echo(made.leaf, made.key) as port:
            assert shake(port, made.ca, name) in ("TLSv1.2", "TLSv1.3")

    def test_nobody_is_reached_under_another_name_or_without_trust(self, tmp_path):
        made = place(tmp_path)
        with echo(made.leaf, made.key) as port, pytest.raises(ssl.SSLCertVerificationError):
            shake(port, made.ca, "10.0.0.9")
        other = place(tmp_path / "other")
        with echo(made.leaf, made.key) as port, pytest.raises(ssl.SSLCertVerificationError):
            shake(port, other.ca, "localhost")

    @pytest.mark.parametrize("name", ["bank.example", "203.0.113.9"])
    def test_a_stolen_authority_cannot_stand_for_the_rest_of_the_world(self, tmp_path, name):
        """Name constraints (RFC 5280, 4.2.1.10), as OpenSSL holds them."""
        made = place(tmp_path)
        ca = x509.load_pem_x509_certificate(made.ca.read_bytes())
        key = serialization.load_pem_private_key((tmp_path / "place-ca.key").read_bytes(), None)
        leaf = x509.load_pem_x509_certificate(made.leaf.read_bytes())
        import ipaddress

        named = x509.IPAddress(ipaddress.ip_address(name)) if name[0].isdigit() else x509.DNSName(name)
        forged = (
            x509.CertificateBuilder().subject_name(x509.Name([])).issuer_name(ca.subject).public_key(leaf.public_key())
            .serial_number(7).not_valid_before(leaf.not_valid_before_utc).not_valid_after(leaf.not_valid_after_utc)
            .add_extension(x509.SubjectAlternativeName([named]), critical=True)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False)
            .sign(key, hashes.SHA256())
        )  # fmt: skip
        (tmp_path / "forged.crt").write_bytes(forged.public_bytes(serialization.Encoding.PEM))
        with (
            echo(tmp_path / "forged.crt", made.key) as port,
            pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree"),
        ):
            shake(port, made.ca, name)

    def test_it_stays_until_a_month_before_its_end_and_the_phone_s_trust_with_it(self, tmp_path):
        first = place(tmp_path)
        same = place(tmp_path, now=NOW + timedelta(days=LEAF_DAYS - 40))
        assert same.leaf.read_bytes() == place(tmp_path).leaf.read_bytes()
        later = place(tmp_path, now=NOW + timedelta(days=LEAF_DAYS - 20))
        assert later.ends > first.ends + timedelta(days=300)
        assert later.fingerprint == first.fingerprint

    def test_a_new_address_makes_it_anew_under_the_same_authority(self, tmp_path):
        first = place(tmp_path)
        moved = place(tmp_path, own=(*OWN[:-1], "10.1.2.3"))
        assert ("10.1.2.3" in moved.names, moved.fingerprint) == (True, first.fingerprint)

    def test_a_computer_renamed_goes_on_under_its_addresses(self, tmp_path):
        place(tmp_path)
        assert "new-name" not in place(tmp_path, own=("new-name", *OWN)).names
        with pytest.raises(InputError, match="not for new-name"):
            place(tmp_path, asked=("new-name",))

    @pytest.mark.parametrize("name", ["203.0.113.9", "8.8.8.8", "-bad-", "a b", "*.lan", "x" * 64])
    def test_what_no_such_certificate_should_hold_is_refused(self, tmp_path, name):
        with pytest.raises(InputError):
            place(tmp_path, asked=(name,))

    def test_keys_are_their_owner_s_alone(self, tmp_path):
        place(tmp_path / "state")
        assert all(f.stat().st_mode & 0o077 == 0 for f in (tmp_path / "state").iterdir())
        assert (tmp_path / "state").stat().st_mode & 0o077 == 0

    def test_own_names_are_ones_that_a_certificate_can_hold(self, tmp_path):
        assert "127.0.0.1" in place(tmp_path, own=own_names()).names


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """`drybank open --lan` running, with what it said."""
    home = tmp_path_factory.mktemp("lan")
    surroundings = {k: v for k, v in os.environ.items() if not k.startswith(("DRYBANK", "DJANGO"))} | {
        "XDG_STATE_HOME": str(home)
    }
    words = [
        sys.executable,
        "-c",
        "from drybank.cli.main import run; run()",
        "open",
        "--lan",
        "--no-browser",
        "--port",
        "0",
    ]
    run = subprocess.Popen([*words, "--book", str(home / "new.book")], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=surroundings)  # fmt: skip
    said = ""
    while "/invited/" not in said:
        line = run.stdout.readline()
        assert line, said
        said += line
    yield int(re.search(r"https://localhost:(\d+)/", said)[1]), home / "drybank" / "place-ca.crt", said
    run.terminate()
    run.wait(15)


def ask(port, ca, path="/log-in", host="localhost"):
    one = http.client.HTTPSConnection("localhost", port, timeout=10, context=trusting(ca))
    one.request("GET", path, headers={"Host": host})
    return one.getresponse()


class TestServed:
    def test_the_page_comes_over_tls_with_safe_cookies_and_no_word_of_the_software(self, opened):
        answer = ask(*opened[:2])
        assert answer.status == 200
        cookies = answer.headers.get_all("Set-Cookie")
        assert cookies
        assert all("Secure" in c and "HttpOnly" in c for c in cookies)
        assert "Strict-Transport-Security" not in answer.headers, (
            "no way back once the place's certificate is made anew"
        )
        assert not re.search(r"\d", answer.headers.get("Server", ""))

    def test_the_terminal_shows_the_fingerprint_of_the_certificate_that_is_handed_out(self, opened):
        port, ca, said = opened
        handed = ask(port, ca, "/ca.crt")
        assert handed.headers["Content-Type"] == "application/x-x509-ca-cert"
        found = x509.load_pem_x509_certificate(handed.read())
        assert found.fingerprint(hashes.SHA256()).hex(":").upper() in said

    def test_a_strange_host_is_refused(self, opened):
        assert ask(*opened[:2], host="evil.example").status == 400

    def test_old_tls_and_plain_http_get_nowhere(self, opened):
        port, ca, _ = opened
        context = trusting(ca, maximum_version=ssl.TLSVersion.TLSv1_1)
        context.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
        with socket.create_connection(("127.0.0.1", port)) as raw, pytest.raises((ssl.SSLError, OSError)):
            context.wrap_socket(raw, server_hostname="localhost")
        plain = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        plain.request("GET", "/log-in")
        with contextlib.suppress(http.client.HTTPException, OSError):  # hung up on is as good
            assert plain.getresponse().status == 400

    def test_guests_who_connect_and_say_nothing_keep_nobody_waiting(self, opened):
        port, ca, _ = opened
        silent = [socket.create_connection(("127.0.0.1", port)) for _ in range(60)]
        for one in silent[:10]:
            one.sendall(b"\x16\x03")  # two bytes of a greeting, and then nothing
        try:
            begun = time.monotonic()
            assert ask(port, ca).status == 200
            assert time.monotonic() - begun < 2
        finally:
            for one in silent:
                one.close()


def test_the_doctor_looks_at_the_place_s_certificate_unasked(tmp_path, monkeypatch, town):
    from drybank.desk.doctor import examine

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    place(tmp_path / "drybank")

    def seen(now):
        return [p.verdict for p in examine(str(tmp_path / "no.book"), now).points if p.name == "certificate"]

    assert seen(NOW) == ["well", "well"]
    assert seen(NOW + timedelta(days=LEAF_DAYS - 10)) == ["look", "well"]
    assert seen(NOW + timedelta(days=LEAF_DAYS + 1)) == ["ill", "well"]
