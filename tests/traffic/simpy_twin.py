"""The same store as SimPy would have it: a process for every customer, wash, drying run and breakdown.

Waiting, granting, patience and interruption are SimPy's; only the arithmetic of needs and purchases and the
counts are shared with the plain week. Left orders (drop-off) are not modelled here. Every drawn value
is cached on first use, so a second run over the same customers times SimPy and not the draws.
"""

from __future__ import annotations

import functools

import simpy

from drybank.traffic import chance
from drybank.traffic import places as pl
from drybank.traffic.packing import ticks
from drybank.traffic.reference import Week
from drybank.traffic.reference_parts import Counting, Draws, Person


class Prepared(Draws):
    """Draws kept for a second run."""

    def __init__(self, store):
        super().__init__(store)
        self.at = functools.cache(super().at)
        self.need = self.pieces = None  # of the first week run, kept for the next
        self.brought = {}

    def loads(self, person):
        names = ("waiting", "pile", "unwashed", "min_loads")
        if person.key not in self.brought:
            super().loads(person)
            self.brought[person.key] = (tuple(person.waiting), *(getattr(person, n) for n in names[1:]))
        waiting, person.pile, person.unwashed, person.min_loads = self.brought[person.key]
        person.waiting = list(waiting)


class Customer(Person):
    granted = washed = dried = None

    def bits(self, place):
        return cached_draw(self.key, place)


cached_draw = functools.cache(chance.draw)
cached_mix = functools.cache(chance.mix)
field = functools.cache(chance.field)


class SimpyWeek(Week):
    """One replication; ``prepared`` carries the draws from run to run."""

    def __init__(self, store, settings, *, weeks, keys, prepared=None):
        assert not store.arrivals.drop_off_by_hour
        self.store, self.settings, self.keys = store, settings, keys
        self.horizon = weeks * pl.WEEK
        self.draws, self.count, self.inside = prepared or Prepared(store), Counting(), 0
        self.env = simpy.Environment()
        self.lay_out()
        prepared = self.draws
        prepared.pieces = prepared.pieces or functools.cache(functools.partial(Week.pieces, self))
        prepared.need = prepared.need or functools.cache(
            lambda b, grams, u, week: Week.need(self, settings.banks[b], grams, u, week * pl.WEEK)
        )
        self.pieces = prepared.pieces
        self.inside_ticks = [ticks(b.coin.cool_down_s) if b.coin.cool_down_inside else 0 for b in settings.banks]
        self.washer_queue, self.pocket_queue, self.moved = [], [], []
        self.running = {}  # drying process by pocket
        self.cycle = {k.size - 1: k.cycle_s for k in store.washers}
        for s in (pl.STREAM_WALK, pl.STREAM_EXTRA):
            self.env.process(self.stream(s))
        if store.breakdowns:
            for p in range(len(self.drums)):
                self.env.process(self.breaking(p))
        for p, pocket in enumerate(store.pockets):
            for out in pocket.out:
                self.env.process(self.outage(p, out))

    def run(self):
        self.env.run(until=self.horizon)
        self.count.totals["inside"] = self.inside
        return self.count

    # --- customers

    def stream(self, s):
        for tick, key, number in arrivals(self.store, self.settings, tuple(self.keys), s, self.horizon):
            yield self.env.timeout(tick - self.env.now)
            h, factors = tick // pl.HOUR % 168, self.settings.demand.factor_by_hour
            stay = min(factors[h], 1.0) if factors else 1.0
            if s == pl.STREAM_WALK and stay < 1.0 and field(cached_draw(key, pl.PLACE_STAY), 0, 32) >= stay:
                self.count.totals["stayed_away"] += 1
                continue
            self.inside += 1
            self.count.totals["customers"] += 1
            self.count.hours["customers", h] += 1
            self.env.process(self.visit(Customer(key, s, number)))

    def visit(self, c):
        self.draws.loads(c)
        if c.unwashed and not (yield from self.wash_all(c)):
            self.depart(c)
            return
        if c.pile:
            yield from self.dry_all(c)
        self.depart(c)

    def wash_all(self, c):
        """True if the customer goes on to the pockets, False if lost before any wash began."""
        v = self.store.visits
        while True:
            c.joined = self.env.now
            started = self.start_washes(c, c.joined, 0)
            reason = 0
            if any(c.waiting):
                bits = c.bits(pl.PLACE_LIMITS)
                if not started and len(self.washer_queue) >= int(
                    self.draws.at(v.washer_line_max, field(bits, 0, 16), 1.0)
                ):
                    reason = pl.LOST_WASHER_LINE
                elif not (yield from self.wait_for_washers(c)) and c.started == 0:
                    reason = pl.LOST_WASHER_WAIT
            if not reason:
                break
            bits = c.bits(pl.PLACE_RETRY + c.tries)
            if c.tries >= v.retry_max or field(bits, 0, 16) >= v.retry_frac:
                c.lost = reason
                return False
            c.tries += 1
            self.count.totals["retries"] += 1
            yield self.env.timeout(self.draws.ticks(v.retry_after_s, field(bits, 32, 32)))
        if c.unwashed:
            c.washed = self.env.event()
            yield c.washed
        return True

    def wait_for_washers(self, c):
        self.washer_queue.append(c)
        c.granted = self.env.event()
        u = field(c.bits(pl.PLACE_PATIENCE), 0, 32)
        yield c.granted | self.env.timeout(self.draws.ticks(self.store.visits.patience_washer_s, u))
        if c.granted.triggered:
            return True
        self.washer_queue.remove(c)
        if c.started:
            left = sum(c.waiting)
            c.pile -= c.pile * left // (left + c.started)
            c.waiting, c.lost = [0, 0, 0, 0], pl.LOST_WASHER_WAIT
            c.min_loads, c.unwashed = max(0, c.min_loads - left), c.unwashed - left
        return False

    def dry_all(self, c):
        v = self.store.visits
        c.joined = self.env.now
        none_free = not self.free
        if self.free:
            self.choose(c, c.joined)
        if c.pile:
            most = self.draws.at(v.pocket_line_max, field(c.bits(pl.PLACE_LIMITS), 16, 16), 1.0)
            if none_free and len(self.pocket_queue) >= int(most):
                c.pile, c.lost = 0, pl.LOST_POCKET_LINE
            else:
                yield from self.wait_for_pockets(c)
        if c.drying:
            c.dried = self.env.event()
            yield c.dried

    def wait_for_pockets(self, c):
        self.pocket_queue.append(c)
        c.granted = self.env.event()
        self.hurry(c.min_loads)
        u = field(c.bits(pl.PLACE_PATIENCE), 32, 32)
        yield c.granted | self.env.timeout(self.draws.ticks(self.store.visits.patience_pocket_s, u))
        if not c.granted.triggered:
            self.pocket_queue.remove(c)
            c.pile, c.lost = 0, pl.LOST_POCKET_WAIT

    def hurry(self, left):
        """Somebody waits: stopped pockets with clothes in are emptied, in walking order."""
        now, delay = self.env.now, self.empty_delay(self.env.now)
        for p, drum in enumerate(self.drums):
            if left <= 0 or delay is None:
                break
            if drum.left and drum.stop <= now and self.out_at[p] > now + delay:
                self.out_at[p] = now + delay
                self.running[p].interrupt("emptied")
                left -= 1

    def choose(self, c, t):
        """Side by side in one row, else the next free ones; looks no further than the first that fits."""
        p0, free = int(field(c.bits(pl.PLACE_LIMITS), 32, 16) * len(self.drums)), self.free
        own = self.drums[p0].row
        for i in range(len(self.rows)):
            row = self.rows[(own + i) % len(self.rows)]
            n, last = self.loads_in(c, self.drums[row[0]].bank), row[-1]
            starts = [*range(p0, last + 1), *row] if i == 0 else row
            for p in starts:
                if p in free and p + n - 1 <= last and all(q in free for q in range(p + 1, p + n)):
                    for q in range(p, p + n):
                        self.take(q, c, t)
                    return
        super().choose(c, t)

    def take(self, p, c, t):
        """The next even share of the pile into a pocket."""
        self.free.discard(p)
        bank = self.drums[p].bank
        grams = -(-c.pile // self.loads_in(c, bank))
        c.pile -= grams
        c.min_loads = max(0, c.min_loads - 1)
        c.drying += 1
        u = field(c.bits(pl.PLACE_DRY + 64 * c.dry_next), 0, 16)
        self.count.wait(1, c.joined, t)
        self.start_drying(p, c, t, self.draws.need(bank, grams, u, t // pl.WEEK))

    # --- washers

    def start_washer(self, x, c, t):
        u = field(c.bits(pl.PLACE_WASH + c.started), 40, 24)
        c.started += 1
        self.count.totals["washed"] += 1
        self.count.wait(0, c.joined, t)
        self.env.process(self.washing(x, c, self.draws.ticks(self.cycle[self.washers[x]], u)))

    def washing(self, x, c, cycle):
        yield self.env.timeout(cycle)
        self.hand_on_washer(x)
        c.unwashed -= 1
        if c.unwashed == 0 and c.washed:
            c.washed.succeed()

    def hand_on_washer(self, x):
        z = self.washers[x]
        fits = [(c.joined, size, c) for c in self.washer_queue for size in range(z + 1) if c.waiting[size]]
        if not fits:
            self.free_washers[z].append(x)
            return
        _, size, c = min(fits, key=lambda entry: entry[:2])
        c.waiting[size] -= 1
        self.start_washer(x, c, self.env.now)
        if not any(c.waiting):
            self.washer_queue.remove(c)
            c.granted.succeed()

    # --- pockets

    def start_drying(self, p, c, t, need):
        drum, coin = self.drums[p], self.settings.banks[self.drums[p].bank].coin
        b = self.store.buying
        key = (c.key + (pl.PLACE_DRY + 64 * c.dry_next) * chance.GOLDEN) & chance.MASK
        c.dry_next += 1
        drum.start = t + self.draws.ticks(b.transfer_s, field(cached_draw(key, 0), 40, 24))
        left = max(0, drum.paid - drum.start)
        n = self.pieces(key, drum.bank, need, left)
        bought = n * ticks(coin.piece_time_s)
        if not left:
            bought += ticks(coin.first_time_s) - coin.start_pieces * ticks(coin.piece_time_s)
        inside = self.inside_ticks[drum.bank]
        drum.heat_end = max(drum.start, drum.start + left + bought - inside)
        drum.dry_at, drum.key, drum.round, drum.taken = drum.start + need, key, 0, t
        drum.person, drum.phase = c, pl.RUNNING
        self.count.totals["loads"] += 1
        self.sell(p, c, n, bought, t, starts=1)
        early = drum.dry_at + ticks(b.early_margin_s)
        goes_early = early < drum.heat_end and field(cached_draw(key, 1), 48, 16) < b.early_frac
        self.running[p] = self.env.process(self.drying(p, c, early if goes_early else None, inside))

    def drying(self, p, c, early, inside):
        drum = self.drums[p]
        try:
            if early is not None:
                yield self.env.timeout(early - self.env.now)
                drum.paid = drum.heat_end + inside
                self.count.totals["early"] += 1
                self.book_run(p, early, early, early)
            else:
                yield self.env.timeout(drum.heat_end - self.env.now)
                while drum.dry_at > self.env.now and self.top_up(p, self.env.now):
                    yield self.env.timeout(drum.heat_end - self.env.now)
        except simpy.Interrupt:
            self.interrupt(p, self.env.now)
            return
        if early is None:
            yield from self.wait_for_owner(p)
        drum.left, drum.phase = False, pl.EMPTY
        self.count_taken(p, self.env.now)
        c.drying -= 1
        self.release_pocket(p, self.env.now)
        if not c.drying and c.dried:
            c.dried.succeed()

    def wait_for_owner(self, p):
        drum, b, now = self.drums[p], self.store.buying, self.env.now
        self.count.totals["damp"] += drum.dry_at > now
        drum.stop = drum.heat_end + ticks(self.settings.banks[drum.bank].coin.cool_down_s)
        drum.paid, drum.phase, out = 0, pl.ENDING, drum.stop
        self.book_run(p, drum.heat_end, drum.stop, now)
        bits = cached_draw(drum.key, 2)
        if field(bits, 0, 16) < b.away_frac:
            out = drum.stop + self.draws.ticks(b.away_s, field(bits, 32, 32))
            delay = self.empty_delay(now)
            if self.pocket_queue and delay is not None:
                out = min(out, drum.stop + delay)
            drum.left = True
            self.count.totals["left"] += 1
        self.out_at[p] = out
        while self.env.now < self.out_at[p]:
            try:
                yield self.env.timeout(self.out_at[p] - self.env.now)
            except simpy.Interrupt:
                continue

    def put_out(self, p, tick):
        """A top-up moves the end; the process itself waits for it."""

    def drop(self, what):
        """Nothing stands in a calendar of ours."""

    def release_pocket(self, p, t):
        if self.drums[p].down:
            return
        if self.moved:
            c, missing = self.moved.pop(0)
            self.start_drying(p, c, t, missing)
        elif self.pocket_queue:
            c = self.pocket_queue[0]
            self.take(p, c, t)
            if c.pile == 0:
                self.pocket_queue.pop(0)
                c.granted.succeed()
        else:
            self.free.add(p)

    # --- breakdowns

    def breaking(self, p):
        spans, n = self.store.breakdowns, 0
        while True:
            yield self.env.timeout(self.draws.ticks(spans.between_s, self.break_u(p, n)))
            self.count.totals["breakdowns"] += 1
            self.goes_down(p)
            if self.drums[p].phase == pl.RUNNING:
                self.running[p].interrupt("broken")
            yield self.env.timeout(self.draws.ticks(spans.repair_s, self.break_u(p, n + 1)))
            self.comes_back(p, self.env.now)
            n += 2

    def outage(self, p, span):
        yield self.env.timeout(ticks(span.from_s))
        self.goes_down(p)
        yield self.env.timeout(ticks(span.to_s) - self.env.now)
        self.comes_back(p, self.env.now)

    def depart_if_done(self, c):
        """After an interrupted run the load may be dry already: its owner's process goes on."""
        if not c.drying and c.dried:
            c.dried.succeed()


@functools.lru_cache(maxsize=8)
def arrivals(store, settings, keys, stream, horizon):
    """Every arrival of a stream, drawn as the plain week draws them."""

    class Stream(Week):
        def __init__(self):
            self.store, self.settings, self.keys, self.horizon = store, settings, list(keys), horizon
            self.next_index, self.pending, self.found = [0, 0, 0], [0, 0, 0], None

        def put(self, _slot, tick, _what):
            self.found = tick

    source, out, tick = Stream(), [], 0
    while True:
        source.found = None
        source.next_arrival(stream, tick)
        if source.found is None or source.found >= horizon:
            return out
        tick = source.found
        out.append((tick, source.pending[stream], len(out)))
