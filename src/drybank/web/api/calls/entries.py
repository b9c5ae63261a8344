"""Entries sent from phones, and the round that a phone takes along."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import msgspec
from django.http import HttpRequest

from drybank.desk.intake import MOST_AT_ONCE, Answer, Sent, receive
from drybank.desk.phone_round import PhoneRound, phone_round
from drybank.desk.stamp import Pen
from drybank.records.errors import InputError
from drybank.web import site
from drybank.web.api.app import describes
from drybank.web.api.guard import ApiSeat
from drybank.web.api.said import Refused, too_large
from drybank.web.said import said
from drybank.web.shown import kept

LARGEST = 2_000_000


class Sending(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a phone sends: entries in the order they were written, a name for the phone, when it last heard of the book."""

    entries: tuple[Sent, ...]
    device: str = ""
    since: datetime | None = None


class _Raw(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The same with each entry left as it came, so that one that cannot be read stops no other."""

    entries: list[msgspec.Raw]
    device: str = ""
    since: datetime | None = None


class Received(msgspec.Struct, frozen=True, kw_only=True):
    """One answer for each entry, in the order sent; ``now`` is the book's clock, to hold the phone's against."""

    answers: tuple[Answer, ...]
    now: str


def body_of(request: HttpRequest, most: int) -> bytes:
    """The body, refused before it is read where it says that it is too long."""
    said = request.META.get("CONTENT_LENGTH") or "0"
    if not said.isdigit() or int(said) > most:
        raise too_large(most)
    raw = request.body
    if len(raw) > most:
        raise too_large(most)
    return raw


@describes(gives=Received, takes=Sending)
def send(request: HttpRequest, seat: ApiSeat) -> Received:
    """Send entries; each is booked once, however often it is sent.

    Each entry stands or falls by itself: "stored", "already" (it was booked before), "refused" with a sentence, or "ask":
    a reading to look at again, then to be sent with its device named in ``sure``.
    """
    sent = _read(body_of(request, LARGEST))
    if len(sent.entries) > MOST_AT_ONCE:
        raise Refused(413, f"{len(sent.entries)} entries are too many at once.", mend=f"Send up to {MOST_AT_ONCE}.", code="too-large")  # fmt: skip
    answers = receive(
        site.book(), seat.store, [bytes(e) for e in sent.entries], seat.pen(sent.device), kinds=seat.kinds, since=sent.since,
        asks=seat.is_asked,
    )  # fmt: skip
    return Received(answers=tuple(map(_spoken, answers)), now=f"{site.now():%Y-%m-%dT%H:%M:%S.%fZ}")


def _spoken(answer: Answer) -> Answer:
    """An answer in the language of who sent; a phone shows it as it comes."""
    return msgspec.structs.replace(answer, why=said(answer.why), mend=said(answer.mend), note=said(answer.note))


def _read(raw: bytes) -> _Raw:
    try:
        return msgspec.json.decode(raw, type=_Raw)
    except msgspec.ValidationError as bad:
        raise InputError(f"This is not what is sent here: {bad}.", mend='Send {"entries": [...]}.') from bad
    except (msgspec.DecodeError, ValueError, RecursionError) as bad:
        raise Refused(400, f"The body is not JSON: {bad}.", mend='Send {"entries": [...]}.', code="not-json") from bad


@describes(gives=PhoneRound)
def round_(_request: HttpRequest, seat: ApiSeat) -> Any:
    """What a phone takes along for a round without signal; nothing in it says what is expected in a box."""
    pen = Pen(by=seat.person.handle, origin="phone", clock=site.now)
    kinds = seat.kinds

    def made() -> PhoneRound:
        visit = kept(seat.store, "round", lambda: _visit(seat.store, pen), "") if "service" in kinds else None
        return phone_round(site.book(), seat.store, pen, kinds=kinds, visit=visit)

    # The guards take a second or two to make; while the book stands still one hour's round does for all who may the same.
    return kept(seat.store, "phone round", made, tuple(sorted(kinds)), f"{site.now():%H}")


def _visit(store: str, pen: Pen) -> Any:
    from drybank.desk.upkeep import round_of

    return round_of(site.book(), store, pen)
