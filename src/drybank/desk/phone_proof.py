"""What a phone sends as it was measured: field tests not yet judged, a bag weighed. The desk works it out when it arrives.

A phone without signal does not know what the settings sell or what a tolerance says, and it is not to work it out. It sends
the verdict "cannot tell" with what the watch and the thermometer showed; here the same functions as behind ``drybank prove``
judge it by the settings that stood when it happened. What was measured stays in the entry beside what came of it, and by it
a second sending of the same test is known.

    time sold             pieces, ran s, input, timed ("start" or "top-up")      at a pocket
    coin test             pieces, seconds, change day                            at an input
    exhaust temperature   heat, give or take, "at 15 s" ...                      at a pocket, in the unit °C or °F
    a count by weight     weight_g, one kind of piece with no number
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

import msgspec

from drybank.desk import proof
from drybank.desk.change_day import coin_test_body
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.desk.weighing import Bag, weigh
from drybank.proof import HeatLog, as_entry
from drybank.records.entry import AnyBody, Entry, PiecesCounted, Proved
from drybank.records.errors import DrybankError, InputError
from drybank.records.units import c_from_f

if TYPE_CHECKING:
    from drybank.book import Book

_AT = re.compile(r"at (\d{1,5}(?:\.\d+)?) s")
_BARE: dict[str, frozenset[str]] = {
    "time sold": frozenset({"pieces", "ran s", "input", "timed"}),
    "coin test": frozenset({"pieces", "seconds", "change day"}),
    "exhaust temperature": frozenset({"heat", "give or take"}),
}


def is_bare(body: AnyBody) -> bool:
    """Whether this is something as a phone sends it: measured, and not worked out."""
    if isinstance(body, PiecesCounted):
        is_one = len(body.pieces) == 1 and body.pieces[0].count == 0 and body.minor is None
        return is_one and body.method == "weight" and body.weight_g is not None
    if not isinstance(body, Proved) or body.verdict != "cannot tell" or body.tolerance or body.test not in _BARE:
        return False
    names = {name for name in body.measured if not (body.test == "exhaust temperature" and _AT.fullmatch(name))}
    return names == _BARE[body.test]


def is_of(there: AnyBody, sent: AnyBody) -> bool:
    """Whether what is in the book, worked out, is what is sent, bare or worked out, once more."""
    if isinstance(there, PiecesCounted) and isinstance(sent, PiecesCounted):
        return is_bare(sent) and _without_number(there) == _without_number(sent)
    if not isinstance(there, Proved) or not isinstance(sent, Proved) or (there.test, there.at) != (sent.test, sent.at):
        return False
    names = _BARE.get(there.test, frozenset())
    bare = {k: v for k, v in sent.measured.items() if k in names or _AT.fullmatch(k)}
    return bool(bare) and all(there.measured.get(k) == v for k, v in bare.items()) and len(bare) == len(
        [k for k in there.measured if k in names or _AT.fullmatch(k)]
    )  # fmt: skip


def _without_number(body: PiecesCounted) -> PiecesCounted:
    return msgspec.structs.replace(body, pieces=tuple(msgspec.structs.replace(p, count=0) for p in body.pieces))


def judged(book: Book, entry: Entry) -> tuple[Entry, str]:
    """A bare test with its verdict and what it says; as it came, with the reason, where the desk cannot tell.

    What cannot be judged (settings that nobody entered, a log too short) is evidence all the same and is kept. A weighing
    of coins whose mass is not known raises `InputError`: without a number it would stand for no money.
    """
    body = entry.body
    if isinstance(body, PiecesCounted):
        return _weighed(book, entry, body)
    assert isinstance(body, Proved)
    pen = Pen(by=entry.by, origin=entry.origin, clock=lambda: entry.happened)
    try:
        made, says = _JUDGES[body.test](book, entry, body, pen)
    except DrybankError as bad:
        return entry, f"It is kept as measured; it cannot be judged yet: {bad.sentence()}"
    return msgspec.structs.replace(entry, body=made), says


def _weighed(book: Book, entry: Entry, body: PiecesCounted) -> tuple[Entry, str]:
    """The number of pieces in a bag of one kind, from its weight; the scale was set to nothing with the empty bag on."""
    laid, piece = layout_at(book, entry.store, entry.happened), body.pieces[0]
    done = weigh(Bag(coins=(piece.piece_minor,), currency=laid.store.currency, gross=f"{body.weight_g:.1f} g"))
    if done.count is None:
        raise InputError("This bag cannot be counted by its weight.", mend="Count it by hand.")
    made = msgspec.structs.replace(body, pieces=(msgspec.structs.replace(piece, count=done.count.coins),))
    return msgspec.structs.replace(entry, body=made), done.says


def _number(body: Proved, name: str) -> float:
    value = body.measured[name]
    if isinstance(value, str):
        raise InputError(f"“{value[:40]}” is not a number.", where=name)
    return float(value)


def _with_bare(made: Proved, body: Proved) -> Proved:
    return msgspec.structs.replace(made, measured={**made.measured, **body.measured})


def _time(book: Book, entry: Entry, body: Proved, pen: Pen) -> tuple[Proved, str]:
    timing = proof.Timing(
        pocket=body.at, ran_s=_number(body, "ran s"), pieces=int(_number(body, "pieces")), input=str(body.measured["input"]),
        is_top_up=body.measured["timed"] == "top-up",
    )  # fmt: skip
    done = proof.time_sold(book, entry.store, [timing], proof.How(pen=pen, is_kept=False, happened=entry.happened))
    return _with_bare(as_entry(done.result, at=body.at), body), done.result.says


def _coins(book: Book, entry: Entry, body: Proved, pen: Pen) -> tuple[Proved, str]:
    laid = layout_at(book, entry.store, entry.happened)
    made = coin_test_body(
        book, laid, body.at, int(_number(body, "pieces")), _number(body, "seconds"), day=str(body.measured["change day"]),
        when=entry.happened,
    )  # fmt: skip
    return made, f"{made.measured['seconds']:g} s, {made.measured['expected_s']:g} s expected."


def _heat(book: Book, entry: Entry, body: Proved, pen: Pen) -> tuple[Proved, str]:
    found = sorted((float(m[1]), _number(body, name)) for name in body.measured if (m := _AT.fullmatch(name)))
    is_f = body.unit == "°F"
    give = _number(body, "give or take")
    log = HeatLog(
        seconds=tuple(s for s, _ in found), temps_c=tuple(c_from_f(t) if is_f else t for _, t in found),
        plus_minus_c=give * 5 / 9 if is_f else give, instrument=body.instrument or "exhaust thermometer",
    )  # fmt: skip
    how = proof.How(pen=pen, is_kept=False, happened=entry.happened)
    done = proof.heat_run(book, entry.store, body.at, int(_number(body, "heat")), log, how)
    return _with_bare(as_entry(done.result, at=body.at), body), done.result.says


_JUDGES: dict[str, Callable[[Book, Entry, Proved, Pen], tuple[Proved, str]]] = {
    "time sold": _time, "coin test": _coins, "exhaust temperature": _heat,
}  # fmt: skip
