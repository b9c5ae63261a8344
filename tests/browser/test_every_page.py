"""Every page looked at: nothing axe finds, nothing wider than the screen, targets a thumb can hit; both languages, light and dark."""

from pathlib import Path

import pytest

from drybank.web.rights import PAGES as TABLE
from tests.web.conftest import STORE

from .conftest import settled

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text()
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
}
# Papers and files are no pages; the phone's own pages are looked at beside the phone.
FILES = (".pdf", ".xlsx", ".csv", ".txt")
ELSEWHERE = ("export", "invited")


def _pages():
    """Every page that a person looks at, from the table of addresses: one that is not here is no page."""
    from tests.web.test_rights import WORDS

    out = []
    for page in TABLE:
        path = "/" + page.path.replace("<str:store>", STORE)
        for word, value in WORDS.items():
            path = path.replace(f"<str:{word}>", value)
        is_page = "GET" in page.methods and page.scope in ("person", "book", "store") and not path.endswith(FILES)
        if is_page and page.name not in ELSEWHERE and "phone" not in page.name and "<str:entry>" not in path:
            assert "<" not in path, f"{page.name}: give its words a value in tests/web/test_rights.py"
            out.append(path)
    return tuple(out)


PAGES = _pages()
# Dark changes colours and nothing else: there only the rules of colour are asked again.
COLOURS = {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": ["cat.color"]}}
LOOKS = [("en", False, False), ("es", True, False), ("en", True, True), ("es", False, True)]


def faults(tab, rules=RULES):
    """What axe finds, in a line each."""
    tab.evaluate(AXE)
    found = tab.evaluate("rules => axe.run(document, rules)", rules)["violations"]
    return [f"{v['id']}: {v['help']}: {n['target']}" for v in found for n in v["nodes"][:3]]


SMALL = """() => [...document.querySelectorAll('main button, main .button, main input:not([type=hidden]):not([type=checkbox]), main select, label.check, nav a, summary')]
    .filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize(("language", "phone", "dark"), LOOKS, ids=["desk", "phone-es", "phone-dark", "desk-es-dark"])
def test_axe_finds_nothing_nothing_is_wider_than_the_screen_and_a_thumb_hits_everything(
    open_as, town, language, phone, dark
):
    tab = open_as("ada", phone=phone, dark=dark, language=language)
    wrong = []
    entry = next(iter(town.chain(STORE))).entry.id
    for where in (*PAGES, f"/s/{STORE}/book/{entry}", f"/s/{STORE}/book/{entry}/correct"):
        settled(tab, where)
        assert tab.evaluate("document.documentElement.lang") == language
        wrong += [f"{where} {f}" for f in faults(tab, COLOURS if dark else RULES)]
        if tab.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
            wrong.append(f"{where} is wider than the screen")
        if phone:
            wrong += [f"{where} lower than 48 px: {text}" for text in tab.evaluate(SMALL)]
    assert not wrong, "\n".join(wrong)


def test_pages_before_log_in_and_faults_too(chromium, served):
    context = chromium.new_context(base_url=served)
    tab = context.new_page()
    wrong = []
    for where in ("/log-in", "/invited/none", "/nowhere"):
        tab.goto(where)
        wrong += [f"{where} {f}" for f in faults(tab)]
    context.close()
    assert not wrong, "\n".join(wrong)


def test_first_tab_stop_leads_to_the_page_and_focus_is_seen(open_as):
    tab = settled(open_as("ada"), f"/s/{STORE}/book")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.className") == "skip"
    tab.keyboard.press("Tab")
    assert tab.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"


def test_print_shows_the_workings_and_no_form(open_as):
    tab = settled(open_as("ada"), f"/s/{STORE}/balance")
    tab.emulate_media(media="print")
    assert tab.evaluate("[...document.querySelectorAll('form')].every(f => getComputedStyle(f).display === 'none')")
    assert tab.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
