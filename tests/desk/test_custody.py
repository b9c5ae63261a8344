"""Gaps by round and holder: letters for everybody, names for the owner, and the opening stands in the book."""

from datetime import date, timedelta

import msgspec
import pytest

from drybank.book import new_entry, open_book
from drybank.desk.ask_again import ask_again
from drybank.desk.custody import gaps_by, open_names
from drybank.desk.stamp import Pen
from drybank.records.entry import BoxesEmptied, DeviceValue, Noted, ReadingTaken, SheetDated, StoreDated
from drybank.records.errors import InputError
from tests.balance.houses import BASE, ELM, START, fault, house, story

WEEKS = 8
WHEN = START + timedelta(weeks=BASE + WEEKS, days=4)
SPAN = {"since": date(2025, 5, 27), "until": date(2025, 7, 22)}
WEEK = timedelta(days=7)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Two hands take turns at eight pockets; in every round of one of them 4 % is missing from each box."""
    at = house(pockets=8)
    faults = [fault("skim", None, 0.04, first=BASE + w, last=BASE + w + 1) for w in range(1, WEEKS, 2)]
    entries, _ = story(at, *faults, weeks=WEEKS, seed=5)
    told = [_signed(e) for e in entries]
    begun = [StoreDated(store=at.store, from_date="2024-01-01"), SheetDated(sheet=ELM, from_date="2024-01-01")]
    where = tmp_path_factory.mktemp("custody") / "one.book"
    with open_book(where, create=True, clock=lambda: WHEN) as book:
        book.append([new_entry("corner", START - timedelta(days=40), "owner", "test", b) for b in begun])
        book.append(told)
    return where


def _signed(e):
    week = round((e.happened - START) / WEEK)
    return msgspec.structs.replace(e, by="rosa" if week % 2 else "piet") if isinstance(e.body, BoxesEmptied) else e


@pytest.fixture
def book(path):
    with open_book(path, clock=lambda: WHEN) as open_one:
        yield open_one


def test_the_holder_whose_rounds_are_short_stands_out_and_has_no_name(book):
    gaps = gaps_by(book, "corner", WHEN, "holder", **SPAN)
    assert [(line.holder, line.rounds) for line in gaps.lines] == [("A", 4), ("B", 4)]
    short = [line for line in gaps.lines if line.verdict == "short"]
    assert len(short) == 1
    assert -0.06 < short[0].share < -0.02
    assert b"rosa" not in msgspec.json.encode(gaps)
    assert b"piet" not in msgspec.json.encode(gaps)
    assert "when money was missing, not why" in gaps.says


def test_rounds_are_told_by_day(book):
    gaps = gaps_by(book, "corner", WHEN, "round", **SPAN)
    assert len(gaps.lines) == WEEKS
    assert {line.holder for line in gaps.lines if line.verdict == "short"} <= {"A"} or {
        line.holder for line in gaps.lines if line.verdict == "short"
    } <= {"B"}
    assert sum(line.verdict == "short" for line in gaps.lines) >= 2


def test_one_who_counted_everything_cannot_be_compared(book):
    assert gaps_by(book, "corner", WHEN, "counter", **SPAN).says.startswith("One holder had it all")


def test_names_are_opened_for_a_reason_and_that_is_an_entry(book):
    pen = Pen(by="owner", clock=lambda: WHEN)
    with pytest.raises(InputError, match="for a reason"):
        open_names(book, "corner", pen, "holder", " ", **SPAN)
    before = book.head("corner")[0]
    opening = open_names(book, "corner", pen, "holder", "rounds of June are short", **SPAN)
    assert set(opening.names.values()) == {"rosa", "piet"}
    short = next(line.holder for line in opening.gaps.lines if line.verdict == "short")
    assert opening.names[short] in ("rosa", "piet")
    assert book.head("corner")[0] == before + 1
    noted = book.find(opening.entry).entry
    assert noted.by == "owner"
    assert isinstance(noted.body, Noted)
    assert "rounds of June are short" in noted.body.says
    assert "rosa" not in noted.body.says


def test_another_way_of_telling_is_refused(book):
    with pytest.raises(InputError, match="round, holder, counter"):
        gaps_by(book, "corner", WHEN, "name")


def drafts(book, *steps):
    """Weekly readings of pocket 3's counter behind the book's last, by so many pieces each."""
    last = [v.shown for t in book.story("corner", kinds=("reading",)) for v in t.body.values if v.device == "3.coins"][
        -1
    ]
    begin = START + (BASE + WEEKS) * WEEK
    out = []
    for k, step in enumerate(steps, 1):
        last = (last + step) % 10_000
        body = ReadingTaken(values=(DeviceValue(device="3.coins", shown=last),))
        out.append(new_entry("corner", begin + k * WEEK, "owner", "file", body))
    return out


def usual(book):
    shown = [v.shown for t in book.story("corner", kinds=("reading",)) for v in t.body.values if v.device == "3.coins"]
    return round(((shown[-1] - shown[-9]) % 10_000) / 8)


def test_a_file_of_usual_weeks_is_not_asked_about(book):
    assert ask_again(book, "corner", drafts(book, *[usual(book)] * 4)) == []


def test_a_slip_is_asked_for_again_without_a_range_and_the_week_after_is_not(book):
    n = usual(book)
    made = drafts(book, n, n + 3_000, n - 3_000, n)
    asked = ask_again(book, "corner", made)
    assert [(a.entry, a.device) for a in asked] == [(made[1].id, "3.coins")]
    assert not any(c.isdigit() for c in asked[0].says.replace("3.coins", ""))
    assert ask_again(book, "corner", made[:2], sure={made[1].id: ["3.coins"]}) == []
    assert ask_again(book, "elsewhere", made) == []
