"""From found to set: for each setting that differs, where it is and how to change it in the sheet's own way."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Literal

from drybank.control.grid import SCALES, grid_of, held, show
from drybank.control.house import scale_of
from drybank.control.layout import control_of, sheet_of
from drybank.control.terms import check_values
from drybank.records.control import Step
from drybank.records.errors import InputErrors
from drybank.records.layout import Layout
from drybank.records.sheet import Grid, SettingLine, Values

STEPPED = ("presses", "turns", "dial")
FIELDS = ("value", "from", "name", "steps", "direction", "digits")
_FIELD = re.compile(r"\{([^{}]*)\}")
Direction = Literal["", "up", "down"]


def fields_of(say: str) -> tuple[str, ...]:
    """The names in braces of a way of changing."""
    return tuple(_FIELD.findall(say))


def presses(line: SettingLine, grid: Grid, found: int | None, to_set: int) -> tuple[int | None, Direction]:
    """How many steps on the grid, and which way; None where it cannot be told.

    Where the setting wraps, the shorter way round (up where both are alike) unless it goes one way only.
    """
    values = held(grid)
    if found not in values or to_set not in values or line.change.way not in STEPPED:
        return None, ""
    start, stop, count = values.index(found), values.index(to_set), len(values)
    up, down = stop - start, start - stop
    if line.change.wraps:
        up, down = up % count, down % count
    ways: list[tuple[int, Direction]] = []
    if line.change.goes != "down" and up >= 0:
        ways.append((up, "up"))
    if line.change.goes != "up" and down >= 0:
        ways.append((down, "down"))
    return min(ways, key=lambda way: way[0], default=(None, ""))


def _digits(grid: Grid, value: int) -> str:
    """The sheet's own number as it is typed: as wide as its highest."""
    width = len(str(max(abs(v) for v in held(grid))))
    return f"{value:0{width}d}"


def _how(line: SettingLine, words: Mapping[str, str], *, is_known: bool) -> str:
    """The sheet's own words with the value in them; plain ones where the words ask for what is not known."""
    asked = fields_of(line.change.say)
    if not is_known and any(field in asked for field in ("steps", "direction", "from")):
        return f"Bring {words['name']} to {words['value']}, going by what it shows; what it held is not known."
    return _FIELD.sub(lambda m: words.get(m.group(1), m.group(0)), line.change.say)


class _Card:
    """What the steps of one control need to know."""

    def __init__(self, layout: Layout, control: str, to_set: Values) -> None:
        self.sheet, self.control = sheet_of(layout, control), control_of(layout, control)
        self.scale, self.currency = scale_of(layout, control, to_set), layout.store.currency

    def step(self, line: SettingLine, place: int, pocket: str, found: int | None, to_set: int) -> Step:
        scale = self.scale if any(g.unit in SCALES for g in line.grids) else ""
        grid = grid_of(line, scale)
        count, direction = presses(line, grid, found, to_set)
        says = ["not known" if v is None else show(line, v, scale, self.currency) for v in (found, to_set)]
        words = {
            "name": line.name, "value": says[1], "from": says[0], "digits": _digits(grid, to_set),
            "steps": "" if count is None else str(count), "direction": direction,
        }  # fmt: skip
        asks_steps = {"steps", "direction"} & set(fields_of(line.change.say))
        return Step(
            place=place, pocket=pocket, setting=line.key, name=line.name, found_at=line.found, found=found, to_set=to_set,
            found_says=says[0], to_set_says=says[1], steps=count, direction=direction, way=line.change.way,
            how=_how(line, words, is_known=found is not None and (count is not None or not asks_steps)),
            reached=line.reached, power=line.power,
        )  # fmt: skip


def steps(
    layout: Layout, control: str, found: Mapping[str, int | None], to_set: Values, *, pockets: Iterable[str] = ()
) -> tuple[Step, ...]:
    """The settings to change at one control, in the sheet's own order, those reached in one place together.

    Parameters
    ----------
    found
        What the control holds, setting key -> whole number on its grid; None or left out where it is not known.
    to_set
        What it should hold. A setting that already does gives no step.
    pockets
        The pockets meant, for a control that serves a whole machine (none named: all). A setting of one pocket gives a
        step for each; one of the machine, or of a control with one pocket, gives one step.

    Raises
    ------
    InputErrors
        A key that is no setting of the sheet, or a value that cannot be set.
    """
    card = _Card(layout, control, to_set)
    errors = check_values(card.sheet, to_set)
    if errors:
        raise InputErrors(errors)
    meant = [p for p in card.control.pockets if not pockets or p in set(pockets)]
    out: list[Step] = []
    for place, line in enumerate(card.sheet.settings):
        if line.key not in to_set or found.get(line.key) == to_set[line.key]:
            continue
        is_each = card.sheet.serves == "machine" and line.scope == "pocket"
        each = meant if is_each else [meant[0] if len(card.control.pockets) == 1 else ""]
        out += [card.step(line, place, pocket, found.get(line.key), to_set[line.key]) for pocket in each]
    return _grouped(out)


def _grouped(found: list[Step]) -> tuple[Step, ...]:
    """Steps reached in one place with the same power together, in the order in which each place first comes up."""
    order = {key: place for place, key in enumerate(dict.fromkeys((s.reached, s.power) for s in found))}
    return tuple(sorted(found, key=lambda s: (order[s.reached, s.power], s.place)))
