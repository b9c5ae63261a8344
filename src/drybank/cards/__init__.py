"""Paper: PDF work cards, signs and statements.

paper      templates set by typst, QR codes
words      the fixed words of a card, by language
templates/ our typst templates      fonts/ the typeface (OFL)
"""

from drybank.cards.paper import pdf, qr_svg, sign_pdf, work_card_pdf

__all__ = ["pdf", "qr_svg", "sign_pdf", "work_card_pdf"]
