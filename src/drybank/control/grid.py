"""What a setting can hold: its own whole numbers, the same in base units, the nearest ones, a person's words for them.

°C and °F are two units that happen to measure one thing. A sheet may state a grid for each; a value is never carried
from one to the other. Where a person gives the wrong one, the nearest settable values are *named*, for them to choose.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from drybank.records.errors import InputError
from drybank.records.money import MINOR_DIGITS, Money
from drybank.records.sheet import TICKS, Base, Grid, SettingLine
from drybank.records.units import minutes

HOUR_PURPOSES = ("free from hour", "free until hour")
SCALES = ("°C", "°F")


def tick(grid: Grid) -> int:
    """Base units (seconds, minor units, degrees ...) in one step of the grid's unit."""
    return TICKS[grid.unit][0]


def base_of(grid: Grid) -> Base:
    """The base unit of a grid."""
    return TICKS[grid.unit][1]


def holds(grid: Grid, value: int) -> bool:
    """Whether the setting can hold this whole number of its own steps."""
    if value == 0 and grid.zero_means:
        return True
    if grid.values:
        return value in grid.values
    return grid.lowest <= value <= grid.highest and (value - grid.lowest) % max(1, grid.increment) == 0


def held(grid: Grid) -> tuple[int, ...]:
    """Every value the setting can hold, lowest first, on its own grid."""
    plain = grid.values or range(grid.lowest, grid.highest + 1, max(1, grid.increment))
    return tuple(sorted({*plain, *((0,) if grid.zero_means else ())}))


def settable(grid: Grid) -> tuple[int, ...]:
    """Every value the setting can hold, lowest first, in base units."""
    step = tick(grid)
    return tuple(value * step for value in held(grid))


def to_base(grid: Grid, value: int) -> int:
    """Base units of a value on the grid."""
    return value * tick(grid)


def from_base(grid: Grid, base_value: int) -> int | None:
    """The grid's value that is exactly ``base_value`` base units, or None where it cannot be set."""
    value, rest = divmod(base_value, tick(grid))
    return value if rest == 0 and holds(grid, value) else None


def nearest(grid: Grid, base_value: int | Fraction) -> tuple[int | None, int | None]:
    """The settable values next below (or at) and next above (or at) ``base_value``, in base units."""
    wanted = Fraction(base_value) / tick(grid)
    if grid.values:
        below, above = _ends(grid.values, wanted)
    else:
        below, above = _steps(grid, wanted)
    if grid.zero_means:
        zero_below, zero_above = _ends((0,), wanted)
        below = max((v for v in (below, zero_below) if v is not None), default=None)
        above = min((v for v in (above, zero_above) if v is not None), default=None)
    step = tick(grid)
    return (None if below is None else below * step, None if above is None else above * step)


def _ends(values: tuple[int, ...], wanted: Fraction) -> tuple[int | None, int | None]:
    return max((v for v in values if v <= wanted), default=None), min((v for v in values if v >= wanted), default=None)


def _steps(grid: Grid, wanted: Fraction) -> tuple[int | None, int | None]:
    step = max(1, grid.increment)
    if grid.highest < grid.lowest:
        return None, None
    top = grid.lowest + (grid.highest - grid.lowest) // step * step
    low = grid.lowest + (wanted - grid.lowest) // step * step
    high = low if low == wanted else low + step
    below = None if low < grid.lowest else min(int(low), top)
    above = None if high > top else max(int(high), grid.lowest)
    return below, above


def scale_name(scale: str) -> str:
    """ "°C" or "°F" from "C", "F", "°C", "°F"; "" from ""."""
    text = scale.strip().upper().removeprefix("°")
    if text in ("", "C", "F"):
        return f"°{text}" if text else ""
    raise InputError(f"“{scale}” is not a temperature scale.", allowed="°C, °F")


def scales_of(line: SettingLine) -> tuple[str, ...]:
    """The temperature scales that a line states a grid for."""
    return tuple(g.unit for g in line.grids if g.unit in SCALES)


def grid_of(line: SettingLine, scale: str = "") -> Grid:
    """The grid of a line: that of ``scale`` for temperatures, the only one for everything else."""
    wanted = scale_name(scale)
    if not line.grids:
        raise InputError(f"“{line.name}” states no values it can hold.", where=line.key)
    if not scales_of(line) or (not wanted and len(line.grids) == 1):
        return line.grids[0]
    for grid in line.grids:
        if grid.unit == wanted:
            return grid
    have = " and ".join(scales_of(line))
    if not wanted:
        raise InputError(f"“{line.name}” has a range in {have}.", where=line.key, mend="Say which scale is meant.")
    raise InputError(
        f"“{line.name}” cannot be set in {wanted}.",
        where=line.key,
        mend=f"This control is set in {have}; give the value in that scale.",
    )


def say_base(line: SettingLine, base: Base, value: int, currency: str = "") -> str:
    """A value in base units, in words."""
    return _SAY[base](line, value, currency)


def _say_seconds(line: SettingLine, value: int, _currency: str) -> str:
    if line.purpose in HOUR_PURPOSES:
        return f"{value // 3600:02d}:{value % 3600 // 60:02d}"
    decimal = bool(line.grids) and line.grids[0].unit in ("0.1 min", "half min")
    if decimal and value % 6 == 0 and value >= 60:
        return f"{value // 60} min" if value % 60 == 0 else f"{value // 60}.{value % 60 // 6} min"
    return minutes(value)


def _say_minor(_line: SettingLine, value: int, currency: str) -> str:
    return str(Money(value, currency)) if currency else f"{value} minor units"


def _say_pieces(_line: SettingLine, value: int, _currency: str) -> str:
    return f"{value} piece" if value == 1 else f"{value} pieces"


def _say_choice(line: SettingLine, value: int, _currency: str) -> str:
    return line.choices[value] if 0 <= value < len(line.choices) else f"choice {value}"


_SAY: dict[Base, Callable[[SettingLine, int, str], str]] = {
    "s": _say_seconds,
    "minor": _say_minor,
    "pieces": _say_pieces,
    "choice": _say_choice,
    "°C": lambda _line, value, _currency: f"{value} °C",
    "°F": lambda _line, value, _currency: f"{value} °F",
    "%": lambda _line, value, _currency: f"{value} %",
    "count": lambda _line, value, _currency: str(value),
}


def show(line: SettingLine, value: int, scale: str = "", currency: str = "") -> str:
    """A value of a line in words with its unit: "6.5 min", "3 min 20 s", "74 °C", "0.75 CAD", a choice's word."""
    grid = grid_of(line, scale)
    if value == 0 and grid.zero_means:
        return grid.zero_means
    return say_base(line, base_of(grid), to_base(grid, value), currency)


def range_says(line: SettingLine, grid: Grid, currency: str = "") -> str:
    """What a line can hold, in words, for a refusal."""
    base, step = base_of(grid), tick(grid)
    if base == "choice":
        return ", ".join(line.choices[v] for v in held(grid) if v < len(line.choices))
    special = f", or {grid.zero_means}" if grid.zero_means else ""
    if grid.values:
        plain = sorted(set(grid.values) - ({0} if special else set()))
        return ", ".join(say_base(line, base, v * step, currency) for v in plain) + special
    first = grid.lowest + (max(1, grid.increment) if special and grid.lowest == 0 else 0)
    low, high = (say_base(line, base, v * step, currency) for v in (first, grid.highest))
    each = say_base(line, base, max(1, grid.increment) * step, currency)
    return f"{low} to {high} in steps of {each}{special}"


def nearest_says(line: SettingLine, grid: Grid, base_value: int | Fraction, currency: str = "") -> str:
    """ "6 min or 6.5 min": the settable values next to one that is not."""
    ends = [v for v in nearest(grid, base_value) if v is not None]
    said: list[str] = []
    for value in ends:
        word = grid.zero_means if value == 0 and grid.zero_means else say_base(line, base_of(grid), value, currency)
        said += [] if word in said else [word]
    return " or ".join(said)


_NUMBER = r"(\d{1,9}(?:[.,]\d{1,6})?)"
_TIME = re.compile(
    rf"^(?:{_NUMBER}\s*(?:h|hours?|hr)\b)?\s*(?:{_NUMBER}\s*(?:m|min|mins|minutes?)\b\.?)?\s*(?:{_NUMBER}\s*(?:s|sec|secs|seconds?)\b\.?)?$",
    re.IGNORECASE,
)
_CLOCK = re.compile(r"^(\d{1,4}):([0-5]\d)(?::([0-5]\d))?$")
_DEGREES = re.compile(r"^(-?\d{1,4}(?:[.,]\d{1,3})?)\s*(?:°|deg(?:rees)?)?\s*([CF])?$", re.IGNORECASE)
_MONEY = re.compile(
    rf"^(?:([A-Z]{{3}})\s*)?([$£€])?\s*{_NUMBER}\s*(c|¢|p|cents?|pence|minor units?)?(?:\s*([A-Z]{{3}}))?$",
    re.IGNORECASE,
)
_WHOLE = re.compile(r"^(\d{1,9})\s*(pieces?|coins?|tokens?|%|percent)?$", re.IGNORECASE)


def _number(text: str) -> Fraction:
    return Fraction(text.replace(",", "."))


def _bare_unit(line: SettingLine, grid: Grid) -> int:
    """Seconds that a bare number means on this line: its unit's own; hours for an hour of the day."""
    if line.purpose in HOUR_PURPOSES:
        return 3600
    return {"s": 1, "h": 3600}.get(grid.unit, 60)


def _parse_time(line: SettingLine, grid: Grid, text: str) -> Fraction:
    if clock := _CLOCK.match(text):
        first, second, third = (int(part or 0) for part in clock.groups())
        if clock.group(3) is not None or line.purpose in HOUR_PURPOSES:
            return Fraction(first * 3600 + second * 60 + third)
        return Fraction(first * 60 + second)
    if re.fullmatch(_NUMBER, text):
        return _number(text) * _bare_unit(line, grid)
    span = _TIME.match(text)
    if not span or not any(span.groups()):
        raise InputError(
            f"“{text}” is not a length of time.", where=line.name, mend="Write it like 6 min, 6:30 or 45 s."
        )
    return sum(
        (_number(part) * per for part, per in zip(span.groups(), (3600, 60, 1), strict=True) if part), Fraction(0)
    )


def _parse_degrees(line: SettingLine, grid: Grid, text: str) -> Fraction:
    found = _DEGREES.match(text)
    if not found:
        raise InputError(f"“{text}” is not a temperature.", where=line.name, mend=f"Write it like 60 {grid.unit}.")
    degrees, letter = _number(found.group(1)), (found.group(2) or "").upper()
    if letter and f"°{letter}" != grid.unit:
        other = degrees * Fraction(9, 5) + 32 if letter == "C" else (degrees - 32) * Fraction(5, 9)
        raise InputError(
            f"“{text}” is in °{letter}; this control is set in {grid.unit}, and the one is not turned into the other.",
            where=line.name,
            allowed=range_says(line, grid),
            mend=f"Nearest in {grid.unit}: {nearest_says(line, grid, other)}. Choose one.",
        )
    return degrees


def _money_digits(line: SettingLine, text: str, found: re.Match[str], currency: str) -> int:
    """Decimals of the money meant: none where it is given in cents."""
    code = (found.group(1) or found.group(5) or "").upper()
    if code and currency and code != currency:
        raise InputError(f"“{text}” is not in {currency}.", where=line.name, mend=f"Prices here are in {currency}.")
    known = currency or code
    if found.group(4):
        return 0
    if known not in MINOR_DIGITS:
        raise InputError(
            f"It is not known what money “{text}” is.",
            where=line.name,
            mend="Write it in cents (75 c) or with its currency.",
        )
    return MINOR_DIGITS[known]


def _parse_money(line: SettingLine, text: str, currency: str) -> Fraction:
    found = _MONEY.match(text)
    if not found:
        raise InputError(f"“{text}” is not an amount of money.", where=line.name, mend="Write it like 1.25 or 75 c.")
    return _number(found.group(3)) * (1, 10, 100)[_money_digits(line, text, found, currency)]


def _parse_choice(line: SettingLine, text: str) -> Fraction:
    for place, word in enumerate(line.choices):
        if word.casefold() == text.casefold():
            return Fraction(place)
    raise InputError(f"“{text}” is not one of its words.", where=line.name, allowed=", ".join(line.choices))


def _parse_whole(line: SettingLine, base: Base, text: str) -> Fraction:
    found = _WHOLE.match(text)
    word = (found.group(2) or "").lower() if found else ""
    if not found or (word and (base == "%") != (word in ("%", "percent"))):
        unit = {"pieces": "a whole number of pieces", "%": "a whole number of per cent"}.get(base, "a whole number")
        raise InputError(f"“{text}” is not {unit}.", where=line.name, mend="Write it in digits.")
    return Fraction(int(found.group(1)))


def parse(line: SettingLine, text: str, scale: str = "", currency: str = "") -> int:
    """The grid's value that a person's words mean.

    "6 min", "6:30" (minutes and seconds), "390 s", "74 C", "1.00", "75 c", a choice's word. A bare number is taken in the
    line's own unit (minutes for every unit of minutes). Raises InputError for another scale or unit, or for a value that
    cannot be set, and then names the nearest that can.
    """
    grid, clean = grid_of(line, scale), " ".join(text.split())
    base = base_of(grid)
    if grid.zero_means and clean.casefold() == grid.zero_means.casefold():
        return 0
    if base == "s":
        wanted = _parse_time(line, grid, clean)
    elif base in SCALES:
        wanted = _parse_degrees(line, grid, clean)
    elif base == "minor":
        wanted = _parse_money(line, clean, currency)
    else:
        wanted = _parse_choice(line, clean) if base == "choice" else _parse_whole(line, base, clean)
    value = from_base(grid, int(wanted)) if wanted.denominator == 1 else None
    if value is None:
        raise off_grid(line, grid, wanted, said=clean, currency=currency)
    return value


def off_grid(
    line: SettingLine, grid: Grid, base_value: int | Fraction, *, said: str = "", currency: str = "", where: str = ""
) -> InputError:
    """The refusal of a value that the setting cannot hold: what, where, allowed, nearest."""
    exact = Fraction(base_value)
    words = said or (
        say_base(line, base_of(grid), int(exact), currency) if exact.denominator == 1 else str(float(exact))
    )
    near = nearest_says(line, grid, exact, currency)
    return InputError(
        f"“{words}” cannot be set.",
        where=where or line.name,
        allowed=range_says(line, grid, currency),
        mend=f"Nearest: {near}." if near else "",
    )
