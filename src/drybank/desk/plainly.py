"""A desk result as JSON: keys as the desk names them, exact numbers as text. Every face that speaks JSON says it this way."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import msgspec


def as_json(result: Any) -> bytes:
    """The result on one line."""
    return msgspec.json.encode(result, enc_hook=exact_as_text)


def exact_as_text(value: object) -> object:
    """What JSON has no word for: fractions as ``3/4``, decimals and moments as text, arrays as lists."""
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    if isinstance(value, Decimal | Path | date | datetime):
        return str(value)
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} has no JSON form")
