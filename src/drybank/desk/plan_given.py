"""What the book knows of a bank beside its store file: its drum, need table, watched customers, the room's air."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import msgspec

from drybank.desk.drying_drum import drum_of, trial_of
from drybank.desk.drying_needs import kept_band, kept_needs
from drybank.records.drying import NeedMap, Pocket
from drybank.records.entry import Watched
from drybank.records.layout import Layout
from drybank.records.plan_given import PlanGiven, WatchSpan

if TYPE_CHECKING:
    from drybank.book import Book


def given_of(book: Book, laid: Layout, bank: str, when: datetime) -> PlanGiven:
    """What is known of a bank: the drum of its best measured pocket, that drum's need table, customers counted at the door."""
    from drybank.plan.gather.loads import bank_pockets

    pocket = _pocket_that_stands(book, laid, [p.key for p in bank_pockets(laid, bank)], when)
    drum, assumed = drum_of(book, laid, pocket, when)
    needs, band = _tables(book, laid, bank, drum, when)
    return PlanGiven(
        drum=drum, drum_assumed=assumed, needs=needs, band=band, watches=watch_spans(book, laid, when)
    )  # fmt: skip


def _pocket_that_stands(book: Book, laid: Layout, keys: Sequence[str], when: datetime) -> str:
    """The pocket of the bank that the newest trial calibrated; without one, the first in walking order."""
    found = [(t[1], key) for key in keys if (t := trial_of(book, laid.store.key, key, when)) is not None]
    return max(found)[1] if found else keys[0]


def _tables(
    book: Book, laid: Layout, bank: str, drum: Pocket, when: datetime
) -> tuple[NeedMap, tuple[float, float] | None]:
    """The bank's need table and, where no minutes are stated, the range of its minutes; kept on disk from the first time on."""
    from drybank.plan.gather.assumed import Assumed
    from drybank.plan.gather.grid import grid_of_bank
    from drybank.plan.gather.loads import bank_pockets, need_axes, normal_kg, reference_level
    from drybank.plan.gather.needs import minutes_band, table_of

    house = book.house_at(laid.store.key, bank, when)
    grid = grid_of_bank(laid, bank, house, Assumed(laid.store.currency, laid.store.units))
    pockets = bank_pockets(laid, bank)
    axes, folder = need_axes(laid.store, pockets), cache_folder()
    plain = msgspec.structs.replace(drum, calibration=None)
    table = kept_needs(plain, grid.temps_c, axes, folder, build=table_of)
    if laid.store.trade.need_minutes:
        return table, None
    found = next(b for b in laid.store.banks if b.key == bank)
    mass, temp = normal_kg(laid.store, found, pockets), grid.temps_c[reference_level(grid, house)]
    return table, kept_band(drum, axes, mass_kg=mass, temp_c=temp, folder=folder, find=minutes_band)


def cache_folder() -> Path:
    """Where need tables are kept: DRYBANK_CACHE, else the user's cache folder. Nothing there is missed when it is deleted."""
    said = os.environ.get("DRYBANK_CACHE") or os.environ.get("XDG_CACHE_HOME", "")
    return Path(said or Path.home() / ".cache") / "drybank"


def watch_spans(book: Book, laid: Layout, when: datetime) -> tuple[WatchSpan, ...]:
    """Watches in which customers were counted, by the store's own clock."""
    zone, out = ZoneInfo(laid.store.time_zone), []
    for told in book.story(laid.store.key, kinds=("watch",), until=when + timedelta(microseconds=1)):
        body = told.body
        if isinstance(body, Watched) and body.customers and body.ends > body.starts:
            at = body.starts.astimezone(zone)
            hour = 24 * at.weekday() + at.hour + at.minute / 60.0 + at.second / 3600.0
            span = (body.ends - body.starts).total_seconds() / 3600.0
            out.append(WatchSpan(from_hour=hour, hours=span, customers=body.customers))
    return tuple(out)
