"""One load in one vented pocket: minutes, fuel, temperatures.

    properties   moist air, water, damp cotton
    layout       where figures stand in the rows that reference and kernel read
    rows         from records to rows
    reference    the model in plain form, to be read
    kernel       the same, one step of several loads side by side (numba; imported only when a load is dried)
    lanes        loads through the kernel: steps, fire, events
    run          `dry` one load, `dry_many` arrays
    bands        ranges of assumption of an unmeasured pocket
    calibrate    the towel trial of a closed evening
    evidence     what a working store can tell
    need         a table of needs, read millions of times a second

Nothing here says that a load, a temperature or a setting is without danger: see docs/concepts/drying-limits.md.
"""

from drybank.drying.run import dry, dry_many
from drybank.records.drying import (
    HOUSEHOLD,
    MIXED,
    TEST_CLOTH,
    TOWELS,
    Air,
    Calibration,
    Drying,
    FabricClass,
    FireControl,
    Heat,
    Load,
    NeedAxes,
    NeedMap,
    Needs,
    Pocket,
    Start,
    Trace,
)

__all__ = [
    "HOUSEHOLD",
    "MIXED",
    "TEST_CLOTH",
    "TOWELS",
    "Air",
    "Calibration",
    "Drying",
    "FabricClass",
    "FireControl",
    "Heat",
    "Load",
    "NeedAxes",
    "NeedMap",
    "Needs",
    "Pocket",
    "Start",
    "Trace",
    "dry",
    "dry_many",
]
