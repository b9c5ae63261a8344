"""Every kind of phone screen looked at: axe finds nothing, nothing is wider than 360 px, a thumb in a glove can hit everything.

Pages are walked as an owner, who has every screen; in both languages, light and dark (there the rules of colour again).
"""

import pytest

from tests.web.conftest import STORE

from .conftest import PHONE
from .phone_hand import Hand
from .test_every_page import COLOURS, RULES, faults

SCREENS = (
    "#/phone", "#/waiting", f"#/s/{STORE}", f"#/s/{STORE}/m/1", f"#/s/{STORE}/m/1/read", f"#/s/{STORE}/m/1/jobs",
    f"#/s/{STORE}/m/1/time", f"#/s/{STORE}/m/5/heat", f"#/s/{STORE}/m/1/outage", f"#/s/{STORE}/m/1/note", f"#/s/{STORE}/m/room",
    f"#/s/{STORE}/empty", f"#/s/{STORE}/count", f"#/s/{STORE}/hand-over", f"#/s/{STORE}/claim", f"#/s/{STORE}/refund",
    f"#/s/{STORE}/watch",
)  # fmt: skip
LOOKS = [("en", False), ("es", False), ("en", True), ("es", True)]
SMALL = """() => [...document.querySelectorAll('button, a, input:not(.hidden-file), label.check, summary, textarea')]
    .filter(e => e.offsetParent && !e.closest('.skip') && !e.closest('label.check > *') && e.type !== 'checkbox'
        && e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize(("language", "dark"), LOOKS, ids=["en", "es", "en-dark", "es-dark"])
def test_axe_finds_nothing_on_any_phone_screen(chromium, served, language, dark):
    context = chromium.new_context(
        viewport=PHONE, base_url=served, has_touch=True, locale=language, color_scheme="dark" if dark else "light",
        reduced_motion="reduce",
    )  # fmt: skip
    complaints, wrong = [], []
    hand = Hand(context, complaints).log_in("owner")
    hand.open_store()
    assert hand.tab.evaluate("document.documentElement.lang") == language
    for where in SCREENS[::2] if dark else SCREENS:
        hand.go(where)
        wrong += [f"{where} {f}" for f in faults(hand.tab, COLOURS if dark else RULES)]
        if hand.tab.evaluate("document.documentElement.scrollWidth > 360"):
            wrong.append(f"{where} is wider than the screen")
        wrong += [f"{where} too small: {text}" for text in hand.tab.evaluate(SMALL)]
    context.close()
    assert not wrong, "\n".join(wrong)
    assert complaints == []


def test_a_keyboard_alone_reads_a_machine(chromium, served):
    context = chromium.new_context(viewport=PHONE, base_url=served, locale="en", reduced_motion="reduce")
    hand = Hand(context, []).log_in("collector")
    hand.open_store()
    hand.begin("m/8/read")
    device, figure = hand.device_here()
    assert hand.tab.evaluate("document.activeElement.id") == "answer"
    hand.tab.keyboard.type(hand.text_of(device, figure))
    hand.tab.keyboard.press("Enter")
    hand.tab.wait_for_function("() => document.activeElement.id !== 'answer'")
    hand.tab.keyboard.press("Tab")
    assert hand.tab.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    context.close()
