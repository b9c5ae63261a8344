"""Files in: check them with every mistake at once, show what a changed one changes, enter it from a date."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from drybank.book.files import HouseFile, Kind, difference, kind_of, read_settings, read_sheet, read_store, with_lines
from drybank.book.files.history import read_mapping
from drybank.book.files.text import located
from drybank.control import check_sheet, check_store, layout
from drybank.desk.stamp import Pen
from drybank.records.entry import Entry, SheetDated, StoreDated
from drybank.records.errors import InputError, InputErrors
from drybank.records.sheet import ControlSheet
from drybank.records.store import Store

if TYPE_CHECKING:
    from drybank.book import Book

LARGEST_BYTES = 4_000_000


class CheckedFile(msgspec.Struct, frozen=True, kw_only=True):
    """One file as it was found: what it is, every mistake, what else is worth knowing."""

    file: str
    kind: Kind
    mistakes: tuple[str, ...]
    says: tuple[str, ...] = ()


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """One store or sheet that would be entered, and what it changes in words."""

    store: str
    what: str
    is_new: bool
    says: tuple[str, ...]


class Loaded(msgspec.Struct, frozen=True, kw_only=True):
    """What loading some files does: the changes, and whether they are in the book now."""

    from_date: str
    changes: tuple[Change, ...]
    is_entered: bool
    notices: tuple[str, ...] = ()


class _Pile(msgspec.Struct, kw_only=True):
    stores: dict[str, tuple[str, Store]] = {}
    sheets: dict[str, tuple[str, ControlSheet]] = {}
    houses: dict[str, tuple[str, HouseFile]] = {}


def text_of(path: str) -> bytes:
    """A file's bytes; one too large to be ours is refused before it is read."""
    file = Path(path)
    if file.is_dir():
        raise InputError("this is a folder.", where=path, mend="Name the files in it.")
    if not file.is_file():
        raise InputError("no such file.", where=path, mend="Check the path.")
    if file.stat().st_size > LARGEST_BYTES:
        raise InputError(
            f"the file is larger than {LARGEST_BYTES // 1_000_000} MB.",
            where=path,
            mend="This is not a store, sheet or settings file.",
        )
    return file.read_bytes()


def _read(pile: _Pile, name: str, content: bytes) -> tuple[Kind, list[InputError]]:
    kind = kind_of(content)
    try:
        if kind == "store":
            store = read_store(content, name)
            pile.stores[store.key] = (name, store)
        elif kind == "sheet":
            sheet = read_sheet(content, name)
            pile.sheets[sheet.key] = (name, sheet)
        elif kind == "settings":
            house = read_settings(content, name)
            pile.houses[house.store] = (name, house)
        elif kind == "history mapping":
            read_mapping(content, name)
        else:
            located(content, name)  # what cannot be read at all is said first, with its line
            return kind, [
                InputError(
                    "this is not a store, sheet or settings file.",
                    where=name,
                    mend='Ours begin with a line such as drybank = "store 1", "sheet 1" or "settings 1".',
                )
            ]
    except InputErrors as several:
        later = [e for e in several.errors if "a later form" in e.what]
        return kind, later or list(several.errors)  # what a later form lacks here is no mistake of the file
    except InputError as one:
        return kind, [one]
    return kind, []


def check_files(
    named: Sequence[tuple[str, bytes]], sheets: dict[str, ControlSheet] | None = None
) -> tuple[CheckedFile, ...]:
    """Every mistake of every file, the cross-checks between a store and its sheets included."""
    pile, found, kinds, content_of = _Pile(), {}, {}, dict(named)
    for name, content in named:
        kinds[name], found[name] = _read(pile, name, content)
    known = (sheets or {}) | {key: sheet for key, (_, sheet) in pile.sheets.items()}
    for name, sheet in pile.sheets.values():
        found[name] += with_lines(content_of[name], name, check_sheet(sheet))
    says: dict[str, list[str]] = {name: [] for name, _ in named}
    for name, store in pile.stores.values():
        wrong: list[InputError] = []
        _check_store(store, known, wrong, says[name])
        found[name] += with_lines(content_of[name], name, wrong)
    return tuple(
        CheckedFile(file=n, kind=kinds[n], mistakes=tuple(e.sentence() for e in found[n]), says=tuple(says[n]))
        for n, _ in named
    )


def _check_store(store: Store, sheets: dict[str, ControlSheet], mistakes: list[InputError], says: list[str]) -> None:
    missing = sorted({m.sheet for m in store.machines} - sheets.keys())
    if missing:
        says.append(
            f"Sheets not at hand, so the machines that use them were not checked: {', '.join(missing)}. Name their files too."
        )
        return
    mistakes += check_store(store, sheets)
    if not mistakes:
        laid = layout(store, sheets)
        says.append(
            f"{store.name}: {len(laid.pockets)} pockets on {len(laid.machines)} machines in {len(store.banks)} bank{'s' * (len(store.banks) != 1)}; "
            f"{len(laid.counters)} counters, {len(laid.meters)} meters, {len(laid.boxes)} coin boxes in {len(laid.units)} groups."
        )


def load(
    book: Book,
    named: Sequence[tuple[str, bytes]],
    pen: Pen,
    *,
    from_date: date | None = None,
    store: str = "",
    is_real: bool = True,
) -> Loaded:
    """Enter store files and sheets from a date on; without ``is_real`` only show what that would change.

    A sheet goes to every store that uses it: those in the same call, and those in the book.
    """
    when = from_date or pen.clock().date()
    pile, mistakes = _Pile(), []
    for name, content in named:
        mistakes += _read(pile, name, content)[1]
    if mistakes:
        raise InputErrors(mistakes)
    if pile.houses:
        raise InputError("House settings are adopted, not loaded.", mend="Use: drybank adopt STORE BANK --file FILE")
    entries, changes = _sheet_and_store_entries(book, pile, pen, when, store)
    if is_real and entries:
        book.append(entries)
    return Loaded(from_date=when.isoformat(), changes=tuple(changes), is_entered=is_real and bool(entries))


def _sheet_and_store_entries(
    book: Book, pile: _Pile, pen: Pen, when: date, only: str
) -> tuple[list[Entry], list[Change]]:
    entries: list[Entry] = []
    changes: list[Change] = []
    booked = set(book.stores())
    for key in [*pile.stores, *(k for k in sorted(booked) if k not in pile.stores)]:
        if only and key != only:
            continue
        old = book.store_at(key, when) if key in booked else None
        new = pile.stores[key][1] if key in pile.stores else old
        assert new is not None
        held = book.sheets_at(key, when) if key in booked else {}
        used = {m.sheet for m in new.machines}
        sheets = {k: s for k, (_, s) in pile.sheets.items() if k in used}
        lacking = sorted(used - held.keys() - sheets.keys())
        if lacking and key in pile.stores:
            raise InputError(
                f"its machines use control sheets that are not at hand: {', '.join(lacking)}.", where=pile.stores[key][0],
                mend="Name their files too, or load them first.",
            )  # fmt: skip
        wrong = check_store(new, held | sheets)
        if wrong and (key in pile.stores or sheets):
            raise InputErrors(wrong)
        if key in pile.stores and new != old:
            entries.append(pen.entry(key, StoreDated(store=new, from_date=when.isoformat())))
            changes.append(
                Change(
                    store=key,
                    what=f"store {new.name}",
                    is_new=old is None,
                    says=tuple(difference(old, new)) if old else (),
                )
            )
        for name, sheet in sheets.items():
            before = held.get(name)
            if before != sheet:
                entries.append(pen.entry(key, SheetDated(sheet=sheet, from_date=when.isoformat())))
                changes.append(
                    Change(
                        store=key,
                        what=f"sheet {sheet.name}",
                        is_new=before is None,
                        says=tuple(difference(before, sheet)) if before else (),
                    )
                )
    return entries, changes
