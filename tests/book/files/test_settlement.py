"""Settlement files: own columns, sums exact, every bad row at once."""

import io

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.takings.conftest import make_layout

from drybank.book.files.settlement import read_settlement, read_settlement_mapping
from drybank.records.errors import InputError, InputErrors

GOOD = b"Date,Machine,Count,Gross,Fee\n2026-05-04,1,40,10.00,0.30\n2026-05-05,2,8,2.00,0.06\n,Total,48,12.00,0.36\n"


def test_rows_become_one_payout_with_a_line_for_each_input():
    read = read_settlement(GOOD, "a.csv", make_layout(), "card")
    assert (read.gross_minor, read.fee_minor, read.paid_minor) == (1200, 36, 1164)
    assert read.inputs == (("1.pad", 40, 1000), ("2.pad", 8, 200))
    assert (f"{read.first}", f"{read.last}") == ("2026-05-04", "2026-05-05")


def test_columns_of_its_own_are_mapped_and_a_decimal_comma_is_read():
    mapping = read_settlement_mapping(
        'dates = "day first"\ndecimal = ","\n[columns]\nTag = "date"\nWert = "gross"\nNetto = "paid"\n', "m.toml"
    )
    read = read_settlement(b"Tag;Wert;Netto\n04/05/2026;10,25;9,95\n", "a.csv", make_layout(), "card", mapping)
    assert (read.gross_minor, read.paid_minor) == (1025, 995)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 10**7), min_size=1, max_size=30))
def test_a_workbooks_binary_fractions_add_to_the_cent(amounts):
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["date", "gross"])
        for row, minor in enumerate(amounts, 1):
            sheet.write(row, 0, "2026-05-04")
            sheet.write_number(row, 1, minor / 100)
    assert read_settlement(out.getvalue(), "a.xlsx", make_layout(), "card").gross_minor == sum(amounts)


def test_every_bad_row_is_told_at_once():
    bad = b"date,machine,gross\n2026-05-04,77,1.00\n03/04/2026,1,1.00\n2026-05-04,1,1.005\n2026-05-04,1,=1+1\n"
    with pytest.raises(InputErrors) as told:
        read_settlement(bad, "a.csv", make_layout(), "card")
    assert len(told.value.errors) == 4


@pytest.mark.parametrize("data", [b"", b"date,gross\n", b"what,ever\n1,2\n", b"\x00\x01\x02", b"PK\x03\x04junk"])
def test_what_is_no_settlement_is_refused_in_a_sentence(data):
    with pytest.raises(InputError):
        read_settlement(data, "a.csv", make_layout(), "card")


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused(data):
    try:
        read_settlement(data, "a.csv", make_layout(), "card")
    except InputError as refused:
        assert refused.sentence()  # noqa: PT017
