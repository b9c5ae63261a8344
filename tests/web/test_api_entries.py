"""Sending entries: once and only once, by right, checked as the terminal would, each entry by itself."""

import json
import os
import threading
from datetime import timedelta

import pytest
from django.test import Client

from drybank.records.ids import uuid7

from .conftest import OTHER, STORE

PATH = f"/api/v1/stores/{STORE}/entries"


def now():
    from drybank.web import site

    return site.now()


def made(body, *, before=timedelta(minutes=5), **more):
    """An entry as a phone writes it."""
    moment = now() - before
    return {
        "id": uuid7(int(moment.timestamp() * 1000), os.urandom(10)),
        "happened": moment.isoformat(),
        "body": body,
        **more,
    }


def note(text="A note.", **more):
    return made({"kind": "note", "says": text}, **more)


def post(client, entries, path=PATH, **more):
    return client.post(path, json.dumps({"entries": entries, **more}), content_type="application/json")


def said(answer):
    assert answer.status_code == 200, answer.content
    return [a["said"] for a in answer.json()["answers"]]


def booked(entry_id):
    from drybank.web import site

    return site.book().find(entry_id)


def in_chain(ids, store=STORE):
    from drybank.web import site

    return [b.entry.id for b in site.book().chain(store) if b.entry.id in set(ids)]


class TestOnce:
    def test_an_entry_sent_again_says_already_and_stands_once(self, as_):
        entry = note()
        assert said(post(as_("technician"), [entry])) == ["stored"]
        assert said(post(as_("technician"), [entry])) == ["already"]
        assert said(post(as_("owner"), [entry])) == ["already"], "whoever sends it after a lost answer"
        assert in_chain([entry["id"]]) == [entry["id"]]
        assert booked(entry["id"]).entry.by == "technician"

    def test_twice_in_one_sending_stands_once(self, as_):
        entry = note()
        assert said(post(as_("technician"), [entry, entry])) == ["stored", "already"]
        assert in_chain([entry["id"]]) == [entry["id"]]

    def test_same_id_with_other_content_is_refused_and_the_first_stays(self, as_):
        entry = note("first")
        other = {**entry, "body": {"kind": "note", "says": "second"}}
        assert said(post(as_("technician"), [entry])) == ["stored"]
        answer = post(as_("technician"), [other]).json()["answers"][0]
        assert (answer["said"], "something else" in answer["why"]) == ("refused", True)
        assert booked(entry["id"]).entry.body.says == "first"

    def test_one_refused_entry_stops_no_other(self, as_):
        good, bad, more = note(), made({"kind": "refund", "pocket": "999", "minor": 100}), note()
        answers = post(as_("technician"), [good, bad, {"no": "entry"}, more]).json()["answers"]
        assert [a["said"] for a in answers] == ["stored", "refused", "refused", "stored"]
        assert "no pocket “999”" in answers[1]["why"]
        assert answers[1]["id"] == bad["id"]


class TestSigned:
    def test_who_and_from_where_is_the_server_s_word(self, as_):
        entry = note(origin="the office, honestly")
        assert said(post(as_("technician"), [entry], device="van phone")) == ["stored"]
        found = booked(entry["id"]).entry
        assert (found.by, found.origin) == ("technician", "phone van phone")

    def test_what_another_wrote_is_not_signed_by_who_sends_it(self, as_):
        answer = post(as_("technician"), [note(by="manager")]).json()["answers"][0]
        assert answer["said"] == "refused"
        assert "Log in as manager" in answer["mend"]

    def test_what_was_written_for_another_store_is_refused(self, as_):
        assert said(post(as_("technician"), [note(store=OTHER)])) == ["refused"]

    def test_a_moment_to_come_is_refused_and_the_clock_named(self, as_):
        answer = post(as_("technician"), [note(before=-timedelta(minutes=38))]).json()["answers"][0]
        assert (answer["said"], "38 min from now" in answer["why"]) == ("refused", True)
        assert "clock is ahead" in answer["mend"]
        assert said(post(as_("technician"), [note(before=-timedelta(minutes=4))])) == ["stored"]

    def test_a_clock_set_back_between_two_entries_is_said(self, as_):
        first, second = note(before=timedelta(minutes=5)), note(before=timedelta(hours=3))
        answers = post(as_("technician"), [first, second]).json()["answers"]
        assert [a["said"] for a in answers] == ["stored", "stored"]
        assert "set back by 175 min" in answers[1]["note"]
        from drybank.web import site

        order = [t.id for t in site.book().story(STORE, kinds=("note",)) if t.id in (first["id"], second["id"])]
        assert order == [second["id"], first["id"]], "the story goes by what happened"
        assert in_chain(order) == [first["id"], second["id"]], "the chain by what was booked"


class TestRace:
    @pytest.mark.parametrize("handles", [("technician", "technician"), ("technician", "manager")])
    def test_two_senders_of_the_same_entries_at_once_store_each_once(self, as_, handles):
        entries = [note(f"number {n}") for n in range(20)]
        answers = race([(as_(h), entries) for h in handles])
        assert len(in_chain([e["id"] for e in entries])) == 20
        assert {s for a in answers for s in said(a)} <= {"stored", "already"}
        assert sum(s == "stored" for a in answers for s in said(a)) == 20


def race(senders):
    """Each sends in a thread of its own, all at one moment."""
    from django.db import connections

    gate, answers = threading.Barrier(len(senders)), [None] * len(senders)

    def send(n, client, entries):
        try:
            gate.wait()
            answers[n] = post(client, entries)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=send, args=(n, *one)) for n, one in enumerate(senders)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    return answers


class TestDoor:
    def test_who_is_not_logged_in_gets_json_and_no_redirect(self):
        answer = post(Client(), [note()])
        assert (answer.status_code, answer["Content-Type"]) == (401, "application/json")
        assert set(answer.json()) >= {"error", "mend"}

    def test_a_session_without_the_form_mark_is_refused(self, as_):
        client = as_("technician")
        client.handler.enforce_csrf_checks = True
        assert post(client, [note()]).status_code == 401
        mark = client.get("/api/v1/me").json()["csrf"]
        sent = client.post(
            PATH, json.dumps({"entries": [note()]}), content_type="application/json", headers={"X-CSRFToken": mark}
        )
        assert said(sent) == ["stored"]

    @pytest.mark.parametrize(("handle", "status"), [("stranger", 404), ("partner", 404), ("collector", 200)])
    def test_a_stranger_finds_nothing(self, as_, handle, status):
        assert post(as_(handle), [note()]).status_code == status

    def test_too_much_is_refused_before_it_is_read(self, as_):
        assert post(as_("technician"), [note()] * 501).status_code == 413
        assert as_("technician").post(PATH, b" " * 2_000_001, content_type="application/json").status_code == 413

    @pytest.mark.parametrize(
        ("raw", "status"),
        [(b"{", 400), (b"[]", 422), (b'{"entries":[],"x":1}', 422), (b"\xff", 400), (b"[" * 100_000, 422)],
    )
    def test_what_is_no_sending_is_said_in_a_sentence(self, as_, raw, status):
        answer = as_("technician").post(PATH, raw, content_type="application/json")
        assert answer.status_code == status
        assert answer.json()["error"]

    def test_me_names_stores_roles_and_kinds(self, as_):
        me = as_("collector").get("/api/v1/me").json()
        assert (me["handle"], [s["store"] for s in me["stores"]]) == ("collector", [STORE])
        assert "collection" in me["stores"][0]["kinds"]
        assert "count" not in me["stores"][0]["kinds"]
