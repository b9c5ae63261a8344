"""Closed weeks stay as they were closed, and every cent that the book knows of is told once, whatever is corrected when."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.records.entry import BoxesEmptied, Deposited, PaidOut, PiecesCounted, Refunded, WeekClosed
from drybank.takings import close_week, follow, journal, period, statement
from drybank.takings.moves import moves, standing

from .conftest import MONDAY, Said, make_layout

WEEKS = ("2026-W19", "2026-W20", "2026-W21", "2026-W22")
FOREVER = (date(2020, 1, 1), date(2030, 12, 31))


def close_of(week: int, number: int, late: float = 0.5):
    """A close of one of the four weeks, half a day after its end at first."""
    return Said(number, WeekClosed(week=WEEKS[week], tip="t", taken_minor=0), 7 * (week + 1) + late)


def test_a_correction_after_the_close_is_told_when_it_was_booked_and_leaves_the_closed_week_alone():
    laid = make_layout()
    count = Said(1, PiecesCounted(bag="A", minor=1000), 1).corrected(PiecesCounted(bag="A", minor=900), 9)
    lines = [count, close_of(0, 2)]
    told = statement(laid, lines, date(2026, 5, 4), date(2026, 5, 17)).weeks
    assert [(w.coins.minor, w.adjustments.minor, w.takings.minor) for w in told] == [(1000, 0, 1000), (0, -100, -100)]


def test_a_correction_before_the_close_is_simply_the_figure():
    count = Said(1, PiecesCounted(bag="A", minor=1000), 1).corrected(PiecesCounted(bag="A", minor=900), 3)
    first = period(make_layout(), [count, close_of(0, 2)], date(2026, 5, 4), date(2026, 5, 10))
    assert (first.coins.minor, first.adjustments.minor) == (900, 0)


def test_an_entry_taken_back_after_the_close_is_taken_off_later():
    count = Said(1, PiecesCounted(bag="A", minor=1000), 1).corrected(None, 9)
    told = statement(make_layout(), [count, close_of(0, 2)], date(2026, 5, 4), date(2026, 5, 17)).weeks
    assert [w.takings.minor for w in told] == [1000, -1000]


def test_a_bag_counted_again_is_worth_its_last_count_in_takings_custody_and_journal_alike():
    """A recount must not be income twice."""
    lines = [
        Said(0, BoxesEmptied(boxes=("1",), bag="A"), 0), Said(1, PiecesCounted(bag="A", minor=1000), 0.1),
        Said(2, PiecesCounted(bag="A", minor=990), 0.2), Said(3, Deposited(bags=("A",), minor=990), 0.3),
    ]  # fmt: skip
    custody = follow(lines, currency="USD", now=MONDAY)
    assert custody.counted.minor == 990
    assert period(make_layout(), lines, *FOREVER).coins.minor == 990
    assert [f.name for f in custody.findings] == ["two counts differ"]


def test_boxes_of_one_bag_counted_apart_add_up():
    lines = [
        Said(0, BoxesEmptied(boxes=("1", "2"), bag="A"), 0), Said(1, PiecesCounted(bag="A", boxes=("1",), minor=600), 0.1),
        Said(2, PiecesCounted(bag="A", boxes=("2",), minor=400), 0.2),
    ]  # fmt: skip
    assert follow(lines, currency="USD", now=MONDAY).on_the_way.minor == 1000
    assert period(make_layout(), lines, *FOREVER).coins.minor == 1000


bags = st.sampled_from("ABC")
boxes = st.sampled_from([(), ("1",), ("2",), ("1", "2")])
money = st.one_of(
    st.tuples(bags, boxes, st.integers(0, 9999)).map(lambda x: PiecesCounted(bag=x[0], boxes=x[1], minor=x[2])),
    st.tuples(bags, st.integers(0, 9999)).map(lambda x: Deposited(bags=(x[0],), minor=x[1])),
    st.tuples(st.integers(0, 999), st.sampled_from(["cash", "card"])).map(
        lambda x: Refunded(pocket="1", minor=x[0], paid_by=x[1])
    ),
    st.tuples(st.integers(1, 28), st.integers(0, 9999), st.integers(0, 99)).map(
        lambda x: PaidOut(
            account="card", period_from="2026-05-01", period_to=f"2026-05-{x[0]:02d}", gross_minor=x[1], fee_minor=x[2]
        )
    ),
)


@st.composite
def histories(draw):
    """Money entered, booked at once or late, corrected or taken back later; weeks closed on the way."""
    lines = [Said(i, BoxesEmptied(boxes=("1", "2"), bag=b), 0) for i, b in enumerate("ABC")]
    for number in range(draw(st.integers(0, 10))):
        body, day = draw(money), draw(st.floats(0.1, 27))
        line = Said(10 + number, body, day, booked=day + draw(st.sampled_from([0.0, 0.0, 3.0, 9.0])))
        for later in draw(st.lists(st.floats(0.1, 12), max_size=2)):
            instead = draw(st.one_of(st.none(), money))
            if instead is not None and type(instead) is not type(body):
                instead = body
            last = line.versions[-1].booked if line.versions else line.booked
            line = line.corrected(instead, (last - MONDAY) / timedelta(days=1) + later)
        lines.append(line)
    lines += [close_of(w, 100 + w, draw(st.sampled_from([0.1, 4.0, 11.0]))) for w in range(draw(st.integers(0, 4)))]
    return sorted(lines, key=lambda line: line.happened)


@given(histories())
@settings(max_examples=60, deadline=None)
def test_what_a_closed_week_said_never_changes(lines):
    """The week from the history as it was booked at its close, against the week from all that was booked since."""
    laid = make_layout()
    for close in [x for x in lines if isinstance(x.body, WeekClosed)]:
        day = (close.booked - MONDAY) / timedelta(days=1)
        then = [known for x in lines if (known := x.as_of(day)) is not None]
        number = WEEKS.index(close.body.week)
        first = date(2026, 5, 4) + timedelta(weeks=number)
        span = (first, first + timedelta(days=6))
        assert period(laid, lines, *span) == period(laid, then, *span)


@given(histories())
@settings(max_examples=60, deadline=None)
def test_every_cent_counted_is_in_the_takings_once_and_somewhere(lines):
    """Coins of all moves are what custody counted, and the journal's coins on the way are what custody says is on the way."""
    laid = make_layout()
    custody = follow(standing(lines), currency="USD", now=MONDAY + timedelta(days=60))
    assert sum(m.minor for m in moves(lines, "UTC") if m.what == "coins") == custody.counted.minor
    cash = sum(x.body.minor for x in standing(lines) if isinstance(x.body, Refunded) and x.body.paid_by == "cash")
    assert custody.refunded.minor + custody.from_drawer.minor == cash
    on_the_way = [
        float(line.split()[1]) for line in journal(laid, lines, custody=custody).splitlines()
        if line.startswith("  Assets:Coins-on-the-way")
    ]  # fmt: skip
    assert sum(on_the_way) == pytest.approx(custody.on_the_way.minor / 100)


@given(histories())
@settings(max_examples=30, deadline=None)
def test_closes_and_what_is_not_closed_yet_add_up_to_what_the_book_knows(lines):
    laid = make_layout()
    whole = period(laid, lines, *FOREVER)
    weeks = statement(laid, lines, date(2026, 4, 27), date(2026, 8, 30)).weeks
    assert sum(w.takings.minor for w in weeks) == whole.takings.minor
    open_now = [x for x in lines if not isinstance(x.body, WeekClosed)]
    assert period(laid, open_now, *FOREVER).takings == whole.takings


def test_a_closed_weeks_own_close_is_refused_and_the_next_tells_the_adjustment(laid):
    count = Said(1, PiecesCounted(bag="A", minor=1000), 1).corrected(PiecesCounted(bag="A", minor=1300), 9)
    done = close_week(laid, [count, close_of(0, 2)], "2026-W20")
    assert (done.adjustments.minor, done.takings.minor) == (300, 300)
    assert "2026-W19 is worth 3.00 USD more" in done.late[0]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_following_only_the_collections_near_a_count_gives_what_following_all_of_them_gives(data):
    """Random weeks of boxes emptied with and without bags, counted, counted again, corrected: both ways move for move."""
    import drybank.takings.moves as room

    boxes = ("1", "2", "3", "4")
    lines, number = [], 0
    for week in range(data.draw(st.integers(2, 6))):
        some = data.draw(st.lists(st.sampled_from(boxes), min_size=1, max_size=4, unique=True))
        bag = data.draw(st.sampled_from(["", "", "A", "B"]))
        lines.append(Said(number := number + 1, BoxesEmptied(boxes=tuple(some), bag=bag), 7 * week))
        for box in some:
            for again in range(data.draw(st.integers(0, 2))):
                body = PiecesCounted(boxes=(box,), minor=data.draw(st.integers(0, 500)))
                if data.draw(st.booleans()):
                    body = PiecesCounted(bag=bag, minor=data.draw(st.integers(0, 500))) if bag else body
                said = Said(number := number + 1, body, 7 * week + 0.1 * (again + 1))
                if data.draw(st.integers(0, 4)) == 0:
                    said = said.corrected(
                        PiecesCounted(boxes=(box,), minor=data.draw(st.integers(0, 500))), 7 * week + 8
                    )
                lines.append(said)
    near = moves(lines, "UTC")
    kept = room._Emptied.near
    room._Emptied.near = lambda self, counts: list(self.by_id.values())
    try:
        assert near == moves(lines, "UTC")
    finally:
        room._Emptied.near = kept
