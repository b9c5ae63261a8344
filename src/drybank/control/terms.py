"""A control's values as the sale rule reads them: every number in seconds, minor units or pieces.

What is not among the values is taken from the sheet's factory value where it states one, and named in ``assumed``;
a piece's worth comes from its setting if that is among the values, then from the store, then from the factory value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, cast

from drybank.control.grid import SCALES, base_of, holds, off_grid, show, to_base
from drybank.records.control import InputTerms, Terms
from drybank.records.errors import InputError, InputErrors
from drybank.records.sheet import ControlSheet, Purpose, SettingLine, Values

ON_WORDS = ("on", "yes", "free", "locked")
OFF_WORDS = ("off", "no", "paid", "open")
DOOR_WORDS = ("clock runs", "clock stops")
SALE_PURPOSES: tuple[Purpose, ...] = (
    "start price", "start pieces", "piece value", "token value", "pieces per count", "held-money timeout", "price by hour",
    "price by heat", "time per piece", "time per value", "first time", "top-up time", "top-up limit", "time by heat",
    "heat at start", "cool-down time", "anti-crease time", "reversing run", "reversing rest", "door rule", "free drying",
    "free time", "free from hour", "free until hour", "coin lock-out",
)  # fmt: skip


def is_on(line: SettingLine, value: int) -> bool:
    """Whether a switch's value means on: by its word, or by any number but 0 where it has no words."""
    word = line.choices[value].casefold() if 0 <= value < len(line.choices) else ""
    return word in ON_WORDS if word else value != 0


def check_values(sheet: ControlSheet, values: Mapping[str, int]) -> list[InputError]:
    """Keys that are no setting of the sheet, and values off every grid of their line."""
    lines = {line.key: line for line in sheet.settings}
    out = [
        InputError(f"“{key}” is not a setting of {sheet.name}.", where=key, allowed=", ".join(lines))
        for key in values
        if key not in lines
    ]
    for key, line in lines.items():
        if key in values and not any(holds(grid, values[key]) for grid in line.grids):
            out += [off_grid(line, g, to_base(g, values[key]), where=f"{sheet.key}.{key}") for g in line.grids[:1]]
    return out


class _Reader:
    """Finds the base values of a sheet's lines by purpose; notes what it had to assume."""

    def __init__(self, sheet: ControlSheet, values: Values) -> None:
        self.values, self.assumed = values, list[str]()
        self._by_purpose: dict[str, list[SettingLine]] = {}
        for line in sheet.settings:
            self._by_purpose.setdefault(line.purpose, []).append(line)

    def lines(self, purpose: Purpose) -> list[SettingLine]:
        return self._by_purpose.get(purpose, [])

    def given(self, line: SettingLine) -> int | None:
        """The base value among the values; None where it is not."""
        if line.key not in self.values or not line.grids:
            return None
        return to_base(line.grids[0], self.values[line.key])

    def factory(self, line: SettingLine) -> int | None:
        """The base value that the control leaves its maker with, noted as assumed; None where it is not known."""
        grid = line.grids[0] if line.grids else None
        if grid is None or grid.factory is None:
            return None
        if base_of(grid) not in SCALES:
            self.assumed.append(f"{line.name}: {show(line, grid.factory)} (factory value)")
        return to_base(grid, grid.factory)

    def base(self, line: SettingLine) -> int | None:
        """The value given, else the factory's; where there is neither, that it is left out is noted too."""
        given = self.given(line)
        value = self.factory(line) if given is None else given
        if value is None:
            self.assumed.append(f"{line.name}: not known, left out")
        return value

    def one(self, purpose: Purpose, input_key: str = "") -> int | None:
        """The value of a purpose for an input: its own line, else the line of none."""
        lines = self.lines(purpose)
        for wanted in dict.fromkeys((input_key, "")):
            for line in lines:
                if line.input == wanted and not line.heat:
                    return self.base(line)
        return None

    def switch(self, purpose: Purpose, input_key: str = "") -> bool:
        """Whether a switch of an input, or of none, is on."""
        for line in self.lines(purpose):
            value = self.base(line) if line.input == input_key else None
            if value is not None and is_on(line, value):
                return True
        return False

    def by_heat(self, purpose: Purpose, input_key: str = "") -> dict[int, int]:
        """Values of a purpose by heat; a line of the input wins over a line of none."""
        out: dict[int, int] = {}
        for wanted in dict.fromkeys(("", input_key)):
            for line in self.lines(purpose):
                value = self.base(line) if line.input == wanted and line.heat else None
                if value is not None:
                    out[line.heat] = value
        return out


def _worth(read: _Reader, key: str, means: tuple[str, ...], worth: Mapping[str, int]) -> int:
    """What the control takes one piece of an input for [minor units]."""
    purposes: tuple[Purpose, ...] = ("token value", "piece value") if "token" in means else ("piece value",)
    found = [line for p in purposes for line in read.lines(p) if line.input in (key, "")]
    found.sort(key=lambda line: line.input != key)
    for look in cast("tuple[Callable[[SettingLine], int | None], ...]", (read.given, None, read.factory)):
        if look is None:
            if key in worth:
                return worth[key]
            continue
        for line in found:
            value = look(line)
            if value is not None:
                return value
    return 0


def _time_of_value(read: _Reader, worth_minor: int, input_key: str) -> int:
    """Whole seconds of a piece by its value, rounded down: what a clock that counts seconds can give."""
    for line in sorted(read.lines("time per value"), key=lambda line: line.input != input_key):
        value = read.base(line) if line.input in (input_key, "") else None
        if value is not None:
            return worth_minor * value // max(1, line.per_minor)
    return 0


def _input_terms(sheet: ControlSheet, read: _Reader, key: str, worth: Mapping[str, int]) -> InputTerms:
    means = next(i.means for i in sheet.inputs if i.key == key)
    worth_minor = _worth(read, key, means, worth)
    top_up = read.one("top-up time", key)
    if sheet.sale.credit == "per value":
        time_s = _time_of_value(read, worth_minor, key)
    else:
        time_s = read.one("time per piece", key) or 0
    return InputTerms(
        input=key,
        worth_minor=worth_minor,
        start_pieces=read.one("start pieces", key) or 0,
        time_s=time_s,
        time_by_heat=read.by_heat("time by heat", key),
        top_up_s=_unless_zero_is_special(read, "top-up time", key, top_up),
        per_count=max(1, read.one("pieces per count", key) or 1),
        is_locked=read.switch("coin lock-out", key),
    )


def _unless_zero_is_special(read: _Reader, purpose: Purpose, key: str, value: int | None) -> int | None:
    if value == 0 and any(g.zero_means for line in read.lines(purpose) if line.input in (key, "") for g in line.grids):
        return None
    return value


def _heat_at_start(read: _Reader) -> int:
    for line in read.lines("heat at start"):
        value = read.base(line)
        if value is not None:
            return value + 1 if line.choices else value
    return 1


def _hours(read: _Reader) -> tuple[int, int] | None:
    start, stop = read.one("free from hour"), read.one("free until hour")
    return None if start is None or stop is None or start == stop else (start, stop)


def _is_free(sheet: ControlSheet, read: _Reader, inputs: Mapping[str, InputTerms], price: int | None) -> bool:
    """Whether the control dries free at every hour, in the way its sheet says."""
    if sheet.sale.free == "switch":
        return read.switch("free drying")
    if sheet.sale.free != "no start price":
        return False
    if price is not None:
        return price == 0
    return bool(read.lines("start pieces")) and all(i.start_pieces == 0 for i in inputs.values())


def _rule(sheet: ControlSheet, read: _Reader) -> dict[str, Any]:
    """The sale rule's words, with the door rule as set."""
    sale, door = sheet.sale, sheet.sale.door
    for line in read.lines("door rule"):
        value = read.base(line)
        if value is not None and value < len(line.choices) and line.choices[value] in DOOR_WORDS:
            door = cast("Any", line.choices[value])
    return {
        "start": sale.start, "below_start": sale.below_start, "over_payment": sale.over_payment, "top_up": sale.top_up,
        "at_limit": sale.at_limit, "cool_down": sale.cool_down, "coin_in_cool_down": sale.coin_in_cool_down,
        "door": door, "power_cut": sale.power_cut,
    }  # fmt: skip


def terms(sheet: ControlSheet, values: Values, *, worth: Mapping[str, int] | None = None) -> Terms:
    """The sale rule's numbers of a control with these values.

    Parameters
    ----------
    sheet, values
        The control's sheet, and setting key -> whole number on its grid.
    worth
        Minor units of one piece by the sheet's input key, as the store has it (`drybank.control.worth`).

    Raises
    ------
    InputErrors
        A key that is no setting of the sheet, a value off its grid, or a start by "first time" with none known.
    """
    errors = check_values(sheet, values)
    if errors:
        raise InputErrors(errors)
    read = _Reader(sheet, values)
    inputs = {i.key: _input_terms(sheet, read, i.key, worth or {}) for i in sheet.inputs}
    price, first, free_time = read.one("start price"), read.one("first time"), read.one("free time")
    if sheet.sale.start == "first time" and first is None:
        raise InputErrors([_no_first_time(sheet)])
    hours = tuple(
        (line.from_hour * 3600, line.until_hour * 3600, value)
        for line in read.lines("price by hour")
        if (value := read.base(line)) is not None
    )
    return Terms(
        **_rule(sheet, read),
        inputs=inputs,
        price_minor=price,
        price_by_heat=read.by_heat("price by heat"),
        price_by_hour=hours,
        first_time_s=first or 0,
        top_up_limit_s=read.one("top-up limit") or None,
        timeout_s=(read.one("held-money timeout") or None) if sheet.sale.below_start == "dropped" else None,
        cool_down_s=read.one("cool-down time") or 0,
        crease_s=read.one("anti-crease time") or 0,
        run_s=read.one("reversing run") or 0,
        rest_s=read.one("reversing rest") or 0,
        heat_at_start=_heat_at_start(read),
        is_free=_is_free(sheet, read, inputs, price),
        free_time_s=free_time or first or 0,
        free_hours=_hours(read) if sheet.sale.free == "hours" else None,
        takes_no_pieces=read.switch("coin lock-out"),
        assumed=tuple(dict.fromkeys(read.assumed)),
    )


def _no_first_time(sheet: ControlSheet) -> InputError:
    return InputError(
        f"A start on {sheet.name} gives its first time, and that is not among the values.",
        where=sheet.key,
        mend="Give the first time, or its factory value on the sheet.",
    )


def price_at(terms: Terms, heat: int, day_s: int | None) -> int | None:
    """The start price at a heat and a second of the local day: a price of the heat first, then of the hour."""
    if heat in terms.price_by_heat:
        return terms.price_by_heat[heat]
    for start, stop, price in terms.price_by_hour if day_s is not None else ():
        if _is_within(day_s or 0, start, stop):
            return price
    return terms.price_minor


def is_free_at(terms: Terms, day_s: int | None) -> bool:
    """Whether the control dries free at a second of the local day (None: not known, free hours do not count)."""
    hours = terms.free_hours
    return terms.is_free or (hours is not None and day_s is not None and _is_within(day_s, *hours))


def _is_within(day_s: int, start: int, stop: int) -> bool:
    if start < stop:
        return start <= day_s < stop
    return day_s >= start or day_s < stop


def piece_time(piece: InputTerms, heat: int, *, is_top_up: bool) -> int:
    """Seconds of one piece at a heat, in the start or while time runs."""
    if is_top_up and piece.top_up_s is not None:
        return piece.top_up_s
    return piece.time_by_heat.get(heat, piece.time_s)


def share_of_start(piece: InputTerms, price: int | None) -> tuple[int, Fraction]:
    """What one piece brings to a start: money [minor units] toward a price, or a share of the start itself."""
    if piece.start_pieces > 0:
        return 0, Fraction(1, piece.start_pieces)
    if price:
        return piece.worth_minor, Fraction(0)
    return 0, Fraction(1)
