"""Agreements reached with outside figures, printed at the end of a session run with ``-m facts``."""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    """One outside figure and ours. ``how``: R read, R2 in a secondary page, M from memory, C recomputed."""

    topic: str
    source: str
    how: str
    published: str
    ours: str
    agreement: str


ROWS: list[Row] = []


def note(topic: str, source: str, how: str, published: str, ours: str, agreement: str) -> None:
    """Put a row on the table."""
    row = Row(topic, source, how, published, ours, agreement)
    if row not in ROWS:
        ROWS.append(row)


def lines() -> list[str]:
    """The table, columns lined up."""
    heads = Row("what", "source", "how", "published", "ours", "agreement")
    table = [heads, *sorted(ROWS)]
    widths = [max(len(r[i]) for r in table) for i in range(len(heads))]
    return ["  ".join(cell.ljust(w) for cell, w in zip(r, widths, strict=True)).rstrip() for r in table]
