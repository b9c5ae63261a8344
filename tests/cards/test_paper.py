"""Cards as a reader gets them: the PDF's text read back by pypdf, its picture by an independent QR reader (ZXing)."""

import io

import pypdf
import pytest
import zxingcpp
from PIL import Image

from drybank.cards import pdf, qr_svg, sign_pdf, work_card_pdf
from drybank.records.card import CardControl, CardStep, CardTask, Sign, SignRate, SignText, WorkCard

CARD_ID = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def card(**changes):
    step = CardStep(
        name="Minutes a coin", found_at="Second page.", how="Type 65.", as_found="6 min", to_set="6.5 min",
        reached="Behind the front panel", power="power on",
    )  # fmt: skip
    made = {
        "id": CARD_ID, "store": "Test Laundry", "bank": "North", "machine": "M7", "made": "3 May 2026",
        "cautions": ("Hot drum: let it cool.",),
        "controls": (CardControl(control="14", pockets=("14",), sheet="Alder", revision="2", steps=(step,)),),
        "devices": (("14.hours", "Pocket 14, hour meter"),), "test_inputs": ("Pocket 14, slot",),
    }  # fmt: skip
    return WorkCard(**(made | changes))


def text_of(paper):
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(paper)).pages]


def size_mm(pdf):
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    return float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4


def test_the_caution_stands_before_everything_that_is_asked():
    text = "\n".join(text_of(work_card_pdf(card())))
    assert text.index("let it cool") < text.index("Read before") < text.index("Minutes a coin")


def test_as_found_and_to_set_stand_on_the_card_with_their_unit():
    text = "\n".join(text_of(work_card_pdf(card())))
    assert "6 min" in text
    assert "6.5 min" in text


@pytest.mark.parametrize(("paper", "size"), [("a5", (148.0, 210.0)), ("half-letter", (139.7, 215.9))])
def test_paper_is_the_size_asked(paper, size):
    """A5 148 x 210 mm (ISO 216, from memory); half of US letter 5.5 x 8.5 in."""
    assert size_mm(work_card_pdf(card(), paper)) == pytest.approx(size, abs=0.1)


def test_same_card_gives_the_same_bytes():
    assert work_card_pdf(card()) == work_card_pdf(card())


def test_a_spanish_card_speaks_spanish_and_keeps_the_manuals_words():
    text = "\n".join(text_of(work_card_pdf(card(language="es"))))
    assert "Lea antes de cambiar nada" in text
    assert "Second page." in text


def test_long_cards_number_their_pages():
    tasks = tuple(CardTask(what=f"Task {i}", why="Because of its hours.", minutes=5) for i in range(40))
    pages = text_of(work_card_pdf(card(tasks=tasks)))
    assert len(pages) > 1
    assert f"Page 1 of {len(pages)}" in pages[0]


def test_the_printed_qr_reads_back_as_the_cards_id():
    import typst

    source = (
        b'#set page(width: 30mm, height: 30mm, margin: 2mm)\n#image(bytes(sys.inputs.qr), width: 19mm, format: "svg")'
    )
    png = typst.compile(source, format="png", ppi=200, sys_inputs={"qr": qr_svg(CARD_ID)})
    found = zxingcpp.read_barcodes(Image.open(io.BytesIO(png)).convert("L"))
    assert [code.text for code in found] == [CARD_ID]


def test_markup_in_a_name_is_printed_not_obeyed():
    text = "\n".join(text_of(work_card_pdf(card(store='#panic("x") *bold* $1$ \\ [x]'))))
    assert '#panic("x") *bold* $1$' in text


def test_the_sign_has_a_page_for_each_language():
    def one(language, title):
        return SignText(
            language=language, title=title, start=SignRate(money="$1.00", time="12 minutes"), start_says="4 quarters",
            more=(SignRate(money="25¢", time="3 minutes"),), more_head="After that", accepted="Quarters.", ending="Cools.",
            refund_head="Money lost?", refund=("P. Example", "1 Mill Lane", "555-0100"),
        )  # fmt: skip

    sign = Sign(store="Test", bank="North", from_date="2026-05-03", texts=(one("en", "Dryers"), one("fr", "Sécheuses")))
    pages = text_of(sign_pdf(sign))
    assert len(pages) == 2
    assert "Dryers" in pages[0]
    assert "Sécheuses" in pages[1]
    assert "555-0100" in pages[1]


def test_the_trials_card_opens_with_its_cautions_and_has_a_box_for_every_reading():
    card = {
        "store": "Test Laundry", "pocket": "3", "title": "Towel trial", "cautions": ["Hot air at the outlet."], "take_along": ["a scale"],
        "steps": [{"says": "Weigh the dry towels.", "writes": ["dry mass, lb"]}], "afterwards": "Enter it.", "honest": ["It takes an hour."],
    }  # fmt: skip
    text = "\n".join(text_of(pdf("trial_card.typ", {"card": card, "paper": "a5"})))
    assert (
        text.index("Hot air") < text.index("a scale") < text.index("Weigh the dry towels") < text.index("dry mass, lb")
    )
