"""Records out as TOML that a person can read and that reads back equal.

Defaults are left out. Top lists become ``[[pocket]]`` tables, what lies deeper stands inline.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import msgspec
from msgspec import inspect

from drybank.book.files import amounts
from drybank.book.files.shape import bare, fields_of, is_rows, singular, spoken_name, unit_of


def written(record: msgspec.Struct, header: str, currency: str = "") -> str:
    """One record as a whole file under its header line."""
    plain = [f"drybank = {quoted(header)}"]
    tables: list[str] = []
    for field in fields_of(type(record)):
        value = getattr(record, field.name)
        if _is_left_out(field, value):
            continue
        if is_rows(field.type) and value:
            tables += [f"\n[[{singular(field.name)}]]\n{_lines(row, currency)}" for row in value]
        elif isinstance(value, msgspec.Struct):
            tables.append(f"\n[{field.name}]\n{_lines(value, currency)}")
        else:
            plain.append(_pair(record, field, currency))
    return "\n".join(plain) + "\n" + "\n".join(tables) + ("\n" if tables else "")


def _is_left_out(field: inspect.Field, value: object) -> bool:
    if value is None:
        return True
    if field.required or (type(value).__name__, field.name) == ("int", "place"):
        return False
    default = field.default if field.default is not msgspec.NODEFAULT else field.default_factory
    return bool(value == default) and type(value) is type(default)


def _pairs(record: msgspec.Struct, currency: str) -> list[str]:
    return [
        _pair(record, field, currency)
        for field in fields_of(type(record))
        if not _is_left_out(field, getattr(record, field.name))
    ]


def _lines(record: msgspec.Struct, currency: str) -> str:
    return "\n".join(_pairs(record, currency))


def _pair(record: msgspec.Struct, field: inspect.Field, currency: str) -> str:
    name, value = field.name, getattr(record, field.name)
    unit = unit_of(type(record).__name__, name)
    kind = bare(field.type)
    if unit and isinstance(kind, inspect.IntType | inspect.FloatType):
        return f"{spoken_name(type(record).__name__, name)} = {quoted(_amount(value, unit, currency))}"
    if unit == "minor" and isinstance(value, tuple):
        return f"{name} = [{', '.join(quoted(_amount(v, unit, currency)) for v in value)}]"
    return f"{name} = {_value(value, currency)}"


def _amount(value: Any, unit: str, currency: str) -> str:
    if unit != "minor":
        return amounts.spoken(value, unit)
    return amounts.spoken_money(value, currency)


def _value(value: Any, currency: str) -> str:
    if isinstance(value, msgspec.Struct):
        return f"{{ {', '.join(_pairs(value, currency))} }}"
    if isinstance(value, tuple):
        return _list(value, currency)
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{quoted(k)} = {_value(v, currency)}' for k, v in value.items())} }}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return quoted(str(value))
    return repr(value) if isinstance(value, int | float) else quoted(value)


def _list(value: tuple[Any, ...], currency: str) -> str:
    items = [_value(v, currency) for v in value]
    if any(isinstance(v, msgspec.Struct) for v in value):
        return "[\n" + "".join(f"  {item},\n" for item in items) + "]"
    return f"[{', '.join(items)}]"


_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def quoted(value: str) -> str:
    out = "".join(_ESCAPES.get(c) or (c if c.isprintable() or c == " " else f"\\U{ord(c):08X}") for c in value)
    return f'"{out}"'
