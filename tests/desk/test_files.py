"""Files in: the difference shown, entered from a date, all or nothing."""

from datetime import date

import pytest

from drybank.desk.files import check_files, load, text_of
from drybank.records.errors import InputError, InputErrors

from .conftest import STORE, demo_files


def test_loading_the_same_again_changes_nothing(book, pen):
    assert load(book, demo_files("lantern_row.toml", "alder.toml"), pen).changes == ()


def changed_store():
    (name, content), *_ = demo_files("lantern_row.toml")
    return [(name, content.replace(b'visit = "9.00"', b'visit = "8.00"'))]


def test_a_changed_store_file_shows_its_difference_and_holds_from_its_day(book, pen):
    shown = load(book, changed_store(), pen, from_date=date(2026, 6, 1), is_real=False)
    assert not shown.is_entered
    assert any("8.00" in s or "800" in s for s in shown.changes[0].says)
    load(book, changed_store(), pen, from_date=date(2026, 5, 4))
    assert book.store_at(STORE, date(2026, 5, 3)).costs.visit_minor == 900
    assert book.store_at(STORE, date(2026, 5, 4)).costs.visit_minor == 800


def test_a_changed_sheet_reaches_every_store_that_uses_it(book, pen):
    (name, content), *_ = demo_files("alder.toml")
    loaded = load(book, [(name, content.replace(b'revision = "demo 3"', b'revision = "demo 4"'))], pen)
    assert [(c.store, c.what) for c in loaded.changes] == [(STORE, "sheet Alder")]
    assert book.sheets_at(STORE, pen.clock())["alder"].revision == "demo 4"


def test_one_bad_file_keeps_all_out(book, pen):
    before = book.tip(STORE)
    with pytest.raises(InputErrors):
        load(book, [*changed_store(), ("bad.toml", b'drybank = "sheet 1"\nkey = 3\n')], pen)
    assert book.tip(STORE) == before


def test_a_settings_file_is_adopted_not_loaded(book, pen):
    text = b'drybank = "settings 1"\nstore = "lantern"\ncurrency = "CAD"\n[[bank]]\nbank = "long wall"\nfrom_date = 2026-05-04\nvalues = [{ purpose = "first time", set = "24 min" }]\n'
    with pytest.raises(InputError, match=r"adopt|mistake|key"):
        load(book, [("house.toml", text)], pen)


def test_check_names_every_mistake_with_its_line():
    (name, content), sheet = demo_files("lantern_row.toml", "alder.toml")
    wrong = content.replace(b'altitude = "7 m"', b'altitude = "700000 m"').replace(
        b'kind = "walk-in"', b'kind = "walkin"'
    )
    found = check_files([(name, wrong), sheet])[0]
    assert len(found.mistakes) == 2
    assert all("lantern_row.toml:" in m for m in found.mistakes)


def test_a_store_whose_sheet_is_not_at_hand_says_so():
    assert "Sheets not at hand" in check_files(demo_files("lantern_row.toml"))[0].says[0]


def test_a_store_loaded_without_its_sheet_is_told_so_once(tmp_path, pen, clock):
    from drybank.book import open_book

    with open_book(tmp_path / "new.book", create=True, clock=clock) as empty:
        with pytest.raises(InputError, match="not at hand: alder") as told:
            load(empty, demo_files("lantern_row.toml"), pen)
        assert not isinstance(told.value, InputErrors)


class TestMendsThatFit:
    def test_a_later_form_is_the_only_thing_said_of_it(self):
        (found,) = check_files([("s.toml", b'drybank = "store 99"\nkey = "a"\n')])
        assert len(found.mistakes) == 1
        assert "a later form" in found.mistakes[0]

    def test_a_file_that_cannot_be_read_is_told_its_line_whatever_it_was_to_be(self):
        (found,) = check_files([("s.toml", b'name = "x"\nkey = = 3\n')])
        assert found.mistakes[0].startswith("s.toml:2: A value that cannot be read")

    def test_a_file_that_is_not_ours_is_told_how_ours_begin(self):
        (found,) = check_files([("s.toml", b"key = 3\n")])
        assert 'drybank = "store 1"' in found.mistakes[0]

    def test_a_folder_is_called_one(self, tmp_path):
        with pytest.raises(InputError, match="this is a folder"):
            text_of(str(tmp_path))
