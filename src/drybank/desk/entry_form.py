"""An entry's fields as a form asks for them: people's names, amounts in the store's currency; typed otherwise, a correction."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

import msgspec

from drybank.desk.entry_words import WHOLE, is_money, leaves, name_of, shown
from drybank.desk.wording import seconds_from
from drybank.records.errors import InputError, InputErrors
from drybank.records.money import Money, parse_money

Kind = Literal["words", "money", "minutes", "yes", "list", "plain"]
ROW = {"inputs": ("input", "pieces", "amount")}
"""What the places of a row without names are called."""


class Field(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that an entry says: its name, its value as people type it, and the path a correction knows it by."""

    path: str
    name: str
    value: str
    kind: Kind


def fields_of(says: dict[str, Any], currency: str) -> tuple[Field, ...]:
    """Everything of an entry that a form can change, in its own order. Files held whole are changed by loading others."""
    out: list[Field] = []
    for path, name, value, kind in _places(says):
        alike = sum(f.name.partition(" · ")[0] == name for f in out)
        text = _typed(path, value, kind, currency)
        out.append(Field(path=".".join(path), name=f"{name} · {alike + 1}" if alike else name, value=text, kind=kind))
    return tuple(out)


def _places(says: dict[str, Any]) -> Iterator[tuple[tuple[str, ...], str, Any, Kind]]:
    for path, value in leaves(says):
        name = name_of(path, says)
        is_bare = (path[-1] == "means" and value == "coin") or (path[-1] == "why_not" and not value)
        if path[-1] in WHOLE or is_bare:
            continue
        if isinstance(value, dict) and "purpose" in value:
            kind: Kind = {"s": "minutes", "minor": "money"}.get(value["base"], "plain")  # type: ignore[assignment]
            yield (*path, "value"), name, value.get("value"), kind
            if value.get("word"):
                yield (*path, "word"), f"{name}, word", value["word"], "words"
        elif isinstance(value, list) and not all(isinstance(v, str) for v in value):
            words = ROW.get(path[0], ())
            for place, each in enumerate(value):
                more = words[place] if place < len(words) else str(place + 1)
                is_amount = more == "amount"
                yield (*path, str(place)), f"{name}, {more}", each, "money" if is_amount else _kind(path, each)
        else:
            yield path, name, value, _kind(path, value)


def _kind(path: tuple[str, ...], value: Any) -> Kind:
    if isinstance(value, bool):
        return "yes"
    if isinstance(value, str):
        return "words"
    if isinstance(value, list):
        return "list"
    return "money" if is_money(path) else "plain"


def _typed(path: tuple[str, ...], value: Any, kind: Kind, currency: str) -> str:
    """A value as people would type it; "" where it is not known."""
    if value is None:
        return ""
    if kind == "minutes":
        return shown((), {"purpose": "", "base": "s", "value": value}, currency)
    if kind == "money":
        return Money(value, currency).plain()
    if kind == "yes":
        return "yes" if value else "no"
    if kind == "list":
        return ", ".join(value)
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()


def changes_from(fields: Sequence[Field], typed: Mapping[str, str], currency: str) -> tuple[str, ...]:
    """The ``path=value`` texts of a correction: what was typed otherwise, in people's words; words stay words.

    Raises
    ------
    InputErrors
        Every value that its field cannot be, by the field's name.
    """
    out, wrong = [], []
    for one in fields:
        new = typed.get(one.path, one.value).strip()
        if new == one.value:
            continue
        try:
            out.append(f"{one.path}={_said(new, one.kind, currency)}")
        except InputError as bad:
            wrong.append(InputError(bad.what, where=one.name, allowed=bad.allowed, mend=bad.mend))
    if wrong:
        raise InputErrors(wrong)
    return tuple(out)


def _said(text: str, kind: Kind, currency: str) -> str:
    """What was typed, as JSON has it."""
    if kind == "words":
        return msgspec.json.encode(text).decode()
    if kind == "list":
        return msgspec.json.encode([part.strip() for part in text.split(",") if part.strip()]).decode()
    if not text:
        return "null"
    if kind == "money":
        return str(parse_money(text, currency).minor)
    if kind == "minutes":
        return str(seconds_from(text))
    if kind == "yes":
        if text not in ("yes", "no"):
            raise InputError(f"“{text}” is neither yes nor no.")
        return "true" if text == "yes" else "false"
    return text
