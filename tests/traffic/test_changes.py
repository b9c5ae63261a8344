"""What a change does, and that both sides meet the same customers."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from tests.traffic import cases

from drybank.records.errors import InputError
from drybank.traffic import (
    Work,
    one_more_pocket,
    one_pocket_broken,
    price_change,
    promotion,
    simulate,
    simulate_counts,
    what_if,
)

WORK = Work(weeks=2, replications=40, seed=21)


@pytest.fixture(scope="module")
def short_of_pockets():
    """Sixteen pockets for a store that wants more."""
    return cases.busy_store(1.5, pockets=16)


def effect(result, name):
    return next(e for e in result.effects if e.name == name)


def test_one_more_pocket_shortens_the_wait_and_loses_fewer(short_of_pockets):
    settings = cases.busy_settings()
    result = what_if(
        "one more pocket", (short_of_pockets, settings), (one_more_pocket(short_of_pockets), settings), WORK
    )
    assert effect(result, "mean wait for a pocket").difference.interval.high < 0
    assert effect(result, "customers lost").difference.interval.high < 0
    assert len(result.assumptions) > 5


def test_one_pocket_broken_does_the_opposite(short_of_pockets):
    settings = cases.busy_settings()
    broken = one_pocket_broken(short_of_pockets, "5")
    result = what_if("pocket 5 broken", (short_of_pockets, settings), (broken, settings), WORK)
    assert effect(result, "mean wait for a pocket").difference.interval.low > 0
    counts = simulate_counts(broken, settings, WORK)
    assert counts.meters[:, 4].sum() == 0


def test_a_promotion_brings_its_share_of_customers_and_keeps_the_others():
    """A quarter more on Tuesdays: the mean rises by a quarter of that day's customers."""
    store, settings = cases.busy_store(0.8), cases.busy_settings()
    day = range(24, 48)
    result = what_if("promotion", (store, settings), (store, promotion(settings, day, 1.25)), WORK)
    both = [simulate_counts(store, s, WORK) for s in (settings, promotion(settings, day, 1.25))]
    hours = [c.hours[0] for c in both]
    other = np.setdiff1d(np.arange(168), day)
    more = (hours[1][day].sum() - hours[0][day].sum()) / hours[0][day].sum()
    assert more == pytest.approx(0.25, abs=3 * np.sqrt(0.25 / hours[0][day].sum()) * 1.25)
    assert hours[1][other].sum() == pytest.approx(hours[0][other].sum(), rel=0.01)  # returns move a little
    assert effect(result, "customers served").difference.interval.low > 0


def test_a_dearer_minute_with_fewer_customers_takes_the_stated_share_away():
    store, settings = cases.busy_store(0.8), cases.busy_settings()
    coins = [msgspec.structs.replace(b.coin, piece_time_s=b.coin.piece_time_s - 60) for b in settings.banks]
    dearer = price_change(settings, coins, demand_factor=0.9)
    counts = simulate_counts(store, dearer, WORK)
    away, came = counts.column("stayed_away").sum(), counts.column("customers").sum()
    assert away / (away + came) == pytest.approx(0.1, abs=0.01)


def test_meeting_the_same_customers_narrows_a_difference(short_of_pockets):
    """Against runs with other customers the variance of the difference falls at least fourfold."""
    settings = cases.busy_settings()
    more = one_more_pocket(short_of_pockets)
    result = what_if("one more pocket", (short_of_pockets, settings), (more, settings), WORK)
    apart = [
        simulate_counts(s, settings, msgspec.structs.replace(WORK, seed=seed)).column("served") / WORK.weeks
        for s, seed in ((short_of_pockets, 21), (more, 99))
    ]
    separate = (apart[1] - apart[0]).var()
    half = effect(result, "customers served").difference.interval
    together = ((half.high - half.low) / 2 / 2.02) ** 2 * WORK.replications
    assert separate > 4 * together


def test_the_readable_week_adds_up(short_of_pockets):
    counts = simulate_counts(short_of_pockets, cases.busy_settings(), WORK)
    week = simulate(short_of_pockets, cases.busy_settings(), weeks=2, replications=40, seed=21)
    lost = sum(e.value for e in week.lost.values())
    inside = counts.column("inside").mean() / 2
    assert week.served.value + lost == pytest.approx(week.customers.value, abs=inside + 1)
    assert sum(p.pieces for p in week.pockets) == pytest.approx(week.pieces.value)
    assert sum(h.heated_s for h in week.hours) == pytest.approx(week.heated_s.value)
    assert sum(h.customers for h in week.hours) == pytest.approx(week.customers.value)
    assert max(h.pockets_taken for h in week.hours) <= len(short_of_pockets.pockets)
    assert week.hours[3].pocket_wait_p95_s is None  # closed at night: not known, not zero


class TestRefusals:
    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"fill_frac": 2.0}, "fill_frac"),
            ({"first_week": 0}, "first_week"),
            ({"pockets": ()}, "0 pockets"),
            ({"washers": ()}, "no washer takes them"),
        ],
    )
    def test_a_store_that_cannot_stand_is_refused_in_words(self, change, says):
        store = msgspec.structs.replace(cases.busy_store(), **change)
        with pytest.raises(InputError, match=says):
            simulate(store, cases.busy_settings(), weeks=1, replications=1, seed=1)

    def test_every_mistake_is_named(self):
        store = cases.busy_store()
        bad = msgspec.structs.replace(
            store,
            visits=msgspec.structs.replace(store.visits, loads_share=(0.5, 0.4), join_frac=1.5),
            arrivals=msgspec.structs.replace(store.arrivals, by_hour=(float("nan"),) * 168),
        )
        with pytest.raises(InputError) as refused:
            simulate(bad, cases.busy_settings(), weeks=1, replications=1, seed=1)
        for word in ("Shares add to 0.9", "join_frac", "Hour 0 holds nan"):
            assert word in refused.value.sentence()

    def test_too_many_people_stop_the_run_with_a_sentence(self):
        """The guard of the people's room, not a crash."""
        store = cases.pocket_queue(rate_hour=500.0, servers=2)
        settings = cases.Settings(banks=(cases.plain_setting(3600.0),))
        with pytest.raises(InputError, match=r"More than 4,096 people"):
            simulate(store, settings, weeks=1, replications=1, seed=1)

    def test_a_pocket_that_is_not_there_is_refused(self):
        with pytest.raises(InputError, match="no pocket “99”"):
            one_pocket_broken(cases.busy_store(), "99")

    def test_an_address_where_nobody_answers_is_refused(self):
        with pytest.raises(InputError, match="No scheduler answers"):
            simulate(
                cases.busy_store(), cases.busy_settings(), weeks=1, replications=2, seed=1, cluster="tcp://127.0.0.1:9"
            )
