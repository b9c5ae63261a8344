"""One control as a person meets it to set it: cautions, each setting with what it holds, should hold and can hold; what to read."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.control import grid_of, range_says, scale_of, show, to_sheet
from drybank.desk.cards import cautions_for, devices_of
from drybank.desk.setting import SetResult, Visit, record_visit
from drybank.desk.stamp import Pen
from drybank.desk.standing import controls_of, layout_at
from drybank.records.card import Language
from drybank.records.entry import Pieces
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.sheet import SettingLine, Values

if TYPE_CHECKING:
    from drybank.book import Book

POWERS = ("on", "off")


class LineToSet(msgspec.Struct, frozen=True, kw_only=True):
    """One setting: where it is found, what it holds and should hold ("" where not known), what it can hold."""

    key: str
    name: str
    found_at: str
    holds: str
    should: str
    can: str
    choices: tuple[str, ...] = ()


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """The settings reached with the power on, or with it off, behind their own cautions."""

    power: str
    cautions: tuple[str, ...]
    lines: tuple[LineToSet, ...]


class ToSet(msgspec.Struct, frozen=True, kw_only=True):
    """A control to be set: its parts, the meters and counters to read first, whether its bank has house settings."""

    control: str
    bank: str
    machine: str
    pockets: tuple[str, ...]
    sheet: str
    parts: tuple[Part, ...]
    devices: tuple[tuple[str, str], ...]
    has_house: bool


def to_set(book: Book, store: str, pocket: str, when: datetime, language: Language = "en") -> ToSet:
    """What setting a pocket's control asks for."""
    laid = layout_at(book, store, when)
    key = controls_of(laid, pocket=pocket)[0]
    one = laid.controls[key]
    held = book.settings_at(store, when).get(key, {})
    house = book.house_at(store, one.bank, when)
    wanted = to_sheet(laid, key, house) if house else {}
    parts = []
    for power in POWERS:
        lines = [s for s in laid.sheets[one.sheet].settings if (s.power == "off") == (power == "off")]
        if lines:
            made = tuple(_line(laid, key, s, (held, wanted)) for s in lines)
            parts.append(Part(power=power, cautions=cautions_for(laid, [key], power, language), lines=made))
    return ToSet(
        control=key, bank=one.bank, machine=one.machine, pockets=one.pockets, sheet=laid.sheets[one.sheet].name,
        parts=tuple(parts), devices=devices_of(laid, [key]), has_house=bool(house),
    )  # fmt: skip


def _line(laid: Layout, control: str, line: SettingLine, values: tuple[Values, Values]) -> LineToSet:
    scale = scale_of(laid, control, values[0]) if len(line.grids) > 1 else ""
    currency = laid.store.currency
    holds, should = (show(line, v[line.key], scale=scale, currency=currency) if line.key in v else "" for v in values)
    grid = grid_of(line, scale)
    return LineToSet(
        key=line.key, name=line.name, found_at=line.found, holds=holds, should=should,
        can=range_says(line, grid, currency), choices=line.choices,
    )  # fmt: skip


class Typed(msgspec.Struct, frozen=True, kw_only=True):
    """What was typed at one control: settings by key as found and as left, devices by key, and those read before."""

    found: Mapping[str, str] = {}
    left: Mapping[str, str] = {}
    as_house: bool = False
    is_read_back: bool = False
    devices: Mapping[str, str] = {}
    first: Mapping[str, str] = {}
    test_coins: str = ""
    card: str = ""
    change_day: str = ""
    happened: datetime | None = None


def record_typed(book: Book, store: str, pocket: str, typed: Typed, pen: Pen) -> SetResult:
    """Enter one visit as it was typed; the rules are those of `record_visit`."""
    said = {d: text for d, text in typed.devices.items() if text.strip()}
    visit = Visit(
        control=pocket, left=_texts(typed.left), found=_texts(typed.found), as_house=typed.as_house, devices=_texts(said),
        sure=tuple(d for d, text in typed.first.items() if text.strip() == said.get(d, "").strip()),
        test_pieces=test_coins(typed.test_coins), card=typed.card, change_day=typed.change_day,
        is_read_back=typed.is_read_back, happened=typed.happened,
    )  # fmt: skip
    return record_visit(book, store, visit, pen)


def _texts(said: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(f"{key}={text.strip()}" for key, text in said.items() if text.strip())


def test_coins(text: str) -> tuple[Pieces, ...]:
    """Coins put in to test, from ``25x4 100x1``; nothing for an empty text or 0."""
    out = []
    for word in text.replace(",", " ").split():
        worth, _, count = word.replace("×", "x").partition("x")
        if word == "0":
            continue
        if not (worth.isdigit() and count.isdigit() and len(worth) < 9 and len(count) < 7):
            raise InputError(f"“{word}” is not coins.", mend="Write worth x number, such as 25x4, or 0 for none.")
        out.append(Pieces(piece_minor=int(worth), count=int(count)))
    return tuple(out)
