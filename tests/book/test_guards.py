"""Guards taken away are noticed and put back; a later schema step keeps every entry and cannot leave the guards down."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
import torture
from book_making import Places, Server, first, now, opened, reading, readings

from drybank.book import Book, open_book
from drybank.records.errors import NewerBook

STEP = """
from django.db import migrations, models

class Migration(migrations.Migration):
    dependencies = [("book", "0001_entries")]
    operations = [
        migrations.AlterField("row", "by", models.CharField(max_length=90)),
        migrations.AddField("keptthing", "more", models.CharField(max_length=9, default="")),
    ]
"""
"""A step such as a later Drybank may bring; on SQLite it makes the entry table anew, and its triggers go with the old one."""


def hashes(book: Book) -> list[str]:
    return [b.hash for b in book.chain("elm")]


def filled(places: Places) -> tuple[str, list[str]]:
    place = places.new()
    with opened(place) as book:
        book.append([first(), *readings(20)])
        return place, hashes(book)


def test_guards_taken_away_are_told_and_put_back(places: Places):
    place, _ = filled(places)
    places.tamper(place, "SELECT 1")
    with opened(place) as book:
        assert "guards against changing entries were missing" in book.guards_missed
        assert book.verify().notices == (book.guards_missed,)
    with opened(place) as book:
        assert book.guards_missed == ""
        assert book.verify().notices == ()


def test_a_role_that_does_not_own_the_tables_says_who_can_put_them_back(server: Server, tmp_path: Path):
    places = Places("postgresql", tmp_path, server)
    place, _ = filled(places)
    with opened(place) as book:
        book.grant("clerk")
    places.tamper(place, "SELECT 1")
    name = place.split("@/")[1].split("?")[0]
    with opened(server.url(name, "clerk")) as book:
        assert "as the tables' owner" in book.guards_missed
    with opened(place) as book:
        assert "put back" in book.guards_missed
    with opened(server.url(name, "clerk")) as book:
        assert book.guards_missed == ""


class TestLaterStep:
    @pytest.fixture
    def later(self, tmp_path: Path) -> Path:
        (tmp_path / "later").mkdir()
        (tmp_path / "later" / "0002_more.py").write_text(STEP)
        return tmp_path / "later"

    def upgraded(self, place: str, later: Path, event: int = 0) -> tuple[list[int], bool]:
        """In a child: this Drybank with one step more opens the book, perhaps killed at an event."""

        def work(ack: torture.Ack) -> None:
            from django.db.migrations import loader

            from drybank.book import migrations

            migrations.__path__.append(str(later))
            loader.reload = lambda module: module  # it would forget the folder added
            with torture.killing_at(event):
                book = open_book(place, clock=now)
                ack(len(hashes(book)))
                book.append([reading(50, number=50)])
                ack(len(hashes(book)))
                assert book.verify().is_whole
                assert book.guards_missed == ""
                with pytest.raises(Exception, match=r"append-only|permission denied"):
                    book.rows._rows().update(by="x")

        return torture.struck(work, None)

    def test_keeps_every_entry_and_every_guard(self, places: Places, later: Path):
        place, before = filled(places)
        assert self.upgraded(place, later) == ([21, 22], False)
        with pytest.raises(NewerBook, match="0002_more"):
            opened(place)
        assert self.upgraded(place, later)[0] == [22, 22]
        assert len(before) == 21

    @pytest.mark.slow
    def test_killed_at_any_statement_leaves_the_old_schema_or_the_new(self, places: Places, later: Path):
        """Every seventh statement or commit is tried, before and after; `make torture` makes the schema under random kills."""
        was_killed, event, old, new = True, 1, 0, 0
        while was_killed:
            place, before = filled(places)
            acked, was_killed = self.upgraded(place, later, event)
            try:
                with opened(place) as book:
                    assert (acked, hashes(book), book.guards_missed) == ([], before, "")
                    old += 1
            except NewerBook:
                new += 1
            assert self.upgraded(place, later)[0][-1] == 22
            event += 7
        assert old > 2
        assert new > 0


@pytest.fixture(autouse=True)
def _no_step_is_left_behind() -> Iterator[None]:
    """The children add a step to their own copy of the room only."""
    yield
    from drybank.book import migrations

    assert len(list(migrations.__path__)) == 1
    assert os.getpid() > 0
