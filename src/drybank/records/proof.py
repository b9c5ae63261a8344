"""Nouns of a field test: what was measured, what is allowed, how it was judged.

A `Tolerance` is data: limits, source, how the source is known, jurisdiction. Where none
is on file a value is reported as measured, with the verdict "no tolerance".
"""

from __future__ import annotations

import math
from typing import Literal

import msgspec

from drybank.records.coins import Known
from drybank.records.errors import InputError
from drybank.records.working import Assumption, Estimate, Interval, Working

Verdict = Literal["pass", "fail", "cannot tell", "no tolerance"]
ProofKind = Literal[
    "time sold",
    "exhaust temperature",
    "gas input",
    "make-up air",
    "exhaust duct",
    "exhaust pressure",
    "exhaust flow",
    "lint",
    "supply voltage",
    "motor current",
    "price sign",
    "scale",
]


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """One reading with the expanded uncertainty of its instrument (95 %, two standard deviations).

    ``uncertainty_from`` says where the uncertainty comes from: a certificate, the maker, or
    an assumption. An uncertainty of 0 claims a perfect instrument and is the caller's word.
    """

    value: float
    unit: str
    plus_minus: float
    instrument: str = ""
    uncertainty_from: str = "assumed"

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise InputError("The reading is not a number.", where=self.instrument, mend="Read it again.")
        if not math.isfinite(self.plus_minus) or self.plus_minus < 0:
            raise InputError(
                f"The give-or-take of the instrument is {self.plus_minus:g} {self.unit}.",
                where=self.instrument,
                allowed="zero or more",
                mend="Enter how far the instrument may be off either way.",
            )

    def interval(self) -> Interval:
        """The 95 % interval that the instrument leaves open."""
        return Interval(self.value - self.plus_minus, self.value + self.plus_minus, kind="instrument")


class Tolerance(msgspec.Struct, frozen=True, kw_only=True):
    """How far a value may lie from its nominal: fixed part + part of the nominal, each way.

    ``None`` on both parts of a side leaves that side without a limit. Fixed parts are in
    ``unit``. ``nominal_min`` is the smallest nominal that the rule speaks about. ``countries``
    are those whose law or trade it belongs to, in two letters; none named means everywhere.
    """

    name: str
    unit: str
    below: float | None = None
    below_frac: float | None = None
    above: float | None = None
    above_frac: float | None = None
    nominal_min: float = 0.0
    jurisdiction: str = ""
    countries: tuple[str, ...] = ()
    source: str
    known: Known
    since: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        sides = (self.below, self.below_frac, self.above, self.above_frac)
        if all(s is None for s in sides):
            raise InputError("A tolerance needs at least one limit.", where=self.name)
        if any(s is not None and not (math.isfinite(s) and s >= 0) for s in sides):
            raise InputError("A tolerance counts upward from zero on either side.", where=self.name)
        if not self.source.strip():
            raise InputError("A tolerance needs its source.", where=self.name, mend="Name the law, standard or manual.")

    @staticmethod
    def _part(fixed: float | None, frac: float | None, nominal: float) -> float | None:
        if fixed is None and frac is None:
            return None
        return (fixed or 0.0) + (frac or 0.0) * abs(nominal)

    def limits(self, nominal: float) -> tuple[float | None, float | None]:
        """Lowest and highest value allowed for a nominal, in ``unit``; None where unlimited.

        Raises `InputError` for a nominal smaller than the rule speaks about.
        """
        if nominal < self.nominal_min:
            raise InputError(
                f"“{self.name}” speaks of {self.nominal_min:g} {self.unit} and more, not of {nominal:g}.",
                mend="Test a longer or larger amount, or enter another tolerance.",
            )
        below = self._part(self.below, self.below_frac, nominal)
        above = self._part(self.above, self.above_frac, nominal)
        return (None if below is None else nominal - below, None if above is None else nominal + above)

    def holds_in(self, country: str) -> bool:
        """Whether the rule belongs to a country; a store's own tolerance holds wherever it is entered."""
        return not self.countries or country in self.countries

    def shown(self) -> str:
        """One line for the page: name, source, how known, jurisdiction."""
        where = f", {self.jurisdiction}" if self.jurisdiction else ""
        return f"{self.name}: {self.source} ({self.known}{where})"


class Judgement(msgspec.Struct, frozen=True, kw_only=True):
    """One value held against one tolerance.

    ``margin`` is the distance from the value to the nearest limit in the value's unit,
    positive inside; None where there is no limit. ``saw`` is what was found where the
    test is a look and not a number.
    """

    name: str
    verdict: Verdict
    measured: Estimate | None = None
    nominal: float | None = None
    low: float | None = None
    high: float | None = None
    margin: float | None = None
    plus_minus: float = 0.0
    tolerance: Tolerance | None = None
    saw: str = ""
    because: str = ""


class Conduct(msgspec.Struct, frozen=True, kw_only=True):
    """How the test was done: instruments, person, minutes it took, whether the shop was open."""

    instruments: tuple[str, ...] = ()
    by: str = ""
    minutes: float | None = None
    shop_open: bool | None = None

    def __post_init__(self) -> None:
        if self.minutes is not None and not (math.isfinite(self.minutes) and 0 <= self.minutes <= 24 * 60):
            raise InputError(f"The test took {self.minutes:g} minutes.", where="minutes", allowed="0 to 1440 minutes")


class Figure(msgspec.Struct, frozen=True, kw_only=True):
    """A named figure of a test that is not judged."""

    name: str
    estimate: Estimate


class ProofResult(msgspec.Struct, frozen=True, kw_only=True):
    """What a field test showed. ``cautions`` come first on any page; ``next_step`` is one sentence."""

    kind: ProofKind
    subject: str
    verdict: Verdict
    says: str
    next_step: str
    cautions: tuple[str, ...]
    judgements: tuple[Judgement, ...] = ()
    figures: tuple[Figure, ...] = ()
    workings: tuple[Working, ...] = ()
    assumed: tuple[Assumption, ...] = ()
    conduct: Conduct = Conduct()

    def figure(self, name: str) -> Estimate:
        """The named figure; KeyError where the test has none of that name."""
        return {f.name: f.estimate for f in self.figures}[name]
