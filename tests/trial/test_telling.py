"""A history told as entries: every coin of it, in order, with ids that hold, and the faults in words."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from tests.balance.houses import NO_COUNTERS, START, fault, house, shared, story

from drybank.records.entry import (
    BoxesEmptied,
    Deposited,
    PaidOut,
    PartReplaced,
    PiecesCounted,
    ReadingTaken,
)
from drybank.records.errors import InputError
from drybank.trial import Telling, World, as_entries, faults_in_words, invent

CORNER = house(pockets=4)


def bodies(entries, kind):
    return [e.body for e in entries if isinstance(e.body, kind)]


def counted_minor(entries):
    return sum(p.piece_minor * p.count for b in bodies(entries, PiecesCounted) for p in b.pieces)


def test_every_coin_counted_in_the_history_is_in_the_entries():
    entries, history = story(CORNER, weeks=4, base=4)
    assert counted_minor(entries) == 25 * history.counted.sum()
    assert sum(d.minor for d in bodies(entries, Deposited)) == 25 * history.counted.sum()


@pytest.mark.parametrize(("sheet", "shares"), [("ash", {"big": 0.5}), ("oak", {}), ("elm", {})])
def test_counters_add_up_to_the_history_whatever_the_control(sheet, shares):
    at = house(sheet, pockets=4, per_machine=2, coins=(25, 100))
    entries, history = story(at, weeks=4, base=0, other_inputs=shares)
    first, last = {}, {}
    for b in bodies(entries, ReadingTaken):
        for v in b.values:
            first.setdefault(v.device, v.shown)
            last[v.device] = v.shown
    minor = 0
    for key, counter in at.counters.items():
        step = (last[key] - first[key]) % counter.rolls_over_at
        minor += step * at.inputs[counter.inputs[0]].piece_minor
    assert minor == 25 * history.counter.sum()


def test_ids_are_unique_and_entries_stand_in_order():
    entries, _ = story(CORNER, weeks=6, base=6)
    assert len({e.id for e in entries}) == len(entries)
    assert all(a.happened <= b.happened for a, b in pairwise(entries))


def test_the_same_telling_gives_the_same_entries():
    assert story(CORNER, weeks=3, base=3)[0] == story(CORNER, weeks=3, base=3)[0]


def test_a_shared_box_is_emptied_when_its_last_machine_is_reached():
    at = house(pockets=4, boxes=shared(("1", "4")))
    entries, _ = story(at, weeks=1, base=1)
    visit = [e for e in entries if e.happened < START + timedelta(hours=1)]
    read = [k for k, e in enumerate(visit) if isinstance(e.body, ReadingTaken) and e.body.values[0].device == "4.coins"]
    emptied = [k for k, e in enumerate(visit) if isinstance(e.body, BoxesEmptied) and e.body.boxes == ("box0",)]
    assert len(emptied) == 1
    assert emptied[0] > read[0]


def test_without_counters_only_meters_are_read():
    entries, _ = story(house(pockets=2, counters=NO_COUNTERS), weeks=2, base=0)
    assert all(v.device.endswith(".run") for b in bodies(entries, ReadingTaken) for v in b.values)


def test_cards_come_as_statements_with_counts():
    at = house("fir", pockets=4)
    entries, history = story(at, weeks=4, base=4, other_inputs={"reader": 0.3})
    cards = sum(n for b in bodies(entries, PaidOut) for _, n, _ in b.inputs)
    assert cards > 0
    assert 25 * cards + counted_minor(entries) == 25 * history.counted.sum()


def test_an_exchanged_board_is_entered_or_not_as_told():
    for told in (True, False):
        entries, _ = story(CORNER, fault("swap", 2, 77, first=3), weeks=4, base=2, enters_replacements=told)
        assert len(bodies(entries, PartReplaced)) == int(told)


def test_a_late_deposit_is_late():
    usual, _ = story(CORNER, weeks=3, base=0)
    late, _ = story(CORNER, weeks=3, base=0, late_deposits={2: 9.0})
    when = {b.slip: e.happened for e in usual if isinstance(b := e.body, Deposited)}
    then = {b.slip: e.happened for e in late if isinstance(b := e.body, Deposited)}
    assert then["w2"] - when["w2"] == timedelta(days=9)
    assert then["w1"] == when["w1"]


def test_a_missed_reading_is_missing():
    entries, _ = story(CORNER, weeks=3, base=0, missed_readings=frozenset({("m2", 2)}))
    whole, _ = story(CORNER, weeks=3, base=0)
    assert len(bodies(whole, ReadingTaken)) - len(bodies(entries, ReadingTaken)) == 1


def test_faults_are_told_in_words_with_their_dates():
    _, history = story(
        CORNER, fault("theft", 2, 0.05, first=4), fault("skim", None, 0.02, first=0, last=2), weeks=4, base=4
    )
    said = faults_in_words(CORNER, history, START)
    assert any("pocket 2: 5.0 %" in s and "03 Feb 2025" in s for s in said)
    assert any("whole store" in s and "until" in s for s in said)


def test_a_store_of_another_size_and_a_start_without_zone_are_refused():
    history = invent(World(), stores=1, pockets=3, weeks=2, seed=1)
    with pytest.raises(InputError, match="3 pockets and the store has 4"):
        as_entries(CORNER, history, Telling(start=START))
    right = invent(World(), stores=1, pockets=4, weeks=2, seed=1)
    with pytest.raises(InputError, match="time zone"):
        as_entries(CORNER, right, Telling(start=START.replace(tzinfo=None)))
    with pytest.raises(InputError, match="at least"):
        as_entries(CORNER, right, replace(Telling(start=START), empty_every=0))
