"""A history as people keep it, CSV or XLSX, into drafts of entries. Nothing is entered here.

records   mapping, drafts, refused rows          table     bytes into rows, hostile files refused
mapping   what the columns hold, said or guessed  cells     one cell: figures, days, hours
rows      rows into drafts                        order     rows against each other
"""

from __future__ import annotations

import datetime as dt

from drybank.book.files.history import order
from drybank.book.files.history.cells import Mark, as_shown, mark_of, zone_of
from drybank.book.files.history.mapping import find_header, guess, read_mapping, role_of, write_mapping
from drybank.book.files.history.records import (
    Draft,
    HistoryMapping,
    HistoryRead,
    RefusedRow,
    Row,
    Table,
    content_id,
    entries_from,
)
from drybank.book.files.history.rows import Column, RowReader, Seen, drafts_of
from drybank.book.files.history.table import read_table
from drybank.book.files.text import shown
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout

_FIGURES = ("reading", "value", "pieces", "test", "money", "foreign", "temperature")


def read_history(
    data: bytes,
    filename: str,
    mapping: HistoryMapping | None,
    layout: Layout,
    *,
    not_after: dt.datetime | None = None,
) -> HistoryRead:
    """What a history file would enter into a store's book.

    Parameters
    ----------
    data, filename
        The file's bytes, and its name for sentences.
    mapping
        What its columns hold; None to guess from the headings. What was taken is in the result's ``mapping``.
    layout
        The store as it stands, with its sheets.
    not_after
        Rows after this moment are refused (aware); None to let every date pass.

    Raises
    ------
    InputErrors
        The file as a whole cannot be read, or its columns cannot: no row is looked at then.
    """
    try:
        table = read_table(data, filename, mapping.sheet if mapping else "")
        if not table.rows:
            raise InputError("The file is empty.")
        top = find_header(table.rows, layout, mapping)
        columns, used = _columns(table.rows[top], mapping, layout)
    except InputErrors:
        raise
    except InputError as bad:
        where = filename if not bad.where or bad.where == filename else f"{filename} {bad.where}"
        raise InputErrors([InputError(bad.what, where=where, allowed=bad.allowed, mend=bad.mend)]) from None
    return _Read(layout, used, columns, table, top).run(not_after)


def _columns(head: Row, mapping: HistoryMapping | None, layout: Layout) -> tuple[tuple[Column, ...], HistoryMapping]:
    heads = [as_shown(c) if c is not None else "" for c in head.cells]
    twice = sorted({h for h in heads if h and heads.count(h) > 1})
    said = mapping.columns if mapping else {h: guess(h, layout) for h in heads if h}
    there = {h.casefold() for h in heads}
    known = ", ".join(f"“{shown(h, 30)}”" for h in heads if h)[:500]
    mistakes = [
        InputError(f"The file has no column “{shown(name)}”.", where=f"row {head.number}", allowed=known)
        for name in said
        if name.casefold().strip() not in there
    ]
    roles = {k.casefold().strip(): v for k, v in said.items()}
    columns: list[Column] = []
    for index, name in enumerate(heads):
        try:
            role = role_of(roles.get(name.casefold(), "ignore"), layout)
        except InputError as bad:
            mistakes.append(
                InputError(bad.what, where=f"column “{shown(name, 40)}”", allowed=bad.allowed, mend=bad.mend)
            )
            continue
        if role.kind != "ignore":
            columns.append(Column(index, name, role))
            if name in twice:
                mistakes.append(InputError(f"Two columns are headed “{shown(name, 40)}”.", where=f"row {head.number}",
                                           mend="Give each a heading of its own."))  # fmt: skip
    mistakes += _wrong_together(columns)
    if mistakes:
        unique = {e.sentence(): e for e in mistakes}
        raise InputErrors(list(unique.values()))
    return tuple(columns), mapping or HistoryMapping(columns=said)


def _wrong_together(columns: list[Column]) -> list[InputError]:
    kinds = [c.role.kind for c in columns]
    out = []
    if "date" not in kinds:
        out.append(InputError("No column holds the date.", mend='Map one: "Heading" = "date".'))
    for kind in ("date", "time", "pocket", "box", "device", "value", "store"):
        if kinds.count(kind) > 1:
            heads = ", ".join(f"“{shown(c.head, 30)}”" for c in columns if c.role.kind == kind)
            out.append(
                InputError(f"More than one column holds the {kind}: {heads}.", mend="Map all but one to ignore.")
            )
    if not {"reading", "value", "pieces", "money", "temperature", "note"} & set(kinds):
        out.append(InputError("No column holds a reading or a count.", mend='Map one: "Heading" = "reading turning".'))
    if "pocket" not in kinds and any(c.role.kind == "reading" and "." not in c.role.what for c in columns):
        out.append(InputError("A reading names a meter without its pocket, and no column holds the pocket.",
                              mend='Write "reading 3.turning", or map a column to "pocket".'))  # fmt: skip
    return out


class _Read:
    """One file on its way into drafts."""

    def __init__(
        self, layout: Layout, mapping: HistoryMapping, columns: tuple[Column, ...], table: Table, top: int
    ) -> None:
        self.layout, self.mapping, self.columns, self.table, self.top = layout, mapping, columns, table, top
        self.notes = list(table.says)
        self.refused: dict[int, RefusedRow] = {}
        self.skipped: list[RefusedRow] = []
        self.assumed_times = 0

    def run(self, not_after: dt.datetime | None) -> HistoryRead:
        body = self.table.rows[self.top + 1 :]
        if any(c is not None for row in self.table.rows[: self.top] for c in row.cells):
            self.notes.append(
                f"The headings stand in row {self.table.rows[self.top].number}; what is above them is not read."
            )
        reader = RowReader(self.layout, self.mapping, self.columns, self._mark(body))
        seen = [s for row in body if (s := self._one(reader, row, not_after))]
        if order.is_newest_first(seen):
            self.notes.append("The newest rows stand first; they are entered oldest first.")
            seen.reverse()
        seen, again = order.once_only(seen)
        self.notes += again
        for one in [s for s in seen if not s.bodies]:
            self._skip(one.row, "It says only what another row says.")
        seen = [s for s in seen if s.bodies]
        seen = self._without(seen, order.said_twice(seen))
        seen = self._without(seen, order.out_of_order(seen))
        seen.sort(key=lambda s: s.happened)
        fast, notes = order.too_fast(seen, self.layout)
        seen = self._without(seen, fast)
        self.notes += notes
        if not_used := [h for h, role in self._shown_columns() if role == "ignore"]:
            self.notes.append(
                f"Not used: {', '.join(shown(h, 30) for h in not_used[:20])}. Map remarks to note if they name nobody."
            )
        if self.assumed_times:
            rows = "1 row gives" if self.assumed_times == 1 else f"{self.assumed_times} rows give"
            self.notes.append(f"{rows} no hour of the day; {self.mapping.time} was taken.")
        return HistoryRead(
            drafts=tuple(d for s in seen for d in drafts_of(s)),
            refused=tuple(self.refused[n] for n in sorted(self.refused)),
            skipped=tuple(self.skipped),
            notes=tuple(self.notes),
            mapping=self.mapping,
            columns=self._shown_columns(),
        )

    def _mark(self, body: tuple[Row, ...]) -> Mark:
        if self.mapping.decimal:
            return self.mapping.decimal
        indexes = [c.index for c in self.columns if c.role.kind in _FIGURES]
        mark = mark_of(r.cells[i] for r in body for i in indexes if i < len(r.cells))
        if mark is None:
            self.notes.append(
                "Some figures show a decimal point, others a decimal comma; those that can be read both ways are refused."
            )
        elif mark:
            self.notes.append(f"The file's own figures show “{mark}” as the decimal mark.")
        return mark or ""

    def _one(self, reader: RowReader, row: Row, not_after: dt.datetime | None) -> Seen | None:
        if reader.is_blank(row):
            return None
        if row.cells == self.table.rows[self.top].cells:
            self._skip(row, "It repeats the headings.")
            return None
        if reader.is_total(row):
            self._skip(row, "It adds up other rows.")
            return None
        seen = reader.read(row)
        if seen and not_after and seen.happened > not_after:
            local = seen.happened.astimezone(zone_of(self.layout.store.time_zone))
            reader.reasons.append(f"Its date, {local:%Y-%m-%d}, lies ahead of now.")
        if reader.reasons or seen is None:
            self._refuse(row, reader.reasons)
            return None
        self.assumed_times += reader.is_time_assumed
        return seen

    def _skip(self, row: Row, why: str) -> None:
        self.skipped.append(RefusedRow(row=row.number, reasons=(why,), cells=_shown_cells(row)))

    def _refuse(self, row: Row, reasons: list[str]) -> None:
        self.refused[row.number] = RefusedRow(row=row.number, reasons=tuple(reasons), cells=_shown_cells(row))

    def _without(self, seen: list[Seen], reasons: order.Reasons) -> list[Seen]:
        for one in seen:
            if one.row.number in reasons:
                self._refuse(one.row, reasons[one.row.number])
        return [s for s in seen if s.row.number not in reasons]

    def _shown_columns(self) -> tuple[tuple[str, str], ...]:
        said = {k.casefold().strip(): v for k, v in self.mapping.columns.items()}
        heads = [as_shown(c) for c in self.table.rows[self.top].cells if c is not None]
        return tuple((h, said.get(h.casefold(), "ignore")) for h in heads)


def _shown_cells(row: Row) -> tuple[str, ...]:
    return tuple(as_shown(c) if c is not None else "" for c in row.cells[:20])


__all__ = [
    "Draft", "HistoryMapping", "HistoryRead", "RefusedRow", "content_id", "entries_from", "guess", "read_history", "read_mapping",
    "read_table", "role_of", "write_mapping",
]  # fmt: skip
