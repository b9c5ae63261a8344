"""The keys of each kind of file as Markdown, from the records' own types: ``python -m drybank.book.files.reference store``.

The three pages in ``docs/reference`` end with these tables, below a marker line; given a page's path, this prints it anew,
its own words above the marker kept.

Types, defaults and needed keys come from the records, ranges and patterns from `limits`, words from `meanings` or, for
tariffs and mappings, from the records' own docstrings.
"""

from __future__ import annotations

import ast
import inspect as source_of
import sys
import textwrap
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from msgspec import inspect

from drybank.book.files import amounts, limits
from drybank.book.files.history.mapping import ROLES
from drybank.book.files.history.records import HistoryMapping
from drybank.book.files.meanings import MEANINGS
from drybank.book.files.settings_file import BankHouse, HouseFile
from drybank.book.files.shape import bare, fields_of, is_rows, singular, spoken_name, unit_of
from drybank.records import energy, sheet, store

Told = tuple[tuple[str, type], ...]

PAGES: dict[str, Told] = {
    "store": (
        ("", store.Store), ("units", store.Units), ("responsible", store.Responsible), ("hours", store.Opening), ("heat", store.Heat),
        ("washer", store.Washer), ("bank", store.Bank), ("pocket", store.Pocket), ("pocket.plate", store.Plate),
        ("machine", store.Machine), ("box", store.Box), ("input", store.InputSaid), ("counter", store.CounterSaid),
        ("tariff", energy.Tariff), ("tariff.energy", energy.EnergyCharge), ("tariff.energy.tiers", energy.Tier),
        ("tariff.demand", energy.DemandCharge), ("tariff.demand.ratchet", energy.Ratchet), ("tariff.fixed", energy.FixedCharge),
        ("tariff.adjustments", energy.Adjustment), ("tariff.taxes", energy.Tax), ("tariff.day_parts", energy.DayPart),
        ("natural_gas", energy.NaturalGas), ("propane", energy.Propane), ("room_air", energy.RoomAir),
        ("costs", store.Costs), ("share", store.Share), ("share.tiers", store.ShareTier), ("tax", store.SalesTax), ("counting", store.Counting),
        ("trade", store.Trade), ("constraints", store.Constraints),
    ),
    "sheet": (
        ("", sheet.ControlSheet), ("setting", sheet.SettingLine), ("setting.grid", sheet.Grid), ("setting.change", sheet.Change),
        ("input", sheet.SheetInput), ("counter", sheet.SheetCounter), ("meter", sheet.SheetMeter), ("sale", sheet.SaleRule),
    ),
    "settings": (("", HouseFile), ("bank", BankHouse), ("bank.values", sheet.HouseValue)),
    "history": (("", HistoryMapping),),
}  # fmt: skip


def keys_of(page: str) -> str:
    """The tables of one page, in Markdown."""
    parts = [_table(name, record) for name, record in PAGES[page]]
    if page == "sheet":
        parts.append(_purposes())
    if page == "history":
        parts.append("What a column can hold: " + ", ".join(f"`{r}`" for r in ROLES) + ".\n")
    return "\n".join(parts)


def _table(name: str, record: type) -> str:
    head = f"### `{_heading(name, record)}`\n" if name else "### The file itself\n"
    rows = ["| key | holds | written as | default | allowed |", "| --- | --- | --- | --- | --- |"]
    rows += [_row(record, field) for field in fields_of(record)]
    return head + "\n" + "\n".join(rows) + "\n"


def _heading(name: str, record: type) -> str:
    once = {
        store.Units,
        store.Responsible,
        store.Costs,
        store.Counting,
        store.Trade,
        store.Constraints,
        sheet.SaleRule,
        energy.NaturalGas,
        energy.Propane,
        energy.RoomAir,
    }
    if "." in name:
        return name
    return f"[{name}]" if record in once else f"[[{name}]]"


def _row(record: type, field: inspect.Field) -> str:
    cells = (
        _key(record, field),
        _meaning(record, field),
        _written_as(record, field),
        _default(record, field),
        _allowed(record, field),
    )
    return "| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |"


def _key(record: type, field: inspect.Field) -> str:
    if is_rows(field.type):
        short = singular(field.name)
        return f"`{short}`" if short == field.name else f"`{short}`, `{field.name}`"
    spoken = spoken_name(record.__name__, field.name)
    return f"`{spoken}`" if spoken == field.name else f"`{spoken}`, `{field.name}`"


def _meaning(record: type, field: inspect.Field) -> str:
    said = MEANINGS.get(record.__name__, {}).get(field.name)
    return said if said else _docstrings(record).get(field.name, "").rstrip(".")


@cache
def _docstrings(record: type) -> dict[str, str]:
    """Texts that stand below fields in a record's own source."""
    body = ast.parse(textwrap.dedent(source_of.getsource(record))).body[0]
    assert isinstance(body, ast.ClassDef)
    out: dict[str, str] = {}
    name = ""
    for line in body.body:
        if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name):
            name = line.target.id
        elif isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant) and name:
            out[name] = " ".join(str(line.value.value).split())
            name = ""
    return out


def _written_as(record: type, field: inspect.Field) -> str:
    unit = unit_of(record.__name__, field.name)
    kind = bare(field.type)
    if is_rows(kind):
        return "tables"
    if isinstance(kind, inspect.VarTupleType):
        return f"list of {_plain_kind(kind.item_type, unit, many=True)}"
    return _plain_kind(kind, unit)


def _plain_kind(kind: inspect.Type, unit: str, *, many: bool = False) -> str:
    if unit and isinstance(kind, inspect.IntType | inspect.FloatType):
        return amounts.WORDS[unit].replace("an amount of money", "money")
    words: dict[type, tuple[str, str]] = {
        inspect.LiteralType: ("a word", "words"), inspect.StrType: ("text", "texts"), inspect.BoolType: ("true or false", ""),
        inspect.IntType: ("whole number", "whole numbers"), inspect.FloatType: ("number", "numbers"),
        inspect.DecimalType: ("number, best in quotes", "numbers"), inspect.DateType: ("day: 2025-03-01", ""),
        inspect.StructType: ("table", "tables"), inspect.DictType: ("table", ""),
    }  # fmt: skip
    return words[type(kind)][many]


def _default(record: type, field: inspect.Field) -> str:
    if field.required:
        return "needed"
    if (record.__name__, field.name) in (("Machine", "place"),):
        return "order of the rows"
    value = field.default
    if value is msgspec.NODEFAULT or isinstance(value, msgspec.Struct):
        return "as below" if isinstance(bare(field.type), inspect.StructType) else "none"
    unit = unit_of(record.__name__, field.name)
    return _shown_default(value, unit)


def _shown_default(value: Any, unit: str) -> str:
    if value is None:
        return "not known"
    if value in ("", ()):
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if unit == "minor":
        return "nothing" if not value else str(value)
    if unit and isinstance(value, int | float):
        return amounts.spoken(value, unit)
    return (
        ", ".join(map(str, value))
        if isinstance(value, tuple)
        else str(value)
        if isinstance(value, Decimal | date | int | float)
        else f"“{value}”"
    )


def _allowed(record: type, field: inspect.Field) -> str:
    place = (record.__name__, field.name)
    kind = bare(field.type)
    item = kind.item_type if isinstance(kind, inspect.VarTupleType) else kind
    if isinstance(item, inspect.LiteralType):
        if place == ("SettingLine", "purpose") or place == ("HouseValue", "purpose"):
            return "see the purposes"
        return ", ".join(f"“{v}”" if isinstance(v, str) else str(v) for v in _in_order(record, field, item) if v != "")
    if place in limits.RANGES:
        return limits.span(*limits.RANGES[place])
    if place in limits.PATTERNS:
        return limits.PATTERNS[place][1]
    if limits.WHOLE_CHECKS.get(place) is limits.day_text:
        return "a day: 2025-03-01"
    return (
        {"time_zone": "names of the tz database", "currency": "currencies Drybank knows"}.get(field.name, "")
        if record is store.Store
        else ""
    )


def _in_order(record: type, field: inspect.Field, kind: inspect.LiteralType) -> tuple[Any, ...]:
    """A literal's words in the order the record writes them (the inspector sorts them)."""
    said = source_of.get_annotations(record, eval_str=True).get(field.name)
    for found in _literals(said):
        if set(found) == set(kind.values):
            return found
    return tuple(kind.values)


def _literals(said: Any) -> list[tuple[Any, ...]]:
    args = getattr(said, "__args__", ())
    if args and not any(isinstance(a, type) or hasattr(a, "__args__") or a is Ellipsis for a in args):
        return [args]
    return [found for a in args for found in _literals(a)]


def _purposes() -> str:
    rows = ["### Purposes\n", "| family | purposes |", "| --- | --- |"]
    rows += [f"| {family} | {', '.join(purposes)} |" for family, purposes in sheet.FAMILIES.items()]
    rows += ["", "### Units of a grid\n", "| unit | one step is |", "| --- | --- |"]
    rows += [f"| {unit} | {size:,} {base} |" for unit, (size, base) in sheet.TICKS.items()]
    return "\n".join(rows) + "\n"


MARKER = "<!-- keys: python -m drybank.book.files.reference -->"
FILES = {"store-file.md": ("store", "settings"), "sheet-file.md": ("sheet",), "history-file.md": ("history",)}
TITLES = {"store": "Keys of a store file", "settings": "Keys of house settings", "sheet": "Keys of a control sheet",
          "history": "Keys of a mapping"}  # fmt: skip


def page_of(name: str, old: str) -> str:
    """A page of ``docs/reference`` anew: its own words from its old text, its tables from the records."""
    own = old.partition(MARKER)[0]
    tables = "\n".join(f"## {TITLES[page]}\n\n{keys_of(page)}" for page in FILES[name])
    return f"{own}{MARKER}\n\n{tables}"


if __name__ == "__main__":
    for asked in sys.argv[1:] or PAGES:
        path = Path(asked)
        sys.stdout.write(page_of(path.name, path.read_text("utf-8")) if path.name in FILES else keys_of(asked) + "\n")
