"""Verifying, exporting, backing up and reading while another program appends: each sees one moment, none sees a fault."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from book_making import Places, begun, opened, readings

from drybank.book import Book, restore


class Writer(threading.Thread):
    """Appends small batches until told to stop, through a connection of its own."""

    def __init__(self, book: Book) -> None:
        super().__init__()
        self.book, self.is_done, self.count, self.fault = book, threading.Event(), 0, ""

    def run(self) -> None:
        try:
            while not self.is_done.is_set() and self.count < 600:
                self.book.append(readings(3, start=self.count))
                self.count += 3
        except Exception as bad:
            self.fault = repr(bad)


@pytest.fixture
def busy(book: Book) -> Iterator[tuple[Book, Writer]]:
    writer = Writer(book)
    writer.start()
    yield book, writer
    writer.is_done.set()
    writer.join()
    assert writer.fault == ""
    assert writer.count > 0
    assert len(book.story("elm", kinds=("reading",))) == writer.count


def test_verify_never_takes_a_new_entry_for_a_fault(busy: tuple[Book, Writer]):
    book, writer = busy
    tries = 0
    while writer.is_alive() and tries < 30:
        report = book.verify()
        assert report.is_whole, report.sentence()
        tries += 1
    assert tries > 0


def test_an_export_and_a_backup_are_each_of_one_moment(busy: tuple[Book, Writer], places: Places, tmp_path: Path):
    book, _ = busy
    for n in range(3):
        out = io.BytesIO()
        done = book.export(out)
        with places.lent() as place, opened(place) as copy:
            copy.import_lines(out.getvalue().splitlines())
            assert copy.tip("elm") == done.tips["elm"]
        made = book.backup(tmp_path / f"{n}.book")
        assert restore(tmp_path / f"{n}.book", tmp_path / f"{n}.again").tips == made.tips


def test_a_seal_finds_its_moment_between_other_writers(busy: tuple[Book, Writer]):
    book, _ = busy
    seals = [book.seal("elm", by="ann", origin="test") for _ in range(3)]
    assert book.verify(seals=seals).is_whole
    book_lines = {line.seq: line.hash for line in book.lines("elm")}
    assert all(book_lines[seal.seq] == seal.tip for seal in seals)


def test_two_books_of_one_file_see_each_other(places: Places):
    with places.lent() as place, begun(places) as elsewhere, opened(place) as one, opened(place) as two:
        one.append([next(iter(elsewhere.chain("elm"))).entry])
        two.append(readings(2))
        assert len(list(one.chain("elm"))) == 3
        assert one.tip("elm") == two.tip("elm")
