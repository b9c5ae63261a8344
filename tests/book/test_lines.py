"""JSON Lines: any history goes out and in with the same hashes; a hostile file leaves the book as it was."""

from __future__ import annotations

import contextlib
import io
import json
import tracemalloc
from pathlib import Path
from time import process_time

import pytest
from book_making import Places, begun, entry, first, histories, now, opened, reading, readings
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drybank.book import Book, open_book
from drybank.records.entry import Corrected, Entry, Noted
from drybank.records.errors import BookError, DrybankError, DuplicateDiffers, InputError, InputErrors, TipMoved

quick = settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


def exported(book: Book, **how: bool) -> bytes:
    out = io.BytesIO()
    book.export(out, **how)
    return out.getvalue()


def hashes(book: Book) -> dict[str, list[str]]:
    return {store: [b.hash for b in book.chain(store)] for store in book.stores()}


@quick
@given(history=histories(stores=("elm", "oak")))
def test_any_history_exported_and_imported_keeps_its_hashes(places: Places, history: list[Entry]):
    with places.lent() as here, opened(here) as book:
        book.append(history)
        file, before = exported(book), hashes(book)
    with places.lent() as there, opened(there) as book:
        done = book.import_lines(io.BytesIO(file))
        assert (done.added, done.known) == (len(history), 0)
        assert hashes(book) == before
        assert book.verify().is_whole
        assert exported(book) == file, "and out again it is the same file"
        assert book.import_lines(io.BytesIO(file)).added == 0


def test_a_file_re_indented_on_its_way_still_comes_in(places: Places):
    with begun(places) as book:
        book.append(readings(3))
        file, before = exported(book), hashes(book)
    shuffled = b"\n".join(
        json.dumps(json.loads(raw), sort_keys=False, indent=None).encode() for raw in file.splitlines()
    )
    assert shuffled != file
    with places.lent() as place, opened(place) as book:
        book.import_lines(shuffled.splitlines())
        assert hashes(book) == before


def test_what_is_kept_beside_goes_along_when_asked(places: Places):
    with begun(places) as book:
        kept, gone = book.keep("name", "Jo Hart"), book.keep("photo", b"\x00\xff")
        book.erase(gone.sha256)
        book.append([entry("elm", Noted(says="", kept=(kept, gone)))])
        assert b"Jo Hart" not in exported(book)
        file = exported(book, with_kept=True)
    with places.lent() as place, opened(place) as book:
        assert book.import_lines(io.BytesIO(file)).kept == 2
        assert (book.kept(kept.sha256), book.kept(gone.sha256)) == (b"Jo Hart", None)


def test_an_erased_thing_does_not_come_back_with_an_old_export(book: Book):
    kept = book.keep("name", "Jo Hart")
    file = exported(book, with_kept=True)
    book.erase(kept.sha256)
    book.import_lines(io.BytesIO(file))
    assert book.kept(kept.sha256) is None


class TestChainMovedOn:
    def test_a_longer_chain_of_the_same_beginning_continues_with_its_hashes(self, places: Places):
        with begun(places) as book:
            early = exported(book)
            book.append(readings(3))
            late, before = exported(book), hashes(book)
        with places.lent() as place, opened(place) as book:
            book.import_lines(io.BytesIO(early))
            assert book.import_lines(io.BytesIO(late)).added == 3
            assert hashes(book) == before
            assert book.import_lines(io.BytesIO(early)).added == 0, "an older file adds nothing"

    def parted(self, places: Places) -> tuple[bytes, str, list[Entry], list[Entry]]:
        """A file, and a book that has the same beginning and then went another way."""
        begin, theirs, ours = readings(2), readings(3, start=10), readings(2, start=20)
        with begun(places) as book:
            book.append(begin)
            common = exported(book)
            book.append(theirs)
            file = exported(book)
        place = places.new()
        with opened(place) as book:
            book.import_lines(io.BytesIO(common))
            book.append(ours)
        return file, place, theirs, ours

    def test_is_refused_and_nothing_stored(self, places: Places):
        file, place, _, _ = self.parted(places)
        with opened(place) as book:
            before = hashes(book)
            with pytest.raises(TipMoved, match="“append”"):
                book.import_lines(io.BytesIO(file))
            assert hashes(book) == before

    def test_or_appended_with_the_old_hash_kept(self, places: Places):
        file, place, theirs, ours = self.parted(places)
        with opened(place) as book:
            done = book.import_lines(io.BytesIO(file), if_moved="append")
            assert (done.added, done.known, done.behind) == (3, 3, ("elm",))
            tail = list(book.chain("elm", after_seq=3))
            assert [b.entry for b in tail] == [*ours, *theirs]
            old = [json.loads(raw)["hash"] for raw in file.splitlines()[4:7]]
            assert [b.old_hash for b in tail] == ["", "", *old]
            assert book.verify().is_whole
            assert book.import_lines(io.BytesIO(file), if_moved="append").added == 0
            again = exported(book)
        with places.lent() as there, opened(there) as copy:
            copy.import_lines(io.BytesIO(again))
            assert [b.old_hash for b in copy.chain("elm", after_seq=5)] == old

    def test_a_seal_of_the_other_chain_is_no_fault_here(self, places: Places):
        with begun(places) as book:
            book.append(readings(2))
            seal = book.seal("elm", by="ann", origin="test")
            file = exported(book)
        with begun(places) as book:
            book.append(readings(4, start=20))
            book.import_lines(io.BytesIO(file), if_moved="append")
            assert book.verify().is_whole
            assert not book.verify(seals=[seal]).is_whole, "the seal kept elsewhere is of the other chain"

    def test_same_id_with_other_content_names_the_line(self, places: Places):
        with begun(places) as book:
            book.append([reading(1, number=7)])
            file = exported(book)
        with begun(places) as book:
            book.append([reading(2, number=7)])
            with pytest.raises(DuplicateDiffers, match="line 3: "):
                book.import_lines(io.BytesIO(file), if_moved="append")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    with begun(Places("sqlite", tmp_path_factory.mktemp("hostile"), None)) as book:
        one = reading(5)
        kept = book.keep("name", "Jo")
        book.append(
            [
                one,
                *readings(2),
                entry("elm", Corrected(corrects=one.id, reason="wrong")),
                entry("elm", Noted(says="", kept=(kept,))),
            ]
        )
        return exported(book, with_kept=True)


class TestHostile:
    def refuse(self, places: Places, lines: list[bytes], says: str) -> None:
        with begun(places, ("oak",)) as book:
            before = hashes(book)
            with pytest.raises((InputError, BookError), match=says):
                book.import_lines(lines)
            assert hashes(book) == before
            assert book.rows.all_kept() == []

    @pytest.mark.parametrize(("number", "old", "new", "says"), [
        (3, b'"shown":5', b'"shown":6', "line 3: what the entry says does not agree with its hash"),
        (3, b'"shown":5', b'"shown":-5', "line 3: "),
        (3, b'"seq":2', b'"seq":3', "line 3: "),
        (3, b'"booked":"2026', b'"booked":"20x6', "line 3: .*no moment of booking"),
        (3, b'{"seq"', b'{"evil":1,"seq"', "line 3: .*unknown field"),
        (3, b'{"seq"', b'{{{', "line 3: "),
        (1, b'"book"', b'"cook"', "line 1: the file does not begin"),
        (1, b'"format":1', b'"format":99', "line 1: .*format 99.*Update Drybank"),
        (8, b'"content":"Sm8="', b'"content":"Sn8="', "line 8: .*does not agree with its hash"),
        (8, b'"content":"Sm8="', b'"content":"*"', "line 8: .*base64"),
        (8, b'"what":"name"', b'"what":"rank"', "line 8: .*rank"),
        (9, b'"entries":6', b'"entries":7', "line 9: the file should hold 7 entries"),
    ])  # fmt: skip
    def test_change_is_refused_with_its_line(
        self, places: Places, file: bytes, number: int, old: bytes, new: bytes, says: str
    ):
        lines = file.splitlines()
        assert old in lines[number - 1]
        lines[number - 1] = lines[number - 1].replace(old, new)
        self.refuse(places, lines, says)

    @pytest.mark.parametrize("number", range(1, 10))
    def test_a_line_dropped_doubled_or_the_file_cut_there_is_refused(self, places: Places, file: bytes, number: int):
        lines = file.splitlines()
        self.refuse(places, lines[: number - 1] + lines[number:], "line|mistake")
        self.refuse(places, lines[:number] + lines[number - 1 :], "line") if number > 1 else None
        self.refuse(places, lines[: number - 1], "ends before its last line|line 1")

    def test_all_mistakes_are_told_at_once(self, places: Places, file: bytes):
        lines = file.splitlines()
        lines[3] = lines[3].replace(b'"shown":', b'"shown":9')
        lines[4] = b"nonsense"
        with begun(places, ("oak",)) as book, pytest.raises(InputErrors) as caught:
            book.import_lines(lines)
        assert {"line 4", "line 5"} <= {e.where for e in caught.value.errors}

    @quick
    @given(data=st.data())
    def test_any_corrupted_byte_leaves_the_book_as_it_was_or_changes_nothing_that_counts(
        self, places: Places, file: bytes, data: st.DataObject
    ):
        """A byte in the entry, hash or place breaks the chain; one in the file's own dress (a blank) may not."""
        at = data.draw(st.integers(0, len(file) - 1))
        bad = file[:at] + data.draw(st.binary(min_size=0, max_size=3)) + file[at + 1 :]
        with places.lent() as place, opened(place) as book:
            with contextlib.suppress(InputError, BookError):
                book.import_lines(io.BytesIO(bad))
                assert exported(book, with_kept=True).splitlines() == file.splitlines()
                return
            assert book.stores() == ()
            assert book.rows.all_kept() == []

    @pytest.mark.parametrize("bad", [
        b"\xff\xfe\x00" * 300_000, b"[" * 1_000_000, b'{"drybank":' * 90_000, b"\n" * 1_000_000, b"a\n" * 500_000, b'{"drybank":"book","format":1}\n' * 30_000,
    ])  # fmt: skip
    def test_a_megabyte_of_nonsense_is_refused_quickly_and_in_little_memory(self, places: Places, bad: bytes):
        with begun(places, ("oak",)) as book:
            tracemalloc.start()
            begin = process_time()
            with pytest.raises(InputError) as caught:
                book.import_lines(io.BytesIO(bad))
            seconds, peak = process_time() - begin, tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        assert len(caught.value.sentence()) < 10_000
        assert seconds < 2
        assert peak < 10 * len(bad)


def test_a_long_file_takes_no_more_memory_than_a_short_one_and_comes_in_whole_or_not_at_all(tmp_path: Path):
    """Three times as many lines may take a quarter more at most. With its last line gone nothing is stored."""
    peaks = []
    for count in (1_100, 3_300):  # more than two parts of what is taken at once, both
        with open_book(tmp_path / f"here{count}.book", create=True, clock=now) as book:
            book.append([first("elm"), *readings(count)])
            file, before = exported(book), hashes(book)
        with open_book(tmp_path / f"there{count}.book", create=True, clock=now) as book:
            with pytest.raises(InputError, match="last line"):
                book.import_lines(io.BytesIO(file[: file.rindex(b"\n", 0, -1) + 1]))
            assert book.stores() == ()
            tracemalloc.start()
            done = book.import_lines(io.BytesIO(file))
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
            assert (done.added, done.known) == (count + 1, 0)
            assert hashes(book) == before
    assert peaks[1] < 1.25 * peaks[0]


def test_an_unknown_store_cannot_be_exported(book: Book):
    with pytest.raises(DrybankError, match="no store “ash”"):
        book.export(io.BytesIO(), ["ash"])


def test_one_store_can_be_exported_alone(places: Places):
    with begun(places, ("elm", "oak")) as book:
        out = io.BytesIO()
        done = book.export(out, ["oak"])
        assert (done.entries, list(done.tips)) == (1, ["oak"])
    with places.lent() as place, opened(place) as book:
        book.import_lines(out.getvalue().splitlines())
        assert book.stores() == ("oak",)
        assert book.append([first("elm")])
