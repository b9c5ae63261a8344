"""Looking entries up, and putting one right by a later entry that corrects it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import msgspec

from drybank.book import day_start
from drybank.desk.entry_words import FIELDS, field_and_value, names_of, told
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at, parse_day
from drybank.records.entry import KINDS, Corrected, Entry, ReadingTaken
from drybank.records.errors import InputError, InputErrors
from drybank.records.faults import fault_words

if TYPE_CHECKING:
    from drybank.book import Book, Told


NOTHING = "nothing"


class EntryLine(msgspec.Struct, frozen=True, kw_only=True):
    """One entry of the story, as it stands today."""

    id: str
    store: str
    kind: str
    happened: datetime
    booked: datetime
    by: str
    says: dict[str, Any]
    corrected_by: str
    is_taken_back: bool


class Correction(msgspec.Struct, frozen=True, kw_only=True):
    """What a correction changes: each field before and after. ``entry`` is empty until it is entered."""

    corrects: str
    store: str
    kind: str
    changes: tuple[tuple[str, str, str], ...]
    is_taken_back: bool
    entry: str = ""


def entries(
    book: Book,
    store: str,
    *,
    kinds: Sequence[str] = (),
    since: datetime | None = None,
    until: datetime | None = None,
    last: int = 0,
) -> tuple[EntryLine, ...]:
    """A store's entries in the order they happened, taken back ones included and marked; ``last`` keeps the latest."""
    unknown = sorted(set(kinds) - set(KINDS))
    if unknown:
        raise InputError(f"“{unknown[0]}” is no kind of entry.", where="--kind", allowed=", ".join(KINDS))
    told = book.story(store, kinds=kinds, since=since, until=until, with_taken_back=True)
    return tuple(_line(each) for each in (told[-last:] if last else told))


def entry_line(book: Book, store: str, kind: str, entry_id: str) -> EntryLine | None:
    """One entry of the story as it stands today; None where the store tells none of that id and kind."""
    told = next((t for t in book.story(store, kinds=(kind,), with_taken_back=True) if t.id == entry_id), None)
    return _line(told) if told else None


def _line(told: Told) -> EntryLine:
    says = _plain(told.body)
    return EntryLine(
        id=told.id, store=told.entry.store, kind=told.kind, happened=told.happened, booked=told.booked, by=told.by,
        says={k: v for k, v in says.items() if v not in ("", None, [], {})}, corrected_by=told.corrected_by,
        is_taken_back=told.is_taken_back,
    )  # fmt: skip


def _plain(body: object) -> dict[str, Any]:
    """A body's fields as JSON has them, without its kind."""
    raw: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(body))
    raw.pop("kind", None)
    return raw


def correct(
    book: Book,
    entry_id: str,
    pen: Pen,
    *,
    reason: str,
    changes: Sequence[str] = (),
    happened: datetime | None = None,
    take_back: bool = False,
    is_real: bool = True,
) -> Correction:
    """Correct one entry: fields by ``path=value`` over what it says today, its moment, or take it back altogether.

    Without ``is_real`` only what would change is told.
    """
    booked = book.find(entry_id)
    if len(reason.strip()) < 3:
        raise InputError("a correction needs its reason.", where="--reason", mend="Say why, in a few words.")
    if not (changes or happened or take_back):
        raise InputError("nothing is to be changed.", mend="Give --set field=value, --happened, or --take-back.")
    if take_back and (changes or happened):
        raise InputError("an entry taken back says nothing any more.", mend="Give --take-back alone.")
    today = _today(book, booked.entry)
    before = _plain(today.body)
    currency = book.store_at(booked.entry.store, pen.clock()).currency
    after = _changed(before, changes, currency)
    moment = happened or (today.happened if today.happened != booked.entry.happened else None)
    instead = None if take_back else _body(booked.entry, after)
    _check(book, booked.entry, instead, happened, pen.clock())
    body = Corrected(corrects=entry_id, reason=reason.strip(), instead=instead, happened_instead=moment)
    done = Correction(
        corrects=entry_id, store=booked.entry.store, kind=booked.entry.kind, is_taken_back=take_back,
        changes=_differences(before | {"happened": f"{today.happened:%Y-%m-%d %H:%M} UTC"},
                             {} if take_back else after | {"happened": f"{moment or today.happened:%Y-%m-%d %H:%M} UTC"}, currency),
    )  # fmt: skip
    if not is_real:
        return done
    entry = pen.entry(booked.entry.store, body)
    book.append([entry])
    return msgspec.structs.replace(done, entry=entry.id)


def _check(book: Book, entry: Entry, instead: Any, happened: datetime | None, now: datetime) -> None:
    """What `enter` and `set` would refuse, a correction may not bring in either."""
    if happened is not None and happened > now:
        raise InputError(
            f"{happened:%Y-%m-%d %H:%M} is still to come.", where="--happened", mend="Give the moment it happened."
        )
    if isinstance(instead, ReadingTaken):
        laid = layout_at(book, entry.store, now)
        for value in instead.values:
            one = laid.meters.get(value.device) or laid.counters.get(value.device)
            if one is None:
                raise InputError(
                    f"there is no meter or counter “{value.device}”.",
                    where="--set",
                    allowed=", ".join((*laid.meters, *laid.counters)),
                )
            if value.shown is not None and value.shown >= one.rolls_over_at:
                raise InputError(
                    f"{value.device} starts again before {value.shown:,}.",
                    where="--set",
                    allowed=f"0 to {one.rolls_over_at - 1:,}",
                )


def _today(book: Book, entry: Entry) -> Entry:
    """The entry with earlier corrections folded in; as first written where it was taken back."""
    told = [t for t in book.story(entry.store, kinds=(entry.kind,), with_taken_back=True) if t.id == entry.id]
    return told[0].entry if told else entry


def _body(entry: Entry, raw: dict[str, Any]) -> Any:
    try:
        return msgspec.convert(raw | {"kind": entry.kind}, type(entry.body), strict=True)
    except msgspec.ValidationError as bad:
        raise InputError(f"a {entry.kind} cannot say that: {fault_words(str(bad), FIELDS)}.", where="--set") from bad


def _changed(before: dict[str, Any], changes: Sequence[str], currency: str) -> dict[str, Any]:
    """The fields with every change laid over: by the names that `entries` shows, or by a path such as ``values.0.shown``."""
    after = msgspec.json.decode(msgspec.json.encode(before))
    mistakes = []
    for text in changes:
        path, sign, value = text.partition("=")
        try:
            if not sign:
                raise InputError("it is not written as field=value.")
            path, value = field_and_value(path.strip(), value.strip(), before, currency)
            if path.split(".")[0] not in after:
                raise InputError(f"the entry has no field “{path}”.", allowed=", ".join(names_of(before)))
            _put(after, path.split("."), _value(value))
        except InputError as bad:
            mistakes.append(InputError(bad.what, where=f"--set {text}", allowed=bad.allowed, mend=bad.mend))
    if mistakes:
        raise InputErrors(mistakes)
    return dict(after)


def _put(into: Any, path: list[str], value: Any) -> None:
    for step in path[:-1]:
        into = into[_step(into, step)]
    into[_step(into, path[-1])] = value


def _step(into: Any, step: str) -> str | int:
    if isinstance(into, list):
        if not step.isdecimal() or int(step) >= len(into):
            raise InputError(f"there is no place “{step}”.", allowed=f"0 to {len(into) - 1}")
        return int(step)
    if not isinstance(into, dict) or step not in into:
        allowed = ", ".join(into) if isinstance(into, dict) else "nothing under it"
        raise InputError(f"the entry has no field “{step}”.", allowed=allowed)
    return step


def _value(text: str) -> Any:
    """A number, true, false, null or list as JSON has it; anything else is text."""
    try:
        return msgspec.json.decode(text)
    except msgspec.DecodeError:
        return text


def _differences(before: dict[str, Any], after: dict[str, Any], currency: str) -> tuple[tuple[str, str, str], ...]:
    """Every field that differs, by its name, before and after."""
    old, new = dict(told(before, currency)), dict(told(after, currency))
    names = [*old, *(name for name in new if name not in old)]
    return tuple(
        (name, old.get(name, NOTHING), new.get(name, NOTHING)) for name in names if old.get(name) != new.get(name)
    )


def between(book: Book, store: str, since: str, until: str) -> tuple[datetime | None, datetime | None]:
    """First and last day asked for, as moments by the store's own clock."""
    zone = _zone(book, store)
    first, last = parse_day(since, "The first day"), parse_day(until, "The last day")
    begin = day_start(first, zone) if first else None
    end = day_start(last + timedelta(days=1), zone) if last else None
    return begin, end


def local_moment(book: Book, entry_id: str, text: str) -> datetime | None:
    """A moment typed by the clock on the store's wall; one that says its offset is taken as it is."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as bad:
        raise InputError(f"“{text}” is no moment.", where="--happened", mend="Write it like 2026-05-03T18:30.") from bad
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(_zone(book, book.find(entry_id).entry.store)))
    return moment.astimezone(UTC)


def _zone(book: Book, store: str) -> str:
    return book.store_at(store, book.clock()).time_zone
