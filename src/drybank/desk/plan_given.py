"""What the book knows of a bank beside its store file: its drum, need table, watched customers, the room's air."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from drybank.desk.drying_drum import drum_of_bank
from drybank.desk.drying_needs import kept_band, kept_needs
from drybank.records.entry import Watched
from drybank.records.layout import Layout
from drybank.records.plan_given import PlanGiven, WatchSpan

if TYPE_CHECKING:
    from drybank.book import Book


def given_of(book: Book, laid: Layout, bank: str, when: datetime) -> PlanGiven:
    """What is known of a bank: the drum of its best measured pocket, that drum's kept need table, customers counted at the
    door."""
    from drybank.plan.gather.loads import bank_pockets
    from drybank.plan.gather.needs import minutes_band, table_of

    drum, assumed = drum_of_bank(book, laid, [p.key for p in bank_pockets(laid, bank)], when)
    folder = cache_folder()
    return PlanGiven(
        drum=drum, drum_assumed=assumed, watches=watch_spans(book, laid, when),
        find_needs=lambda pocket, temps, axes: kept_needs(pocket, temps, axes, folder, build=table_of),
        find_band=lambda pocket, axes, kg, at: kept_band(pocket, axes, kg, at, folder=folder, find=minutes_band),
    )  # fmt: skip


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
