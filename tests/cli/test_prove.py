"""`drybank prove` and `drybank weigh` from the command line, on a book of the demo town."""

import json
from datetime import date

import pytest

from drybank.book import open_book
from drybank.book.files import read_settings
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.houses import adopt, propose
from drybank.desk.stamp import Pen


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    path = tmp_path_factory.mktemp("prove") / "town.book"
    texts, pen = files(), Pen(by="tess")
    with open_book(str(path), create=True) as book:
        named = [
            (n, t.encode()) for n, t in texts.items() if t.split('drybank = "', 1)[-1].startswith(("store", "sheet"))
        ]
        load(book, named, pen, from_date=date(2023, 1, 1))
        read = read_settings(texts["saddle_settings.toml"].encode(), "saddle_settings.toml")
        for house in read.banks:
            adopt(book, propose(book, read.store, house.bank, pen, house=house.values, from_date=date(2023, 1, 2)), pen)
    return str(path)


def test_a_good_run_passes_is_entered_and_leaves_nothing_to_do(drybank, town):
    code, out, _ = drybank(
        "prove", "time", "saddle", "1", "--ran", "26:01", "--pieces", "4", "--input", "near", "--by", "tess"
    )
    assert code == 0
    assert "Pass." in out
    assert "Next: Nothing to do" in out
    with open_book(town) as book:
        assert [t.body.test for t in book.story("saddle", kinds=("proof",))][-1] == "time sold"


def test_a_short_run_is_a_finding_with_exit_3_and_json_says_the_same(drybank):
    words = ("prove", "time", "saddle", "1", "--ran", "25:50", "--pieces", "4", "--input", "near", "--forget")
    code, out, _ = drybank(*words, "--json")
    told = json.loads(out)
    assert code == 3
    assert told["result"]["verdict"] == "fail"
    assert told["result"]["judgements"][0]["tolerance"]["known"] == "from memory"
    assert told["entry"] == ""
    assert told["findings"][0]["weight"] == "money"


@pytest.mark.parametrize("test", ["time", "heat", "gas", "duct", "pressure", "flow", "power"])
def test_without_a_measured_value_it_says_cautions_then_steps(drybank, test):
    code, out, _ = drybank("prove", test, "saddle", "1")
    assert code == 0
    assert out.index("Cautions") < out.index("What to do")


def test_gas_says_first_how_long_the_clocking_takes(drybank):
    _, out, _ = drybank("prove", "gas", "saddle", "1", "--dial", "1 ft3")
    assert "One turn takes about" in out
    assert out.index("Cautions") < out.index("One turn takes about")


@pytest.mark.parametrize(
    ("words", "slip"),
    [
        (
            ("gas", "saddle", "1", "--dial", "0 ft3", "--turns", "1", "--seconds", "22", "--others-off"),
            "dial size is zero",
        ),
        (("gas", "saddle", "1", "--dial", "1 ft3", "--turns", "3", "--seconds", "0", "--others-off"), "3 turns in 0 s"),
        (("gas", "saddle", "1", "--dial", "1 ft3", "--turns", "3", "--seconds", "-4", "--others-off"), "below zero"),
        (("gas", "saddle", "1", "--dial", "1 ft3", "--turns", "3", "--seconds", "95"), "Other appliances"),
        (("power", "saddle", "1", "--volts", "12"), "digit missing"),
        (("time", "saddle", "1", "--ran", "soon"), "not a time on a watch"),
        (("time", "saddle", "77", "--ran", "26:00"), "77"),
        (("pressure", "saddle", "1", "--reading", "0.3"), "no unit"),
        (("sign", "saddle", "gallery", "--start", "1.00"), "not a line of the sign"),
    ],
)
def test_bad_input_is_a_plain_sentence_and_no_traceback(drybank, words, slip):
    code, out, err = drybank("prove", *words)
    assert code in (1, 2)
    assert slip in err
    assert "Traceback" not in out + err


def test_a_scale_says_what_its_error_does_to_a_count(drybank):
    code, out, _ = drybank(
        "prove", "scale", "saddle", "--reference", "2 kg", "--shown", "2011.34 g", "--coin", "25", "--forget"
    )
    assert code == 0
    assert "2.0 coins" in out
    code, out, _ = drybank("prove", "scale", "saddle")
    assert out.index("Cautions") < out.index("What to do")


class TestHeat:
    def _log(self, tmp_path, text):
        path = tmp_path / "log.csv"
        path.write_text(text)
        return str(path)

    def test_a_log_in_fahrenheit_with_a_head_and_minutes_is_read(self, drybank, tmp_path):
        rows = "\n".join(f"{k // 4}:{15 * (k % 4):02d},{168 + (k % 8) - 4}" for k in range(40))
        log = self._log(tmp_path, "time,exhaust F\n" + rows)
        code, out, _ = drybank(
            "prove", "heat", "saddle", "1", "--log", log, "--scale", "F", "--give", "1 F", "--forget"
        )
        assert code == 0
        assert "Set to 75.5" in out

    def test_every_bad_line_is_named(self, drybank, tmp_path):
        log = self._log(tmp_path, "0,160\n15,hot\n30\n45,161\n")
        code, _, err = drybank("prove", "heat", "saddle", "1", "--log", log, "--scale", "F")
        assert code == 2
        assert "line 2" in err
        assert "line 3" in err

    def test_a_missing_file_is_told(self, drybank):
        code, _, err = drybank("prove", "heat", "saddle", "1", "--log", "nowhere.csv")
        assert code == 2
        assert "nowhere.csv" in err


class TestWeigh:
    def test_own_mean_mass_gives_a_count_and_what_the_scale_can_tell(self, drybank):
        code, out, _ = drybank("weigh", "2 lb", "25", "--own", "25=1000:5670 g", "--step", "1 g")
        assert code == 0
        assert "160 coins" in out
        assert "Worth 40.00 USD" in out

    def test_without_own_mass_wear_is_shown_apart(self, drybank):
        _, out, _ = drybank("weigh", "2.4 kg", "25")
        assert "by how worn they are" in out
        assert "Assumed: wear" in out

    def test_a_mixed_bag_is_not_unique_and_dimes_with_quarters_are_known(self, drybank):
        _, out, _ = drybank("weigh", "2 kg", "25", "100")
        assert "not unique" in out
        assert "Worth" not in out
        _, out, _ = drybank("weigh", "2 kg", "10", "25")
        assert "Worth" in out

    def test_shares_narrow_the_value(self, drybank):
        _, wide, _ = drybank("weigh", "2 kg", "25", "100", "--json")
        _, narrow, _ = drybank(
            "weigh", "2 kg", "25", "100", "--json", "--share", "100=45-55 %", "--share", "25=45-55 %"
        )
        assert json.loads(narrow)["mixed"]["mix_frac"] < 0.2 * json.loads(wide)["mixed"]["mix_frac"]

    @pytest.mark.parametrize(
        ("words", "slip"),
        [(("2 kg", "30"), "minor units"), (("2", "25"), "no unit"), (("2 kg", "25", "--own", "25:5 g"), "not a mean mass"),
         (("2 kg", "25", "--tare", "3 kg"), "swapped"), (("2 kg", "25", "25"), "named twice")],
    )  # fmt: skip
    def test_bad_bags_are_refused(self, drybank, words, slip):
        code, _, err = drybank("weigh", *words)
        assert code == 2
        assert slip in err
