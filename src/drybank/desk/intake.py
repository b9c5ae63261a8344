"""The one way in for what was written away from the book: entries made on a phone, checked, signed and booked once.

Each entry stands or falls by itself; those that stand are booked in one transaction. Sending any of them again says
"already", whoever sends it and however often, so a phone that lost the answer simply sends again. What the phone says of
who wrote it and from where is held against who sends it and never taken over.

    intake.py        `receive`: reading what was sent, booking it, what is said of each entry
    intake_checks.py what an entry of each kind must be
    intake_past.py   what the checks look up, kept between sendings
"""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from drybank.book import What, beside, chain, rules
from drybank.book.placing import Arrival
from drybank.desk.intake_checks import Case, check
from drybank.desk.intake_past import Past, Subject, forget, kept_of, past_of
from drybank.desk.phone_proof import is_bare, is_of, judged
from drybank.desk.stamp import Pen
from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Entry,
    ReadingTaken,
    SettingChanged,
)
from drybank.records.errors import BookError, ChainBroken, DrybankError, InputError, Missing, NewerBook
from drybank.records.faults import fault_words

if TYPE_CHECKING:
    from drybank.book import Book

MOST_AT_ONCE = 500
CLOCK_MAY_BE_AHEAD = timedelta(minutes=5)
"""Phones keep time to seconds where they have had signal; more than this is a clock set wrong, and is said."""
SET_BACK = timedelta(minutes=2)
LOOKED_BACK = timedelta(hours=12)
"""Where the phone does not say when it last heard of the book, others' work of this long before counts as news to it."""
LOOKED_AT = 20
"""Entries about one thing that are looked through for others' work, the latest first."""
SAID_AT_MOST = 3
Said = Literal["stored", "already", "refused", "ask"]


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """What became of one entry: booked now, booked before, refused, or a figure to look at again before it is taken.

    ``why`` and ``mend`` are sentences for a person; ``note`` says of a stored entry what the book knew besides.
    """

    id: str
    said: Said
    why: str = ""
    mend: str = ""
    note: str = ""


class BesideSent(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words that an entry names by their hash: 32 random bytes of salt in base64, and the text."""

    what: Literal["name", "phone", "address", "words"]
    sha256: str
    salt: str
    text: str


class Sent(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An entry as a phone sends it: the book's own form before it is chained.

    ``store`` and ``by`` may be left out; where they are given they must be the store it is sent to and who sends it.
    ``origin`` is not taken over. ``sure`` names meters and counters that were read twice with the same result.
    """

    id: str
    happened: datetime
    body: AnyBody
    store: str = ""
    by: str = ""
    origin: str = ""
    sure: tuple[str, ...] = ()
    beside: tuple[BesideSent, ...] = ()


class _Ready(msgspec.Struct):
    """An entry that may be booked, its place in the sending, what goes beside it and what is to be said."""

    at: int
    written: chain.Written
    note: str
    kept: list[dict[str, Any]]


def receive(
    book: Book,
    store: str,
    raw: Sequence[bytes | Mapping[str, Any]],
    pen: Pen,
    *,
    kinds: frozenset[str],
    since: datetime | None = None,
    asks: bool = True,
) -> tuple[Answer, ...]:
    """Book what was sent, each entry by itself; one answer for each, in the order sent.

    ``kinds`` are what this person may write here, ``since`` when the phone last heard of the book. With ``asks`` an
    unlikely reading is not stored but asked for again, without any range; who collects or counts is never asked, since
    the asking itself would tell what is expected.

    Raises
    ------
    Missing, BookError
        No such store; the book cannot be written just now. Nothing was stored then that is not stored when sent again.
    """
    if len(raw) > MOST_AT_ONCE:
        raise InputError(f"{len(raw)} entries are too many at once.", allowed=f"up to {MOST_AT_ONCE}")
    past = past_of(book, store)
    taking = _Taking(book, store, pen, past, kinds, since, asks, raw)
    with past.door:
        past.waiting.append(taking)
    with past.lock:  # whoever comes in first takes everybody who waits along, in one transaction
        if not taking.is_done:
            with past.door:
                waiting, past.waiting = past.waiting, []
            _take_all(book, store, past, waiting)
    return taking.result()


def _take_all(book: Book, store: str, past: Past, waiting: Sequence[_Taking]) -> None:
    """Everything that several senders sent, in as few transactions as their ids allow."""
    left = list(waiting)
    while left:
        ids: set[str] = set()
        now: list[_Taking] = []
        for taking in left:
            if not taking.ids & ids:  # of two that send the same, one comes after the other
                now.append(taking)
                ids |= taking.ids
        left = [t for t in left if t not in now]
        try:
            past.refresh(book, store)
            _Group(book, past).take(now)
        except BaseException as fault:
            forget(book, store)
            past.forget()
            for taking in (*now, *left):
                taking.fault = taking.fault or fault
            if not isinstance(fault, DrybankError):
                raise
            return


class _Group:
    """Sendings that are booked together: what is ready to be booked, and whose it is."""

    def __init__(self, book: Book, past: Past) -> None:
        self.book, self.past = book, past
        self.ready: list[tuple[_Taking, _Ready]] = []

    def take(self, takings: Sequence[_Taking]) -> None:
        known = self.book.rows.by_ids(each for taking in takings for each in taking.ids)
        for taking in takings:
            taking.consider(known, self)
        self.book_ready()
        for taking in takings:
            taking.finish()

    def add(self, taking: _Taking, ready: _Ready) -> None:
        self.ready.append((taking, ready))
        self.past.try_(ready.written.entry, taking.now)

    def book_ready(self) -> None:
        """Everything that is ready in one transaction; where that is refused, one by one, so that one stops no other."""
        self.past.rewind()
        ready, self.ready = self.ready, []
        if not ready:
            return
        try:
            self._append(ready)
        except (InputError, Missing, BookError) as bad:
            if _is_of_the_book(bad):
                raise
            for each in ready:
                self._append_alone(*each)

    def _append_alone(self, taking: _Taking, ready: _Ready) -> None:
        try:
            self._append([(taking, ready)])
        except (InputError, Missing, BookError) as bad:
            if _is_of_the_book(bad):
                raise
            taking.answers[ready.at] = self._differs(ready, bad)

    def _append(self, ready: Sequence[tuple[_Taking, _Ready]]) -> None:
        now = self.book.clock()
        booked = chain.moment_text(now)
        arrivals = [Arrival(written=each.written, booked=booked) for _, each in ready]
        done = self.book.book_arrivals(arrivals, {}, [thing for _, each in ready for thing in each.kept])
        mine = chain.moment(booked)
        for (taking, each), line in zip(ready, done, strict=True):
            is_new = line.booked == mine
            if is_new and line.prev == self.past.tip and line.entry.kind != "correction":
                self.past.add(line)  # the rest the next refresh reads
            said: Said = "stored" if is_new else "already"
            taking.answers[each.at] = Answer(id=line.entry.id, said=said, note=each.note if is_new else "")

    def _differs(self, each: _Ready, bad: DrybankError) -> Answer:
        """Somebody else's sending of this id came first: the same entry is there already, another one stays."""
        entry = each.written.entry
        there = self.book.rows.by_ids([entry.id]).get(entry.id)
        if there is None:
            return _refused(entry.id, bad)
        return _same_or_refused(chain.read(there.text), entry.id, entry.store, entry.happened, entry.body)


class _Taking:
    """One sending on its way into the book."""

    def __init__(
        self, book: Book, store: str, pen: Pen, past: Past, kinds: frozenset[str], since: datetime | None, asks: bool,
        raw: Sequence[bytes | Mapping[str, Any]],
    ) -> None:  # fmt: skip
        self.book, self.store, self.pen, self.past, self.kinds, self.asks = book, store, pen, past, kinds, asks
        self.since = since.astimezone(UTC) if since is not None and since.tzinfo else None
        self.now = pen.clock()
        self.answers: dict[int, Answer] = {}
        self.fault: BaseException | None = None
        self.is_finished = False
        self.read = [self._read(number, each) for number, each in enumerate(raw)]
        self.ids = {sent.id for sent in self.read if sent is not None}

    @property
    def is_done(self) -> bool:
        return self.is_finished or self.fault is not None

    def result(self) -> tuple[Answer, ...]:
        if self.fault is not None:
            raise self.fault
        return tuple(self.answers[at] for at in range(len(self.read)))

    def consider(self, known: Mapping[str, chain.Line], group: _Group) -> None:
        """Check every entry; each is handed to the group, or has its answer."""
        set_back = _set_back([sent.id if sent else "" for sent in self.read])
        firsts: dict[str, Sent] = {}
        for at, sent in enumerate(self.read):
            if sent is None:
                continue
            if sent.id in known:
                self.answers[at] = _again(chain.read(known[sent.id].text), sent)
            elif sent.id in firsts:
                self.answers[at] = _again(self._entry(firsts[sent.id]), sent)
            else:
                firsts[sent.id] = sent
                self._consider(at, sent, set_back.get(at, ""), group)

    def finish(self) -> None:
        """A twin within one sending fares no better than the first of it."""
        fate: dict[str, Answer] = {}
        for at, sent in enumerate(self.read):
            if sent is None:
                continue
            first = fate.setdefault(sent.id, self.answers[at])
            if first.said in ("refused", "ask") and self.answers[at].said == "already":
                self.answers[at] = first
        self.is_finished = True

    def _read(self, at: int, raw: bytes | Mapping[str, Any]) -> Sent | None:
        try:
            return read_sent(raw)
        except InputError as bad:
            self.answers[at] = _refused(_id_in(raw), bad)
            return None

    def _entry(self, sent: Sent) -> Entry:
        return Entry(
            id=sent.id, store=self.store, happened=sent.happened, by=self.pen.by, origin=self.pen.origin, body=sent.body
        )

    def _consider(self, at: int, sent: Sent, set_back: str, group: _Group) -> None:
        """Check one entry; it is ready to be booked, or has its answer."""
        try:
            self._check_sender(sent)
            written = chain.write(self._entry(sent))
            rules.check_alone(written, self.now)
            entry = written.entry
            case = Case(book=self.book, entry=entry, laid=self.past.laid(entry.happened), past=self.past)
            check(case)
            judgement = ""
            if is_bare(entry.body):
                self._book_settings(group)
                judged_entry, judgement = judged(self.book, entry)
                written = chain.write(judged_entry)
            kept = _beside(self.book, sent)
            again = self._look_again(case, sent.sure)
        except (InputError, Missing) as bad:
            self.answers[at] = _refused(sent.id, bad)
            return
        if again and self.asks:
            self.answers[at] = Answer(
                id=sent.id, said="ask", why=again, mend="If it shows the same, send it again as sure."
            )
            return
        notes = (judgement, set_back, *_conflicts(case, self.since or self.now - LOOKED_BACK))
        group.add(self, _Ready(at, written, " ".join(n for n in notes if n), kept))

    def _book_settings(self, group: _Group) -> None:
        """Settings sent before come first: a test after them is judged by them."""
        if any(isinstance(each.written.entry.body, SettingChanged) for _, each in group.ready):
            group.book_ready()

    def _check_sender(self, sent: Sent) -> None:
        kind = str(type(sent.body).__struct_config__.tag)
        if kind not in self.kinds:
            raise InputError(f"Your role in this store does not enter a {kind}.", mend="Ask the owner of the store.")
        if sent.store not in ("", self.store):
            raise InputError(f"It was written for store “{sent.store[:80]}”.", mend="Send it to that store.")
        if sent.by not in ("", self.pen.by):
            raise InputError(
                f"It was written by {sent.by[:80]}, and {self.pen.by} sends it.",
                mend=f"Log in as {sent.by[:80]} to send it.",
            )
        if sent.happened.tzinfo is None:
            raise InputError(f"{sent.happened} says no time zone.", mend="Write it with Z or an offset.")
        ahead = sent.happened - self.now
        if ahead > CLOCK_MAY_BE_AHEAD:
            minutes = round(ahead / timedelta(minutes=1))
            raise InputError(
                f"It happened at {sent.happened.astimezone(UTC):%Y-%m-%d %H:%M} UTC, {minutes:,} min from now.",
                mend="The phone's clock is ahead. Set it right, then give this entry the moment it happened.",
            )

    def _look_again(self, case: Case, sure: Sequence[str]) -> str:
        """What to say of readings that are unlikely and were not read twice. No range is ever named."""
        from drybank.desk.second_look import doubts_of

        body = case.entry.body
        if not self.asks or not isinstance(body, ReadingTaken):
            return ""
        seen = {v.device: case.past.shown(v.device, case.entry.happened) for v in body.values if v.shown is not None}
        found = doubts_of(case.laid, body.values, seen, case.entry.happened, sure)
        return " ".join(f"{d.device}: {d.says}" for d in found if not d.is_kept)


def read_sent(raw: bytes | Mapping[str, Any]) -> Sent:
    """One entry as it was sent; `InputError` says which field cannot be."""
    try:
        if isinstance(raw, bytes | bytearray | memoryview | msgspec.Raw):
            return msgspec.json.decode(raw, type=Sent)
        return msgspec.convert(dict(raw), Sent, strict=True)
    except (msgspec.DecodeError, ValueError, TypeError, RecursionError, OverflowError) as bad:
        raise InputError(
            f"This is no entry: {fault_words(str(bad))}.", mend="See the page of the programming interface."
        ) from bad


def _id_in(raw: Any) -> str:
    """The id of something that could not be read as a whole, so that the phone knows what is meant."""
    try:
        said = raw if isinstance(raw, Mapping) else msgspec.json.decode(raw)
        found = said.get("id") if isinstance(said, Mapping) else None
    except (msgspec.DecodeError, ValueError, RecursionError):
        found = None
    return found[:80] if isinstance(found, str) else ""


def _refused(entry_id: str, bad: DrybankError) -> Answer:
    if isinstance(bad, InputError):
        why = InputError(bad.what, where=bad.where, allowed=bad.allowed).sentence()
        return Answer(id=entry_id, said="refused", why=why, mend=bad.mend)
    return Answer(id=entry_id, said="refused", why=bad.sentence())


def _again(there: Entry, sent: Sent) -> Answer:
    return _same_or_refused(there, sent.id, sent.store or there.store, sent.happened, sent.body)


def _same_or_refused(there: Entry, entry_id: str, store: str, happened: datetime, body: AnyBody) -> Answer:
    """What was sent against what is in the book; who sent it and from where may differ, what it says may not."""
    is_test = there.store == store and there.happened == happened and is_of(there.body, body)
    is_same = there.store == store and happened.tzinfo is not None and _as_text(there) == _as_text(
        Entry(id=there.id, store=there.store, happened=happened, by=there.by, origin=there.origin, body=body)
    )  # fmt: skip
    if is_same or is_test:
        return Answer(id=entry_id, said="already")
    return Answer(
        id=entry_id, said="refused", why="The book holds an entry with this id that says something else. That one stays.",
        mend="If it is wrong, correct it; if this is another entry, give it an id of its own.",
    )  # fmt: skip


def _as_text(entry: Entry) -> str:
    try:
        return chain.write(entry).text
    except InputError:
        return ""


def _is_of_the_book(bad: DrybankError) -> bool:
    """Whether the book as a whole refuses (busy, full, damaged, a chain in doubt), rather than this one entry."""
    return type(bad) in (BookError, ChainBroken, NewerBook)


def _beside(book: Book, sent: Sent) -> list[dict[str, Any]]:
    """Rows for what lies beside the entry. Photos come by themselves afterwards; words come with it or are there."""
    named = {kept.sha256: kept for kept in kept_of(sent.body)}
    things = []
    for each in sent.beside:
        if each.sha256 not in named or named[each.sha256].what != each.what:
            raise InputError(f"The entry names no {each.what} of that hash.", where=each.sha256[:64])
        what: What = each.what
        things.append(beside.thing(each.sha256, what, _from_base64(each.salt), each.text.encode()))
    brought = {each.sha256 for each in sent.beside}
    for kept in named.values():
        if len(kept.sha256) != 64 or set(kept.sha256) - set("0123456789abcdef"):
            raise InputError("A hash has 64 small hexadecimal digits.", where=kept.sha256[:64])
        if kept.what != "photo" and kept.sha256 not in brought:
            book.kept(kept.sha256)
    return things


def _from_base64(text: str) -> bytes:
    try:
        return b64decode(text, validate=True)
    except ValueError as bad:
        raise InputError("the salt is not in base64.") from bad


def _set_back(ids: Sequence[str]) -> dict[int, str]:
    """Where the phone's clock was set back between two entries: ids hold the moment they were made, by that clock."""
    out, latest = {}, 0
    for at, ident in enumerate(ids):
        digits = ident.replace("-", "")[:12]
        made = int(digits, 16) if len(digits) == 12 and not set(digits) - set("0123456789abcdef") else 0
        if made and latest - made > SET_BACK / timedelta(milliseconds=1):
            minutes = round((latest - made) / 60_000)
            out[at] = (
                f"The phone's clock was set back by {minutes:,} min before this was written; check when it happened."
            )
        latest = made or latest
    return out


def _conflicts(case: Case, since: datetime) -> Iterator[str]:
    """What others entered about the same thing that the phone could not know of."""
    body, when = case.entry.body, case.entry.happened
    if isinstance(body, SettingChanged) and body.control:
        for told in _news(case, "control", (body.control,), since):
            stands = "that stands as the last" if told.happened > when else "this stands as the last"
            yield f"{told.by} set control {body.control} too, {_moment(case, told.happened)}; {stands}."
    elif isinstance(body, BoxesEmptied):
        for told in _news(case, "box", body.boxes, since):
            both = sorted(set(told.body.boxes) & set(body.boxes))
            yield f"{told.by} emptied {', '.join(both)} too, {_moment(case, told.happened)}. Is it the same emptying?"
    elif isinstance(body, ReadingTaken):
        mine = tuple(v.device for v in body.values)
        for told in _news(case, "device", mine, since):
            both = sorted(set(mine) & {v.device for v in told.body.values})
            yield f"{told.by} read {', '.join(both)} too, {_moment(case, told.happened)}."


def _news(case: Case, what: Subject, keys: Sequence[str], since: datetime) -> list[Any]:
    """Others' entries about the same, near this one in time or later and booked since: the last three."""
    mine, begun = (case.entry.by, case.entry.origin), case.entry.happened - LOOKED_BACK

    def others(key: str) -> Iterator[Any]:
        near = case.past.latest(what, key, begun, LOOKED_AT)
        return islice((t for t in near if t.booked >= since and (t.by, t.entry.origin) != mine), SAID_AT_MOST)

    new = {t.id: t for key in keys for t in others(key)}
    return sorted(new.values(), key=lambda t: (t.happened, t.seq))[-SAID_AT_MOST:]


def _moment(case: Case, moment: datetime) -> str:
    from zoneinfo import ZoneInfo

    return f"{moment.astimezone(ZoneInfo(case.laid.store.time_zone)):%Y-%m-%d %H:%M}"
