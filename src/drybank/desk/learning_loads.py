"""Loads that somebody saw, timed or weighed, as learning takes them; what customers put in, load by load."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime
from typing import TYPE_CHECKING, Final

import numpy as np

from drybank.control import coin_plan, to_sheet, worth
from drybank.desk.quantity import MASS_G, quantity, watch_s
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.records.control import CoinPlan
from drybank.records.entry import Proved, Watched
from drybank.records.errors import DrybankError, InputError
from drybank.records.layout import Layout
from drybank.records.learn import LoadSeen

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.book.story import Told

TIMED, WEIGHED = "loads timed to dry", "loads weighed"
MOST_AT_ONCE: Final = 60
LEAST_MIN, MOST_MIN = 1.0, 240.0


def enter_timed(book: Book, store: str, text: str, pen: Pen) -> str:
    """Customers' loads stop-watched until dry, ``pocket=28:30 33:05``: entered as measured, no tolerance.

    Raises `InputError` for times that no load takes.
    """
    pocket, parts = _parts(book, store, text, pen, "--timed", "Write 31=28:30 33:05.")
    measured: dict[str, float | str] = {}
    for n, part in enumerate(parts, 1):
        seconds = watch_s(part, where="--timed")
        if not LEAST_MIN <= seconds / 60 <= MOST_MIN:
            raise InputError(f"No load dries in {part}.", where="--timed", allowed="1 to 240 minutes", mend="Write minutes and seconds, 28:30.")  # fmt: skip
        measured[f"load {n} s"] = seconds
    return _enter(book, store, pocket, TIMED, measured, "stop-watch", pen)


def enter_weighed(book: Book, store: str, text: str, pen: Pen) -> str:
    """Customers' loads weighed dry and wet, ``pocket=5.2kg/8.1kg 6kg/9.4kg``: entered as measured, no tolerance."""
    pocket, parts = _parts(book, store, text, pen, "--weighed", "Write 31=5.2kg/8.1kg 6kg/9.4kg, dry before wet.")
    measured: dict[str, float | str] = {}
    for n, part in enumerate(parts, 1):
        dry, cut, wet = part.partition("/")
        ends = [quantity(t, MASS_G, where="--weighed", usual="5.2 kg") / 1000 for t in (dry, wet if cut else dry)]
        if not 0.2 <= ends[0] < ends[1] <= 3 * ends[0] or ends[0] > 60:
            raise InputError(
                f"{part} is not a load: wet must weigh more than dry, and less than three times as much.", where="--weighed",
                allowed="0.2 to 60 kg dry", mend="Weigh it as it leaves the washer, and again when dry: 5.2kg/8.1kg.",
            )  # fmt: skip
        measured |= {f"load {n} dry kg": ends[0], f"load {n} wet kg": ends[1]}
    return _enter(book, store, pocket, WEIGHED, measured, "scale", pen)


def _parts(book: Book, store: str, text: str, pen: Pen, where: str, mend: str) -> tuple[str, list[str]]:
    pocket, cut, rest = text.partition("=")
    laid, parts = layout_at(book, store, pen.clock()), rest.split()
    if not cut or not parts or len(parts) > MOST_AT_ONCE:
        raise InputError(f"“{text[:60]}” names no pocket with 1 to {MOST_AT_ONCE} loads.", where=where, mend=mend)
    if pocket.strip() not in laid.pockets:
        raise InputError(f"There is no pocket “{pocket.strip()[:20]}” in {laid.store.name}.", where=where, allowed=", ".join(laid.pockets))  # fmt: skip
    return pocket.strip(), parts


def _enter(
    book: Book, store: str, pocket: str, test: str, measured: dict[str, float | str], instrument: str, pen: Pen
) -> str:  # fmt: skip
    body = Proved(test=test, at=pocket, measured=measured, verdict="no tolerance", instrument=instrument)
    return book.append([pen.entry(store, body)])[0].entry.id


def loads_seen(book: Book, laid: Layout, story: Sequence[Told], when: datetime) -> tuple[list[LoadSeen], list[str]]:
    """Loads in minutes of heat: watched load by load, stop-watched, or weighed; and what was left out.

    A weighed load is run through the drying of its pocket, as the pocket is calibrated; its need lies in that run's band.
    """
    out: list[LoadSeen] = []
    notes: list[str] = []
    skipped = short = lost = 0
    for told in story:
        body = told.body
        if isinstance(body, Proved) and body.test == TIMED:
            out += [LoadSeen(need_low=s / 60, need_high=s / 60) for s in _figures(body, "s")]
        elif isinstance(body, Proved) and body.test == WEIGHED:
            made = _weighed(book, laid, body, when)
            lost += len(_figures(body, "dry kg")) - len(made)
            out += made
        elif isinstance(body, Watched) and body.first_pieces:
            rule = _rule(book, laid, body, told.happened)
            if rule is None or len(body.top_up_pieces) not in (0, len(body.first_pieces)):
                skipped += 1
                continue
            more = body.top_up_pieces or (0,) * len(body.first_pieces)
            started = [
                _load(rule, f, m) for f, m in zip(body.first_pieces, more, strict=True) if f >= rule.start_pieces
            ]
            short += len(more) - len(started)
            out += started
    if short:
        notes.append(
            f"{short} watched loads were left out: their first pieces do not start a drum by the settings then."
        )
    if skipped:
        notes.append(
            f"{skipped} watches were left out: top-ups must stand load by load (0 for none), and settings be known."
        )
    if lost:
        notes.append(f"{lost} weighed loads were left out: the drying run does not dry them.")
    return out, notes


def purchases_of(story: Sequence[Told]) -> list[tuple[int, int]]:
    """Pieces at first and in all of every load that was watched with its purchases."""
    out = []
    for told in story:
        body = told.body
        if isinstance(body, Watched) and body.first_pieces and len(body.top_up_pieces) in (0, len(body.first_pieces)):
            more = body.top_up_pieces or (0,) * len(body.first_pieces)
            out += [(f, f + m) for f, m in zip(body.first_pieces, more, strict=True) if f > 0]
    return out


def _figures(body: Proved, unit: str) -> list[float]:
    """Measured figures of loads 1, 2, ... in a unit; what is no number is passed over."""
    named = [body.measured.get(f"load {n} {unit}") for n in range(1, MOST_AT_ONCE + 1)]
    return [float(v) for v in named if isinstance(v, float | int) and np.isfinite(v) and v > 0]


def _weighed(book: Book, laid: Layout, body: Proved, when: datetime) -> list[LoadSeen]:
    from drybank.desk.drying import dry_in_store
    from drybank.desk.drying_changes import Ask

    out: list[LoadSeen] = []
    for dry, wet in zip(_figures(body, "dry kg"), _figures(body, "wet kg"), strict=False):
        with suppress(DrybankError):
            ran = dry_in_store(book, laid.store.key, body.at, Ask(mass_kg=dry, residual_frac=wet / dry - 1), when)
            band = ran.bands.get("minutes_to_dry")
            if band is not None and 0 < band.low < band.high:
                out.append(LoadSeen(need_low=band.low, need_high=band.high, is_calibration=True))
    return out


def _load(rule: CoinPlan, first: int, more: int) -> LoadSeen:
    heat = rule.first_time_s - (rule.cool_down_s if rule.cool_is_inside else 0)
    at_first = (heat + (first - rule.start_pieces) * rule.time_per_piece_s) / 60.0
    sold = at_first + more * rule.time_per_piece_s / 60.0
    low = sold - rule.time_per_piece_s / 60.0 if more == 1 else at_first if more else 0.0
    return LoadSeen(
        need_low=low,
        need_high=sold,
        first=at_first,
        first_step=rule.time_per_piece_s / 60.0,
        start=heat / 60.0,
        sold=sold,
    )


def _rule(book: Book, laid: Layout, body: Watched, when: datetime) -> CoinPlan | None:
    """The sale rule of the bank watched: that of the pockets named, or the store's only one."""
    pockets = {p for p, _ in body.pocket_loads}
    banks = {c.bank for c in laid.controls.values() if not pockets or pockets & set(c.pockets)}
    if len(banks) != 1:
        return None
    bank = banks.pop()
    control = next(c for c in laid.controls.values() if c.bank == bank)
    house = book.house_at(laid.store.key, bank, when)
    coins = [i for i in laid.inputs.values() if i.control == control.key and i.means == "coin" and i.piece_minor > 0]
    if not house or not coins:
        return None
    main = min(coins, key=lambda i: i.piece_minor)
    try:
        return coin_plan(
            laid.sheets[control.sheet],
            to_sheet(laid, control.key, house),
            main.sheet_input,
            worth=worth(laid, control.key),
        )
    except DrybankError:
        return None
