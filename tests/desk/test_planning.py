"""Planning from the book: what was learned takes the place of what was assumed; adopting keeps what was expected."""

from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import numpy as np
import pytest

from drybank.desk import machine_code
from drybank.desk.learning import WALK_AWAY
from drybank.desk.plan_given import given_of, watch_spans
from drybank.desk.planning import adopt_plan, compare, inputs_of, plan_bank, what_if
from drybank.desk.standing import layout_at
from drybank.desk.weather import RoomAsk, read_year, room_of
from drybank.energy import RoomAir
from drybank.plan.gather.week import counted, shape_of
from drybank.records.entry import PlanAdopted, Proved, ValueLearned, Watched
from drybank.records.errors import InputError, InputErrors

from .conftest import BANK, STORE


def test_the_plan_uses_what_was_kept_as_learned_and_says_so(book, pen):
    before = inputs_of(book, STORE, BANK, pen).price_answer.walk_away_minor
    body = ValueLearned(
        name=WALK_AWAY, at=BANK, value=240.0, low=220.0, high=265.0, unit="minor CAD", method="price change",
        data_from="2026-01-05", data_to="2026-03-01",
    )  # fmt: skip
    book.append([pen.entry(STORE, body)])
    after = inputs_of(book, STORE, BANK, pen).price_answer.walk_away_minor
    assert before.how != "learned"
    assert (after.how, after.value, after.low, after.high) == ("learned", 240.0, 220.0, 265.0)
    assert "2026-01-05" in after.source


def test_an_adopted_plan_is_settable_and_keeps_what_it_should_bring(book, pen):
    plan = plan_bank(book, STORE, BANK, pen)
    done = adopt_plan(book, plan, pen)
    assert done.proposal.is_settable
    entry = book.find(done.entry).entry.body
    assert isinstance(entry, PlanAdopted)
    assert entry.expected["contribution"] == plan.figure("contribution").proposed.value
    assert book.house_at(STORE, BANK, pen.clock()) == plan.house


def test_the_same_book_gives_the_same_plan(book, pen):
    assert inputs_of(book, STORE, BANK, pen).loads_per_week == inputs_of(book, STORE, BANK, pen).loads_per_week
    one, other = (what_if(book, STORE, BANK, pen, ["time per coin=7 min"]) for _ in range(2))
    assert one == other


class TestWhatTheBookKnows:
    def test_a_towel_trial_in_the_book_calibrates_the_plans_drum(self, book, pen):
        plain = inputs_of(book, STORE, BANK, pen)
        measured = {"heat_input_w": 20_000.0, "flow_exhaust_m3_s": 0.18, "contact_w_k": 60.0, "band_frac": 0.02}
        book.append([pen.entry(STORE, Proved(test="towel trial", at="7", verdict="no tolerance", measured=measured))])
        told = inputs_of(book, STORE, BANK, pen)
        laid = layout_at(book, STORE, pen.clock())
        drum = given_of(book, laid, BANK, pen.clock()).drum
        assert (drum.contact_w_k, drum.calibration.how) == (60.0, "towel trial")
        assert told.drum_flow_m3_s == 0.18
        names = [{a.name for a in x.assumptions} for x in (plain, told)]
        assert "fabric contact" in names[0] - names[1]
        assert not np.allclose(told.loads.fuel_j, plain.loads.fuel_j)

    def test_the_need_table_is_kept_and_read_again(self, book, pen, tmp_path, monkeypatch):
        monkeypatch.setenv("DRYBANK_CACHE", str(tmp_path))
        first = inputs_of(book, STORE, BANK, pen).loads
        kept = list((tmp_path / "drybank").glob("needs-*.bin"))
        assert len(kept) == 1
        assert np.array_equal(inputs_of(book, STORE, BANK, pen).loads.need_s, first.need_s)
        kept[0].write_bytes(b"damaged")
        assert np.array_equal(inputs_of(book, STORE, BANK, pen).loads.need_s, first.need_s)

    def test_customers_counted_in_watches_come_in_the_plans_week(self, book, pen, clock):
        start = clock() - timedelta(days=2)
        body = Watched(starts=start, ends=start + timedelta(hours=2), customers=48)
        book.append([pen.entry(STORE, body)])
        laid = layout_at(book, STORE, pen.clock())
        (span,) = watch_spans(book, laid, pen.clock())
        local = start.astimezone(ZoneInfo(laid.store.time_zone))
        assert (span.hours, span.customers) == (2.0, 48)
        assert span.from_hour == pytest.approx(
            24 * local.weekday() + local.hour + local.minute / 60 + local.second / 3600
        )
        asked = inputs_of(book, STORE, BANK, pen)
        assert any(a.source == "watches in the book" for a in asked.traffic.assumptions)
        whole = counted(given_of(book, laid, BANK, pen.clock()).watches, shape_of(laid.store))
        share = asked.pockets / len(laid.store.pockets)
        assert sum(asked.traffic.arrivals.by_hour) == pytest.approx(share * sum(whole.by_hour))


class TestSettingsInAPersonsWords:
    def test_time_per_coin_moves_every_coin_to_the_same_price_per_minute(self, book, pen):
        one = what_if(book, STORE, BANK, pen, ["Time per coin = 7 min"])
        assert one.setting.time_per_piece_s == 420
        assert one.setting.other_times_s == (1680,)
        assert one.currency == "CAD"

    def test_the_plans_own_names_and_the_controls_names_both_do(self, book, pen):
        own = what_if(book, STORE, BANK, pen, ["time for a coin of 0.25 CAD=7 min", "heat Hot=70 C", "cool-down=2 min"])
        theirs = what_if(
            book, STORE, BANK, pen,
            ["time per piece, 25 c=7 min", "time per piece, 1.00=28 min", "temperature, Hot=70 C", "cool-down time=2 min"],
        )  # fmt: skip
        assert own.setting == theirs.setting

    def test_every_mistake_is_told_at_once(self, book, pen):
        with pytest.raises(InputErrors) as wrong:
            what_if(book, STORE, BANK, pen, ["time pr coin=7 min", "heat Hot=warm"])
        text = wrong.value.sentence()
        assert "time pr coin" in text
        assert "not a temperature" in text

    @pytest.mark.parametrize(
        ("texts", "says"),
        [
            (["time per coin=7 min", "time for a coin=8 min"], "said twice"),
            (["start price=0.30"], "no whole number of coins of 0.25 CAD"),
            (["heat Hot=300 C"], "on no control's grid"),
            (["=5"], "no setting"),
            (["time per coin=0 min"], "what time a coin gives"),
        ],
    )
    def test_what_cannot_be_set_is_refused_in_a_sentence(self, book, pen, texts, says):
        with pytest.raises((InputError, InputErrors)) as wrong:
            what_if(book, STORE, BANK, pen, texts)
        assert says in wrong.value.sentence()

    def test_a_value_off_the_controls_grid_is_said_to_be_that_and_no_more(self, book, pen):
        one = what_if(book, STORE, BANK, pen, ["first time=100 h"])
        assert not one.is_on_grid
        assert one.breaks == ()

    def test_b_against_a_is_b_against_today_less_a_against_today(self, book, pen):
        a, b = "time per coin=7 min", "time per coin=8 min"
        apart = [what_if(book, STORE, BANK, pen, [x]) for x in (a, b)]
        both = compare(book, STORE, BANK, pen, (a, b))

        def change(one, key):
            return next(f.difference.value for f in one.figures if f.key == key)

        for key in ("contribution", "takings", "gas"):
            assert change(both, key) == pytest.approx(change(apart[1], key) - change(apart[0], key))
        assert compare(book, STORE, BANK, pen, ("today", a)).figures == apart[0].figures


class TestRoomAir:
    def test_is_not_counted_unless_asked_and_a_conditioned_room_is_told_so(self, book, pen):
        asked = inputs_of(book, STORE, BANK, pen, RoomAsk())
        assert asked.room is None
        assert any("--room-air shows it" in n for n in asked.notes)
        assert inputs_of(book, STORE, BANK, pen, RoomAsk(is_asked=True)).room.temp_c.size == 8760

    def test_the_store_file_can_switch_it_on(self, book, pen):
        laid = layout_at(book, STORE, pen.clock())
        said = msgspec.structs.replace(
            laid, store=msgspec.structs.replace(laid.store, room_air=RoomAir(heat_to_c=18.0))
        )
        room, notes = room_of(said, RoomAsk())
        assert room.room.heat_to_c == 18.0
        assert notes == ()

    def test_without_weather_it_is_refused_when_asked_for_and_said_when_not(self, book, pen):
        laid = layout_at(book, STORE, pen.clock())
        nowhere = msgspec.structs.replace(laid, store=msgspec.structs.replace(laid.store, weather=""))
        with pytest.raises(InputError, match="no hourly weather"):
            room_of(nowhere, RoomAsk(is_asked=True))
        on = msgspec.structs.replace(nowhere, store=msgspec.structs.replace(nowhere.store, room_air=RoomAir()))
        room, notes = room_of(on, RoomAsk())
        assert room is None
        assert "EPW" in notes[0]


class TestWeatherFiles:
    @pytest.mark.facts
    def test_a_real_tmy3_year_has_the_mean_day_that_the_demo_was_reduced_to(self, tmp_path):
        """TMY3 723170 Greensboro NC (NREL, shipped by the pvlib package; read): every hour as the file's own column has it,
        and the mean of January's ninth hour as the demo town's table prints it, to its 0.1 °C."""
        file = Path(find_spec("pvlib").origin).parent / "data" / "723170TYA.CSV"
        year = read_year(str(file))
        rows = [line.split(",") for line in file.read_text().splitlines()]
        place = rows[1].index("Dry-bulb (C)")
        own = np.array([float(r[place]) for r in rows[2:]])
        assert np.array_equal(year.temp_c, own)
        assert year.temp_c[:744].reshape(31, 24)[:, 8].mean() == pytest.approx(-1.6, abs=0.05)
        assert 0.0003 < year.humidity_kg_kg.min() < year.humidity_kg_kg.max() < 0.03

    def test_an_epw_year_is_read_by_its_columns(self, tmp_path):
        """Columns of an EPW row: year, month, day, hour, minute, source, dry bulb, dew point, relative humidity, pressure ...
        (auxiliary programs' guide of the weather format; from memory). Dew point 10 °C at 101 325 Pa is 0.0076 kg/kg
        (psychrometric tables, from memory)."""
        head = "LOCATION,Somewhere\n" + "x\n" * 7
        row = "2010,1,1,1,0,?9,{t:.1f},10.0,50,101325,0,0\n"
        file = tmp_path / "year.epw"
        file.write_text(head + "".join(row.format(t=12 + i % 24) for i in range(8760)))
        year = read_year(str(file))
        assert list(year.temp_c[:3]) == [12.0, 13.0, 14.0]
        assert year.humidity_kg_kg[0] == pytest.approx(0.0076, abs=0.0001)

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("temp_c\n" + "5\n" * 100, "100 hours"),
            ("temp_c\n" + "99.9\n" * 8760, "99.9 °C"),
            ("temp_c\n" + "5\n" * 8759 + "x\n", "line 8761"),
            ("hour,warmth\n1,2\n", "no column temp_c"),
            ("", "no column temp_c"),
            ("temp_c,rh_pct\n" + "5,900\n" * 8760, "kg of water"),
        ],
    )
    def test_what_is_no_year_of_air_is_refused_with_its_place(self, tmp_path, text, says):
        file = tmp_path / "odd.csv"
        file.write_text(text)
        with pytest.raises(InputError, match=says):
            read_year(str(file))

    def test_a_file_that_is_not_there(self):
        with pytest.raises(InputError, match="no weather file"):
            read_year("/nowhere/at/all.epw")


def test_the_first_run_builds_beside_and_leaves_a_stamp(tmp_path, monkeypatch):
    monkeypatch.setenv("DRYBANK_CACHE", str(tmp_path))
    monkeypatch.setattr(
        machine_code, "BUILD", "import pathlib, os; pathlib.Path(os.environ['DRYBANK_CACHE'], 'ran').touch()"
    )
    assert not machine_code.is_built()
    with machine_code.built_beside() as wait:
        wait()
    assert (tmp_path / "ran").exists()
    machine_code.mark_built()
    assert machine_code.is_built()
