"""The phone's page on the server's side: words in both languages, files under one mark, a worker that keeps the shell only."""

import hashlib
import json
import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from drybank.web.views import phone

from .conftest import STORE

WEB = Path(phone.__file__).parents[1]
CODE = sorted((WEB / "static" / "phone").glob("*.js"))
CATALOGUE = WEB / "locale" / "es" / "LC_MESSAGES" / "djangojs.po"


def phrases():
    """Phrases handed to t(...), and those that an entry carries for the list of what waits: ["Reading ...", {...}]."""
    found = set()
    for path in CODE:
        text = path.read_text()
        found |= set(re.findall(r'\bt\(\s*"((?:[^"\\]|\\.)*)"', text))
        for said in re.findall(r'\[(?:[\w.]+(?: === "\w+")? \? )?("[A-Z][^\[\]]*?"),\s*\{', text):
            found |= set(re.findall(r'"([A-Z][^"]*)"', said))
    return found


def turned():
    with CATALOGUE.open("rb") as file:
        return {m.id: m.string for m in read_po(file) if m.id}


def test_every_phrase_of_the_phone_has_its_spanish_and_no_other_stands_there():
    assert len(phrases()) > 250
    assert sorted(phrases() - set(turned())) == []
    assert sorted(set(turned()) - phrases()) == []
    assert all(turned().values())


def test_places_for_figures_are_the_same_in_both_languages():
    slots = re.compile(r"\{\w+\}")
    assert [s for s, t in turned().items() if sorted(slots.findall(s)) != sorted(slots.findall(t))] == []


def test_the_table_that_the_phone_takes_along_is_the_catalogue(as_):
    mark = phone.standing()[0]
    table = json.loads(as_("").get(f"/phone/files/{mark}/words.json").content)
    assert table["es"] == turned()


class TestWhatIsServed:
    def test_the_shell_is_the_same_for_everybody_and_names_nobody(self, as_):
        pages = {as_(who).get("/phone/").content for who in ("", "owner", "collector")}
        assert len(pages) == 1
        assert b"csrf" not in pages.pop().lower()

    def test_the_policy_stays_strict(self, as_):
        answer = as_("").get("/phone/")
        assert "'unsafe" not in answer["Content-Security-Policy"]
        assert b"<script>" not in answer.content
        assert b"style=" not in answer.content

    def test_files_of_another_version_are_not_there(self, as_):
        assert as_("").get("/phone/files/000000000000/app.js").status_code == 404

    @pytest.mark.parametrize("name", ["../look.css", "worker.js", "none.js", "vendor/../app.js", "%2e%2e/look.css"])
    def test_nothing_but_the_listed_files_is_given(self, as_, name):
        assert as_("").get(f"/phone/files/{phone.standing()[0]}/{name}").status_code == 404

    def test_every_file_that_the_worker_keeps_is_what_its_hash_says(self, as_):
        text = as_("").get("/phone/worker.js").content.decode()
        listed = json.loads(re.search(r"const FILES = (\[.*\]);", text)[1])
        paths = [path for path, _ in listed]
        assert "/phone/" in paths
        assert not any("/api/" in p or "log-in" in p for p in paths)
        for path, digest in listed:
            if path.startswith("/phone/"):
                assert hashlib.sha256(as_("").get(path).content).hexdigest() == digest, path

    def test_modules_import_only_files_that_are_kept(self):
        names = {p.relative_to(WEB / "static" / "phone").as_posix() for p in (WEB / "static" / "phone").rglob("*.js")}
        for path in CODE:
            for said in re.findall(r'from "\./([^"]+)"', path.read_text()):
                assert said in names, f"{path.name} imports {said}"

    def test_manifest_can_be_installed(self, as_):
        said = json.loads(as_("").get("/phone/manifest.json").content)
        assert said["start_url"] == "/phone/"
        assert {"192x192", "512x512"} <= {i["sizes"] for i in said["icons"]}
        assert any(i["purpose"] == "maskable" for i in said["icons"])
        for icon in said["icons"]:
            assert as_("").get(icon["src"]).content.startswith(b"\x89PNG")

    def test_the_library_stands_beside_its_licence(self):
        there = WEB / "static" / "phone" / "vendor"
        assert "Permission to use, copy, modify" in (there / "idb-LICENSE.txt").read_text()


def test_the_books_answers_to_a_phone_come_in_the_persons_language(as_):
    """A Spanish speaker's hand-over of a bag nobody knows: refused in Spanish, sentence by sentence."""
    from drybank.desk.stamp import new_id
    from drybank.web import site
    from drybank.web.models import Person

    Person.objects.filter(handle="collector").update(language="es")
    try:
        body = {"kind": "hand-over", "bag": "Z9", "to": "Tobin"}
        entry = {"id": new_id(), "happened": f"{site.now():%Y-%m-%dT%H:%M:%SZ}", "body": body}
        answer = as_("collector").post(
            f"/api/v1/stores/{STORE}/entries", {"entries": [entry]}, content_type="application/json"
        )
        assert answer.json()["answers"][0]["why"] == (
            "Ninguna recaudación ni recuento nombra la bolsa «Z9». Compruebe su número."
        )
    finally:
        Person.objects.filter(handle="collector").update(language="")
