"""Control sheets: TOML in, a `ControlSheet` out, and back.

Grid values may be written as amounts (``lowest = "30 s"`` under ``unit = "0.1 min"``) or as whole numbers of the unit;
a choice's factory value by its word. A temperature is taken in its grid's own scale and never converted.
"""

from __future__ import annotations

import re
from decimal import Decimal

from drybank.book.files import amounts
from drybank.book.files.shape import BAD, Enough, Row, Shaper
from drybank.book.files.store_file import headed
from drybank.book.files.text import Path, located, shown
from drybank.book.files.writing import written
from drybank.records.errors import InputError
from drybank.records.sheet import TICKS, ControlSheet, Grid, SettingLine

HEADER = "sheet 1"
_GRID_NUMBERS = ("lowest", "highest", "increment", "factory")


def read_sheet(text: str | bytes, name: str = "control sheet") -> ControlSheet:
    """The control sheet that a file describes; `InputErrors` with every mistake otherwise."""
    shaper = Shaper(located(text, name))
    shaper.prepare["SettingLine"] = grids_as_steps
    try:
        sheet = shaper.shape(ControlSheet, headed(shaper, "sheet"))
        _references(shaper)
    except Enough:
        shaper.raise_all(is_cut=True)
    if shaper.mistakes:
        shaper.raise_all()
    assert isinstance(sheet, ControlSheet)
    return sheet


def write_sheet(sheet: ControlSheet) -> str:
    """A control sheet as a file that reads back equal."""
    return written(sheet, HEADER)


def steps(text: str, unit: str) -> int:
    """A text amount as a whole number of a grid's unit: "6 min 30 s" in ``0.1 min`` is 65."""
    size, base = TICKS[unit]
    if base == "s":
        exact = amounts.amount(text, "s")
    elif base in ("°C", "°F"):
        exact, scale = amounts.temperature(text)
        if scale != base[1]:
            raise InputError(f"it is in °{scale}, the grid in {base}.", mend="Write what the control itself shows.")
    elif base == "%":
        exact = amounts.amount(text, "pct")
    else:
        found = re.fullmatch(r"\s*(\d{1,9})\s*(pieces?|minor|)\s*", text)
        if not found or (found[2] and found[2].rstrip("s") != base.rstrip("s")):
            raise InputError(f"it is no whole number of {base}.", mend=f"Write a plain number of steps of {unit}.")
        exact = Decimal(found[1])
    number = exact / size
    if number != int(number):
        raise InputError(
            f"it is not a whole number of steps of {unit}.", mend="Choose a finer unit, or mend the value."
        )
    return int(number)


def grids_as_steps(shaper: Shaper, row: Row, path: Path) -> Row:
    choices = [c for c in row["choices"] if isinstance(c, str)] if isinstance(row.get("choices"), list) else []  # type: ignore[attr-defined]
    name = "grids" if "grids" in row else "grid"
    if name not in row and choices:
        return {**row, "grids": [{"unit": "choice", "highest": len(choices) - 1}]}
    grids = row.get(name)
    if isinstance(grids, dict):
        return {**row, name: _as_steps(shaper, dict(grids), (*path, name), choices)}
    if isinstance(grids, list):
        fresh = [
            _as_steps(shaper, dict(g), (*path, name, i), choices) if isinstance(g, dict) else g
            for i, g in enumerate(grids)
        ]
        return {**row, name: fresh}
    return row


def _as_steps(shaper: Shaper, grid: Row, path: Path, choices: list[str]) -> Row:
    unit = grid.get("unit")
    if not isinstance(unit, str) or unit not in TICKS:
        return grid
    if unit == "choice" and choices and "values" not in grid:
        grid.setdefault("highest", len(choices) - 1)
    for name in _GRID_NUMBERS:
        if isinstance(grid.get(name), str):
            grid[name] = _one(shaper, str(grid[name]), unit, choices, (*path, name))
    values = grid.get("values")
    if isinstance(values, list):
        grid["values"] = [
            _one(shaper, v, unit, choices, (*path, "values", i)) if isinstance(v, str) else v
            for i, v in enumerate(values)
        ]
    return grid


def _one(shaper: Shaper, text: str, unit: str, choices: list[str], path: Path) -> object:
    try:
        if unit == "choice":
            if text not in choices:
                raise InputError("it is none of the choices.", allowed=", ".join(f"“{shown(c)}”" for c in choices))
            return choices.index(text)
        return steps(text, unit)
    except InputError as bad:
        shaper.refuse(path, text, bad)
        shaper.patched.add(path[:2])
        return 0


def _references(shaper: Shaper) -> None:
    for rows in ("settings", "inputs", "counters", "meters"):
        seen: set[str] = set()
        for row in shaper.rows.get(rows, ()):
            if row.key in seen and row.key:
                shaper.note(
                    row.path, f"The key “{row.key[:60]}” is given twice.", mend="Give every row a key of its own."
                )
            seen.add(row.key)
    inputs = {row.key for row in shaper.rows.get("inputs", ())}
    for row in shaper.rows.get("counters", ()):
        if row.record is not BAD:
            for one in row.record.inputs:
                _known(shaper, one, inputs, (*row.path, "inputs"))
    for row in shaper.rows.get("settings", ()):
        if row.record is not BAD:
            _setting(shaper, row.record, inputs, row.path)


def _known(shaper: Shaper, one: str, inputs: set[str], path: Path) -> None:
    if one not in inputs:
        shaper.note(path, f"“{one[:60]}” is no input of this sheet.", allowed=", ".join(sorted(i for i in inputs if i)))


def _setting(shaper: Shaper, line: SettingLine, inputs: set[str], path: Path) -> None:
    if line.input:
        _known(shaper, line.input, inputs, (*path, "input"))
    if not line.grids:
        shaper.note(path, f"“{line.name}” has no grid.", mend="Add grid = { unit = ..., lowest = ..., highest = ... }.")
    for grid in line.grids if path not in shaper.patched else ():
        for said in _wrong_grid(grid, line.choices):
            shaper.note((*path, "grid"), said[0], allowed=said[1], mend=said[2])


def _wrong_grid(grid: Grid, choices: tuple[str, ...]) -> list[tuple[str, str, str]]:
    out = []
    if not grid.values and grid.lowest > grid.highest:
        out.append((f"The lowest value, {grid.lowest}, lies over the highest, {grid.highest}.", "", "Swap them."))
    elif not grid.values and (grid.highest - grid.lowest) % grid.increment:
        below = grid.highest - (grid.highest - grid.lowest) % grid.increment
        out.append((f"From {grid.lowest} in steps of {grid.increment} the highest, {grid.highest}, is never reached.",
                    f"{below} or {below + grid.increment}", "Mend the highest value or the increment."))  # fmt: skip
    elif grid.factory is not None and not _holds(grid, grid.factory):
        out.append((f"The factory value {grid.factory} is not on the grid.", "", "Mend it, or leave it out."))
    if grid.values and (list(grid.values) != sorted(set(grid.values)) or grid.lowest or grid.highest):
        out.append(
            ("The values must rise, without repeats, and stand instead of lowest and highest.", "", "Sort them.")
        )
    if grid.unit == "choice" and len(choices) - 1 < max(grid.highest, *grid.values, 0):
        out.append((f"The grid reaches beyond its {len(choices)} choices.", "", "Add the words to choices."))
    return out


def _holds(grid: Grid, value: int) -> bool:
    if value == 0 and grid.zero_means:
        return True
    if grid.values:
        return value in grid.values
    return grid.lowest <= value <= grid.highest and (value - grid.lowest) % grid.increment == 0
