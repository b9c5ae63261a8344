"""The demo town: what was planted is found where it was planted, what is no fault is not."""

import shutil
from datetime import UTC, date, datetime, time, timedelta

import pytest

from drybank.book import Seal, open_book
from drybank.desk.balancing import balance_store
from drybank.desk.demo import last_day, make_demo
from drybank.desk.demo_town import FIRST_DAY, faults
from drybank.desk.houses import propose
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.desk.takings import money_trail

PLANTED = {f.key: f for f in faults()}
END = datetime.combine(last_day(), time(20), UTC)


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    path = tmp_path_factory.mktemp("town") / "town.book"
    make_demo(path)
    with open_book(path) as book:
        yield book


def week(number):
    return date.fromisoformat(FIRST_DAY) + timedelta(weeks=number)


def balanced(book, key, *, after=0, weeks=12):
    """The balance of the weeks that follow a fault's beginning."""
    fault = PLANTED[key]
    first = week(fault.from_week + after)
    return balance_store(book, fault.store, END, since=first, until=first + timedelta(weeks=weeks))


def unit_of(result, pocket):
    return next(u for u in result.units if pocket in u.pockets)


def test_two_years_of_three_stores_verify(town):
    assert town.verify().is_whole
    assert set(town.stores()) == {"lantern", "weir", "saddle"}


def test_the_same_seed_makes_the_same_town(town, tmp_path):
    make_demo(tmp_path / "again.book")
    with open_book(tmp_path / "again.book") as again:
        for store in town.stores():
            assert [t.body for t in again.story(store)] == [t.body for t in town.story(store)]


def test_short_cash_is_found_at_its_pocket_with_about_its_size(town):
    result = balanced(town, "short cash at 22")
    unit = unit_of(result, "22")
    assert unit.verdict == "short"
    assert unit.share.interval.low <= -PLANTED["short cash at 22"].size <= unit.share.interval.high
    assert any(f.name == "cash short" and "22" in f.where for f in result.findings)


def test_the_doubling_counter_is_named_before_missing_money(town):
    result = balanced(town, "doubling counter at 9")
    found = next(f for f in result.findings if "9" in f.where)
    assert "twice" in found.causes[0].name


def test_the_dial_that_sells_too_much_is_found(town):
    result = balanced(town, "dial at 34")
    assert unit_of(result, "34").verdict == "short"
    assert any("34" in f.where for f in result.findings)


def test_a_roll_over_is_no_fault(town):
    """The drum clock of pocket 36 goes over its last figure within the first year; nothing may come of it."""
    for first in range(0, 52, 12):
        result = balance_store(town, "weir", END, since=week(first), until=week(first + 12))
        assert not [f for f in result.findings if "36" in f.where]


def test_the_late_deposit_and_the_refunds_are_found(town):
    late = money_trail(town, "weir", END).findings
    assert any(f.name == "deposit late" and "w83" in f.where for f in late)
    fault = PLANTED["refunds at 11"]
    then = datetime.combine(week(fault.until_week + 2), time(12), UTC)
    assert any(f.name == "many complaints" and f.where == "11" for f in money_trail(town, "lantern", then).findings)


@pytest.mark.parametrize(
    ("store", "bank"),
    [
        ("lantern", "long wall"),
        ("lantern", "back room"),
        ("weir", "river side"),
        ("weir", "short wall"),
        ("saddle", "gallery"),
        ("saddle", "stable"),
    ],
)
def test_every_banks_house_settings_pass_the_checks(town, store, bank):
    pen = Pen(by="x", clock=lambda: END)
    assert propose(town, store, bank, pen, house=town.house_at(store, bank, END)).is_settable


def test_three_months_closed_add_up_to_what_was_counted_and_sold(town, tmp_path):
    """Thirteen weeks of a store with a landlord's share and a card channel, closed one after another on a copy."""
    from drybank.desk.takings import close
    from drybank.takings import period

    shutil.copy(town.name, tmp_path / "closed.book")
    pen = Pen(by="owner", origin="test", clock=lambda: END)
    with open_book(tmp_path / "closed.book") as book:
        first = week(70)
        names = [
            f"{d.isocalendar().year}-W{d.isocalendar().week:02d}"
            for d in (first + timedelta(weeks=n) for n in range(13))
        ]
        closed = [close(book, "lantern", name, pen, although_missing=True) for name in names]
        whole = period(layout_at(book, "lantern"), book.story("lantern"), first, first + timedelta(weeks=13, days=-1))
        assert sum(c.week.takings.minor for c in closed) == whole.takings.minor
        assert whole.cards.minor > 0
        assert all(c.seal for c in closed)
        assert book.verify("lantern", seals=[Seal.read(c.seal) for c in closed]).is_whole


@pytest.mark.parametrize("store", ["lantern", "weir", "saddle"])
def test_no_true_reading_is_called_a_slip(town, store):
    """No slip was planted; a quiet machine's one or two pieces a week are not one."""
    result = balance_store(town, store, END, since=week(8), until=week(103))
    assert [f.says for f in result.findings if f.name == "reading does not fit"] == []


def test_a_gap_against_hours_alone_is_never_called_nothing_wrong_nor_given_a_chance(town):
    """Without a counter minutes, free running and lost coins leave one trace: the causes say so, and one coin test is asked."""
    found = next(f for f in balanced(town, "dial at 34").findings if "34" in f.where)
    assert all(c.chance is None for c in found.causes)
    assert "more minutes for a coin" in found.causes[0].name
    assert "stop-watch" in found.next_check


def test_swapped_boxes_are_asked_about_as_swapped_first(town):
    """Two boxes written down for each other once: one unit short, its neighbour over by as much."""
    fault = PLANTED["swapped boxes"]
    first = week(fault.from_week - 2)
    result = balance_store(town, "saddle", END, since=first, until=first + timedelta(weeks=6))
    found = [
        f
        for f in result.findings
        if f.name in ("cash short", "cash over") and f.causes and "mixed up" in f.causes[0].name
    ]
    assert found
    assert all("two sum to nothing" in f.causes[0].evidence[0] for f in found)


def test_a_demo_book_with_entries_of_ones_own_is_not_replaced(tmp_path):
    from drybank.desk import cash
    from drybank.records.errors import InputError

    path = tmp_path / "mine.book"
    make_demo(path)
    make_demo(path)
    with open_book(path) as book:
        cash.claim(book, "lantern", "7", "short time", Pen(by="me"))
    with pytest.raises(InputError, match="1 entries that the demo did not write"):
        make_demo(path)
