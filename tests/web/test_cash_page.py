"""Cash: a blind count entered once, refused with what was typed kept; nothing expected in any answer to who counts."""

import re

import pytest

from .conftest import OTHER, STORE

HINTS = re.compile(r"expected|finding|short by|smallest|give or take|noticed", re.IGNORECASE)


@pytest.mark.parametrize("handle", ["collector", "counter"])
@pytest.mark.parametrize("where", ["cash", "rounds"])
def test_who_counts_or_collects_reads_nothing_expected(as_, handle, where):
    answer = as_(handle).get(f"/s/{STORE}/{where}")
    if answer.status_code == 200:
        text = re.sub(r"<[^>]+>", " ", answer.content.decode())
        assert not HINTS.search(text), HINTS.search(text)


def test_round_from_box_to_hand_over_is_four_entries_signed_with_who_and_where(as_, town):
    from drybank.desk.pages_rounds import boxes_to_empty
    from drybank.web import site

    box = boxes_to_empty(town, STORE, site.now())[0].box
    before = len(list(town.chain(STORE)))
    collector, counter = as_("collector"), as_("counter")
    answer = collector.post(f"/s/{STORE}/cash", {"what": "collect", "boxes": [box], "bag": "T-7"})
    assert answer.status_code == 302, answer.content
    worth = re.search(r'name="piece-(\d+)"', counter.get(f"/s/{STORE}/cash").content.decode())[1]
    counted = counter.post(
        f"/s/{STORE}/cash", {"what": "count", "bag": "T-7", f"piece-{worth}": "120", "method": "hand", "second": "nora"}
    )
    assert counted.status_code == 302, counted.content
    assert counter.post(f"/s/{STORE}/cash", {"what": "hand-over", "bag": "T-7", "to": "manager"}).status_code == 302
    paid = as_("manager").post(f"/s/{STORE}/cash/deposit", {"bags": ["T-7"], "value": "30.00", "to": "bank"})
    assert paid.status_code == 302, paid.content
    new = list(town.chain(STORE))[before:]
    assert [b.entry.kind for b in new] == ["collection", "count", "hand-over", "deposit"]
    assert [b.entry.by for b in new] == ["collector", "counter", "counter", "manager"]
    assert all(b.entry.origin == "page 127.0.0.1" for b in new)


def test_refused_count_keeps_what_was_typed_and_enters_nothing(as_, town):
    tip = town.tip(STORE)
    counter = as_("counter")
    worth = re.search(r'name="piece-(\d+)"', counter.get(f"/s/{STORE}/cash").content.decode())[1]
    answer = counter.post(
        f"/s/{STORE}/cash", {"what": "count", "bag": "Z-9", f"piece-{worth}": "twelve", "second": "nora"}
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "Nothing was entered." in text
    assert 'value="twelve"' in text
    assert 'value="Z-9"' in text
    assert town.tip(STORE) == tip


@pytest.mark.parametrize(("handle", "what"), [("collector", "count"), ("counter", "collect")])
def test_a_form_that_is_not_ones_own_is_refused(as_, town, handle, what):
    tip = town.tip(STORE)
    answer = as_(handle).post(f"/s/{STORE}/cash", {"what": what, "boxes": ["1"], "bag": "Q", "piece-25": "3"})
    assert answer.status_code == 422
    assert town.tip(STORE) == tip


def test_script_in_a_bag_name_is_shown_as_text(as_, town):
    from drybank.desk.pages_rounds import boxes_to_empty
    from drybank.web import site

    box = boxes_to_empty(town, OTHER, site.now())[0].box
    bad = "<script>alert(1)</script>"
    assert (
        as_("stranger")
        .post(f"/s/{OTHER}/cash", {"what": "collect", "boxes": [box], "bag": bad, "second": "x"})
        .status_code
        == 302
    )
    text = as_("stranger").get(f"/s/{OTHER}/cash").content.decode()
    assert bad not in text
    assert "&lt;script&gt;" in text
