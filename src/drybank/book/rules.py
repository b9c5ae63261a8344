"""What may not be booked, each with a sentence that says how to mend it. Pure: rows looked up are handed in."""

from __future__ import annotations

import unicodedata
from datetime import UTC, date, datetime, timedelta

from drybank.book.chain import Line, Written
from drybank.records.entry import Corrected, Entry, PlanAdopted, SheetDated, StoreDated
from drybank.records.errors import DuplicateDiffers, InputError, Missing

AHEAD_AT_MOST = timedelta(days=1)
"""Clocks and time zones of phones are wrong by hours, not by days."""

EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)


def check_alone(written: Written, now: datetime) -> None:
    """What can be refused by looking at the entry alone."""
    entry = written.entry
    where = f"entry {entry.id}"
    if entry.happened > now + AHEAD_AT_MOST:
        raise InputError(
            f"it happened at {entry.happened:%Y-%m-%d %H:%M} UTC, but it is {now:%Y-%m-%d %H:%M} UTC now.", where=where,
            mend="Check the date written down, and the clocks of the device and of this computer.",
        )  # fmt: skip
    if entry.happened < EARLIEST:
        raise InputError(f"it happened in {entry.happened:%Y}.", where=where, mend="Check the year.")
    for name in ("store", "by"):
        _check_key(getattr(entry, name), name, where)
    body = entry.body.instead if isinstance(entry.body, Corrected) else entry.body
    if isinstance(body, StoreDated) and body.store.key != entry.store:
        raise InputError(
            f"it describes store “{body.store.key}” in the chain of “{entry.store}”.", where=where,
            mend="A store's description belongs in its own chain.",
        )  # fmt: skip
    if isinstance(body, StoreDated | SheetDated | PlanAdopted):
        check_date(body.from_date, where)


def _check_key(value: str, name: str, where: str) -> None:
    if any(unicodedata.category(c).startswith("C") for c in value) or value != value.strip():
        raise InputError(
            f"{name} “{value!r}” has blanks at an end or characters that cannot be seen.", where=where,
            mend="Use letters, digits, blanks between words and signs.",
        )  # fmt: skip


def check_date(text: str, where: str) -> date:
    """A from-date as ``2026-05-03``, nothing else."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or day.isoformat() != text:
        raise InputError(f"“{text}” is not a date.", where=where, mend="Write it like 2026-05-03.")
    return day


def check_begins(entry: Entry, seq: int) -> None:
    """A chain begins with the store's description; before that, nobody knows the store."""
    if seq == 1 and not isinstance(entry.body, StoreDated):
        raise Missing(
            f"The book knows no store “{entry.store}”. Load its store file first, or check the spelling of its key."
        )


def check_correction(entry: Entry, corrected: Line | None) -> None:
    """A correction names an earlier entry of its own store and puts a body of the same kind in its place, or none."""
    body = entry.body
    assert isinstance(body, Corrected)
    where = f"entry {entry.id}"
    if corrected is None:
        raise Missing(
            f"{where} corrects {body.corrects}, which the book does not hold. Check the id, or send that first."
        )
    if corrected.store != entry.store:
        raise InputError(
            f"it corrects {body.corrects}, an entry of store “{corrected.store}”.", where=where,
            mend=f"Book the correction in the chain of “{corrected.store}”.",
        )  # fmt: skip
    if corrected.kind == "correction":
        raise InputError(
            f"it corrects {body.corrects}, itself a correction of {corrected.corrects}.", where=where,
            mend=f"Correct {corrected.corrects} again; the later correction counts.",
        )  # fmt: skip
    if body.instead is None and corrected.seq == 1:
        raise InputError(
            "it takes back the store's first description, without which nothing in its chain can be read.", where=where,
            mend="Correct it with another description instead.",
        )  # fmt: skip
    kind = None if body.instead is None else str(type(body.instead).__struct_config__.tag)
    if kind not in (None, corrected.kind):
        raise InputError(
            f"it puts a {kind} in the place of a {corrected.kind}.", where=where,
            mend=f"Give a {corrected.kind}, or take the wrong entry back with none and book the {kind} as a new entry.",
        )  # fmt: skip


def check_same(earlier: Entry, again: Entry) -> None:
    """An id that comes twice must say the same."""
    if earlier != again:
        raise DuplicateDiffers(
            f"Entry {again.id} is in the book already and says something else. The one in the book stays. "
            "If it is wrong, correct it; if this is another entry, give it an id of its own."
        )
