"""A book that reads each store's chain once: what was added since is read on, the rest is held while the pages run.

The story it tells is the book's own (`drybank.book.story.tell`), told from lines held in memory. Every call asks the book for
the chain's end first; where it moved, only the new lines are read, and they must carry on from the last one held, else all
is read anew.
"""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections import OrderedDict
from collections.abc import Sequence
from datetime import datetime

from drybank.book import Book
from drybank.book.story import Told, tell
from drybank.records.entry import KINDS, Booked

MOST_LINES = 400_000
_Asked = tuple[tuple[str, ...], bool]


class _Held:
    """One store's chain as far as it was read, and the stories told of it so far."""

    def __init__(self, chain: list[Booked], tip: str) -> None:
        self.chain, self.tip = chain, tip
        self.by_kind: dict[str, list[Told]] = {}
        for told in tell(chain, kinds=KINDS, with_taken_back=True):
            self.by_kind.setdefault(told.kind, []).append(told)
        self.stories: dict[_Asked, tuple[list[Told], list[datetime]]] = {}

    def story(self, kinds: tuple[str, ...], with_taken_back: bool) -> tuple[list[Told], list[datetime]]:
        """Told lines of some kinds (none named: all but corrections) in their order, and their moments."""
        key = (kinds, with_taken_back)
        if key not in self.stories:
            wanted = kinds or tuple(k for k in self.by_kind if k != "correction")
            found = [
                t
                for k in dict.fromkeys(wanted)
                for t in self.by_kind.get(k, ())
                if with_taken_back or not t.is_taken_back
            ]
            found.sort(key=lambda t: (t.entry.happened, t.seq))
            self.stories[key] = (found, [t.happened for t in found])
        return self.stories[key]


class ReadOnce(Book):
    """The book behind the pages. It adds nothing to what the book says; it remembers what it read."""

    def __init__(self, book: Book) -> None:
        super().__init__(book.where, book.rows, book.clock, is_ours=False)
        self._held: OrderedDict[str, _Held] = OrderedDict()
        self._door = threading.Lock()

    def story(
        self, store: str, *, kinds: Sequence[str] = (), since: datetime | None = None, until: datetime | None = None,
        with_taken_back: bool = False,
    ) -> list[Told]:  # fmt: skip
        """As the book tells it."""
        told, moments = self._of(store).story(tuple(kinds), with_taken_back)
        first = bisect_left(moments, since) if since is not None else 0
        end = bisect_left(moments, until) if until is not None else len(told)
        return told[first:end]

    def _of(self, store: str) -> _Held:
        _seq, tip = self.head(store)
        with self._door:
            held = self._held.get(store)
            if held is None or held.tip != tip:
                held = self._held[store] = _Held(self._read_on(store, held.chain if held else []), tip)
                while len(self._held) > 1 and sum(len(h.chain) for h in self._held.values()) > MOST_LINES:
                    self._held.popitem(last=False)
            self._held.move_to_end(store)
            return held

    def _read_on(self, store: str, chain: list[Booked]) -> list[Booked]:
        """The chain held before with what was added since; all of it anew where that does not carry on from it."""
        after = chain[-1].seq if chain else 0
        more = list(self._read(self.lines(store, after)))
        if chain and more and more[0].prev != chain[-1].hash:
            return self._read_on(store, [])
        return [*chain, *more]
