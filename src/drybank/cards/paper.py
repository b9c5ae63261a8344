"""From content to PDF: templates of our own set by typst, fonts shipped with them, no outside address."""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import msgspec

from drybank.cards.words import CARD
from drybank.records.card import Language, Paper, Sign, WorkCard


@cache
def _room() -> Path:
    """The folder of templates and fonts, on disk even from a zipped package."""
    with as_file(files("drybank.cards")) as folder:
        return Path(folder)


def pdf(template: str, data: dict[str, Any], language: Language = "en") -> bytes:
    """One of our templates filled with data, as PDF bytes; the same data gives the same bytes."""
    import typst

    room = _room()
    filled = {"words": CARD[language], "language": language, **data}
    made = typst.compile(
        str(room / "templates" / template),
        root=str(room / "templates"),
        font_paths=[str(room / "fonts")],
        ignore_system_fonts=True,
        format="pdf",
        timestamp=0,
        sys_inputs={"data": msgspec.json.encode(filled).decode()},
    )
    return bytes(made)


def file_name(*parts: str) -> str:
    """A file's name from a store's own keys: a key may hold a slash, a file's name may not."""
    return "-".join("".join(c if c.isalnum() or c in "-+_ " else "_" for c in part) for part in parts if part)


def qr_svg(text: str) -> str:
    """A QR code as SVG, quiet zone included; level M so that a creased card still reads."""
    import io

    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=2, xmldecl=False, svgns=True)
    return out.getvalue().decode()


def work_card_pdf(card: WorkCard, paper: Paper = "a5") -> bytes:
    """The card for one visit to one machine, A5 or half letter."""
    title = f"{CARD[card.language]['card']} {card.machine}"
    data = {"card": msgspec.to_builtins(card), "paper": paper, "title": title, "qr": qr_svg(card.id)}
    return pdf("work_card.typ", data, card.language)


def sign_pdf(sign: Sign, paper: str = "letter") -> bytes:
    """The wall sign, a page for each language; paper a4 or letter."""
    return pdf("sign.typ", {"sign": msgspec.to_builtins(sign), "paper": paper})
