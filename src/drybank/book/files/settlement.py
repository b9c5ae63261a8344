"""A settlement file of cards, apps or tokens: rows per machine or per sale into one payout, its own columns mapped.

Mapping (TOML): ``[columns]`` heading -> date, pocket, input, pieces, gross, fee, paid or ignore; ``dates`` and ``decimal`` as for a
history file. Without a mapping the headings are guessed. Bytes in, a record out; nothing is entered here.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Literal

import msgspec

from drybank.book.files.history.cells import Mark, day_and_time, mark_of, number
from drybank.book.files.history.records import DateOrder, Row
from drybank.book.files.history.table import read_table
from drybank.book.files.text import located, shown
from drybank.records.errors import InputError, InputErrors
from drybank.records.faults import fault_words
from drybank.records.layout import Layout
from drybank.records.money import MINOR_DIGITS

Holds = Literal["date", "pocket", "input", "pieces", "gross", "fee", "paid", "ignore"]
HOLDS: tuple[Holds, ...] = ("date", "pocket", "input", "pieces", "gross", "fee", "paid", "ignore")
_GUESSES: dict[str, Holds] = {
    "date": "date", "day": "date", "pocket": "pocket", "machine": "pocket", "dryer": "pocket", "input": "input", "reader": "input",
    "count": "pieces", "pieces": "pieces", "sales": "pieces", "pulses": "pieces", "gross": "gross", "amount": "gross", "sold": "gross",
    "total": "gross", "fee": "fee", "fees": "fee", "charge": "fee", "net": "paid", "paid": "paid", "payout": "paid",
}  # fmt: skip


class SettlementMapping(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a settlement file is to be read."""

    columns: dict[str, Holds]
    dates: DateOrder = ""
    decimal: Literal["", ".", ","] = ""


class SettlementRead(msgspec.Struct, frozen=True, kw_only=True):
    """What a file settles: first and last day, sums in minor units, and the pieces and money of each input."""

    first: dt.date
    last: dt.date
    gross_minor: int
    fee_minor: int
    paid_minor: int
    inputs: tuple[tuple[str, int, int], ...]
    rows: int
    columns: tuple[tuple[str, str], ...]


def read_settlement_mapping(content: bytes | str, name: str) -> SettlementMapping:
    """A mapping file; refused with what is wrong in it."""
    said = {k: v for k, v in located(content, name).content.items() if k != "drybank"}
    try:
        return msgspec.convert(said, SettlementMapping)
    except msgspec.ValidationError as wrong:
        raise InputError(
            f"{fault_words(str(wrong))}.",
            where=name,
            allowed=", ".join(HOLDS),
            mend="[columns] names headings and what they hold.",
        ) from None


def read_settlement(
    data: bytes, filename: str, layout: Layout, account: str, mapping: SettlementMapping | None = None
) -> SettlementRead:
    """One account's settlement from a CSV or XLSX file; every bad row at once, or all of it."""
    table = read_table(data, filename)
    if len(table.rows) < 2:
        raise InputError("the file has no rows under its headings.", where=filename)
    heads = [str(c or "").strip() for c in table.rows[0].cells]
    said = mapping.columns if mapping else {h: _GUESSES.get(h.casefold(), "ignore") for h in heads if h}
    lost = [h for h in said if h not in heads]
    if lost:
        raise InputError(f"the file has no column “{shown(lost[0], 40)}”.", where=filename, allowed=", ".join(heads))
    at: dict[Holds, int] = {holds: heads.index(h) for h, holds in said.items() if holds != "ignore"}
    if "date" not in at or "gross" not in at:
        raise InputError(
            "no column holds the date, or none the gross.", where=filename, mend='Map them: "Heading" = "gross".'
        )
    figures = [i for holds, i in at.items() if holds in ("gross", "fee", "paid")]
    mark = (
        (mapping.decimal if mapping else "")
        or mark_of(r.cells[i] for r in table.rows[1:] for i in figures if i < len(r.cells))
        or ""
    )
    reader = _Rows(layout, account, at, mapping.dates if mapping else "", mark)
    for row in table.rows[1:]:
        reader.take(row, filename)
    return reader.sum(tuple((h, said.get(h, "ignore")) for h in heads), filename)


class _Rows:
    def __init__(self, layout: Layout, account: str, at: dict[Holds, int], dates: DateOrder, mark: Mark) -> None:
        self.layout, self.account, self.at, self.dates, self.mark = layout, account, at, dates, mark
        self.scale = 10 ** MINOR_DIGITS[layout.store.currency]
        self.days: list[dt.date] = []
        self.sums = {"gross": 0, "fee": 0, "paid": 0}
        self.by_input: dict[str, tuple[int, int]] = {}
        self.mistakes: list[InputError] = []
        self.keys = {i.key: i.key for i in layout.inputs.values() if i.account == account}
        for one in list(self.keys):
            for pocket in layout.controls[layout.inputs[one].control].pockets:
                self.keys.setdefault(pocket, one)

    def _cell(self, row: Row, holds: Holds) -> object:
        index = self.at.get(holds)
        return row.cells[index] if index is not None and index < len(row.cells) else None

    def take(self, row: Row, filename: str) -> None:
        if all(c in (None, "") for c in row.cells) or self._cell(row, "date") is None:
            return  # blank, or a row of totals without a date
        try:
            day = day_and_time(self._cell(row, "date"), self.dates)[0]  # type: ignore[arg-type]
            money = {name: self._minor(self._cell(row, name)) for name in ("gross", "fee", "paid")}
            key = self._input(row)
            pieces = int(number(self._cell(row, "pieces"))) if self._cell(row, "pieces") is not None else 0  # type: ignore[arg-type]
            if pieces < 0:
                raise InputError("its pieces are below nothing.")
        except InputError as wrong:
            self.mistakes.append(
                InputError(wrong.what, where=f"{filename} row {row.number}", allowed=wrong.allowed, mend=wrong.mend)
            )
            return
        self.days.append(day)
        for name, minor in money.items():
            self.sums[name] += minor
        if key:
            had = self.by_input.get(key, (0, 0))
            self.by_input[key] = (had[0] + pieces, had[1] + money["gross"])

    def _minor(self, cell: object) -> int:
        if cell is None:
            return 0
        scaled = number(cell, self.mark) * self.scale  # type: ignore[arg-type]
        whole = scaled.to_integral_value()
        # A spreadsheet keeps 4.35 as a binary fraction; what is off by less than a millionth of a cent is that, no more.
        if abs(scaled - whole) > Decimal("0.000001"):
            raise InputError(f"“{shown(str(cell), 20)}” is not whole minor units of {self.layout.store.currency}.")
        return int(whole)

    def _input(self, row: Row) -> str:
        said = self._cell(row, "input") or self._cell(row, "pocket")
        if said is None:
            return ""
        name = str(int(said)) if isinstance(said, float) and said.is_integer() else str(said).strip()
        if name not in self.keys:
            raise InputError(
                f"“{shown(name, 30)}” has no input that pays into “{self.account}”.", allowed=", ".join(self.keys)
            )
        return self.keys[name]

    def sum(self, columns: tuple[tuple[str, str], ...], filename: str) -> SettlementRead:
        if self.mistakes:
            raise InputErrors(self.mistakes)
        if not self.days:
            raise InputError("the file has no row with a date.", where=filename)
        paid = self.sums["paid"] if "paid" in self.at else self.sums["gross"] - self.sums["fee"]
        return SettlementRead(
            first=min(self.days), last=max(self.days), gross_minor=self.sums["gross"], fee_minor=self.sums["fee"], paid_minor=paid,
            inputs=tuple((k, n, m) for k, (n, m) in sorted(self.by_input.items())), rows=len(self.days), columns=columns,
        )  # fmt: skip
