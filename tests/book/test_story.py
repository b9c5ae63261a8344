"""The story of a store and what stood at a moment; the folds are pure, the book only fetches."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import msgspec
import pytest
from book_making import BEGIN, NOW, Places, a_store, begun, entry, first, histories, opened, reading, readings
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drybank.book import Book, Told
from drybank.book.chain import booked_of, line_of, moment_text, write
from drybank.book.story import tell
from drybank.records.entry import (
    Booked,
    CheckWaived,
    Corrected,
    DeviceValue,
    Entry,
    PartReplaced,
    PlanAdopted,
    ReadingTaken,
    SettingChanged,
    SettingValue,
    SheetDated,
    SheetReadBack,
    StoreDated,
)
from drybank.records.errors import Missing
from drybank.records.sheet import ControlSheet, HouseValue, SaleRule

MAY = datetime(2025, 5, 3, 12, 0, tzinfo=UTC)


def chained(history: list[Entry]) -> list[Booked]:
    lines = []
    for n, each in enumerate(history, 1):
        prev = lines[-1].hash if lines else ""
        lines.append(line_of(write(each), seq=n, booked=moment_text(NOW), prev=prev))
    return [booked_of(line) for line in lines]


def plainly(history: list[Entry]) -> list[tuple[str, object, datetime]]:
    """The story by a slower, other way: for each entry look for the last correction of it."""
    told = []
    for each in history:
        if isinstance(each.body, Corrected):
            continue
        fixes = [e.body for e in history if isinstance(e.body, Corrected) and e.body.corrects == each.id]
        if fixes and fixes[-1].instead is None:
            continue
        body = fixes[-1].instead if fixes else each.body
        happened = (fixes[-1].happened_instead if fixes else None) or each.happened
        told.append((each.id, body, happened))
    place = {e.id: n for n, e in enumerate(history)}
    return sorted(told, key=lambda row: (row[2], place[row[0]]))


@given(histories())
def test_telling_agrees_with_looking_for_each_correction(history: list[Entry]):
    assert [(t.id, t.body, t.happened) for t in tell(chained(history))] == plainly(history)


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(history=histories(), kinds=st.sets(st.sampled_from(["reading", "refund", "note", "correction", "store version"])), days=st.integers(0, 500), span=st.integers(0, 500))  # fmt: skip
def test_what_the_book_fetches_tells_the_same_as_the_whole_chain(
    places: Places, history: list[Entry], kinds: set[str], days: int, span: int
):
    """The database picks fewer rows by kind and moment; the story must not differ for that."""
    since = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(days=days)
    asked = {"kinds": sorted(kinds), "since": since, "until": since + timedelta(days=span)}
    with places.lent() as place, opened(place) as book:
        book.append(history)
        assert book.story("elm", **asked) == tell(book.chain("elm"), **asked)
        assert book.story("elm", kinds=sorted(kinds)) == tell(book.chain("elm"), kinds=sorted(kinds))


def test_happened_orders_the_story_and_booked_the_chain(book: Book):
    late, early = reading(2, at=BEGIN + timedelta(days=2)), reading(1, at=BEGIN + timedelta(days=1))
    book.append([late, early])
    assert [t.id for t in book.story("elm", kinds=("reading",))] == [early.id, late.id]
    assert [b.entry.id for b in book.chain("elm", after_seq=1)] == [late.id, early.id]


def test_a_correction_may_move_an_entry_into_the_window_asked_for(book: Book):
    one = reading(1, at=BEGIN)
    fix = Corrected(corrects=one.id, reason="wrong day", instead=one.body, happened_instead=MAY)
    book.append([one, entry("elm", fix)])
    window = {"since": MAY - timedelta(days=1), "until": MAY + timedelta(days=1)}
    assert [t.happened for t in book.story("elm", **window)] == [MAY]
    assert book.story("elm", since=BEGIN, until=BEGIN + timedelta(seconds=1), kinds=("reading",)) == []


def test_since_is_included_and_until_is_not(book: Book):
    book.append([reading(1, at=MAY)])
    assert book.story("elm", since=MAY, until=MAY) == []
    assert len(book.story("elm", since=MAY)) == 1
    assert book.story("elm", kinds=("reading",), until=MAY) == []


def test_a_correction_taken_back_by_a_later_one_gives_the_first_body_again(book: Book):
    one = reading(10)
    shown = ReadingTaken(values=(DeviceValue(device="1.hours", shown=99),))
    gone = entry("elm", Corrected(corrects=one.id, reason="typed twice"))
    back = entry("elm", Corrected(corrects=one.id, reason="it was right", instead=shown))
    book.append([one, gone])
    assert book.story("elm", kinds=("reading",)) == []
    book.append([back])
    (told,) = book.story("elm", kinds=("reading",))
    assert (told.body, told.corrected_by, told.original) == (shown, back.id, one)


def test_unknown_store_names_the_known(book: Book):
    with pytest.raises(Missing, match=r"no store “ash”\. Stores in it: elm"):
        book.story("ash")


class TestStoreAt:
    def test_begins_at_midnight_of_the_stores_own_zone(self, book: Book):
        """Toronto is four hours behind Greenwich in summer: 10 June begins at 04:00 UTC."""
        book.append([entry("elm", StoreDated(store=a_store(name="New name"), from_date="2025-06-10"))])
        turn = datetime(2025, 6, 10, 4, tzinfo=UTC)
        assert book.store_at("elm", turn - timedelta(seconds=1)).name == "Elm Street"
        assert book.store_at("elm", turn).name == "New name"
        assert book.store_at("elm", date(2025, 6, 9)).name == "Elm Street"
        assert book.store_at("elm", date(2025, 6, 10)).name == "New name"

    def test_of_two_versions_of_one_day_the_later_booked_counts(self, book: Book):
        book.append([entry("elm", StoreDated(store=a_store(name=n), from_date="2025-06-10")) for n in ("One", "Two")])
        assert book.store_at("elm", NOW).name == "Two"

    def test_before_the_first_version_nothing_is_known(self, book: Book):
        with pytest.raises(Missing, match="from 2025-01-01 on"):
            book.store_at("elm", date(2024, 12, 30))

    def test_version_entered_late_counts_from_its_date(self, book: Book):
        book.append([entry("elm", StoreDated(store=a_store(name="Then"), from_date="2025-03-01"), NOW)])
        assert book.store_at("elm", MAY).name == "Then"


def a_sheet(revision: str) -> ControlSheet:
    return ControlSheet(
        key="alder", name="Alder", revision=revision, settings=(), inputs=(), sale=SaleRule(start="sum")
    )


class TestSheets:
    def test_as_they_stood(self, book: Book):
        book.append(
            [
                entry("elm", SheetDated(sheet=a_sheet(r), from_date=d))
                for r, d in (("2", "2025-06-01"), ("1", "2025-02-01"))
            ]
        )
        assert book.sheets_at("elm", date(2025, 1, 31)) == {}
        assert book.sheets_at("elm", MAY)["alder"].revision == "1"
        assert book.sheets_at("elm", NOW)["alder"].revision == "2"

    def test_state_goes_from_typed_in_to_read_back_and_falls_back_with_a_new_revision(self, book: Book):
        book.append([entry("elm", SheetDated(sheet=a_sheet("1"), from_date="2025-02-01"), by="bob")])
        state = book.sheet_state("elm", "alder")
        assert (state.typed_by, state.read_back, state.is_read_back) == ("bob", (), False)
        assert "not read back at any machine yet" in state.sentence()
        book.append(
            [entry("elm", SheetReadBack(sheet="alder", revision="1", control="2", agreed=("start",)), MAY, by="cy")]
        )
        state = book.sheet_state("elm", "alder")
        assert state.is_read_back
        assert "read back at 2 by cy on 2025-05-03" in state.sentence()
        assert not book.sheet_state("elm", "alder", MAY - timedelta(days=1)).is_read_back
        book.append([entry("elm", SheetDated(sheet=a_sheet("2"), from_date="2025-06-01"))])
        assert not book.sheet_state("elm", "alder").is_read_back
        assert book.sheet_state("elm", "alder", MAY).is_read_back

    def test_a_difference_found_at_a_machine_is_no_read_back(self, book: Book):
        back = SheetReadBack(sheet="alder", revision="1", control="2", differed=("start",))
        book.append([entry("elm", SheetDated(sheet=a_sheet("1"), from_date="2025-02-01")), entry("elm", back)])
        assert not book.sheet_state("elm", "alder").is_read_back

    def test_unknown_sheet(self, book: Book):
        with pytest.raises(Missing, match="No sheet “birch”"):
            book.sheet_state("elm", "birch")


def plan(value: int, day: str, **more: str) -> Entry:
    values = (HouseValue(purpose="temperature", value=value, base="°C", heat=1),) if value else ()
    return entry("elm", PlanAdopted(bank="big", values=values, from_date=day, **more))


class TestHouse:
    def heat(self, book: Book, when: datetime | date) -> list[int]:
        return [v.value for v in book.house_at("elm", "big", when)]

    def test_latest_from_date_counts(self, book: Book):
        book.append([plan(75, "2025-06-01"), plan(70, "2025-03-01")])
        assert self.heat(book, date(2025, 2, 1)) == []
        assert self.heat(book, MAY) == [70]
        assert self.heat(book, NOW) == [75]
        assert book.house_at("elm", "small", NOW) == ()

    def test_undoing_without_values_brings_the_one_before_back(self, book: Book):
        old, new = plan(70, "2025-03-01"), plan(75, "2025-06-01")
        book.append([old, new, plan(0, "2025-07-01", undoes=new.id)])
        assert self.heat(book, date(2025, 6, 15)) == [75]
        assert self.heat(book, NOW) == [70]

    def test_undoing_with_values_sets_those(self, book: Book):
        new = plan(75, "2025-06-01")
        book.append([new, plan(71, "2025-07-01", undoes=new.id)])
        assert self.heat(book, NOW) == [71]


class TestSettings:
    """What was set on 3 May?"""

    def change(
        self, at: datetime, found: dict[str, int | None], left: dict[str, int | None], control: str = "1"
    ) -> Entry:
        def said(values: dict[str, int | None]) -> tuple[SettingValue, ...]:
            return tuple(SettingValue(setting=k, value=v) for k, v in values.items())

        return entry("elm", SettingChanged(control=control, found=said(found), left=said(left)), at)

    def test_as_left_stands_until_something_else_is_found(self, book: Book):
        one = self.change(datetime(2025, 4, 1, tzinfo=UTC), {"heat": 60, "time": 20}, {"heat": 65})
        two = self.change(datetime(2025, 6, 1, tzinfo=UTC), {"heat": 80}, {})
        other = self.change(datetime(2025, 4, 2, tzinfo=UTC), {}, {"heat": 50}, control="2")
        book.append([one, two, other])
        assert book.settings_at("elm", date(2025, 3, 30)) == {}
        assert book.settings_at("elm", date(2025, 5, 3)) == {"1": {"heat": 65, "time": 20}, "2": {"heat": 50}}
        assert book.settings_at("elm", NOW)["1"] == {"heat": 80, "time": 20}

    def test_a_correction_made_later_changes_what_stood_then(self, book: Book):
        one = self.change(datetime(2025, 4, 1, tzinfo=UTC), {}, {"heat": 56})
        right = self.change(BEGIN, {}, {"heat": 65}).body
        book.append([one, entry("elm", Corrected(corrects=one.id, reason="digits swapped", instead=right), NOW)])
        assert book.settings_at("elm", date(2025, 5, 3)) == {"1": {"heat": 65}}

    def test_a_new_board_and_an_unreadable_value_are_not_known(self, book: Book):
        book.append([self.change(datetime(2025, 4, 1, tzinfo=UTC), {}, {"heat": 60, "time": 20})])
        book.append([self.change(datetime(2025, 4, 8, tzinfo=UTC), {"time": None}, {})])
        assert book.settings_at("elm", MAY) == {"1": {"heat": 60}}
        book.append([entry("elm", PartReplaced(part="board", at="1"), datetime(2025, 5, 1, tzinfo=UTC))])
        assert book.settings_at("elm", MAY) == {}


def test_waivers_name_bank_check_and_reason(book: Book):
    book.append([entry("elm", CheckWaived(bank="big", check="heats in order", reason="one heat only"), MAY)])
    assert book.waivers_at("elm", MAY - timedelta(days=1)) == {}
    waiver = book.waivers_at("elm", NOW)["big", "heats in order"]
    assert isinstance(waiver, Told)
    assert waiver.body.reason == "one heat only"


def test_as_of_asks_each_store_for_its_own_zone(places: Places):
    far = msgspec.structs.replace(a_store("oak"), time_zone="Pacific/Auckland")
    with begun(places) as book:
        book.append([entry("oak", StoreDated(store=far, from_date="2025-01-01")), *readings(1, store="oak")])
        book.append([first("ash")])
        for key in ("elm", "oak"):
            adopted = PlanAdopted(
                bank="big", values=(HouseValue(purpose="temperature", value=60),), from_date="2025-05-03"
            )
            book.append([entry(key, adopted)])
        moment = datetime(2025, 5, 2, 18, tzinfo=UTC)  # 3 May, 06:00 in Auckland; 2 May, 14:00 in Toronto
        assert book.house_at("oak", "big", moment) != ()
        assert book.house_at("elm", "big", moment) == ()
