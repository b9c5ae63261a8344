"""What stands behind a shown figure: its working, its interval, what was assumed.

`Estimate` carries a figure with its interval. `Interval.kind` keeps sampling
uncertainty apart from a range of assumption: they are never added into one "95 %".
"""

from __future__ import annotations

from typing import Literal

import msgspec

Kind = Literal["sampling", "assumption", "instrument", "none"]
HowKnown = Literal["given", "learned", "assumed", "computed", "measured"]


class Interval(msgspec.Struct, frozen=True):
    """Low and high of a figure in its own unit; ``level`` is the coverage meant, as a fraction."""

    low: float
    high: float
    kind: Kind = "sampling"
    level: float = 0.95


class Assumption(msgspec.Struct, frozen=True, kw_only=True):
    """Something that the user did not give: what was taken, where from, how far it may be off."""

    name: str
    taken: str
    source: str
    low: str = ""
    high: str = ""
    matters: str = ""


class Input(msgspec.Struct, frozen=True, kw_only=True):
    """One figure that went into a working."""

    name: str
    value: str
    unit: str = ""
    how: HowKnown = "given"
    source: str = ""


class Working(msgspec.Struct, frozen=True, kw_only=True):
    """How a figure came about: formula in words, inputs with units and sources, deeper workings."""

    figure: str
    formula: str
    inputs: tuple[Input, ...] = ()
    source: str = ""
    parts: tuple[Working, ...] = ()


class Estimate(msgspec.Struct, frozen=True, kw_only=True):
    """A figure with its unit and what is known of its error. No interval means it is exact or measured."""

    value: float
    unit: str
    interval: Interval | None = None
    assumption: Interval | None = None
    how: HowKnown = "computed"
    working: Working | None = None
