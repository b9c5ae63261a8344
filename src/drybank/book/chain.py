"""The chain of one store: the text of an entry as it is stored and hashed, and the hash that ties it to the one before.

The canonical text is JSON with sorted keys and every moment in UTC. It is hashed as stored, so a later Drybank whose
records have grown still verifies what an earlier one wrote::

    hash = SHA-256( previous hash LF text LF place LF booked [LF old hash] )

The text holds no raw line feed (JSON escapes it), so the parts cannot run into each other.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any, get_args, get_type_hints

import msgspec

from drybank.records.entry import Body, Booked, Corrected, Entry, Plain
from drybank.records.errors import ChainBroken, InputError

LONGEST_TEXT = 4_000_000
"""Characters of one entry's text; a store file of a hundred machines takes about a twentieth of it."""

_encode = msgspec.json.Encoder(order="sorted", decimal_format="string").encode
_decode = msgspec.json.Decoder(Entry).decode


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One row of the book: an entry's text with its place in the chain. The other fields repeat the text, for look-up."""

    id: str
    store: str
    seq: int
    kind: str
    happened: str
    by: str
    corrects: str
    text: str
    booked: str
    prev: str
    hash: str
    old_hash: str = ""


class Written(msgspec.Struct, frozen=True, kw_only=True):
    """An entry made ready for the book: its text, and the entry as that text reads back."""

    entry: Entry
    text: str


def moment_text(moment: datetime) -> str:
    """A moment as fixed-width UTC text, which sorts as time does: 2026-05-03T10:00:00.000000Z."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def moment(text: str) -> datetime:
    """The moment that `moment_text` wrote."""
    return datetime.fromisoformat(text)


def entry_hash(prev: str, text: str, seq: int, booked: str, old_hash: str = "") -> str:
    """The hash that ties an entry's text to its place, the moment of booking and the entry before."""
    tail = f"\n{old_hash}" if old_hash else ""
    return hashlib.sha256(f"{prev}\n{text}\n{seq}\n{booked}{tail}".encode()).hexdigest()


def write(entry: Entry) -> Written:
    """The canonical text of an entry, read back once before it is trusted.

    Raises
    ------
    InputError
        A field outside what its kind allows, a moment without a time zone, a number that is not finite, text too long.
    """
    try:
        aware = _in_utc(entry)
        again = _decode(_encode(aware))
        text = _encode(again).decode()
        if again != aware:
            _refuse_not_finite(aware)
    except msgspec.ValidationError as bad:
        raise InputError(f"{bad}.", where=_where(entry), mend="Put that field right and send it again.") from bad
    except (TypeError, ValueError, OverflowError, RecursionError, AttributeError) as bad:
        raise InputError(
            f"the entry cannot be written down: {bad}.", where=_where(entry), mend="Check its fields."
        ) from bad
    if len(text) > LONGEST_TEXT:
        raise InputError(
            f"the entry is {len(text)} characters long.", where=_where(entry), allowed=f"up to {LONGEST_TEXT}"
        )
    return Written(entry=again, text=text)


def read(text: str) -> Entry:
    """The entry that a stored text holds; raises `InputError` where it does not hold one."""
    try:
        return _decode(text)
    except (msgspec.DecodeError, ValueError, RecursionError) as bad:
        raise InputError(f"not an entry of the book: {bad}.") from bad


def canonical(text: str) -> str:
    """The text written anew: what a file that was re-indented or re-ordered on its way held before."""
    return _encode(read(text)).decode()


def line_of(written: Written, *, seq: int, booked: str, prev: str, old_hash: str = "") -> Line:
    """The row that chains an entry."""
    entry, text = written.entry, written.text
    return Line(
        seq=seq, booked=booked, prev=prev, old_hash=old_hash, text=text,
        hash=entry_hash(prev, text, seq, booked, old_hash), **columns(entry),
    )  # fmt: skip


def columns(entry: Entry) -> dict[str, str]:
    """The columns that repeat what the text says."""
    corrects = entry.body.corrects if isinstance(entry.body, Corrected) else ""
    return {
        "id": entry.id, "store": entry.store, "kind": entry.kind, "by": entry.by, "corrects": corrects,
        "happened": moment_text(entry.happened),
    }  # fmt: skip


def doubt(line: Line) -> str:
    """What is wrong with a stored line by itself, or nothing."""
    if line.hash != entry_hash(line.prev, line.text, line.seq, line.booked, line.old_hash):
        return (
            f"{line.store}, place {line.seq} (entry {line.id}) was changed after it was booked. See `drybank verify`, then "
            "restore the last backup or save what is whole with `drybank salvage`."
        )
    return ""


def unreadable(line: Line, why: InputError) -> str:
    """What to say of a line whose hash is true but whose text this Drybank cannot read."""
    return (
        f"{line.store}, place {line.seq} (entry {line.id}) is as it was booked, but this Drybank cannot read it: {why.what} "
        "A later Drybank wrote it, it seems. Update Drybank on this computer."
    )


def written_of(line: Line) -> Written:
    """The entry of a stored line, as it was written; raises `ChainBroken` where it was changed or cannot be read."""
    wrong = doubt(line)
    if wrong:
        raise ChainBroken(wrong)
    try:
        return Written(entry=read(line.text), text=line.text)
    except InputError as bad:
        raise ChainBroken(unreadable(line, bad)) from bad


def booked_of(line: Line) -> Booked:
    """The entry in its chain, as the port hands it out; `InputError` where its text holds none."""
    return Booked(
        entry=read(line.text), seq=line.seq, booked=moment(line.booked), prev=line.prev, hash=line.hash,
        old_hash=line.old_hash,
    )  # fmt: skip


def _where(entry: Entry) -> str:
    return f"entry {getattr(entry, 'id', '?')}"


def _moment_fields() -> dict[type[Body], tuple[str, ...]]:
    """For each kind of body, the fields that hold a moment."""
    found: dict[type[Body], tuple[str, ...]] = {}
    for cls in (*get_args(Plain), Corrected):
        hints = get_type_hints(cls)
        names = (name for name, hint in hints.items() if hint is datetime or datetime in get_args(hint))
        found[cls] = tuple(names)
    return found


_MOMENTS = _moment_fields()


def _in_utc(entry: Entry) -> Entry:
    body: Any = entry.body
    if isinstance(body, Corrected) and body.instead is not None:
        body = msgspec.structs.replace(body, instead=_body_in_utc(body.instead, entry))
    return msgspec.structs.replace(entry, happened=_utc(entry.happened, entry), body=_body_in_utc(body, entry))


def _body_in_utc(body: Any, entry: Entry) -> Any:
    moments = {name: getattr(body, name) for name in _MOMENTS[type(body)]}
    moments = {name: _utc(value, entry) for name, value in moments.items() if value is not None}
    return msgspec.structs.replace(body, **moments) if moments else body


def _utc(value: datetime, entry: Entry) -> datetime:
    if value.tzinfo is None:
        raise InputError(f"{value} says no time zone.", where=_where(entry), mend="Write it with Z or an offset.")
    return value.astimezone(UTC)


def _refuse_not_finite(entry: Entry) -> None:
    """JSON has no word for a number that is not finite; it would come back as nothing at all."""
    for value in _leaves(msgspec.to_builtins(entry)):
        if isinstance(value, float) and not math.isfinite(value):
            raise InputError(f"{value} is not a number.", where=_where(entry), mend="Leave it out, or give a number.")


def _leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        inner: Iterable[Any] = value.values()
    elif isinstance(value, list | tuple):
        inner = value
    else:
        yield value
        return
    for each in inner:
        yield from _leaves(each)
