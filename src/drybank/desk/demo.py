"""The demo town's book: three invented stores, two years, faults written down beside them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from drybank.book.files import HouseFile, read_settings, read_sheet, read_store
from drybank.control import layout, to_sheet
from drybank.desk.demo_history import replaced_boards, told
from drybank.desk.demo_town import FIRST_DAY, WEEKS, PlantedFault, faults, files
from drybank.desk.stamp import Pen
from drybank.records.entry import (
    Entry,
    PartReplaced,
    PlanAdopted,
    SettingChanged,
    SettingValue,
    SheetDated,
    SheetReadBack,
    StoreDated,
)
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.sheet import ControlSheet

if TYPE_CHECKING:
    from drybank.book import Book

STORES = (
    ("lantern_row.toml", "lantern_settings.toml"),
    ("weir_court.toml", "weir_settings.toml"),
    ("high_saddle.toml", "saddle_settings.toml"),
)
NOT_READ_BACK = "birch"
Tell = Callable[[str, int, int], None]


class DemoBook(msgspec.Struct, frozen=True, kw_only=True):
    """What was made: where, how much, and what was planted."""

    path: str
    stores: tuple[str, ...]
    entries: int
    first_day: str
    last_day: str
    faults: tuple[PlantedFault, ...]


def last_day() -> date:
    """The Sunday that ends the demo's last week."""
    return date.fromisoformat(FIRST_DAY) + timedelta(days=7 * WEEKS - 1)


def town() -> tuple[tuple[Layout, HouseFile], ...]:
    """The three stores with their sheets laid over them, and their house settings."""
    texts = files()
    sheets: dict[str, ControlSheet] = {}
    for name, text in texts.items():
        if text.find('drybank = "sheet') >= 0:
            sheet = read_sheet(text, name)
            sheets[sheet.key] = sheet
    out = []
    for store_file, settings_file in STORES:
        store = read_store(texts[store_file], store_file)
        used = {m.sheet for m in store.machines}
        out.append(
            (
                layout(store, {k: s for k, s in sheets.items() if k in used}),
                read_settings(texts[settings_file], settings_file),
            )
        )
    return tuple(out)


def make_demo(path: str | Path, *, tell: Tell | None = None) -> DemoBook:
    """Make the demo's book anew at ``path``; an earlier demo there is taken away first.

    Refused where that book holds entries which no demo wrote: they are somebody's own.
    """
    from drybank.book import open_book

    _refuse_what_is_not_ours(Path(path))
    for old in (Path(path), Path(f"{path}-wal"), Path(f"{path}-shm")):
        old.unlink(missing_ok=True)
    made, total, stores = 0, 0, town()
    with open_book(path, create=True) as book:
        for laid, houses in stores:
            if tell:
                tell(f"Two years of {laid.store.name}", made, len(stores))
            total += len(_enter(book, laid, houses))
            made += 1
    return DemoBook(
        path=str(path), stores=tuple(laid.store.key for laid, _ in stores), entries=total, first_day=FIRST_DAY,
        last_day=last_day().isoformat(), faults=faults(),
    )  # fmt: skip


def _refuse_what_is_not_ours(path: Path) -> None:
    from drybank.book import open_book

    if not path.exists():
        return
    with open_book(path) as book:
        own = sum(
            not _is_ours(t.entry.origin) for store in book.stores() for t in book.story(store, with_taken_back=True)
        )
    if own:
        raise InputError(
            f"{path} holds {own} entries that the demo did not write.",
            mend="Move that file away, or name another folder: --out.",
        )


def _is_ours(origin: str) -> bool:
    return origin in ("demo", "trial") or origin.startswith("file readings.csv ")


def _enter(book: Book, laid: Layout, houses: HouseFile) -> list[Entry]:
    """One store's beginning, then its history, in one transaction."""
    begun = datetime.combine(date.fromisoformat(FIRST_DAY) - timedelta(days=7), time(8), UTC)
    pen = Pen(by="owner", origin="demo", clock=lambda: begun)
    when = (begun - timedelta(days=30)).date().isoformat()
    store = laid.store.key
    entries = [pen.entry(store, StoreDated(store=laid.store, from_date=when))]
    entries += [pen.entry(store, SheetDated(sheet=s, from_date=when)) for s in laid.sheets.values()]
    entries += [pen.entry(store, PlanAdopted(bank=b.bank, values=b.values, from_date=when)) for b in houses.banks]
    by_bank = {b.bank: b.values for b in houses.banks}
    entries += [_left(laid, key, by_bank, pen) for key in laid.controls]
    for sheet in laid.sheets.values():
        if sheet.key != NOT_READ_BACK:
            control = next(c.key for c in laid.controls.values() if c.sheet == sheet.key)
            entries.append(pen.entry(store, SheetReadBack(sheet=sheet.key, revision=sheet.revision, control=control)))
    history = told(laid, by_bank, faults())
    again = set(replaced_boards(history))
    for entry in history:
        if isinstance(entry.body, PartReplaced) and entry.body.at in again:
            after = Pen(by="technician", origin="demo", clock=lambda e=entry: e.happened + timedelta(minutes=25))  # type: ignore[misc]
            entries.append(_left(laid, entry.body.at, by_bank, after))
    entries += history
    book.append(entries)
    return entries


def _left(laid: Layout, control: str, houses: dict[str, tuple], pen: Pen) -> Entry:  # type: ignore[type-arg]
    """One control set as its bank's house settings say."""
    one = laid.controls[control]
    values = to_sheet(laid, control, houses[one.bank])
    body = SettingChanged(
        control=control, bank=one.bank, sheet_revision=laid.sheets[one.sheet].revision, is_read_back=one.sheet != NOT_READ_BACK,
        left=tuple(SettingValue(setting=k, value=v) for k, v in values.items()),
    )  # fmt: skip
    return pen.entry(laid.store.key, body)
