"""Coins from the box to the bank: collected, counted, handed over, deposited; where every cent is.

One pass over a store's effective entries, oldest first. A bag is followed by its own key; boxes counted without a bag are
followed by the collection. Nothing here names a person in a finding: differences are told by bag and round.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import msgspec

from drybank.records.entry import BoxesEmptied, Deposited, HandedOver, PiecesCounted, Refunded
from drybank.records.finding import Finding
from drybank.records.money import Money
from drybank.records.takings import Bag, BagState, Custody, DepositMatch, Line
from drybank.records.working import Estimate


class CustodyRule(msgspec.Struct, frozen=True, kw_only=True):
    """What the store asks: two people at a count, and days from collection to deposit."""

    asks_two: bool = False
    late_after_days: float = 3.0


class _Trail(msgspec.Struct, kw_only=True):
    """A bag while it is being followed."""

    key: str
    boxes: tuple[str, ...] = ()
    collected: datetime | None = None
    collected_by: str = ""
    counts: list[tuple[int, datetime, str, str]] = []
    hands: list[HandedOver] = []
    deposit: str = ""
    deposited: datetime | None = None

    def counted_minor(self) -> int | None:
        """The last count: a bag counted again is worth what the later count says."""
        return self.counts[-1][0] if self.counts else None


def count_value(body: PiecesCounted) -> int:
    """Minor units of a count: the stated value, or the pieces times their worth (tokens are worth nothing in cash)."""
    if body.minor is not None:
        return body.minor
    return sum(p.piece_minor * p.count for p in body.pieces if p.means == "coin")


def _bag_of(body: PiecesCounted, trails: dict[str, _Trail], by_collection: dict[str, str], entry_id: str) -> _Trail:
    """The trail a count belongs to: its bag, its collection, the last open trail of its boxes, or one of its own."""
    key = body.bag or by_collection.get(body.collection, "")
    if not key:
        open_ones = [t for t in trails.values() if not t.counts and set(t.boxes) & set(body.boxes)]
        key = open_ones[-1].key if open_ones else f"count {entry_id}"
    return trails.setdefault(key, _Trail(key=key, boxes=body.boxes, counts=[], hands=[]))


class _Walk:
    """The pass itself: trails by bag, deposits matched as they come."""

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.trails: dict[str, _Trail] = {}
        self.by_collection: dict[str, str] = {}
        self.deposits: list[DepositMatch] = []
        self.refunds_waiting = 0
        self.findings: list[Finding] = []

    def take(self, line: Line) -> None:
        body = line.body
        if isinstance(body, BoxesEmptied):
            key = body.bag or f"collection {line.id}"
            self.by_collection[line.id] = key
            self._set_aside(key, line.id)
            self.trails[key] = _Trail(
                key=key, boxes=body.boxes, collected=line.happened, collected_by=line.by, counts=[], hands=[]
            )
        elif isinstance(body, PiecesCounted):
            trail = _bag_of(body, self.trails, self.by_collection, line.id)
            trail.counts.append((count_value(body), line.happened, line.by, body.with_second))
        elif isinstance(body, HandedOver) and body.bag in self.trails:
            self.trails[body.bag].hands.append(body)
        elif isinstance(body, Refunded) and body.paid_by == "cash":
            self.refunds_waiting += body.minor
        elif isinstance(body, Deposited):
            self._match(line, body)

    def _set_aside(self, key: str, by: str) -> None:
        """A bag used again: its earlier round is followed on under a name of its own, so that nothing it holds is lost."""
        earlier = self.trails.pop(key, None)
        if earlier is not None:
            earlier.key = f"{key}, before {by}"
            self.trails[earlier.key] = earlier

    def _match(self, line: Line, body: Deposited) -> None:
        counted = 0
        for key in body.bags:
            trail = self.trails.get(key)
            if trail is None or trail.deposit:
                twice = trail is not None
                self.findings.append(_bag_finding(line.id, key, twice=twice))
                continue
            trail.deposit, trail.deposited = line.id, line.happened
            counted += trail.counted_minor() or 0
        # Refunds in cash come out of the money on its way: taken as paid from this deposit up to what it lacks.
        lacking = counted - body.minor
        refunded = max(0, min(self.refunds_waiting, lacking))
        self.refunds_waiting -= refunded
        left = lacking - refunded
        money = {name: Money(value, self.currency) for name, value in (
            ("counted", counted), ("deposited", body.minor), ("refunded", refunded), ("short", max(0, left)), ("over", max(0, -left)),
        )}  # fmt: skip
        self.deposits.append(DepositMatch(deposit=line.id, when=line.happened, to=body.to, bags=body.bags, **money))


def _bag_finding(deposit: str, bag: str, *, twice: bool) -> Finding:
    says = (
        f"Bag {bag} is in two deposits."
        if twice
        else f"Bag {bag} was deposited, but nobody entered its collection or count."
    )
    return Finding(
        key=f"takings:bag:{deposit}:{bag}", room="takings", name="bag in two deposits" if twice else "bag not known", where=bag, says=says,
        weight="money", next_check="Compare the bag numbers on the slip with the round's list.",
    )  # fmt: skip


def _bag(trail: _Trail, now: datetime) -> Bag:
    state: BagState = "collected"
    if trail.deposit:
        state = "deposited"
    elif trail.hands:
        state = "handed over"
    elif trail.counts:
        state = "counted"
    begun = trail.collected or (trail.counts[0][1] if trail.counts else now)
    ended = trail.deposited or now
    return Bag(
        key=trail.key, boxes=trail.boxes, collected=trail.collected, counted_minor=trail.counted_minor(),
        counted=trail.counts[-1][1] if trail.counts else None, deposited=trail.deposited, state=state,
        age_days=(ended - begun) / timedelta(days=1), collected_by=trail.collected_by,
        counted_by=trail.counts[-1][2] if trail.counts else "", holder=trail.hands[-1].to if trail.hands else "",
        seal_number=trail.hands[-1].seal_number if trail.hands else "", deposit=trail.deposit,
    )  # fmt: skip


def _findings(walk: _Walk, bags: Sequence[Bag], rule: CustodyRule) -> list[Finding]:
    out = list(walk.findings)
    for bag in bags:
        out += _of_bag(bag, walk.trails[bag.key], rule)
    for match in walk.deposits:
        gap = match.short.minor or match.over.minor
        if gap:
            word = "short" if match.short.minor else "over"
            out.append(Finding(
                key=f"takings:deposit:{match.deposit}", room="takings", name=f"deposit {word}", where=f"deposit of {match.when:%Y-%m-%d}",
                says=f"The deposit of {match.when:%Y-%m-%d} is {Money(gap, walk.currency)} {word} of its counted bags ({', '.join(match.bags)}).",
                weight="money", size=Estimate(value=float(gap if word == "over" else -gap), unit=f"minor {walk.currency}", how="measured"),
                certainty="exact: counted against the slip", next_check="Ask the bank for its own count of these bags.",
            ))  # fmt: skip
    return out


def _of_bag(bag: Bag, trail: _Trail, rule: CustodyRule) -> list[Finding]:
    out = []
    if bag.age_days > rule.late_after_days:
        late = "came late" if bag.deposit else "is not in a deposit yet"
        out.append(Finding(
            key=f"takings:late:{bag.key}", room="takings", name="deposit late", where=bag.key, weight="money",
            says=f"Bag {bag.key} {late}: {bag.age_days:.0f} days from collection; the store asks for {rule.late_after_days:g}.",
            size=Estimate(value=bag.age_days, unit="days", how="measured"), certainty="exact: dates in the book",
            next_check="See where the bag is, and whether its seal is whole.",
        ))  # fmt: skip
    alone = [c for c in trail.counts if not c[3]]
    if rule.asks_two and alone:
        out.append(Finding(
            key=f"takings:alone:{bag.key}", room="takings", name="counted by one", where=bag.key, weight="note",
            says=f"Bag {bag.key} was counted by one person; the store asks for two.", certainty="exact: as entered",
            next_check="Count the next bag with two, or change what the store asks.",
        ))  # fmt: skip
    if len(trail.counts) > 1 and len({c[0] for c in trail.counts}) > 1:
        out.append(Finding(
            key=f"takings:counts:{bag.key}", room="takings", name="two counts differ", where=bag.key, weight="money",
            says=f"Bag {bag.key} was counted {len(trail.counts)} times with different results; the last one stands.",
            certainty="exact: as entered", next_check="Count it once more, by machine.",
        ))  # fmt: skip
    return out


def follow(lines: Sequence[Line], *, currency: str, now: datetime, rule: CustodyRule | None = None) -> Custody:
    """Where every cent of these effective entries is, oldest first; ages are as of ``now``."""
    walk, rule = _Walk(currency), rule or CustodyRule()
    for line in lines:
        walk.take(line)
    bags = tuple(_bag(t, now) for t in walk.trails.values())
    sums = {
        name: sum(getattr(m, name).minor for m in walk.deposits)
        for name in ("counted", "deposited", "refunded", "short", "over")
    }
    waiting = sum(b.counted_minor or 0 for b in bags if not b.deposit)
    money = {name: Money(value, currency) for name, value in sums.items()}
    money["counted"] = Money(sums["counted"] + waiting, currency)
    return Custody(
        bags=bags,
        deposits=tuple(walk.deposits),
        on_the_way=Money(waiting, currency),
        findings=tuple(_findings(walk, bags, rule)),
        **money,
    )
