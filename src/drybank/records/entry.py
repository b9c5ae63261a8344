"""Entries: one dated, signed, never-changed line in the book, and the body of every kind.

A writer makes an `Entry` with an id of its own (UUIDv7); the book chains it as `Booked`. ``happened`` orders the story,
``booked`` the chain. Both are aware and kept in UTC. People stand here by their handle; names, phones and photos lie beside
the chain and only their salted hash (`Kept`) is in it, so that a person can be erased and the chain still holds.
Every body refuses what cannot be: negative counts, unknown words. Sums are minor units of the store's currency.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal, get_args

import msgspec

from drybank.records.sheet import ControlSheet, HouseValue
from drybank.records.store import Store

Count = Annotated[int, msgspec.Meta(ge=0, le=10**12)]
Minor = Annotated[int, msgspec.Meta(ge=-(10**12), le=10**12)]
Key = Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
Text = Annotated[str, msgspec.Meta(max_length=4000)]


class Body(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind"):
    """Base of every body; the tag is the kind's name in the book."""


class Kept(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Stands in the chain for something that lies beside it: what it is, and its salted hash."""

    what: Literal["name", "phone", "address", "photo", "words"]
    sha256: str


class DeviceValue(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one meter or counter showed, as a whole number of its own steps; None with a reason where not read."""

    device: Key
    shown: Count | None
    why_not: Text = ""


class SettingValue(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One setting of a control, on its sheet's grid; None where it could not be read."""

    setting: Key
    value: int | None


class Pieces(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """So many pieces of one denomination (0: foreign, bent or unknown)."""

    piece_minor: Count
    count: Count
    means: Literal["coin", "token"] = "coin"


class ReadingTaken(Body, frozen=True, kw_only=True, tag="reading"):
    """Meters and counters as they showed at one visit to one machine, with the test coins used since the last."""

    values: tuple[DeviceValue, ...]
    test_pieces: tuple[Pieces, ...] = ()
    test_input: str = ""
    visit: str = ""


class BoxesEmptied(Body, frozen=True, kw_only=True, tag="collection"):
    """Boxes emptied into one bag. ``is_after_reading``: counters were read at the same stop, just before."""

    boxes: tuple[Key, ...]
    bag: str = ""
    with_second: str = ""
    is_after_reading: bool | None = None
    visit: str = ""


class PiecesCounted(Body, frozen=True, kw_only=True, tag="count"):
    """What was in one or several boxes or one bag, counted blind. ``minor`` is given where only the value is known."""

    boxes: tuple[Key, ...] = ()
    bag: str = ""
    pieces: tuple[Pieces, ...] = ()
    minor: Minor | None = None
    method: Literal["machine", "hand", "weight"] = "hand"
    weight_g: float | None = None
    foreign: Count = 0
    with_second: str = ""
    collection: str = ""


class HandedOver(Body, frozen=True, kw_only=True, tag="hand-over"):
    """A sealed bag from one holder to another."""

    bag: Key
    to: Key
    seal_number: str = ""


class Deposited(Body, frozen=True, kw_only=True, tag="deposit"):
    """Money paid in at a bank, or put into a change machine's float."""

    bags: tuple[Key, ...]
    minor: Minor
    to: Literal["bank", "float"] = "bank"
    slip: str = ""


class PaidOut(Body, frozen=True, kw_only=True, tag="payout"):
    """A settlement of cards, apps or tokens for a period, with fees; counts per input where the statement gives them."""

    account: Key
    period_from: str
    period_to: str
    gross_minor: Minor
    fee_minor: Minor = 0
    paid_minor: Minor = 0
    inputs: tuple[tuple[Key, Count, Minor], ...] = ()


class Refunded(Body, frozen=True, kw_only=True, tag="refund"):
    pocket: Key
    minor: Minor
    why: Text = ""
    paid_by: Literal["cash", "card", "credit", "post"] = "cash"
    claim: str = ""


class Claimed(Body, frozen=True, kw_only=True, tag="claim"):
    """A customer's complaint about one pocket; words and identity lie beside the chain, if they are kept at all."""

    pocket: Key
    what: Literal["no time", "short time", "not hot", "too hot", "coin jam", "other"]
    minor: Minor = 0
    kept: tuple[Kept, ...] = ()


class OfferMade(Body, frozen=True, kw_only=True, tag="offer"):
    """Dated free or cheaper time for a bank: a window with its own house values, or minutes given."""

    bank: Key
    starts: datetime
    ends: datetime
    values: tuple[HouseValue, ...] = ()
    minutes_given: float | None = None
    says: Text = ""


class HouseUsed(Body, frozen=True, kw_only=True, tag="house use"):
    """Time or pieces used by the house: drop-off work, service runs."""

    pocket: Key
    seconds: Count = 0
    pieces: tuple[Pieces, ...] = ()
    why: Text = ""


class SettingChanged(Body, frozen=True, kw_only=True, tag="setting change"):
    """As found and as left at one control, or a sign taken down or put up (then ``control`` is empty)."""

    control: str = ""
    bank: str = ""
    sheet_revision: str = ""
    found: tuple[SettingValue, ...] = ()
    left: tuple[SettingValue, ...] = ()
    is_read_back: bool = False
    card: str = ""
    change_day: str = ""
    reading: str = ""
    sign: Literal["", "old down", "new up"] = ""


class CheckWaived(Body, frozen=True, kw_only=True, tag="waiver"):
    bank: Key
    check: Key
    reason: Annotated[str, msgspec.Meta(min_length=3, max_length=4000)]


class PlanAdopted(Body, frozen=True, kw_only=True, tag="adopted plan"):
    """House settings of a bank from a date on. ``plan`` is the plan's own digest, "" where typed by hand."""

    bank: Key
    values: tuple[HouseValue, ...]
    from_date: str
    plan: str = ""
    expected: dict[str, float] = {}
    undoes: str = ""


class PartReplaced(Body, frozen=True, kw_only=True, tag="replacement"):
    """A board, acceptor, counter, meter, motor or drum exchanged: last of the old, first of the new."""

    part: Literal["board", "acceptor", "counter", "meter", "motor", "drum", "coin box"]
    at: Key
    last: tuple[DeviceValue, ...] = ()
    first: tuple[DeviceValue, ...] = ()
    sheet: str = ""
    new_number: str = ""


class SheetReadBack(Body, frozen=True, kw_only=True, tag="sheet read back"):
    """A sheet's word checked at a machine: who, where, which settings agreed."""

    sheet: Key
    revision: str
    control: Key
    agreed: tuple[Key, ...] = ()
    differed: tuple[Key, ...] = ()


class Proved(Body, frozen=True, kw_only=True, tag="proof"):
    """A field test: what was measured with which instrument, its tolerance and verdict, as the proof room made them."""

    test: Key
    at: Key
    measured: dict[str, float | str]
    unit: str = ""
    verdict: Literal["pass", "fail", "cannot tell", "no tolerance"]
    margin: float | None = None
    tolerance: str = ""
    instrument: str = ""
    minutes_taken: float | None = None
    is_shop_open: bool | None = None


class Watched(Body, frozen=True, kw_only=True, tag="watch"):
    """A timed observation of customers."""

    starts: datetime
    ends: datetime
    customers: Count = 0
    loads: Count = 0
    first_pieces: tuple[int, ...] = ()
    top_up_pieces: tuple[int, ...] = ()
    walked_out: Count = 0
    pocket_loads: tuple[tuple[Key, Count], ...] = ()


class Serviced(Body, frozen=True, kw_only=True, tag="service"):
    at: Key
    tasks: tuple[Key, ...]
    parts: tuple[str, ...] = ()
    minutes: Count = 0


class PutOut(Body, frozen=True, kw_only=True, tag="outage"):
    """A pocket out of service from ``happened`` on, or back in (``is_back``)."""

    pocket: Key
    is_back: bool = False
    why: Text = ""


class OutcomeFound(Body, frozen=True, kw_only=True, tag="finding outcome"):
    finding: Key
    outcome: Literal["confirmed", "dismissed", "open"]
    cause: str = ""


class WeekClosed(Body, frozen=True, kw_only=True, tag="close"):
    week: Key
    tip: str
    taken_minor: Minor
    missing: tuple[str, ...] = ()
    lines: dict[str, int] = {}


class Sealed(Body, frozen=True, kw_only=True, tag="seal"):
    """The chain's tip at a moment, to be kept elsewhere: printed, mailed."""

    seq: Count
    tip: str
    kept_at: Text = ""


class ValueLearned(Body, frozen=True, kw_only=True, tag="learned value"):
    name: Key
    at: str = ""
    value: float
    low: float | None = None
    high: float | None = None
    unit: str = ""
    method: Text = ""
    data_from: str = ""
    data_to: str = ""


class Noted(Body, frozen=True, kw_only=True, tag="note"):
    at: str = ""
    says: Text
    kept: tuple[Kept, ...] = ()


class StoreDated(Body, frozen=True, kw_only=True, tag="store version"):
    """The store file as it stands from a date on."""

    store: Store
    from_date: str


class SheetDated(Body, frozen=True, kw_only=True, tag="sheet version"):
    """A control sheet as it stands from a date on."""

    sheet: ControlSheet
    from_date: str


Plain = (
    ReadingTaken | BoxesEmptied | PiecesCounted | HandedOver | Deposited | PaidOut | Refunded | Claimed | OfferMade
    | HouseUsed | SettingChanged | CheckWaived | PlanAdopted | PartReplaced | SheetReadBack | Proved | Watched | Serviced
    | PutOut | OutcomeFound | WeekClosed | Sealed | ValueLearned | Noted | StoreDated | SheetDated
)  # fmt: skip


class Corrected(Body, frozen=True, kw_only=True, tag="correction"):
    """Puts an earlier entry right: with another body of the same kind, or none where it should never have been."""

    corrects: Key
    reason: Annotated[str, msgspec.Meta(min_length=3, max_length=4000)]
    instead: Plain | None = None
    happened_instead: datetime | None = None


AnyBody = Plain | Corrected
KINDS: tuple[str, ...] = tuple(cls.__struct_config__.tag for cls in get_args(AnyBody))


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line as its writer made it. ``by`` is a handle, ``origin`` where it was written (desk, a device, a file's row)."""

    id: Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$")]
    store: Key
    happened: datetime
    by: Key
    origin: Annotated[str, msgspec.Meta(max_length=200)]
    body: AnyBody

    @property
    def kind(self) -> str:
        """The kind's name in the book."""
        return str(type(self.body).__struct_config__.tag)


class Booked(msgspec.Struct, frozen=True, kw_only=True):
    """An entry in its store's chain: its place (from 1), when it was booked, the hash before and its own."""

    entry: Entry
    seq: int
    booked: datetime
    prev: str
    hash: str
    old_hash: str = ""


class Version(msgspec.Struct, frozen=True, kw_only=True):
    """What an entry said from the moment ``booked`` on; no body where it was taken back."""

    booked: datetime
    happened: datetime
    body: AnyBody | None
