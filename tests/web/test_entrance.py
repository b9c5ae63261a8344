"""In and out: the first link, log-in, lock-out, expiry, invitations, cookies, forms from elsewhere."""

from datetime import timedelta

import pytest
from django.test import Client

from .conftest import PASSWORD, STORE


def log_in(client, handle, password=PASSWORD, **more):
    return client.post("/log-in", {"handle": handle, "password": password}, **more)


@pytest.fixture
def clean_lock():
    yield
    from axes.utils import reset

    reset()


def test_right_password_leads_to_the_first_page():
    client = Client()
    answer = log_in(client, "owner")
    assert answer.status_code == 302
    assert answer["Location"] == "/"
    assert client.get("/")["Location"] == f"/s/{STORE}/"


def test_wrong_password_says_so_and_keeps_the_name(clean_lock):
    answer = log_in(Client(), "owner", "not this one")
    assert answer.status_code == 401
    assert b"do not fit together" in answer.content
    assert b'value="owner"' in answer.content
    assert b"not this one" not in answer.content


def test_sixth_wrong_password_locks_this_name_out_from_here_and_the_right_one_waits_too(clean_lock):
    client = Client()
    answers = [log_in(client, "manager", "wrong again") for _ in range(6)]
    assert answers[0].status_code == 401
    assert answers[-1].status_code == 429
    late = log_in(client, "manager")
    assert late.status_code == 429
    assert b"Wait 15 minutes" in late.content
    assert log_in(Client(REMOTE_ADDR="10.1.2.3"), "manager").status_code == 302


def test_next_never_leads_off_these_pages():
    for where in ("https://elsewhere.example/", "//elsewhere.example/x", "/\\elsewhere.example"):
        answer = Client().post("/log-in", {"handle": "owner", "password": PASSWORD, "next": where})
        assert answer["Location"] == "/", where


def test_session_ends_after_twelve_hours_and_asks_to_log_in_again(as_):
    from django.contrib.sessions.models import Session

    client = as_("owner")
    key = client.session.session_key
    row = Session.objects.get(session_key=key)
    assert timedelta(hours=11, minutes=59) < row.expire_date - __import__("django.utils.timezone").utils.timezone.now() <= timedelta(hours=12)  # fmt: skip
    row.expire_date = row.expire_date - timedelta(hours=13)
    row.save()
    assert client.get(f"/s/{STORE}/")["Location"].startswith("/log-in?next=")


def test_log_out_ends_the_session(as_):
    client = as_("owner")
    client.post("/log-out")
    assert client.get(f"/s/{STORE}/").status_code == 302


def test_form_without_its_mark_is_refused_and_nothing_is_entered(as_, town):
    client = Client(enforce_csrf_checks=True)
    from drybank.web.models import Person

    client.force_login(Person.objects.get(handle="owner"), backend="django.contrib.auth.backends.ModelBackend")
    tip = town.tip(STORE)
    answer = client.post(f"/s/{STORE}/cash", {"what": "collect", "boxes": "1", "bag": "A1"})
    assert answer.status_code == 403
    assert b"too old" in answer.content
    assert town.tip(STORE) == tip


def test_every_answer_carries_a_strict_policy_and_is_not_kept(as_):
    answer = as_("owner").get(f"/s/{STORE}/book")
    policy = answer["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy.replace("https:", "http:").replace("'self'", "") or "http:" not in policy
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "no-store" in answer["Cache-Control"]


def test_no_page_carries_script_or_style_of_its_own(as_):
    for where in ("", "book", "cash", "people", "set-up"):
        text = as_("owner").get(f"/s/{STORE}/{where}?wait=1").content.decode()
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick=" not in text
        assert "<script>" not in text


def test_session_cookie_is_kept_from_scripts_and_other_sites():
    client = Client()
    log_in(client, "owner")
    cookie = next(c for name, c in client.cookies.items() if name.startswith("drybank-") and "form" not in name)
    assert cookie["httponly"]
    assert cookie["samesite"] == "Strict"


def test_cookies_are_secure_where_the_pages_are_reached_over_tls():
    import subprocess
    import sys

    code = "from drybank.web import settings as s; print(s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, s.SECURE_HSTS_SECONDS > 0)"
    import os

    run = subprocess.run([sys.executable, "-c", code], env=os.environ | {"DRYBANK_TLS": "1"}, capture_output=True, text=True, check=True)  # fmt: skip
    assert run.stdout.split() == ["True", "True", "True"]


class TestInvitation:
    def link(self, as_, **said):
        answer = as_("owner").post(f"/s/{STORE}/people", {"what": "invite", "role": "counter"} | said)
        assert answer.status_code == 200
        return "/invited/" + answer.content.decode().split("/invited/")[1].split("<")[0]

    def join(self, link, handle="nora", password="four slow belts", again=None):
        said = {"handle": handle, "name": "Nora", "password": password, "again": again or password}
        return Client().post(link, said)

    def test_makes_an_account_with_the_role_and_no_more_and_works_once(self, as_):
        link = self.link(as_)
        assert self.join(link).status_code == 302
        client = Client()
        log_in(client, "nora", "four slow belts")
        assert client.get(f"/s/{STORE}/cash").status_code == 200
        assert client.get(f"/s/{STORE}/balance").status_code == 404
        assert client.get("/s/weir/cash").status_code == 404
        assert self.join(link, "second").status_code == 404

    def test_expires(self, as_):
        link = self.link(as_)
        from drybank.web import site

        old = site.standing.clock
        site.standing.clock = lambda: old() + timedelta(days=7, minutes=1)
        try:
            answer = Client().get(link)
        finally:
            site.standing.clock = old
        assert answer.status_code == 404
        assert b"has expired" in answer.content

    def test_withdrawn_it_is_gone(self, as_):
        link = self.link(as_)
        from drybank.web.models import Invitation

        number = Invitation.objects.filter(used=None).latest("id").id
        as_("owner").post(f"/s/{STORE}/people", {"what": "withdraw", "id": number})
        assert Client().get(link).status_code == 404

    def test_weak_password_taken_name_and_odd_letters_are_refused_with_all_reasons(self, as_):
        link = self.link(as_)
        answer = self.join(link, "Owner", "123")
        assert answer.status_code == 422
        text = answer.content.decode()
        assert "Somebody has this short name already." in text
        assert "too short" in text
        assert 'value="Owner"' in text
        assert self.join(link, "a b<c", "four slow belts").status_code == 422
        assert self.join(link, "fine", "four slow belts", "other slow belts").status_code == 422

    def test_its_secret_is_not_in_the_book(self, as_):
        link = self.link(as_)
        from drybank.web.models import Invitation

        secret = link.rsplit("/", 1)[1]
        assert not Invitation.objects.filter(secret_sha256=secret).exists()

    def test_only_an_owner_invites(self, as_):
        assert as_("manager").post(f"/s/{STORE}/people", {"what": "invite", "role": "owner"}).status_code == 404

    def test_nobody_takes_their_own_ownership_away(self, as_):
        from drybank.web.models import Membership

        mine = Membership.objects.get(person__handle="owner", store=STORE)
        answer = as_("owner").post(f"/s/{STORE}/people", {"what": "remove", "id": mine.id})
        assert answer.status_code == 422
        assert Membership.objects.filter(id=mine.id).exists()


def test_first_link_is_for_the_owner_of_a_book_without_one(town, monkeypatch):
    from drybank.web import people, serving

    assert serving.first_link("http://x/") == ""
    monkeypatch.setattr(people, "has_owner", lambda: False)
    first, second = serving.first_link("http://x/"), serving.first_link("http://x/")
    assert Client().get(first.removeprefix("http://x")).status_code == 404, "an earlier link must stop working"
    answer = Client().get(second.removeprefix("http://x"))
    assert b"owner of this book" in answer.content
