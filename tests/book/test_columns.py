"""Columns beside the book: they say what the story says, follow the chain's end, and are never believed against it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from book_making import BEGIN, NOW, begun, entry, first, histories, keys, moments, reading, readings, words
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.book import Book, Told
from drybank.book.chain import line_of, write
from drybank.book.columns import StoreColumns, columns, unpack
from drybank.book.snapshot import columns_of, each_store, folder_of
from drybank.records.entry import (
    BoxesEmptied,
    Corrected,
    DeviceValue,
    Entry,
    Noted,
    Pieces,
    PiecesCounted,
    ReadingTaken,
)
from drybank.records.errors import InputError

few = st.integers(0, 10**12)
tallies = st.one_of(
    st.builds(
        ReadingTaken,
        values=st.lists(st.builds(DeviceValue, device=keys, shown=st.none() | few), max_size=3).map(tuple),
        visit=words, test_pieces=st.just(()) | st.tuples(st.builds(Pieces, piece_minor=few, count=few)),
    ),
    st.builds(
        BoxesEmptied, boxes=st.lists(keys, max_size=3).map(tuple), bag=words, with_second=words,
        is_after_reading=st.none() | st.booleans(), visit=words,
    ),
    st.builds(
        PiecesCounted, boxes=st.lists(keys, max_size=2).map(tuple), bag=words, foreign=few, with_second=words,
        pieces=st.lists(st.builds(Pieces, piece_minor=few, count=few, means=st.sampled_from(["coin", "token"])), max_size=3).map(tuple),
        minor=st.none() | st.integers(-(10**12), 10**12), method=st.sampled_from(["hand", "machine", "weight"]),
        weight_g=st.none() | st.floats(0, 1e6), collection=words,
    ),
)  # fmt: skip
lives = st.lists(st.tuples(tallies, moments, keys), max_size=12).map(
    lambda rows: [entry("elm", body, at, by=by, number=n) for n, (body, at, by) in enumerate(rows, 1)]
)


def told(of: list[Told]) -> list[tuple[str, datetime, object, str, int]]:
    return [(t.id, t.happened, t.body, t.by, t.seq) for t in of]


def thin(of: StoreColumns, **more: object) -> list[tuple[str, datetime, object, str, int]]:
    return [tuple(e) for e in of.entries(**more)]  # type: ignore[arg-type, misc]


def made(history: list[Entry], start: int = 1) -> StoreColumns:
    return columns("elm", len(history), "tip", ((e, n) for n, e in enumerate(history, start)))


@settings(max_examples=60, deadline=None)
@given(history=lives | histories())
def test_columns_give_back_every_entry_whole(history: list[Entry]) -> None:
    history = [e for e in history if e.kind != "correction"]
    again = unpack(made(history).pack())
    wanted = sorted(((e.id, e.happened, e.body, e.by, n) for n, e in enumerate(history, 1)), key=lambda r: (r[1], r[4]))
    assert thin(again) == wanted


@settings(max_examples=40, deadline=None)
@given(history=lives, cut=st.integers(0, 12))
def test_columns_added_to_are_those_made_at_once(history: list[Entry], cut: int) -> None:
    cut = min(cut, len(history))
    late = ((e, n) for n, e in enumerate(history[cut:], cut + 1))
    grown = columns("elm", len(history), "tip", late, onto=made(history[:cut]))
    assert thin(grown) == thin(made(history))
    assert thin(unpack(grown.pack())) == thin(grown)


@settings(max_examples=10, deadline=None)
@given(history=histories(most=10), kinds=st.sets(st.sampled_from(["reading", "count", "note", "refund"])))
def test_columns_of_a_book_say_what_its_story_says(places, history: list[Entry], kinds: set[str]) -> None:
    with begun(places) as book:
        book.append([e for e in history if e.kind != "store version"])
        for step in (columns_of(book, "elm"), columns_of(book, "elm"), columns_of(book, "elm", anew=True)):
            assert thin(step) == told(book.story("elm"))
            until = BEGIN + timedelta(days=200)
            assert thin(step, kinds=tuple(kinds), until=until) == told(
                book.story("elm", kinds=tuple(kinds), until=until)
            )


@pytest.fixture
def kept(places, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[tuple[Book, Path]]:
    """A book with ten readings and its columns written; a database's go into a cache of this test."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    with begun(places) as book:
        book.append(readings(10))
        columns_of(book, "elm")
        yield book, next(folder_of(book).iterdir())


def shown(of: StoreColumns) -> list[int]:
    return [int(n) for n in of.shown().number]


def test_what_is_appended_later_is_added(kept: tuple[Book, Path]) -> None:
    book, _ = kept
    book.append(readings(3, start=10))
    again = columns_of(book, "elm")
    assert shown(again) == list(range(13))
    assert (again.seq, again.tip) == book.head("elm")


def test_a_late_entry_stands_where_it_happened(kept: tuple[Book, Path]) -> None:
    book, _ = kept
    book.append([reading(99, at=BEGIN - timedelta(days=1))])
    assert shown(columns_of(book, "elm"))[0] == 99


def test_a_correction_is_laid_in(kept: tuple[Book, Path]) -> None:
    book, _ = kept
    wrong = book.story("elm", kinds=("reading",))[4]
    instead = ReadingTaken(values=(DeviceValue(device="1.hours", shown=77),))
    book.append([entry("elm", Corrected(corrects=wrong.id, reason="misread", instead=instead), NOW)])
    assert shown(columns_of(book, "elm"))[4] == 77
    assert thin(columns_of(book, "elm")) == told(book.story("elm"))


def test_a_file_with_another_head_is_not_believed(kept: tuple[Book, Path]) -> None:
    """Forged with a true checksum: what it says stays unread, because its end does not stand in the chain."""
    book, path = kept
    head = book.head("elm")
    forged = columns("elm", head[0], "f" * 64, [(reading(5_000, number=9), 2)])
    path.write_bytes(forged.pack())
    assert shown(columns_of(book, "elm")) == list(range(10))
    forged = columns("elm", head[0] - 1, "f" * 64, [(reading(5_000, number=9), 2)])
    path.write_bytes(forged.pack())
    assert shown(columns_of(book, "elm")) == list(range(10))


@pytest.mark.parametrize("harm", ["flip", "cut", "empty", "other", "gone", "json"])
def test_a_damaged_file_is_made_anew(kept: tuple[Book, Path], harm: str) -> None:
    book, path = kept
    raw = bytearray(path.read_bytes())
    if harm == "flip":
        raw[-20] ^= 1
    new = {"cut": bytes(raw[: len(raw) // 2]), "empty": b"", "other": b"x" * 500, "json": bytes(raw[:90]) + b"{}\n"}
    path.write_bytes(new.get(harm, bytes(raw)))
    if harm == "gone":
        path.unlink()
    assert shown(columns_of(book, "elm")) == list(range(10))
    assert unpack(path.read_bytes()).tip == book.tip("elm")


def test_where_nothing_can_be_written_it_does_without(kept: tuple[Book, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    book, path = kept
    path.unlink()

    def refuse(*_: object, **__: object) -> None:
        raise OSError(28, "no space left")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    assert shown(columns_of(book, "elm")) == list(range(10))
    assert not list(folder_of(book).iterdir())


def test_a_store_whose_chain_does_not_hold_is_not_kept(places, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    with begun(places) as book:
        book.append(readings(3))
        true = book.lines

        def altered(store: str, after_seq: int = 0) -> Iterator[object]:
            for line in true(store, after_seq):
                yield line if line.seq != 3 else line_of(write(reading(5)), seq=3, booked=line.booked, prev="0" * 64)

        monkeypatch.setattr(book, "lines", altered)
        monkeypatch.setattr("drybank.book.chain.doubt", lambda line: "changed" if line.prev == "0" * 64 else "")
        columns_of(book, "elm")
        assert book.doubts
        assert not folder_of(book).exists()


def test_every_store_comes_in_order(kept: tuple[Book, Path]) -> None:
    book, _ = kept
    book.append([first("ash"), reading(1, store="ash")])
    assert [c.store for c in each_store(book)] == ["ash", "elm"]


def test_series_stand_device_by_device_in_order_of_time() -> None:
    at = [BEGIN + timedelta(days=k) for k in range(3)]
    both = [
        entry("elm", ReadingTaken(values=(DeviceValue(device="b", shown=10 + k), DeviceValue(device="a", shown=k))), t)
        for k, t in enumerate(at)
    ]
    counts = [
        entry(
            "elm",
            PiecesCounted(boxes=("x",), pieces=(Pieces(piece_minor=25, count=k), Pieces(piece_minor=100, count=2 * k))),
            t,
        )
        for k, t in enumerate(at)
    ]
    of = made([*reversed(both), *counts, entry("elm", Noted(says="x"))])
    series = of.shown()
    numbers = {n: series.number[series.start[k] : series.start[k + 1]].tolist() for k, n in enumerate(series.names)}
    assert numbers == {"a": [0, 1, 2], "b": [10, 11, 12]}
    assert of.counted().names == ("x",)
    np.testing.assert_array_equal(of.counted().number, [0, 3, 6])


def test_bytes_that_are_no_columns_are_refused() -> None:
    for raw in (b"", b"drybank columns 1 ", b"drybank columns 2 " + b"0" * 64 + b"\n{}"):
        with pytest.raises(InputError):
            unpack(raw)


def test_moments_keep_their_microsecond() -> None:
    when = datetime(2026, 1, 1, 0, 0, 0, 1, tzinfo=UTC)
    assert next(made([entry("elm", Noted(says="x"), when), reading(1, at=when)]).entries()).happened == when
