"""`drybank dry` and `drybank calibrate` from the command line."""

import json

import pytest

from drybank.book import open_book
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.stamp import Pen


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    path = tmp_path_factory.mktemp("dry") / "town.book"
    with open_book(str(path), create=True) as book:
        named = [
            (n, t.encode()) for n, t in files().items() if t.split('drybank = "', 1)[-1].startswith(("store", "sheet"))
        ]
        load(book, named, Pen(by="tess"))
    return str(path)


COLUMNS = "160"
LOAD = ("dry", "--load", "18 lb", "--left", "60 %", "--at", "180 F", "--sold", "36 min")
KEYS = {
    "minutes_to_dry", "gas_to_dry_j", "electricity_to_dry_j", "gas_sold_j", "load_temp_after_cool_down_k",
    "water_removed_kg", "energy_residual_frac", "water_residual_frac",
}  # fmt: skip


def test_json_holds_the_figures_with_their_bands(drybank):
    code, out, _ = drybank(*LOAD, "--json")
    data = json.loads(out)
    assert code == 0
    assert set(data) >= KEYS
    assert data["bands"]["minutes_to_dry"]["low"] < data["minutes_to_dry"] < data["bands"]["minutes_to_dry"]["high"]
    assert abs(data["energy_residual_frac"]) < 5e-4
    assert abs(data["water_residual_frac"]) < 1e-12


def test_words_open_with_the_caution_and_use_the_units_that_were_typed(drybank):
    code, out, _ = drybank(*LOAD, "--gas-price", "1.12/therm", "--power-price", "0.14/kWh")
    assert code == 0
    assert out.index("without danger") < out.index("Dry after about")
    assert "therm" in out
    assert "°F" in out
    assert "°C" not in out.split("What a change would do")[0]
    assert "USD" in out
    assert "Never a saving" in out


def test_chart_is_written_and_a_strange_ending_is_refused(drybank, tmp_path):
    path = tmp_path / "load.svg"
    assert drybank(*LOAD, "--chart", str(path))[0] == 0
    assert path.read_text().startswith("<svg")
    code, _, err = drybank(*LOAD, "--chart", str(tmp_path / "load.gif"))
    assert code == 2
    assert ".svg" in err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("dry", "--load", "8"), "no unit"),
        (("dry", "--at", "400 F"), "Heat setting"),
        (("dry", "--load", "9 kg", "--left", "500 %"), "Residual moisture"),
        (("dry", "saddle"), "Which pocket"),
        (("dry", "--sold", "9 h"), "Sold time"),
        (
            ("calibrate", "saddle", "1", "--clock", "dial=10 ft3, ran=8:02", "--watched", "load=1 lb, dry=3:00"),
            "weighed apart",
        ),
    ],
)
def test_what_was_given_wrong_is_one_sentence_and_exit_2(drybank, words, says):
    code, out, err = drybank(*words)
    assert code == 2
    assert says in err
    assert "Traceback" not in err + out


def test_a_pocket_of_the_demo_town_is_dried_with_its_tariff(drybank):
    code, out, _ = drybank("dry", "saddle", "1", "--at", "74 C", "--json")
    data = json.loads(out)
    assert code == 0
    assert data["store"] == "saddle"
    assert data["cost_to_dry_minor"] is None or data["cost_to_dry_minor"] > 0
    assert data["assumptions"]


def test_calibrate_without_readings_says_the_card_cautions_first(drybank):
    code, out, _ = drybank("calibrate", "saddle", "1")
    assert code == 0
    assert out.index("Shop closed") < out.index("Take along") < out.index("What to do")
    assert "Write down" in out
    code, out, _ = drybank("calibrate", "saddle", "1", "--json")
    assert json.loads(out)["cautions"]


def test_calibrate_refuses_what_cannot_be_told_and_enters_nothing(drybank, town):
    code, _, err = drybank("calibrate", "saddle", "1", "--heat", "74 C", "--clock", "dial=10 ft3, ran=8:02")
    assert code == 1
    assert "towel" in err
    with open_book(town) as book:
        assert not book.story("saddle", kinds=("proof",))


def test_calibrate_from_watched_loads_shows_the_band_before_and_after(drybank):
    words = ("calibrate", "saddle", "1", "--heat", "74 C", "--forget")
    code, out, _ = drybank(
        *words, "--watched", "load=9 lb, left=60 %, dry=22:00", "--watched", "load=14 lb, left=60 %, dry=29:00"
    )
    assert code == 0
    assert "Before:" in out
    assert "Not entered." in out
