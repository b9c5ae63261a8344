"""Bytes into rows: CSV of any usual delimiter and encoding, and XLSX workbooks.

A workbook is looked through before it is parsed: its size unpacked, and the farthest cell it names, because a few hundred
bytes can claim a sheet of billions of cells.
"""

from __future__ import annotations

import csv
import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator

from drybank.book.files.history.records import Cell, Row, Table
from drybank.book.files.text import shown
from drybank.records.errors import InputError

BYTES_AT_MOST = 20_000_000
UNPACKED_AT_MOST = 60_000_000
ROWS_AT_MOST = 100_000
COLUMNS_AT_MOST = 1_000
CELLS_AT_MOST = 3_000_000
LINE_AT_MOST = 200_000
_DELIMITERS = ",;\t|"


def read_table(data: bytes, filename: str, sheet: str = "") -> Table:
    """Rows of a CSV file or of one sheet of an XLSX workbook.

    Raises `InputError` in a plain sentence where the bytes are neither, too large, or made to do harm.
    """
    if len(data) > BYTES_AT_MOST:
        raise InputError(f"The file has {len(data):,} bytes.", where=filename, allowed=f"up to {BYTES_AT_MOST:,}")
    if data[:4] == b"PK\x03\x04":
        return _workbook(data, filename, sheet)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise InputError("This is an old or a locked workbook.", where=filename,
                         mend="Open it, take the password off, and save it as .xlsx or .csv.")  # fmt: skip
    return _delimited(data, filename)


# CSV


def _delimited(data: bytes, filename: str) -> Table:
    text, encoding = _decoded(data, filename)
    mark = _delimiter(text)
    says = [f"Read as text in {encoding}, columns parted by {'a tab' if mark == chr(9) else f'“{mark}”'}."]
    rows: list[Row] = []
    if _longest_line(text) > LINE_AT_MOST:
        raise _too_large(filename)
    lines = io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8", newline="")  # lighter than a text in memory
    del text
    cells, same = 0, _Same()
    try:
        for fields in csv.reader(lines, delimiter=mark):
            rows.append(Row(len(rows) + 1, same.cells(fields)))
            cells += len(fields)
            if len(rows) > ROWS_AT_MOST or cells > CELLS_AT_MOST or len(fields) > COLUMNS_AT_MOST:
                raise _too_large(filename)
    except csv.Error as bad:
        raise InputError(f"Row {len(rows) + 1} cannot be read as CSV ({shown(str(bad))}).", where=filename,
                         mend="Often a quotation mark that is not closed.") from None  # fmt: skip
    return Table(rows=tuple(rows), says=tuple(says))


def _longest_line(text: str) -> int:
    """Looked for without cutting the text apart: one row of a million empty cells takes eighteen times its file."""
    longest = start = 0
    while (end := text.find("\n", start)) >= 0:
        longest, start = max(longest, end - start), end + 1
    return max(longest, len(text) - start)


class _Same:
    """Cells and rows that are written alike, kept once: a history repeats its days and pockets."""

    AT_MOST = 50_000

    def __init__(self) -> None:
        self.words: dict[str, str] = {}
        self.last: tuple[str | None, ...] = ()

    def cells(self, fields: list[str]) -> tuple[str | None, ...]:
        if len(self.words) > self.AT_MOST:
            self.words.clear()
        found = tuple(self.words.setdefault(f, f) if f else None for f in map(str.strip, fields))
        if found != self.last:
            self.last = found
        return self.last


def _decoded(data: bytes, filename: str) -> tuple[str, str]:
    tries = ["utf-16"] if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for encoding in tries:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        names = {"utf-8-sig": "UTF-8", "cp1252": "Windows-1252 (it is not UTF-8)", "utf-16": "UTF-16"}
        return text, names[encoding]
    raise InputError("This is neither a table as text nor a workbook.", where=filename,
                     mend="Save it as .csv (UTF-8) or .xlsx.")  # fmt: skip


def _delimiter(text: str) -> str:
    """The mark that parts the first rows most evenly into more than one column."""
    head = "\n".join(text[:20_000].splitlines()[:30])
    best, best_score = ",", (0.0, 0)
    for mark in _DELIMITERS:
        try:
            widths = [len(r) for r in csv.reader(io.StringIO(head), delimiter=mark) if any(f.strip() for f in r)]
        except csv.Error:
            continue
        usual = max(set(widths), key=widths.count) if widths else 0
        score = (widths.count(usual) / len(widths), usual) if usual > 1 else (0.0, 0)
        if score > best_score:
            best, best_score = mark, score
    return best


def _too_large(filename: str) -> InputError:
    return InputError("The table is larger than a history of one store.", where=filename,
                      allowed=f"{ROWS_AT_MOST:,} rows, {COLUMNS_AT_MOST:,} columns, {CELLS_AT_MOST:,} cells",
                      mend="Bring it in year by year.")  # fmt: skip


# XLSX


def _workbook(data: bytes, filename: str, sheet: str) -> Table:
    errors = _check_package(data, filename)
    from python_calamine import CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = book.sheet_names
        if not names:
            raise InputError("The workbook has no sheet.", where=filename)
        if sheet and sheet not in names:
            raise InputError(f"The workbook has no sheet “{shown(sheet)}”.", where=filename,
                             allowed=", ".join(f"“{shown(n)}”" for n in names[:20]))  # fmt: skip
        name = sheet or names[0]
        rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False, nrows=ROWS_AT_MOST + 1)
    except (InputError, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as bad:  # the parser's own panics are not Exceptions
        raise InputError(f"The workbook cannot be read ({shown(str(bad))}).", where=filename,
                         mend="Open it and save it again, or save it as .csv.") from None  # fmt: skip
    if len(rows) > ROWS_AT_MOST:
        raise _too_large(filename)
    others = (
        f" Other sheets are not read: {', '.join(shown(n, 30) for n in names if n != name)[:200]}."
        if len(names) > 1
        else ""
    )
    says = [f"Read sheet “{shown(name)}” of the workbook.{others}"]
    if errors:
        says.append(f"Cells with an error such as #DIV/0!, which count as blank: {errors}.")
    return Table(rows=tuple(Row(i, tuple(_cell(c) for c in r)) for i, r in enumerate(rows, 1)), says=tuple(says))


def _cell(cell: Cell) -> Cell:
    return (cell.strip() or None) if isinstance(cell, str) else cell


def _check_package(data: bytes, filename: str) -> int:
    """Refuse a package that would unpack too large, and sheets that claim cells too far out.

    Gives the number of cells that hold an error such as #DIV/0!, which the parser hands on as blank.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            members = package.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, struct.error, NotImplementedError, RuntimeError):
        raise InputError("The workbook is damaged.", where=filename, mend="Open it and save it again.") from None
    if not any(m.filename == "xl/workbook.xml" for m in members):
        raise InputError("This is a package, but no XLSX workbook.", where=filename, mend="Save it as .xlsx or .csv.")
    left, errors = UNPACKED_AT_MOST, 0
    for member in members:
        far = _Farthest(filename)  # in every part: the workbook says which of them are sheets
        for piece in _unpacked(data, member, filename):
            left -= len(piece)
            if left < 0 or len(members) > 2_000:
                raise InputError("The workbook unpacks to far more than a history of one store.", where=filename,
                                 allowed=f"{UNPACKED_AT_MOST // 1_000_000} MB unpacked", mend="Save it as .csv.")  # fmt: skip
            far.look(piece)
        errors += far.errors
    return errors


def _unpacked(data: bytes, member: zipfile.ZipInfo, filename: str) -> Iterator[bytes]:
    """A member's true content in pieces, whatever size its header claims."""
    at = member.header_offset
    if data[at : at + 4] != b"PK\x03\x04" or member.compress_type not in (0, 8) or member.flag_bits & 1:
        raise InputError("The workbook is locked or damaged.", where=filename, mend="Save it again without a password.")
    name_len, extra_len = struct.unpack("<HH", data[at + 26 : at + 30])
    start = at + 30 + name_len + extra_len
    packed = memoryview(data)[start : start + member.compress_size]
    if member.compress_type == 0:
        yield bytes(packed)
        return
    inflate, rest = zlib.decompressobj(-15), bytes(packed)
    try:
        while rest and not inflate.eof:
            piece = inflate.decompress(rest, 1_000_000)
            rest = inflate.unconsumed_tail
            yield piece
    except zlib.error:
        raise InputError("The workbook is damaged.", where=filename, mend="Open it and save it again.") from None


_PLACE = re.compile(rb"""\br\s*=\s*["']\s*(?:([A-Za-z]{1,4})?(\d{1,12})|[^"']{0,40}&)""")


_ERROR = re.compile(rb"""<[\w:]{0,10}c\s[^<>]{0,60}\bt\s*=\s*["']e["']""")


class _Farthest:
    """Looks through a sheet's XML for the farthest row and column that it names."""

    def __init__(self, filename: str) -> None:
        self.filename, self.tail, self.errors = filename, b"", 0

    def look(self, piece: bytes) -> None:
        text = self.tail + piece
        for found in _PLACE.finditer(text):
            letters, digits = found[1] or b"", found[2]
            column = 0
            for letter in letters.upper():
                column = column * 26 + letter - 64
            if digits is None or int(digits) > ROWS_AT_MOST or column > COLUMNS_AT_MOST:
                raise _too_large(self.filename)
        self.errors += len(_ERROR.findall(text)) - len(_ERROR.findall(self.tail))
        self.tail = text[-80:]
