"""Need tables kept in a folder under the hash of what they follow from: built once, read from then on."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

import msgspec
import numpy as np

from drybank.drying import NeedAxes, NeedMap, Pocket
from drybank.drying.need import MODEL, build_needs, need_key, pack_needs, unpack_needs
from drybank.records.errors import InputError

SEED = 20260504  # of the points at which a table's error is measured
Builder = Callable[[Pocket, tuple[float, ...], NeedAxes], NeedMap]
Finder = Callable[..., tuple[float, float]]


def kept_needs(
    pocket: Pocket,
    temps_exhaust_c: Sequence[float | None],
    axes: NeedAxes,
    folder: Path,
    *,
    build: Builder | None = None,
    progress: Callable[[float], None] | None = None,
) -> NeedMap:
    """The need table of a pocket, out of the folder where it is there and sound, else built and put there.

    A damaged or strange file is built over. Writing is by rename, so that a crash leaves the old file or the new; where the
    folder cannot be written, the table is built each time.
    """
    key = need_key(pocket, temps_exhaust_c, axes)
    path = folder / f"needs-{key}.bin"
    if path.is_file():
        with suppress(InputError, OSError):
            return unpack_needs(path.read_bytes(), key)
    if build is not None:
        table = build(pocket, tuple(t for t in temps_exhaust_c if t is not None), axes)
    else:
        table = build_needs(pocket, temps_exhaust_c, axes, rng=np.random.default_rng(SEED), progress=progress)
    _put(path, pack_needs(table))
    return table


def kept_band(
    pocket: Pocket, axes: NeedAxes, mass_kg: float, temp_c: float, *, folder: Path, find: Finder
) -> tuple[float, float]:
    """The range of a load's minutes as factors, kept as tables are."""
    said = msgspec.json.encode([MODEL, "band 1", pocket, axes, mass_kg, temp_c])
    path = folder / f"band-{hashlib.sha256(said).hexdigest()}.json"
    if path.is_file():
        with suppress(msgspec.DecodeError, OSError):
            return msgspec.json.decode(path.read_bytes(), type=tuple[float, float])
    found = find(pocket, axes, mass_kg, temp_c)
    _put(path, msgspec.json.encode(found))
    return found


def _put(path: Path, data: bytes) -> None:
    """Write by rename; a folder that cannot be written is done without."""
    half = path.parent / f".{path.name}.{os.getpid()}"
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        half.write_bytes(data)
        half.replace(path)
