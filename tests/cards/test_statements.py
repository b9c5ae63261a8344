"""Statements on paper and as spreadsheets: the same rows, nothing that runs, two languages."""

import csv
import io
from datetime import date

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from python_calamine import CalamineWorkbook
from tests.takings.conftest import Said, make_layout

from drybank.cards import Grid, grids_csv, grids_xlsx, proof_pdf, statement_grids, statement_pdf
from drybank.records.entry import PiecesCounted
from drybank.takings import income_proof, statement

MAY = (date(2026, 5, 1), date(2026, 5, 31))


def told(reader=""):
    return statement(make_layout(), [Said(0, PiecesCounted(minor=123_456))], *MAY, reader=reader)


def text_of(pdf):
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


@pytest.mark.parametrize(("language", "word"), [("en", "Owner's statement"), ("es", "Liquidación del propietario")])
def test_the_statement_speaks_its_language(language, word):
    text = text_of(statement_pdf(told(), language))
    assert word in text
    assert "1,234.56" in text


def test_a_partner_is_told_their_share_and_not_the_owners_fees_or_refunds():
    text = text_of(statement_pdf(told("Landlord")))
    assert "123.46 USD is due to Landlord" in text
    assert "refunds" not in text
    assert "fees" not in text


def test_the_proof_says_in_both_languages_what_a_chain_does_not_prove():
    proof = income_proof(make_layout(), [], ["2026-05"], {})
    assert "does not prove that an entry was true" in text_of(proof_pdf(proof)).replace("\n", " ")
    spanish = text_of(proof_pdf(proof, "es")).replace("\n", " ")
    assert "No prueba que fuera cierta" in spanish
    assert "No hay factura de energía" in spanish


def test_spreadsheet_and_paper_hold_the_same_numbers():
    grids = statement_grids(told())
    book = CalamineWorkbook.from_filelike(io.BytesIO(grids_xlsx(grids)))
    rows = book.get_sheet_by_index(0).to_python()
    assert rows[-1] == ["Kept", 1111.1]
    assert rows[0] == ["line", "amount, USD"]


NASTY = st.sampled_from(["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "=HYPERLINK(1)", "-", "plain"])


@given(st.lists(st.tuples(NASTY, NASTY), min_size=1, max_size=5))
def test_no_cell_of_an_export_can_run(rows):
    """CSV: a cell that a spreadsheet would run is quoted out. XLSX: read back by an independent reader, every cell is text."""
    grid = Grid(title="=t[]:*?/\\", heads=("=a", "b"), columns=("left", "left"), rows=tuple(rows))
    for row in csv.reader(io.StringIO(grids_csv((grid,)), newline="")):
        assert not any(cell[:1] in ("=", "+", "@", "\t", "\r") for cell in row)
    import zipfile

    with zipfile.ZipFile(io.BytesIO(grids_xlsx((grid,)))) as book:
        assert b"<f>" not in b"".join(book.read(n) for n in book.namelist() if "worksheets" in n)
