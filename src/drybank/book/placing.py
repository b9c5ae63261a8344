"""Placing arrivals at the ends of their chains, inside one transaction: the writer's half of append, import and move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from drybank.book import chain, rules
from drybank.records.entry import Corrected, Entry
from drybank.records.errors import ChainBroken, TipMoved

if TYPE_CHECKING:
    from drybank.book.rows import Rows


class Arrival(msgspec.Struct, frozen=True, kw_only=True):
    """An entry on its way into the chain; an import brings the moment of booking and the hash it had elsewhere.

    With ``seq`` it must come to stand at that very place, so that its hash stays what it was.
    """

    written: chain.Written
    booked: str
    old_hash: str = ""
    seq: int | None = None


class Placing:
    """Looks up once what all arrivals need, then gives each its line."""

    def __init__(
        self,
        rows: Rows,
        arrivals: Sequence[Arrival],
        *,
        doubts: Mapping[str, str],
        expected_tip: Mapping[str, str] | None = None,
        is_salvage: bool = False,
    ) -> None:
        stores = sorted({a.written.entry.store for a in arrivals})
        bodies = (a.written.entry.body for a in arrivals)
        corrected = (b.corrects for b in bodies if isinstance(b, Corrected))
        self._heads = rows.heads(stores)
        self._known = rows.by_ids([*(a.written.entry.id for a in arrivals), *corrected])
        self._expected, self._doubts, self._is_salvage = dict(expected_tip or {}), doubts, is_salvage
        self.lines: list[chain.Line] = []

    def follows(self, store: str, seq: int, prev: str) -> bool:
        """Whether a line with that place and that hash before it would stand where it stood."""
        at, tip = self._heads.get(store, (0, ""))
        return (at + 1, tip) == (seq, prev)

    def place(self, arrival: Arrival) -> chain.Line:
        """The line of an arrival: the one it has already, or a new one at the end of its chain."""
        written = arrival.written
        earlier = self._known.get(written.entry.id)
        if earlier is not None:
            if earlier.text != written.text:
                rules.check_same(chain.read(earlier.text), written.entry)
            return earlier
        store = written.entry.store
        seq, tip = self._heads.get(store, (0, ""))
        self._check(written.entry, seq, tip)
        if arrival.seq not in (None, seq + 1):
            raise TipMoved(
                f"Store “{store}” ends at place {seq} here; entry {written.entry.id} stood at {arrival.seq}."
            )
        line = chain.line_of(written, seq=seq + 1, booked=arrival.booked, prev=tip, old_hash=arrival.old_hash)
        self._heads[store] = (line.seq, line.hash)
        self._known[line.id] = line
        self.lines.append(line)
        return line

    def _check(self, entry: Entry, seq: int, tip: str) -> None:
        if entry.store in self._doubts:
            raise ChainBroken(self._doubts[entry.store])
        expected = self._expected.pop(entry.store, None)
        if expected is not None and expected != tip:
            raise TipMoved(
                f"Somebody added to store “{entry.store}” in between. Nothing was stored; read it again and then repeat."
            )
        if self._is_salvage:  # what it leans on may be lost
            return
        rules.check_begins(entry, seq + 1)
        if isinstance(entry.body, Corrected):
            rules.check_correction(entry, self._known.get(entry.body.corrects))
