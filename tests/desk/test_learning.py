"""Learning at the desk, on the demo town's house with 110 invented weeks and a change of one bank near their end."""

import shutil
from datetime import UTC, date, datetime, timedelta

import msgspec
import numpy as np
import pytest
from typer.testing import CliRunner

import drybank.cli.commands  # noqa: F401
from drybank.book import open_book
from drybank.book.files import read_settings
from drybank.cli.main import app
from drybank.desk import learning as desk
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.houses import adopt, propose
from drybank.desk.learning_facts import changes_of, fuel_bills
from drybank.desk.learning_plan import fuel_hour_j, unit_j
from drybank.desk.planning import inputs_of
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.desk.takings import enter_bill
from drybank.records.entry import Watched
from drybank.records.errors import InputError, Missing
from drybank.trial import Fault, Telling, World, as_entries, invent

NOW = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)
WEEKS, AFTER, LOST = 110, 12, 0.4
CHANGED = ("1", "2", "3", "4")


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    """High Saddle House; the bank Gallery was set anew 12 weeks before the end and lost four in ten of its loads."""
    path = tmp_path_factory.mktemp("learn") / "town.book"
    pen, texts = Pen(by="tess", clock=lambda: NOW), files()
    with open_book(str(path), create=True, clock=lambda: NOW) as book:
        given = [(n, texts[n].encode()) for n in ("high_saddle.toml", "alder.toml", "birch.toml")]
        load(book, given, pen, from_date=date(2023, 1, 1))
        laid = layout_at(book, "saddle", NOW)
        faults = [
            Fault(kind="avoided", store=0, pocket=list(laid.pockets).index(p), first_week=WEEKS - AFTER, size=LOST)
            for p in CHANGED
        ]
        history = invent(World(), stores=1, pockets=len(laid.pockets), weeks=WEEKS, seed=11, faults=faults)
        begin = NOW - timedelta(weeks=WEEKS, hours=4)
        for house in read_settings(texts["saddle_settings.toml"].encode(), "saddle_settings.toml").banks:
            adopt(book, propose(book, "saddle", house.bank, pen, house=house.values, from_date=date(2023, 1, 2)), pen)
        day = (begin + timedelta(weeks=WEEKS - AFTER)).date()
        adopt(book, propose(book, "saddle", "gallery", pen, texts=TEXTS, from_date=day), pen)
        book.append([e for e in as_entries(laid, history, Telling(start=begin, seed=3)) if e.happened <= NOW])
    return path


TEXTS = ("time per piece, 25 c=5 min", "time per piece, 1.00=20 min", "start price=1.25", "first time=25 min")


@pytest.fixture
def path(town, tmp_path):
    return shutil.copy(town, tmp_path / "saddle.book")


@pytest.fixture
def book(path):
    with open_book(str(path), clock=lambda: NOW) as it:
        yield it


@pytest.fixture
def pen():
    return Pen(by="tess", clock=lambda: NOW)


@pytest.fixture(scope="module")
def seen(town):
    with open_book(str(town), clock=lambda: NOW) as book:
        return desk.learn(book, "saddle", Pen(by="tess", clock=lambda: NOW))


def hours_of(change):
    return next(c for c in change.contrasts if c.what == "hours")


class TestChange:
    def test_a_banks_first_plan_is_no_change_and_its_second_is(self, book):
        found = changes_of(layout_at(book, "saddle", NOW), book.story("saddle"))
        assert [(c.bank, c.controls) for c in found] == [("gallery", frozenset(CHANGED))]

    def test_the_effect_holds_the_truth_and_the_total_stands_beside_it(self, seen):
        [change] = seen.changes
        assert set(change.changed) == set(CHANGED)
        assert (change.weeks_before, change.weeks_after) == (12, 12)
        hours = hours_of(change)
        assert hours.verdict == "less"
        assert hours.effect.interval.low <= -LOST <= hours.effect.interval.high
        assert hours.relabelings == 70
        total = next(m for m in change.store if m.what == "hours")
        assert total.effect.interval is not None
        assert change.diversion is not None

    def test_what_could_be_seen_is_said_with_weeks(self, seen):
        assert [r.weeks for r in seen.sight.rows] == [4, 8, 12]
        assert all(0.05 < r.within_frac < 0.6 for r in seen.sight.rows if r.within_frac is not None)

    def test_the_walk_away_price_is_narrowed_with_its_prior_shown(self, seen):
        [narrowed] = seen.changes[0].narrowed
        assert narrowed.prior_low < narrowed.prior_high
        assert 0 < narrowed.low < narrowed.value < narrowed.high
        assert f"{narrowed.prior_low:.0f} to {narrowed.prior_high:.0f}" in narrowed.says


class TestKeeping:
    def test_nothing_is_entered_unless_told_to(self, book, pen):
        before = book.tip("saddle")
        desk.learn(book, "saddle", pen)
        assert book.tip("saddle") == before

    def test_values_are_kept_with_method_and_days_and_only_once(self, book, pen, seen):
        entries = desk.keep(book, seen, pen)
        assert len(entries) == len(seen.could_keep) > 5
        kept = desk.learned_for(book, "saddle", NOW)
        assert all(v.method and v.data_from < v.data_to for v in kept.values())
        again = desk.learn(book, "saddle", pen)
        assert desk.keep(book, again, pen) == ()

    def test_a_plan_takes_what_was_kept_and_says_that_it_was_learned(self, book, pen, seen):
        desk.keep(book, seen, pen)
        store = layout_at(book, "saddle", NOW).store
        plain = inputs_of(book, "saddle", "gallery", pen)
        made = desk.with_learned(plain, desk.learned_for(book, "saddle", NOW), store)
        walk = made.price_answer.walk_away_minor
        assert walk.how == "learned"
        assert "learned from" in walk.source
        assert walk.value == pytest.approx(seen.changes[0].narrowed[0].value)
        assert any("before learning it was" in n and "walk-away" in n for n in made.notes)
        assert any("would show a fall of" in n for n in made.notes)
        assert all(a.name != "walk-away price of a normal load" for a in made.assumptions)

    def test_a_value_that_was_never_kept_changes_no_plan(self, book, pen):
        plain = inputs_of(book, "saddle", "gallery", pen)
        store = layout_at(book, "saddle", NOW).store
        assert desk.with_learned(plain, {}, store).price_answer == plain.price_answer


def _bills(book, pen, *, washes):
    """Monthly bills of a year and a half: .4 gal an hour of heat, .1 gal a wash."""
    laid, rng = layout_at(book, "saddle", NOW), np.random.default_rng(4)
    months = [f"{y}-{m:02d}" for y in (2024, 2025) for m in range(1, 13)][5:]
    for month in months:
        enter_bill(book, "saddle", "propane", month, 1.0, "gal", "0.01", pen)
    asked = fuel_bills(laid, book.story("saddle"))
    for month, bill in zip(months, asked.bills, strict=True):
        count = int(rng.uniform(500, 1500))
        burnt = (0.4 * bill.hours + 0.1 * count) * rng.normal(1, 0.02)
        told = [t for t in book.story("saddle", kinds=("learned value",)) if t.body.data_from == bill.first]
        book_wrong(book, pen, told)
        enter_bill(book, "saddle", "propane", month, burnt, "gal", "1.00", pen)
        if washes:
            desk.enter_washes(book, "saddle", month, count, pen)


def book_wrong(book, pen, told):
    from drybank.records.entry import Corrected

    book.append([pen.entry("saddle", Corrected(corrects=t.id, reason="stand-in for hours only")) for t in told])


class TestFuel:
    def test_a_shared_meter_without_wash_counts_cannot_tell(self, book, pen):
        _bills(book, pen, washes=False)
        fuel = desk.learn(book, "saddle", pen).fuel
        assert fuel.verdict == "cannot tell"
        assert fuel.per_hour.interval is None
        assert fuel.per_hour.assumption is not None

    def test_with_wash_counts_the_hours_fuel_is_learned(self, book, pen):
        _bills(book, pen, washes=True)
        fuel = desk.learn(book, "saddle", pen).fuel
        assert fuel.verdict == "learned"
        assert fuel.per_hour.value == pytest.approx(0.4, rel=0.15)
        assert fuel.per_wash.value == pytest.approx(0.1, rel=0.3)

    def test_kept_fuel_moves_the_plans_fuel_to_the_bills(self, book, pen):
        _bills(book, pen, washes=True)
        seen = desk.learn(book, "saddle", pen)
        desk.keep(book, seen, pen)
        store, plain = layout_at(book, "saddle", NOW).store, inputs_of(book, "saddle", "gallery", pen)
        made = desk.with_learned(plain, desk.learned_for(book, "saddle", NOW), store)
        per_hour = fuel_hour_j(made) / unit_j(made, "gal")
        assert per_hour == pytest.approx(seen.fuel.per_hour.value, rel=1e-9)
        assert "learned from" in made.loads.source


class TestNeeds:
    def test_watches_tell_minutes_and_the_plan_takes_them(self, book, pen):
        rng = np.random.default_rng(3)
        for day in range(4):
            starts = NOW - timedelta(days=5 + day, hours=4)
            first = tuple(int(v) for v in rng.integers(5, 10, 20))
            more = tuple(int(v) for v in rng.integers(0, 3, 20))
            body = Watched(
                starts=starts, ends=starts + timedelta(hours=2), customers=12, loads=20, first_pieces=first,
                top_up_pieces=more, pocket_loads=(("1", 20),),
            )  # fmt: skip
            book.append([pen.entry("saddle", body, starts)])
        seen = desk.learn(book, "saddle", pen)
        assert seen.needs.loads == 80
        desk.keep(book, seen, pen)
        store = layout_at(book, "saddle", NOW).store
        plain = inputs_of(book, "saddle", "gallery", pen)
        made = desk.with_learned(plain, desk.learned_for(book, "saddle", NOW), store)
        assert made.loads.how == "learned"
        before, after = plain.loads, made.loads
        assert after.need_high_frac / after.need_low_frac < before.need_high_frac / before.need_low_frac
        bare = msgspec.structs.replace(
            store, trade=msgspec.structs.replace(store.trade, need_minutes=(), need_share=())
        )
        with_needs = desk.store_with_learned(bare, desk.learned_for(book, "saddle", NOW))
        assert list(with_needs.trade.need_minutes) == sorted(with_needs.trade.need_minutes)
        assert sum(with_needs.trade.need_share) == pytest.approx(1.0)
        assert (
            desk.store_with_learned(store, desk.learned_for(book, "saddle", NOW)) == store
            or not store.trade.need_minutes
        )

    def test_top_ups_that_do_not_stand_load_by_load_are_left_out_and_said(self, book, pen):
        body = Watched(
            starts=NOW - timedelta(hours=9), ends=NOW - timedelta(hours=8), first_pieces=(4, 5), top_up_pieces=(1,)
        )
        book.append([pen.entry("saddle", body, NOW - timedelta(hours=9))])
        assert any("left out" in n for n in desk.learn(book, "saddle", pen).notes)

    def test_timed_and_weighed_loads_are_entered_and_counted(self, book, pen):
        desk.enter_timed(book, "saddle", "1=28:30 33:05 41:10 25:00 30:00 36:00", pen)
        desk.enter_weighed(book, "saddle", "2=5.2kg/8.1kg 6kg/9.4kg 11lb/17lb 4kg/6kg 5kg/7.9kg 7kg/11kg", pen)
        needs = desk.learn(book, "saddle", pen).needs
        assert (needs.loads, needs.exact) == (12, 6)
        assert needs.on_dry is None  # nobody saw what these loads put in

    def test_purchases_tell_starts_of_a_week(self, book, pen):
        starts = NOW - timedelta(days=2)
        body = Watched(
            starts=starts, ends=starts + timedelta(hours=3), first_pieces=(5,) * 10 + (7,) * 10,
            top_up_pieces=(0,) * 15 + (1,) * 5, pocket_loads=(("1", 20),),
        )  # fmt: skip
        book.append([pen.entry("saddle", body, starts)])
        told = desk.learn(book, "saddle", pen).use.starts
        assert told.how == "learned"
        assert told.first_pieces.value == pytest.approx(6.0)
        assert told.topped_up_frac.value == pytest.approx(0.25)

    @pytest.mark.parametrize(
        ("text", "says"),
        [("nowhere=28:30", "no pocket"), ("1", "names no pocket"), ("1=", "names no pocket"), ("1=soon", "not a time"),
         ("1=0:01", "No load dries"), ("1=999:00", "No load dries"), ("1=99999:00", "not a time"), ("1=" + "28:30 " * 61, "1 to 60")],
    )  # fmt: skip
    def test_times_that_cannot_be_are_refused_and_nothing_is_stored(self, book, pen, text, says):
        before = book.tip("saddle")
        with pytest.raises(InputError, match=says):
            desk.enter_timed(book, "saddle", text, pen)
        assert book.tip("saddle") == before

    @pytest.mark.parametrize(
        "text", ["1=5kg", "1=8kg/5kg", "1=5kg/50kg", "1=-5kg/3kg", "1=a/b", "1=nankg/infkg", "1=5kg/8kg/9kg"]
    )
    def test_weights_that_cannot_be_are_refused_and_nothing_is_stored(self, book, pen, text):
        before = book.tip("saddle")
        with pytest.raises(InputError):
            desk.enter_weighed(book, "saddle", text, pen)
        assert book.tip("saddle") == before


class TestExperiment:
    def test_options_name_pockets_weeks_and_cost(self, book, pen):
        made = desk.experiment(book, "saddle", pen, effect_frac=0.3)
        assert made.options
        assert all(set(o.changed) <= set(layout_at(book, "saddle", NOW).controls) for o in made.options)
        assert any(o.cost_if_wrong_minor and set(o.changed) <= set(CHANGED) for o in made.options)
        unknown = [o for o in made.options if not set(o.changed) <= set(CHANGED)]
        assert all(o.cost_if_wrong_minor is None for o in unknown)  # no counters there: not known, never nought

    def test_words_on_the_terminal(self, path):
        run = CliRunner()
        told = run.invoke(app, ["learn", "saddle", "--book", str(path)])
        assert told.exit_code == 0, told.output
        assert "Against their neighbours" in told.stdout
        assert told.stdout.index("Next") < told.stdout.index("Against their neighbours")
        assert "--keep" in told.stdout
        assert run.invoke(app, ["experiment", "saddle", "--effect", "30", "--book", str(path)]).exit_code == 0


class TestRefusals:
    def test_an_unknown_store_is_missing(self, book, pen):
        with pytest.raises(Missing):
            desk.learn(book, "nowhere", pen)

    @pytest.mark.parametrize("air", [(1.0,) * 11, (99.0,) * 12])
    def test_air_wants_twelve_months(self, book, pen, air):
        with pytest.raises(InputError, match="twelve"):
            desk.learn(book, "saddle", pen, air_c=air)

    @pytest.mark.parametrize("effect", [0.0, 0.95])
    def test_an_effect_that_cannot_be_is_refused(self, book, pen, effect):
        with pytest.raises(InputError, match="asked for"):
            desk.experiment(book, "saddle", pen, effect_frac=effect)

    def test_washes_that_cannot_be_are_refused(self, book, pen):
        with pytest.raises(InputError, match="washes"):
            desk.enter_washes(book, "saddle", "2026-05", -1, pen)
