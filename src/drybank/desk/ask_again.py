"""Readings about to be entered, from a file or a form: which to read once more, blind, before they are kept.

Like `drybank.desk.second_look`, of which this is the form for several entries at once: each draft is held against the book
and against the drafts before it, so that a file of ten weeks is looked at week by week.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.second_look import doubts_of
from drybank.desk.standing import layout_at
from drybank.records.entry import Entry, PartReplaced, ReadingTaken

if TYPE_CHECKING:
    from drybank.book import Book

Past = dict[str, list[tuple[datetime, int]]]


class AskAgain(msgspec.Struct, frozen=True, kw_only=True):
    """One reading to look at once more: of which draft, which device; ``says`` names no number and no range."""

    entry: str
    happened: datetime
    device: str
    says: str


def ask_again(
    book: Book, store: str, drafts: Iterable[Entry], *, sure: Mapping[str, Collection[str]] | None = None
) -> list[AskAgain]:
    """Which readings among drafts are unlikely and were not read twice; nothing is entered, nothing changed.

    ``sure`` names, by draft, the devices that were read twice with the same result: they are let pass. Drafts of other kinds
    are followed where they matter (an exchanged counter begins anew) and never asked about.
    """
    mine = sorted((d for d in drafts if d.store == store), key=lambda d: d.happened)
    readings = [d for d in mine if isinstance(d.body, ReadingTaken)]
    if not readings:
        return []
    laid = layout_at(book, store)
    known = {*laid.meters, *laid.counters}
    lines = [(t.happened, t.body) for t in book.story(store, kinds=("reading", "replacement"))]
    ids = {id(d.body): d.id for d in readings}
    lines = sorted([*lines, *((d.happened, d.body) for d in mine)], key=lambda line: line[0])
    past: Past = {}
    out: list[AskAgain] = []
    for happened, body in lines:
        if isinstance(body, PartReplaced):
            for first in body.first:
                past[first.device] = [(happened, first.shown)] if first.shown is not None else []
        if not isinstance(body, ReadingTaken):
            continue
        values = tuple(v for v in body.values if v.device in known and v.shown is not None)
        draft = ids.get(id(body), "")
        if draft:
            twice = tuple((sure or {}).get(draft, ()))
            near = {v.device: past.get(v.device, []) for v in values}
            doubted = {d.device: d for d in doubts_of(laid, values, near, happened, twice) if not d.is_kept}
            out += [AskAgain(entry=draft, happened=happened, device=k, says=d.says) for k, d in doubted.items()]
            values = tuple(
                v for v in values if v.device not in doubted
            )  # the next is held against the last one believed
        for value in values:
            past.setdefault(value.device, []).append((happened, value.shown or 0))
    return out
