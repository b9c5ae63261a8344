"""The one way in: every kind against the terminal's own rules, what others did meanwhile, what is asked again, senders at once.

The book is the demo town's first store with its sheet, as everywhere in this room.
"""

import json
import os
import threading
import time
from datetime import UTC, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drybank.desk import cash
from drybank.desk.intake import MOST_AT_ONCE, receive
from drybank.desk.intake_checks import _CHECKS
from drybank.desk.setting import shown_value
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.records.entry import KINDS, Corrected, Entry, Noted
from drybank.records.errors import InputError, Missing
from drybank.records.ids import uuid7

from .conftest import STORE

ALL = frozenset(KINDS)


def made(pen, body, *, ago=timedelta(hours=1), **more):
    moment = pen.clock() - ago
    return {
        "id": uuid7(int(moment.timestamp() * 1000), os.urandom(10)),
        "happened": moment.isoformat(),
        "body": body,
        **more,
    }


def send(book, pen, *bodies, kinds=ALL, **how):
    entries = [b if "body" in b else made(pen, b) for b in bodies]
    return receive(book, STORE, [json.dumps(e).encode() for e in entries], pen, kinds=kinds, **how)


def one(book, pen, body, **how):
    return send(book, pen, body, **how)[0]


@pytest.fixture
def other(clock):
    return Pen(by="ben", origin="phone of ben", clock=clock)


READ = {"kind": "reading", "values": [{"device": "1.near", "shown": 40}]}
GOOD = {
    "reading": READ,
    "collection": {"kind": "collection", "boxes": ["box 1+2"], "bag": "A1", "is_after_reading": True},
    "count": {"kind": "count", "boxes": ["box 1+2"], "pieces": [{"piece_minor": 25, "count": 640}], "foreign": 2},
    "refund": {"kind": "refund", "pocket": "3", "minor": 150, "why": "no heat"},
    "claim": {"kind": "claim", "pocket": "3", "what": "not hot"},
    "offer": {"kind": "offer", "bank": "long wall", "starts": "2026-05-03T08:00:00Z", "ends": "2026-05-03T12:00:00Z", "minutes_given": 10},
    "house use": {"kind": "house use", "pocket": "3", "seconds": 1800},
    "setting change": {"kind": "setting change", "control": "1", "bank": "long wall", "left": [{"setting": "lamp", "value": 55}]},
    "replacement": {"kind": "replacement", "part": "counter", "at": "1.near", "first": [{"device": "1.near", "shown": 0}]},
    "sheet read back": {"kind": "sheet read back", "sheet": "alder", "revision": "1", "control": "1", "agreed": ["lamp"]},
    "watch": {"kind": "watch", "starts": "2026-05-04T08:00:00Z", "ends": "2026-05-04T10:00:00Z", "customers": 4, "pocket_loads": [["1", 2]]},
    "service": {"kind": "service", "at": "1", "tasks": ["belt"], "minutes": 20},
    "outage": {"kind": "outage", "pocket": "1", "why": "belt torn"},
    "finding outcome": {"kind": "finding outcome", "finding": "x", "outcome": "open"},
    "note": {"kind": "note", "says": "Lint in the duct.", "at": "1"},
    "payout": {"kind": "payout", "account": "town card", "period_from": "2026-04-01", "period_to": "2026-04-07", "gross_minor": 5000},
    "proof": {"kind": "proof", "test": "my own", "at": "1", "measured": {"degrees": 70.0}, "verdict": "no tolerance"},
}  # fmt: skip


@pytest.mark.parametrize("kind", GOOD)
def test_every_kind_is_booked_as_it_was_sent(book, pen, kind):
    answer = one(book, pen, GOOD[kind])
    assert (answer.said, answer.why) == ("stored", "")
    from msgspec import json as strict

    body = json.loads(strict.encode(book.find(answer.id).entry.body))
    whole = [k for k, v in GOOD[kind].items() if not (isinstance(v, list) and v and isinstance(v[0], dict))]
    assert {k: body[k] for k in whole} == {k: GOOD[kind][k] for k in whole}


def test_every_kind_has_a_check_or_is_made_elsewhere():
    sent = {cls.__struct_config__.tag for cls in _CHECKS}
    assert sent | {"store version", "sheet version", "adopted plan", "waiver", "close", "seal", "learned value"} == ALL
    assert set(GOOD) | {"hand-over", "deposit", "correction"} == sent


BAD = [
    ("no meter or counter “99.near”", {**READ, "values": [{"device": "99.near", "shown": 1}]}),
    ("starts again before 100,000", {**READ, "values": [{"device": "1.near", "shown": 100_000}]}),
    ("given twice", {**READ, "values": [{"device": "1.near", "shown": 1}, {"device": "1.near", "shown": 2}]}),
    ("was not read", {**READ, "values": [{"device": "1.near", "shown": None}]}),
    ("needs a meter", {"kind": "reading", "values": []}),
    ("no input “x”", {**READ, "test_input": "x"}),
    ("no box “box 99”", {"kind": "collection", "boxes": ["box 99"]}),
    ("No box", {"kind": "collection", "boxes": []}),
    ("no piece worth 7", {**GOOD["count"], "pieces": [{"piece_minor": 7, "count": 1}]}),
    ("bag or boxes", {"kind": "count", "pieces": [{"piece_minor": 25, "count": 1}]}),
    ("less than nothing", {"kind": "count", "boxes": ["box 1+2"], "minor": -1}),
    ("Grams", {**GOOD["count"], "weight_g": -5.0}),
    ("no collection", {**GOOD["count"], "collection": "nothing"}),
    ("names bag “Z9”", {"kind": "hand-over", "bag": "Z9", "to": "ann"}),
    ("names bag “Z9”", {"kind": "deposit", "bags": ["Z9"], "minor": 100}),
    ("needs bags", {"kind": "deposit", "bags": [], "minor": 100}),
    ("no pocket “77”", {"kind": "refund", "pocket": "77", "minor": 100}),
    ("more than nothing", {"kind": "refund", "pocket": "3", "minor": 0}),
    ("dryer", {"kind": "refund", "pocket": "3", "minor": 10**7}),
    ("no pocket", {"kind": "claim", "pocket": "", "what": "other"} | {"pocket": "x"}),
    ("no bank", {**GOOD["offer"], "bank": "x"}),
    ("ends before", {**GOOD["offer"], "ends": "2026-05-03T07:00:00Z"}),
    ("time or pieces", {"kind": "house use", "pocket": "3"}),
    ("no control “99”", {**GOOD["setting change"], "control": "99", "bank": ""}),
    ("no setting “x”", {**GOOD["setting change"], "left": [{"setting": "x", "value": 1}]}),
    ("cannot hold 9999", {**GOOD["setting change"], "left": [{"setting": "lamp", "value": 9999}]}),
    ("belongs to bank", {**GOOD["setting change"], "bank": "back room"}),
    ("Nothing was found", {"kind": "setting change", "control": "1"}),
    ("belongs to a control", {"kind": "setting change"}),
    ("belongs to a bank", {"kind": "setting change", "sign": "new up"}),
    ("no pocket, control", {**GOOD["replacement"], "at": "x"}),
    ("no sheet", {**GOOD["sheet read back"], "sheet": "oak"}),
    ("no setting", {**GOOD["sheet read back"], "agreed": ["x"]}),
    ("after it starts", {**GOOD["watch"], "ends": "2026-05-04T07:00:00Z"}),
    ("after it starts", {**GOOD["watch"], "ends": "2026-05-06T08:00:00Z"}),
    ("no task", {**GOOD["service"], "tasks": ["x"]}),
    ("no pocket or machine", {**GOOD["service"], "at": "x"}),
    ("says nothing", {"kind": "note", "says": " "}),
    ("no account", {**GOOD["payout"], "account": "x"}),
    ("ends before it begins", {**GOOD["payout"], "period_to": "2026-03-01"}),
    ("not a date", {**GOOD["payout"], "period_to": "soon"}),
    ("No tolerance", {**GOOD["proof"], "verdict": "pass"}),
    ("no place", {**GOOD["proof"], "at": "x"}),
    ("no entry", {"kind": "no kind"}),
    ("no entry", {"kind": "note", "says": "x", "more": 1}),
    ("no entry", {**READ, "values": [{"device": "1.near", "shown": -1}]}),
]  # fmt: skip


@pytest.mark.parametrize(("word", "body"), BAD, ids=[f"{b['kind']}: {w}" for w, b in BAD])
def test_what_cannot_be_is_refused_with_its_sentence_and_nothing_is_stored(book, pen, word, body):
    before = book.head(STORE)
    answer = one(book, pen, body)
    assert answer.said == "refused"
    assert word.lower() in f"{answer.why} {answer.mend}".lower()
    assert book.head(STORE) == before


def sentence_of(work):
    with pytest.raises((InputError, Missing)) as bad:
        work()
    return bad.value.sentence()


class TestAsTheTerminal:
    """The same slip, the same words: what the terminal says of it is what the phone gets."""

    def test_a_reading(self, book, pen):
        laid = layout_at(book, STORE, pen.clock())
        said = sentence_of(lambda: shown_value(laid, "1.nearly", "40"))
        assert one(book, pen, {**READ, "values": [{"device": "1.nearly", "shown": 40}]}).why == said

    def test_a_bag_still_on_its_way(self, book, pen):
        assert one(book, pen, GOOD["collection"]).said == "stored"
        counted = made(pen, {"kind": "count", "bag": "A1", "minor": 100}, ago=timedelta(minutes=10))
        assert one(book, pen, counted).said == "stored"
        said = sentence_of(lambda: cash.collect(book, STORE, ["box 3+4"], pen, bag="A1"))
        answer = one(book, pen, made(pen, {**GOOD["collection"], "boxes": ["box 3+4"]}, ago=timedelta(minutes=1)))
        assert f"{answer.why} {answer.mend}" == said

    def test_a_piece_this_store_does_not_take(self, book, pen):
        count = cash.CountSaid(boxes=("box 1+2",), pieces=("7x1",))
        said = sentence_of(lambda: cash.count(book, STORE, count, pen))
        answer = one(book, pen, {**GOOD["count"], "pieces": [{"piece_minor": 7, "count": 1}]})
        assert f"{answer.why} {answer.mend}" == said

    def test_a_collector_who_counts_alone_where_two_are_asked(self, book, pen):
        """Shown on a copy of the store's description that asks for two."""
        from msgspec.structs import replace

        from drybank.records.entry import StoreDated
        from drybank.records.store import Counting

        store = replace(book.store_at(STORE, pen.clock()), counting=Counting(asks_two=True))
        book.append([pen.entry(STORE, StoreDated(store=store, from_date="2026-05-01"))])
        assert one(book, pen, GOOD["collection"]).said == "stored"
        alone = {**GOOD["count"], "boxes": [], "bag": "A1"}
        said = sentence_of(lambda: cash.count(book, STORE, cash.CountSaid(bag="A1", pieces=("25x1",)), pen))
        answer = one(book, pen, alone)
        assert answer.why in said
        assert one(book, pen, {**alone, "with_second": "Tech"}).said == "refused", "the second is the first"
        assert one(book, pen, {**alone, "bag": "", "boxes": ["box 1+2"]}).said == "refused"
        assert one(book, pen, {**alone, "with_second": "ann"}).said == "stored"


class TestAlong:
    def test_a_later_entry_leans_on_an_earlier_one_of_the_same_sending(self, book, pen):
        bag = made(pen, GOOD["collection"], ago=timedelta(minutes=30))
        counted = made(
            pen, {"kind": "count", "bag": "A1", "minor": 16_000, "collection": bag["id"]}, ago=timedelta(minutes=20)
        )
        handed = made(pen, {"kind": "hand-over", "bag": "A1", "to": "ann"}, ago=timedelta(minutes=10))
        paid = made(pen, {"kind": "deposit", "bags": ["A1"], "minor": 16_000}, ago=timedelta(minutes=5))
        assert [a.said for a in send(book, pen, bag, counted, handed, paid)] == ["stored"] * 4
        again = made(pen, GOOD["collection"], ago=timedelta(minutes=1))
        assert one(book, pen, again).said == "stored", "the bag came back empty"

    def test_what_leans_on_a_refused_one_is_refused_too_and_nothing_else(self, book, pen):
        bad = made(pen, {**GOOD["collection"], "boxes": ["box 99"]})
        counted = made(pen, {"kind": "count", "bag": "A1", "minor": 1, "collection": bad["id"]})
        assert [a.said for a in send(book, pen, bad, counted, GOOD["note"])] == ["refused", "refused", "stored"]

    def test_a_key_is_handed_over_without_a_bag(self, book, pen):
        assert one(book, pen, {"kind": "hand-over", "bag": "key 3", "to": "ann"}).said == "stored"


class TestCorrection:
    @pytest.fixture
    def first(self, book, pen):
        return one(book, pen, READ).id

    def correction(self, first, body, **more):
        return {"kind": "correction", "corrects": first, "reason": "a digit slipped", "instead": body, **more}

    def test_is_held_to_the_same_rules(self, book, pen, first):
        good = {**READ, "values": [{"device": "1.near", "shown": 41}]}
        bad = {**READ, "values": [{"device": "99.near", "shown": 41}]}
        assert one(book, pen, self.correction(first, bad)).said == "refused"
        assert one(book, pen, self.correction(first, good)).said == "stored"
        assert book.story(STORE, kinds=("reading",))[0].body.values[0].shown == 41

    def test_what_follows_it_sees_the_book_corrected(self, book, pen, first):
        assert one(book, pen, {**self.correction(first, None)}).said == "stored"
        assert one(book, pen, GOOD["collection"]).said == "stored"
        assert book.story(STORE, kinds=("reading",)) == []

    def test_another_kind_another_store_s_and_an_unknown_entry_are_refused(self, book, pen, first):
        assert one(book, pen, self.correction(first, GOOD["note"])).said == "refused"
        assert one(book, pen, self.correction("nothing", READ)).said == "refused"
        assert one(book, pen, self.correction(first, None, reason=".."))
        assert one(book, pen, self.correction(first, {**GOOD["outage"]})).said == "refused"


class TestOthersMeanwhile:
    def test_a_setting_changed_on_another_phone_is_said_and_both_are_kept(self, book, pen, other):
        assert one(book, other, made(pen, GOOD["setting change"], ago=timedelta(minutes=30))).note == ""
        before = one(
            book,
            pen,
            made(pen, {**GOOD["setting change"], "left": [{"setting": "lamp", "value": 70}]}, ago=timedelta(hours=1)),
        )
        after = one(
            book,
            pen,
            made(pen, {**GOOD["setting change"], "left": [{"setting": "lamp", "value": 85}]}, ago=timedelta(minutes=2)),
        )
        assert "ben set control 1 too" in before.note
        assert "that stands as the last" in before.note
        assert "this stands as the last" in after.note
        assert book.settings_at(STORE, pen.clock())["1"]["lamp"] == 85

    def test_a_box_emptied_twice_asks_whether_it_was_once(self, book, pen, other):
        one(book, other, {"kind": "collection", "boxes": ["box 1+2", "box 3+4"]})
        answer = one(book, pen, {"kind": "collection", "boxes": ["box 1+2"]})
        assert (answer.said, "ben emptied box 1+2 too" in answer.note) == ("stored", True)
        assert "same emptying" in answer.note

    def test_what_the_phone_knew_already_is_no_news(self, book, pen, other):
        one(book, other, READ)
        assert "ben read 1.near" in one(book, pen, READ).note
        assert one(book, pen, READ, since=pen.clock()).note == ""

    def test_one_s_own_earlier_work_is_no_conflict(self, book, pen):
        one(book, pen, READ)
        assert one(book, pen, READ).note == ""


class TestAskedAgain:
    @pytest.fixture
    def years(self, book, pen):
        """A counter read every other day, forty pieces or so each time."""
        for turn in range(12, 0, -1):
            body = {**READ, "values": [{"device": "1.near", "shown": 40 * (13 - turn) + turn % 3}]}
            assert one(book, pen, made(pen, body, ago=timedelta(days=2 * turn)), asks=False).said == "stored"

    def test_an_unlikely_reading_is_not_stored_until_it_was_read_twice(self, book, pen, years):
        slip = made(pen, {**READ, "values": [{"device": "1.near", "shown": 5290}]})
        answer = one(book, pen, slip)
        assert answer.said == "ask"
        assert "1.near" in answer.why
        assert not any(figure in answer.why + answer.mend for figure in ("520", "521", "519", "480", "40 "))
        assert one(book, pen, {**slip, "sure": ["1.near"]}).said == "stored"

    def test_a_likely_one_is_not_asked_about(self, book, pen, years):
        assert one(book, pen, {**READ, "values": [{"device": "1.near", "shown": 521}]}).said == "stored"

    def test_who_collects_or_counts_is_never_asked(self, book, pen, years):
        """The asking would tell how much is plausible, and with it what should be in the box."""
        answers = [
            one(book, pen, {**READ, "values": [{"device": "1.near", "shown": n}]}, asks=False)
            for n in (521, 5290, 90_000)
        ]
        assert {(a.said, a.note, a.why) for a in answers} == {("stored", "", "")}


class TestManySenders:
    def test_sendings_at_once_are_booked_together_and_each_gets_its_own_answers(self, book, pen, clock):
        pens = [Pen(by=f"p{n}", origin=f"phone {n}", clock=clock) for n in range(8)]
        load = [[made(pen, GOOD["note"]) for _ in range(10)] for _ in pens]
        load[3][4]["body"] = {"kind": "note", "says": ""}
        load[5][:5] = load[2][:5]
        answers, gate = [None] * 8, threading.Barrier(8)

        def go(n):
            from django.db import connections

            gate.wait()
            answers[n] = send(book, pens[n], *load[n])
            connections.close_all()

        threads = [threading.Thread(target=go, args=(n,)) for n in range(8)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        assert [[a.id for a in mine] for mine in answers] == [[e["id"] for e in mine] for mine in load]
        said = [[a.said for a in mine] for mine in answers]
        assert said[3][4] == "refused"
        pair = [said[2][n] + said[5][n] for n in range(5)]
        assert set(pair) <= {"storedalready", "alreadystored"}
        ids = [b.entry.id for b in book.chain(STORE)]
        sent = {e["id"] for mine in load for e in mine} - {load[3][4]["id"]}
        assert (len(ids), sent <= set(ids)) == (len(set(ids)), True)
        assert book.verify(STORE).is_whole

    def test_a_book_that_cannot_be_written_is_said_and_the_next_sending_stands(self, book, pen, monkeypatch):
        from drybank.book.rows import Rows
        from drybank.records.errors import BookError

        entry = made(pen, GOOD["note"])
        with monkeypatch.context() as full:
            full.setattr(Rows, "write", lambda *_: (_ for _ in ()).throw(BookError("The disk is full.")))
            with pytest.raises(BookError, match="full"):
                one(book, pen, entry)
        assert one(book, pen, entry).said == "stored"

    def test_what_another_program_added_is_seen(self, book, book_path, clock, pen, other):
        from drybank.book import open_book

        one(book, pen, GOOD["note"])
        with open_book(book_path, clock=clock) as elsewhere:
            elsewhere.append([other.entry(STORE, Noted(says="from another program"))])
            cash.collect(elsewhere, STORE, ["box 1+2"], other, bag="A1")
            cash.count(elsewhere, STORE, cash.CountSaid(bag="A1", value="1.00"), other)
        assert one(book, pen, made(pen, GOOD["collection"], ago=timedelta(0))).said == "refused"


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=150, suppress_health_check=list(HealthCheck), deadline=None)
@given(data=st.data())
def test_any_entry_bent_anywhere_is_answered_in_words(made_book_open, data):
    """A good entry with one field replaced by anything, or anything at all: an answer each, never a fault, never slow."""
    book, pen = made_book_open
    entry = made(pen, json.loads(json.dumps(data.draw(st.sampled_from([*GOOD.values()])))))
    where = data.draw(
        st.sampled_from(
            ["id", "happened", "body", "store", "by", "sure", "beside", *(f"body.{k}" for k in entry["body"])]
        )
    )
    target = entry["body"] if where.startswith("body.") else entry
    target[where.removeprefix("body.")] = data.draw(json_values)
    raw = [json.dumps(entry).encode(), json.dumps(data.draw(json_values)).encode(), data.draw(st.binary(max_size=40))]
    begun = time.perf_counter()
    answers = receive(book, STORE, raw, pen, kinds=ALL)
    assert time.perf_counter() - begun < 2
    assert len(answers) == 3
    assert all(a.said in ("stored", "refused", "ask") for a in answers)
    assert all(a.why for a in answers if a.said != "stored")


@pytest.fixture(scope="module")
def made_book_open(made_book, tmp_path_factory):
    import shutil

    from drybank.book import open_book

    from .conftest import Clock

    clock = Clock()
    path = shutil.copy(made_book, tmp_path_factory.mktemp("bent") / "desk.book")
    with open_book(path, clock=clock) as book:
        yield book, Pen(by="tech", origin="phone", clock=clock)


@pytest.mark.parametrize("raw", [
    b'{"entries":' + b"[" * 500_000, b'"' + b"x" * 1_000_000, b'{"id":"' + b"\\u0000" * 150_000 + b'"}',
    b'{"body":{"kind":"note","says":"' + b"y" * 1_000_000 + b'"}}', b"[" + b"1," * 400_000 + b"1]",
    b'{"body":{"kind":"reading","values":[' + b'{"device":"1.near","shown":1},' * 30_000 + b'{"device":"1.near","shown":1}]}}',
])  # fmt: skip
def test_a_megabyte_of_anything_is_answered_within_two_seconds(book, pen, raw):
    begun = time.perf_counter()
    answers = receive(book, STORE, [raw], pen, kinds=ALL)
    assert answers[0].said == "refused"
    assert len(answers[0].why) < 3000
    assert time.perf_counter() - begun < 2


def test_a_megabyte_of_entries_takes_no_more_than_ten_times_its_size(book, pen):
    import tracemalloc

    values = [{"device": "1.near", "shown": n} for n in range(1500)]
    raw = [json.dumps(made(pen, {"kind": "reading", "values": values})).encode()] * 20
    send(book, pen, GOOD["note"])
    tracemalloc.start()
    try:
        receive(book, STORE, raw, pen, kinds=ALL)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 10 * sum(map(len, raw))


def test_more_than_may_be_sent_at_once_is_refused(book, pen):
    with pytest.raises(InputError, match="too many"):
        receive(book, STORE, [b"{}"] * (MOST_AT_ONCE + 1), pen, kinds=ALL)


def test_words_of_a_customer_come_along_and_lie_beside_the_chain(book, pen):
    import hashlib
    from base64 import b64encode

    salt, words = os.urandom(32), "She waited an hour; 555-0100."
    sha256 = hashlib.sha256(salt + words.encode()).hexdigest()
    beside = [{"what": "words", "sha256": sha256, "salt": b64encode(salt).decode(), "text": words}]
    body = {**GOOD["claim"], "kept": [{"what": "words", "sha256": sha256}]}
    assert one(book, pen, made(pen, body)).said == "refused", "the words must come along"
    assert one(book, pen, made(pen, body, beside=[{**beside[0], "text": "other"}])).said == "refused"
    answer = one(book, pen, made(pen, body, beside=beside))
    assert answer.said == "stored"
    assert book.kept(sha256).decode() == words
    assert words not in "".join(line.text for line in book.lines(STORE))
    book.erase(sha256)
    assert book.verify(STORE).is_whole


def test_the_entry_is_the_book_s_own_whoever_made_its_id(book, pen):
    answer = one(book, pen, GOOD["note"])
    entry = book.find(answer.id).entry
    assert isinstance(entry, Entry)
    assert entry.happened.tzinfo is UTC or entry.happened.utcoffset() == timedelta(0)
    assert not isinstance(entry.body, Corrected)
