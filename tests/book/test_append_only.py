"""The database itself refuses to change, remove or slip in an entry, whoever asks."""

from __future__ import annotations

import contextlib

import psycopg
import pysqlite3
import pytest
from book_making import Places, Server, entry, first, opened, reading, readings

from drybank.records.entry import Noted
from drybank.records.errors import BookError

STATEMENTS = {
    "change": "UPDATE book_entry SET text = 'x' WHERE seq = 2",
    "change of nothing": "UPDATE book_entry SET kind = kind",
    "removal": "DELETE FROM book_entry WHERE seq = 3",
    "gap": "INSERT INTO book_entry SELECT 'x', store, 9, kind, happened, by, corrects, text, booked, hash, hash, '' FROM book_entry WHERE seq = 3",
    "same place": "INSERT INTO book_entry SELECT 'x', store, 3, kind, happened, by, corrects, text, booked, prev, hash, '' FROM book_entry WHERE seq = 3",
    "other prev": "INSERT INTO book_entry SELECT 'x', store, 4, kind, happened, by, corrects, text, booked, prev, hash, '' FROM book_entry WHERE seq = 3",
    "head back": "UPDATE book_head SET seq = 1",
    "head gone": "DELETE FROM book_head",
    "kept changed": "UPDATE book_kept SET content = 'x'",
    "kept gone": "DELETE FROM book_kept",
}  # fmt: skip


def filled(places: Places) -> str:
    place = places.new()
    with opened(place) as book:
        kept = book.keep("name", "Jo")
        book.append([first(), entry("elm", Noted(says="", kept=(kept,))), reading(1)])
    return place


def run(places: Places, place: str, statement: str) -> None:
    """As somebody whom rights do not stop: PostgreSQL's superuser, or whoever can write the file."""
    if places.server is not None:
        as_bytes = statement.replace("content = 'x'", "content = 'x'::bytea")
        places.server.sql(database_of(place), as_bytes, user="postgres")
        return
    with contextlib.closing(pysqlite3.connect(place)) as connection, connection:
        connection.execute(statement)


def database_of(place: str) -> str:
    return place.split("@/")[1].split("?")[0]


@pytest.fixture(scope="module")
def place(places: Places) -> str:
    return filled(places)


@pytest.mark.parametrize("what", STATEMENTS)
def test_refuses(places: Places, place: str, what: str):
    with pytest.raises(Exception, match=r"append-only|left as it is|its line stays"):
        run(places, place, STATEMENTS[what])
    with opened(place) as book:
        assert book.verify().is_whole


def test_replacing_by_insert_is_refused_too(tmp_path_factory: pytest.TempPathFactory):
    """INSERT OR REPLACE removes a row without firing SQLite's delete trigger."""
    place = filled(Places("sqlite", tmp_path_factory.mktemp("replace"), None))
    with (
        contextlib.closing(pysqlite3.connect(place)) as connection,
        pytest.raises(pysqlite3.DatabaseError, match="append-only"),
    ):
        connection.execute("INSERT OR REPLACE INTO book_entry SELECT * FROM book_entry WHERE seq = 3")


def test_truncating_is_refused(server: Server, tmp_path_factory: pytest.TempPathFactory):
    place = filled(Places("postgresql", tmp_path_factory.mktemp("none"), server))
    name = database_of(place)
    for table in ("book_entry", "book_head", "book_kept"):
        with pytest.raises(Exception, match="append-only"):
            server.sql(name, f"TRUNCATE {table}", user="postgres")


def test_the_owner_of_the_tables_has_no_right_to_change_either(
    server: Server, tmp_path_factory: pytest.TempPathFactory
):
    name = database_of(filled(Places("postgresql", tmp_path_factory.mktemp("none"), server)))
    for statement in (
        "UPDATE book_entry SET text = ''",
        "DELETE FROM book_entry",
        "TRUNCATE book_entry",
        "DELETE FROM book_kept",
    ):
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            server.sql(name, statement)


class TestApplicationRole:
    """The role a web app or a technician's program connects with: may add and read, has no right to change or remove."""

    def test_adds_and_reads_but_has_no_right_to_change(self, server: Server, tmp_path_factory: pytest.TempPathFactory):
        place = filled(Places("postgresql", tmp_path_factory.mktemp("none"), server))
        name = database_of(place)
        with opened(place) as book:
            book.grant("clerk")
        clerk = server.url(name, "clerk")
        with opened(clerk) as book:
            assert [b.seq for b in book.append(readings(2))] == [4, 5]
            kept = book.keep("phone", "555 0100")
            book.erase(kept.sha256)
            assert book.kept(kept.sha256) is None
        for statement in ("UPDATE book_entry SET text = ''", "DELETE FROM book_entry", "TRUNCATE book_entry",
                          "DELETE FROM book_head", "DROP TABLE book_entry", "ALTER TABLE book_entry DISABLE TRIGGER USER"):  # fmt: skip
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                server.sql(name, statement, user="clerk")

    def test_needs_a_role_that_exists(self, server: Server, tmp_path_factory: pytest.TempPathFactory):
        with (
            opened(Places("postgresql", tmp_path_factory.mktemp("none"), server).new()) as book,
            pytest.raises(BookError, match="nobody"),
        ):
            book.grant("nobody")
