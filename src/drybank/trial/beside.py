"""Histories laid side by side: banks of one store that are set and used differently."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np

from drybank.records.errors import InputError
from drybank.trial.generator import History


def beside(histories: Sequence[History]) -> History:
    """One history of the pockets of several, in their order; the first one's world stands for all.

    Raises `InputError` where they differ in stores or weeks.
    """
    first = histories[0]
    if any((h.stores, h.weeks) != (first.stores, first.weeks) for h in histories):
        raise InputError("Histories laid side by side need the same stores and weeks.", where="trial")
    moved, faults = 0, []
    for history in histories:
        faults += [
            f if f.pocket is None else msgspec.structs.replace(f, pocket=f.pocket + moved) for f in history.faults
        ]
        moved += history.pockets
    arrays = (
        "hours_read",
        "counter_read",
        "counter_total",
        "slips",
        "counted",
        "rejects",
        "coins",
        "counter",
        "hours",
        "taken",
    )
    joined = {name: np.concatenate([getattr(h, name) for h in histories], axis=1) for name in arrays}
    return History(world=first.world, faults=tuple(faults), **joined)
