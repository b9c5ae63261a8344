"""Histories as people keep them: what is entered, what is refused with its row, and what hostile files get."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import struct
import zipfile
import zlib
from functools import cache
from time import process_time

import msgspec
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.book.files import read_sheet, read_store
from drybank.book.files.history import (
    Draft,
    HistoryMapping,
    HistoryRead,
    content_id,
    entries_from,
    guess,
    read_history,
    read_mapping,
    write_mapping,
)
from drybank.book.files.history.cells import day_and_time, number
from drybank.control import layout
from drybank.desk.demo_town import files
from drybank.records.entry import BoxesEmptied, Noted, PiecesCounted, ReadingTaken
from drybank.records.errors import InputError, InputErrors
from drybank.records.ids import uuid7
from drybank.records.layout import Layout

STORES = {"lantern": "lantern_row.toml", "weir": "weir_court.toml", "saddle": "high_saddle.toml"}


@cache
def laid(store: str) -> Layout:
    sheets = {k: read_sheet(files()[f"{k}.toml"]) for k in ("alder", "birch", "cedar")}
    return layout(read_store(files()[STORES[store]]), sheets)


def read(text: str | bytes, store: str = "lantern", mapping: str = "", name: str = "old.csv") -> HistoryRead:
    data = text.encode() if isinstance(text, str) else text
    return read_history(data, name, read_mapping(mapping) if mapping else None, laid(store))


def refused(history: HistoryRead) -> dict[int, tuple[str, ...]]:
    return {r.row: r.reasons for r in history.refused}


def readings(history: HistoryRead) -> list[dict[str, int | None]]:
    return [{v.device: v.shown for v in d.body.values} for d in history.drafts if isinstance(d.body, ReadingTaken)]


class TestLongForm:
    TEXT = """\
Date;Pocket;Hours;near;far;Cash
2024-01-08 18:30;1;100,5;1234;12;45,25
2024-01-15 18:30;Dryer 1;130,0;1400;15;30,00
Total;;;;;75,25
"""

    def test_a_row_makes_a_reading_an_emptying_and_a_count_in_that_order(self) -> None:
        history = read(self.TEXT)
        assert refused(history) == {}
        assert [type(d.body) for d in history.drafts[:3]] == [ReadingTaken, BoxesEmptied, PiecesCounted]
        assert readings(history)[0] == {"1.turning": 1005, "1.near": 1234, "1.far": 12}
        assert history.drafts[1].body == BoxesEmptied(boxes=("box 1+2",), is_after_reading=True)
        assert history.drafts[2].body == PiecesCounted(boxes=("box 1+2",), minor=4525)

    def test_hours_are_the_stores_own_and_come_out_in_utc(self) -> None:
        assert read(self.TEXT).drafts[0].happened == dt.datetime(2024, 1, 8, 23, 30, tzinfo=dt.UTC)

    def test_totals_and_repeated_headings_are_skipped_and_said(self) -> None:
        history = read(self.TEXT + "Date;Pocket;Hours;near;far;Cash\n;;;;;\n")
        assert [(s.row, s.reasons) for s in history.skipped] == [
            (4, ("It adds up other rows.",)), (5, ("It repeats the headings.",)),
        ]  # fmt: skip

    def test_decimal_commas_are_taken_from_the_files_own_figures(self) -> None:
        assert any("“,” as the decimal mark" in n for n in read(self.TEXT).notes)

    def test_a_mapping_that_was_guessed_reads_back_and_reads_alike(self) -> None:
        history = read(self.TEXT)
        again = read(self.TEXT, mapping=write_mapping(history.mapping))
        assert again.drafts == history.drafts
        assert dict(history.columns)["Hours"] == "reading hours"

    def test_pieces_must_add_to_the_money_beside_them(self) -> None:
        text = "Date,Box,25c,1.00 coins,Cash\n2024-01-08,box 21,40,5,15.00\n2024-01-15,box 21,40,5,16.00\n2024-01-22,box 21,0,0,0\n"
        history = read(text)
        assert refused(history) == {3: ("The pieces add to 15.00 CAD, the row says 16.00 CAD.",)}
        counts = [d.body for d in history.drafts if isinstance(d.body, PiecesCounted)]
        assert [(p.piece_minor, p.count) for p in counts[0].pieces] == [(25, 40), (100, 5)]
        assert (counts[1].pieces, counts[1].minor) == ((), 0)

    def test_minutes_may_be_written_as_hours_and_minutes(self) -> None:
        history = read("Date,Drum,sold\n2024-01-08,3,1234:30\n", "weir")
        assert readings(history) == [{"3.sold": 74070}]

    def test_device_and_value_columns(self) -> None:
        history = read("Date,Pocket,Device,Value\n2024-01-08,2,warm,77\n2024-01-08,2,2.far,5\n2024-01-09,2,cold,5\n")
        assert readings(history) == [{"2.warm": 77}, {"2.far": 5}]
        assert refused(history) == {4: ("Lantern Row Wash has no meter or counter “cold” at 2.",)}


class TestHeadings:
    def test_may_stand_below_a_title_and_that_is_said(self) -> None:
        history = read("Lantern Row\n\nDate,Pocket,Hours\n2024-01-08,1,5\n")
        assert len(history.drafts) == 1
        assert "The headings stand in row 3; what is above them is not read." in history.notes


class TestWideForm:
    def test_a_column_for_each_pocket(self) -> None:
        text = "River side book\n\nWeek of,31 hours,32 hours,33 hrs,box 33 cash\n2024-01-08,10.1,20.2,30.3,12.50\n2024-01-15,,21.2,31.3,\n"
        mapping = "header = 3\n[columns]\n" + "".join(
            f'"{h}" = "{r}"\n' for h, r in {"Week of": "date", "31 hours": "reading 31.drum clock", "32 hours": "reading 32.drum clock",
                                            "33 hrs": "reading 33.drum clock", "box 33 cash": "money in box 33"}.items())  # fmt: skip
        history = read(text, "weir", mapping)
        assert readings(history) == [
            {"31.drum clock": 101, "32.drum clock": 202, "33.drum clock": 303}, {"32.drum clock": 212, "33.drum clock": 313},
        ]  # fmt: skip

    def test_is_guessed_from_headings(self) -> None:
        here = laid("weir")
        assert guess("P31 hours", here) == "reading 31.drum clock"
        assert guess("C1 quarters", here) == "pieces 0.25 in box C1"
        assert guess("Dryer 33: cash", here) == "money in box 33"
        assert guess("31.drum clock", here) == "reading 31.drum clock"
        assert guess("weather", here) == "ignore"


class TestRefusedRows:
    @pytest.mark.parametrize(
        ("row", "says"),
        [
            ("2024-01-08,77,1,1", "“Pocket” is “77”: Lantern Row Wash has no such pocket."),
            ("2024-01-08,1,-5,1", "“Hours” is “-5”: it is below nothing. Correct the figure."),
            ("2024-01-08,1,(5.0),1", "“Hours” is “(5.0)”: it is below nothing. Correct the figure."),
            ("2024-01-08,1,999999999,1", "“Hours” is “999999999”: 1.turning starts again at 100,000 h; it cannot show more."),
            ("2024-01-08,1,1.25,1", "“Hours” is “1.25”: 1.turning shows tenths of an hour, nothing finer."),
            ("2024-01-08,1,1,1e99", "“near” is “1e99”: it is not a number."),
            ("2024-01-08,1,1,=cmd|' /C calc'!A0", "“near” is “=cmd|' /C calc'!A0”: it is a formula or a command, not a figure. Write the figure itself."),
            ("2024-01-08,1,1,\"1,234\"", "“near” is “1,234”: it can be read in two ways: thousands or decimals. Say decimal = \".\" or decimal = \",\" in the mapping."),
            ("03/04/2025,1,1,1", "“Date” is “03/04/2025”: it is ambiguous: March 4 or April 3. Say dates = \"day first\" or dates = \"month first\" in the mapping."),
            ("3/4/25,1,1,1", "“Date” is “3/4/25”: it is ambiguous: day, month and year can be read in more ways than one. Say dates = \"day first\", \"month first\" or \"year first\" in the mapping."),
            ("2024-02-30,1,1,1", "“Date” is “2024-02-30”: it is no day of the calendar. Correct it, or say the order of dates in the mapping."),
            ("1024-02-03,1,1,1", "“Date” is “1024-02-03”: the year 1024 is out of range. Allowed: 1990 to 2199."),
            ("soon,1,1,1", "“Date” is “soon”: it is no date. Write year-month-day: 2025-04-03."),
            (",1,1,1", "It has no date. Say fill_down = true if a blank date means the one above."),
            ("2024-01-08,1,,", "It holds neither a reading nor a count."),
        ],
    )  # fmt: skip
    def test_say_what_is_wrong_and_how_to_mend_it(self, row: str, says: str) -> None:
        history = read(f"Date,Pocket,Hours,near\n{row}\n")
        assert refused(history) == {2: (says,)}
        assert history.drafts == ()

    def test_every_reason_is_given_not_the_first(self) -> None:
        assert len(refused(read("Date,Pocket,Hours,near\nnever,1,-1,x\n"))[2]) == 3

    def test_ambiguous_dates_pass_once_the_mapping_says_their_order(self) -> None:
        columns = '[columns]\nDate = "date"\nPocket = "pocket"\nHours = "reading hours"'
        for order, month in (("day first", 4), ("month first", 3)):
            history = read("Date,Pocket,Hours\n03/04/2025,1,1\n", mapping=f'dates = "{order}"\n{columns}')
            assert history.drafts[0].happened.month == month

    def test_another_stores_rows(self) -> None:
        history = read("Date,Store,Pocket,Hours\n2024-01-08,lantern,1,1\n2024-01-08,Weir Court Laundry,2,1\n")
        assert refused(history) == {3: ("It is of “Weir Court Laundry”, another store than Lantern Row Wash.",)}

    def test_repeated_and_contradicting_rows(self) -> None:
        history = read("Date,Pocket,Hours\n2024-01-08,1,5\n2024-01-08,1,5\n2024-01-08,1,6\n")
        assert refused(history) == {
            3: ("It says the same as row 2.",),
            4: ("Row 2 gives 1.turning for the same moment.",),
        }

    def test_the_one_row_out_of_order_not_those_around_it(self) -> None:
        days = ["2024-01-01", "2024-01-08", "2025-01-15", "2024-01-22", "2024-01-29"]
        history = read("Date,Pocket,Hours\n" + "".join(f"{d},1,{i}\n" for i, d in enumerate(days)))
        assert list(refused(history)) == [4]
        assert "breaks the order" in refused(history)[4][0]

    def test_newest_first_is_no_disorder(self) -> None:
        history = read("Date,Pocket,Hours\n2024-01-15,1,3\n2024-01-08,1,2\n2024-01-01,1,1\n")
        assert [v["1.turning"] for v in readings(history)] == [10, 20, 30]

    def test_a_meter_that_outran_time(self) -> None:
        history = read("Date,Pocket,Hours\n2024-01-01,1,100\n2024-01-08,1,1100\n2024-01-15,1,150\n")
        assert refused(history) == {3: ("1.turning would have run 1,000.0 h in the 168 h since row 2.",)}

    def test_a_meter_that_shows_less_is_entered_and_said(self) -> None:
        history = read("Date,Pocket,Hours\n2024-01-01,1,99990\n2024-01-08,1,12\n")
        assert refused(history) == {}
        assert any("shows less than in row 2" in n for n in history.notes)

    def test_dates_ahead_of_now(self) -> None:
        now = dt.datetime(2024, 1, 5, tzinfo=dt.UTC)
        history = read_history(b"Date,Pocket,Hours\n2024-01-08,1,5\n", "x.csv", None, laid("lantern"), not_after=now)
        assert refused(history) == {2: ("Its date, 2024-01-08, lies ahead of now.",)}


class TestSharedThings:
    def test_a_counter_of_two_drums_given_with_each_is_entered_once(self) -> None:
        columns = '[columns]\nDate = "date"\nDrum = "pocket"\nsold = "reading sold"\nQ = "reading quarter"'
        history = read(
            "Date,Drum,sold,Q\n2024-01-08,1,100:00,50\n2024-01-08,2,90:00,50\n2024-01-08,2,,50\n", "weir", columns
        )
        assert readings(history) == [{"1.sold": 6000, "C1.quarter": 50}, {"2.sold": 5400}]
        assert any("Row 3 gives C1.quarter as row 2 does" in n for n in history.notes)
        assert [s.row for s in history.skipped] == [4]

    def test_given_differently_it_is_refused(self) -> None:
        columns = '[columns]\nDate = "date"\nDrum = "pocket"\nQ = "reading quarter"'
        history = read("Date,Drum,Q\n2024-01-08,1,50\n2024-01-08,2,51\n", "weir", columns)
        assert refused(history) == {3: ("Row 2 gives C1.quarter for the same moment.",)}

    def test_a_box_goes_by_its_last_word(self) -> None:
        history = read(
            "Date,Box,Cash\n2024-01-08,21,5.00\n2024-01-08,1+2,5.00\n2024-01-08,Box 3+4,5.25\n2024-01-08,9,1.00\n"
        )
        assert [d.body.boxes[0] for d in history.drafts if isinstance(d.body, PiecesCounted)] == [
            "box 21",
            "box 1+2",
            "box 3+4",
        ]
        assert list(refused(history)) == [5]

    def test_a_heading_that_is_a_coin_and_a_counter_is_not_guessed(self) -> None:
        assert guess("quarter", laid("weir")) == "ignore"
        assert guess("quarters", laid("weir")) == "pieces 0.25"


class TestColumns:
    def test_mistakes_in_a_mapping_are_all_told_at_once(self) -> None:
        with pytest.raises(InputErrors) as caught:
            read(
                "Date,x,z\n2024-01-01,1,2",
                mapping='[columns]\nx = "reading zz"\ny = "money in box 9"\nz = "pieces 0.30"',
            )
        assert caught.value.sentence().split("\n") == [
            "row 1: The file has no column “y”. Allowed: “Date”, “x”, “z”.",
            "column “x”: No sheet of Lantern Row Wash has a meter or counter “zz”. Allowed: coins, far, hours, near, pad, turning, warm.",
            "column “z”: Lantern Row Wash takes no coin of 0.30 CAD. Allowed: 0.25, 1.00.",
            'No column holds the date. Map one: "Heading" = "date".',
            'No column holds a reading or a count. Map one: "Heading" = "reading turning".',
        ]

    def test_temperatures_keep_their_scale_and_are_refused_without_one(self) -> None:
        history = read(
            "Date,Pocket,Exhaust\n2024-01-08,1,165 F\n2024-01-09,1,74 °C\n2024-01-10,1,74\n2024-01-11,1,400 F\n"
        )
        assert [d.body.says for d in history.drafts if isinstance(d.body, Noted)] == [
            "Exhaust: 165 °F, as written in the history.", "Exhaust: 74 °C, as written in the history.",
        ]  # fmt: skip
        assert list(refused(history)) == [4, 5]

    def test_remarks_and_names_are_not_taken_unless_the_mapping_says_so(self) -> None:
        history = read("Date,Pocket,Hours,Remarks,By,Phone\n2024-01-08,1,1,call Ann,AB,555-0100\n")
        assert not any(isinstance(d.body, Noted) for d in history.drafts)
        assert any(n.startswith("Not used: Remarks, By, Phone.") for n in history.notes)

    def test_blank_dates_are_filled_from_above_when_asked(self) -> None:
        columns = 'fill_down = true\n[columns]\nDate = "date"\nPocket = "pocket"\nHours = "reading hours"'
        assert len(read("Date,Pocket,Hours\n2024-01-08,1,1\n,2,2\n", mapping=columns).drafts) == 2

    @given(
        st.dictionaries(st.text(max_size=20), st.text(max_size=20), max_size=5), st.sampled_from(["", "day first", "month first"]),
        st.sampled_from(["", ".", ","]), st.booleans(), st.integers(0, 1000),
    )  # fmt: skip
    @settings(deadline=None)
    def test_any_mapping_reads_back_equal(self, columns, dates, decimal, fill_down, header) -> None:
        mapping = HistoryMapping(columns=columns, dates=dates, decimal=decimal, fill_down=fill_down, header=header)
        assert read_mapping(write_mapping(mapping)) == mapping


MAPPED = '[columns]\nDate = "date"\nPocket = "pocket"\nHours = "reading hours"\n'


class TestEncodings:
    TEXT = "Date;Pocket;Hours;Notes\n2024-01-08;1;1;séché à Noël\n"

    @pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
    def test_usual_ones_are_read_and_named(self, encoding: str) -> None:
        history = read(self.TEXT.encode(encoding), mapping=MAPPED + 'Notes = "note"')
        assert any(isinstance(d.body, Noted) and "séché à Noël" in d.body.says for d in history.drafts)
        assert history.notes[0].startswith("Read as text in")

    @pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
    def test_usual_delimiters_are_found(self, mark: str) -> None:
        assert len(read(self.TEXT.replace(";", mark)).drafts) == 1


def workbook(rows: list[list[object]], *, formula: tuple[int, int, str, object] | None = None) -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "remove_timezone": True, "default_date_format": "yyyy-mm-dd hh:mm"}
    )
    page = book.add_worksheet("Readings")
    for r, row in enumerate(rows):
        for c, cell in enumerate(row):
            if isinstance(cell, dt.datetime):
                page.write_datetime(r, c, cell)
            elif cell is not None:
                page.write(r, c, cell)
    if formula:
        page.write_formula(formula[0], formula[1], formula[2], None, formula[3])
    book.add_worksheet("Prices").write(0, 0, "x")
    book.close()
    return out.getvalue()


class TestWorkbooks:
    def test_dates_midnights_and_floats_come_out_exact(self) -> None:
        data = workbook([
            ["Date", "Pocket", "Hours", "near", "Cash"],
            [dt.datetime(2024, 1, 8, tzinfo=dt.UTC), 1, 100.1, 1234, 45.25],
            [dt.datetime(2024, 1, 15, 18, 30, tzinfo=dt.UTC), 1.0, 130.30000000000001, 1400, 30.1],
        ])  # fmt: skip
        history = read(data, name="old.xlsx")
        assert refused(history) == {}
        assert readings(history) == [{"1.turning": 1001, "1.near": 1234}, {"1.turning": 1303, "1.near": 1400}]
        assert [d.body.minor for d in history.drafts if isinstance(d.body, PiecesCounted)] == [4525, 3010]
        assert [d.happened.hour for d in history.drafts[::3]] == [17, 23]  # noon taken for midnight; 18:30 as written
        assert "Other sheets are not read: Prices." in history.notes[0]

    def test_a_formula_gives_its_last_value_and_nothing_else(self) -> None:
        data = workbook(
            [["Date", "Pocket", "Hours"], [dt.datetime(2024, 1, 8, tzinfo=dt.UTC), 1, None]],
            formula=(1, 2, "=100/2", 50),
        )
        assert readings(read(data)) == [{"1.turning": 500}]

    def test_cells_with_an_error_are_counted_and_said(self) -> None:
        data = workbook(
            [["Date", "Pocket", "Hours", "near"], ["2024-01-08", 1, None, 5]], formula=(1, 2, "=1/0", "#DIV/0!")
        )
        history = read(data)
        assert readings(history) == [{"1.near": 5}]
        assert "Cells with an error such as #DIV/0!, which count as blank: 1." in history.notes

    def test_a_date_in_a_column_of_figures_is_refused(self) -> None:
        data = workbook(
            [
                ["Date", "Pocket", "Hours"],
                [dt.datetime(2024, 1, 8, tzinfo=dt.UTC), 1, dt.datetime(2024, 1, 8, tzinfo=dt.UTC)],
            ]
        )
        assert "Format the column as a number" in refused(read(data))[2][0]

    def test_a_sheet_that_is_not_there(self) -> None:
        with pytest.raises(InputErrors, match="has no sheet “Nope”"):
            read(workbook([["Date", "Hours"]]), mapping='sheet = "Nope"\n[columns]\nDate = "date"')


def with_member(data: bytes, name: str, content: bytes) -> bytes:
    """The workbook with one part put in place of its own."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            if member.filename != name:
                new.writestr(member, old.read(member.filename))
        new.writestr(name, content)
    return out.getvalue()


SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'


@pytest.mark.timeout(30)
class TestHostileFiles:
    def refused(self, data: bytes, name: str = "bad.xlsx") -> str:
        with pytest.raises(InputError) as caught:
            read(data, name=name)
        said = caught.value.sentence()
        assert all(c.isprintable() or c == "\n" for c in said)
        return said

    def test_a_bomb_of_zeros_is_refused_before_it_is_parsed(self) -> None:
        data = with_member(workbook([["Date"]]), "xl/sharedStrings.xml", bytes(200_000_000))
        assert len(data) < 1_000_000
        assert "unpacks to far more" in self.refused(data)

    def test_a_bomb_that_lies_about_its_size_is_refused(self) -> None:
        packer = zlib.compressobj(9, zlib.DEFLATED, -15)
        packed = packer.compress(bytes(200_000_000)) + packer.flush()
        data = bytearray(with_member(workbook([["Date"]]), "xl/sharedStrings.xml", b"x"))
        with zipfile.ZipFile(io.BytesIO(bytes(data))) as package:
            old = package.getinfo("xl/sharedStrings.xml")
            central = package.start_dir
        start = old.header_offset + 30 + len(old.filename)
        grown = len(packed) - old.compress_size
        data[start : start + old.compress_size] = packed
        at = data.index(b"xl/sharedStrings.xml", central + grown) - 46
        data[at + 20 : at + 24] = struct.pack("<L", len(packed))
        end = data.rindex(b"PK\x05\x06")
        data[end + 16 : end + 20] = struct.pack("<L", central + grown)
        assert "unpacks to far more" in self.refused(bytes(data))

    @pytest.mark.parametrize(
        "cells",
        [b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
         b"<row><c r='XFD1'><v>1</v></c></row>", b'<row><c r="&#88;FD9"><v>1</v></c></row>', b'<row r = "999999999"/>'],
    )  # fmt: skip
    def test_a_cell_far_out_is_refused_before_the_sheet_is_laid_out(self, cells: bytes) -> None:
        data = with_member(workbook([["Date"]]), "xl/worksheets/sheet1.xml", SHEET % cells)
        assert "larger than a history of one store" in self.refused(data)

    @pytest.mark.parametrize(
        "data",
        [b"", b"\x00\x01\x02", b"PK\x03\x04" + b"x" * 50, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", b"Date" * 6_000_000, b"\n" * 200_000,
         b'"' * 100_000, b"Date,Hours\n" + b"," * 100_000, b"just words", b"\xff\xfe\x00", b"Date,Pocket,Hours\n\"2024", b"a,b\n1,2"],
    )  # fmt: skip
    def test_things_that_are_no_history(self, data: bytes) -> None:
        with contextlib.suppress(InputError):
            assert read(data, name="x.csv").drafts == ()

    def test_a_package_that_is_no_workbook(self) -> None:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as package:
            package.writestr("hello.txt", "x")
        assert "no XLSX workbook" in self.refused(out.getvalue())

    @given(st.integers(0, 5000), st.binary(min_size=1, max_size=20))
    @settings(deadline=None, max_examples=60)
    def test_a_workbook_with_any_bytes_changed_is_read_or_refused(self, at: int, put: bytes) -> None:
        data = bytearray(workbook([["Date", "Pocket", "Hours"], ["2024-01-08", 1, 5]]))
        at %= len(data)
        data[at : at + len(put)] = put
        with contextlib.suppress(InputError):
            read(bytes(data))

    @given(st.lists(st.lists(st.sampled_from(
        ["Date", "Pocket", "Hours", "2024-01-08", "03/04/2024", "1", "-1", "1,5", "1.234", "", "Total", "=A1", "99999999", "\x1b[2J", "x" * 50,
         "Dryer 2", "near", "1:30", "½", "٣", "1e5", "NaN", "inf"]), max_size=6), max_size=8))  # fmt: skip
    @settings(deadline=None)
    def test_any_table_gives_drafts_and_refusals_that_account_for_every_row(self, rows) -> None:
        text = "Date,Pocket,Hours,near\n" + "\n".join(",".join(f'"{c}"' for c in r) for r in rows)
        with contextlib.suppress(InputError):
            history = read(text, mapping=f'header = 1\n{MAPPED}near = "reading near"')
            told = {d.row for d in history.drafts} | set(refused(history)) | {s.row for s in history.skipped}
            filled = {i for i, r in enumerate(rows, 2) if any(c.strip() for c in r)}
            assert told == filled

    def test_a_megabyte_is_read_in_seconds(self) -> None:
        days = [dt.date(2020, 1, 1) + dt.timedelta(days=i) for i in range(1500)]
        text = "Date,Pocket,Hours,near\n" + "".join(
            f"{d},{p},{i},{i}\n" for i, d in enumerate(days) for p in range(1, 13)
        )
        start = process_time()
        history = read(text)
        assert len(history.drafts) == 18_000
        assert process_time() - start < 6


class TestFigures:
    @pytest.mark.parametrize(
        ("text", "mark", "value"),
        [
            ("1,234.50", "", "1234.50"), ("1.234,50", "", "1234.50"), ("1 234,5", "", "1234.5"), ("1'234.5", "", "1234.5"), ("12,5", "", "12.5"),
            ("1,234", ".", "1234"), ("1,234", ",", "1.234"), ("1,234,567", "", "1234567"), ("$12.50", "", "12.50"), ("12.50 CAD", "", "12.50"),
            ("1 234", "", "1234"), ("0.125", "", "0.125"), ("1234.567", "", "1234.567"), ("45 h", "", "45"), ("+3", "", "3"), ("１２", "", "12"),
        ],
    )  # fmt: skip
    def test_are_read_as_people_write_them(self, text: str, mark: str, value: str) -> None:
        from decimal import Decimal

        assert number(text, mark) == Decimal(value)

    @pytest.mark.parametrize("text", ["1,23,4", "1.2.3", "12,34.5,6", "", "--1", "1,234", "1.234", "1/2"])
    def test_that_fit_no_way_of_writing_are_refused(self, text: str) -> None:
        with pytest.raises(InputError):
            number(text)

    @pytest.mark.parametrize(
        "text", ["2025-04-03", "2025/4/3", "3.4.2025", "3 Apr 2025", "Apr 3, 2025", "3-Apr-2025", "April 3rd, 2025"]
    )
    def test_days_that_can_be_read_in_one_way_only(self, text: str) -> None:
        assert day_and_time(text)[0] == dt.date(2025, 4, 3)

    @given(st.dates(dt.date(1990, 1, 1), dt.date(2199, 12, 31)))
    def test_a_day_is_read_as_written_or_refused_never_swapped(self, day: dt.date) -> None:
        for form, order in (("{:%d/%m/%Y}", "day first"), ("{:%m/%d/%Y}", "month first"), ("{:%Y-%m-%d}", "")):
            assert day_and_time(form.format(day), order)[0] == day  # type: ignore[arg-type]
        for form in ("{:%d/%m/%Y}", "{:%m/%d/%Y}"):
            with contextlib.suppress(InputError):
                assert day_and_time(form.format(day))[0] == day


def test_entries_take_their_ids_from_the_caller_and_their_row_into_the_origin() -> None:
    drafts = read(TestLongForm.TEXT).drafts

    def id_for(draft: Draft) -> str:
        return uuid7(1_700_000_000_000 + draft.row, bytes(10))

    entries = entries_from(drafts, store="lantern", by="bram", origin="old.csv", id_for=id_for)
    assert [e.origin for e in entries[:2]] == ["old.csv row 2", "old.csv row 2"]
    assert entries == entries_from(drafts, store="lantern", by="bram", origin="old.csv", id_for=id_for)
    assert len(
        {e.id for e in entries_from(drafts, store="lantern", by="x", origin="y", id_for=content_id("lantern"))}
    ) == len(drafts)
    again = read(TestLongForm.TEXT.replace("Total", "Sum")).drafts
    assert [content_id("lantern")(d) for d in again] == [content_id("lantern")(d) for d in drafts]
    assert content_id("weir")(drafts[0]) != content_id("lantern")(drafts[0])
    assert msgspec.json.decode(msgspec.json.encode(entries[0]), type=type(entries[0])) == entries[0]
