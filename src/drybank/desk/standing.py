"""The store as it stands at a moment: its layout, what each control holds, what its bank should hold."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from drybank.control import layout
from drybank.desk.stamp import now
from drybank.records.errors import InputError, Missing
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.book import Book

When = datetime | date


def layout_at(book: Book, store: str, when: When | None = None) -> Layout:
    """The store with its sheets laid over it, as both stood at ``when`` (now, if not said)."""
    if not book.tip(store):
        known = ", ".join(sorted(book.stores())) or "none yet"
        raise Missing(f"There is no store “{store}” in this book. Stores: {known}.")
    moment = when if when is not None else now()
    return layout(book.store_at(store, moment), book.sheets_at(store, moment))


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
