"""Closed forms of the sale rule for one input, for hot paths: pieces put in at once on a pocket at rest, shut and cold.

Each says in plain arithmetic what `drybank.control.sell` says event by event; the tests hold the two together.
``heat`` is the heat chosen before the first piece (None: the one the control starts with).
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from drybank.control.terms import is_free_at, piece_time, price_at, share_of_start, terms
from drybank.records.control import CoinPlan, FirstStart, InputTerms, Terms
from drybank.records.errors import InputError
from drybank.records.sheet import ControlSheet, Values

Worth = Mapping[str, int]


def _piece(terms: Terms, input_key: str) -> InputTerms:
    found = terms.inputs.get(input_key)
    if found is None:
        raise InputError(f"“{input_key}” is not an input.", allowed=", ".join(terms.inputs))
    return found


def _is_locked(terms: Terms, input_key: str) -> bool:
    return terms.takes_no_pieces or _piece(terms, input_key).is_locked


def _heat(terms: Terms, heat: int | None) -> int:
    return terms.heat_at_start if heat is None else heat


def pieces_on(terms: Terms, input_key: str, heat: int | None = None) -> int | None:
    """`pieces_to_start` for terms already read."""
    piece = _piece(terms, input_key)
    if is_free_at(terms, None) and terms.free_time_s > 0:
        return 0
    if terms.takes_no_pieces or piece.is_locked:
        return None
    price = price_at(terms, _heat(terms, heat), None)
    minor, share = share_of_start(piece, price)
    if share:
        return -(-share.denominator // share.numerator)
    return -(-(price or 0) // minor) if minor > 0 else None


def start_time_on(terms: Terms, input_key: str, heat: int | None = None) -> int:
    """Seconds that the fewest pieces which start a pocket give."""
    piece, at = _piece(terms, input_key), _heat(terms, heat)
    count = pieces_on(terms, input_key, heat)
    if count is None:
        return 0
    if count == 0:
        return terms.free_time_s
    price = price_at(terms, at, None)
    minor, _share = share_of_start(piece, price)
    over_part = Fraction(minor * count - (price or 0), minor) if minor else Fraction(0)
    each = piece_time(piece, at, is_top_up=False)
    extra = int(over_part * each)
    if terms.start == "sum":
        return count * each - (0 if terms.over_payment == "time" else extra)
    if terms.over_payment != "time":
        return terms.first_time_s
    limit = terms.top_up_limit_s
    return terms.first_time_s + (extra if limit is None else min(extra, max(0, limit - terms.first_time_s)))


def topped_up_on(terms: Terms, input_key: str, left_s: int, pieces: int, heat: int | None = None) -> int:
    """Seconds on the clock after so many more pieces with ``left_s`` > 0 on it and no cool-down begun."""
    each = piece_time(_piece(terms, input_key), _heat(terms, heat), is_top_up=True)
    if terms.top_up == "refused" or each <= 0:
        return left_s
    limit = terms.top_up_limit_s
    if limit is None:
        return left_s + pieces * each
    if terms.at_limit == "capped":
        return max(left_s, min(limit, left_s + pieces * each))
    return left_s + min(pieces, max(0, limit - left_s) // each) * each


def time_on(terms: Terms, input_key: str, pieces: int, heat: int | None = None) -> int:
    """`time_for` for terms already read."""
    count = pieces_on(terms, input_key, heat)
    if count is None or pieces < max(1, count) or _is_locked(terms, input_key):
        return 0
    start = start_time_on(terms, input_key, heat)
    return topped_up_on(terms, input_key, start, pieces - count, heat) if start else 0


def heated_on(terms: Terms, sold_s: int) -> int:
    """`heated_s` for terms already read."""
    return max(0, sold_s - terms.cool_down_s) if terms.cool_down == "inside" else sold_s


def rate_on(
    terms: Terms, input_key: str, heat: int | None = None, *, of: Literal["piece", "start"] = "piece"
) -> Fraction | None:
    """`price_per_minute` for terms already read."""
    piece = _piece(terms, input_key)
    if of == "start":
        count, seconds = pieces_on(terms, input_key, heat), start_time_on(terms, input_key, heat)
        minor = (count or 0) * piece.worth_minor
    else:
        seconds = (
            0
            if terms.top_up == "refused" or _is_locked(terms, input_key)
            else piece_time(piece, _heat(terms, heat), is_top_up=True)
        )
        minor = piece.worth_minor
    return Fraction(minor * 60, seconds) if seconds and minor else None


def plan_on(terms: Terms, input_key: str, heat: int | None = None) -> CoinPlan:
    """`coin_plan` for terms already read."""
    piece, at = _piece(terms, input_key), _heat(terms, heat)
    count = pieces_on(terms, input_key, heat)
    if count is None:
        raise InputError(f"No number of pieces of “{input_key}” starts this control.", where=input_key)
    return CoinPlan(
        input=input_key,
        piece_minor=piece.worth_minor,
        start_pieces=count,
        first_time_s=start_time_on(terms, input_key, heat),
        time_per_piece_s=piece_time(piece, at, is_top_up=True),
        top_up_limit_s=terms.top_up_limit_s or 0,
        limit_refuses=terms.at_limit == "refused",
        top_up_is_taken=terms.top_up == "adds" and not _is_locked(terms, input_key),
        cool_down_s=terms.cool_down_s,
        cool_is_inside=terms.cool_down == "inside",
        coin_heats_again=terms.coin_in_cool_down == "heats again",
        door_stops_clock=terms.door == "clock stops",
    )


def pieces_to_start(
    sheet: ControlSheet, values: Values, input_key: str, *, worth: Worth | None = None, heat: int | None = None
) -> int | None:
    """The fewest pieces of one input that start a pocket; 0 where drying is free, None where none ever do."""
    return pieces_on(terms(sheet, values, worth=worth), input_key, heat)


def time_for(
    sheet: ControlSheet,
    values: Values,
    input_key: str,
    pieces: int,
    *,
    worth: Worth | None = None,
    heat: int | None = None,
) -> int:
    """Seconds sold for so many pieces of one input put in at once; 0 below the start price."""
    return time_on(terms(sheet, values, worth=worth), input_key, pieces, heat)


def first_start(
    sheet: ControlSheet, values: Values, input_key: str, *, worth: Worth | None = None, heat: int | None = None
) -> FirstStart | None:
    """The fewest pieces that start a pocket and what they give, with and without heat; None where none ever do."""
    return first_on(terms(sheet, values, worth=worth), input_key, heat)


def first_on(terms: Terms, input_key: str, heat: int | None = None) -> FirstStart | None:
    """`first_start` for terms already read."""
    count = pieces_on(terms, input_key, heat)
    if count is None:
        return None
    sold = start_time_on(terms, input_key, heat)
    heated = heated_on(terms, sold)
    return FirstStart(
        input=input_key,
        pieces=count,
        minor=count * _piece(terms, input_key).worth_minor,
        sold_s=sold,
        heated_s=heated,
        cool_s=sold - heated if terms.cool_down == "inside" else terms.cool_down_s,
    )


def price_per_minute(
    sheet: ControlSheet,
    values: Values,
    input_key: str,
    *,
    worth: Worth | None = None,
    heat: int | None = None,
    of: Literal["piece", "start"] = "piece",
) -> Fraction | None:
    """Minor units for a minute of sold time, exact: of a piece while time runs, or of the start. None for no time."""
    return rate_on(terms(sheet, values, worth=worth), input_key, heat, of=of)


def heated_s(sheet: ControlSheet, values: Values, sold_s: int) -> int:
    """Seconds with heat of so much sold time, run through in one go with a heat on."""
    return heated_on(terms(sheet, values), sold_s)


def coin_plan(
    sheet: ControlSheet, values: Values, input_key: str, *, worth: Worth | None = None, heat: int | None = None
) -> CoinPlan:
    """The sale rule of one input in plain numbers, for the kernels of traffic and plan."""
    return plan_on(terms(sheet, values, worth=worth), input_key, heat)
