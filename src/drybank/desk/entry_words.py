"""What an entry says in people's words: each field with its name, amounts in the store's currency.

The same names may be typed where an entry is corrected: ``sold=601.00`` for a payout, ``1.near=4213`` for a reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import msgspec

from drybank.records.errors import InputError
from drybank.records.money import Money, parse_money
from drybank.records.units import minutes

FIELDS: Final[dict[str, str]] = {
    "minor": "amount", "gross_minor": "sold", "fee_minor": "fees", "paid_minor": "paid out", "taken_minor": "takings",
    "piece_minor": "worth", "pieces": "pieces", "test_pieces": "test coins", "test_input": "test coins went into", "count": "number",
    "with_second": "second person", "is_after_reading": "counters read just before", "weight_g": "weight, g", "foreign": "foreign pieces",
    "seal_number": "seal number", "to": "to", "slip": "slip", "account": "account", "period_from": "first day", "period_to": "last day",
    "paid_by": "paid back by", "claim": "answers complaint", "why": "why", "why_not": "why not read", "values": "value", "shown": "shows",
    "starts": "from", "ends": "until", "minutes_given": "minutes given", "seconds": "seconds", "sheet_revision": "sheet revision",
    "is_read_back": "read back", "change_day": "change day", "from_date": "from", "new_number": "new number", "last": "last of the old",
    "first": "first of the new", "first_pieces": "pieces of a start", "top_up_pieces": "pieces of a top-up", "walked_out": "walked out",
    "pocket_loads": "loads", "is_back": "back in service", "tip": "end of the chain", "lines": "", "measured": "", "expected": "expected",
    "minutes_taken": "minutes taken", "is_shop_open": "shop open", "kept_at": "kept at", "seq": "place in the chain",
    "data_from": "from", "data_to": "until", "kept": "kept beside", "sha256": "fingerprint", "what": "what", "means": "means",
    "says": "says", "corrects": "corrects", "instead": "instead", "happened_instead": "when instead", "inputs": "by input",
    "happened": "when",
}  # fmt: skip
WHOLE: Final = ("store", "sheet")
"""Files held whole in an entry: told by their name, not line by line."""


def told(says: dict[str, Any], currency: str) -> tuple[tuple[str, str], ...]:
    """An entry's fields as (name, value), empty ones left out."""
    out: dict[str, str] = {}
    for path, value in leaves(says):
        if value in ("", None, [], {}) or (path[-1] == "means" and value == "coin"):
            continue
        name = name_of(path, says)
        out[name] = f"{out[name]}, {shown(path, value, currency)}" if name in out else shown(path, value, currency)
    return tuple(out.items())


def leaves(value: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every leaf with its path; a plain list is one leaf, what only names its row is none."""
    if path and path[-1] in WHOLE and isinstance(value, dict):
        yield path, value.get("name") or value.get("key") or ""
    elif isinstance(value, dict) and "purpose" in value and "base" in value:
        yield path, value
    elif isinstance(value, dict):
        for key, each in value.items():
            if not (len(path) > 1 and path[-1].isdecimal() and key == _naming(value)):
                yield from leaves(each, (*path, key))
    elif isinstance(value, list) and any(isinstance(v, dict | list) for v in value):
        for number, each in enumerate(value):
            yield from leaves(each, (*path, str(number)))
    else:
        yield path, value


def _naming(row: dict[str, Any]) -> str:
    """The field that names a row: its meter, setting or piece."""
    return next((k for k in ("device", "setting", "piece_minor") if k in row), "")


def _at(says: Any, path: tuple[str, ...]) -> Any:
    for step in path:
        says = says[int(step)] if isinstance(says, list) else says.get(step)
    return says


def name_of(path: tuple[str, ...], says: dict[str, Any]) -> str:
    """What a field is called: by its row's name where it stands in one."""
    row = next((n for n in range(len(path) - 1, 0, -1) if path[n].isdecimal()), 0)
    if not row:
        words = [FIELDS.get(step, step.replace("_", " ")) for step in path]
        return " ".join(w for w in words if w)
    said = _at(says, path[: row + 1])
    over = FIELDS.get(path[row - 1], path[row - 1].replace("_", " "))
    if isinstance(said, list):
        return f"{over} {said[0]}" if said else over
    if isinstance(said, dict) and "purpose" in said:
        own = (
            said["purpose"],
            f"{said['piece_minor']} c" if said.get("piece_minor") else "",
            f"heat {said['heat']}" if said.get("heat") else "",
        )
        return ", ".join(word for word in own if word)
    key = _naming(said) if isinstance(said, dict) else ""
    last = FIELDS.get(path[-1], path[-1].replace("_", " "))
    named = f"{said[key]}" if key else ""
    if key == "piece_minor":
        return f"{over} of {named} c" if path[-1] == "count" else f"{over} of {named} c, {last}"
    if path[-1] in ("shown", "value"):
        return named if path[row - 1] == "values" else f"{over}, {named}"
    return " ".join(w for w in (named or over, last) if w)


def shown(path: tuple[str, ...], value: Any, currency: str) -> str:
    """A value as people write it."""
    if value is None:
        return "not known"
    if isinstance(value, dict) and "purpose" in value:
        number, base = value.get("value", 0), value["base"]
        plain = (
            minutes(number)
            if base == "s"
            else str(Money(number, currency))
            if base == "minor"
            else f"{number} {base}".removesuffix(" count")
        )
        return str(value.get("word") or plain)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if is_money(path) and isinstance(value, int):
        return str(Money(value, currency))
    if isinstance(value, list):
        parts = [shown((), v, currency) for v in value]
        if path and path[0] == "inputs" and len(value) == 3 and isinstance(value[2], int):
            return f"{value[1]} pieces, {Money(value[2], currency)}"
        return ", ".join(parts)
    if isinstance(value, float):
        return f"{value:g}"
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()


def is_money(path: tuple[str, ...]) -> bool:
    """Whether a field holds minor units."""
    return bool(path) and (path[-1] == "minor" or path[-1].endswith("_minor") or path[0] == "lines")


def names_of(says: dict[str, Any]) -> tuple[str, ...]:
    """The names of all its fields, empty ones too."""
    return tuple(dict.fromkeys(name_of(path, says) for path, _ in leaves(says)))


def field_and_value(name: str, value: str, says: dict[str, Any], currency: str) -> tuple[str, str]:
    """A change typed in people's words as the entry's own field and value; anything else comes back as it was.

    Raises
    ------
    InputError
        A name that fits several fields.
    """
    wanted = " ".join(name.lower().split())
    paths = list(dict.fromkeys(p for p, _ in leaves(says)))
    fits = [p for p in paths if name_of(p, says).lower() == wanted]
    if not fits or ".".join(fits[0]) == name:
        return name, value
    if len(fits) > 1:
        raise InputError(f"“{name}” could be several.", allowed=", ".join(".".join(p) for p in fits))
    path = fits[0]
    if is_money(path):
        value = str(parse_money(value, currency).minor)
    elif value.lower() in ("yes", "no"):
        value = "true" if value.lower() == "yes" else "false"
    return ".".join(path), value
