"""A store's week at the desk: from the book to an answer, and what a change does."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from drybank.desk.drawing import draw
from drybank.desk.houses import adopt, propose
from drybank.desk.traffic import Ask, chart_of, day_rows, read_promotion, stand, store_week
from drybank.records.entry import PutOut, Watched
from drybank.records.errors import InputError, Missing
from tests.desk.conftest import HOUSE, STORE

SMALL = {"weeks": 1, "replications": 4}


@pytest.fixture
def set_book(book, pen):
    """Both banks of the store hold house settings."""
    adopt(book, propose(book, STORE, "back room", pen, texts=BACK), pen)
    return book


BACK = HOUSE


def enter(book, pen, body, at=None):
    book.append([pen.entry(STORE, body, at)])


def test_week_answers_first_and_lists_what_is_assumed(set_book, pen):
    week = store_week(set_book, STORE, pen, Ask(**SMALL))
    assert week.answer.startswith(f"{week.name} serves about")
    assert [c.change for c in week.changes] == ["one more pocket in long wall", "pocket 1 broken"]
    assert any("when customers come" in a.name for a in week.traffic.assumptions)
    assert any("watch the store" in note for note in week.notes)
    assert len(day_rows(week.traffic)) == 7


def test_a_bank_without_house_settings_is_named(book, pen):
    with pytest.raises(InputError, match=r"Bank back room .* has no house settings"):
        store_week(book, STORE, pen, Ask(**SMALL))


def test_a_pocket_out_of_service_takes_no_loads(set_book, pen):
    enter(set_book, pen, PutOut(pocket="2", why="belt"))
    week = store_week(set_book, STORE, pen, Ask(**SMALL))
    starts = {p.name: p.starts for p in week.traffic.pockets}
    assert week.out_of_service == ("2",)
    assert starts["2"] == 0 < starts["3"]
    enter(set_book, pen, PutOut(pocket="2", is_back=True))
    assert stand(set_book, STORE, pen).out == ()


def test_watches_set_the_height_of_the_week(set_book, pen, clock):
    """Twice the customers that the stated week expects in the watched hours double the week."""
    before = stand(set_book, STORE, pen)
    by_hour = np.array(before.trade.arrivals.by_hour)
    saturday = clock.now.replace(hour=15, minute=0, second=0) - timedelta(days=2)
    local = saturday.astimezone(ZoneInfo(before_zone(set_book)))
    expected = by_hour[24 * local.weekday() + local.hour : 24 * local.weekday() + local.hour + 2].sum()
    seen = round(2 * expected)
    enter(set_book, pen, Watched(starts=saturday, ends=saturday + timedelta(hours=2), customers=seen), saturday)
    after = stand(set_book, STORE, pen)
    assert sum(after.trade.arrivals.by_hour) / by_hour.sum() == pytest.approx(seen / expected)
    assert any(a.source == "watches in the book" for a in after.trade.assumptions)


def before_zone(book):
    from drybank.desk.standing import layout_at

    return layout_at(book, STORE).store.time_zone


def test_changes_asked_for_are_made_in_order(set_book, pen):
    ask = Ask(
        more="back room",
        broken="5",
        promotion="wed +20 %",
        settings=("time per piece, 25 c=5 min",),
        bank="long wall",
        **SMALL,
    )
    week = store_week(set_book, STORE, pen, ask)
    assert [c.change for c in week.changes] == [
        "one more pocket in back room", "pocket 5 broken", "+20 % customers on Wednesday", "time per piece, 25 c=5 min",
    ]  # fmt: skip
    served = [e for c in week.changes for e in c.effects if e.name == "customers served"]
    assert all(e.difference.interval is not None for e in served)
    assert served[2].difference.value > 0


@pytest.mark.parametrize("text", ["", "wednesday 20", "xyz +20 %", "wed +900 %", "wed ++2 %"])
def test_a_promotion_nobody_can_read_is_refused(text):
    with pytest.raises(InputError, match=r"not a promotion.*wed \+20 %"):
        read_promotion(text)


def test_promotion_words_are_read():
    assert read_promotion("Sun -12.5%") == (6, 0.875)


def test_unknown_store_and_pocket_are_refused(set_book, pen):
    with pytest.raises(Missing, match="no store “elsewhere”"):
        store_week(set_book, "elsewhere", pen)
    with pytest.raises(InputError, match="no pocket “99”"):
        store_week(set_book, STORE, pen, Ask(broken="99", **SMALL))


def test_chart_says_its_message_and_carries_its_table(set_book, pen):
    week = store_week(set_book, STORE, pen, Ask(**SMALL))
    chart = chart_of(week)
    assert chart.title in chart.alt
    assert len(chart.rows) == 7
    assert b"<svg" in draw(chart)[:200]
