"""`drybank upkeep`, `drybank round`, `drybank done` from the command line."""

import json
import re
from datetime import UTC, date, datetime, timedelta

import pytest

from drybank.book import open_book
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.stamp import Pen, now
from drybank.records.entry import Proved


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    path = tmp_path_factory.mktemp("cli-upkeep") / "town.book"
    texts = files()
    with open_book(str(path), create=True) as book:
        named = [(n, texts[n].encode()) for n in ("high_saddle.toml", "alder.toml", "birch.toml")]
        load(book, named, Pen(by="tess"), from_date=date(2023, 1, 1))
    return str(path)


def test_a_new_store_says_that_nothing_was_entered_and_that_intervals_have_no_source(drybank):
    code, out, _ = drybank("upkeep", "saddle")
    assert code == 0
    assert "never entered as done" in out
    assert "without a source" in out


def test_done_starts_the_clock_and_overdue_comes_first(drybank):
    day = f"{datetime.now(UTC).date() - timedelta(days=100)}"
    code, out, _ = drybank("done", "saddle", "all", "door-seal", "--on", day, "--by", "tess")
    assert code == 0
    assert "places" in out
    _, out, _ = drybank("upkeep", "saddle", "--json")
    due = json.loads(out)["due"]
    assert due[0]["state"] == "overdue"
    assert due[0]["task"]["key"] == "door-seal"


def test_a_failed_proof_is_told_with_exit_3(drybank, town):
    with open_book(town) as book:
        body = Proved(test="gas input", at="1", measured={}, verdict="fail")
        book.append([Pen(by="tess").entry("saddle", body, now() - timedelta(days=1))])
    code, out, _ = drybank("upkeep", "saddle")
    assert code == 3
    assert "Look at" in out
    with open_book(town) as book:
        body = Proved(test="gas input", at="1", measured={}, verdict="pass")
        book.append([Pen(by="tess").entry("saddle", body)])


@pytest.mark.parametrize("paper", ["a5", "half-letter"])
def test_a_round_is_a_pdf_with_each_machine_and_lock_out_apart_from_power_on(drybank, tmp_path, paper):
    code, out, _ = drybank("round", "saddle", "--out", str(tmp_path), "--paper", paper)
    assert code == 0
    made = next(tmp_path.glob("round-saddle-*.pdf"))
    assert made.read_bytes().startswith(b"%PDF")
    assert "Off and locked out" in out
    for part in re.split(r"\n(?=  Power|  Machine stopped|\n?Machine )", out):
        if part.lstrip().startswith("Power on"):
            assert not re.search(r"\block|\btag\b|disconnect|gas cock", part)


@pytest.mark.parametrize(
    ("words", "slip"),
    [(("round", "saddle", "--until", "2020-01-01"), "not after today"), (("done", "saddle", "1", "polish"), "not on the list"),
     (("upkeep", "nowhere"), "no store"), (("upkeep", "saddle", "--tasks", "none.toml"), "none.toml"),
     (("round", "saddle", "--paper", "a0"), "not known")],
)  # fmt: skip
def test_bad_words_are_a_plain_sentence(drybank, words, slip):
    code, out, err = drybank(*words)
    assert code in (1, 2)
    assert slip in err
    assert "Traceback" not in out + err
