"""The phone round in Debian's Chromium: whole rounds without signal, every mishap on the way, each entry in the book once.

A phone is a browser context with its own storage; "no signal" is that context taken off the network.
"""

import os
import signal
import threading
from datetime import timedelta
from pathlib import Path

import pytest

from tests.web.conftest import STORE

from .conftest import CHROMIUM, FLAGS, PHONE
from .phone_hand import Hand, booked, moment, tip


@pytest.fixture
def phone(chromium, served):
    """``phone("collector")`` is a phone in that person's hand, logged in, installed, its clock the book's."""
    opened, complaints = [], []

    def made(handle, *, language="en", dark=False):
        context = chromium.new_context(
            viewport=PHONE, base_url=served, has_touch=True, locale=language, color_scheme="dark" if dark else "light",
            reduced_motion="reduce", timezone_id="America/Denver",
        )  # fmt: skip
        opened.append(context)
        return Hand(context, complaints).log_in(handle)

    yield made
    for context in opened:
        context.close()
    assert complaints == []


def test_a_whole_round_without_signal_reaches_the_book_once(phone):
    """Two machines read, two boxes into one bag, a hand-over, a complaint with its refund, a note with a photo: 8 entries."""
    hand, since = phone("owner"), tip()
    hand.open_store()
    hand.lose_signal()
    hand.tab.goto("/phone/")  # opened anew without signal
    hand.read("1", bag="N7")
    hand.read("4", bag="N7")
    hand.answer("hand-over", "N7", "4471", "Tobin")
    hand.complain(
        "1", "Took money, gave no time", "1.50", words="It took six coins and nothing happened.", back="In cash"
    )
    hand.note("Lint behind 3", photo=True)
    assert hand.says().startswith("8 waiting, oldest ")
    assert tip() == since
    hand.find_signal()
    hand.until_sent()
    kinds = sorted(e.kind for e in booked("owner", since))
    assert kinds == [
        "claim",
        "collection",
        "collection",
        "hand-over",
        "note",
        "reading",
        "reading",
        "refund",
    ]
    claim = next(e for e in booked("owner", since) if e.kind == "claim").body
    refund = next(e for e in booked("owner", since) if e.kind == "refund").body
    assert (claim.minor, refund.minor, refund.paid_by) == (150, 150, "cash")
    from drybank.web import site

    assert site.book().kept(claim.kept[0].sha256).decode() == "It took six coins and nothing happened."
    photo = next(e for e in booked("owner", since) if e.kind == "note").body.kept[0]
    assert site.book().kept(photo.sha256).startswith(b"\xff\xd8\xff")
    hand.tab.reload()
    hand.until_sent()
    assert len(booked("owner", since)) == 8


def test_readings_are_the_figures_that_were_typed(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    typed = hand.read("4")
    hand.until_sent()
    body = booked("collector", since)[0].body
    assert {v.device: v.shown for v in body.values} == typed
    errors = hand.context.new_cdp_session(hand.tab).send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert {e["errorId"] for e in errors} <= {
        "in-incognito"
    }  # as every context of these tests is; else the page installs


@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="finds the browser's processes in /proc")
def test_a_browser_killed_after_sending_and_before_the_answer_books_every_entry_once(
    chromium, served, tmp_path, monkeypatch
):
    from drybank.web.api.calls import entries as call

    taken, gate = threading.Event(), threading.Event()
    real = call.receive

    def slow(*given, **more):
        made = real(*given, **more)
        taken.set()
        gate.wait(20)
        return made

    def launch(playwright=chromium.browser_type):
        return playwright.launch_persistent_context(
            str(tmp_path / "phone"), executable_path=CHROMIUM, args=FLAGS, viewport=PHONE, base_url=served, locale="en",
            timezone_id="America/Denver",
        )  # fmt: skip

    complaints, since = [], tip()
    first = Hand(launch(), complaints).log_in("collector")
    first.open_store()
    first.lose_signal()
    for words in ("one", "two", "three"):
        first.note(words)
    monkeypatch.setattr(call, "receive", slow)
    first.find_signal()
    assert taken.wait(15)
    kill_browser(str(tmp_path / "phone"))
    gate.set()
    monkeypatch.setattr(call, "receive", real)
    again = Hand(launch(), complaints)
    again.log_in("collector")  # the cookie may not have been on the disk yet; the entries were
    again.until_sent()
    again.context.close()
    assert sorted(e.body.says for e in booked("collector", since)) == ["one", "three", "two"]


def kill_browser(folder):
    """SIGKILL to every process of the one browser that was started on this folder."""
    for proc in Path("/proc").iterdir():
        if proc.name.isdigit():
            try:
                if folder.encode() in (proc / "cmdline").read_bytes():
                    os.kill(int(proc.name), signal.SIGKILL)
            except (OSError, ProcessLookupError):
                continue


def test_an_ended_session_keeps_everything_until_the_next_log_in(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    hand.lose_signal()
    hand.note("before the end")
    session = [c for c in hand.context.cookies() if c["name"].startswith("drybank-") and "form" not in c["name"]]
    hand.context.clear_cookies()
    assert session
    hand.find_signal()
    hand.tab.wait_for_selector("#waiting a:has-text('Log in')")
    assert booked("collector", since) == []
    hand.log_in("collector")
    hand.until_sent()
    assert [e.body.says for e in booked("collector", since)] == ["before the end"]


def test_two_phones_on_one_store_both_arrive_and_the_later_hears_of_the_other(phone):
    first, second, since = phone("collector"), phone("manager"), tip()
    for hand in (first, second):
        hand.open_store()
        hand.lose_signal()
    first.read("7")
    second.read("7")
    first.find_signal()
    first.until_sent()
    second.find_signal()
    second.until_sent()
    assert [(e.kind, e.by) for e in booked("", since)] == [("reading", "collector"), ("reading", "manager")]
    assert second.says() == "1 to look at"
    second.go("#/waiting")
    second.tab.wait_for_selector("h2:has-text('To look at')")
    assert "read 7" in second.tab.inner_text("main")


def test_two_people_on_one_phone_never_send_or_see_each_others(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    hand.lose_signal()
    hand.note("written by the collector")
    hand.find_signal(sends=False)
    hand.context.clear_cookies()
    hand.log_in("manager")
    hand.go("#/waiting")
    assert "Everything has reached the book." in hand.tab.inner_text("main")
    hand.go("#/phone")
    assert "Entries of somebody else wait on this phone." in hand.tab.inner_text("main")
    hand.open_store()
    hand.note("written by the manager")
    hand.until_sent()
    assert [(e.by, e.body.says) for e in booked("", since)] == [("manager", "written by the manager")]
    hand.context.clear_cookies()
    hand.log_in("collector")
    hand.until_sent()
    assert [(e.by, e.body.says) for e in booked("", since)][1:] == [("collector", "written by the collector")]


def test_a_full_phone_says_so_before_anything_is_lost(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    hand.begin("note")
    hand.fill("kept through a full disk")
    hand.tab.evaluate("navigator.storage.estimate = async () => ({quota: 5e8, usage: 4.99e8})")
    hand.take_photo()
    hand.tab.wait_for_selector("text=nearly full: the photo was not taken in")
    hand.next()
    hand.tab.wait_for_selector("text=Is this right?")
    hand.tab.evaluate("""() => { window.put = IDBObjectStore.prototype.add;
        IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); }; }""")
    hand.next()
    hand.tab.wait_for_selector("text=nothing was kept, and nothing is lost")
    assert booked("collector", since) == []
    hand.tab.evaluate("() => { IDBObjectStore.prototype.add = window.put; }")
    hand.keep()
    hand.until_sent()
    assert [e.body.says for e in booked("collector", since)] == ["kept through a full disk"]


def test_a_swapped_digit_is_asked_for_again_and_the_range_is_nowhere_on_a_collectors_phone(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    hand.lose_signal()
    hand.begin("m/8/read")
    device, figure = hand.device_here()
    text = hand.text_of(device, figure)
    wrong = swapped(text)
    hand.fill(wrong)
    hand.tab.wait_for_selector("text=Read it again, digit by digit.")
    assert hand.tab.input_value("#answer") == ""
    told = hand.tab.inner_text("body")
    assert not any(str(n) in told for n in hand.ends_of(device))
    hand.fill(text)
    hand.tab.wait_for_function("() => !document.querySelector('#answer')")
    there = hand.everything_stored()
    assert len(there) > 10_000
    for key, (low, high, last) in hand.expected().items():
        for number in (low, high, last):
            assert not hand.stores(there, number), f"{key}: {number} is on the phone"
    assert booked("collector", since) == []


def swapped(text):
    """Two neighbouring digits the other way round, the first pair that differs by most."""
    pairs = [i for i in range(len(text) - 1) if text[i].isdigit() and text[i + 1].isdigit() and text[i] != text[i + 1]]
    at = pairs[0]
    return text[:at] + text[at + 1] + text[at] + text[at + 2 :]


def test_the_same_unlikely_figure_twice_is_taken_as_read(phone):
    hand, since = phone("technician"), tip()
    hand.open_store()
    hand.begin("m/8/read")
    device, figure = hand.device_here()
    wrong = swapped(hand.text_of(device, figure))
    hand.fill(wrong)
    hand.tab.wait_for_selector("text=Read it again, digit by digit.")
    hand.fill(wrong)
    hand.keep()
    hand.until_sent()
    (value,) = booked("technician", since)[0].body.values
    assert value.shown == hand.steps_of(device, wrong)


def test_a_refused_entry_is_said_plainly_and_mended_under_a_new_id(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    hand.empty("box 1", bag="R1")
    hand.answer("hand-over", "R1", "88", "Tobin")
    hand.until_sent()
    hand.empty("box 2", bag="R1")
    hand.tab.wait_for_selector("#waiting a:has-text('1 to mend')")
    hand.go("#/waiting")
    assert "Bag R1 is still on its way." in hand.tab.inner_text("main")
    hand.tab.click("text=Correct it")
    hand.tab.wait_for_selector("h1:has-text('Is this right?')")
    hand.tab.click("[aria-label='Change: Bag']")
    hand.fill("R2")
    hand.keep()
    hand.until_sent()
    assert [(e.body.boxes, e.body.bag) for e in booked("collector", since) if e.kind == "collection"] == [
        (("box 1",), "R1"),
        (("box 2",), "R2"),
    ]


def test_a_refused_entry_is_given_up_with_a_reason_that_stays(phone):
    hand, since = phone("collector"), tip()
    hand.open_store()
    hand.answer("hand-over", "no such bag", "12", "Tobin")
    hand.tab.wait_for_selector("#waiting a:has-text('1 to mend')")
    hand.go("#/waiting")
    assert "No collection or count names bag" in hand.tab.inner_text("main")
    hand.tab.click("text=Give it up")
    hand.fill("entered by somebody else")
    hand.tab.wait_for_selector("h1:has-text('On this phone')")
    assert "Dropped: entered by somebody else" in hand.tab.inner_text("main")
    assert "Everything has reached the book." in hand.tab.inner_text("main")
    assert booked("collector", since) == []


def test_logging_out_asks_first_where_entries_wait_and_takes_the_round_along(phone):
    hand = phone("collector")
    hand.open_store()
    hand.lose_signal()
    hand.note("still here")
    hand.go("#/phone")
    hand.tab.click("text=Log out")
    hand.tab.wait_for_selector("h1:has-text('Still waiting here: 1')")
    hand.tab.click("text=Log out all the same")
    hand.tab.wait_for_selector("text=Log in once with signal")
    stored = hand.everything_stored()
    assert '"cautions_on":' not in stored
    assert "still here" in stored
    hand.find_signal(sends=False)


def test_a_setting_is_read_back_before_it_is_kept(phone):
    from drybank.desk import change_day
    from drybank.desk.stamp import Pen
    from drybank.web import site

    change_day.begin(site.book(), STORE, "stable", Pen(by="ada", clock=site.now), texts=["cool-down time=4 min"])
    hand, since = phone("technician"), tip()
    hand.open_store()
    hand.lose_signal()
    hand.go(f"#/s/{STORE}/day/stable/down")
    hand.choose("Yes")
    hand.keep()
    hand.go(f"#/s/{STORE}/m/5/set/5")
    hand.tab.click("#next:has-text('It is off and locked')")
    hand.tab.click(".acts button:has-text('It shows')")
    hand.fill("2.5")
    hand.tab.wait_for_selector("text=It should show 4 min.")
    hand.fill("4")
    hand.tab.wait_for_selector("h1:has-text('Is this right?')")
    hand.next()
    hand.tab.wait_for_selector("text=3 of 4 controls still to set.")
    hand.find_signal()
    hand.until_sent()
    changes = booked("technician", since)
    assert [e.kind for e in changes] == ["setting change", "setting change", "sheet read back"]
    assert changes[1].body.is_read_back
    assert changes[1].body.change_day
    there = change_day.status(site.book(), STORE, "stable", moment() + timedelta(hours=1))
    assert there.is_old_sign_down
    assert [c.state for c in there.controls if c.control == "5"] == ["done"]


def test_the_other_forms_are_taken_by_the_book_as_they_are_made(phone):
    """Jobs, a timed start with its test coins, a pocket out of service, customers watched, a bag weighed: 6 kinds."""
    hand, since = phone("owner"), tip()
    hand.open_store()
    hand.lose_signal()
    hand.begin("m/1/jobs")
    while not hand.tab.query_selector("h1:has-text('Done, as you say?')"):
        for box in hand.tab.query_selector_all("main input[type=checkbox]")[:1]:
            box.check()
        before = hand.tab.inner_text(".where")
        hand.next()
        hand.tab.wait_for_function("before => document.querySelector('.where').innerText !== before", arg=before)
    hand.next()
    hand.tab.wait_for_selector("#flash :text('Kept on this phone.')")
    hand.time_a_start("1", "near slot", "6", "1500.5")
    hand.begin("m/1/outage")
    hand.fill("1")
    hand.choose("Out of service from now")
    hand.heading("Why?")
    hand.fill("waits for the gas trade")
    hand.keep()
    hand.watch([("2", "4"), ("3", "6")])
    hand.begin("count")
    hand.choose("A")
    hand.heading("The number on the bag?")
    hand.fill("W9")
    hand.choose("By weight")
    hand.heading("Which coin is in it?")
    hand.choose("25 c")
    hand.heading("What does it weigh?")
    hand.fill("567")
    for _ in range(2):  # foreign pieces, who counted with you
        before = hand.tab.inner_text("h1")
        hand.next()
        hand.tab.wait_for_function("before => document.querySelector('h1').innerText !== before", arg=before)
    hand.keep()
    hand.find_signal()
    hand.until_sent()
    made = {e.kind: e.body for e in booked("owner", since)}
    assert sorted(made) == ["count", "outage", "proof", "reading", "service", "watch"]
    assert made["proof"].measured["ran s"] == 1500.5
    assert made["proof"].verdict in ("pass", "fail")  # judged by the desk
    assert (made["reading"].test_pieces[0].count, made["reading"].test_input) == (6, "1.near")
    assert made["watch"].first_pieces == (4, 6)
    assert (made["watch"].customers, made["watch"].loads, made["watch"].walked_out) == (3, 2, 1)
    assert (
        100 <= made["count"].pieces[0].count <= 101
    )  # 567 g of quarters of 5.67 g (US Mint, from memory), wear taken off


def test_a_newer_version_is_offered_and_taken_whole(phone, monkeypatch):
    from drybank.web.views import phone as page

    hand = phone("collector")
    old = hand.tab.evaluate("document.documentElement.dataset.mark")
    real = page._files
    monkeypatch.setattr(page, "_files", lambda: real() | {"newer.js": b"// one file more"})
    made = (page.standing, page._worker, page._manifest)
    for one in made:
        one.cache_clear()
    try:
        hand.tab.reload()
        hand.tab.click("text=Take it now")
        hand.tab.wait_for_function("old => document.documentElement.dataset.mark !== old", arg=old)
        assert hand.tab.evaluate("caches.keys()") == [f"drybank-phone-{page.standing()[0]}"]
    finally:
        monkeypatch.undo()
        for one in made:
            one.cache_clear()
