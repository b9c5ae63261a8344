"""The owner's evening in the browser: log in, what needs me, the store, a pocket, the balance, a count, a correction undone."""

import re

from tests.web.conftest import STORE

from .conftest import log_in, settled


def test_owner_goes_once_round_the_job(open_as, town):
    tab = open_as("ada")
    settled(tab, f"/s/{STORE}/")
    assert re.search(r"\d+ things? needs? you|Nothing needs you", tab.inner_text("main"))
    tab.click("nav >> text=Store")
    tab.wait_for_selector(".pockets")
    assert tab.locator(".pockets .key a").count() == 8
    tab.click(".pockets .key a >> nth=0")
    tab.wait_for_selector("h1:has-text('Pocket')")
    assert tab.locator("[role=img] .on-wide svg").count() == 1
    tab.fill("#on", town_day(town))
    tab.click("text=Show that day")
    assert tab.locator("h2:has-text('What it holds on')").count() == 1
    tab.click("nav >> text=Balance")
    tab.wait_for_selector("h2:has-text('Pocket by pocket')")
    tab.click("summary:has-text('As a table')")
    assert tab.locator("figure table tbody tr").count() >= 1


def town_day(town):
    first = next(iter(town.chain(STORE))).entry.happened
    return f"{first:%Y-%m-%d}"


def test_bag_is_collected_counted_and_the_count_undone_with_a_reason(open_as, town):
    tab = settled(open_as("ada"), f"/s/{STORE}/cash")
    before = len(list(town.chain(STORE)))
    tab.check("input[name=boxes] >> nth=1")
    tab.fill("#c-bag", "E-1")
    tab.click("text=Enter the emptying")
    tab.wait_for_selector("[role=status]:has-text('bag E-1')")
    tab.fill("#n-bag", "E-1")
    tab.fill("input[name^=piece-] >> nth=0", "40")
    tab.fill("#n-second", "nora")
    tab.click("text=Enter the count")
    tab.wait_for_selector("[role=status]:has-text('Counted and entered')")
    tab.click("nav >> text=Book")
    tab.select_option("#kind", "count")
    tab.click("form >> text=Show")
    newest = town.story(STORE, kinds=("count",))[-1]
    tab.goto(f"/s/{STORE}/book/{newest.id}")
    tab.click("text=Correct or undo it")
    tab.fill("#reason", "counted the wrong bag")
    tab.click("text=Undo the whole entry")
    tab.wait_for_selector("text=Taken back by a later entry")
    kinds = [b.entry.kind for b in town.chain(STORE)][before:]
    assert kinds == ["collection", "count", "correction"]
    assert town.verify(STORE).is_whole


def test_session_that_ended_asks_to_log_in_and_leads_back(chromium, served):
    context = chromium.new_context(base_url=served)
    tab = context.new_page()
    log_in(tab, "manager")
    context.clear_cookies(name=re.compile("^drybank-[0-9a-f]"))
    tab.goto(f"/s/{STORE}/book?kind=seal")
    assert "/log-in" in tab.url
    tab.fill("#handle", "manager")
    tab.fill("#password", "three quiet drums")
    tab.click("main button")
    tab.wait_for_url(re.compile(rf"/s/{STORE}/book\?kind=seal"))
    context.close()


def test_counter_sees_a_blind_count_and_no_way_to_what_is_expected(open_as):
    tab = settled(open_as("counter", phone=True), f"/s/{STORE}/cash")
    tabs = tab.locator("nav a").all_inner_texts()
    assert tabs == ["Cash"]
    assert "expected" not in tab.inner_text("body").lower()


def test_pages_work_without_script(chromium, served, states, open_as):
    open_as("ada")
    context = chromium.new_context(base_url=served, java_script_enabled=False, storage_state=states["ada"])
    tab = context.new_page()
    tab.goto(f"/s/{STORE}/?wait=1")
    assert tab.locator("main h1").inner_text() == "Today"
    context.close()
