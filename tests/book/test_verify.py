"""Verifying finds every change to what an entry says, every dropped or moved line, and with a seal a cut or rewritten chain.

The properties run on the pure pass over lines; the database tests do to a book what an insider with all rights could do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import msgspec
import pytest
from book_making import NOW, Places, begun, entry, first, histories, opened, reading, readings
from hypothesis import assume, given
from hypothesis import strategies as st

from drybank.book import WHAT_IT_PROVES, Book, Seal
from drybank.book.chain import Line, line_of, moment_text, read, write
from drybank.book.verify import ChainFault, check_chain
from drybank.records.entry import Entry, Noted, Sealed
from drybank.records.errors import ChainBroken, InputError, Missing


def chained(history: list[Entry], *, prev: str = "", seq: int = 0) -> list[Line]:
    lines: list[Line] = []
    for n, each in enumerate(history, seq + 1):
        lines.append(line_of(write(each), seq=n, booked=moment_text(NOW), prev=prev))
        prev = lines[-1].hash
    return lines


def faults(lines: list[Line], head: tuple[int, str] | None = None, seals: tuple[Seal, ...] = ()) -> list[ChainFault]:
    end = head or ((lines[-1].seq, lines[-1].hash) if lines else (0, ""))
    return check_chain("elm", lines, head=lambda: end, seals=seals)[1]


def rechained(lines: list[Line]) -> list[Line]:
    """What a thorough forger does: every hash computed anew."""
    forged: list[Line] = []
    for n, line in enumerate(lines, 1):
        prev = forged[-1].hash if forged else ""
        written = msgspec.structs.replace(write(read(line.text)), text=line.text)
        forged.append(line_of(written, seq=n, booked=line.booked, prev=prev))
    return forged


@given(histories())
def test_an_untouched_chain_has_no_fault(history: list[Entry]):
    assert faults(chained(history)) == []


@given(histories(), st.data())
def test_any_change_to_any_field_of_a_line_is_found(history: list[Entry], data: st.DataObject):
    """Method: one field of one line is replaced by the same field of another line, or has one character changed."""
    lines = chained(history)
    at = data.draw(st.integers(0, len(lines) - 1))
    field = data.draw(st.sampled_from(Line.__struct_fields__))
    value = getattr(lines[at], field)
    if isinstance(value, int):
        other = data.draw(st.integers(0, 100))
    else:
        place = data.draw(st.integers(0, max(0, len(value) - 1)))
        other = value[:place] + data.draw(st.characters(codec="utf-8")) + value[place + 1 :]
    assume(other != value)
    lines[at] = msgspec.structs.replace(lines[at], **{field: other})
    whole = chained(history)[-1]
    assert faults(lines, head=(whole.seq, whole.hash))


@given(histories(), st.data())
def test_a_changed_text_with_its_own_hash_made_true_again_is_found_at_the_next(
    history: list[Entry], data: st.DataObject
):
    lines = chained(history)
    at = data.draw(st.integers(0, len(lines) - 2))
    forged = msgspec.structs.replace(write(read(lines[at].text)), text=lines[at].text.replace('"by":"', '"by":"x', 1))
    columns = line_of(write(read(forged.text)), seq=lines[at].seq, booked=lines[at].booked, prev=lines[at].prev)
    lines[at] = columns
    assert [f.seq for f in faults(lines)] == [at + 2]


@given(histories(), st.data())
def test_a_dropped_line_is_found(history: list[Entry], data: st.DataObject):
    lines = chained(history)
    end = (lines[-1].seq, lines[-1].hash)
    del lines[data.draw(st.integers(0, len(lines) - 1))]
    assert faults(lines, head=end)


@given(histories(), st.data())
def test_swapped_lines_are_found_renumbered_or_not(history: list[Entry], data: st.DataObject):
    lines = chained(history)
    one, two = data.draw(st.lists(st.integers(0, len(lines) - 1), min_size=2, max_size=2, unique=True))
    lines[one], lines[two] = lines[two], lines[one]
    assert faults(lines)
    renumbered = [msgspec.structs.replace(line, seq=n) for n, line in enumerate(lines, 1)]
    assert faults(renumbered)


@given(histories(), st.data())
def test_a_cut_tail_is_found_by_the_last_seal_even_where_the_head_was_cut_too(
    history: list[Entry], data: st.DataObject
):
    lines = chained(history)
    seal = Seal(store="elm", seq=lines[-1].seq, tip=lines[-1].hash, when="2026-06-01")
    cut = lines[: data.draw(st.integers(0, len(lines) - 1))]
    (fault,) = faults(cut, seals=(seal,))
    assert "tail was cut" in fault.what


@given(histories(), st.data())
def test_a_wholly_rewritten_chain_is_found_by_a_seal(history: list[Entry], data: st.DataObject):
    lines = chained(history)
    seal = Seal(store="elm", seq=lines[-1].seq, tip=lines[-1].hash)
    at = data.draw(st.integers(0, len(lines) - 1))
    lines[at] = msgspec.structs.replace(lines[at], text=lines[at].text.replace('"origin":"test"', '"origin":"desk"'))
    forged = rechained(lines)
    assert faults(forged) == []
    (fault,) = faults(forged, seals=(seal,))
    assert "rewritten" in fault.what


@given(histories(), st.data())
def test_a_seal_inside_the_chain_holds_too(history: list[Entry], data: st.DataObject):
    lines = chained(history)
    sealed = entry("elm", Sealed(seq=lines[-1].seq, tip=lines[-1].hash), number=500)
    lines += chained([sealed], prev=lines[-1].hash, seq=len(lines))
    assert faults(lines) == []
    at = data.draw(st.integers(0, len(lines) - 2))
    lines[at] = msgspec.structs.replace(lines[at], text=lines[at].text.replace('"origin":"test"', '"origin":"desk"'))
    assert any("seal" in f.what for f in faults(rechained(lines)))


class TestInsider:
    """Somebody with every right on the database."""

    @pytest.fixture
    def place(self, places: Places) -> Iterator[str]:
        with places.lent() as place:
            with opened(place) as book:
                book.append([first(), *(reading(100 + n, number=10 + n) for n in range(8))])
            yield place

    def test_changes_one_reading(self, places: Places, place: str):
        places.tamper(
            place, "UPDATE book_entry SET text = replace(text, '\"shown\":103', '\"shown\":93') WHERE seq = 5"
        )
        with opened(place) as book:
            report = book.verify()
            assert [(f.seq, f.entry) for f in report.faults] == [(5, reading(103, number=13).id)]
            assert "was changed after it was booked" in report.sentence()
            assert len(list(book.chain("elm"))) == 9, "the rest stays readable"

    @pytest.mark.parametrize(
        "column", ["store", "kind", "happened", "by", "corrects", "booked", "prev", "hash", "old_hash"]
    )
    def test_changes_one_column(self, places: Places, place: str, column: str):
        value = "2025-01-06T09:00:00.000001Z" if column in ("happened", "booked") else "note"
        places.tamper(place, f"UPDATE book_entry SET {column} = '{value}' WHERE seq = 5")
        with opened(place) as book:
            assert not book.verify().is_whole

    def test_changes_an_id(self, places: Places, place: str):
        other = reading(1, number=99).id
        places.tamper(place, f"UPDATE book_entry SET id = '{other}' WHERE seq = 5")
        with opened(place) as book:
            assert any("column “id”" in f.what for f in book.verify().faults)

    def test_removes_one_from_the_middle(self, places: Places, place: str):
        places.tamper(place, "DELETE FROM book_entry WHERE seq = 5")
        with opened(place) as book:
            assert "1 entries before it are missing" in book.verify().sentence()

    def test_cuts_the_tail_and_nothing_more_can_be_added(self, places: Places, place: str):
        places.tamper(place, "DELETE FROM book_entry WHERE seq > 6")
        with opened(place) as book:
            assert list(book.doubts) == ["elm"]
            with pytest.raises(ChainBroken, match="does not hold"):
                book.append(readings(1))
            assert "remembers an end at place 9" in book.verify().sentence()

    def test_cuts_tail_and_head_and_only_the_seal_knows(self, places: Places, place: str):
        with opened(place) as book:
            seal = book.seal("elm", by="ann", origin="test", where="mailed")
            six = list(book.chain("elm"))[5].hash
        places.tamper(place, f"DELETE FROM book_entry WHERE seq > 6; UPDATE book_head SET seq = 6, hash = '{six}'")
        with opened(place) as book:
            assert book.verify().is_whole, "without a seal kept elsewhere nobody can know"
            report = book.verify(seals=[seal])
            assert not report.is_whole
            assert "tail was cut" in report.sentence()

    def test_removes_a_whole_store(self, places: Places, place: str):
        with opened(place) as book:
            seal = book.seal("elm", by="ann", origin="test")
        places.tamper(place, "DELETE FROM book_entry; DELETE FROM book_head")
        with opened(place) as book:
            assert not book.verify(seals=[seal]).is_whole

    def test_rewrites_the_whole_chain(self, places: Places, place: str):
        with opened(place) as book:
            seal = book.seal("elm", by="ann", origin="test")
            lines = [
                msgspec.structs.replace(x, text=x.text.replace('"shown":103', '"shown":93')) for x in book.lines("elm")
            ]
        forged = rechained(lines)
        statements = [
            f"UPDATE book_entry SET text = '{x.text}', hash = '{x.hash}', prev = '{x.prev}' WHERE seq = {x.seq}"
            for x in forged
        ]
        head = f"UPDATE book_head SET hash = '{forged[-1].hash}'"
        places.tamper(place, "; ".join([*statements, head]))
        with opened(place) as book:
            inner = book.verify()
            assert [f.what for f in inner.faults] == [
                "it sealed place 9 with another hash: what stood up to there was rewritten."
            ], "the seal entry in the chain says so already"
            assert "the chain was rewritten" in book.verify(seals=[seal]).sentence()


def test_says_what_a_true_chain_proves_and_what_not(book: Book):
    assert book.verify().sentence().endswith(WHAT_IT_PROVES)
    assert "not that the entry was true" in WHAT_IT_PROVES


def test_one_store_can_be_verified_alone(places: Places):
    with begun(places, ("elm", "oak")) as book:
        assert [s.store for s in book.verify("oak").stores] == ["oak"]
        with pytest.raises(Missing, match="Stores in it: elm, oak"):
            book.verify("ash")


class TestSeal:
    def test_line_reads_back(self, book: Book):
        seal = book.seal("elm", by="ann", origin="test", where="printed")
        assert Seal.read(seal.line()) == seal
        assert book.verify(seals=[Seal.read("  " + seal.line() + "\n")]).seals_checked == 1
        (told,) = book.story("elm", kinds=("seal",))
        assert told.body == Sealed(seq=seal.seq, tip=seal.tip, kept_at="printed")

    @pytest.mark.parametrize("line", ["", "drybank seal 3", "drybank seal x " + "0" * 64 + " now elm", "a" * 500])
    def test_refuses_what_is_none(self, line: str):
        with pytest.raises(InputError, match="is not a seal"):
            Seal.read(line)


def test_a_clock_set_back_is_noticed_and_breaks_nothing(places: Places):
    from datetime import timedelta

    from drybank.book import open_book

    with places.lent() as place:
        with opened(place) as book:
            book.append([first(), reading(1)])
        with open_book(place, clock=lambda: NOW - timedelta(days=40)) as book:
            book.append([reading(2)])
        with opened(place) as book:
            report = book.verify()
            assert report.is_whole
            assert len(report.notices) == 1
            assert re.search(r"place 3: .* clock was set back", report.notices[0])


def test_a_note_with_a_line_feed_cannot_run_into_the_next_part(book: Book):
    (booked,) = book.append([entry("elm", Noted(says='a\n5\n"b'))])
    assert "\n" not in next(line.text for line in book.lines("elm") if line.seq == booked.seq)
