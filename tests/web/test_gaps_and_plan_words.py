"""Gaps by round in letters, names for the owner after a reason; the plan's page without command words; what was given back."""

import re

import pytest

from drybank.web.forms import without_commands

from .conftest import STORE

pytestmark = pytest.mark.usefixtures("traceless")
NAMES = f"/s/{STORE}/balance/names"


def opened(town):
    return [t for t in town.story(STORE, kinds=("note",)) if "Opened who held the money" in t.body.says]


def test_balance_shows_gaps_by_round_in_letters_and_no_name(as_, town):
    text = as_("manager").get(f"/s/{STORE}/balance", {"wait": "1"}).content.decode()
    part = text[text.index("Gaps by round</h2>") : text.index("Where the money is</h2>")]
    rows = re.findall(r'<th scope="row">([^<]*)</th>', part)
    assert rows
    assert all(re.fullmatch("[A-Z]+", letter) for letter in rows)
    hands = {t.by for t in town.story(STORE, kinds=("collection", "count"))}
    cells = {text.strip() for text in re.findall(r">([^<]+)<", part)}
    assert not hands & cells
    assert NAMES not in text
    assert NAMES in as_("owner").get(f"/s/{STORE}/balance", {"wait": "1"}).content.decode()


def test_owner_opens_the_names_for_a_reason_that_is_entered_first(as_, town):
    before = len(opened(town))
    client = as_("owner")
    bare = client.post(NAMES, {"what": "open-names", "why": "", "by": "holder"})
    assert bare.status_code == 422
    assert len(opened(town)) == before
    answer = client.post(NAMES, {"what": "open-names", "why": "two short rounds", "by": "holder"})
    text = answer.content.decode()
    assert answer.status_code == 200
    note = opened(town)[-1]
    assert (len(opened(town)), note.by) == (before + 1, "owner")
    assert "two short rounds" in note.body.says
    emptied = {t.by for t in town.story(STORE, kinds=("collection",))}
    assert any(name in text for name in emptied)


@pytest.mark.parametrize("typed", [{"by": "name"}, {"since": "yesterday"}])
def test_what_cannot_be_opened_is_refused_with_what_was_typed_and_nothing_entered(as_, town, typed):
    before = len(opened(town))
    answer = as_("owner").post(NAMES, {"what": "open-names", "why": "short & often"} | typed)
    assert answer.status_code == 422
    assert b"short &amp; often" in answer.content
    assert len(opened(town)) == before


@pytest.mark.parametrize(
    ("note", "left"),
    [
        ("It is not counted here; --room-air shows it.", "It is not counted here."),
        ("No weather is known. Give --weather with a file.", "No weather is known."),
        ("Give --weather with a file.", ""),
        ("Nobody has read it back: check one first.", "Nobody has read it back: check one first."),
    ],
)
def test_a_note_loses_its_command_words_and_keeps_the_rest(note, left):
    assert without_commands(note) == left


def test_plan_says_what_a_minute_costs_how_long_it_holds_and_what_could_be_seen(as_):
    text = as_("owner").get(f"/s/{STORE}/plan/stable", {"wait": "1"}).content.decode()
    assert "Before you change anything:" in text
    assert re.search(r"A heated minute burns \d\.\d{4} USD", text)
    assert "These settings stay the best while fuel costs" in text
    assert "A window of free drying" in text
    assert not re.search(r"--[a-z]", re.sub(r"<[^>]*>", " ", text))


def test_an_offers_minutes_are_in_all(as_):
    text = as_("manager").get(f"/s/{STORE}/given-back").content.decode()
    assert "Minutes given free in all" in text
    assert "with each start" not in text


def test_cash_given_back_from_a_drawer_is_shown_beside_what_counted_coins_gave(as_, town):
    from drybank.desk.takings import money_trail
    from drybank.web import site

    refund = {"what": "refund", "pocket": "1", "value": "1.00", "why": "ran short", "paid_by": "cash"}
    assert as_("manager").post(f"/s/{STORE}/given-back", refund).status_code == 302
    drawer = money_trail(town, STORE, site.now()).custody.from_drawer
    text = as_("owner").get(f"/s/{STORE}/balance", {"wait": "1"}).content.decode()
    assert drawer.minor > 0
    assert f"Given back from a drawer or an uncounted box</dt><dd>{drawer.plain()}</dd>" in text
