"""Money at the desk: entered blind, followed to the bank, closed, told."""

from datetime import timedelta

import msgspec
import pytest

from drybank.desk import cash
from drybank.desk.takings import (
    close,
    enter_bill,
    journal_of,
    money_trail,
    proof_of_income,
    statement_of,
    week_as_it_stands,
)
from drybank.records.entry import Corrected, Pieces, StoreDated
from drybank.records.errors import DrybankError, InputError, Missing
from drybank.records.store import Counting
from drybank.takings import week_of

from .conftest import STORE


def counted_bag(book, pen, bag="A1", **more):
    cash.collect(book, STORE, ["1"], pen, bag=bag, after_reading=True)
    cash.count(book, STORE, cash.CountSaid(bag=bag, pieces=("25x40", "100x3"), **more), pen)


def test_a_bag_goes_from_box_to_bank_and_every_cent_is_there(book, pen):
    counted_bag(book, pen)
    cash.hand_over(book, STORE, "A1", "kim", pen, seal="77")
    cash.deposit(book, STORE, ["A1"], "13.00", pen)
    trail = money_trail(book, STORE, pen.clock())
    assert (trail.custody.counted.minor, trail.custody.deposited.minor, trail.custody.short.minor) == (1300, 1300, 0)
    assert trail.findings == ()


def test_what_a_counter_is_told_speaks_of_nothing_expected(book, pen):
    cash.collect(book, STORE, ["1"], pen, bag="A1")
    said = cash.count(book, STORE, cash.CountSaid(bag="A1", pieces=("25x40",)), pen).says.lower()
    assert not any(word in said for word in ("expect", "short", "more than", "less than", "should be", "usual"))


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (lambda b, p: cash.collect(b, STORE, ["99"], p), "no box or pocket"),
        (lambda b, p: cash.collect(b, STORE, [], p), "No box"),
        (lambda b, p: cash.count(b, STORE, cash.CountSaid(bag="A1", pieces=("7x4",)), p), "no piece worth 7"),
        (lambda b, p: cash.count(b, STORE, cash.CountSaid(bag="A1", pieces=("25*4",)), p), "not pieces"),
        (lambda b, p: cash.count(b, STORE, cash.CountSaid(pieces=("25x4",)), p), "needs a bag"),
        (lambda b, p: cash.count(b, STORE, cash.CountSaid(bag="A1", value="1.234"), p), "decimals"),
        (lambda b, p: cash.deposit(b, STORE, ["Z9"], "1.00", p), "No collection"),
        (lambda b, p: cash.hand_over(b, STORE, "Z9", "kim", p), "No collection"),
        (lambda b, p: cash.refund(b, STORE, "1", "0", p), "more than nothing"),
        (lambda b, p: cash.refund(b, STORE, "77", "1.00", p), "no pocket"),
        (lambda b, p: cash.refund(b, STORE, "1", "1.00", p, claim_id="nothing"), "nothing"),
        (lambda b, p: cash.claim(b, STORE, "1", "grumpy", p), "not a kind"),
        (lambda b, p: cash.house_use(b, STORE, "1", p), "needs a time"),
        (lambda b, p: cash.payout(b, STORE, cash.PayoutSaid(account="x", period_from="2026-05-01", period_to="2026-05-02", gross="1"), p), "pays into"),
        (lambda b, p: cash.payout(b, STORE, cash.PayoutSaid(account="town card", period_from="2026-05-09", period_to="2026-05-02", gross="1"), p), "before it begins"),
        (lambda b, p: cash.payout(b, STORE, cash.PayoutSaid(account="town card", period_from="soon", period_to="2026-05-02", gross="1"), p), "not a day"),
        (lambda b, p: enter_bill(b, STORE, "coal", "2026-04", 1, "kg", "1", p), "not a fuel"),
        (lambda b, p: enter_bill(b, STORE, "gas", "soon", 1, "m3", "1", p), "not a period"),
        (lambda b, p: enter_bill(b, STORE, "gas", "2026-04", 0, "m3", "1", p), "more than nothing"),
        (lambda b, p: enter_bill(b, STORE, "gas", "2026-04", 1, "gal", "1", p), "not billed in"),
        (lambda b, p: enter_bill(b, STORE, "gas", "2026-04", 1, "m3", "-1", p), "cannot be"),
        (lambda b, p: enter_bill(b, STORE, "gas", "2026-04", 1, "m3", "1e12", p), "cannot be"),
        (lambda b, p: enter_bill(b, STORE, "gas", "2027-04", 1, "m3", "1", p), "has not begun"),
        (lambda b, p: cash.hand_over(b, STORE, "key 3", " ", p), "Nobody was named"),
        (lambda b, p: statement_of(b, STORE, "2027-05", p.clock()), "has not begun"),
        (lambda b, p: proof_of_income(b, STORE, "2026-05", "2026-07", p.clock()), "has not begun"),
        (lambda b, p: close(b, STORE, "2026-W18", p), "not complete"),
        (lambda b, p: close(b, STORE, "2026-W40", p), "is not over"),
        (lambda b, p: statement_of(b, STORE, "2026-05", p.clock(), reader="Nobody"), "shares with nobody"),
        (lambda b, p: proof_of_income(b, STORE, "2026-05", "2026-04", p.clock()), "1 to 120 months"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_entered(book, pen, work, words):
    before = book.tip(STORE)
    with pytest.raises(DrybankError, match=words):
        work(book, pen)
    assert book.tip(STORE) == before


def test_a_bag_still_on_its_way_is_not_begun_again(book, pen):
    counted_bag(book, pen)
    with pytest.raises(InputError, match="still on its way"):
        cash.collect(book, STORE, ["3"], pen, bag="A1")
    cash.deposit(book, STORE, ["A1"], "13.00", pen)
    cash.collect(book, STORE, ["3"], pen, bag="A1")


def test_a_customers_words_lie_beside_the_chain_and_can_be_erased(book, pen):
    cash.claim(book, STORE, "7", "short time", pen, words="it stopped on Lena Example")
    body = book.story(STORE, kinds=("claim",))[-1].body
    sha = body.kept[0].sha256
    assert b"Lena" in book.kept(sha)
    book.erase(sha)
    assert book.kept(sha) is None
    assert book.verify(STORE).is_whole


def test_a_hot_complaint_asks_for_the_pocket_to_be_taken_out_of_service(book, pen):
    assert "out of service" in cash.claim(book, STORE, "7", "too hot", pen).says


def test_a_closed_week_is_sealed_and_later_counts_are_adjustments(book, pen, clock):
    counted_bag(book, pen)
    week = week_of(clock.now, "America/Toronto")
    clock.now += timedelta(days=7)
    closed = close(book, STORE, week, pen, although_missing=True)
    assert closed.week.coins.minor == 1300
    assert closed.seal
    assert not closed.week.is_ready
    cash.count(book, STORE, cash.CountSaid(bag="A1", pieces=("25x44", "100x3")), pen)
    later = week_as_it_stands(book, STORE, week_of(clock.now, "America/Toronto"), pen.clock())
    assert later.takings == later.coins + later.cards + later.adjustments
    with pytest.raises(InputError, match="is closed"):
        week_as_it_stands(book, STORE, week, pen.clock())


def test_a_statement_of_closed_weeks_reads_the_same_after_a_correction(book, pen, clock):
    """The correction is an adjustment of the days in which it was booked; both statements together tell what is known."""
    counted_bag(book, pen)
    count = book.story(STORE, kinds=("count",))[-1]
    clock.now += timedelta(days=7)
    close(book, STORE, "2026-W19", pen, although_missing=True)
    before = statement_of(book, STORE, "2026-05-04..2026-05-10", pen.clock())
    instead = msgspec.structs.replace(count.body, pieces=(Pieces(piece_minor=25, count=40),))
    book.append([pen.entry(STORE, Corrected(corrects=count.id, reason="three dollars too many", instead=instead))])
    after = statement_of(book, STORE, "2026-05-04..2026-05-10", pen.clock())
    assert after == before
    assert after.total.takings.minor == 1300
    this_week = statement_of(book, STORE, "2026-05-11..2026-05-17", pen.clock()).total
    assert (this_week.adjustments.minor, this_week.takings.minor) == (-300, -300)


def test_a_fuel_bill_is_a_cost_of_its_period(book, pen):
    counted_bag(book, pen)
    enter_bill(book, STORE, "gas", "2026-05", 812.0, "m3", "3.91", pen)
    told = statement_of(book, STORE, "2026-05", pen.clock())
    assert told.costs.minor == 391
    assert told.total.coins.minor == 1300


def test_a_second_bill_for_the_same_days_or_in_another_unit_is_refused(book, pen):
    enter_bill(book, STORE, "gas", "2026-04", 812.0, "m3", "3.91", pen)
    with pytest.raises(InputError, match="in the book already"):
        enter_bill(book, STORE, "gas", "2026-04-20..2026-05-02", 9.0, "m3", "3.91", pen)
    with pytest.raises(InputError, match="Earlier gas bills are in m3"):
        enter_bill(book, STORE, "gas", "2026-05", 9.0, "therm", "3.91", pen)


def test_boxes_without_a_bag_are_paid_in_under_the_name_that_the_trail_gives_them(book, pen):
    cash.collect(book, STORE, ["1"], pen)
    cash.count(book, STORE, cash.CountSaid(boxes=("1",), pieces=("25x40",)), pen)
    cash.deposit(book, STORE, ["1"], "10.00", pen)
    custody = money_trail(book, STORE, pen.clock()).custody
    assert (custody.deposited.minor, custody.short.minor, custody.on_the_way.minor) == (1000, 0, 0)


def test_who_collects_does_not_count_alone_where_the_store_asks_for_two(book, pen, clock):
    asks = msgspec.structs.replace(book.store_at(STORE, clock()), counting=Counting(asks_two=True, late_after_days=3.0))
    book.append([pen.entry(STORE, StoreDated(store=asks, from_date="2026-05-04"))])
    cash.collect(book, STORE, ["1"], pen)
    cash.collect(book, STORE, ["3"], pen, bag="A1")
    for said in ({"boxes": ("1",)}, {"bag": "A1"}):
        with pytest.raises(InputError, match="may not count it alone"):
            cash.count(book, STORE, cash.CountSaid(pieces=("25x4",), **said), pen)
        with pytest.raises(InputError, match="second person is the first"):
            cash.count(book, STORE, cash.CountSaid(pieces=("25x4",), second=pen.by, **said), pen)
        cash.count(book, STORE, cash.CountSaid(pieces=("25x4",), second="kim", **said), pen)


def test_an_offer_of_cheaper_time_carries_its_own_settings_for_the_balance(book, pen, clock):
    ends = clock.now + timedelta(hours=4)
    cash.offer_settings(book, STORE, "long wall", (clock.now, ends), ("first time=36 min",), pen)
    body = book.story(STORE, kinds=("offer",))[-1].body
    assert next(v.value for v in body.values if v.purpose == "first time") == 36 * 60
    with pytest.raises(InputError, match="minutes, or has settings"):
        cash.offer(book, STORE, "long wall", clock.now, ends, pen)


def test_a_key_goes_from_hand_to_hand(book, pen):
    assert cash.hand_over(book, STORE, "key 3", "kim", pen).says == "Key 3 is with kim now."
    assert [(k.thing, k.holder) for k in money_trail(book, STORE, pen.clock()).keys] == [("key 3", "kim")]


def test_every_refund_in_cash_is_accounted_for(book, pen, clock):
    """A refund out of the bag fills the deposit's gap; one from the drawer is told apart and explains no later gap."""
    counted_bag(book, pen)
    cash.refund(book, STORE, "1", "1.00", pen)
    cash.deposit(book, STORE, ["A1"], "13.00", pen)
    clock.now += timedelta(days=7)
    counted_bag(book, pen, bag="A2")
    cash.refund(book, STORE, "1", "0.50", pen)
    cash.deposit(book, STORE, ["A2"], "11.50", pen)
    custody = money_trail(book, STORE, pen.clock()).custody
    assert (custody.refunded.minor, custody.from_drawer.minor, custody.short.minor) == (50, 100, 100)


def test_the_journal_of_a_period_balances(book, pen):
    from beancount import loader

    counted_bag(book, pen)
    cash.deposit(book, STORE, ["A1"], "13.00", pen)
    entries, errors, _ = loader.load_string(journal_of(book, STORE, "2026-05", pen.clock()))
    assert errors == []
    assert sum(type(e).__name__ == "Transaction" for e in entries) == 2


def test_an_unknown_entry_is_missing(book):
    with pytest.raises(Missing):
        book.find("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
