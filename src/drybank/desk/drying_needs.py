"""Need tables kept in a folder under the hash of what they follow from: built once, read from then on."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from drybank.drying import NeedAxes, NeedMap, Pocket
from drybank.drying.need import build_needs, need_key, pack_needs, unpack_needs
from drybank.records.errors import InputError

SEED = 20260504  # of the points at which a table's error is measured


def kept_needs(
    pocket: Pocket,
    temps_exhaust_c: Sequence[float | None],
    axes: NeedAxes,
    folder: Path,
    *,
    progress: Callable[[float], None] | None = None,
) -> NeedMap:
    """The need table of a pocket, out of the folder where it is there and sound, else built and put there.

    A damaged or strange file is built over. Writing is by rename, so that a crash leaves the old file or the new.
    """
    key = need_key(pocket, temps_exhaust_c, axes)
    path = folder / f"needs-{key}.bin"
    if path.is_file():
        try:
            return unpack_needs(path.read_bytes(), key)
        except InputError:
            pass
    table = build_needs(pocket, temps_exhaust_c, axes, rng=np.random.default_rng(SEED), progress=progress)
    folder.mkdir(parents=True, exist_ok=True)
    half = folder / f".{path.name}.{os.getpid()}"
    half.write_bytes(pack_needs(table))
    half.replace(path)
    return table
