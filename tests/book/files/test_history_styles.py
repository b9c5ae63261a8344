"""Whatever the way of writing dates and figures, the same history comes in, to the last digit."""

from __future__ import annotations

import datetime as dt
import io
from functools import cache

import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.book.files import read_sheet, read_store
from drybank.book.files.history import HistoryMapping, read_history
from drybank.control import layout
from drybank.desk.demo_town import files
from drybank.records.entry import PiecesCounted, ReadingTaken
from drybank.records.layout import Layout

COLUMNS = {"Day": "date", "No.": "pocket", "Turned": "reading turning", "Near": "reading near", "Cash": "money"}
WEEKS = st.lists(
    st.tuples(st.integers(1, 60), st.integers(0, 20 * 24 // 10), st.integers(0, 3000), st.integers(0, 300_000)), min_size=1, max_size=12
)  # fmt: skip
DATES = {"day first": "{:%d/%m/%Y}", "month first": "{:%m/%d/%Y}", "": "{:%Y-%m-%d}"}
Story = list[tuple[dt.date, int, int, int]]


@cache
def lantern() -> Layout:
    return layout(read_store(files()["lantern_row.toml"]), [read_sheet(files()["alder.toml"])])


def story(weeks: list[tuple[int, int, int, int]]) -> Story:
    """Days, tenths of an hour, pieces, minor units: meters only rise, and no faster than time."""
    day, tenths, pieces, out = dt.date(2023, 1, 1), 0, 0, []
    for days, more, coins, minor in weeks:
        day, tenths, pieces = day + dt.timedelta(days=days), tenths + min(more, 24 * days) * 10, pieces + coins
        out.append((day, tenths, pieces, minor))
    return out


def figure(value: int, digits: int, mark: str, parts: str) -> str:
    whole, rest = divmod(value, 10**digits)
    text = f"{whole:,}".replace(",", parts)
    return f"{text}{mark}{rest:0{digits}d}" if digits else text


def came_in(data: bytes, mapping: HistoryMapping) -> Story:
    history = read_history(data, "x", mapping, lantern())
    assert history.refused == ()
    shown = [{v.device: v.shown for v in d.body.values} for d in history.drafts if isinstance(d.body, ReadingTaken)]
    days = [d.happened.date() for d in history.drafts if isinstance(d.body, ReadingTaken)]
    money = [d.body.minor for d in history.drafts if isinstance(d.body, PiecesCounted)]
    return [(d, s["22.turning"], s["22.near"], m) for d, s, m in zip(days, shown, money, strict=True)]  # type: ignore[misc]


@given(WEEKS, st.sampled_from(list(DATES)), st.sampled_from([(".", ","), (",", "."), (",", " "), (".", ""), (",", "’")]),
       st.sampled_from(",;\t|"), st.booleans())  # fmt: skip
@settings(deadline=None)
def test_text_in_any_style_comes_in_exact(weeks, order, marks, delimiter, is_newest_first) -> None:
    told = story(weeks)
    rows = [
        delimiter.join(f'"{c}"' for c in (DATES[order].format(day), "22", figure(tenths, 1, *marks), figure(pieces, 0, *marks),
                                          figure(minor, 2, *marks))) for day, tenths, pieces, minor in told
    ]  # fmt: skip
    text = "\n".join([delimiter.join(COLUMNS), *(rows[::-1] if is_newest_first else rows)])
    assert came_in(text.encode(), HistoryMapping(columns=COLUMNS, dates=order, decimal=marks[0])) == told


@given(WEEKS)
@settings(deadline=None, max_examples=30)
def test_a_workbooks_own_dates_and_floats_come_in_exact(weeks) -> None:
    told, out = story(weeks), io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "default_date_format": "d mmm yyyy"})
    page = book.add_worksheet()
    page.write_row(0, 0, list(COLUMNS))
    for row, (day, tenths, pieces, minor) in enumerate(told, 1):
        page.write_datetime(row, 0, day)
        page.write_row(row, 1, [22, tenths / 10, pieces, minor / 100])
    book.close()
    assert came_in(out.getvalue(), HistoryMapping(columns=COLUMNS)) == told
