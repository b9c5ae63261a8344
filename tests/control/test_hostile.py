"""Sheets and stores made at random, most of them wrong: refused in plain sentences, or usable all the way."""

import contextlib

import msgspec
import numpy as np
import pytest
from invented import SHEETS, linden, store

from drybank.control import check_sheet, check_store, coin_plan, from_sheet, held, layout, rate_statement, sell, steps
from drybank.records.control import Paid
from drybank.records.errors import InputError
from drybank.records.sheet import TICKS, ControlSheet
from drybank.records.store import Store

WORDS = [
    "",
    ".",
    "*",
    "left",
    "slot",
    "coin",
    "{value}",
    "{",
    "é" * 50,
    "on",
    "off",
    "first time",
    "sum",
    "°F",
    "°C",
    *sorted(TICKS),
]
NUMBERS = [-1, 0, 1, 2, 3, 7, 60, 99, 10**6, 10**15]


def twist(node, rng, chance):
    """The same shape with a leaf changed here and there, a row dropped or doubled."""
    if isinstance(node, dict):
        return {key: twist(value, rng, chance) for key, value in node.items()}
    if isinstance(node, list):
        rows = [twist(value, rng, chance) for value in node]
        if rows and rng.random() < chance:
            at = int(rng.integers(len(rows)))
            rows = rows[:at] + rows[at + 1 :] if rng.random() < 0.5 else [*rows, rows[at]]
        return rows
    if rng.random() >= chance or node is None or isinstance(node, bool):
        return node
    if isinstance(node, int):
        return int(rng.choice(NUMBERS))
    return WORDS[rng.integers(len(WORDS))] if isinstance(node, str) else float(rng.choice(NUMBERS))


def twisted(of, kind, rng, chance):
    """A twisted record, or None where it is not even of its shape."""
    try:
        return msgspec.convert(twist(msgspec.to_builtins(of), rng, chance), kind)
    except msgspec.ValidationError:
        return None


def use(sheet):
    """All that a control of this sheet is ever asked, at its lowest and highest values."""
    machine = store().machines[0]
    said = [{"input": f"*.{i.key}", "means": i.means[0], "piece_minor": 25, "account": "x"} for i in sheet.inputs]
    laid = layout(
        msgspec.structs.replace(
            store(), machines=(msgspec.structs.replace(machine, sheet=sheet.key),), pockets=store().pockets[:2],
            banks=store().banks[:1], inputs=msgspec.convert(said, tuple[type(store().inputs[0]), ...]),
        ),
        [sheet],
    )  # fmt: skip
    control = next(iter(laid.controls))
    low, high = ({x.key: held(x.grids[0])[end] for x in sheet.settings} for end in (0, -1))
    for values in (low, high):
        worth = {i.key: 25 for i in sheet.inputs}
        sell(sheet, values, [Paid(0, i.key, 9) for i in sheet.inputs], worth=worth)
        with contextlib.suppress(InputError):  # a plain refusal is an answer too; anything else is a fault
            coin_plan(sheet, values, sheet.inputs[0].key, worth=worth)
            rate_statement(laid, "a", from_sheet(laid, control, values))
    with contextlib.suppress(InputError):
        steps(laid, control, low, high)


@pytest.mark.parametrize("seed", range(4))
def test_a_sheet_is_refused_plainly_or_can_be_used(seed):
    rng = np.random.default_rng(seed)
    usable = 0
    for _ in range(120):
        base = [*SHEETS.values(), linden()][rng.integers(4)]
        sheet = twisted(base, ControlSheet, rng, chance=float(rng.choice([0.002, 0.01, 0.05])))
        if sheet is None:
            continue
        faults = check_sheet(sheet)
        assert all(fault.what and fault.where for fault in faults)
        if not faults:
            usable += 1
            use(sheet)
    assert usable > 5


@pytest.mark.parametrize("seed", range(2))
def test_a_store_is_refused_plainly_or_can_be_laid_out(seed):
    rng = np.random.default_rng(seed)
    for _ in range(150):
        made = twisted(store(), Store, rng, chance=float(rng.choice([0.005, 0.02, 0.1])))
        if made is None:
            continue
        faults = check_store(made, SHEETS)
        assert all(fault.sentence() for fault in faults)
        if not faults:
            assert layout(made, SHEETS).units
