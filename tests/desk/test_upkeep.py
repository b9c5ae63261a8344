"""Upkeep at the desk, on the demo town's stores with two invented years of readings."""

import shutil
from datetime import UTC, date, datetime, timedelta

import pytest

from drybank.book import open_book
from drybank.book.files import read_settings
from drybank.desk import upkeep as desk
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.houses import adopt, propose
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.desk.use import use_of
from drybank.records.entry import BoxesEmptied, Proved, PutOut, Serviced
from drybank.records.errors import InputError, InputErrors, Missing
from drybank.records.finding import Finding
from drybank.trial import Fault, Telling, World, as_entries, invent
from drybank.upkeep import START_LIST

NOW = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)
WEEKS = 110


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    """High Saddle House with 110 weeks of readings; pocket 2 loses half its loads in the last eight weeks."""
    path = tmp_path_factory.mktemp("upkeep") / "town.book"
    pen, texts = Pen(by="tess", clock=lambda: NOW), files()
    with open_book(str(path), create=True, clock=lambda: NOW) as book:
        load(
            book,
            [(n, texts[n].encode()) for n in ("high_saddle.toml", "lantern_row.toml", "alder.toml", "birch.toml")],
            pen,
            from_date=date(2023, 1, 1),
        )
        for house in read_settings(texts["saddle_settings.toml"].encode(), "saddle_settings.toml").banks:
            adopt(book, propose(book, "saddle", house.bank, pen, house=house.values, from_date=date(2023, 1, 2)), pen)
        laid = layout_at(book, "saddle", NOW)
        fault = Fault(kind="avoided", store=0, pocket=1, first_week=WEEKS - 8, size=0.6)
        history = invent(World(), stores=1, pockets=len(laid.pockets), weeks=WEEKS, seed=11, faults=[fault])
        begin = NOW - timedelta(weeks=WEEKS, hours=4)
        told = as_entries(laid, history, Telling(start=begin, seed=3))
        book.append([e for e in told if e.happened <= NOW])
    return path


@pytest.fixture
def book(town, tmp_path):
    path = shutil.copy(town, tmp_path / "saddle.book")
    with open_book(str(path), clock=lambda: NOW) as it:
        yield it


@pytest.fixture
def pen():
    return Pen(by="tess", clock=lambda: NOW)


def _done(book, pen, at, tasks, day):
    when = datetime.combine(day, datetime.min.time(), UTC) + timedelta(hours=18)
    book.append([pen.entry("saddle", Serviced(at=at, tasks=tasks), when)])


class TestUse:
    def test_hours_of_the_book_are_the_hours_read(self, book):
        use = use_of(book, "saddle", NOW)
        pocket = next(p for p in use.places if p.key == "1" and p.scope == "pocket")
        assert len(pocket.use.hours) == WEEKS
        assert 10 < sum(s.amount for s in pocket.use.hours) / WEEKS < 40
        assert pocket.use.resolution_h == 0.1

    def test_two_years_give_a_season(self, book):
        assert use_of(book, "saddle", NOW).season.weeks >= 104

    def test_a_service_at_a_machine_counts_for_its_pockets(self, book, pen):
        when = datetime(2026, 4, 1, 18, tzinfo=UTC)
        book.append([pen.entry("lantern", Serviced(at="1+2", tasks=("belt",)), when)])
        places = {(p.scope, p.key): p for p in use_of(book, "lantern", NOW).places}
        assert places["pocket", "1"].last_done == places["pocket", "2"].last_done == {"belt": date(2026, 4, 1)}
        assert places["pocket", "3"].last_done == {}

    def test_a_store_without_a_single_reading_is_not_known_and_never_zero(self, book, pen):
        book.append([pen.entry("lantern", Serviced(at="1+2", tasks=("belt",)), NOW - timedelta(days=30))])
        seen = desk.upkeep(book, "lantern", pen)
        assert {d.state for d in seen.due if d.task.key == "belt" and d.at in ("1", "2")} == {"not known"}
        assert any("ever read" in note for note in seen.notes)
        assert seen.boxes == ()

    def test_a_field_test_is_its_task_done(self, book, pen):
        body = Proved(test="time sold", at="3", measured={}, verdict="pass")
        book.append([pen.entry("saddle", body, NOW - timedelta(days=5))])
        place = next(p for p in use_of(book, "saddle", NOW).places if p.key == "3")
        assert place.last_done["time-sold"] == (NOW - timedelta(days=5)).date()


class TestUpkeep:
    def test_a_belt_due_by_hours_has_an_interval_from_the_pockets_own_use(self, book, pen):
        _done(book, pen, "1", ("belt",), date(2025, 10, 1))
        due = next(d for d in desk.upkeep(book, "saddle", pen).due if d.at == "1" and d.task.key == "belt")
        assert due.low < due.on < due.high
        assert due.working is not None
        assert "110 weeks" in str(due.working) or "109 weeks" in str(due.working)

    def test_the_back_test_is_the_books_own(self, book, pen):
        past = desk.upkeep(book, "saddle", pen).past
        assert past.source == "your own pockets' past"
        assert min(past.forecasts[:2]) >= 60

    def test_falling_use_is_looked_at_and_pulls_its_tasks(self, book, pen):
        seen = desk.upkeep(book, "saddle", pen)
        assert [f.where for f in seen.look_at if f.name == "falling use"] == ["2"]
        pulled = {d.task.key for d in seen.due if d.at == "2" and "falling use" in d.pulled_by}
        assert "time-sold" in pulled

    def test_lint_between_visits_is_a_trend_until_it_is_cleaned(self, book, pen):
        for k, pascal in enumerate((60.0, 72.0, 83.0, 95.0)):
            body = Proved(
                test="exhaust pressure", at="4", verdict="pass", unit="Pa",
                measured={"static pressure at the collar": pascal, "static pressure at the collar, give or take": 4.0},
            )  # fmt: skip
            book.append([pen.entry("saddle", body, NOW - timedelta(days=120 - 30 * k))])
        found = [f for f in desk.upkeep(book, "saddle", pen).look_at if f.name == "lint"]
        assert [f.where for f in found] == ["4"]
        _done(book, pen, "4", ("duct",), date(2026, 5, 3))
        assert not [f for f in desk.upkeep(book, "saddle", pen).look_at if f.name == "lint"]

    def test_boxes_say_when_they_are_full_once_they_were_emptied_in_the_book(self, book, pen):
        assert desk.upkeep(book, "saddle", pen).boxes
        book.append([pen.entry("saddle", BoxesEmptied(boxes=("box 1",)), NOW)])
        due = next(b for b in desk.upkeep(book, "saddle", pen).boxes if b.box == "box 1")
        assert due.pieces_now == pytest.approx(0, abs=30)
        assert due.empty_by < due.on < due.high

    def test_out_of_service_stands_still_and_comes_back(self, book, pen):
        book.append([pen.entry("saddle", PutOut(pocket="1", why="motor"), NOW - timedelta(days=3))])
        states = {d.state for d in desk.upkeep(book, "saddle", pen).due if d.at == "1" and d.task.scope == "pocket"}
        assert states == {"out of service"}
        book.append([pen.entry("saddle", PutOut(pocket="1", is_back=True), NOW - timedelta(days=1))])
        assert "out of service" not in {d.state for d in desk.upkeep(book, "saddle", pen).due if d.at == "1"}

    def test_a_failed_proof_is_looked_at_until_it_passes(self, book, pen):
        for days, verdict in ((9, "fail"), (2, "pass")):
            book.append(
                [
                    pen.entry(
                        "saddle",
                        Proved(test="gas input", at="1", measured={}, verdict=verdict),
                        NOW - timedelta(days=days),
                    )
                ]
            )
            found = [f for f in desk.upkeep(book, "saddle", pen).look_at if f.name == "gas input"]
            assert len(found) == (verdict == "fail")


class TestBalanceHints:
    def test_only_what_the_balance_says_of_machines_reaches_upkeep(self, book, pen):
        found = desk.balance_hints(book, "saddle", pen)
        assert {f.name for f in found} <= desk.MACHINE_FINDINGS
        assert not any(w in f.says.lower() for f in found for w in ("cash", "short", "money"))

    def test_a_pocket_passed_by_pulls_its_tasks_forward(self, book, pen):
        passed = Finding(
            key="balance/saddle/passed by/3", room="balance", name="passed by", where="Pocket 3", says="", weight="note"
        )
        both = Finding(key="balance/saddle/running free/5+6", room="balance", name="running free", where="Pockets 5 and 6", says="",
                       weight="money")  # fmt: skip
        due = desk.upkeep(book, "saddle", pen, findings=(passed, both)).due
        assert {d.at for d in due if "passed by" in d.pulled_by} == {"3"}
        assert {d.at for d in due if "running free" in d.pulled_by} == {"5", "6"}


class TestRound:
    def test_work_cards_take_only_what_needs_no_lock_out(self, book, pen):
        visit = desk.round_of(book, "saddle", pen)
        tasks = desk.card_tasks(visit)
        assert set(tasks) == {c.machine for c in visit.cards if c.machine}
        opening = {t.name for t in START_LIST if t.opens_machine}
        assert not any(one.what.startswith(name) for mine in tasks.values() for one in mine for name in opening)

    def test_cards_in_walking_order_with_boxes_and_parts(self, book, pen):
        visit = desk.round_of(book, "saddle", pen)
        laid = layout_at(book, "saddle", NOW)
        order = [m.key for m in sorted(laid.machines.values(), key=lambda m: m.place)]
        assert [c.machine for c in visit.cards if c.machine] == order
        assert visit.minutes > 0
        assert any("drive belt" in p for p in visit.parts)

    def test_refuses_a_next_visit_in_the_past(self, book, pen):
        with pytest.raises(InputError, match="not after today"):
            desk.round_of(book, "saddle", pen, until=date(2026, 5, 1))


class TestDone:
    def test_all_is_every_place_a_task_belongs_to(self, book, pen):
        made = desk.record_service(
            book, "saddle", desk.Done(at="all", tasks=("duct", "belt"), on=date(2026, 4, 2)), pen
        )
        laid = layout_at(book, "saddle", NOW)
        assert len(made) == len({*laid.pockets, *laid.machines})
        due = desk.upkeep(book, "saddle", pen).due
        assert not [d for d in due if d.task.key in ("duct", "belt") and d.state == "never entered"]

    @pytest.mark.parametrize(
        ("done", "slip"),
        [(desk.Done(at="1", tasks=("polish",)), "not on the list"), (desk.Done(at="1", tasks=()), "nothing"),
         (desk.Done(at="1", tasks=("belt",), on=date(2027, 1, 1)), "still to come")],
    )  # fmt: skip
    def test_refuses_what_cannot_have_been_done(self, book, pen, done, slip):
        with pytest.raises(InputError, match=slip):
            desk.record_service(book, "saddle", done, pen)

    def test_a_strange_place_is_missing(self, book, pen):
        with pytest.raises(Missing, match="99"):
            desk.record_service(book, "saddle", desk.Done(at="99", tasks=("belt",)), pen)


class TestTaskFile:
    def _file(self, tmp_path, text):
        path = tmp_path / "tasks.toml"
        path.write_text(text)
        return str(path)

    def test_the_makers_list_takes_the_place_of_the_start_list(self, tmp_path):
        text = '[[task]]\nkey = "belt"\nname = "Belt"\nevery = 1500\nper = "hours"\nsource = "manual p. 30"\n'
        made = desk.read_tasks(self._file(tmp_path, text))
        belt = next(t for t in made if t.key == "belt")
        assert (belt.every, belt.known) == (1500, "maker's plate or manual")

    def test_every_mistake_is_named_at_once(self, tmp_path):
        text = '[[task]]\nkey = "a"\nname = "A"\nevery = 0\nper = "days"\n[[task]]\nkey = "b"\nnom = "B"\n[[task]]\nkey = "c"\nname = "C"\nevery = 3\nper = "moons"\n'
        with pytest.raises(InputErrors) as wrong:
            desk.read_tasks(self._file(tmp_path, text))
        assert len(wrong.value.errors) == 3

    def test_refuses_what_is_no_task_file(self, tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            desk.read_tasks(self._file(tmp_path, "[[task"))
        with pytest.raises(InputError, match="nothing else"):
            desk.read_tasks(self._file(tmp_path, "x = 1\n"))
