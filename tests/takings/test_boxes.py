"""Boxes by their numbers, keys by their holders."""

import msgspec

from drybank.records.entry import HandedOver, PartReplaced
from drybank.takings import box_findings, holdings, stands

from .conftest import Said, make_layout


def numbered():
    laid = make_layout()
    boxes = {k: msgspec.structs.replace(b, number=f"N{i}") for i, (k, b) in enumerate(laid.boxes.items(), 1)}
    return msgspec.structs.replace(laid, boxes=boxes), list(boxes)


def exchange(n, place, number, day):
    return Said(n, PartReplaced(part="coin box", at=place, new_number=number), day)


def test_two_boxes_that_changed_places_are_followed_and_told():
    laid, (one, two) = numbered()
    lines = [exchange(1, one, "N2", 1.0), exchange(2, two, "N1", 1.01)]
    assert [f.name for f in box_findings(laid, lines)] == ["boxes changed places"]
    now = {s.number: s.place for s in stands(laid, lines) if s.until is None}
    assert now == {"N2": one, "N1": two}
    assert {s.number: s.place for s in stands(laid, lines) if s.since is None} == {"N1": one, "N2": two}


def test_one_number_at_two_places_is_asked_about():
    laid, (one, _) = numbered()
    assert [f.name for f in box_findings(laid, [exchange(1, one, "N2", 1.0)])] == ["box at two places"]


def test_a_new_box_is_no_finding():
    laid, (one, _) = numbered()
    assert box_findings(laid, [exchange(1, one, "N9", 1.0)]) == ()


def test_the_last_hand_over_says_who_holds_a_key():
    lines = [
        Said(1, HandedOver(bag="key 3", to="kim"), 1),
        Said(2, HandedOver(bag="key 3", to="lee"), 2),
        Said(3, HandedOver(bag="A1", to="kim"), 3),
    ]
    assert [(h.thing, h.holder) for h in holdings(lines)] == [("key 3", "lee")]
