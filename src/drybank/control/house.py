"""House settings and one control's own values: each in the words of the other.

House settings speak of money, seconds and degrees and know no sheet. A sheet may say the same thing in another way: a
start price of 75 c is 3 start pieces of 25 c; 8 minutes for 25 c are so many seconds by value; a start that sums its
coins gives the first time of the house if the sum comes to it. What can be said is set, exactly; what cannot is refused
with the line, the value and the nearest that can. Nothing is rounded on the way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

import msgspec

from drybank.control.grid import (
    SCALES,
    base_of,
    from_base,
    grid_of,
    nearest_says,
    off_grid,
    range_says,
    scale_name,
    to_base,
)
from drybank.control.layout import control_of, sheet_of, worth
from drybank.control.rate import start_time_on
from drybank.control.terms import OFF_WORDS, terms
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout
from drybank.records.sheet import ControlSheet, HouseSettings, HouseValue, Purpose, SettingLine, Values
from drybank.records.store import Means
from drybank.records.units import minutes

PER_PIECE: tuple[Purpose, ...] = (
    "start pieces", "piece value", "token value", "pieces per count", "time per piece", "top-up time", "time by heat",
)  # fmt: skip
# What a customer pays, gets, or is told: a control without such a setting cannot pass for one that has it.
MUST_HOLD: tuple[Purpose, ...] = (
    "start price", "start pieces", "piece value", "token value", "price by hour", "price by heat", "time per piece",
    "time per value", "first time", "top-up time", "top-up limit", "time by heat", "temperature", "heat offered",
    "cool-down time", "door rule", "free drying", "free time", "free from hour", "free until hour", "coin lock-out",
)  # fmt: skip
NO_VALUE_IS_NONE: tuple[Purpose, ...] = ("top-up limit", "cool-down time", "free time")
Target = tuple[SettingLine, Fraction]


class Reading(msgspec.Struct, frozen=True, kw_only=True):
    """One control and all that is needed to read or set it."""

    control: str
    sheet: ControlSheet
    worth: dict[str, int]
    means: dict[str, Means]
    scale: str
    currency: str

    def piece(self, line: SettingLine) -> int:
        return self.worth.get(line.input, 0) if line.input else 0

    @property
    def pieces(self) -> tuple[int, ...]:
        """The pieces that its paying inputs take, once each."""
        return tuple(dict.fromkeys(w for key, w in self.worth.items() if self.means[key] != "staff key"))

    def grid_scale(self, line: SettingLine) -> str:
        return self.scale if any(g.unit in SCALES for g in line.grids) else ""

    def lines(self, purpose: Purpose) -> list[SettingLine]:
        return [line for line in self.sheet.settings if line.purpose == purpose]

    def where(self, line: SettingLine) -> str:
        return f"control {self.control}, {line.name}"


def scale_of(layout: Layout, control: str, values: Values | None = None, word: str = "") -> str:
    """The scale a control is set in: the only one of its sheet, what it is set to show (``word``), or the store's own.

    "" where the sheet has no temperature to set.
    """
    sheet = sheet_of(layout, control)
    have = tuple(dict.fromkeys(g.unit for line in sheet.settings for g in line.grids if g.unit in SCALES))
    if len(have) < 2:
        return have[0] if have else ""
    for line in sheet.settings if values else ():
        if (
            line.purpose == "temperature scale"
            and values
            and line.key in values
            and values[line.key] < len(line.choices)
        ):
            word = line.choices[values[line.key]]
    return scale_name(word or layout.store.units.temperature)


def reading(layout: Layout, control: str, house: Iterable[HouseValue] = (), values: Values | None = None) -> Reading:
    """Gather what `to_sheet` and `from_sheet` need of one control."""
    found = control_of(layout, control)
    word = next((h.word for h in house if h.purpose == "temperature scale"), "")
    mine = [i for i in layout.inputs.values() if i.control == found.key]
    return Reading(
        control=found.key,
        sheet=sheet_of(layout, control),
        worth=worth(layout, control),
        means={i.sheet_input: i.means for i in mine},
        scale=scale_of(layout, control, values, word),
        currency=layout.store.currency,
    )


# -- which lines a house value speaks of ------------------------------------------------------------------------------


def _matches(of: Reading, line: SettingLine, h: HouseValue) -> bool:
    if line.purpose != h.purpose or line.heat != h.heat:
        return False
    if line.purpose == "price by hour" and (line.from_hour, line.until_hour) != (h.from_hour, h.until_hour):
        return False
    if line.purpose not in PER_PIECE:
        return True
    if h.piece_minor == 0:
        return not line.input or of.means[line.input] != "staff key"
    return of.piece(line) == h.piece_minor if line.input else h.piece_minor in of.pieces


def _own(of: Reading, h: HouseValue) -> list[Target]:
    """Lines of the same purpose, with what each should hold [base units]."""
    found = [line for line in of.sheet.settings if _matches(of, line, h)]
    if h.purpose == "time per value":
        money = max(1, h.piece_minor)
        return [(line, Fraction(h.value * max(1, line.per_minor), money)) for line in found]
    return [(line, Fraction(h.value)) for line in found]


def _as_start_pieces(of: Reading, h: HouseValue) -> list[Target]:
    return [
        (line, Fraction(h.value, of.piece(line)))
        for line in of.lines("start pieces")
        if line.input and of.piece(line) > 0
    ]


def _as_start_price(of: Reading, h: HouseValue) -> list[Target]:
    return [(line, Fraction(h.value * h.piece_minor)) for line in of.lines("start price") if h.piece_minor in of.pieces]


def _as_time_per_value(of: Reading, h: HouseValue) -> list[Target]:
    if h.piece_minor not in of.pieces or not h.piece_minor:
        return []
    return [(line, Fraction(h.value * max(1, line.per_minor), h.piece_minor)) for line in of.lines("time per value")]


def _as_time_per_piece(of: Reading, h: HouseValue) -> list[Target]:
    lines = [line for line in of.lines("time per piece") if line.input and of.piece(line)]
    return [(line, Fraction(h.value * of.piece(line), max(1, h.piece_minor))) for line in lines]


_OTHERWISE: dict[str, Callable[[Reading, HouseValue], list[Target]]] = {
    "start price": _as_start_pieces,
    "start pieces": _as_start_price,
    "time per piece": _as_time_per_value,
    "time per value": _as_time_per_piece,
}


def _otherwise(of: Reading, h: HouseValue) -> list[Target]:
    other = _OTHERWISE.get(h.purpose)
    return other(of, h) if other else []


def targets_of(of: Reading, h: HouseValue) -> list[Target]:
    """The settings that hold a house line on this control, each with what it should hold [base units]."""
    return _own(of, h) or _otherwise(of, h)


def _speaks_of(of: Reading, h: HouseValue, house: Sequence[HouseValue]) -> bool:
    """Whether a house line is for this control at all: its coin, and its temperature scale if the house gives both."""
    if h.base in SCALES and of.scale and h.base != of.scale:
        twin = any((o.purpose, o.heat, o.base) == (h.purpose, h.heat, of.scale) for o in house)
        return not twin
    takes = h.piece_minor in of.pieces or h.piece_minor == 0
    return takes or h.purpose == "time per value"


# -- house to sheet ---------------------------------------------------------------------------------------------------


class _Setter:
    """Collects values and mistakes for one control."""

    def __init__(self, of: Reading, house: HouseSettings) -> None:
        self.of, self.house = of, house
        self.values: Values = {}
        self.errors: list[InputError] = []

    def put(self, line: SettingLine, wanted: Fraction, h: HouseValue) -> None:
        try:
            value = self._value(line, wanted, h)
        except InputError as wrong:
            self.errors.append(wrong)
            return
        if self.values.setdefault(line.key, value) != value:
            self.errors.append(
                InputError(
                    f"Two house settings ask for two values of “{line.name}”.",
                    where=self.of.where(line),
                    mend="This control has one value for both; make them agree.",
                )
            )

    def _value(self, line: SettingLine, wanted: Fraction, h: HouseValue) -> int:
        of = self.of
        if h.base in SCALES:
            self._check_scale(line, h)
        grid = grid_of(line, of.grid_scale(line))
        base = base_of(grid)
        if base == "choice" and not h.word:
            raise InputError(f"“{line.name}” is set by a word.", where=of.where(line), allowed=", ".join(line.choices))
        if base == "choice":
            place = next((i for i, word in enumerate(line.choices) if word.casefold() == h.word.casefold()), None)
            if place is None or from_base(grid, place) is None:
                raise InputError(f"“{h.word}” cannot be set.", where=of.where(line), allowed=range_says(line, grid))
            return place
        if base != h.base and h.purpose == line.purpose:
            raise InputError(f"“{line.name}” is set in {grid.unit}, not in {h.base}.", where=of.where(line))
        value = from_base(grid, int(wanted)) if wanted.denominator == 1 else None
        if value is None:
            raise off_grid(line, grid, wanted, currency=of.currency, where=of.where(line))
        return value

    def _check_scale(self, line: SettingLine, h: HouseValue) -> None:
        have = [g.unit for g in line.grids if g.unit in SCALES]
        wanted = self.of.scale if self.of.scale in have else have[0] if have else ""
        if h.base == wanted:
            return
        grid = grid_of(line, wanted)
        near = nearest_says(line, grid, converted(h.value, h.base, is_difference=line.purpose == "temperature band"))
        raise InputError(
            f"{h.value} {h.base} cannot be set: this control is set in {wanted}, and the one is not turned into the other.",
            where=self.of.where(line),
            allowed=range_says(line, grid),
            mend=f"Nearest in {wanted}: {near}. Give the house settings a line in {wanted}.",
        )

    # -- what follows from other lines -------------------------------------------------------------------------------

    def has(self, purpose: Purpose) -> bool:
        return any(h.purpose == purpose for h in self.house)

    def follow(self) -> None:
        """A separate top-up time follows the time per piece; a first time follows the sum of the coins."""
        if not self.has("top-up time"):
            for line in self.of.lines("top-up time"):
                for h in self.house:
                    if h.purpose == "time per piece" and self._is_for(line, h):
                        self.put(line, Fraction(h.value), h)
        if not self.has("first time") and self.of.sheet.sale.start == "first time":
            self._follow_first_time()

    def _is_for(self, line: SettingLine, h: HouseValue) -> bool:
        if h.piece_minor == 0:
            return True
        return self.of.piece(line) == h.piece_minor if line.input else h.piece_minor in self.of.pieces

    def _follow_first_time(self) -> None:
        price = next((h.value for h in self.house if h.purpose == "start price"), 0)
        times = {
            Fraction(price * h.value, h.piece_minor)
            for h in self.house
            if h.purpose in ("time per piece", "time per value") and h.piece_minor and price
            and (h.purpose == "time per value" or h.piece_minor in self.of.pieces)
        }  # fmt: skip
        for line in self.of.lines("first time") if len(times) == 1 else ():
            self.put(line, times.pop(), HouseValue(purpose="first time"))

    def missing(self, h: HouseValue) -> None:
        """A house line that this control has no setting for: held without one, not its business, or refused."""
        if h.purpose in MUST_HOLD and not _is_held_anyway(self.of, h):
            self.errors.append(
                InputError(
                    f"This kind of control has no setting for {_says_what(h)}.",
                    where=f"control {self.of.control}",
                    mend="Leave it out of the house settings, or sign these dryers as a bank of their own.",
                )
            )

    def check_sums(self) -> None:
        """On a control that sums its coins the first time of the house must be what the sum comes to."""
        wanted = next((h for h in self.house if h.purpose == "first time"), None)
        if wanted is None or self.of.sheet.sale.start != "sum" or self.of.lines("first time"):
            return
        read = terms(self.of.sheet, self.values, worth=self.of.worth)
        for key in (i.key for i in self.of.sheet.inputs if self.of.worth.get(i.key)):
            gives = start_time_on(read, key)
            if gives and gives != wanted.value:
                self.errors.append(
                    InputError(
                        f"A start gives {minutes(gives)} here, the sum of its pieces; the house settings say {minutes(wanted.value)}.",
                        where=f"control {self.of.control}, input {key}",
                        mend=f"Make the first time {minutes(gives)}, or sign these dryers as a bank of their own.",
                    )
                )


def converted(value: int, scale: str, *, is_difference: bool = False) -> Fraction:
    """The exact equal of a temperature in the other scale: to *name* what lies near, never to set it."""
    if scale == "°C":
        return value * Fraction(9, 5) + (0 if is_difference else 32)
    return (value - (0 if is_difference else 32)) * Fraction(5, 9)


def _is_held_anyway(of: Reading, h: HouseValue) -> bool:
    """Whether a control without a setting for it does what the house line says all the same."""
    sale = of.sheet.sale
    if h.purpose in ("free drying", "coin lock-out"):
        return h.word.casefold() in OFF_WORDS or (not h.word and h.value == 0)
    if h.purpose == "door rule":
        return h.word == sale.door
    if h.purpose in ("piece value", "token value"):
        return h.value == h.piece_minor
    if h.purpose == "first time":
        return sale.start == "sum"
    if h.purpose == "top-up time":
        return True  # such a control gives its time per piece; one_sign compares what the two come to
    return h.purpose in NO_VALUE_IS_NONE and h.value == 0


def _says_what(h: HouseValue) -> str:
    heat = f" of heat {h.heat}" if h.heat else ""
    piece = f" of the piece of {h.piece_minor}" if h.piece_minor else ""
    return f"“{h.purpose}”{heat}{piece}"


def to_sheet(layout: Layout, control: str, house: HouseSettings) -> Values:
    """The values of one control that hold the house settings.

    Returns
    -------
    Values
        Setting key -> whole number on the sheet's grid, for every setting that the house settings speak of.

    Raises
    ------
    InputErrors
        Each line that this control cannot hold: line, value, what it can hold and the nearest.
    """
    of = reading(layout, control, house)
    put = _Setter(of, house)
    for h in house:
        if not _speaks_of(of, h, house):
            continue
        targets = targets_of(of, h)
        for line, wanted in targets:
            put.put(line, wanted, h)
        if not targets:
            put.missing(h)
    put.follow()
    if not put.errors:
        put.check_sums()
    if put.errors:
        raise InputErrors(put.errors)
    return {line.key: put.values[line.key] for line in of.sheet.settings if line.key in put.values}


# -- sheet to house ---------------------------------------------------------------------------------------------------


def _line_says(of: Reading, line: SettingLine, value: int) -> HouseValue:
    grid = grid_of(line, of.grid_scale(line))
    base, is_hourly = base_of(grid), line.purpose == "price by hour"
    return HouseValue(
        purpose=line.purpose,
        value=0 if base == "choice" else to_base(grid, value),
        base=base,
        piece_minor=line.per_minor if line.purpose == "time per value" else of.piece(line),
        heat=line.heat,
        word=line.choices[value] if base == "choice" and value < len(line.choices) else "",
        from_hour=line.from_hour if is_hourly else 0,
        until_hour=line.until_hour if is_hourly else 24,
    )


def _read_like(of: Reading, h: HouseValue, values: Values) -> HouseValue | None:
    """What the control holds of one house line, in that line's own words; None where it has no such thing."""
    one = msgspec.structs.replace(h, value=1)
    for line, per_unit in targets_of(of, one):
        if line.key not in values:
            continue
        said = _line_says(of, line, values[line.key])
        if line.purpose == h.purpose and line.purpose != "time per value":
            return msgspec.structs.replace(h, value=said.value, base=said.base, word=said.word)
        return msgspec.structs.replace(h, value=int(said.value / per_unit))
    if h.purpose == "first time" and of.sheet.sale.start == "sum":
        sold = terms(of.sheet, values, worth=of.worth)
        gives = {start_time_on(sold, key) for key, w in of.worth.items() if w} - {0}
        return msgspec.structs.replace(h, value=min(gives)) if gives else None
    return None


def _is_said(of: Reading, line: SettingLine) -> bool:
    """Whether house settings have words for a line: not for one of an input whose piece is worth nothing (a staff key)."""
    return not line.input or line.purpose not in PER_PIECE or of.piece(line) > 0


def from_sheet(layout: Layout, control: str, values: Values, like: HouseSettings | None = None) -> HouseSettings:
    """House settings from one control's values.

    Parameters
    ----------
    like
        None: every value in the sheet's own purposes, but those of staff keys, which house settings do not speak of. House settings: the same lines in the same words, with what this
        control holds of each; lines that it has no setting for, or that are for another coin or scale, are left out.
    """
    if like is None:
        of = reading(layout, control, (), values)
        lines = [(line, values[line.key]) for line in of.sheet.settings if line.key in values and _is_said(of, line)]
        return tuple(dict.fromkeys(_line_says(of, line, value) for line, value in lines))
    of = reading(layout, control, like, values)
    read = [_read_like(of, h, values) for h in like if _speaks_of(of, h, like)]
    return tuple(h for h in read if h is not None)
