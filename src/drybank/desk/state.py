"""Where this computer keeps what belongs to it and not to the book: keys, the place's certificate. Its owner's alone."""

from __future__ import annotations

import os
from pathlib import Path

CA, LEAF = "place-ca.crt", "place.crt"
"""File names of the place's own authority and of the certificate it made for this computer."""


def folder() -> Path:
    """The folder, which may not be there yet."""
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "drybank"
