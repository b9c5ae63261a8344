"""Plain values into frozen records, field by field, so that every mistake is gathered and none hides another.

`Shaper` walks a record's own types. What a person may write beside the record's fields is one small set of rules:

- a field that names its unit (``fill_kg``) may be written without it and with a unit in the text (``fill = "20 lb"``);
- money (``piece_minor``) may be written as text in whole currency units (``piece = "0.25"``);
- a list of tables may be called by its singular (``[[pocket]]``), and one table stands for a list of one;
- a row with ``for = "1-12"`` stands for twelve, with ``{}`` in its texts replaced by the key;
- a list of keys may be a range (``pockets = "1-12"``), a list of days too (``days = "mon-fri"``).
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Callable, Iterator
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any, NoReturn

import msgspec
from msgspec import inspect

from drybank.book.files import amounts, limits
from drybank.book.files.text import Located, Path, shown
from drybank.records.errors import InputError, InputErrors

MISTAKES_SHOWN = 200
ROWS_AT_MOST = 3000
Row = dict[str, object]


class _Bad:
    """Stands for a value that was refused, so that the walk can go on."""


BAD = _Bad()


class Shaped(msgspec.Struct, frozen=True):
    """A row of a top list: the record or BAD, where it stands, and its key as written."""

    record: Any
    path: Path
    key: str


class Enough(Exception):
    """So many mistakes that listing more helps nobody."""


@cache
def fields_of(record: Any) -> tuple[inspect.Field, ...]:
    info = inspect.type_info(record)
    assert isinstance(info, inspect.StructType)
    return info.fields


@cache
def unit_of(record: str, field: str) -> str:
    """The unit suffix that a field's name carries: ``kg``, ``s``, ``m3_s``, ``minor`` ...; "" where none."""
    if (record, field) in limits.UNIT_OF:
        return limits.UNIT_OF[record, field]
    if "_m3_s" in field:
        return "m3_s"
    parts = field.split("_")[1:]
    return next((p for p in parts if p in amounts.WORDS), "")


@cache
def spoken_name(record: str, field: str) -> str:
    """The field's name without its unit: ``wait_p95`` for ``wait_p95_s``; the name itself where it has none."""
    unit = unit_of(record, field)
    if not unit or (record, field) in limits.UNIT_OF:
        return field
    return re.sub(rf"_{unit}(?=_|$)", "", field, count=1)


def singular(field: str) -> str:
    if field == "hours" or not field.endswith("s"):
        return field
    return field[:-2] if field.endswith("xes") else field[:-1]


def is_rows(kind: inspect.Type) -> bool:
    return isinstance(kind, inspect.VarTupleType) and isinstance(kind.item_type, inspect.StructType)


@cache
def names_of(record: type) -> dict[str, tuple[inspect.Field, bool]]:
    """Every key a table may hold -> its field, and whether the key leaves the unit to the text."""
    out: dict[str, tuple[inspect.Field, bool]] = {f.name: (f, False) for f in fields_of(record)}
    for field in fields_of(record):
        if is_rows(field.type):
            out.setdefault(singular(field.name), (field, False))
        out.setdefault(spoken_name(record.__name__, field.name), (field, True))
    return out


def bare(kind: inspect.Type) -> inspect.Type:
    """The type inside ``X | None``."""
    if isinstance(kind, inspect.UnionType):
        return next(t for t in kind.types if not isinstance(t, inspect.NoneType))
    return kind


class Shaper:
    """Reads one located file. ``currency`` is what texts of money are in; ``prepare`` hooks run on a record's raw row."""

    def __init__(self, file: Located, currency: str = "") -> None:
        self.file, self.currency = file, currency
        self.mistakes: list[InputError] = []
        self._said: set[tuple[str, str]] = set()
        self.prepare: dict[str, Callable[[Shaper, Row, Path], Row]] = {}
        self.rows: dict[str, list[Shaped]] = {}
        self.patched: set[Path] = set()  # rows whose refused value was replaced, so that the walk could go on

    # mistakes

    def where(self, path: Path) -> str:
        words = ""
        for part in path:
            words += f"[{part + 1}]" if isinstance(part, int) else f".{shown(part, 40)}" if words else shown(part, 40)
        return f"{self.file.name}:{self.file.line(path)} {words}".rstrip()

    def note(self, path: Path, what: str, *, allowed: str = "", mend: str = "") -> _Bad:
        """Remember a mistake once; stop the walk when there are too many to read."""
        where = self.where(path)
        if (where, what) not in self._said:
            self._said.add((where, what))
            self.mistakes.append(InputError(what, where=where, allowed=allowed, mend=mend))
        if len(self.mistakes) >= MISTAKES_SHOWN:
            raise Enough
        return BAD

    def refuse(self, path: Path, value: object, bad: InputError) -> _Bad:
        what = f"“{shown(value)}”: {bad.what}" if isinstance(value, str) else f"{shown(value)}: {bad.what}"
        return self.note(path, what, allowed=bad.allowed, mend=bad.mend)

    def raise_all(self, is_cut: bool = False) -> NoReturn:
        last = [InputError(f"There are more mistakes than {MISTAKES_SHOWN}; the rest is not listed.",
                           where=self.file.name, mend="Mend these first.")] if is_cut else []  # fmt: skip
        self.mistakes.sort(
            key=lambda e: int(m[1]) if (m := re.search(r":(\d+)", e.where[len(self.file.name) :])) else 0
        )
        raise InputErrors([*self.mistakes, *last])

    # records

    def shape(self, record: type, raw: object, path: Path = ()) -> Any:
        """The record from a table, or BAD with every mistake noted."""
        if not isinstance(raw, dict):
            return self.note(path, f"{shown(raw)} stands where a table of {record.__name__.lower()} belongs.",
                             mend="Write it as [name] or { ... }.")  # fmt: skip
        hook = self.prepare.get(record.__name__)
        row = hook(self, dict(raw), path) if hook else raw
        given, meant = self._given(record, row, path)
        kwargs: dict[str, Any] = {}
        for name, (field, key, is_spoken) in given.items():
            kwargs[name] = self.value(record.__name__, field, row[key], (*path, key), is_spoken=is_spoken)
        for field in fields_of(record):
            if field.required and field.name not in kwargs:
                if field.name not in meant:
                    self._missing(record, field, path)
                kwargs[field.name] = BAD
        if any(value is BAD for value in kwargs.values()):
            return BAD
        try:
            return record(**kwargs)
        except InputError as bad:
            return self.note(path, bad.what, allowed=bad.allowed, mend=bad.mend)

    def _given(self, record: type, row: Row, path: Path) -> tuple[dict[str, tuple[inspect.Field, str, bool]], set[str]]:
        """The row's keys by field, and the fields that misspelt keys were probably meant for."""
        names = names_of(record)
        given: dict[str, tuple[inspect.Field, str, bool]] = {}
        meant: set[str] = set()
        for key in row:
            if key not in names:
                meant.add(self._unknown(record, key, path))
                continue
            field, is_spoken = names[key]
            if field.name in given:
                self.note((*path, key), f"“{key}” and “{given[field.name][1]}” say the same thing twice.",
                          mend="Keep one of the two.")  # fmt: skip
                continue
            given[field.name] = (field, key, is_spoken)
        return given, meant

    def _unknown(self, record: type, key: str, path: Path) -> str:
        """Refuse a key; the field that it was probably meant for, or ""."""
        names = sorted({_best_name(record, f) for f in fields_of(record)})
        near = difflib.get_close_matches(key, list(names_of(record)), 1, 0.6) if len(key) <= 40 else []
        mend = f"Did you mean “{near[0]}”?" if near else f"Known here: {', '.join(names)}."
        self.note((*path, key), f"“{shown(key, 40)}” is no key of {limits.noun(record.__name__)}.", mend=mend)
        return names_of(record)[near[0]][0].name if near else ""

    def _missing(self, record: type, field: inspect.Field, path: Path) -> None:
        name = _best_name(record, field)
        example = limits.EXAMPLES.get((record.__name__, field.name), "")
        if is_rows(bare(field.type)):
            example = f"a [[{name}]] table"
        self.note((*path, name), f"“{name}” is missing from {limits.noun(record.__name__)}.",
                  mend=f"Add {example or name + ' = ...'}.")  # fmt: skip

    # values

    def value(self, record: str, field: inspect.Field, raw: object, path: Path, *, is_spoken: bool = False) -> Any:
        """One field's value, range and pattern checked."""
        kind = bare(field.type)
        unit = unit_of(record, field.name)
        try:
            if isinstance(kind, inspect.VarTupleType | inspect.TupleType):
                return self._many(record, field.name, kind, raw, path, unit)
            if isinstance(kind, inspect.StructType):
                return self.shape(kind.cls, raw, path)
            if isinstance(kind, inspect.DictType):
                return self._mapping(kind, raw, path)
            if is_spoken and not isinstance(raw, str):
                raise InputError(f"“{path[-1]}” wants its unit.", mend=f"Write {amounts.WORDS[unit]}, in quotes.")
            out = self._plain(kind, raw, unit, (record, field.name))
            limits.check(record, field.name, out)
        except InputError as bad:
            return self.refuse(path, raw, bad)
        return out

    def _plain(self, kind: inspect.Type, raw: object, unit: str, place: tuple[str, str]) -> Any:
        if isinstance(kind, inspect.LiteralType):
            return _choice(kind, raw)
        if isinstance(kind, inspect.BoolType):
            if not isinstance(raw, bool):
                raise InputError("it is neither true nor false.", mend="Write true or false, without quotes.")
            return raw
        if isinstance(kind, inspect.StrType):
            return _words(raw, place)
        if isinstance(kind, inspect.DateType):
            return _date(raw)
        if isinstance(kind, inspect.DecimalType):
            return self._decimal(raw)
        if isinstance(kind, inspect.IntType | inspect.FloatType):
            return self._number(kind, raw, unit)
        raise InputError("Drybank cannot read this kind of value here.")

    def _decimal(self, raw: object) -> Decimal:
        if isinstance(raw, str):
            try:
                if len(raw) > 40:
                    raise InvalidOperation
                raw = Decimal(raw)
            except InvalidOperation:
                raise InputError("it is not a number.", mend='Write it like "0.0625".') from None
        return amounts.number(raw)

    def _number(self, kind: inspect.IntType | inspect.FloatType, raw: object, unit: str) -> Any:
        if isinstance(raw, str):
            if not unit:
                raise InputError("it stands in quotes, but a plain number belongs here.", mend="Leave the quotes out.")
            exact = amounts.money(raw, self.currency) if unit == "minor" else amounts.amount(raw, unit)
        else:
            exact = amounts.number(raw)
        if isinstance(kind, inspect.FloatType):
            return float(exact)
        if exact != int(exact):
            raise InputError(f"it is not a whole number{_of(unit)}.", mend=_whole_mend(unit, raw, self.currency))
        if (kind.ge is not None and exact < kind.ge) or (kind.le is not None and exact > kind.le):
            raise InputError("it is out of range.", allowed=f"{kind.ge} to {kind.le}")
        return int(exact)

    # lists

    def _many(self, record: str, name: str, kind: Any, raw: object, path: Path, unit: str) -> Any:
        if isinstance(kind, inspect.TupleType):
            raise InputError("Drybank cannot read this kind of value here.")
        item = kind.item_type
        if isinstance(item, inspect.StructType):
            return self._rows(record, name, item.cls, raw, path)
        if isinstance(raw, str):
            raw = _spread(item, raw, (record, name))
        if not isinstance(raw, list | tuple):
            raise InputError("a list belongs here.", mend="Write it between [ and ].")
        if len(raw) > ROWS_AT_MOST:
            raise InputError(f"the list has {len(raw)} items.", allowed=f"up to {ROWS_AT_MOST}")
        out = []
        for index, one in enumerate(raw):
            try:
                value = self._plain(item, one, unit, (record, name))
                limits.check(record, name, value)
            except InputError as bad:
                value = self.refuse((*path, index), one, bad)
            out.append(value)
        return BAD if any(v is BAD for v in out) else tuple(out)

    def _rows(self, record: str, name: str, row: type, raw: object, path: Path) -> Any:
        rows = [raw] if isinstance(raw, dict) else raw
        if not isinstance(rows, list):
            return self.note(path, f"{shown(raw)} stands where tables belong.", mend=f"Write [[{path[-1]}]] for each.")
        out: list[Any] = []
        for index, one in enumerate(rows):
            at = (*path, index) if isinstance(raw, list) else path
            for plain in self._expanded(one, at):
                if (record, name) in limits.NUMBERED and isinstance(plain, dict):
                    plain.setdefault(limits.NUMBERED[record, name], len(out) + 1)
                out.append(self.shape(row, plain, at))
                if len(at) <= 2:
                    key = str(plain.get("key", "")) if isinstance(plain, dict) else ""
                    self.rows.setdefault(name, []).append(Shaped(out[-1], at, key))
                if len(out) > ROWS_AT_MOST:
                    return self.note(path, f"There are more than {ROWS_AT_MOST} rows.", mend="Split the store in two.")
        return BAD if any(v is BAD for v in out) else tuple(out)

    def _expanded(self, row: object, path: Path) -> Iterator[object]:
        if not isinstance(row, dict) or "for" not in row:
            yield dict(row) if isinstance(row, dict) else row
            return
        rest = {k: v for k, v in row.items() if k != "for"}
        try:
            groups = amounts.many(row["for"]) if isinstance(row["for"], str) else _listed(row["for"])
        except InputError as bad:
            self.refuse((*path, "for"), row["for"], bad)
            return
        for group in groups:
            yield _filled(rest, group)

    def _mapping(self, kind: inspect.DictType, raw: object, path: Path) -> Any:
        if not isinstance(raw, dict):
            return self.note(path, f"{shown(raw)} stands where a table belongs.", mend="Write it as { name = value }.")
        out = {}
        for key, one in raw.items():
            try:
                out[key] = self._plain(kind.value_type, one, "", ("", ""))
            except InputError as bad:
                out[key] = self.refuse((*path, key), one, bad)
        return BAD if any(v is BAD for v in out.values()) else out


def _best_name(record: type, field: inspect.Field) -> str:
    """The key that the docs teach for a field."""
    return singular(field.name) if is_rows(field.type) else spoken_name(record.__name__, field.name)


def _choice(kind: inspect.LiteralType, raw: object) -> object:
    if raw in kind.values and not isinstance(raw, bool):
        return raw
    words = ", ".join(f"“{v}”" if isinstance(v, str) else str(v) for v in kind.values)
    near = (
        difflib.get_close_matches(raw, [str(v) for v in kind.values], 1, 0.6)
        if isinstance(raw, str) and len(raw) < 60
        else []
    )
    raise InputError("it is not one of the words allowed here.", allowed=words,
                     mend=f"Did you mean “{near[0]}”?" if near else "")  # fmt: skip


def _words(raw: object, place: tuple[str, str]) -> str:
    if isinstance(raw, str):
        return raw
    if isinstance(raw, dt.time) and raw.tzinfo is None:
        return raw.isoformat("minutes")
    if isinstance(raw, dt.date) and not isinstance(raw, dt.datetime):
        return raw.isoformat()
    if place in limits.MAY_BE_NUMBERS and isinstance(raw, int | Decimal) and not isinstance(raw, bool):
        amounts.number(raw)
        return format(raw, "f") if isinstance(raw, Decimal) else str(raw)
    raise InputError("a text belongs here.", mend="Put it in quotation marks.")


def _date(raw: object) -> dt.date:
    if isinstance(raw, dt.datetime):
        raise InputError("it is a date with a time of day.", mend="Write the day alone: 2025-03-01.")
    if isinstance(raw, dt.date):
        return raw
    try:
        if not isinstance(raw, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", raw):
            raise ValueError
        return dt.date.fromisoformat(raw)
    except ValueError:
        raise InputError("it is no day of the calendar.", mend="Write year-month-day: 2025-03-01.") from None


def _of(unit: str) -> str:
    return {"s": " of seconds", "minor": " of the currency's smallest units"}.get(unit, "")


def _whole_mend(unit: str, raw: object, currency: str) -> str:
    if unit == "minor":
        if isinstance(raw, str):
            return f"{currency or 'The currency'} has no smaller coin."
        return f'Put money in quotes: "{shown(raw)}" is {shown(raw)} {currency}; without quotes the number is in cents.'
    return ""


def _listed(raw: object) -> list[tuple[str, ...]]:
    if not isinstance(raw, list) or not raw or len(raw) > 500:
        raise InputError("“for” wants keys.", mend='Write for = "1-12" or for = ["1", "2"].')
    if not all(isinstance(k, str | int) and not isinstance(k, bool) and len(str(k)) < 80 for k in raw):
        raise InputError("“for” wants keys.", mend='Write for = "1-12" or for = ["1", "2"].')
    return [(str(k),) for k in raw]


def _filled(value: Any, group: tuple[str, ...]) -> Any:
    if isinstance(value, str):
        text = value.replace("{}", "+".join(group))
        for place, key in enumerate(group, 1):
            text = text.replace(f"{{{place}}}", key)
        return text
    if isinstance(value, list):
        return [_filled(v, group) for v in value]
    return {k: _filled(v, group) for k, v in value.items()} if isinstance(value, dict) else value


def _spread(item: inspect.Type, raw: str, place: tuple[str, str]) -> list[str]:
    if isinstance(item, inspect.LiteralType) and "mon" in item.values:
        return _days(raw, [str(v) for v in item.values])
    if place in limits.RANGES_OF_KEYS:
        return [key for group in amounts.many(raw) for key in group]
    if isinstance(item, inspect.StrType | inspect.LiteralType):
        return [raw]
    raise InputError("a list belongs here.", mend="Write it between [ and ].")


def _days(raw: str, days: list[str]) -> list[str]:
    if raw.strip() in ("every day", "all", "daily"):
        return days
    week: list[str] = [d for d in ("mon", "tue", "wed", "thu", "fri", "sat", "sun") if d in days]
    out: list[str] = []
    for part in raw.split(","):
        first, dash, last = (p.strip().lower()[:3] for p in part.partition("-"))
        if first not in week or (dash and last not in week) or len(part) > 40:
            raise InputError("it names no days.", mend='Write "mon-fri", "sat, sun", "every day" or ["mon", "tue"].')
        start, end = week.index(first), week.index(last if dash else first)
        out += week[start : end + 1] if start <= end else week[start:] + week[: end + 1]
    return list(dict.fromkeys(out))
