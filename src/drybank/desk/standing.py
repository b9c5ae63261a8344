"""The store as it stands at a moment: its layout, what each control holds, what its bank should hold."""

from __future__ import annotations

import threading
from collections import OrderedDict
from datetime import date, datetime
from typing import TYPE_CHECKING

from drybank.control import layout
from drybank.desk.stamp import now
from drybank.records.errors import InputError, Missing
from drybank.records.layout import Layout
from drybank.records.sheet import ControlSheet
from drybank.records.store import Store

if TYPE_CHECKING:
    from drybank.book import Book

When = datetime | date


def layout_at(book: Book, store: str, when: When | None = None) -> Layout:
    """The store with its sheets laid over it, as both stood at ``when`` (now, if not said)."""
    if not book.tip(store):
        known = ", ".join(sorted(book.stores())) or "none yet"
        raise Missing(f"There is no store “{store}” in this book. Stores: {known}.")
    moment = when if when is not None else now()
    return _laid(book.store_at(store, moment), book.sheets_at(store, moment))


LAID = 16
_kept: OrderedDict[tuple[int, ...], tuple[Store, tuple[ControlSheet, ...], Layout]] = OrderedDict()
_door = threading.Lock()


def _laid(store: Store, sheets: dict[str, ControlSheet]) -> Layout:
    """The layout of these very records; made once while a book that remembers what it read hands out the same ones."""
    key = (id(store), *(id(s) for s in sheets.values()))
    with _door:
        held = _kept.get(key)
    if held is not None and held[0] is store and all(a is b for a, b in zip(held[1], sheets.values(), strict=True)):
        return held[2]
    made = layout(store, sheets)
    with _door:
        _kept[key] = (store, tuple(sheets.values()), made)  # holding the records keeps their ids from being used again
        while len(_kept) > LAID:
            _kept.popitem(last=False)
    return made


def bank_key(laid: Layout, bank: str) -> str:
    """The bank named, or the only one where none is named."""
    keys = [b.key for b in laid.store.banks]
    if not bank and len(keys) == 1:
        return keys[0]
    if bank not in keys:
        what = f"There is no bank “{bank}” in {laid.store.name}." if bank else "This store has several banks."
        raise InputError(what, allowed=", ".join(keys), mend="Name one of them.")
    return bank


def controls_of(laid: Layout, *, bank: str = "", machine: str = "", pocket: str = "") -> tuple[str, ...]:
    """Keys of controls in walking order, narrowed to a bank, a machine or a pocket."""
    machines = sorted(laid.machines.values(), key=lambda m: m.place)
    order = {m.key: i for i, m in enumerate(machines)}
    found = [
        c.key
        for c in laid.controls.values()
        if (not bank or c.bank == bank)
        and (not machine or c.machine == machine)
        and (not pocket or pocket in c.pockets or pocket == c.key)
    ]
    if not found:
        what = machine or pocket or bank
        raise Missing(f"“{what}” is not in {laid.store.name}. Pockets: {', '.join(laid.pockets)}.")
    place = {key: i for i, key in enumerate(laid.controls)}
    return tuple(sorted(found, key=lambda key: (order[laid.controls[key].machine], place[key])))


def parse_day(text: str, what: str = "The day") -> date | None:
    """A day as 2026-05-03; nothing for an empty text."""
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{what} “{text}” is not a date.", mend="Write it like 2026-05-03.") from None
