"""Verify, seal, back up, move, salvage, correct, and the doctor, from the desk and from the terminal."""

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pysqlite3
import pytest

from drybank.book import open_book
from drybank.desk.correcting import between, correct, entries, local_moment
from drybank.desk.doctor import examine
from drybank.desk.keeping import back_up, bring_in, export, move, read_seals, restore, salvage, seal, verify_book
from drybank.records.entry import DeviceValue, ReadingTaken
from drybank.records.errors import DrybankError, InputError, InputErrors, Missing

from .conftest import STORE

DRYBANK = Path(sys.executable).parent / "drybank"


def run(*words, book):
    env = os.environ | {"DRYBANK_BOOK": str(book), "DRYBANK_BY": "tester", "COLUMNS": "200"}
    return subprocess.run([DRYBANK, *words], capture_output=True, text=True, env=env, check=False)


def tamper(path, statement):
    """What somebody with the file can do: drop the guards, then change an entry."""
    with pysqlite3.connect(path) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)


def a_reading(book, pen, shown=4123):
    body = ReadingTaken(values=(DeviceValue(device="1.turning", shown=shown),))
    return book.append([pen.entry(STORE, body, datetime(2026, 5, 4, 12, tzinfo=UTC))])[0].entry


class TestVerify:
    def test_says_what_was_checked_and_what_it_proves(self, book):
        done = verify_book(book)
        assert done.is_whole
        assert done.says.startswith("The chain holds: ")
        assert "No seal was given" in done.says
        assert "not that the entry was true" in done.proves

    def test_holds_the_book_against_seals_from_a_letter(self, book, pen, tmp_path):
        (made,) = seal(book, STORE, pen, "mailed")
        letter = tmp_path / "letter.txt"
        letter.write_text(f"Dear R,\n\n  {made.line}\n\nKeep it well.\n")
        done = verify_book(book, seals=read_seals([str(letter), made.line]))
        assert done.is_whole
        assert "agrees with 2 seals" in done.says

    def test_terminal_answers_3_and_names_the_entry(self, book, book_path, pen):
        entry = a_reading(book, pen)
        assert run("verify", book=book_path).returncode == 0
        tamper(book_path, "UPDATE book_entry SET text = replace(text, '4123', '3123') WHERE kind = 'reading'")
        done = run("verify", book=book_path)
        assert done.returncode == 3
        assert entry.id in done.stdout
        assert "changed after it was booked" in done.stdout
        assert "guards against changing entries were missing" in done.stderr
        listed = run("entries", STORE, book=book_path)
        assert f"Heed: {STORE}, place" in listed.stderr, "every command that reads past it says so"
        said = json.loads(run("verify", "--json", book=book_path).stdout)
        assert (said["is_whole"], said["report"]["faults"][0]["entry"]) == (False, entry.id)

    @pytest.mark.parametrize("text", ["nowhere.txt", "drybank seal 3 abc now lantern"])
    def test_refuses_what_is_no_seal(self, text):
        with pytest.raises(DrybankError, match="seal"):
            read_seals([text])


class TestCopies:
    def test_a_backup_goes_into_a_folder_under_the_books_name_and_the_moment(self, book, tmp_path):
        made = back_up(book, str(tmp_path), datetime(2026, 5, 3, 18, 15, tzinfo=UTC))
        assert Path(made.path).name == "desk-2026-05-03-181500.book"
        assert restore(made.path, str(tmp_path / "again.book")).tips == made.tips

    def test_an_export_comes_in_elsewhere_with_the_same_tips(self, book, tmp_path, clock):
        done = export(book, str(tmp_path / "t.jsonl"))
        with open_book(tmp_path / "n.book", create=True, clock=clock) as new, (tmp_path / "t.jsonl").open("rb") as file:
            assert bring_in(new, file).added == done.entries
            assert {s: new.tip(s) for s in new.stores()} == done.tips

    def test_an_export_never_writes_over_anything_and_leaves_no_half_file(self, book, tmp_path):
        (tmp_path / "mine").write_text("mine")
        with pytest.raises(InputError, match="already"):
            export(book, str(tmp_path / "mine"))
        before = set(tmp_path.iterdir())
        with pytest.raises(Missing):
            export(book, str(tmp_path / "t.jsonl"), ["nowhere"])
        assert set(tmp_path.iterdir()) == before

    def test_moved_and_salvaged_books_hold_the_same(self, book, tmp_path):
        moved = move(book, str(tmp_path / "m.book"))
        saved = salvage(str(tmp_path / "m.book"), str(tmp_path / "s.book"))
        assert (saved.saved, saved.lost) == (moved.entries, ())

    def test_terminal_does_each(self, book, book_path, tmp_path, pen):
        a_reading(book, pen)
        name = str(tmp_path / "b.book")
        for words in (
            ("backup", name), ("restore", name, f"{name}.2"), ("export", f"{name}.jsonl"), ("move", f"{name}.3"),
            ("salvage", f"{name}.3", f"{name}.4"), ("seal", STORE),
        ):  # fmt: skip
            done = run(*words, "--json", book=book_path)
            assert done.returncode == 0, done.stderr
            assert json.loads(done.stdout)
        done = run("import", f"{name}.jsonl", "--create", book=f"{name}.5")
        assert "entries added" in done.stdout


def test_granting_needs_a_database_with_roles(book, book_path):
    """What a granted role may and may not do is tried in tests/book, on a server."""
    with pytest.raises(InputError, match="no roles"):
        book.grant("clerk")
    done = run("grant", "clerk", book=book_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Its folder's rights say who may write it" in done.stderr


class TestCorrect:
    def test_tells_before_and_after_and_enters_only_when_meant(self, book, pen):
        entry = a_reading(book, pen)
        asked = {"reason": "digits swapped", "changes": ["values.0.shown=4213"]}
        done = correct(book, entry.id, pen, **asked, is_real=False)
        assert (done.entry, done.changes) == ("", (("1.turning", "4123", "4213"),))
        assert entries(book, STORE, kinds=["reading"])[0].says["values"][0]["shown"] == 4123
        done = correct(book, entry.id, pen, **asked)
        (line,) = entries(book, STORE, kinds=["reading"])
        assert (line.says["values"][0]["shown"], line.corrected_by, line.id) == (4213, done.entry, entry.id)
        assert book.find(entry.id).entry == entry, "the first stays in the book"

    def test_a_second_correction_builds_on_the_first(self, book, pen):
        entry = a_reading(book, pen)
        correct(book, entry.id, pen, reason="digits swapped", changes=["values.0.shown=4213"])
        moment = local_moment(book, entry.id, "2026-05-03T09:00")
        correct(book, entry.id, pen, reason="wrong day", happened=moment)
        (line,) = entries(book, STORE, kinds=["reading"])
        assert line.says["values"][0]["shown"] == 4213
        assert line.happened == moment
        correct(book, entry.id, pen, reason="and the visit", changes=["visit=v7"])
        assert entries(book, STORE, kinds=["reading"])[0].happened == moment, "the moment stays as it was put right"

    def test_taken_back_is_marked(self, book, pen):
        entry = a_reading(book, pen)
        correct(book, entry.id, pen, reason="another store's", take_back=True)
        assert [e.is_taken_back for e in entries(book, STORE, kinds=["reading"])] == [True]
        assert book.story(STORE, kinds=("reading",)) == []

    @pytest.mark.parametrize(("asked", "says"), [
        ({"changes": ["values.0.shown=-1"]}, "cannot say that"), ({"changes": ["values.0.shown=many"]}, "cannot say that"),
        ({"changes": ["values.7.shown=1"]}, "no place “7”"), ({"changes": ["colour=red"]}, "no field “colour”.*1.turning"),
        ({"changes": ["values"]}, "field=value"), ({}, "nothing is to be changed"), ({"take_back": True, "changes": ["visit=v"]}, "alone"),
        ({"changes": ["visit=v"], "reason": " "}, "needs its reason"),
    ])  # fmt: skip
    def test_refuses_with_a_sentence_and_enters_nothing(self, book, pen, asked, says):
        entry = a_reading(book, pen)
        tip = book.tip(STORE)
        with pytest.raises((InputError, InputErrors), match=says):
            correct(book, entry.id, pen, **{"reason": "a reason"} | asked)
        assert book.tip(STORE) == tip

    def test_every_mistake_in_one_go(self, book, pen):
        entry = a_reading(book, pen)
        with pytest.raises(InputErrors) as caught:
            correct(book, entry.id, pen, reason="a reason", changes=["colour=red", "values.7.shown=1"])
        assert len(caught.value.errors) == 2

    def test_moments_typed_are_the_stores_own_clock(self, book, pen):
        """The demo's first store keeps the clock of its own zone; the zone database is the outside witness."""
        from zoneinfo import ZoneInfo

        entry = a_reading(book, pen)
        zone = book.store_at(STORE, pen.clock()).time_zone
        typed = local_moment(book, entry.id, "2026-05-03T09:00")
        assert typed == datetime(2026, 5, 3, 9, tzinfo=ZoneInfo(zone))
        assert local_moment(book, entry.id, "2026-05-03T09:00+00:00") == datetime(2026, 5, 3, 9, tzinfo=UTC)
        first, end = between(book, STORE, "2026-05-03", "2026-05-03")
        assert end - first == timedelta(days=1)
        assert between(book, STORE, "", "") == (None, None)
        with pytest.raises(InputError, match="no moment"):
            local_moment(book, entry.id, "yesterday")

    def test_unknown_kind_names_the_known(self, book):
        with pytest.raises(InputError, match=r"no kind of entry.*reading"):
            entries(book, STORE, kinds=["count of coins"])

    def test_terminal_shows_then_enters(self, book, book_path, pen):
        entry = a_reading(book, pen)
        words = ("correct", entry.id, "--set", "values.0.shown=4213", "--reason", "digits swapped")
        shown = run(*words, book=book_path)
        assert "4123 → 4213" in shown.stdout
        assert "Nothing entered" in shown.stdout
        assert "Entered as" in run(*words, "--yes", book=book_path).stdout
        listed = run("entries", STORE, "--kind", "reading", book=book_path)
        assert entry.id in listed.stdout
        assert "corrected" in listed.stdout


class TestDoctor:
    NOW = datetime(2026, 5, 5, 12, tzinfo=UTC)

    def verdicts(self, where, now=None, **more):
        return {p.name: p.verdict for p in examine(str(where), now or self.NOW, **more).points}

    @pytest.fixture
    def closed(self, made_book, tmp_path):
        return shutil.copy(made_book, tmp_path / "doc.book")

    def test_of_a_sound_installation_finds_all_well(self, book, book_path, tmp_path):
        now = datetime.now(UTC)
        back_up(book, str(tmp_path), now)
        done = examine(str(book_path), now, backups=str(tmp_path))
        assert [(p.name, p.verdict) for p in done.points if p.verdict != "well"] == []
        assert done.is_well

    def test_a_clock_before_the_last_entry_is_ill(self, closed):
        assert self.verdicts(closed, datetime(2026, 1, 1, tzinfo=UTC))["clock"] == "ill"
        assert self.verdicts(closed)["clock"] == "well"

    def test_backups_missing_old_or_damaged(self, book, closed, tmp_path):
        assert self.verdicts(closed)["backups"] == "look"
        assert self.verdicts(closed, backups=str(tmp_path / "none"))["backups"] == "ill"
        made = back_up(book, str(tmp_path), self.NOW)
        now = datetime.now(UTC)
        assert self.verdicts(closed, now + timedelta(days=8), backups=str(tmp_path))["backups"] == "look"
        Path(made.path).write_bytes(b"x")
        assert self.verdicts(closed, now, backups=str(tmp_path))["backups"] == "ill"

    def test_a_missing_or_damaged_book_is_ill(self, closed, tmp_path):
        assert self.verdicts(tmp_path / "none.book")["book"] == "ill"
        tamper(closed, "DELETE FROM book_entry WHERE seq > 1")
        assert self.verdicts(closed)["book"] == "ill"

    def test_a_full_disk_is_worth_a_look(self, closed, monkeypatch):
        monkeypatch.setattr(shutil, "disk_usage", lambda path: shutil._ntuple_diskusage(10**9, 10**9, 0))
        assert self.verdicts(closed)["disk"] == "look"

    def test_a_certificate_near_its_end(self, closed, tmp_path):
        """Outside check: the certificate is made by openssl, which also says when it ends."""
        if shutil.which("openssl") is None:
            pytest.skip("openssl is not installed")
        pem = tmp_path / "c.pem"
        made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30", "-subj", "/CN=store", "-keyout", str(tmp_path / "k.pem"), "-out", str(pem)]  # fmt: skip
        subprocess.run(made, check=True, capture_output=True)
        now = datetime.now(UTC)
        for days, verdict in ((0, "well"), (15, "look"), (31, "ill")):
            assert self.verdicts(closed, now + timedelta(days=days), certificate=str(pem))["certificate"] == verdict
        pem.write_text("nonsense")
        assert self.verdicts(closed, certificate=str(pem))["certificate"] == "ill"

    def test_terminal_answers_3_where_something_is_to_be_looked_at(self, book_path):
        done = run("doctor", "--json", book=book_path)
        assert done.returncode == 3
        assert {p["name"] for p in json.loads(done.stdout)["points"]} == {
            "installation",
            "database",
            "book",
            "clock",
            "disk",
            "backups",
        }
