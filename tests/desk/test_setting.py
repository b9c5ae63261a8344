"""As found, as left, what differs, what was not read; parts replaced."""

from datetime import timedelta

import pytest

from drybank.control import to_sheet
from drybank.desk.setting import Exchange, Visit, bank_progress, record_visit, replace_part
from drybank.desk.standing import layout_at
from drybank.records.entry import Pieces
from drybank.records.errors import InputError, InputErrors

from .conftest import BANK, STORE

METERS = ("1.turning=123.4", "1.warm=100", "1.near=55", "1.far=7", "1.pad=3")


def visit(control="1", **said):
    return Visit(control=control, **said)


def test_left_as_the_house_says_differs_in_nothing(book, pen):
    done = record_visit(
        book, STORE, visit(as_house=True, devices=METERS, test_pieces=(Pieces(piece_minor=25, count=4),)), pen
    )
    assert done.differs == ()
    assert done.left_out == ()
    laid = layout_at(book, STORE)
    house = book.house_at(STORE, BANK, pen.clock())
    assert book.settings_at(STORE, pen.clock())["1"] == to_sheet(laid, "1", house)


def test_what_differs_from_the_house_is_named_with_both_values(book, pen):
    done = record_visit(book, STORE, visit(as_house=True, left=("Warmth one=76 C",), devices=METERS), pen)
    assert [(d.name, d.is_now, d.should_be) for d in done.differs] == [("Warmth one", "76 °C", "74 °C")]


def test_a_meter_left_out_is_allowed_and_its_cost_said(book, pen):
    done = record_visit(book, STORE, visit(as_house=True, devices=METERS[:2]), pen)
    assert done.left_out == ("1.near", "1.far", "1.pad")
    assert "wider interval" in done.says[0]


def test_an_unreadable_meter_is_entered_with_its_reason(book, pen):
    record_visit(book, STORE, visit(as_house=True, devices=METERS[1:], unread=("1.turning=glass broken",)), pen)
    reading = book.story(STORE, kinds=("reading",))[-1].body
    assert [(v.device, v.shown, v.why_not) for v in reading.values if v.shown is None] == [
        ("1.turning", None, "glass broken")
    ]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"left": ("Warmth one=75 C",)}, "Nearest: 74 °C or 76 °C"),
        ({"left": ("Warmth one=75 F",)}, "the one is not turned into the other"),
        ({"left": ("Nonsense=3",)}, "no setting"),
        ({"devices": ("1.turning=12.34",)}, "one decimal"),
        ({"devices": ("1.turning=1000000.0",)}, "starts again"),
        ({"devices": ("9.nothing=1",)}, "no meter or counter"),
        ({"devices": ("1.near=5", "1.near=6")}, "given twice"),
        ({"devices": ("1.near=-5",)}, "cannot stand"),
        ({}, "Nothing was given"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_entered(book, pen, said, words):
    before = book.tip(STORE)
    with pytest.raises(InputError, match=words):
        record_visit(book, STORE, visit(**said), pen)
    assert book.tip(STORE) == before


def test_every_mistake_is_told_at_once(book, pen):
    with pytest.raises(InputErrors) as told:
        record_visit(book, STORE, visit(left=("Warmth one=75 C", "Nonsense=3", "Linger=soon")), pen)
    assert len(told.value.errors) == 3


def test_the_bank_shows_what_is_done_and_what_is_left(book, pen):
    record_visit(book, STORE, visit(as_house=True, devices=METERS), pen)
    states = {s.control: s.state for s in bank_progress(book, STORE, BANK, pen.clock())}
    assert states["1"] == "done"
    assert set(states.values()) == {"done", "not known"}


def test_after_a_new_board_the_settings_are_not_known(book, pen):
    record_visit(book, STORE, visit(as_house=True, devices=METERS), pen)
    replace_part(
        book, STORE, Exchange(part="board", at="1", last=("1.turning=123.4", "1.warm="), first=("1.turning=0.0",)), pen
    )
    states = {s.control: s.state for s in bank_progress(book, STORE, BANK, pen.clock())}
    assert states["1"] == "not known"


def test_a_part_at_no_known_place_is_refused(book, pen):
    with pytest.raises(InputError, match="is not a pocket"):
        replace_part(book, STORE, Exchange(part="board", at="99"), pen)


def weekly(book, pen, clock, shown):
    """Pocket 1 read once a week, so that its meters have a past."""
    for value in shown:
        clock.now += timedelta(days=7)
        record_visit(book, STORE, visit(devices=(f"1.near={value}",)), pen)


def test_an_unlikely_reading_is_asked_for_again_without_a_range_and_taken_when_read_twice(book, pen, clock):
    weekly(book, pen, clock, (1000, 1205, 1398, 1610, 1804, 2011))
    clock.now += timedelta(days=7)
    slip = visit(devices=("1.near=2921",))  # 2219 with two digits swapped
    before = book.tip(STORE)
    with pytest.raises(InputErrors, match="read it again") as told:
        record_visit(book, STORE, slip, pen)
    assert not any(number in told.value.sentence() for number in ("2219", "2011", "200", "210"))
    assert book.tip(STORE) == before
    kept = record_visit(book, STORE, visit(devices=("1.near=2921",), sure=("1.near",)), pen)
    assert "read it twice" in kept.says[0]
    assert book.story(STORE, kinds=("reading",))[-1].body.values[0].shown == 2921


def test_a_likely_reading_and_a_roll_over_are_taken_at_once(book, pen, clock):
    weekly(book, pen, clock, (1000, 1205, 1398, 1610, 1804, 2011))
    clock.now += timedelta(days=7)
    assert not any("again" in s for s in record_visit(book, STORE, visit(devices=("1.near=2219",)), pen).says)
