"""House settings adopted, cards and signs made from them."""

import pytest

from drybank.desk.cards import CAUTIONS, bank_sign, work_cards
from drybank.desk.houses import adopt, propose, waive
from drybank.desk.setting import Visit, record_visit
from drybank.records.errors import InputError

from .conftest import BANK, STORE

SHORT = ("first time=18 min",)


def test_a_failed_check_stands_in_the_way_until_it_is_waived_with_a_reason(book, pen):
    proposal = propose(book, STORE, BANK, pen, texts=SHORT)
    assert not proposal.is_settable
    with pytest.raises(InputError, match="first start"):
        adopt(book, proposal, pen)
    failed = next(c.key for c in proposal.checks if c.verdict == "failed")
    with pytest.raises(InputError, match="needs its reason"):
        waive(book, STORE, BANK, failed, " ", pen)
    waive(book, STORE, BANK, failed, "a short start is what customers here ask for", pen)
    again = propose(book, STORE, BANK, pen, texts=SHORT)
    assert again.is_settable
    assert any(c.verdict == "waived" and "customers here" in (c.waiver + c.reason) for c in again.checks)
    adopt(book, again, pen)


def test_only_what_changes_is_shown_as_changed(book, pen):
    changes = propose(book, STORE, BANK, pen, texts=("cool-down time=4 min",)).changes
    assert [(c.name, c.today, c.proposed) for c in changes] == [("cool-down time", "3 min", "4 min")]


def test_cards_go_in_walking_order_one_a_machine(book, pen):
    cards = work_cards(book, STORE, pen, bank=BANK)
    assert [c.machine for c in cards] == ["1+2", "3+4", "5+6", "7+8", "9+10", "11+12"]
    assert len({c.id for c in cards}) == 6


def test_steps_stand_in_the_controls_own_order_and_fall_away_when_done(book, pen):
    card = work_cards(book, STORE, pen, machine="1+2")[0]
    names = [s.name for s in card.controls[0].steps]
    order = [s.name for s in book.sheets_at(STORE, pen.clock())["alder"].settings]
    assert names == [n for n in order if n in names]
    record_visit(book, STORE, Visit(control="1", as_house=True), pen)
    again = work_cards(book, STORE, pen, machine="1+2")[0]
    assert again.controls[0].steps == ()
    assert len(again.controls[1].steps) == len(names)


def test_a_card_that_needs_power_never_speaks_of_lock_out(book, pen):
    for card in work_cards(book, STORE, pen, bank=BANK):
        powered = [s for c in card.controls for s in c.steps if "stays on" in s.power]
        words = " ".join(card.cautions).lower()
        if powered:
            assert "lock" not in words
            assert CAUTIONS["en"]["on"] in card.cautions


def test_a_sheet_nobody_read_back_says_so_until_somebody_does(book, pen):
    assert "Nobody has read" in work_cards(book, STORE, pen, machine="1+2")[0].notices[0]
    record_visit(book, STORE, Visit(control="1", as_house=True, is_read_back=True), pen)
    assert work_cards(book, STORE, pen, machine="1+2")[0].notices == ()


@pytest.mark.facts
def test_the_sign_states_rate_coins_and_who_gives_money_back(book, pen):
    """NIST Handbook 44, 5.55 UR statement of rates (money per unit of time, and the number of coins accepted at one time) and
    G-UR.3.4 (how money is returned, with name, address and phone): read in a county weights-and-measures page."""
    text = bank_sign(book, STORE, BANK, pen=pen).texts[0]
    assert (text.start.money, text.start.time) == ("$1.00", "24 minutes")
    assert text.start_says == "4 × 25¢ start a dryer"
    assert [(m.money, m.time) for m in text.more] == [("25¢", "6 minutes"), ("$1.00", "24 minutes")]
    assert text.accepted == "Takes 25¢ or $1.00."
    assert "No more than 90 minutes (15 × 25¢ or 4 × $1.00) at one time." in text.notes  # the fourth gives 18 of 24
    assert text.refund == ("Bram Ottenshaw", "7 Lantern Row, Quillmere", "555-0107")


def test_money_on_a_french_sign_is_written_as_french_readers_write_it(book, pen):
    """Decimal comma and sign after the amount: CLDR, by babel."""
    french = bank_sign(book, STORE, BANK, pen=pen).texts[1]
    assert french.start.money.replace("\xa0", " ") == "1,00 $"


def test_a_bank_without_house_settings_gets_no_sign(book, pen):
    with pytest.raises(InputError, match="no house settings"):
        bank_sign(book, STORE, "back room", pen=pen)
