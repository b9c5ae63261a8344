"""A phone in somebody's hand: the taps of a round, and what the book and the phone hold afterwards."""

import json
import re
import struct
import zlib
from datetime import timedelta

from tests.web.conftest import PASSWORD, STORE


def _png(side=48):
    """A small grey picture, written as the PNG specification has it (from memory): signature, IHDR, IDAT, IEND."""

    def part(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    rows = b"".join(b"\0" + bytes((x * y) % 256 for x in range(side)) for y in range(side))
    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", zlib.compress(rows)) + part(b"IEND", b"")


PNG = _png()


def moment():
    """The book's moment."""
    from drybank.web import site

    return site.now()


def tip():
    from drybank.web import site

    return site.book().head(STORE)[0]


def booked(by, since):
    """Entries of the store since a place in its chain, of one person or of all."""
    from drybank.web import site

    return [b.entry for b in site.book().chain(STORE) if b.seq > since and by in ("", b.entry.by)]


def _laid():
    from drybank.desk.standing import layout_at
    from drybank.web import site

    return layout_at(site.book(), STORE, moment())


def expected():
    """By device: lowest and highest that nobody asks about, and what it showed last. For the tests only."""
    from drybank.desk.second_look import plausible
    from drybank.web import site

    laid = _laid()
    last = {}
    for told in site.book().story(STORE, kinds=("reading",)):
        last |= {v.device: v.shown for v in told.body.values if v.shown is not None}
    spans = plausible(site.book(), laid, [*laid.meters, *laid.counters], (moment(), moment() + timedelta(hours=36)))
    return {d: (low, high, last[d]) for d, (low, high) in spans.items()}


def likely():
    """A figure for each device that nobody would ask about."""
    laid = _laid()
    sizes = {d: one.rolls_over_at for d, one in (*laid.meters.items(), *laid.counters.items())}
    out = dict.fromkeys(sizes, 0)
    for device, (low, high, _last) in expected().items():
        out[device] = (low + (high - low) // 3) % sizes[device]
    return out


class Hand:
    """One context, one page; every method ends on a settled screen."""

    def __init__(self, context, complaints):
        self.context = context
        self.tab = context.pages[0] if context.pages else context.new_page()
        self.tab.set_default_timeout(15_000)
        self.tab.clock.install(time=moment())
        self.tab.clock.resume()
        self.tab.on("pageerror", lambda bad: complaints.append(str(bad)))

    def log_in(self, handle):
        self.tab.goto("/log-in?next=/phone/")
        self.tab.fill("#handle", handle)
        self.tab.fill("#password", PASSWORD)
        self.tab.click("main button")
        self.tab.wait_for_url("**/phone/**")
        self.ready()
        self.tab.wait_for_function(  # until the phone has heard from the book who is there now
            """async handle => { const keep = await import(`/phone/files/${document.documentElement.dataset.mark}/keep.js`);
            return (await keep.fact("who")) === handle; }""",
            arg=handle,
            timeout=20_000,
        )
        return self

    def open(self):
        self.tab.goto("/phone/")
        return self.ready()

    def ready(self):
        self.tab.wait_for_selector("#waiting a")
        self.tab.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
        return self

    def go(self, where):
        self.tab.evaluate("where => { location.hash = where; }", where)
        self.tab.wait_for_function("where => location.hash.startsWith(where)", arg=where)
        self.tab.wait_for_timeout(120)
        return self

    def open_store(self):
        self.go(f"#/s/{STORE}")
        self.tab.wait_for_selector("h2:has-text('At any place'), h2:has-text('En cualquier sitio')")
        return self

    def lose_signal(self):
        self.context.set_offline(True)

    def find_signal(self, *, sends=True):
        """Back on the network; without ``sends`` this page keeps to itself, as if closed before it could send."""
        if not sends:
            self.tab.goto("about:blank")
        self.context.set_offline(False)

    def says(self):
        self.tab.wait_for_selector("#waiting a")
        return self.tab.inner_text("#waiting")

    def until_sent(self):
        """Until nothing waits on the phone, entry or photo, and the top of the screen says so (or what else there is)."""
        self.tab.evaluate("() => window.dispatchEvent(new Event('online'))")
        self.tab.wait_for_function(
            """async () => { const keep = await import(`/phone/files/${document.documentElement.dataset.mark}/keep.js`);
            const who = await keep.fact("who");
            const waiting = (await keep.queue(who)).filter(line => line.state === "waiting");
            return waiting.length === 0 && (await keep.photosOf(who)).length === 0; }""",
            timeout=30_000,
        )
        self.tab.wait_for_selector("#waiting a:text-matches('All sent|to look at|to mend')", timeout=20_000)

    # Taps

    def next(self):
        self.tab.click("#next")

    def fill(self, text):
        self.tab.wait_for_selector("#answer")
        self.tab.fill("#answer", text)
        self.next()

    def choose(self, words):
        self.tab.click(f"button.choice:has-text('{words}')")

    def begin(self, what):
        self.go(f"#/s/{STORE}/{what}")

    def heading(self, words):
        self.tab.wait_for_selector(f"h1:has-text('{words}')")

    def read(self, machine, *, bag=""):
        """Read every device of a machine at likely figures, empty its box into a bag where one is named."""
        figures, typed = likely(), {}
        self.begin(f"m/{machine}/read")
        for device in self.devices(machine):
            self.heading(device["name"])
            self.fill(self.text_of(device["key"], figures[device["key"]]))
            typed[device["key"]] = figures[device["key"]]
            self.tab.wait_for_function("name => document.querySelector('h1').textContent !== name", arg=device["name"])
        if self.tab.query_selector("h1:has-text('Empty the box now?')"):
            self.choose("Yes" if bag else "No")
            if bag:
                self.heading("Into which bag?")
                self.fill(bag)
        self.keep()
        return typed

    def keep(self):
        self.heading("Is this right?")
        self.next()
        self.tab.wait_for_selector("#flash :text('Kept on this phone.')")

    def answer(self, what, *typed):
        """A form of nothing but typed answers, from the first to the last."""
        self.begin(what)
        if self.tab.query_selector("button.choice:has-text('Another bag')"):
            self.choose("Another bag")
        for text in typed:
            before = self.tab.inner_text("h1")
            self.fill(text)
            self.tab.wait_for_function("before => document.querySelector('h1').textContent !== before", arg=before)
        self.keep()

    def complain(self, pocket, what, cost, *, words, back):
        self.begin("claim")
        self.fill(pocket)
        self.heading("What was wrong?")
        self.choose(what)
        self.heading("How much did it cost them?")
        self.fill(cost)
        self.heading("What did they say?")
        self.fill(words)
        self.heading("Do you give it back now?")
        self.choose(back)
        self.keep()

    def note(self, words, *, photo=False):
        self.begin("note")
        self.fill(words)
        self.heading("Photos")
        if photo:
            self.take_photo()
            self.tab.wait_for_selector(".photos img")
        self.next()
        self.keep()

    def take_photo(self):
        self.heading("Photos")
        self.tab.set_input_files("#answer", {"name": "photo.png", "mimeType": "image/png", "buffer": PNG})

    def empty(self, box, *, bag):
        self.begin("empty")
        self.tab.check(f"input[value='{box}']")
        self.next()
        self.heading("Into which bag?")
        self.fill(bag)
        self.heading("Were their counters read just before?")
        self.choose("No")
        self.heading("Who was with you?")
        self.next()
        self.keep()

    def time_a_start(self, machine, slot, pieces, seconds):
        """A start timed elsewhere and typed, with the technician's own coins."""
        self.begin(f"m/{machine}/time")
        if slot:
            self.heading("Which slot?")
            self.choose(slot)
        self.heading("How many pieces did you put in?")
        self.fill(pieces)
        self.heading("A start alone, or with a top-up?")
        self.choose("A start alone")
        self.heading("Time it")
        self.fill(seconds)
        self.heading("Were they your own coins")
        self.choose("Yes, test coins")
        self.keep()

    def watch(self, purchases):
        """Customers watched: so many came in, one left; each purchase (pocket, pieces)."""
        self.begin("watch")
        self.next()
        for _ in range(len(purchases) + 1):
            self.tab.click("[aria-label='One more: Customers came']")
        self.tab.click("[aria-label='One more: Left without drying']")
        for pocket, pieces in purchases:
            self.tab.click("text=Somebody starts a dryer")
            self.tab.fill("#answer", pocket)
            self.tab.fill("#pieces", pieces)
            self.next()
            self.heading("Watch customers")
        self.next()
        self.keep()

    # What there is

    def round(self):
        return self.tab.evaluate(
            """async store => { const keep = await import(`/phone/files/${document.documentElement.dataset.mark}/keep.js`);
            return (await keep.roundOf(await keep.fact("who"), store)).round; }""",
            STORE,
        )

    def devices(self, machine):
        return next(s["devices"] for s in self.round()["stops"] if s["machine"] == machine)

    def device_here(self):
        """The device that is asked for now, with a likely figure."""
        name = self.tab.inner_text("h1").strip()
        key = next(d["key"] for s in self.round()["stops"] for d in s["devices"] if d["name"] == name)
        return key, likely()[key]

    def text_of(self, device, figure):
        meter = _laid().meters.get(device)
        return f"{figure / 10:.1f}" if meter and meter.per_hour == 10 else str(figure)

    def steps_of(self, device, text):
        meter = _laid().meters.get(device)
        return round(float(text) * 10) if meter and meter.per_hour == 10 else int(text)

    def expected(self):
        return expected()

    def ends_of(self, device):
        return expected()[device][:2]

    def everything_stored(self):
        """All of IndexedDB, every cache and the small stores, as one text."""
        return self.tab.evaluate(
            """async () => {
            const out = [JSON.stringify({...localStorage}), JSON.stringify({...sessionStorage})];
            for (const name of await caches.keys()) {
                const cache = await caches.open(name);
                for (const request of await cache.keys()) {
                    const answer = await cache.match(request);
                    const kind = answer.headers.get("Content-Type") || "";
                    out.push(request.url, /image|font/.test(kind) ? "" : await answer.text());
                }
            }
            for (const { name } of await indexedDB.databases()) {
                const base = await new Promise(done => { const o = indexedDB.open(name); o.onsuccess = () => done(o.result); });
                for (const store of base.objectStoreNames) {
                    const all = base.transaction(store).objectStore(store);
                    const get = how => new Promise(done => { const r = all[how](); r.onsuccess = () => done(r.result); });
                    out.push(store, JSON.stringify(await get("getAllKeys")), JSON.stringify(await get("getAll")));
                }
                base.close();
            }
            return out.join("\\n"); }"""
        )

    @staticmethod
    def stores(text, number):
        """Whether a figure of more than three digits stands in a text as a number of its own, whole or with its point."""
        if number < 1000:
            return False
        forms = (str(number), f"{number / 10:.1f}", json.dumps(number / 10))
        return any(re.search(rf"(?<![\w.]){re.escape(form)}(?![\w.])", text) for form in forms)
