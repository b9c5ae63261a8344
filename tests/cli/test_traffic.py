"""`drybank traffic` from the command line."""

import json

import pytest

from drybank.book import open_book
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.houses import adopt, propose
from drybank.desk.stamp import Pen
from tests.desk.conftest import HOUSE

QUICK = ("--weeks", "1", "--replications", "3")


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    path = tmp_path_factory.mktemp("cli-traffic") / "town.book"
    texts, pen = files(), Pen(by="tess")
    with open_book(str(path), create=True) as book:
        load(book, [(n, texts[n].encode()) for n in ("lantern_row.toml", "alder.toml")], pen)
        for bank in ("long wall", "back room"):
            adopt(book, propose(book, "lantern", bank, pen, texts=HOUSE), pen)
    return str(path)


def test_the_week_is_told_answer_first_with_its_table_and_changes(drybank):
    code, out, _ = drybank("traffic", "lantern", *QUICK)
    assert code == 0
    assert "serves about" in out.strip().splitlines()[0]
    for words in ("Saturday", "With one more pocket in long wall", "give or take", "Assumed: when customers come"):
        assert words in out


def test_json_carries_every_hour_and_pocket(drybank):
    _, out, _ = drybank("traffic", "lantern", "--promotion", "wed +20 %", *QUICK, "--json")
    week = json.loads(out)
    assert len(week["traffic"]["hours"]) == 168
    assert [c["change"] for c in week["changes"]] == ["+20 % customers on Wednesday"]


def test_chart_is_drawn_where_asked(drybank, tmp_path):
    path = tmp_path / "week.svg"
    code, out, _ = drybank("traffic", "lantern", *QUICK, "--chart", str(path))
    assert code == 0
    assert "Drawn:" in out
    assert path.read_text().startswith("<svg")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--broken", "99"), "no pocket “99”"),
        (("--more", "attic"), "no bank “attic”"),
        (("--promotion", "someday"), "not a promotion"),
        (("--replications", "0"), "0 replications"),
        (("--weeks", "9999"), "So many weeks"),
        (("--chart", "week.gif"), "neither in .svg nor in .png"),
    ],
)
def test_a_mistake_is_one_sentence_and_exit_2(drybank, words, said):
    code, _, err = drybank("traffic", "lantern", *words)
    assert code == 2
    assert said in err
    assert "Traceback" not in err
