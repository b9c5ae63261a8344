"""House settings in words and from words: names, values with units, the customer's money and time."""

from __future__ import annotations

import re
from collections.abc import Iterable

from drybank.records.errors import InputError
from drybank.records.money import MINOR_DIGITS, Money, parse_money
from drybank.records.sheet import Base, HouseValue
from drybank.records.store import Store
from drybank.records.units import minutes

_TIME = re.compile(r"^(?:(?P<h>\d+)\s*h)?\s*(?:(?P<m>\d+(?:[.,]\d+)?)\s*(?:min|m))?\s*(?:(?P<s>\d+)\s*s)?$")
_TEMPERATURE = re.compile(r"^(?P<value>\d+)\s*(?:°\s*)?(?P<scale>[CF])$", re.IGNORECASE)


def coin_words(minor: int, currency: str) -> str:
    """A piece by its worth: 25 c, 1.00."""
    major = 10 ** MINOR_DIGITS[currency]
    return (
        f"{minor} c"
        if minor < major and currency in ("USD", "CAD", "EUR", "AUD", "NZD")
        else Money(minor, currency).plain()
    )


def name_of(line: HouseValue, store: Store) -> str:
    """What a line of house settings is called: time per piece, 25 c; temperature, High."""
    parts: list[str] = [line.purpose]
    if line.piece_minor:
        parts.append(coin_words(line.piece_minor, store.currency))
    if line.heat:
        parts.append(next((h.name for h in store.heats if h.number == line.heat), f"heat {line.heat}"))
    return ", ".join(parts)


def value_of(line: HouseValue, store: Store) -> str:
    """The value with its unit: 6 min, 1.00 CAD, 74 °C, a word."""
    if line.word:
        return line.word
    if line.base == "s":
        return minutes(line.value)
    if line.base == "minor":
        return str(Money(line.value, store.currency))
    if line.base in ("°C", "°F", "%"):
        return f"{line.value} {line.base}"
    return f"{line.value} {'piece' if line.value == 1 else 'pieces'}" if line.base == "pieces" else str(line.value)


def seconds_from(text: str) -> int:
    """Seconds from 6 min, 3 min 20 s, 6.5 min, 45 s, 6:30."""
    clean = text.strip().lower()
    if re.fullmatch(r"\d+:\d\d", clean):
        mins, secs = clean.split(":")
        return int(mins) * 60 + int(secs)
    found = _TIME.match(clean)
    if not clean or found is None or not any(found.groups()):
        raise InputError(f"“{text}” is not a time.", mend="Write it like 6 min, 3 min 20 s or 6:30.")
    whole = float((found["m"] or "0").replace(",", ".")) * 60 + int(found["h"] or 0) * 3600 + int(found["s"] or 0)
    if abs(whole - round(whole)) > 1e-9 or whole > 360_000:
        raise InputError(f"“{text}” is not whole seconds, or too long.", allowed="whole seconds, up to 100 hours")
    return round(whole)


def value_from(text: str, base: Base, store: Store) -> tuple[int, Base]:
    """A whole number in its base unit from a person's text; a temperature must name its scale, and it is kept."""
    if base == "s":
        return seconds_from(text), base
    if base == "minor":
        return parse_money(text, store.currency).minor, base
    if base in ("°C", "°F"):
        found = _TEMPERATURE.match(text.strip())
        if found is None:
            raise InputError(f"“{text}” is not a temperature with its scale.", mend="Write it like 74 C or 165 F.")
        return int(found["value"]), "°C" if found["scale"].upper() == "C" else "°F"
    digits = text.strip().removesuffix("%").strip()
    if not digits.isdigit() or len(digits) > 9:
        raise InputError(f"“{text}” is not a whole number.", mend="Write digits only.")
    return int(digits), base


def line_from(text: str, lines: Iterable[HouseValue], store: Store) -> HouseValue:
    """One ``name=value`` against the lines that a bank has; a name fits when it is unique among them.

    ``time per piece=6 min`` fits every coin's line only if there is one; else ``time per piece, 25 c=6 min``.
    """
    name, sign, value = text.partition("=")
    if not sign:
        raise InputError(f"“{text}” has no value.", mend="Write name=value, such as “time per piece=6 min”.")
    wanted = " ".join(name.lower().replace(",", " ").split())
    named = {" ".join(name_of(x, store).lower().replace(",", " ").split()): x for x in lines}
    fits = [named[wanted]] if wanted in named else [x for key, x in named.items() if key.startswith(wanted + " ")]
    if not fits:
        raise InputError(
            f"This bank has no setting “{name.strip()}”.", allowed="; ".join(name_of(x, store) for x in lines)
        )
    if len(fits) > 1 and len({(x.purpose, x.piece_minor, x.heat) for x in fits}) > 1:
        raise InputError(f"“{name.strip()}” could be several.", allowed="; ".join(name_of(x, store) for x in fits))
    if fits[0].base == "choice":
        return HouseValue(purpose=fits[0].purpose, base="choice", heat=fits[0].heat, word=value.strip())
    number, base = value_from(value, fits[0].base, store)
    return HouseValue(
        purpose=fits[0].purpose, value=number, base=base, piece_minor=fits[0].piece_minor, heat=fits[0].heat
    )


def same_line(a: HouseValue, b: HouseValue) -> bool:
    """Two values of one line: a later one takes the place of an earlier."""
    degrees = a.base in ("°C", "°F") and a.base != b.base
    return (a.purpose, a.piece_minor, a.heat) == (b.purpose, b.piece_minor, b.heat) and not degrees


def over(base: Iterable[HouseValue], changes: Iterable[HouseValue]) -> tuple[HouseValue, ...]:
    """House settings with some lines changed or added, in their old order."""
    new = list(changes)
    kept = [next((c for c in new if same_line(c, b)), b) for b in base]
    return (*kept, *(c for c in new if not any(same_line(c, k) for k in kept)))
