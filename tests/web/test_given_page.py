"""Complaints, refunds, house use, offers: each checked as on the terminal, what was typed kept, undone by a correction."""

import re

import pytest

from .conftest import STORE

pytestmark = pytest.mark.usefixtures("traceless")
WHERE = f"/s/{STORE}/given-back"


def entered(town, kind):
    return [t for t in town.story(STORE, kinds=(kind,)) if t.by in ("technician", "manager")]


def test_complaint_is_entered_its_words_kept_beside_the_book_and_answered_by_a_refund(as_, town):
    client = as_("technician")
    said = {
        "what": "claim",
        "pocket": "1",
        "kind": "short time",
        "value": "1.00",
        "words": "stopped after five minutes",
    }
    assert client.post(WHERE, said).status_code == 302
    claim = entered(town, "claim")[-1]
    assert (claim.body.pocket, claim.body.what, claim.body.minor) == ("1", "short time", 100)
    assert claim.body.kept
    assert "five minutes" not in repr(claim.body)
    assert claim.id in client.get(WHERE).content.decode()
    refund = {
        "what": "refund",
        "pocket": "1",
        "value": "1.00",
        "why": "ran short",
        "paid_by": "cash",
        "claim": claim.id,
    }
    assert client.post(WHERE, refund).status_code == 302
    assert entered(town, "refund")[-1].body.claim == claim.id


def test_too_hot_says_what_to_do_first(as_):
    client = as_("technician")
    client.post(WHERE, {"what": "claim", "pocket": "2", "kind": "too hot"})
    assert "out of service" in client.get(WHERE).content.decode()


def test_impossible_refund_is_refused_with_what_was_typed(as_, town):
    before = len(list(town.chain(STORE)))
    for value, why in (("0", "more than nothing"), ("5000", "more than anybody"), ("a lot", "a lot"), ("", "needed")):
        answer = as_("manager").post(WHERE, {"what": "refund", "pocket": "1", "value": value, "why": "slip & trip"})
        text = answer.content.decode()
        assert answer.status_code == 422
        assert why in text
        assert "slip &amp; trip" in text
    assert len(list(town.chain(STORE))) == before


def test_house_use_and_offer_are_entered_and_an_offer_is_the_offices_alone(as_, town):
    assert (
        as_("technician")
        .post(WHERE, {"what": "house-use", "pocket": "3", "time": "45 min", "why": "drop-off"})
        .status_code
        == 302
    )
    assert entered(town, "house use")[-1].body.seconds == 2700
    offer = {
        "what": "offer",
        "bank": "gallery",
        "starts": "2026-01-05T08:00",
        "ends": "2026-01-05T12:00",
        "minutes": "12",
    }
    assert as_("technician").post(WHERE, offer).status_code == 422
    assert as_("manager").post(WHERE, offer).status_code == 302
    body = entered(town, "offer")[-1].body
    assert body.minutes_given == 12
    zone = town.store_at(STORE, body.starts).time_zone
    from zoneinfo import ZoneInfo

    assert f"{body.starts.astimezone(ZoneInfo(zone)):%H:%M}" == "08:00"


def test_undo_stands_beside_each_line_for_who_may_correct(as_):
    assert re.search(r"/book/[0-9a-f-]+/correct", as_("manager").get(WHERE).content.decode())
    assert not re.search(r"/book/[0-9a-f-]+/correct", as_("technician").get(WHERE).content.decode())
