"""People, drums, draws and counts of the plain-Python week."""

from __future__ import annotations

from collections import Counter, defaultdict

from drybank.records.traffic import HOURS, Spread, Store
from drybank.traffic import chance
from drybank.traffic import places as pl
from drybank.traffic.packing import spread_row

Tick = int


class Person:
    """Somebody with loads, from the door to the door."""

    def __init__(self, key: int, stream: int, number: int) -> None:
        self.key, self.stream, self.number = key, stream, number
        self.state, self.lost, self.tries = pl.BUSY, 0, 0
        self.waiting = [0, 0, 0, 0]  # loads not yet in a washer, by size
        self.unwashed = self.started = self.pile = self.min_loads = 0
        self.joined = self.drying = self.dry_next = 0

    def bits(self, place: int) -> int:
        return chance.draw(self.key, place)


class Drum:
    """One pocket."""

    def __init__(self, bank: int, row: int) -> None:
        self.bank, self.row = bank, row
        self.person: Person | None = None
        self.phase, self.down, self.fails, self.round = pl.EMPTY, 0, 1, 0
        self.start = self.heat_end = self.dry_at = self.key = self.taken = self.stop = self.paid = 0
        self.left = False

    def owner(self) -> Person:
        if self.person is None:
            raise AssertionError("a drum without a load was looked at")
        return self.person


class Draws:
    """Spreads of a store, sampled as the kernel samples them."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.packed: dict[tuple[Spread, float], list[float]] = {}

    def at(self, spread: Spread, u: float, scale: float = pl.SECOND) -> float:
        row = self.packed.setdefault((spread, scale), spread_row(spread, scale))
        return chance.sample(row, 0, u)

    def ticks(self, spread: Spread, u: float) -> Tick:
        return int(self.at(spread, u) + 0.5)

    def loads(self, person: Person) -> None:
        """Fill in what a person brings."""
        v, cut = self.store.visits, 0.0
        u, n = chance.field(person.bits(pl.PLACE_LIMITS), 48, 16), 0
        for share in v.loads_share:
            n, cut = n + 1, cut + share
            if u < cut:
                break
        for i in range(n):
            bits, z, cut = person.bits(pl.PLACE_WASH + i), 0, v.size_share[0]
            while z < len(v.size_share) - 1 and chance.field(bits, 0, 16) >= cut:
                z, cut = z + 1, cut + v.size_share[z + 1]
            person.waiting[z] += 1
            person.pile += max(1, int(self.at(v.load_kg[z], chance.field(bits, 16, 24), 1000.0) + 0.5))
        kind = person.bits(pl.PLACE_KIND)
        person.unwashed, person.min_loads = n, 1 if chance.field(kind, 32, 16) < v.join_frac else n
        if person.stream != pl.STREAM_DROP:
            if chance.field(kind, 0, 16) < v.dry_only_frac:
                person.unwashed = 0
            elif chance.field(kind, 16, 16) < v.wash_only_frac:
                person.pile = 0


class Counting:
    """Everything counted, under the names of `places`."""

    def __init__(self) -> None:
        self.totals: Counter[str] = Counter()
        self.waits: Counter[tuple[int, int, int]] = Counter()
        self.hours: Counter[tuple[str, int]] = Counter()
        self.meters: defaultdict[tuple[int, int], Counter[str]] = defaultdict(Counter)

    def restart(self) -> None:
        self.totals.clear()
        self.waits.clear()
        self.hours.clear()

    def wait(self, kind: int, joined: Tick, now: Tick) -> None:
        name = ("washer", "pocket")[kind]
        self.totals[f"{name}_waits"] += 1
        self.totals[f"{name}_wait_ticks"] += now - joined
        minute = min(pl.BINS - 1, -(-(now - joined) // pl.MINUTE))
        self.waits[kind, joined // pl.HOUR % HOURS, minute] += 1

    def span(self, name: str, begin: Tick, end: Tick) -> None:
        while begin < end:
            stop = min(end, (begin // pl.HOUR + 1) * pl.HOUR)
            self.hours[name, begin // pl.HOUR % HOURS] += stop - begin
            begin = stop
