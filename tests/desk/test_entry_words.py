"""Entries told and corrected in people's words: no field names, no minor units."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.desk.correcting import correct, entries
from drybank.desk.entry_words import told
from drybank.records.entry import DeviceValue, PaidOut, Pieces, PiecesCounted, ReadingTaken, Refunded, WeekClosed
from drybank.records.errors import InputError
from drybank.records.faults import fault_words

from .conftest import STORE

BODIES = {
    "payout": PaidOut(
        account="town card", period_from="2026-05-01", period_to="2026-05-31", gross_minor=60075, fee_minor=3004,
        paid_minor=57071, inputs=(("1.pad", 120, 3000),),
    ),
    "count": PiecesCounted(bag="A1", pieces=(Pieces(piece_minor=25, count=640),), method="machine"),
    "reading": ReadingTaken(values=(DeviceValue(device="1.near", shown=4213),)),
    "refund": Refunded(pocket="7", minor=150, why="stopped"),
    "close": WeekClosed(week="2026-W19", tip="ab", taken_minor=1000, lines={"coins": 900, "share Landlord": 100}),
}  # fmt: skip


def put(book, pen, kind):
    return book.append([pen.entry(STORE, BODIES[kind])])[0].entry.id


def said(book, kind):
    return dict(told(entries(book, STORE, kinds=(kind,))[-1].says, "CAD"))


def test_amounts_are_told_in_the_stores_currency(book, pen):
    for kind in BODIES:
        put(book, pen, kind)
    assert (said(book, "payout")["sold"], said(book, "payout")["fees"]) == ("600.75 CAD", "30.04 CAD")
    assert (
        said(book, "payout")["by input 1.pad"] == "120, 3000" or "30.00 CAD" in said(book, "payout")["by input 1.pad"]
    )
    assert said(book, "count")["pieces of 25 c"] == "640"
    assert said(book, "reading")["1.near"] == "4213"
    assert said(book, "refund")["amount"] == "1.50 CAD"
    assert said(book, "close")["coins"] == "9.00 CAD"


@pytest.mark.parametrize("kind", list(BODIES))
def test_no_field_name_and_no_minor_unit_is_shown(book, pen, kind):
    put(book, pen, kind)
    words = " ".join((*said(book, kind), *said(book, kind).values()))
    assert not re.search(r"[a-z]_[a-z]|minor|\[|\{", words)


@pytest.mark.parametrize(
    ("kind", "change", "field", "value"),
    [
        ("payout", "sold=601.00", "gross_minor", 60100),
        ("reading", "1.near=4214", "values", [{"device": "1.near", "shown": 4214, "why_not": ""}]),
        ("count", "pieces of 25 c=641", "pieces", [{"piece_minor": 25, "count": 641, "means": "coin"}]),
        ("refund", "amount=1.25", "minor", 125),
        ("refund", "minor=125", "minor", 125),
    ],
)
def test_a_correction_is_typed_by_the_names_that_are_shown(book, pen, kind, change, field, value):
    entry = put(book, pen, kind)
    done = correct(book, entry, pen, reason="typed wrong", changes=[change])
    assert entries(book, STORE, kinds=(kind,))[-1].says[field] == value
    assert not any("_" in name or "minor" in name for name, _, _ in done.changes)


@pytest.mark.parametrize(
    ("change", "words"),
    [("amount=much", "much"), ("amount=-1e30", "amount must be at least"), ("paid back by=goat", "paid back by cannot be"), ("pocket=[1]", "pocket must be text, not a list")],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(book, pen, change, words):
    entry = put(book, pen, "refund")
    with pytest.raises(InputError) as wrong:
        correct(book, entry, pen, reason="typed wrong", changes=[change])
    assert words in wrong.value.sentence()
    assert not re.search(r"\$|`|Expected|_minor", wrong.value.sentence())


@given(st.text(max_size=80))
def test_any_converter_message_becomes_words_without_its_path(text):
    assert " - at `$" not in fault_words(f"{text} - at `$.a.b`")
