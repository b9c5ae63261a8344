"""Faults that do not come alone, stop half way or were always there; and what the balance expects beside sold drying."""

from datetime import timedelta

import pytest

from drybank.balance import balance
from drybank.control.layout import layout
from drybank.records.entry import (
    BoxesEmptied,
    Entry,
    HouseUsed,
    OfferMade,
    Pieces,
    PiecesCounted,
    ReadingTaken,
    Refunded,
)
from drybank.records.sheet import Grid, HouseValue
from tests.balance.houses import (
    BASE,
    ELM,
    NO_COUNTERS,
    START,
    _line,
    _sheet,
    fault,
    house,
    judged,
    names,
    period,
    posted,
    story,
    unit,
)

CORNER = house()
WEEK = timedelta(days=7)


def entry(n, when, body):
    ident = f"01900000-0000-7000-8000-{n:012d}"
    return Entry(id=ident, store="corner", happened=when, by="owner", origin="test", body=body)


class TestFaults:
    def test_two_faults_at_once_are_two_questions(self):
        r = judged(CORNER, fault("theft", 4, 0.06), fault("minutes", 4, 1.0))
        assert {("cash short", "Pocket 4"), ("minutes per coin too many", "Pocket 4")} <= names(r)
        hours = next(f for f in r.findings if f.name.startswith("minutes"))
        assert all("coins taken" not in c.name for c in hours.causes)

    def test_a_counter_that_doubles_explains_its_hours_and_stays_one_question(self):
        r = judged(CORNER, fault("double", 5, 0.06))
        assert [f.name for f in r.findings if f.where == "Pocket 5"] == ["counter counts twice"]

    def test_two_faults_at_two_pockets_are_two_questions(self):
        r = judged(CORNER, fault("theft", 4, 0.06), fault("minutes", 9, 1.0))
        assert {("cash short", "Pocket 4"), ("minutes per coin too many", "Pocket 9")} <= names(r)

    def test_a_loss_that_stops_half_way_is_told_with_what_was_taken(self):
        entries, history = story(CORNER, fault("theft", 4, 0.08, first=BASE, last=BASE + 4))
        u = unit(balance(CORNER, entries, period()), "4")
        taken = 25 * history.taken[0, 3, BASE:].sum()
        assert u.verdict == "short"
        assert u.gap.interval.low - 100 <= -taken <= u.gap.interval.high + 100

    def test_a_loss_since_the_first_day_is_told_where_a_counter_is(self):
        r = judged(CORNER, fault("theft", 4, 0.05, first=0))
        assert unit(r, "4").verdict == "short"

    def test_without_a_counter_a_loss_since_the_first_day_cannot_be_told_and_that_is_said(self):
        bare = house(counters=NO_COUNTERS)
        r = judged(bare, fault("theft", 4, 0.05, first=0))
        assert unit(r, "4").verdict == "right"
        assert any("not a loss that was there from the first day" in m for m in r.missing)


class TestExpected:
    """Offers, house use, refunds and test coins belong to the house: none of them is a question."""

    @pytest.mark.parametrize("kind", ["house", "offer"])
    def test_free_hours_that_were_entered_are_expected(self, kind):
        entries, _ = story(CORNER, fault("free", 2, 0.15))
        plain = balance(CORNER, entries, period())
        assert any(f.where == "Pocket 2" for f in plain.findings)
        start = START + BASE * WEEK
        if kind == "house":
            hours = 0.15 * 19.95  # the planted share of the usual week's hours: 35 loads x 6 coins x 6 min x .95
            more = [entry(100 + w, start + w * WEEK + timedelta(days=3), HouseUsed(pocket="2", seconds=int(3600 * hours))) for w in range(8)]  # fmt: skip
        else:  # what all twelve pockets of the bank were given comes off all alike: pocket 2 still stands out
            more = [entry(100, start, OfferMade(bank="n", starts=start, ends=start + 8 * WEEK, minutes_given=0.0))]
        r = balance(CORNER, [*entries, *more], period())
        assert any(f.where == "Pocket 2" for f in r.findings) == (kind == "offer")

    def test_minutes_given_to_a_whole_bank_are_taken_out_of_its_hours(self):
        entries, _ = story(CORNER)
        start = START + BASE * WEEK
        given = OfferMade(bank="n", starts=start, ends=start + 8 * WEEK, minutes_given=12 * 600.0)
        before = unit(balance(CORNER, entries, period()), "3").hours
        after = unit(balance(CORNER, [*entries, entry(100, start, given)], period()), "3").hours
        assert before - after == pytest.approx(10.0, rel=0.02)  # 600 minutes of each pocket

    def test_a_refund_paid_from_elsewhere_changes_no_box(self):
        entries, _ = story(CORNER)
        start = START + BASE * WEEK
        paid = [entry(100 + w, start + w * WEEK, Refunded(pocket="3", minor=500, why="no heat")) for w in range(8)]
        assert balance(CORNER, [*entries, *paid], period()).units == balance(CORNER, entries, period()).units

    def test_test_coins_go_through_counter_and_box_alike(self):
        entries, history = story(CORNER)
        n = 40
        changed = [_with_test_coins(e, n) for e in entries]
        r = unit(balance(CORNER, changed, period()), "5")
        assert r.verdict == "right"
        assert r.expected.minor == 25 * (history.counter[0, 4, BASE:].sum() + n)


def _with_test_coins(e, n):
    """Pocket 5: so many test coins fall through counter and box in the period's third week."""
    week = START + (BASE + 3) * WEEK - timedelta(days=1)
    import msgspec

    body = e.body
    if isinstance(body, ReadingTaken) and e.happened > week:
        values = tuple(
            msgspec.structs.replace(v, shown=(v.shown + n) % 10_000) if v.device == "5.coins" else v
            for v in body.values
        )
        body = msgspec.structs.replace(body, values=values, test_pieces=(Pieces(piece_minor=25, count=n),))
    counted_here = isinstance(body, PiecesCounted) and body.bag == f"5.box-w{BASE + 3}"
    if counted_here:
        pieces = (msgspec.structs.replace(body.pieces[0], count=body.pieces[0].count + n),)
        body = msgspec.structs.replace(body, pieces=pieces)
    assert not isinstance(body, BoxesEmptied) or body.boxes
    return msgspec.structs.replace(e, body=body)


class TestCoolDown:
    """A control whose sheet has a cool-down of 2 min inside the sold time; a load is six coins of 6 min."""

    def cool(self):
        cooling = _line("cool", "cool-down time", Grid(unit="min", lowest=0, highest=9, factory=2))
        sheet = _sheet("yew", settings=(*ELM.settings, cooling))
        at = house()
        store = at.store
        import msgspec

        machines = tuple(msgspec.structs.replace(m, sheet="yew") for m in store.machines)
        return layout(msgspec.structs.replace(store, machines=machines), (sheet,))

    def test_a_cool_down_that_runs_on_is_among_the_causes_where_it_fits(self):
        at = self.cool()
        held = {"n": (*posted()["n"], HouseValue(purpose="cool-down time", value=120))}
        entries, _ = story(at, fault("free", 2, 120 / (6 * 360)), house=held)
        found = next(f for f in balance(at, entries, period()).findings if f.where == "Pocket 2")
        assert any("cool-down runs on" in c.name for c in found.causes)
        entries, _ = story(at, fault("free", 2, 0.30), house=held)
        found = next(f for f in balance(at, entries, period()).findings if f.where == "Pocket 2")
        assert not any("cool-down runs on" in c.name for c in found.causes)
