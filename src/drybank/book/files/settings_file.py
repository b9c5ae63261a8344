"""House settings as a file: what each bank of a store should be set to, from a date on.

Values stand apart from any control sheet, by purpose: ``{ purpose = "time per piece", piece = "0.25", set = "6 min" }``.
"""

from __future__ import annotations

import re
from decimal import Decimal

import msgspec

from drybank.book.files import amounts
from drybank.book.files.shape import Enough, Row, Shaper, spoken_name
from drybank.book.files.store_file import headed
from drybank.book.files.text import Path, located, shown
from drybank.book.files.writing import quoted
from drybank.records.errors import InputError
from drybank.records.money import MINOR_DIGITS
from drybank.records.sheet import HouseSettings, HouseValue

HEADER = "settings 1"


class BankHouse(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """House settings of one bank from a day on (``2025-03-01``)."""

    bank: str
    from_date: str
    values: HouseSettings


class HouseFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A store's house settings, bank by bank."""

    store: str
    currency: str
    banks: tuple[BankHouse, ...]


def read_settings(text: str | bytes, name: str = "settings file") -> HouseFile:
    """House settings that a file describes; `InputErrors` with every mistake otherwise."""
    file = located(text, name)
    said = file.content.get("currency")
    shaper = Shaper(file, said if isinstance(said, str) and said in MINOR_DIGITS else "")
    shaper.prepare["HouseValue"] = _set
    try:
        house = shaper.shape(HouseFile, headed(shaper, "settings"))
        _twice(shaper)
    except Enough:
        shaper.raise_all(is_cut=True)
    if shaper.mistakes:
        shaper.raise_all()
    assert isinstance(house, HouseFile)
    return house


def write_settings(house: HouseFile) -> str:
    """House settings as a file that reads back equal."""
    lines = [f"drybank = {quoted(HEADER)}", f"store = {quoted(house.store)}", f"currency = {quoted(house.currency)}"]
    for bank in house.banks:
        lines += ["", "[[bank]]", f"bank = {quoted(bank.bank)}", f"from_date = {quoted(bank.from_date)}", "values = ["]
        lines += [f"  {{ {', '.join(_written(v, house.currency))} }}," for v in bank.values] + ["]"]
    return "\n".join(lines) + "\n"


def _written(value: HouseValue, currency: str) -> list[str]:
    out = [f"purpose = {quoted(value.purpose)}"]
    if value.piece_minor:
        whole = Decimal(value.piece_minor).scaleb(-MINOR_DIGITS.get(currency, 2))
        out.append(f"{spoken_name('HouseValue', 'piece_minor')} = {quoted(format(whole, 'f'))}")
    out += [f"{name} = {getattr(value, name)}" for name in ("heat", "from_hour") if getattr(value, name)]
    out += [f"until_hour = {value.until_hour}"] if value.until_hour != 24 else []
    out.append(f"value = {value.value}")
    out.append(f"base = {quoted(value.base)}")
    return out + ([f"word = {quoted(value.word)}"] if value.word else [])


def _set(shaper: Shaper, row: Row, path: Path) -> Row:
    """``set = "6 min"`` as value and base; ``set = "on"`` as a word."""
    if "set" not in row:
        return row
    text = row.pop("set")
    twice = [k for k in ("value", "base", "word") if k in row]
    if twice:
        shaper.note((*path, "set"), f"“set” and “{twice[0]}” say the same thing twice.", mend="Keep one of the two.")
    elif not isinstance(text, str):
        shaper.note(
            (*path, "set"), f"“set” is {shown(text)}.", mend='Write "6 min", "74 C", "1.25", "4 pieces" or a word.'
        )
    else:
        try:
            row |= understood(text, shaper.currency)
        except InputError as bad:
            shaper.refuse((*path, "set"), text, bad)
    return row


def understood(text: str, currency: str) -> dict[str, object]:
    """Value and base of an amount as written; a text that is none is a choice's word."""
    text = text.strip()
    if re.fullmatch(r"-?\d{1,6}(\.\d{1,6})?\s*°?\s*[CF]", text):
        exact, scale = amounts.temperature(text)
        return {"value": _whole(exact), "base": f"°{scale}"}
    if found := re.fullmatch(r"(\d{1,9})\s*(pieces?|times)", text):
        return {"value": int(found[1]), "base": "pieces" if found[2].startswith("piece") else "count"}
    if re.fullmatch(r"\d{1,9}(\.\d{1,6})?\s*%", text):
        return {"value": _whole(amounts.amount(text, "pct")), "base": "%"}
    if re.fullmatch(r"\d{1,9}(\.\d{1,6})?", text):
        return {"value": _whole(amounts.money(text, currency)), "base": "minor"}
    if re.match(r"\d", text):
        return {"value": _whole(amounts.amount(text, "s")), "base": "s"}
    return {"word": text, "base": "choice"}


def _whole(exact: Decimal) -> int:
    if exact != int(exact):
        raise InputError(
            "it is not a whole number of its base unit.", mend="Settings are whole seconds, cents, degrees."
        )
    return int(exact)


def _twice(shaper: Shaper) -> None:
    seen: set[tuple[str, str]] = set()
    for row in shaper.rows.get("banks", ()):
        mark = (getattr(row.record, "bank", ""), getattr(row.record, "from_date", ""))
        if mark in seen and mark[0]:
            shaper.note(row.path, f"Bank “{mark[0]}” has two sets of settings from {mark[1]}.", mend="Keep one.")
        seen.add(mark)
