"""Whole books: backup and restore, move between databases, salvage of a damaged file, and what can be erased."""

from __future__ import annotations

import hashlib
import subprocess
from pathlib import Path

import pytest
from book_making import Places, entry, first, now, opened, readings

from drybank.book import Book, move, restore, salvage
from drybank.records.entry import Noted, Proved
from drybank.records.errors import ChainBroken, InputError, Missing


def hashes(book: Book) -> dict[str, list[str]]:
    return {store: [b.hash for b in book.chain(store)] for store in book.stores()}


def fill(book: Book) -> None:
    """Two stores, something kept, an entry long enough to spill over its page."""
    kept = book.keep("name", "Jo Hart")
    long = Proved(test="air", at="1", measured={f"point {i}": "x" * 90 for i in range(200)}, verdict="pass")
    book.append([first("oak"), *readings(300), *readings(20, store="oak"), entry("elm", long)])
    book.append([entry("elm", Noted(says="spoke to her", kept=(kept,)))])


class TestBackup:
    def test_restored_is_the_same_book(self, book: Book, tmp_path: Path):
        fill(book)
        made = book.backup(tmp_path / "monday.book")
        assert made.sha256 == hashlib.sha256((tmp_path / "monday.book").read_bytes()).hexdigest()
        assert made.tips == {store: book.tip(store) for store in book.stores()}
        done = restore(tmp_path / "monday.book", tmp_path / "again.book", clock=now)
        assert done.tips == made.tips
        with opened(str(tmp_path / "again.book")) as copy:
            assert hashes(copy) == hashes(book)
            assert copy.rows.all_kept() == book.rows.all_kept()
            assert copy.append(readings(1, start=900))

    def test_leaves_one_file_and_its_checksum_as_sha256sum_reads_it(self, book: Book, tmp_path: Path):
        """Outside check: the checksum file is verified by coreutils' sha256sum."""
        book.backup(tmp_path / "monday.book")
        assert sorted(p.name for p in tmp_path.iterdir()) == ["monday.book", "monday.book.sha256"]
        subprocess.run(["sha256sum", "-c", "monday.book.sha256"], cwd=tmp_path, check=True, capture_output=True)

    def test_is_one_moment_of_a_book_in_use(self, book: Book, tmp_path: Path):
        """Entries appended after the copy began are not half in it."""
        book.append(readings(50))
        before = hashes(book)
        made = book.backup(tmp_path / "a.book")
        book.append(readings(5, start=60))
        assert made.tips == {"elm": before["elm"][-1]}

    def test_never_writes_over_anything(self, book: Book, tmp_path: Path):
        (tmp_path / "a.book").write_text("mine")
        with pytest.raises(InputError, match="is there already"):
            book.backup(tmp_path / "a.book")
        with pytest.raises(InputError, match="folder"):
            book.backup(tmp_path / "none" / "a.book")
        assert (tmp_path / "a.book").read_text() == "mine"

    def test_of_a_damaged_book_is_refused(self, places: Places, tmp_path: Path):
        place = places.new()
        with opened(place) as book:
            book.append([first(), *readings(5)])
        places.tamper(place, "UPDATE book_entry SET text = replace(text, 'test', 'tost') WHERE seq = 3")
        with opened(place) as book, pytest.raises(ChainBroken, match="place 3"):
            book.backup(tmp_path / "a.book")
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize("at", [0.0, 0.3, 0.6, 0.99])
    def test_a_bit_flipped_anywhere_in_a_backup_is_found_on_restore(self, book: Book, tmp_path: Path, at: float):
        book.backup(tmp_path / "a.book")
        raw = bytearray((tmp_path / "a.book").read_bytes())
        raw[int(at * len(raw))] ^= 1
        (tmp_path / "a.book").write_bytes(raw)
        with pytest.raises(ChainBroken, match="checksum differs"):
            restore(tmp_path / "a.book", tmp_path / "b.book")
        assert not (tmp_path / "b.book").exists()

    def test_without_its_checksum_or_over_another_book_is_not_restored(self, book: Book, tmp_path: Path):
        book.backup(tmp_path / "a.book")
        (tmp_path / "b.book").write_text("mine")
        with pytest.raises(InputError, match="is there already"):
            restore(tmp_path / "a.book", tmp_path / "b.book")
        (tmp_path / "a.book.sha256").unlink()
        with pytest.raises(Missing, match="checksum"):
            restore(tmp_path / "a.book", tmp_path / "c.book")
        with pytest.raises(Missing, match="no backup at"):
            restore(tmp_path / "none.book", tmp_path / "c.book")


class TestMove:
    def test_there_and_back_keeps_every_hash(self, book: Book, places: Places, tmp_path: Path):
        fill(book)
        before, kept = hashes(book), book.rows.all_kept()
        moved = move(book, tmp_path / "there.book")
        assert (moved.entries, moved.kept) == (sum(map(len, before.values())), 1)
        with opened(str(tmp_path / "there.book")) as there, places.lent() as home:
            assert hashes(there) == before
            move(there, home)
            with opened(home) as back:
                assert hashes(back) == before
                assert back.rows.all_kept() == kept
                assert back.verify().is_whole

    def test_goes_on_where_it_was_broken_off(self, book: Book, tmp_path: Path):
        move(book, tmp_path / "there.book")
        book.append(readings(10))
        move(book, tmp_path / "there.book")
        with opened(str(tmp_path / "there.book")) as there:
            assert hashes(there) == hashes(book)

    def test_does_not_mix_with_another_chain(self, book: Book, tmp_path: Path):
        with opened_new(tmp_path / "there.book") as there:
            there.append([first()])
        with pytest.raises(InputError, match="other entries"):
            move(book, tmp_path / "there.book")

    def test_of_a_damaged_book_is_refused(self, places: Places, tmp_path: Path):
        place = places.new()
        with opened(place) as book:
            book.append([first(), *readings(5)])
        places.tamper(place, "DELETE FROM book_entry WHERE seq = 3")
        with opened(place) as book, pytest.raises(ChainBroken, match="stays where it is"):
            move(book, tmp_path / "there.book")


def opened_new(path: Path) -> Book:
    from drybank.book import open_book

    return open_book(path, create=True, clock=now)


class TestSalvage:
    @pytest.fixture
    def path(self, tmp_path: Path) -> Path:
        """A closed book of one file."""
        with opened_new(tmp_path / "x.book") as book:
            book.append([first()])
            fill(book)
            book.rows.close_file()
        return tmp_path / "x.book"

    def test_of_a_whole_book_keeps_every_hash(self, path: Path, tmp_path: Path):
        done = salvage(path, tmp_path / "new.book", clock=now)
        with opened(str(path)) as old, opened(str(tmp_path / "new.book")) as new:
            assert (done.saved, done.lost, done.kept) == (sum(map(len, hashes(old).values())), (), 1)
            assert hashes(new) == hashes(old)
            assert new.rows.all_kept() == old.rows.all_kept()

    def test_reads_what_still_lies_in_the_write_ahead_log(self, tmp_path: Path):
        with opened_new(tmp_path / "x.book") as book:
            book.append([first(), *readings(5)])
            assert (tmp_path / "x.book-wal").stat().st_size > 0
            assert salvage(tmp_path / "x.book", tmp_path / "new.book", clock=now).saved == 6

    def test_where_one_entry_was_changed_saves_all_others_and_names_it(self, path: Path, tmp_path: Path):
        Places.tamper(
            Places("sqlite", tmp_path, None),
            str(path),
            "UPDATE book_entry SET text = replace(text, 'test', 'tost') WHERE store = 'elm' AND seq = 100",
        )
        done = salvage(path, tmp_path / "new.book", clock=now)
        assert [line[:14] for line in done.lost] == ["elm, place 100"]
        with opened(str(path)) as old, opened(str(tmp_path / "new.book")) as new:
            assert [b.entry for b in new.chain("elm")] == [b.entry for b in old.chain("elm") if b.seq != 100]
            assert "place 100" in old.doubts["elm"], "reading past it raised a doubt"
            assert [b.hash for b in new.chain("elm")][:99] == [b.hash for b in old.chain("elm")][:99]
            assert [b.old_hash for b in new.chain("elm", after_seq=99)] == [
                b.hash for b in old.chain("elm", after_seq=100)
            ]
            assert new.verify().is_whole

    @pytest.mark.parametrize("page", [0, 1, 2, 5, 11, 20, -1])
    def test_with_any_page_lost_saves_every_entry_that_lay_elsewhere(self, path: Path, tmp_path: Path, page: int):
        """Method: the entries whose text stands in other pages are counted from the bytes of the file, not by our reader."""
        raw = bytearray(path.read_bytes())
        start = (page % (len(raw) // 4096)) * 4096
        lost_page = bytes(raw[start : start + 4096])
        raw[start : start + 4096] = b"\0" * 4096
        path.write_bytes(raw)
        done = salvage(path, tmp_path / "new.book", clock=now)
        stood_there = lost_page.count(b'"origin":"test"')
        assert done.saved >= 324 - stood_there - 1  # the long entry may be lost with one of its overflow pages
        with opened(str(tmp_path / "new.book")) as new:
            assert new.verify().is_whole

    def test_is_refused_for_what_is_no_file_or_over_another(self, path: Path, tmp_path: Path):
        with pytest.raises(InputError, match="is there already"):
            salvage(path, path)
        with pytest.raises(Missing):
            salvage(tmp_path / "none.book", tmp_path / "new.book")
        with pytest.raises(InputError, match="a file"):
            salvage("postgresql://ann@db/shop", tmp_path / "new.book")

    def test_of_nonsense_saves_nothing_and_hangs_nowhere(self, tmp_path: Path):
        (tmp_path / "x").write_bytes(bytes(range(256)) * 4000)
        assert salvage(tmp_path / "x", tmp_path / "new.book", clock=now).saved == 0


class TestErasing:
    def test_the_chain_still_verifies_and_says_that_something_was_there(self, book: Book):
        kept = book.keep("phone", "555 0100")
        book.append([entry("elm", Noted(says="call back", kept=(kept,)))])
        assert book.kept(kept.sha256) == b"555 0100"
        book.erase(kept.sha256)
        assert book.kept(kept.sha256) is None
        assert book.verify().is_whole
        with pytest.raises(Missing):
            book.kept("0" * 64)
        with pytest.raises(Missing):
            book.erase("0" * 64)

    def test_the_hash_is_salted(self, book: Book):
        one, two = book.keep("name", "Jo Hart"), book.keep("name", "Jo Hart")
        plain = hashlib.sha256(b"Jo Hart").hexdigest()
        assert len({one.sha256, two.sha256, plain}) == 3

    def test_nothing_of_it_is_left_in_the_files(self, tmp_path: Path):
        """Method: the bytes are looked for in the book's files with grep's eyes."""
        with opened_new(tmp_path / "x.book") as book:
            kept = book.keep("words", "she said: unmistakable words")
            assert any(b"unmistakable" in p.read_bytes() for p in tmp_path.iterdir())
            book.erase(kept.sha256)
            assert not any(b"unmistakable" in p.read_bytes() for p in tmp_path.iterdir())

    def test_something_changed_beside_the_chain_is_not_handed_out(self, places: Places):
        place = places.new()
        with opened(place) as book:
            kept = book.keep("name", "Jo")
        places.tamper(place, "UPDATE book_kept SET content = salt")
        with opened(place) as book, pytest.raises(ChainBroken, match="Do not rely"):
            book.kept(kept.sha256)

    @pytest.mark.parametrize(("what", "content"), [("rank", "x"), ("name", ""), ("photo", b"x" * 20_000_001)])
    def test_refuses_what_is_not_kept(self, book: Book, what: str, content: str | bytes):
        with pytest.raises(InputError):
            book.keep(what, content)  # type: ignore[arg-type]
