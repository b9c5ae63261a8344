"""What a person asks to price: settings by the plan's own words, two of them side by side."""

from __future__ import annotations

import re
from collections.abc import Sequence

from drybank.control import common
from drybank.desk.wording import line_from, name_of, over, same_line
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout
from drybank.records.money import Money, parse_money
from drybank.records.plan import PlanInputs
from drybank.records.sheet import HouseSettings, HouseValue
from drybank.records.store import Store

TIME_NAMES = ("time per coin", "time for a coin", "time a coin", "minutes per coin", "time per piece")
_OF_COIN = re.compile(r"^(?P<name>.+?)\s+of\s+(?P<coin>\d+(?:[.,]\d+)?)\s*(?:[a-z]{3})?$", re.IGNORECASE)


def house_asked(laid: Layout, inputs: PlanInputs, texts: Sequence[str], today: HouseSettings) -> HouseSettings:
    """House settings from ``name=value`` texts laid over today's, by the names that a plan prints or those of the controls.

    ``time per coin`` sets the smallest coin; the other coins follow at the same price per minute unless they are named too.
    Every mistake is told at once.
    """
    lines = [s.line for s in common(laid, inputs.bank)]
    said: list[HouseValue] = []
    mistakes: list[InputError] = []
    for text in texts:
        name, sign, value = text.partition("=")
        try:
            line = line_from(f"{_own_name(name, lines, inputs, laid.store)}{sign}{value}", lines, laid.store)
            _refuse_odd(line, said, inputs, laid.store)
            said.append(line)
        except InputError as wrong:
            mistakes.append(wrong)
    if mistakes:
        raise InputErrors(mistakes)
    return over(today, [*said, *_followers(inputs, said)])


def _refuse_odd(line: HouseValue, said: Sequence[HouseValue], inputs: PlanInputs, store: Store) -> None:
    """Refuse what is said twice, and a start price that no number of coins makes up."""
    if any(same_line(line, other) for other in said):
        raise InputError(f"“{name_of(line, store)}” is said twice.", mend="Keep one of the two.")
    piece = inputs.grid.piece_minor
    if line.purpose == "start price" and line.value % piece:
        near = [Money(n * piece, store.currency) for n in (line.value // piece, line.value // piece + 1) if n]
        raise InputError(f"{Money(line.value, store.currency)} is no whole number of coins of {Money(piece, store.currency)}.",
                         where="start price", allowed=" or ".join(map(str, near)))  # fmt: skip


def _own_name(name: str, lines: Sequence[HouseValue], inputs: PlanInputs, store: Store) -> str:
    """The control's name of a line that a plan prints otherwise; any other name as it is."""
    clean, coin = " ".join(name.lower().split()), ""
    found = _OF_COIN.match(clean)
    if found is not None:
        clean, coin = found["name"], found["coin"].replace(",", ".")
    if clean in TIME_NAMES:
        pieces = [x for x in lines if x.purpose == "time per piece"]
        if coin:
            worth = _minor(coin, store)
            pieces = [x for x in pieces if x.piece_minor == worth] or pieces
        else:
            pieces = [x for x in pieces if x.piece_minor in (0, inputs.grid.piece_minor)] or pieces
        if len(pieces) == 1:
            return name_of(pieces[0], store)
    if clean == "cool-down":
        return "cool-down time"
    if clean.startswith("heat "):
        return f"temperature, {clean.removeprefix('heat ')}"
    return name


def _minor(text: str, store: Store) -> int:
    return parse_money(text, store.currency).minor


def _followers(inputs: PlanInputs, said: Sequence[HouseValue]) -> list[HouseValue]:
    """Times of the other coins at the main one's new price per minute, where only the main one was named."""
    from drybank.plan.search.problem import follow_s

    main = next(
        (x for x in said if x.purpose == "time per piece" and x.piece_minor in (0, inputs.grid.piece_minor)), None
    )
    if main is None:
        return []
    named = {x.piece_minor for x in said if x.purpose == "time per piece"}
    return [
        HouseValue(purpose="time per piece", value=follow_s(inputs, main.value, place), piece_minor=other.piece_minor)
        for place, other in enumerate(inputs.grid.other_inputs)
        if other.piece_minor not in named
    ]
