"""Change day: danger while two prices are sold, resumable, rolled back."""

import msgspec
import pytest

from drybank.book import open_book
from drybank.desk import change_day
from drybank.desk.setting import Visit, record_visit
from drybank.desk.stamp import Pen
from drybank.records.errors import InputError

from .conftest import BANK, STORE

TWELVE = [str(n) for n in range(1, 13)]


def set_all(book, pen, controls=TWELVE):
    for control in controls:
        record_visit(book, STORE, Visit(control=control, as_house=True), pen)


@pytest.fixture
def begun(book, pen):
    set_all(book, pen)
    change_day.begin(
        book,
        STORE,
        BANK,
        pen,
        texts=("first time=25 min", "time per piece, 25 c=6.5 min", "time per piece, 1.00=26 min"),
    )
    return book


def test_nothing_is_dangerous_before_the_first_pocket(begun, pen):
    state = change_day.status(begun, STORE, BANK, pen.clock())
    assert state.danger == ()
    assert not state.is_ended


def test_a_bank_with_mixed_prices_is_a_danger_until_it_ends(begun, pen):
    set_all(begun, pen, TWELVE[:5])
    state = change_day.status(begun, STORE, BANK, pen.clock())
    assert any("two prices" in d and "5 of 12" in d for d in state.danger)
    assert any("old sign" in d for d in state.danger)


def test_the_day_resumes_from_the_book_alone(begun, pen, book_path, clock):
    set_all(begun, pen, TWELVE[:5])
    with open_book(book_path, clock=clock) as again:
        other = Pen(by="second", origin="phone", clock=clock)
        state = change_day.status(again, STORE, BANK, clock())
        assert sum(s.state == "done" for s in state.controls) == 5
        set_all(again, other, TWELVE[5:])
        assert all(s.state == "done" for s in change_day.status(again, STORE, BANK, clock()).controls)


def test_it_ends_when_every_control_input_and_sign_is_done(begun, pen):
    change_day.sign_changed(begun, STORE, BANK, "old down", pen)
    set_all(begun, pen)
    change_day.coin_test(begun, STORE, "1.near", 4, 1500, pen)
    change_day.coin_test(begun, STORE, "1.far", 1, 1502, pen)
    tested = [t.body for t in begun.story(STORE, kinds=("proof",))]
    begun.append(
        [
            pen.entry(STORE, msgspec.structs.replace(one, at=one.at.replace("1.", f"{control}.")))
            for control in TWELVE[1:]
            for one in tested
        ]
    )
    state = change_day.sign_changed(begun, STORE, BANK, "new up", pen)
    assert state.left_to_do == ()
    assert state.is_ended
    assert state.danger == ()


def test_a_coin_test_that_gives_other_minutes_fails(begun, pen):
    set_all(begun, pen)
    state = change_day.coin_test(begun, STORE, "1.near", 4, 1440, pen)
    test = next(t for t in state.coin_tests if t.input == "1.near")
    assert test.verdict == "fail"
    assert "1500 s expected" in test.says


def test_a_run_at_the_limit_is_too_close_to_call_and_asks_for_another(begun, pen):
    set_all(begun, pen)
    state = change_day.coin_test(begun, STORE, "1.near", 4, 1505, pen)
    assert any("1.near is too close to call" in sentence for sentence in state.left_to_do)


def test_a_new_sign_before_the_old_one_is_down_is_refused(begun, pen):
    with pytest.raises(InputError, match="old sign is still up"):
        change_day.sign_changed(begun, STORE, BANK, "new up", pen)


def test_a_new_sign_over_controls_that_are_not_set_is_a_danger(begun, pen):
    change_day.sign_changed(begun, STORE, BANK, "old down", pen)
    state = change_day.sign_changed(begun, STORE, BANK, "new up", pen)
    assert any("before every control is set" in d for d in state.danger)


def test_rolling_back_brings_the_old_settings_and_makes_changed_controls_to_do(begun, pen):
    set_all(begun, pen, TWELVE[:5])
    before = {v.purpose: v.value for v in begun.house_at(STORE, BANK, pen.clock())}
    state = change_day.roll_back(begun, STORE, BANK, pen)
    after = {v.purpose: v.value for v in begun.house_at(STORE, BANK, pen.clock())}
    assert (before["first time"], after["first time"]) == (1500, 1440)
    assert state.is_rollback
    assert [s.control for s in state.controls if s.state == "to do"] == TWELVE[:5]


def test_a_second_day_may_not_begin_while_one_is_open(begun, pen):
    with pytest.raises(InputError, match="open change day"):
        change_day.begin(begun, STORE, BANK, pen, texts=("first time=26 min",))


def test_rolling_back_without_an_open_day_is_refused(book, pen):
    with pytest.raises(InputError, match="no open change day"):
        change_day.roll_back(book, STORE, BANK, pen)
