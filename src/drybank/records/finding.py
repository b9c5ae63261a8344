"""A finding: something that the balance, a proof or upkeep says is wrong. A question, never an accusation."""

from __future__ import annotations

from typing import Literal

import msgspec

from drybank.records.working import Estimate, Working

Weight = Literal["danger", "money", "due", "note"]


class Cause(msgspec.Struct, frozen=True, kw_only=True):
    """A likely cause with the evidence for it; ``chance`` is a posterior in 0..1, or None where none can be given."""

    name: str
    chance: float | None
    evidence: tuple[str, ...] = ()


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """``key`` is stable: the same book gives the same key, so that its outcome can be entered against it.

    Words never name a person. ``size`` is the amount in its unit with its interval; ``certainty`` is in words.
    """

    key: str
    room: Literal["balance", "proof", "upkeep", "takings", "control", "learn"]
    name: str
    where: str
    says: str
    weight: Weight
    size: Estimate | None = None
    certainty: str = ""
    causes: tuple[Cause, ...] = ()
    next_check: str = ""
    working: Working | None = None
