"""Earned by month: the other view of the same money, for holding it against hours."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.records.entry import BoxesEmptied, PaidOut, PiecesCounted
from drybank.takings.earned import earned_by_month

from .conftest import Said


def emptied(number, day, minor, box="1"):
    return [
        Said(number, BoxesEmptied(boxes=(box,)), day),
        Said(number + 1, PiecesCounted(boxes=(box,), collection=f"e{number}", minor=minor), day + 0.1),
    ]


def test_a_box_emptied_every_ten_days_is_laid_over_the_days_between():
    """By hand, Monday is 4 May 2026: 1,000 on 25 May, 1,000 on 4 June over 26 May to 4 June: six days in May, four in June."""
    lines = [*emptied(0, 21, 1000), *emptied(10, 31, 1000)]
    assert earned_by_month(lines, "UTC") == pytest.approx({"2026-05": 1600, "2026-06": 400})


def test_a_statement_of_cards_is_laid_over_its_own_days():
    paid = PaidOut(account="card", period_from="2026-05-27", period_to="2026-06-05", gross_minor=1000)
    assert earned_by_month([Said(0, paid)], "UTC") == pytest.approx({"2026-05": 500, "2026-06": 500})


@given(st.lists(st.tuples(st.floats(0, 300), st.integers(0, 10**6), st.sampled_from("12")), max_size=12))
def test_nothing_is_earned_that_was_not_counted(rounds):
    lines = [x for n, (day, minor, box) in enumerate(sorted(rounds)) for x in emptied(10 * n, day, minor, box)]
    assert sum(earned_by_month(lines, "UTC").values()) == pytest.approx(sum(minor for _, minor, _ in rounds))
