"""What changed between two versions of a store or a sheet, in sentences."""

from __future__ import annotations

import datetime as dt
from typing import Any

import msgspec

from drybank.book.files import amounts
from drybank.book.files.shape import fields_of, singular, spoken_name, unit_of

_NAMED_BY = ("key", "number", "input", "name")


def difference(old: msgspec.Struct, new: msgspec.Struct) -> list[str]:
    """Sentences that say what ``new`` changes in ``old``; none where they are equal.

    Rows of a list are matched by their key; a row whose key changed is one gone and one new.
    """
    if type(old) is not type(new):
        return [f"A {type(old).__name__.lower()} became a {type(new).__name__.lower()}."]
    return list(_record(old, new, "", str(getattr(new, "currency", ""))))


def _record(old: Any, new: Any, where: str, currency: str) -> list[str]:
    out: list[str] = []
    kind: type = type(new)
    for field in fields_of(kind):
        before, after = getattr(old, field.name), getattr(new, field.name)
        if before == after and type(before) is type(after):
            continue
        name = spoken_name(type(new).__name__, field.name).replace("_", " ")
        if _are_rows(before, after):
            out += _rows(before, after, f"{where}{singular(field.name).replace('_', ' ')}", currency)
        elif isinstance(before, msgspec.Struct) and type(before) is type(after):
            out += _record(before, after, f"{where}{name}, ", currency)
        else:
            unit = unit_of(type(new).__name__, field.name)
            was, now = _said(before, unit, currency), _said(after, unit, currency)
            out.append(_sentence(f"{where}{name}: was {was}, now {now}."))
    return out


def _are_rows(before: object, after: object) -> bool:
    return (
        isinstance(before, tuple)
        and isinstance(after, tuple)
        and any(isinstance(v, msgspec.Struct) for v in (*before, *after))
    )


def _rows(before: tuple[Any, ...], after: tuple[Any, ...], noun: str, currency: str) -> list[str]:
    old, new = _by_name(before), _by_name(after)
    out = [_sentence(f"{noun} {name} is gone.") for name in old if name not in new]
    for name, row in new.items():
        if name not in old:
            out.append(_sentence(f"{noun} {name} is new."))
        elif old[name] != row:
            out += _record(old[name], row, f"{noun} {name}, ", currency)
    kept_before = [n for n in old if n in new]
    if kept_before != [n for n in new if n in old]:
        out.append(_sentence(f"{noun}: the order of the rows changed."))
    return out


def _by_name(rows: tuple[Any, ...]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for place, row in enumerate(rows, 1):
        name = next((str(getattr(row, n)) for n in _NAMED_BY if getattr(row, n, "") != ""), str(place))
        name = f"“{name}”" if " " in name else name
        out[name if name not in out else f"{name} (row {place})"] = row
    return out


def _said(value: Any, unit: str, currency: str) -> str:
    if value is None or value == "" or value == ():
        return "not given"
    if isinstance(value, tuple):
        return ", ".join(_said(v, unit, currency) for v in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, msgspec.Struct):
        return ", ".join(f"{f.name} {_said(getattr(value, f.name), '', currency)}" for f in fields_of(type(value)))
    if isinstance(value, int | float) and unit == "minor":
        return f"{amounts.spoken_money(value, currency)} {currency}".strip()
    if isinstance(value, int | float) and unit:
        return amounts.spoken(value, unit)
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
