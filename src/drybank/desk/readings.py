"""One walk through a store with a pad: every meter and counter in walking order, entered machine by machine, all or nothing.

Nothing here says what was expected: an unlikely figure is asked for again without its range, and taken when read twice.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.cards import devices_of
from drybank.desk.second_look import Doubt, doubts
from drybank.desk.setting import shown_value
from drybank.desk.stamp import Pen
from drybank.desk.standing import controls_of, layout_at
from drybank.records.entry import DeviceValue, ReadingTaken
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.book import Book


class Stop(msgspec.Struct, frozen=True, kw_only=True):
    """One machine of the walk: its meters and counters, key and words, in order."""

    machine: str
    bank: str
    pockets: tuple[str, ...]
    devices: tuple[tuple[str, str], ...]


class Walked(msgspec.Struct, frozen=True, kw_only=True):
    """What a walk entered, or what it asks to be read again; then nothing was entered. ``left_out`` was not typed."""

    entries: tuple[str, ...] = ()
    again: tuple[Doubt, ...] = ()
    kept: tuple[Doubt, ...] = ()
    left_out: tuple[str, ...] = ()
    number: int = 0


def stops(book: Book, store: str, when: datetime) -> tuple[Stop, ...]:
    """The store's machines in walking order with what is to be read at each."""
    return _stops(layout_at(book, store, when))


def _stops(laid: Layout) -> tuple[Stop, ...]:
    out: dict[str, list[tuple[str, str]]] = {}
    for control in controls_of(laid):
        out.setdefault(laid.controls[control].machine, []).extend(devices_of(laid, [control]))
    return tuple(
        Stop(machine=key, bank=laid.machines[key].bank, pockets=laid.machines[key].pockets, devices=tuple(found))
        for key, found in out.items()
        if found
    )


def record_walk(
    book: Book, store: str, typed: Mapping[str, str], pen: Pen, *, first: Mapping[str, str] | None = None,
    happened: datetime | None = None,
) -> Walked:  # fmt: skip
    """Enter what a walk read: device -> text. ``first`` holds what was typed before for those asked for again.

    A figure typed the same way twice is taken; while any is still asked for again, nothing is entered.
    """
    when = happened or pen.clock()
    if when > pen.clock():
        raise InputError(f"{when:%Y-%m-%d %H:%M} UTC is still to come.", mend="Give the moment it was read.")
    laid = layout_at(book, store, when)
    walk = _stops(laid)
    names = {key: words for stop in walk for key, words in stop.devices}
    values = _values(laid, names, typed)
    sure = [d for d, text in (first or {}).items() if d in values and text.strip() == typed.get(d, "").strip()]
    found = doubts(book, laid, tuple(values.values()), when, sure)
    again = tuple(_named(d, names) for d in found if not d.is_kept)
    left_out = tuple(words for key, words in names.items() if key not in values)
    if again:
        return Walked(again=again, left_out=left_out)
    entries = [pen.entry(store, ReadingTaken(values=mine), when) for stop in walk if (mine := _of(stop, values))]
    if not entries:
        raise InputError("No reading was given.", mend="Type what the meters and counters show.")
    booked = book.append(entries)
    return Walked(
        entries=tuple(b.entry.id for b in booked), kept=tuple(_named(d, names) for d in found), left_out=left_out,
        number=len(values),
    )  # fmt: skip


def _values(laid: Layout, known: Collection[str], typed: Mapping[str, str]) -> dict[str, DeviceValue]:
    out, mistakes = {}, []
    for device, text in typed.items():
        if not text.strip():
            continue
        try:
            if device not in known:
                raise InputError(f"There is no meter or counter “{device}”.")
            out[device] = shown_value(laid, device, text)
        except InputError as wrong:
            mistakes.append(wrong)
    if mistakes:
        raise InputErrors(mistakes)
    return out


def _of(stop: Stop, values: Mapping[str, DeviceValue]) -> tuple[DeviceValue, ...]:
    return tuple(values[key] for key, _ in stop.devices if key in values)


def _named(doubt: Doubt, names: Mapping[str, str]) -> Doubt:
    """A doubt with the device in words beside its key."""
    return msgspec.structs.replace(doubt, says=f"{names.get(doubt.device, doubt.device)}. {doubt.says}")
