"""What a converter found wrong with a value, in a plain sentence: no type names, no paths with signs."""

from __future__ import annotations

import re
from collections.abc import Mapping

_TYPES = {
    "int": "a whole number", "float": "a number", "str": "text", "bool": "yes or no", "null": "nothing", "array": "a list",
    "object": "fields of its own", "datetime": "a moment", "date": "a day",
}  # fmt: skip
_AT = re.compile(r"^(?P<what>.*?)(?: - at `(?P<path>[^`]*)`)?$", re.DOTALL)
_RULES = (
    (re.compile(r"^Expected `(?:int|float)` (<=|>=|<|>) (\S+)$"), "bound"),
    (re.compile(r"^Expected `(?:str|array|object)` of length (<=|>=) (\d+)$"), "length"),
    (re.compile(r"^Expected `([^`]+)`, got `([^`]+)`$"), "type"),
    (re.compile(r"^Invalid enum value (.+)$"), "word"),
    (re.compile(r"^Object contains unknown field `([^`]+)`$"), "unknown"),
    (re.compile(r"^Object missing required field `([^`]+)`$"), "missing"),
    (re.compile(r"^Expected `str` matching regex .*$"), "form"),
    (re.compile(r"^Invalid (?:RFC3339|ISO8601).*$"), "moment"),
)
_SIGNS = {"<=": "at most", ">=": "at least", "<": "less than", ">": "more than"}


def fault_words(message: str, names: Mapping[str, str] | None = None) -> str:
    """A converter's message in words; ``names`` are what fields are called. An unknown message is kept, without its path.

    >>> fault_words("Expected `int` >= 0 - at `$.count`")
    'count must be at least 0'
    """
    names = names or {}
    found = _AT.match(message)
    what, path = (found["what"], found["path"] or "") if found else (message, "")
    steps = [s for s in re.split(r"[.\[\]$]+", path) if s and s != "..."]
    name = next((names.get(s) or s.replace("_", " ") for s in reversed(steps) if not s.isdecimal()), "it")
    for pattern, kind in _RULES:
        hit = pattern.match(what)
        if hit:
            return _say(kind, name, hit.groups(), names)
    return f"{name}: {what.replace('`', '')}"


def _say(kind: str, name: str, parts: tuple[str, ...], names: Mapping[str, str]) -> str:
    if kind == "bound":
        return f"{name} must be {_SIGNS[parts[0]]} {parts[1]}"
    if kind == "length":
        return f"{name} is too {'long' if parts[0] == '<=' else 'short'}: {_SIGNS[parts[0]]} {parts[1]} allowed"
    if kind == "type":
        wanted, got = (" or ".join(_TYPES.get(t.strip(), t.strip()) for t in p.split("|") if t.strip()) for p in parts)
        return f"{name} must be {wanted}, not {got}"
    if kind == "word":
        return f"{name} cannot be {parts[0]}"
    if kind in ("unknown", "missing"):
        field = names.get(parts[0]) or parts[0].replace("_", " ")
        return f"there is no field “{field}”" if kind == "unknown" else f"{field} is missing"
    return (
        f"{name} is not a moment such as 2026-05-03T18:30Z"
        if kind == "moment"
        else f"{name} is not written as it must be"
    )
