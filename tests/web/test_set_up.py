"""Set-up: a file shown before it is entered, refused with every mistake; the plan adopted as it was shown; one page's settings."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from .conftest import OTHER, STORE


def store_file(town):
    from drybank.book.files import write_store
    from drybank.web import site

    return write_store(town.store_at(OTHER, site.now()))


def upload(client, text, where=f"/s/{OTHER}/set-up", name="store.toml"):
    return client.post(where, {"files": SimpleUploadedFile(name, text.encode())})


def test_changed_file_is_shown_first_and_entered_after(as_, town):
    tip = town.tip(OTHER)
    text = store_file(town)
    name = re.search(r'^name = "(.+)"', text, re.MULTILINE)[1]
    client = as_("stranger")
    shown = upload(client, text.replace(name, "Weir Court Two", 1))
    assert shown.status_code == 200
    body = shown.content.decode()
    assert "would change" in body
    assert "Weir Court Two" in body
    assert town.tip(OTHER) == tip
    sent = {"enter": "1", "name": "store.toml", "text": text.replace(name, "Weir Court Two", 1)}
    assert client.post(f"/s/{OTHER}/set-up", sent).status_code == 302
    from drybank.web import site

    assert town.store_at(OTHER, site.now()).name == "Weir Court Two"


def test_same_file_changes_nothing(as_, town):
    assert b"Nothing would change" in upload(as_("stranger"), store_file(town)).content


def test_broken_file_tells_every_mistake_and_enters_nothing(as_, town):
    tip = town.tip(OTHER)
    text = store_file(town).replace('time_zone = "', 'time_zone = "Nowhere/').replace('currency = "', 'currency = "X')
    answer = upload(as_("stranger"), text)
    assert answer.status_code == 422
    body = answer.content.decode()
    assert "Nowhere/" in body
    assert "XUSD" in body
    assert town.tip(OTHER) == tip


@pytest.mark.parametrize("content", ["", "\x00\x01", "<html>", "[[[", "drybank = 'store 9'"])
def test_what_is_no_store_file_is_refused_in_a_sentence(as_, content):
    answer = upload(as_("stranger"), content)
    assert answer.status_code == 422
    assert b"Traceback" not in answer.content


def test_one_more_store_is_for_the_owner_of_the_book(as_):
    assert as_("ada").get("/new-store").status_code == 200
    assert as_("owner").get("/new-store").status_code == 404


def test_settings_of_a_pocket_as_of_a_day_before_it_stood_say_so(as_):
    answer = as_("technician").get(f"/s/{STORE}/pocket/1", {"wait": "1", "on": "1999-01-01"})
    assert answer.status_code == 200
    assert b"nothing is known" in answer.content
    assert as_("technician").get(f"/s/{STORE}/pocket/1", {"wait": "1", "on": "yesterday"}).status_code == 200
    assert as_("technician").get(f"/s/{STORE}/pocket/99", {"wait": "1"}).status_code == 404


def test_technician_sees_no_findings_of_cash_and_no_counts(as_):
    text = as_("technician").get(f"/s/{STORE}/", {"wait": "1"}).content.decode()
    assert "Last week" not in text
    assert "Counted" not in as_("technician").get(f"/s/{STORE}/pocket/1", {"wait": "1", "all": "1"}).content.decode()


@pytest.mark.slow
def test_plan_is_adopted_as_it_was_shown_and_a_stale_one_is_not(as_, town):
    client = as_("manager")
    text = client.get(f"/s/{STORE}/plan/stable", {"wait": "1"}).content.decode()
    mark = re.search(r'name="digest" value="(\w+)"', text)[1]
    stale = client.post(f"/s/{STORE}/plan/stable", {"digest": "0" * 16})
    assert stale.status_code == 302
    assert not [t for t in town.story(STORE, kinds=("adopted plan",)) if t.by == "manager"]
    done = client.post(f"/s/{STORE}/plan/stable", {"digest": mark})
    assert done.status_code == 302, done.content.decode()[-1500:]
    last = town.story(STORE, kinds=("adopted plan",))[-1]
    assert (last.by, last.body.plan, last.body.bank) == ("manager", mark, "stable")


@pytest.mark.slow
def test_demo_is_one_click_in_a_book_of_its_own_and_leaves_no_trace_here(as_, town):
    import time
    import urllib.request

    from drybank.web import demo_town, site

    tips = {s: town.tip(s) for s in town.stores()}
    site.standing.is_demo = False
    client = as_("ada")
    assert client.post("/demo").status_code == 302
    until = time.monotonic() + 120
    while not demo_town.state().link and not demo_town.state().fault and time.monotonic() < until:
        time.sleep(0.3)
    text = client.get("/demo").content.decode()
    assert "It is ready" in text, demo_town.state()
    folder = demo_town._Running.folder
    assert b"owner of this book" in urllib.request.urlopen(demo_town.state().link).read()
    demo_town.end()
    assert not folder.exists()
    assert {s: town.tip(s) for s in town.stores()} == tips
