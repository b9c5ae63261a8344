"""Charts on pages: a title that is the message, words and a table for who cannot see it, wide and narrow, in the page's language."""

import re

import pytest

from .conftest import STORE

PAGES = ("", "balance", "rounds", "pocket/1", "pocket/1/drying", "waiting")


def page(client, where, language="en"):
    client.cookies["drybank-language"] = language
    answer = client.get(f"/s/{STORE}/{where}", {"wait": "1"})
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("where", PAGES)
def test_each_chart_has_its_message_its_words_its_table_and_a_narrow_form(as_, where):
    text = page(as_("owner"), where)
    figures = re.findall(r"<figure>.*?</figure>", text, re.DOTALL)
    assert figures
    for one in figures:
        assert re.search(r'class="chart-title">[^<]{10,}<', one)
        assert re.search(r'role="img" aria-label="[^"]{10,}"', one)
        wide, narrow = (
            float(re.search(rf'class="on-{kind}"><svg[^>]*? width="([\d.]+)"', one)[1]) for kind in ("wide", "narrow")
        )
        assert narrow < wide
        assert len(re.findall(r"<tr>", one)) >= 2


@pytest.mark.parametrize("where", ["balance", "rounds", "pocket/1", ""])
def test_a_narrow_drawing_fits_a_phone_of_360(as_, where):
    text = page(as_("owner"), where)
    widths = [float(w) for w in re.findall(r'class="on-narrow"><svg[^>]*? width="([\d.]+)"', text)]
    assert widths
    assert max(widths) <= 328  # 360 less the margins of 16 on either side


@pytest.mark.parametrize("where", PAGES)
def test_words_inside_a_drawing_are_spanish_on_a_spanish_page(as_, where):
    drawn = re.findall(r"<text[^>]*>([^<]+)</text>", page(as_("owner"), where, "es"))
    english = re.compile(r"\b(hours|coins|week|minutes|exhaust|items|settings|service|Look|Clean|Sunday|due|taken)\b")
    assert drawn
    assert [w for w in drawn if english.search(w)] == []


def test_the_odd_pocket_is_named_against_its_banks_line():
    """Three pockets of one bank at 6.0 coins an hour and one at 4.0, listed by the balance: it is named, and the line holds."""
    from drybank.desk.pages_charts import hours_chart
    from drybank.records.balance import UnitBalance

    class Result:
        units = tuple(
            UnitBalance(key=k, pockets=(k,), bank="north", says="", verdict="short" if k == "4" else "right", rests_on="counter",
                        hours=h, pieces=p, is_listed=k == "4")
            for k, h, p in (("1", 100.0, 600.0), ("2", 50.0, 300.0), ("3", 150.0, 900.0), ("4", 100.0, 400.0))
        )  # fmt: skip

    chart = hours_chart(Result)
    assert chart.title.endswith("asks about 4")
    ends = chart.spec["layer"][0]["data"]["values"]
    assert ends[1]["pieces"] / ends[1]["hours"] == pytest.approx(2200 / 400)  # all coins over all hours
    named = [v["name"] for v in chart.spec["layer"][1]["data"]["values"] if v["name"]]
    assert named == ["4"]
    assert chart.rows[3] == ("4", "north", "100.0", "400", "4.00", "short")
