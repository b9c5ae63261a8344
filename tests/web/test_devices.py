"""Device tokens: shown once, kept hashed, one person in one store, ended at any time; how often anybody may ask; no secret in a log."""

import json
import logging
import re
from datetime import timedelta

import pytest
from django.test import Client

from drybank.web.api import limits

from .conftest import OTHER, PASSWORD, STORE
from .test_api_entries import booked, note, now, post, said

PAGE = f"/s/{STORE}/devices"
ME = "/api/v1/me"


@pytest.fixture(autouse=True)
def fresh_buckets():
    limits.buckets.clear()
    yield
    limits.buckets.clear()


def make(client, handle="technician", label="van phone", days="30"):
    answer = client.post(PAGE, {"what": "make", "handle": handle, "label": label, "days": days})
    found = re.search(r"drybank1_[\w-]+", answer.content.decode())
    return answer, found and found[0]


class Bearer(Client):
    """A program with a token and no cookies."""

    def __init__(self, secret):
        super().__init__(headers={"Authorization": f"Bearer {secret}"}, enforce_csrf_checks=True)


@pytest.fixture
def secret(as_):
    return make(as_("owner"))[1]


def row(secret):
    from drybank.web.devices import hash_of
    from drybank.web.models import DeviceToken

    return DeviceToken.objects.get(secret_sha256=hash_of(secret))


class TestToken:
    def test_it_is_shown_once_and_kept_as_a_hash_only(self, as_, town, secret):
        assert secret not in as_("owner").get(PAGE).content.decode()
        from django.db import connections

        with connections["default"].cursor() as cursor:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            tables = [name for (name,) in cursor.fetchall()]
            for table in tables:
                cursor.execute(f'SELECT * FROM "{table}"')
                assert secret not in repr(cursor.fetchall()), table

    def test_it_sends_as_its_person_and_names_device_token_and_maker(self, secret):
        entry = note()
        assert said(post(Bearer(secret), [entry], device="something else")) == ["stored"]
        found = booked(entry["id"]).entry
        assert (found.by, found.origin) == ("technician", f"phone van phone (token {row(secret).pk}, made by owner)")

    def test_it_needs_no_form_mark_and_gives_none(self, secret):
        me = Bearer(secret).get(ME).json()
        assert (me["handle"], me["csrf"], [s["store"] for s in me["stores"]]) == ("technician", "", [STORE])

    def test_it_holds_in_its_store_only_even_for_who_owns_every_store(self, as_):
        secret = make(as_("ada"), handle="ada")[1]
        assert Bearer(secret).get(f"/api/v1/stores/{STORE}/cash").status_code == 200
        assert Bearer(secret).get(f"/api/v1/stores/{OTHER}/cash").status_code == 404
        assert [s["store"] for s in Bearer(secret).get(ME).json()["stores"]] == [STORE]

    def test_it_opens_no_page(self, secret):
        assert Bearer(secret).get(f"/s/{STORE}/").status_code == 302

    def test_it_can_do_no_more_than_its_person(self, as_):
        secret = make(as_("owner"), handle="counter")[1]
        assert Bearer(secret).get(f"/api/v1/stores/{STORE}/balance").status_code == 404
        assert said(post(Bearer(secret), [note()])) == ["stored"]

    def test_ended_it_is_dead_at_once(self, as_, secret):
        assert Bearer(secret).get(ME).status_code == 200
        as_("manager").post(PAGE, {"what": "end", "id": row(secret).pk})
        answer = Bearer(secret).get(ME)
        assert (answer.status_code, answer.json()["code"]) == (401, "token")
        assert "ended" in answer.json()["error"]

    def test_it_dies_by_itself_and_with_its_person(self, as_, secret, monkeypatch):
        from drybank.web import site
        from drybank.web.models import Person

        Person.objects.filter(handle="technician").update(is_active=False)
        try:
            assert Bearer(secret).get(ME).status_code == 401
        finally:
            Person.objects.filter(handle="technician").update(is_active=True)
        later = now() + timedelta(days=30, minutes=1)
        monkeypatch.setattr(site.standing, "clock", lambda: later)
        assert Bearer(secret).get(ME).status_code == 401

    def test_its_last_use_is_seen(self, as_, secret):
        assert row(secret).last_used is None
        Bearer(secret).get(ME)
        assert row(secret).last_used == now()

    @pytest.mark.parametrize("bent", ["", "drybank1_", "drybank1_" + "A" * 43, "x" * 5000, "drybank1_ü", "\x00"])
    def test_what_is_no_token_is_refused(self, bent):
        assert Client(headers={"Authorization": f"Bearer {bent}"}).get(ME).status_code == 401

    def test_a_session_s_cookie_does_not_help_a_dead_token(self, as_):
        answer = as_("owner").get(ME, headers={"Authorization": "Bearer drybank1_no"})
        assert answer.status_code == 401


class TestMaking:
    def test_a_manager_makes_none_for_an_owner_and_nobody_else_makes_any(self, as_):
        assert make(as_("manager"))[1]
        answer, secret = make(as_("manager"), handle="owner")
        assert (answer.status_code, secret) == (422, None)
        assert make(as_("manager"), handle="ada")[1] is None, "ada owns every store"
        for handle in ("technician", "accountant", "stranger"):
            assert make(as_(handle))[0].status_code == 404

    @pytest.mark.parametrize(
        "bad",
        [
            {"label": " "},
            {"label": "a\x07b"},
            {"days": "0"},
            {"days": "401"},
            {"days": "x"},
            {"handle": "stranger"},
            {"handle": ""},
        ],
    )
    def test_what_cannot_be_is_said(self, as_, bad):
        answer, secret = make(as_("owner"), **bad)
        assert (answer.status_code, secret) == (422, None)

    def test_another_store_s_token_cannot_be_ended_from_here(self, as_, secret):
        answer = as_("stranger").post(f"/s/{OTHER}/devices", {"what": "end", "id": row(secret).pk})
        assert answer.status_code == 422
        assert row(secret).revoked is None


class TestLimits:
    def test_a_token_run_wild_is_told_to_wait_and_how_long(self, secret, monkeypatch):
        monkeypatch.setattr(limits, "BY_TOKEN", limits.Limit(burst=5, per_s=0.5))
        answers = [Bearer(secret).get(ME) for _ in range(8)]
        assert [a.status_code for a in answers] == [200] * 5 + [429] * 3
        assert 1 <= int(answers[-1]["Retry-After"]) <= 2
        assert answers[-1].json()["code"] == "too-often"

    def test_tokens_tried_out_from_one_address_are_stopped_and_a_good_one_waits_there_too(self, secret):
        guesses = [
            Client(headers={"Authorization": f"Bearer drybank1_{n:043d}"}).get(ME).status_code for n in range(30)
        ]
        assert guesses[:20] == [401] * 20
        assert set(guesses[20:]) == {429}

    def test_a_person_s_phones_share_a_limit_and_another_person_has_their_own(self, as_, monkeypatch):
        monkeypatch.setattr(limits, "BY_PERSON", limits.Limit(burst=3, per_s=0.1))
        first = as_("technician")
        assert [first.get(ME).status_code for _ in range(4)] == [200, 200, 200, 429]
        assert as_("collector").get(ME).status_code == 200

    def test_the_bucket_fills_again(self):
        buckets, clock = limits.Buckets(), [0.0]
        buckets.clock = lambda: clock[0]
        few = limits.Limit(burst=2, per_s=0.5)
        assert [buckets.take("t", "a", few) for _ in range(3)] == [0, 0, 2]
        clock[0] = 2.0
        assert [buckets.take("t", "a", few) for _ in range(2)] == [0, 2]

    def test_many_askers_cannot_fill_the_memory(self, monkeypatch):
        monkeypatch.setattr(limits, "KEPT", 100)
        buckets = limits.Buckets()
        for n in range(1000):
            buckets.take("address", str(n), limits.BY_ADDRESS)
        assert len(buckets._left) == 100


def test_no_secret_reaches_a_log(as_, secret, caplog):
    """Everything that logs, at its most talkative, while secrets go through every door."""
    caplog.set_level(logging.DEBUG)
    Bearer(secret).get(ME)
    post(Bearer(secret), [note(), {"bad": secret}])
    Bearer(secret).post(f"/api/v1/stores/{STORE}/entries", secret, content_type="application/json")
    Bearer(secret).get(f"/api/v1/stores/{STORE}/nothing")
    client = Client()
    client.post("/log-in", {"handle": "owner", "password": PASSWORD + "!"})
    client.post("/log-in", {"handle": "owner", "password": PASSWORD})
    invited = as_("owner").post(f"/s/{STORE}/people", {"what": "invite", "role": "technician"}).content.decode()
    link = re.search(r"/invited/([\w-]+)", invited)[1]
    Client().get(f"/invited/{link}")
    text = json.dumps([r.getMessage() for r in caplog.records]) + "".join(r.exc_text or "" for r in caplog.records)
    session = client.cookies[next(c for c in client.cookies if c.startswith("drybank-"))].value
    for word in (secret, secret[9:], PASSWORD, session):
        assert word not in text
