"""The week's close: nothing is missing unsaid, and the closes add up to what the book knows."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import msgspec
import pytest

from drybank.records.entry import BoxesEmptied, Deposited, DeviceValue, PaidOut, PiecesCounted, ReadingTaken, WeekClosed
from drybank.records.errors import InputError
from drybank.takings import close_week, week_of, week_span

from .conftest import Said


def everything_read():
    return ReadingTaken(values=tuple(DeviceValue(device=f"{p}.{d}", shown=1) for p in "12" for d in ("hours", "coins")))


def whole_week():
    bodies = [
        everything_read(), BoxesEmptied(boxes=("x",), bag="A"), PiecesCounted(bag="A", minor=10_000), Deposited(bags=("A",), minor=10_000),
        PaidOut(account="card", period_from="2026-05-04", period_to="2026-05-10", gross_minor=2_000, fee_minor=60, paid_minor=1_940),
    ]  # fmt: skip
    return [Said(i, b, day=i * 0.1) for i, b in enumerate(bodies)]


def test_a_week_with_everything_in_is_ready(laid):
    done = close_week(laid, whole_week(), "2026-W19")
    assert done.missing == ()
    assert done.is_ready
    assert (done.coins.minor, done.cards.minor, done.takings.minor) == (10_000, 2_000, 12_000)
    assert done.shares[0].due.minor == 1_200
    assert done.kept.minor == 10_800


@pytest.mark.parametrize(
    ("left_out", "said"),
    [
        (0, "Not read"),
        (2, "Bag A of 2026-05-04 is not counted"),
        (3, "Bag A of 2026-05-04 is not in a deposit"),
        (4, "No statement of card"),
    ],
)
def test_what_is_missing_is_said(laid, left_out, said):
    lines = [x for i, x in enumerate(whole_week()) if i != left_out]
    done = close_week(laid, lines, "2026-W19")
    assert not done.is_ready
    assert any(sentence.startswith(said) for sentence in done.missing)


def test_a_statement_that_came_after_the_week_covers_it_and_one_of_later_days_does_not(laid):
    *lines, paid = whole_week()
    assert close_week(laid, [*lines, Said(9, paid.body, day=9)], "2026-W19").is_ready
    later = msgspec.structs.replace(paid.body, period_from="2026-05-11", period_to="2026-05-17")
    assert not close_week(laid, [*lines, Said(9, later, day=18)], "2026-W19").is_ready


def test_a_bag_used_every_week_is_missed_in_the_week_that_did_not_count_it(laid):
    lines = [*whole_week(), Said(20, BoxesEmptied(boxes=("x",), bag="A"), day=8)]
    assert any(s.startswith("Bag A of 2026-05-12 is not counted") for s in close_week(laid, lines, "2026-W20").missing)


def test_a_deposit_made_after_the_week_is_not_missing(laid):
    lines = whole_week()
    lines[3] = Said(3, lines[3].body, day=8)
    assert close_week(laid, lines, "2026-W19").is_ready


def closed(done, number, day):
    lines = {"coins": done.coins.minor, "cards": done.cards.minor}
    return Said(number, WeekClosed(week=done.week, tip="x", taken_minor=done.takings.minor, lines=lines), day)


def test_a_count_that_came_late_is_told_in_the_week_it_came(laid):
    lines = whole_week()
    lines.append(closed(close_week(laid, lines, "2026-W19"), 50, 7.1))
    lines.append(Said(60, PiecesCounted(minor=300), 1, booked=8))
    done = close_week(laid, lines, "2026-W20")
    assert done.adjustments.minor == 300
    assert done.late == ("2026-W19 is worth 3.00 USD more than when it was closed: told here as an adjustment.",)


def test_a_week_is_closed_once(laid):
    lines = whole_week()
    lines.append(closed(close_week(laid, lines, "2026-W19"), 50, 6.9))
    with pytest.raises(InputError, match="is closed"):
        close_week(laid, lines, "2026-W19")


def test_weeks_are_iso_weeks_of_the_stores_own_clock():
    """ISO 8601: week 1 holds the year's first Thursday; 1 January 2027 is a Friday, so it lies in 2026-W53 (recomputed)."""
    assert week_of(datetime(2027, 1, 1, 12, tzinfo=UTC), "UTC") == "2026-W53"
    starts, ends = week_span("2026-W13", "Europe/Madrid")
    assert starts == datetime(2026, 3, 23, tzinfo=ZoneInfo("Europe/Madrid"))
    assert (ends.astimezone(UTC) - starts.astimezone(UTC)).total_seconds() == (7 * 24 - 1) * 3600


@pytest.mark.parametrize("week", ["2026-18", "W18", "2026-W54", "2026-W00", ""])
def test_a_week_that_is_none_is_refused(week):
    with pytest.raises(InputError, match="not a week"):
        week_span(week, "UTC")
