"""Nouns of the takings: tax, shares, bags, settlements, the week's close."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal, Protocol

import msgspec

from drybank.records.entry import AnyBody, Version
from drybank.records.finding import Finding
from drybank.records.money import Money, Rounding

BagState = Literal["collected", "counted", "handed over", "deposited"]


class Line(Protocol):
    """An effective entry as a story tells it: corrections folded in; ``versions`` is empty where there were none."""

    @property
    def id(self) -> str: ...
    @property
    def body(self) -> AnyBody: ...
    @property
    def happened(self) -> datetime: ...
    @property
    def booked(self) -> datetime: ...
    @property
    def by(self) -> str: ...
    @property
    def versions(self) -> tuple[Version, ...]: ...
    @property
    def is_taken_back(self) -> bool: ...


class TaxSplit(msgspec.Struct, frozen=True, kw_only=True):
    """Takings split by a tax rule: ``base + tax == total`` to the minor unit."""

    base: Money
    tax: Money
    total: Money
    percent: str = "0"
    jurisdiction: str = ""
    source: str = ""


class ShareLine(msgspec.Struct, frozen=True, kw_only=True):
    """One step of a share: so much of the base at so many percent, exact before rounding (as text, minor units)."""

    says: str
    exact_minor: str


class ShareOut(msgspec.Struct, frozen=True, kw_only=True):
    """What one partner is due for a period: ``due + kept == base`` to the minor unit."""

    name: str
    base: Money
    due: Money
    kept: Money
    lines: tuple[ShareLine, ...]
    is_guaranteed: bool = False
    rounding: Rounding = "half up"


class Bag(msgspec.Struct, frozen=True, kw_only=True):
    """One bag or direct count followed from the box to the bank. Amounts are minor units, None while not known."""

    key: str
    boxes: tuple[str, ...]
    collected: datetime | None
    counted_minor: int | None
    counted: datetime | None
    deposited: datetime | None
    state: BagState
    age_days: float
    collected_by: str = ""
    counted_by: str = ""
    holder: str = ""
    seal_number: str = ""
    deposit: str = ""


class DepositMatch(msgspec.Struct, frozen=True, kw_only=True):
    """A deposit against the counts of its bags and the cash given back since the last day of deposits.

    ``counted == deposited + refunded + short - over``, exactly; short and over are never both positive.
    """

    deposit: str
    when: datetime
    to: str
    bags: tuple[str, ...]
    counted: Money
    deposited: Money
    refunded: Money
    short: Money
    over: Money


class BoxStand(msgspec.Struct, frozen=True, kw_only=True):
    """A box by its number at one place: since when (None: since the store file) until when (None: now)."""

    number: str
    place: str
    since: datetime | None
    until: datetime | None


class Holding(msgspec.Struct, frozen=True, kw_only=True):
    """Who holds a key, since when."""

    thing: str
    holder: str
    since: datetime


class Custody(msgspec.Struct, frozen=True, kw_only=True):
    """Where every cent is: ``counted == deposited + refunded + short - over + on_the_way``, exactly.

    ``refunded`` was taken out of counted coins; ``from_drawer`` is all other cash given back: from a drawer, or from a box
    before its coins were counted. Both together are every refund in cash.
    """

    bags: tuple[Bag, ...]
    deposits: tuple[DepositMatch, ...]
    counted: Money
    deposited: Money
    refunded: Money
    from_drawer: Money
    short: Money
    over: Money
    on_the_way: Money
    findings: tuple[Finding, ...]


class Settlement(msgspec.Struct, frozen=True, kw_only=True):
    """One payout of a payment channel: ``gross == fee + paid + difference``, exactly."""

    entry: str
    account: str
    period_from: date
    period_to: date
    gross: Money
    fee: Money
    paid: Money
    difference: Money
    by_input: tuple[tuple[str, int, Money], ...]


class Channels(msgspec.Struct, frozen=True, kw_only=True):
    settlements: tuple[Settlement, ...]
    findings: tuple[Finding, ...]


class WeekClose(msgspec.Struct, frozen=True, kw_only=True):
    """A week as it stands: what came in by means, tax, shares, refunds, what is missing, late adjustments.

    ``coins + cards + tokens + adjustments == takings`` and ``tax.total == takings`` where tax is included.
    """

    store: str
    week: str
    starts: datetime
    ends: datetime
    coins: Money
    cards: Money
    adjustments: Money
    takings: Money
    fees: Money
    refunds: Money
    tax: TaxSplit
    shares: tuple[ShareOut, ...]
    kept: Money
    missing: tuple[str, ...]
    late: tuple[str, ...]
    is_ready: bool


class PeriodTakings(msgspec.Struct, frozen=True, kw_only=True):
    """What came in over whole local days, and what went off it. ``coins + cards + adjustments == takings``; ``tax.base`` is shared.

    ``adjustments`` is what became known in these days of weeks that were closed before.
    """

    starts: date
    ends: date
    coins: Money
    cards: Money
    adjustments: Money
    takings: Money
    fees: Money
    refunds: Money
    tax: TaxSplit
    deposits: Money


class SealLine(msgspec.Struct, frozen=True, kw_only=True):
    """A week's close: the tip of the chain that it froze, and the seal's own line as it was handed out then."""

    week: str
    tip: str
    taken: Money
    line: str = ""


class Statement(msgspec.Struct, frozen=True, kw_only=True):
    """What one reader is told of a period: the owner everything, a partner the base and their share."""

    store: str
    store_name: str
    currency: str
    reader: str
    is_owner: bool
    starts: date
    ends: date
    total: PeriodTakings
    weeks: tuple[PeriodTakings, ...]
    shares: tuple[ShareOut, ...]
    costs: Money
    kept: Money
    seals: tuple[SealLine, ...]
    notes: tuple[str, ...]


class IncomeMonth(msgspec.Struct, frozen=True, kw_only=True):
    """One month of the proof of income: takings beside hours, pieces and fuel; None where not known.

    ``earned`` is what the hours are held against: coins laid over the days since the box was emptied before.
    """

    month: str
    takings: Money
    pieces: int | None
    hours: float | None
    fuel: float | None
    fuel_unit: str = ""
    fuel_expected: float | None = None
    fuel_low: float | None = None
    fuel_high: float | None = None
    agrees: str = ""
    earned: Money | None = None
    takings_low: Money | None = None
    takings_high: Money | None = None
    took: str = ""


class IncomeProof(msgspec.Struct, frozen=True, kw_only=True):
    """Months of takings beside hours, pieces and fuel, with the seals and how to check them."""

    store: str
    store_name: str
    currency: str
    months: tuple[IncomeMonth, ...]
    total: Money
    seals: tuple[SealLine, ...]
    says: tuple[str, ...]
    how_to_check: tuple[str, ...]
