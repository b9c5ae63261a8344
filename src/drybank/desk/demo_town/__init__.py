"""The demo town: an invented town with three stores, as files.

`files` gives every TOML file by name, exactly as shipped with the package: stores, control sheets, house settings,
planted faults and the weather table. Nothing here reads a path outside the package.
"""

from __future__ import annotations

from importlib import resources


def files() -> dict[str, str]:
    """Every file of the demo town by its name, as text."""
    town = resources.files(__name__)
    return {
        f.name: f.read_text("utf-8") for f in sorted(town.iterdir(), key=lambda f: f.name) if f.name.endswith(".toml")
    }


__all__ = ["files"]
