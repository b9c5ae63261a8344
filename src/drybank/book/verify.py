"""Verifying: does the chain hold, from its first entry to the seals kept elsewhere?

`check_chain` is a pure pass over lines. It goes on after a fault as if the damaged line stood as found, so that each damage
is named once and the rest is still judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import msgspec

from drybank.book.chain import Line, columns, entry_hash, read
from drybank.records.entry import Sealed
from drybank.records.errors import ChainBroken, InputError

WHAT_IT_PROVES = "A true chain proves that nobody altered an entry after it was booked, not that the entry was true."


class Seal(msgspec.Struct, frozen=True, kw_only=True):
    """The tip of a store's chain at a moment, to be kept where nobody with access to the book can reach it."""

    store: str
    seq: int
    tip: str
    when: str = ""

    def line(self) -> str:
        """One line to print, mail or write down."""
        return f"drybank seal {self.seq} {self.tip} {self.when} {self.store}"

    @classmethod
    def read(cls, line: str) -> Seal:
        """The seal of such a line."""
        parts = line.strip().split(" ", 5)
        if len(parts) != 6 or parts[:2] != ["drybank", "seal"] or not parts[2].isdecimal() or len(parts[3]) != 64:
            raise InputError(
                f"“{line.strip()[:60]}” is not a seal.",
                mend="Copy the whole line, from “drybank seal” to the store's key.",
            )
        return cls(store=parts[5], seq=int(parts[2]), tip=parts[3].lower(), when=parts[4])


class ChainFault(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that does not hold, at one place of one chain."""

    store: str
    seq: int
    entry: str
    what: str

    def sentence(self) -> str:
        if not self.seq:
            return f"{self.store}: {self.what}"
        at = f" (entry {self.entry})" if self.entry else ""
        return f"{self.store}, place {self.seq}{at}: {self.what}"


class StoreChecked(msgspec.Struct, frozen=True, kw_only=True):
    store: str
    entries: int
    tip: str


class VerifyReport(msgspec.Struct, frozen=True, kw_only=True):
    """What was checked and what did not hold. Notices are worth knowing and no fault of the chain."""

    stores: tuple[StoreChecked, ...]
    faults: tuple[ChainFault, ...] = ()
    notices: tuple[str, ...] = ()
    seals_checked: int = 0

    @property
    def is_whole(self) -> bool:
        return not self.faults

    def sentence(self) -> str:
        entries = sum(s.entries for s in self.stores)
        stores = "store" if len(self.stores) == 1 else "stores"
        against = f", held against {self.seals_checked} seals" if self.seals_checked else ", without any seal"
        head = f"{entries} entries of {len(self.stores)} {stores} checked{against}: "
        if self.is_whole:
            return head + f"the chain holds. {WHAT_IT_PROVES}"
        return head + f"{len(self.faults)} faults. " + " ".join(f.sentence() for f in self.faults)


class _Pass(msgspec.Struct):
    """What the pass carries from line to line."""

    store: str
    seals: list[Seal]
    faults: list[ChainFault] = []
    notices: list[str] = []
    seq: int = 0
    tip: str = ""
    booked: str = ""
    hashes: dict[int, str] = {}
    count: int = 0

    def say(self, line: Line | None, what: str, seq: int | None = None) -> None:
        place = self.seq if seq is None else seq
        self.faults.append(ChainFault(store=self.store, seq=place, entry=line.id if line else "", what=what))


def check_chain(
    store: str, lines: Iterable[Line], *, head: Callable[[], tuple[int, str] | None], seals: Sequence[Seal] = ()
) -> tuple[StoreChecked, list[ChainFault], list[str]]:
    """Every line of a chain against its own hash, the one before, its columns, the head and the seals.

    ``head`` is asked after the last line, since another program may add to the chain meanwhile.
    """
    state = _Pass(store=store, seals=sorted((s for s in seals if s.store == store), key=lambda s: s.seq))
    try:
        for line in lines:
            _check_place(state, line)
            _check_text(state, line)
            _check_seals(state, line)
            state.seq, state.tip, state.booked, state.count = line.seq, line.hash, line.booked, state.count + 1
            state.hashes[line.seq] = line.hash
    except ChainBroken as bad:
        state.say(None, f"behind this place the file cannot be read. {bad.sentence()}")
    else:
        _check_end(state, head())
    return StoreChecked(store=store, entries=state.count, tip=state.tip), state.faults, state.notices


def _check_place(state: _Pass, line: Line) -> None:
    if line.seq != state.seq + 1:
        missing = line.seq - state.seq - 1
        state.say(
            line, f"{missing} entries before it are missing." if missing > 0 else "it stands out of order.", line.seq
        )
    elif line.prev != state.tip:
        state.say(line, "it does not follow the entry before, which was changed, replaced or moved.", line.seq)
    if line.booked < state.booked:
        state.notices.append(
            f"{state.store}, place {line.seq}: booked at {line.booked}, before the entry in front of it ({state.booked}). "
            "The computer's clock was set back; the order of the chain is not affected."
        )


def _check_text(state: _Pass, line: Line) -> None:
    if line.hash != entry_hash(line.prev, line.text, line.seq, line.booked, line.old_hash):
        state.say(line, "what it says does not agree with its hash: it was changed after it was booked.", line.seq)
    try:
        entry = read(line.text)
    except InputError as bad:
        state.say(line, f"it cannot be read: {bad.what}", line.seq)
        return
    for name, value in columns(entry).items():
        if getattr(line, name) != value:
            state.say(line, f"its column “{name}” says “{getattr(line, name)}”, the entry “{value}”.", line.seq)
    if isinstance(entry.body, Sealed) and not line.old_hash:  # one from another chain sealed that one
        place, tip = entry.body.seq, entry.body.tip
        if not 0 < place < line.seq:
            state.say(line, f"it seals place {place}, which did not come before it.", line.seq)
        elif state.hashes.get(place, tip) != tip:
            state.say(
                line, f"it sealed place {place} with another hash: what stood up to there was rewritten.", line.seq
            )


def _check_seals(state: _Pass, line: Line) -> None:
    for seal in state.seals:
        if seal.seq == line.seq and seal.tip != line.hash:
            state.say(
                line, f"the seal of {seal.when or 'that place'} names another hash: the chain was rewritten.", line.seq
            )


def _check_end(state: _Pass, head: tuple[int, str] | None) -> None:
    for seal in state.seals:
        if seal.seq > state.seq:
            state.say(
                None,
                f"the seal of {seal.when or 'a later moment'} was made at place {seal.seq}, but the chain ends at "
                f"{state.seq}: its tail was cut.",
                seal.seq,
            )
    if head is None and state.count:
        state.say(None, "the book does not know where this chain ends.")
    elif head is not None and head != (state.seq, state.tip):
        state.say(None, f"the book remembers an end at place {head[0]} (hash {head[1][:12]}…), not this one.")


def merge(
    parts: Iterator[tuple[StoreChecked, list[ChainFault], list[str]]], file_faults: Sequence[str], seals_checked: int
) -> VerifyReport:
    """One report of several stores and of the file that holds them."""
    done = list(parts)
    of_file = [ChainFault(store="the file", seq=0, entry="", what=what) for what in file_faults]
    return VerifyReport(
        stores=tuple(checked for checked, _, _ in done),
        faults=(*(fault for _, faults, _ in done for fault in faults), *of_file),
        notices=tuple(notice for _, _, notices in done for notice in notices),
        seals_checked=seals_checked,
    )
