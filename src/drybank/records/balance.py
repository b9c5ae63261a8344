"""Nouns of the balance: a period, what each unit, bank and store took against what it should have taken.

A *unit* is the smallest closed group of boxes and counters (`drybank.records.layout.Unit`); where boxes
were counted together, their units are judged together. Shares are fractions; below zero is short.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal, Protocol

import msgspec

from drybank.records.entry import AnyBody
from drybank.records.errors import InputError
from drybank.records.finding import Finding
from drybank.records.money import Money
from drybank.records.working import Assumption, Estimate, Working

RestsOn = Literal["counter", "hours, own past", "hours, siblings", "nothing"]
Verdict = Literal["right", "short", "over", "cannot tell"]


class Told(Protocol):
    """An entry as the balance reads it: an `Entry`, or a book's line with corrections folded in."""

    @property
    def id(self) -> str: ...
    @property
    def happened(self) -> datetime: ...
    @property
    def body(self) -> AnyBody: ...


class Signed(Told, Protocol):
    """An entry with the handle of who wrote it."""

    @property
    def by(self) -> str: ...


class Period(msgspec.Struct, frozen=True, kw_only=True):
    """What is judged: boxes emptied after ``since`` and not after ``until``. Both are aware moments."""

    since: datetime
    until: datetime

    def __post_init__(self) -> None:
        if self.since.tzinfo is None or self.until.tzinfo is None:
            raise InputError("A period needs moments with a time zone.", where="period")
        if self.since >= self.until:
            raise InputError(
                f"The period ends ({self.until:%d %b %Y}) before it begins ({self.since:%d %b %Y}).",
                where="period",
                mend="Give an earlier start or a later end.",
            )

    @property
    def days(self) -> float:
        """Length in days."""
        return (self.until - self.since).total_seconds() / 86_400.0


class UnitBalance(msgspec.Struct, frozen=True, kw_only=True):
    """One unit over the period. Sums are over the spans between emptyings that could be compared.

    ``gap`` is counted less expected in minor units with its 95 % interval, put right by the coins seen to be
    carried over from before the period; ``share`` is the same as a fraction of expected; both None where nothing can be said, and then ``says`` tells why.
    ``luck`` is the chance that a gap like this one is luck (local false discovery rate).
    """

    key: str
    pockets: tuple[str, ...]
    bank: str
    says: str
    verdict: Verdict
    rests_on: RestsOn
    expected: Money | None = None
    counted: Money | None = None
    gap: Estimate | None = None
    share: Estimate | None = None
    z: float | None = None
    luck: float | None = None
    certainty: str = ""
    is_listed: bool = False
    is_watched: bool = False
    spans: int = 0
    pieces: float = 0.0
    hours: float | None = None
    foreign: int = 0
    smallest_loss_frac: float | None = None
    ends_share: float | None = None
    first_gap_hours: float | None = None
    working: Working | None = None


class LevelBalance(msgspec.Struct, frozen=True, kw_only=True):
    """A bank or the whole store: sums of its units, judged as one."""

    kind: Literal["bank", "store"]
    key: str
    says: str
    verdict: Verdict
    units: int
    expected: Money | None = None
    counted: Money | None = None
    gap: Estimate | None = None
    share: Estimate | None = None
    z: float | None = None
    smallest_loss_frac: float | None = None


class Discipline(msgspec.Struct, frozen=True, kw_only=True):
    """How boxes are read and emptied, and what it costs in certainty.

    ``offset_coins`` is one standard deviation of the coins that fall between reading and emptying, as the
    fleet's own weeks show it; ``smallest_now_frac`` and ``smallest_if_at_once_frac`` compare the smallest
    loss noticed at a usual pocket with what it would be if box and counter were taken at once.
    """

    offset_coins: float
    smallest_now_frac: float
    smallest_if_at_once_frac: float
    is_the_limit: bool
    says: str


class Outcomes(msgspec.Struct, frozen=True, kw_only=True):
    """How findings came out, as entered; and the priors that these counts would give (never applied alone)."""

    confirmed: dict[str, int]
    dismissed: int
    open: int
    suggested_priors: dict[str, float]


class GrowthUsed(msgspec.Struct, frozen=True, kw_only=True):
    """Variance of a log ratio over a tally n as c + a/n + b/n^2; ``pockets`` it was fitted on (0: assumed)."""

    statistic: str
    c: float
    a: float
    b: float
    pockets: int


class BalanceResult(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one store. ``missing`` says in sentences what was not known and what that costs."""

    store: str
    name: str
    currency: str
    period: Period
    says: str
    units: tuple[UnitBalance, ...]
    banks: tuple[LevelBalance, ...]
    whole: LevelBalance
    findings: tuple[Finding, ...]
    missing: tuple[str, ...] = ()
    assumed: tuple[Assumption, ...] = ()
    growth: tuple[GrowthUsed, ...] = ()
    discipline: Discipline | None = None
    outcomes: Outcomes | None = None


HeldBy = Literal["round", "holder", "counter"]


class CustodyLine(msgspec.Struct, frozen=True, kw_only=True):
    """What one holder emptied or counted, or one round of theirs: its gap against the counters, with its 95 % interval.

    ``holder`` is a letter. ``luck`` is the two-sided chance of a gap like this where nothing is wrong.
    """

    holder: str
    first: date
    last: date
    rounds: int
    spans: int
    expected_minor: int
    gap: Estimate
    share: float
    z: float
    luck: float
    verdict: str


class CustodyBy(msgspec.Struct, frozen=True, kw_only=True):
    """Gaps by round, by who emptied (holder) or by who counted (counter). No name stands in it."""

    by: HeldBy
    currency: str
    lines: tuple[CustodyLine, ...]
    says: str
