"""Coins from the box to the bank: collected, counted, handed over, deposited; where every cent is.

One pass over a store's effective entries, oldest first. A bag is followed by its own key; boxes counted without a bag are
followed by the collection. Nothing here names a person in a finding: differences are told by bag and round.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import msgspec

from drybank.records.entry import BoxesEmptied, Deposited, HandedOver, PiecesCounted, Refunded
from drybank.records.finding import Finding
from drybank.records.money import Money
from drybank.records.takings import Bag, BagState, Custody, DepositMatch, Line
from drybank.records.working import Estimate

FILLED_WITHIN = timedelta(days=2)
"""Boxes emptied into one bag within this are one round of it."""


class CustodyRule(msgspec.Struct, frozen=True, kw_only=True):
    """What the store asks: two people at a count, and days from collection to deposit."""

    asks_two: bool = False
    late_after_days: float = 3.0


class _Counted(msgspec.Struct):
    """One count within a trail."""

    entry: str
    minor: int
    boxes: frozenset[str]
    when: datetime
    by: str
    second: str
    adds: int = 0
    is_replaced: bool = False


class _Trail(msgspec.Struct, kw_only=True):
    """A bag while it is being followed."""

    key: str
    boxes: tuple[str, ...] = ()
    collected: datetime | None = None
    collected_by: str = ""
    counts: list[_Counted] = []
    hands: list[HandedOver] = []
    deposit: str = ""
    deposited: datetime | None = None
    differs: bool = False

    def is_being_filled(self, when: datetime) -> bool:
        """Whether a box emptied at a moment goes into this round: not counted, sealed or paid in, and begun just before."""
        begun = self.collected is not None and when - self.collected <= FILLED_WITHIN
        return begun and not (self.counts or self.hands or self.deposit)

    def counted_minor(self) -> int | None:
        """What its counts say together; boxes counted again are worth what the later count says."""
        return sum(c.minor for c in self.counts if not c.is_replaced) if self.counts else None

    def take(self, count: _Counted) -> None:
        """One more count; earlier ones of the same boxes stand no longer, and it adds what it has more than they."""
        count.adds = count.minor
        for earlier in self.counts:
            if shares_a_box(earlier.boxes, count.boxes):
                count.adds -= 0 if earlier.is_replaced else earlier.minor
                earlier.is_replaced = True
                self.differs = self.differs or earlier.minor != count.minor
        self.counts.append(count)


def count_value(body: PiecesCounted) -> int:
    """Minor units of a count: the stated value, or the pieces times their worth (tokens are worth nothing in cash)."""
    if body.minor is not None:
        return body.minor
    return sum(p.piece_minor * p.count for p in body.pieces if p.means == "coin")


def shares_a_box(one: frozenset[str], other: frozenset[str]) -> bool:
    """Whether two counts of one bag are of the same coins; a count that names no box is of the whole bag."""
    return not one or not other or bool(one & other)


def rounds_of_counts(lines: Sequence[Line]) -> list[tuple[tuple[str, int], ...]]:
    """The counts of each bag or collection in their order: entry, and what it adds to the counts before it."""
    walk = _Walk("")
    for line in lines:
        if isinstance(line.body, BoxesEmptied | PiecesCounted):
            walk.take(line)
    return [tuple((c.entry, c.adds) for c in trail.counts) for trail in walk.trails.values() if trail.counts]


def rounds(lines: Sequence[Line]) -> tuple[str, ...]:
    """The name under which each bag, collection or count is followed."""
    walk = _Walk("")
    for line in lines:
        if isinstance(line.body, BoxesEmptied | PiecesCounted):
            walk.take(line)
    return tuple(walk.trails)


class _Walk:
    """The pass itself: trails by bag; deposits are matched at the end, when every count of their bags is known."""

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.trails: dict[str, _Trail] = {}
        self.by_collection: dict[str, str] = {}
        self.paid_in: list[tuple[Line, Deposited, list[_Trail]]] = []
        self.given_back: list[tuple[datetime, int]] = []
        self.findings: list[Finding] = []

    def take(self, line: Line) -> None:
        body = line.body
        if isinstance(body, BoxesEmptied):
            self._empty(line, body)
        elif isinstance(body, PiecesCounted):
            boxes = frozenset(body.boxes)
            self._trail_of(body, line.id).take(
                _Counted(line.id, count_value(body), boxes, line.happened, line.by, body.with_second)
            )
        elif isinstance(body, HandedOver) and body.bag in self.trails:
            self.trails[body.bag].hands.append(body)
        elif isinstance(body, Refunded) and body.paid_by == "cash":
            self.given_back.append((line.happened, body.minor))
        elif isinstance(body, Deposited):
            self._pay_in(line, body)

    def _empty(self, line: Line, body: BoxesEmptied) -> None:
        """A round of a bag begins, or one more box goes into it; an earlier round is followed on under a name of its own."""
        key = body.bag or f"collection {line.id}"
        self.by_collection[line.id] = key
        had = self.trails.get(key)
        if had is not None and had.is_being_filled(line.happened):
            had.boxes = tuple(dict.fromkeys((*had.boxes, *body.boxes)))
            return
        if had is not None:
            self._set_aside(key, had, line)
        self.trails[key] = _Trail(
            key=key, boxes=body.boxes, collected=line.happened, collected_by=line.by, counts=[], hands=[]
        )

    def _set_aside(self, key: str, had: _Trail, by: Line) -> None:
        """An earlier round of a bag keeps what it holds under its day; under the entry after it where that is taken."""
        begun = had.collected or (had.counts[0].when if had.counts else by.happened)
        had.key = f"{key}, round of {begun:%Y-%m-%d}"
        if had.key in self.trails:
            had.key = f"{key}, before {by.id}"
        self.trails[had.key] = self.trails.pop(key)

    def _trail_of(self, body: PiecesCounted, entry: str) -> _Trail:
        """The trail a count belongs to: its bag, its collection, the last that emptied its boxes, or one of its own."""
        key = body.bag or self.by_collection.get(body.collection, "")
        if not key and body.boxes:
            boxes = frozenset(body.boxes)
            key = next((t.key for t in reversed(self.trails.values()) if t.collected and boxes <= set(t.boxes)), "")
        key = key or f"count {entry}"
        return self.trails.setdefault(key, _Trail(key=key, boxes=body.boxes, counts=[], hands=[]))

    def _pay_in(self, line: Line, body: Deposited) -> None:
        mine = []
        for key in body.bags:
            trail = self.trails.get(key)
            if trail is None or trail.deposit:
                self.findings.append(_bag_finding(line.id, key, twice=trail is not None))
                continue
            trail.deposit, trail.deposited = line.id, line.happened
            mine.append(trail)
        self.paid_in.append((line, body, mine))

    def matches(self) -> tuple[tuple[DepositMatch, ...], int]:
        """Every deposit against its counts, and the cash given back that no deposit lacks.

        Cash given back may have come out of the coins of the next day of deposits: up to what those lack, never later ones.
        """
        out: list[DepositMatch] = []
        waiting = sorted(self.given_back)
        drawer, begun = 0, 0
        for number, (line, body, mine) in enumerate(self.paid_in):
            if line.happened.date() > self.paid_in[begun][0].happened.date():
                done = self.paid_in[number - 1][0].happened
                drawer += sum(minor for at, minor in waiting if at <= done)
                waiting, begun = [(at, minor) for at, minor in waiting if at > done], number
            counted = sum(trail.counted_minor() or 0 for trail in mine)
            lacking = counted - body.minor
            refunded, waiting = _given_from(waiting, line.happened, max(0, lacking))
            left = lacking - refunded
            money = {name: Money(value, self.currency) for name, value in (
                ("counted", counted), ("deposited", body.minor), ("refunded", refunded), ("short", max(0, left)), ("over", max(0, -left)),
            )}  # fmt: skip
            out.append(DepositMatch(deposit=line.id, when=line.happened, to=body.to, bags=body.bags, **money))
        return tuple(out), drawer + sum(minor for _, minor in waiting)


def _given_from(
    waiting: list[tuple[datetime, int]], when: datetime, lacking: int
) -> tuple[int, list[tuple[datetime, int]]]:
    """How much of the cash given back until a moment a gap takes up, and what is left waiting."""
    taken, rest = 0, []
    for at, minor in waiting:
        part = min(minor, lacking - taken) if at <= when else 0
        taken += part
        if minor > part:
            rest.append((at, minor - part))
    return taken, rest


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
    begun = trail.collected or (trail.counts[0].when if trail.counts else now)
    ended = trail.deposited or now
    return Bag(
        key=trail.key, boxes=trail.boxes, collected=trail.collected, counted_minor=trail.counted_minor(),
        counted=trail.counts[-1].when if trail.counts else None, deposited=trail.deposited, state=state,
        age_days=(ended - begun) / timedelta(days=1), collected_by=trail.collected_by,
        counted_by=trail.counts[-1].by if trail.counts else "", holder=trail.hands[-1].to if trail.hands else "",
        seal_number=trail.hands[-1].seal_number if trail.hands else "", deposit=trail.deposit,
    )  # fmt: skip


def _findings(walk: _Walk, bags: Sequence[Bag], deposits: Sequence[DepositMatch], rule: CustodyRule) -> list[Finding]:
    out = list(walk.findings)
    for bag in bags:
        out += _of_bag(bag, walk.trails[bag.key], rule)
    for match in deposits:
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
    alone = [c for c in trail.counts if not c.second]
    if rule.asks_two and alone:
        out.append(Finding(
            key=f"takings:alone:{bag.key}", room="takings", name="counted by one", where=bag.key, weight="note",
            says=f"Bag {bag.key} was counted by one person; the store asks for two.", certainty="exact: as entered",
            next_check="Count the next bag with two, or change what the store asks.",
        ))  # fmt: skip
    if trail.differs:
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
    deposits, drawer = walk.matches()
    sums = {
        name: sum(getattr(m, name).minor for m in deposits)
        for name in ("counted", "deposited", "refunded", "short", "over")
    }
    waiting = sum(b.counted_minor or 0 for b in bags if not b.deposit)
    money = {name: Money(value, currency) for name, value in sums.items()}
    money["counted"] = Money(sums["counted"] + waiting, currency)
    return Custody(
        bags=bags, deposits=deposits, on_the_way=Money(waiting, currency), from_drawer=Money(drawer, currency),
        findings=tuple(_findings(walk, bags, deposits, rule)), **money,
    )  # fmt: skip


def bag_has_left(lines: Iterable[Line], bag: str, when: datetime) -> bool:
    """Whether a bag has left the round in which it was filled and is not paid in yet; box after box may go into one bag.

    ``lines``: collections, counts, hand-overs and deposits, in any order; those of other bags are passed over.
    """
    moved = sorted(
        (t for t in lines if t.happened <= when and bag in _bags_of(t.body)), key=lambda t: (t.happened, t.booked)
    )
    paid_in = [at for at, t in enumerate(moved) if isinstance(t.body, Deposited)]
    since = moved[paid_in[-1] + 1 :] if paid_in else moved
    begun = next((t.happened for t in since if isinstance(t.body, BoxesEmptied)), None)
    if begun is None:
        return False
    is_filled = all(isinstance(t.body, BoxesEmptied) for t in since)
    return not is_filled or when - begun > FILLED_WITHIN


def _bags_of(body: object) -> tuple[str, ...]:
    if isinstance(body, Deposited):
        return body.bags
    return (body.bag,) if isinstance(body, BoxesEmptied | PiecesCounted | HandedOver) else ()
