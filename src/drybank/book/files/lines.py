"""Where in its file a mistake stands that was found later, by the checks on a whole record.

Those checks know rows and fields (``settings[3] “linger”.grids[0].unit``), not lines. The file is walked once more to find
which of its rows each record came from, rows written once for several included.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable

from drybank.book.files.shape import Enough, Shaper, singular, unit_of
from drybank.book.files.sheet_file import grids_as_steps
from drybank.book.files.store_file import headed
from drybank.book.files.text import Path, located
from drybank.records.errors import InputError
from drybank.records.sheet import ControlSheet
from drybank.records.store import Store

_WHERE = re.compile(r"(\w+)(?:\[(\d+)\])?(?: “([^”]*)”)?((?:\.\w+(?:\[\d+\])?)*)")
_PART = re.compile(r"\.(\w+)(?:\[(\d+)\])?")


def with_lines(text: str | bytes, name: str, errors: Iterable[InputError]) -> tuple[InputError, ...]:
    """The mistakes again, each with the file's name and the line of what it speaks of, as far as that can be told.

    ``text`` is a store file or control sheet that can be read; a place that is not in it keeps its own words.
    """
    file = located(text, name)
    shaper = Shaper(file)
    is_sheet = "sale" in file.content
    if is_sheet:
        shaper.prepare["SettingLine"] = grids_as_steps
    with contextlib.suppress(Enough):
        shaper.shape(ControlSheet if is_sheet else Store, headed(shaper, "sheet" if is_sheet else "store"))
    return _once([_placed(shaper, e) for e in errors])


def _once(errors: list[InputError]) -> tuple[InputError, ...]:
    """One mistake of a row written for many is said once, with how many more are alike."""
    alike: dict[tuple[str, str], list[InputError]] = {}
    for error in errors:
        alike.setdefault((error.where.partition(" ")[0], error.what), []).append(error)
    return tuple(
        kin[0] if len(kin) == 1 else InputError(f"{kin[0].what} {len(kin) - 1} more alike.", where=kin[0].where,
                                                allowed=kin[0].allowed, mend=kin[0].mend)
        for kin in alike.values()
    )  # fmt: skip


def _placed(shaper: Shaper, error: InputError) -> InputError:
    path = _path(shaper, error.where)
    where = (
        f"{shaper.file.name}:{shaper.file.line(path)} {error.where}" if path else f"{shaper.file.name} {error.where}"
    )
    return InputError(error.what, where=where.rstrip(), allowed=error.allowed, mend=error.mend)


def _path(shaper: Shaper, where: str) -> Path:
    found = _WHERE.match(where)
    if not found:
        return ()
    word, index, key, rest = found.groups()
    path = _row(shaper, word, int(index) if index else None, key) or _inner(shaper, (), word, index)
    for part in _PART.finditer(rest) if path else ():
        deeper = _inner(shaper, path, part[1], part[2])
        if not deeper:
            break
        path = deeper
    return path


def _row(shaper: Shaper, word: str, index: int | None, key: str | None) -> Path:
    rows = shaper.rows.get(word, [])
    if index is not None and index < len(rows):
        return rows[index].path
    if key:
        names = (key, f"*.{key.rpartition('.')[2]}")
        kin = [r for r in rows if r.key == key or getattr(r.record, "input", "") in names]
        return kin[0].path if kin else ()
    return ()


def _inner(shaper: Shaper, path: Path, word: str, index: str | None) -> Path:
    """One step deeper: the key as written, by any of its names, and its place in a list."""
    unit = unit_of("", word)
    for name in dict.fromkeys((word, singular(word), re.sub(rf"_{unit}(?=_|$)", "", word, count=1) if unit else word)):
        deeper = (*path, name)
        if deeper in shaper.file.lines:
            listed = (*deeper, int(index)) if index else deeper
            return listed if listed in shaper.file.lines else deeper
    return ()
