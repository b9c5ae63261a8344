"""Arrays and what is said of them as the bytes of one file: a checksum, a line of JSON, then the numbers as they lie in memory.

Whole numbers are stored in the narrowest type that holds them all, and once where all are the same. A checksum finds damage,
not forgery: whoever can write the file can write its checksum.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from drybank.records.errors import InputError

Array = npt.NDArray[Any]

MAGIC: Final = b"drybank columns 1 "
_ALIGN: Final = 64
_TYPES: Final = ("|u1", "<u2", "<i4", "<i8")


def pack(said: Mapping[str, Any], arrays: Mapping[str, Array]) -> bytes:
    """The bytes of a file that says ``said`` (as JSON has it) and holds arrays of whole numbers."""
    listed, parts, offset = [], [], 0
    for name, values in arrays.items():
        flat = values.ravel()
        is_same = flat.size > 1 and bool((flat == flat[0]).all())
        kept = flat[:1] if is_same else flat
        raw = kept.astype(narrowest(kept)).tobytes()
        listed.append([name, narrowest(kept), list(values.shape), is_same, offset])
        pad = -len(raw) % _ALIGN
        parts += [raw, b"\0" * pad]
        offset += len(raw) + pad
    head = json.dumps({"said": said, "arrays": listed}, separators=(",", ":")).encode()
    body = b"".join([head, b" " * (-(len(MAGIC) + 65 + len(head) + 1) % _ALIGN), b"\n", *parts])
    return MAGIC + hashlib.sha256(body).hexdigest().encode() + b"\n" + body


def narrowest(values: Array) -> str:
    """The narrowest type for whole numbers."""
    if not values.size:
        return _TYPES[0]
    low, high = int(values.min()), int(values.max())
    for kind in _TYPES:
        holds = np.iinfo(np.dtype(kind))
        if holds.min <= low and high <= holds.max:
            return kind
    raise InputError(f"{high} is too large a number for a column.")


def unpack(raw: bytes) -> tuple[dict[str, Any], dict[str, Array]]:
    """What `pack` was given; raises `InputError` where the bytes are not whole. The arrays cannot be written to."""
    start = len(MAGIC)
    if raw[:start] != MAGIC or raw[start + 64 : start + 65] != b"\n":
        raise InputError("it holds no columns of this Drybank.")
    body = memoryview(raw)[start + 65 :]
    if hashlib.sha256(body).hexdigest().encode() != raw[start : start + 64]:
        raise InputError("its checksum does not agree.")
    end = raw.index(b"\n", start + 65)
    head = json.loads(raw[start + 65 : end])
    arrays: dict[str, Array] = {}
    for name, kind, shape, is_same, offset in head["arrays"]:
        count = 1 if is_same else math.prod(shape)
        flat = np.frombuffer(raw, np.dtype(kind), count, end + 1 + offset)
        arrays[name] = np.broadcast_to(flat[0], shape) if is_same else flat.reshape(shape)
    return dict(head["said"]), arrays
