"""Files as a way in and out of the book: text in, records out, and back. Nothing here touches the disk or the database.

text           TOML syntax, and the line of every key
shape          plain values into records, every mistake gathered
amounts        "6 min", "20 lb", "450 cfm", "0.25", "1-12"
limits         ranges, patterns and words for mistakes
store_file     store files              sheet_file     control sheets
settings_file  house settings of banks  writing        records out as TOML that reads back equal
difference     what a changed file changes, in sentences
lines          the line of a mistake that a later check found
history/       readings, collections and counts as people keep them: CSV and XLSX in
reference      the reference pages, written from the records themselves
"""

from __future__ import annotations

import re
from typing import Literal

from drybank.book.files.difference import difference
from drybank.book.files.lines import with_lines
from drybank.book.files.settings_file import BankHouse, HouseFile, read_settings, write_settings
from drybank.book.files.sheet_file import read_sheet, write_sheet
from drybank.book.files.store_file import read_store, write_store
from drybank.book.files.text import located
from drybank.records.errors import InputError

Kind = Literal["store", "sheet", "settings", "history mapping", "not ours"]

_TELLING: tuple[tuple[Kind, frozenset[str]], ...] = (
    ("history mapping", frozenset({"columns"})),
    ("sheet", frozenset({"sale", "setting", "settings", "serves", "revision"})),
    ("store", frozenset({"pocket", "pockets", "machine", "machines", "time_zone"})),
    ("settings", frozenset({"bank", "banks"})),
)


_LINE = re.compile(
    r"""^\s*(?:drybank\s*=\s*["']([a-z]{1,20} \d{1,4})|\[{1,2}\s*([a-z_]{1,20})\s*\]|([a-z_]{1,20})\s*=)""",
    re.MULTILINE,
)


def _looks_like(text: str | bytes) -> dict[str, object]:
    """The form line, tables and keys that a broken file seems to hold, so that its reader can say what is wrong with it."""
    start = text[:100_000].decode("utf-8", "replace") if isinstance(text, bytes) else text[:100_000]
    found: dict[str, object] = {}
    for form, table, key in _LINE.findall(start):
        found |= {"drybank": form} if form else {table or key: 0}
    return found


def kind_of(text: str | bytes) -> Kind:
    """What a file is: by its ``drybank`` line, else by the tables it holds; a broken one by what its lines look like."""
    try:
        content = located(text, "file").content
    except InputError:
        content = _looks_like(text)
    said = content.get("drybank")
    if isinstance(said, str):
        word = said.rpartition(" ")[0]
        named: dict[str, Kind] = {
            "store": "store",
            "sheet": "sheet",
            "settings": "settings",
            "history": "history mapping",
        }
        return named.get(word, "not ours")
    return next((kind for kind, keys in _TELLING if keys & content.keys()), "not ours")


__all__ = [
    "BankHouse", "HouseFile", "Kind", "difference", "kind_of", "read_settings", "read_sheet", "read_store", "with_lines",
    "write_settings", "write_sheet", "write_store",
]  # fmt: skip
