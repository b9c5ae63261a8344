"""Amounts as people write them: "6 min", "3 min 20 s", "74 C", "20 lb", "75 kBtu/h", "450 cfm", "0.25".

Every number is kept exact (`Decimal`) until its last step. A text amount always carries its unit; a bare number is taken
only by a key that names its unit.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation

from drybank.records.errors import InputError
from drybank.records.money import MINOR_DIGITS
from drybank.records.units import BTU_J, CFM_M3_S, FOOT_M, INCH_WATER_PA, POUND_KG

LARGEST = Decimal(10) ** 15


def _exact(value: float) -> Decimal:
    return Decimal(repr(value))


_BTU_H = _exact(BTU_J) / 3600  # no “MBtu”: a thousand to some, a million to others
UNITS: dict[str, dict[str, Decimal]] = {
    "s": {"s": Decimal(1), "sec": Decimal(1), "min": Decimal(60), "h": Decimal(3600)},
    "kg": {"kg": Decimal(1), "g": Decimal("0.001"), "lb": _exact(POUND_KG)},
    "w": {"W": Decimal(1), "kW": Decimal(1000), "hp": Decimal("745.69987158227022"),
          "Btu/h": _BTU_H, "kBtu/h": _BTU_H * 1000},
    "m3_s": {"m3/s": Decimal(1), "L/s": Decimal("0.001"), "m3/h": Decimal(1) / 3600, "cfm": _exact(CFM_M3_S)},
    "pa": {"Pa": Decimal(1), "kPa": Decimal(1000), "mbar": Decimal(100), "inH2O": _exact(INCH_WATER_PA)},
    "m": {"m": Decimal(1), "ft": _exact(FOOT_M)},
    "v": {"V": Decimal(1)},
    "frac": {"%": Decimal("0.01")},
    "pct": {"%": Decimal(1)},
}  # fmt: skip

WORDS: dict[str, str] = {
    "s": "a time such as \"6 min\", \"3 min 20 s\" or \"45 s\"", "kg": "a mass such as \"9 kg\" or \"20 lb\"",
    "w": "a power such as \"22 kW\", \"75 kBtu/h\" or \"0.5 hp\"",
    "m3_s": "an air flow such as \"0.21 m3/s\", \"760 m3/h\" or \"450 cfm\"",
    "pa": "a pressure such as \"150 Pa\" or \"0.6 inH2O\"", "m": "a height such as \"1650 m\" or \"5400 ft\"",
    "v": "a voltage such as \"230 V\"", "frac": "a share such as \"55 %\"", "pct": "a share such as \"10 %\"",
    "c": "a temperature such as \"80 C\" or \"176 F\"", "minor": "an amount of money such as \"4.25\"",
}  # fmt: skip

_ONE = re.compile(r"\s*([+-]?\d{1,20}(?:\.\d{1,60})?)\s*([^\s\d.+-]\S*)\s*")
_NUMBER = re.compile(r"[+-]?\d{1,20}(?:\.\d{1,60})?(?:[eE][+-]?\d{1,3})?")


def number(value: object) -> Decimal:
    """An exact finite number of a size that anything here can have."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise InputError("it is not a number.")
    if isinstance(value, int) and value.bit_length() > 60:
        raise InputError("the number is larger than anything a store holds.")
    out = Decimal(value)
    if not out.is_finite() or (out and not -30 < out.adjusted() < 15) or len(out.as_tuple().digits) > 40:
        raise InputError("the number is larger or finer than anything a store holds.")
    return out


def amount(text: str, unit: str) -> Decimal:
    """A text amount in base unit ``unit`` (a field's own suffix): "20 lb" under ``kg`` is 9.0718474.

    Raises `InputError` whose sentence says what would do.
    """
    if len(text) > 80:
        raise InputError("the amount is a long text.", mend=f"Write {WORDS[unit]}.")
    if unit == "c":
        return _temperature(text)
    known = UNITS[unit]
    parts = _ONE.findall(text)
    if not parts or "".join(f"{n}{u}" for n, u in parts) != "".join(text.split()):
        bare = _NUMBER.fullmatch(text.strip())
        what = "it has no unit." if bare else "it is no amount with its unit."
        raise InputError(what, mend=f"Write {WORDS[unit]}.")
    total = Decimal(0)
    for digits, mark in parts:
        name = mark.replace("³", "3").replace("l/s", "L/s")
        name = {"m³/s": "m3/s", "lbs": "lb", "sec.": "s", "kw": "kW"}.get(name, name)
        if name not in known:
            raise InputError(f"“{mark}” is no unit for it.", allowed=", ".join(known), mend=f"Write {WORDS[unit]}.")
        total += Decimal(digits) * known[name]
    if len(parts) > 1 and (unit != "s" or any(d.startswith(("-", "+")) for d, _ in parts)):
        raise InputError("it holds more than one amount.", mend=f"Write {WORDS[unit]}.")
    return number(total)


def _temperature(text: str) -> Decimal:
    value, scale = temperature(text)
    return value if scale == "C" else (value - 32) / Decimal("1.8")


def temperature(text: str) -> tuple[Decimal, str]:
    """The number and the scale, ``C`` or ``F``, as written; nothing is converted."""
    found = re.fullmatch(r"\s*([+-]?\d{1,6}(?:\.\d{1,60})?)\s*°?\s*([CF])\s*", text)
    if not found:
        raise InputError("it is no temperature with its scale.", mend=f"Write {WORDS['c']}.")
    return Decimal(found[1]), found[2]


def money(text: str, currency: str) -> Decimal:
    """Minor units, exact and perhaps not whole, of a plain decimal text in whole currency units."""
    digits = MINOR_DIGITS.get(currency, 2)
    if not _NUMBER.fullmatch(text.strip()) or "e" in text.lower():
        raise InputError(
            "it is no amount of money.", mend=f"Write {WORDS['minor']}, with a point and no sign of currency."
        )
    try:
        return number(Decimal(text.strip()).scaleb(digits))
    except InvalidOperation:
        raise InputError("it is no amount of money.", mend=f"Write {WORDS['minor']}.") from None


def spoken(value: float | int, unit: str) -> str:
    """A base-unit number as a text amount that reads back the same."""
    exact = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    if unit == "s" and isinstance(value, int):
        return _time(value)
    if unit == "frac":
        return f"{_plain(exact * 100)} %"
    marks = {"kg": "kg", "w": "W", "m3_s": "m3/s", "pa": "Pa", "m": "m", "v": "V", "pct": "%", "c": "C", "s": "s"}
    return f"{_plain(exact)} {marks[unit]}"


def spoken_money(value: float | int, currency: str) -> str:
    """Minor units as plain text in whole currency units that reads back the same."""
    exact = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    exact = Decimal(int(exact)) if exact == int(exact) else exact
    return format(exact.scaleb(-MINOR_DIGITS.get(currency, 2)), "f")


def _time(value: int) -> str:
    if value < 60:
        return f"{value} s"
    mins, secs = divmod(value, 60)
    return f"{mins} min {secs} s" if secs else f"{mins} min"


def _plain(value: Decimal) -> str:
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def many(text: str) -> list[tuple[str, ...]]:
    """Keys from "1-12", "A1-A8", "1-4, 7", or groups from "1-8 by 2"; at most 500."""
    body, _, by = text.partition(" by ")
    each = int(by) if re.fullmatch(r"\s*[1-8]\s*", by) else 0 if by else 1
    if not each or len(text) > 2000:
        raise InputError("the list of keys cannot be read.", mend='Write "1-12", "A1-A8", "1-4, 7" or "1-8 by 2".')
    keys = [k for part in body.split(",") for k in _range(part.strip())]
    if len(keys) > 500 or len(keys) % each:
        raise InputError(f"the list gives {len(keys)} keys.", allowed=f"up to 500, in groups of {each}")
    return [tuple(keys[i : i + each]) for i in range(0, len(keys), each)]


def _range(part: str) -> list[str]:
    found = re.fullmatch(r"([A-Za-z]{0,10} ?)(\d{1,6})\s*-\s*(?:\1)?(\d{1,6})", part)
    if not found:
        if not part:
            raise InputError("a key in the list is empty.", mend='Write "1-12" or "1, 2, 3".')
        return [part]
    head, low, high = found[1], int(found[2]), int(found[3])
    if not 0 <= high - low < 500:
        raise InputError(f"“{part}” is no range of keys.", mend="Write the lower number first, at most 500 keys.")
    width = len(found[2]) if found[2].startswith("0") else 0
    return [f"{head}{n:0{width}d}" for n in range(low, high + 1)]
