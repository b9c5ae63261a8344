"""Paper: PDF work cards, signs and statements, and the same rows as spreadsheets.

paper       templates set by typst, QR codes
words       the fixed words of a card, by language
statements  statements and proofs of income: PDF, XLSX, CSV
templates/  our typst templates      fonts/ the typeface (OFL)
"""

from drybank.cards.page import PagePart, summary_page
from drybank.cards.paper import file_name, pdf, qr_svg, sign_pdf, work_card_pdf
from drybank.cards.statements import (
    Grid,
    check_words,
    grids_csv,
    grids_xlsx,
    income_notes,
    proof_grids,
    proof_pdf,
    seal_rows,
    statement_grids,
    statement_notes,
    statement_pdf,
)

__all__ = [
    "Grid", "PagePart", "check_words", "file_name", "grids_csv", "grids_xlsx", "income_notes", "pdf", "proof_grids", "proof_pdf", "qr_svg", "seal_rows", "sign_pdf", "statement_grids", "statement_notes", "statement_pdf", "summary_page",
    "work_card_pdf",
]  # fmt: skip
