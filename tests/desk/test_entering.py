"""A history entered: all rows or none, also when the process is killed at any moment."""

import shutil

import numpy as np
import pytest

from drybank.book import open_book
from drybank.desk.entering import enter, look
from drybank.desk.stamp import Pen
from drybank.records.errors import InputErrors
from tests.book.torture import struck

from .conftest import STORE, Clock

GOOD = "date,pocket,turning,near\n" + "\n".join(
    f"2026-{month:02d}-{day:02d},{pocket},{1000 + 30 * month + day}.5,{3000 + 300 * month + 10 * day}"
    for pocket in (1, 2, 3, 4) for month in (3, 4) for day in range(5, 29)
)  # fmt: skip
ROWS = 4 * 2 * 24


def csv(text):
    return ("history.csv", text.encode())


def readings(book):
    return len(book.story(STORE, kinds=("reading",)))


def test_a_dry_run_enters_nothing(book, pen):
    before = book.tip(STORE)
    seen = look(book, STORE, csv(GOOD), pen)
    assert [(k.kind, k.number) for k in seen.kinds] == [("reading", ROWS)]
    assert book.tip(STORE) == before


def test_a_file_entered_twice_is_stored_once(book, pen):
    assert enter(book, STORE, csv(GOOD), pen).entries == ROWS
    again = enter(book, STORE, csv(GOOD), Pen(by="somebody else", clock=pen.clock))
    assert again.entries == 0
    assert again.already == ROWS
    assert readings(book) == ROWS


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("03/04/2026,1,1.5,1", "ambiguous"),
        ("2026-03-30,77,1.5,1", "no such pocket"),
        ("2026-03-30,1,-1.5,1", "1.5"),
        ("2026-03-30,1,1.55,1", "1.55"),
        ("2096-03-30,1,9000.5,9000", "ahead of now"),
    ],
)
def test_one_bad_row_keeps_all_out_unless_it_is_left_out_knowingly(book, pen, line, why):
    with pytest.raises(InputErrors, match=why):
        enter(book, STORE, csv(f"{GOOD}\n{line}"), pen)
    assert readings(book) == 0
    assert enter(book, STORE, csv(f"{GOOD}\n{line}"), pen, without_refused=True).entries == ROWS


@pytest.mark.slow
def test_killed_at_any_of_200_moments_the_book_holds_all_of_the_file_or_none(made_book, tmp_path):
    """SIGKILL in a forked child between its first byte and a little after its commit; moments drawn from a seed."""
    rng = np.random.default_rng(2026)
    clock = Clock()

    def work_on(path):
        def work(ack):
            with open_book(path, clock=clock) as book:
                ack(enter(book, STORE, csv(GOOD), Pen(by="r", clock=clock)).entries)

        return work

    def fresh(n):
        return shutil.copy(made_book, tmp_path / f"{n}.book")

    import time

    def spell():
        path, start = fresh("span"), time.perf_counter()
        struck(work_on(path), None)
        return time.perf_counter() - start

    span = min(spell() for _ in range(3))
    held = {0: 0, ROWS: 0}
    killed = 0
    for n in range(200):
        if n % 20 == 19:  # the computer grows busier or quieter meanwhile
            span = min(spell() for _ in range(2))
        path = fresh("tried")
        acked, was_killed = struck(work_on(path), float(rng.uniform(0, 1.15 * span)))
        killed += was_killed
        with open_book(path, clock=clock) as book:
            assert book.verify(STORE).is_whole
            count = readings(book)
        assert count in held, f"{count} of {ROWS} rows"
        assert not (acked and count == 0), "acknowledged and lost"
        held[count] += 1
        for leftover in tmp_path.glob("tried.book*"):
            leftover.unlink()
    assert killed >= 100
    assert held[0] > 0


def test_money_of_another_currency_is_refused_not_booked_as_ours(book, pen):
    with pytest.raises(InputErrors, match="it is in USD; this store keeps CAD"):
        enter(book, STORE, csv("date,pocket,money\n2026-03-05,1,US$ 5.00\n"), pen)


def test_a_correction_may_not_bring_in_what_entering_would_refuse(book, pen):
    from datetime import timedelta

    from drybank.desk.correcting import correct
    from drybank.records.errors import InputError

    enter(book, STORE, csv("date,pocket,turning\n2026-03-05,1,1000.5\n"), pen)
    entry = book.story(STORE, kinds=("reading",))[0].id
    for said in (
        {"changes": ["values.0.shown=99999999999"]},
        {"happened": pen.clock() + timedelta(days=400)},
        {"changes": ["values.0.device=9.x"]},
    ):
        with pytest.raises(InputError):
            correct(book, entry, pen, reason="digits swapped", **said)
    assert book.story(STORE, kinds=("reading",))[0].body.values[0].shown == 10005
