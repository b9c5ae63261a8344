"""Appending: once, all or none, in a chain; and what may not be booked."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from time import process_time
from zoneinfo import ZoneInfo

import msgspec
import pytest
from book_making import BEGIN, NOW, Places, a_store, begun, entry, first, histories, opened, reading, readings
from hypothesis import HealthCheck, given, settings

from drybank.book import Book
from drybank.records.entry import (
    Corrected,
    DeviceValue,
    Entry,
    Noted,
    PlanAdopted,
    Proved,
    ReadingTaken,
    Refunded,
    StoreDated,
)
from drybank.records.errors import DrybankError, DuplicateDiffers, InputError, Missing, TipMoved


def all_lines(book: Book) -> list[tuple[str, int, str]]:
    return [(b.entry.id, b.seq, b.hash) for store in book.stores() for b in book.chain(store)]


def test_entries_are_chained_in_the_order_given(book: Book):
    booked = book.append(readings(5))
    assert [b.seq for b in booked] == [2, 3, 4, 5, 6]
    assert [b.prev for b in booked[1:]] == [b.hash for b in booked[:-1]]
    assert book.tip("elm") == booked[-1].hash
    assert [b.entry for b in book.chain("elm", after_seq=1)] == [b.entry for b in booked]


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(history=histories())
def test_second_send_of_the_same_entries_changes_nothing(places: Places, history: list[Entry]):
    with places.lent() as place, opened(place) as book:
        sent = book.append(history)
        before = all_lines(book)
        assert book.append(history) == sent
        assert book.append(history[-1:] * 3) == sent[-1:] * 3
        assert all_lines(book) == before
        assert [b.entry for b in book.chain("elm")] == [msgspec.convert(e, Entry) for e in history]


def test_same_id_with_other_content_is_refused_and_the_first_stays(book: Book):
    one = reading(10)
    book.append([one])
    other = msgspec.structs.replace(one, by="bob")
    with pytest.raises(DuplicateDiffers, match="says something else"):
        book.append([reading(11), other])
    assert book.find(one.id).entry == one
    assert len(list(book.chain("elm"))) == 2


def test_two_stores_have_chains_of_their_own(places: Places):
    with begun(places, ("elm", "oak")) as book:
        booked = book.append([reading(1), reading(1, store="oak"), reading(2)])
        assert [(b.entry.store, b.seq) for b in booked] == [("elm", 2), ("oak", 2), ("elm", 3)]
        assert book.stores() == ("elm", "oak")


def test_a_book_reopened_holds_what_was_acknowledged(places: Places):
    place = places.new()
    with opened(place) as book:
        sent = book.append([first(), *readings(3)])
    with opened(place) as book:
        assert list(book.chain("elm")) == sent
        assert book.doubts == {}


class TestExpectedTip:
    def test_is_accepted_while_nobody_came_between(self, book: Book):
        tip = book.tip("elm")
        assert book.append([reading(1)], expected_tip={"elm": tip})[0].prev == tip

    def test_refuses_when_somebody_did(self, book: Book):
        tip = book.tip("elm")
        book.append([reading(1)])
        with pytest.raises(TipMoved, match="in between"):
            book.append([reading(2)], expected_tip={"elm": tip})
        assert len(list(book.chain("elm"))) == 2

    def test_does_not_refuse_the_resend_that_moved_it(self, book: Book):
        one, tip = reading(1), book.tip("elm")
        sent = book.append([one], expected_tip={"elm": tip})
        assert book.append([one], expected_tip={"elm": tip}) == sent

    def test_of_a_chain_not_begun_is_empty(self, book: Book):
        assert book.tip("oak") == ""
        assert book.append([first("oak")], expected_tip={"oak": ""})[0].seq == 1


class TestRefusedWithNothingStored:
    """Each bad entry is sent behind a good one; neither may be found afterwards."""

    def refuse(self, book: Book, bad: Entry, fault: type[DrybankError], says: str) -> None:
        good = reading(7)
        with pytest.raises(fault, match=says) as caught:
            book.append([good, bad])
        assert caught.value.sentence().endswith(".")
        with pytest.raises(Missing):
            book.find(good.id)
        assert book.verify().is_whole

    def test_store_unknown(self, book: Book):
        self.refuse(book, reading(1, store="ash"), Missing, "knows no store “ash”")

    def test_happened_over_a_day_ahead(self, book: Book):
        book.append([reading(1, at=NOW + timedelta(hours=23))])
        self.refuse(book, reading(1, at=NOW + timedelta(hours=25)), InputError, "clocks of the device")

    def test_moment_without_time_zone(self, book: Book):
        naive = datetime(2025, 3, 1, 9)  # noqa: DTZ001
        self.refuse(book, reading(1, at=naive), InputError, "no time zone")

    def test_negative_count(self, book: Book):
        self.refuse(book, reading(-1), InputError, r">= 0 - at `\$.body.values\[0\].shown`")

    @pytest.mark.parametrize("odd", [math.nan, math.inf, -math.inf])
    def test_number_that_is_not_finite(self, book: Book, odd: float):
        bad = entry("elm", Proved(test="air", at="1", measured={"flow": odd}, verdict="pass"))
        self.refuse(book, bad, InputError, "not a number|Expected")
        self.refuse(
            book,
            entry("elm", Proved(test="air", at="1", measured={}, verdict="pass", margin=odd)),
            InputError,
            "not a number",
        )

    def test_text_that_is_no_unicode(self, book: Book):
        self.refuse(book, entry("elm", Noted(says="\ud800")), InputError, "cannot be written")

    def test_id_that_is_no_uuid7(self, book: Book):
        bad = msgspec.structs.replace(reading(1), id="00000000-0000-4000-8000-000000000000")
        self.refuse(book, bad, InputError, r"\$.id")

    @pytest.mark.parametrize("key", ["elm\x00", " elm", "elm\n", "\u202eelm"])
    def test_key_with_what_cannot_be_seen(self, book: Book, key: str):
        self.refuse(book, msgspec.structs.replace(reading(1), by=key), InputError, "cannot be seen")

    def test_store_described_in_another_chain(self, book: Book):
        bad = entry("elm", StoreDated(store=a_store("oak"), from_date="2025-01-01"))
        self.refuse(book, bad, InputError, "own chain")

    @pytest.mark.parametrize("day", ["2025-02-30", "01/02/2025", "2025-1-2", "20250102", ""])
    def test_from_date_that_is_none(self, book: Book, day: str):
        self.refuse(book, entry("elm", PlanAdopted(bank="big", values=(), from_date=day)), InputError, "not a date")

    def test_entry_of_four_megabytes(self, book: Book):
        note = entry(
            "elm", Proved(test="air", at="1", measured={str(i): "x" * 1000 for i in range(4100)}, verdict="pass")
        )
        self.refuse(book, note, InputError, "characters long")


class TestCorrections:
    def corrected(self, of: str, body: object = None, store: str = "elm") -> Entry:
        return entry(store, Corrected(corrects=of, reason="typed wrong", instead=body))  # type: ignore[arg-type]

    def body(self, shown: int) -> ReadingTaken:
        return ReadingTaken(values=(DeviceValue(device="1.hours", shown=shown),))

    def test_later_correction_of_the_same_entry_counts(self, book: Book):
        one = reading(10)
        book.append([one, self.corrected(one.id, self.body(11))])
        last = self.corrected(one.id, self.body(12))
        book.append([last])
        told = book.story("elm", kinds=("reading",))
        assert [(t.body, t.corrected_by, t.original) for t in told] == [(self.body(12), last.id, one)]

    def test_of_an_unknown_entry_is_refused(self, book: Book):
        with pytest.raises(Missing, match="does not hold"):
            book.append([self.corrected(reading(1).id)])

    def test_of_another_stores_entry_is_refused(self, places: Places):
        with begun(places, ("elm", "oak")) as book:
            one = reading(1)
            book.append([one])
            with pytest.raises(InputError, match="chain of “elm”"):
                book.append([self.corrected(one.id, self.body(2), store="oak")])

    def test_of_a_correction_says_what_to_correct_instead(self, book: Book):
        one = reading(1)
        fix = self.corrected(one.id, self.body(2))
        book.append([one, fix])
        with pytest.raises(InputError, match=f"Correct {one.id} again"):
            book.append([self.corrected(fix.id, self.body(3))])

    def test_with_another_kind_of_body_is_refused(self, book: Book):
        one = reading(1)
        book.append([one])
        with pytest.raises(InputError, match="a refund in the place of a reading"):
            book.append([self.corrected(one.id, Refunded(pocket="1", minor=100))])

    def test_that_leaves_the_store_undescribed_is_refused(self, book: Book):
        described = next(iter(book.chain("elm"))).entry
        with pytest.raises(InputError, match="first description"):
            book.append([self.corrected(described.id)])

    def test_may_stand_in_the_same_batch(self, book: Book):
        one = reading(1)
        book.append([one, self.corrected(one.id)])
        assert book.story("elm", kinds=("reading",)) == []
        (told,) = book.story("elm", kinds=("reading",), with_taken_back=True)
        assert told.is_taken_back
        assert told.original == one


def test_moments_are_kept_in_utc(book: Book):
    """A reading at 9 h in a zone four hours west of Greenwich happened at 13 h UTC."""
    local = datetime(2025, 7, 1, 9, tzinfo=ZoneInfo("America/Toronto"))
    (booked,) = book.append([reading(1, at=local)])
    assert booked.entry.happened.isoformat() == "2025-07-01T13:00:00+00:00"
    assert book.find(booked.entry.id) == booked


def test_twenty_thousand_entries_are_appended_in_seconds_and_told_in_one(tmp_path_factory: pytest.TempPathFactory):
    """Processor time of this process, so that a busy machine does not matter; measured: 1.5 s and 0.5 s."""
    with begun(Places("sqlite", tmp_path_factory.mktemp("many"), None)) as book:
        many = readings(20_000)
        start = process_time()
        book.append(many)
        appended = process_time()
        assert len(book.story("elm", since=BEGIN)) == 20_001
        assert appended - start < 5
        assert process_time() - appended < 1
