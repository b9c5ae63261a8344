"""The same week in plain Python: a heap of events, people and drums as objects, lines as lists.

Reads the records themselves (the kernel reads packed arrays), so it stands witness for packing too.
Slow and meant to be read; the tests hold every count of the kernel equal to these.
"""

from __future__ import annotations

import heapq
import math
from collections import Counter
from typing import Any

from drybank.records.traffic import HOURS, BankSetting, Settings, Store
from drybank.traffic import chance
from drybank.traffic import places as pl
from drybank.traffic.packing import ticks
from drybank.traffic.reference_parts import Counting, Draws, Drum, Person, Tick


class Week:
    """One replication. ``run()`` handles the events and returns what was counted."""

    def __init__(self, store: Store, settings: Settings, *, weeks: int, keys: list[int], warm_weeks: int = 0) -> None:
        self.store, self.settings, self.keys = store, settings, keys
        self.horizon = (weeks + warm_weeks) * pl.WEEK
        self.draws, self.count, self.inside = Draws(store), Counting(), 0
        self.heap: list[tuple[Tick, int, int, Any]] = []
        self.stamp: Counter[Any] = Counter()
        self.next_index = [0, 0, 0]
        self.pending = [0, 0, 0]
        self.lay_out()
        self.washer_lines: list[list[Person]] = [[], [], [], []]
        self.waiting_w: list[Person] = []
        self.pocket_line: list[Person] = []
        self.moved: list[tuple[Person, Tick]] = []
        self.drop_wash: list[Person] = []
        self.drop_dry: list[Person] = []
        for s in range(pl.STREAMS):
            self.next_arrival(s, 0)
        if store.breakdowns is not None:
            for p in range(len(self.drums)):
                u = self.break_u(p, 0)
                self.put(pl.SLOT_BREAK, self.draws.ticks(store.breakdowns.between_s, u), ("break", p))
        self.put_plans(warm_weeks)

    def lay_out(self) -> None:
        self.washers = [k.size - 1 for k in self.store.washers for _ in range(k.count)]
        self.washer_person: list[Person | None] = [None] * len(self.washers)
        self.free_washers: list[list[int]] = [[], [], [], []]
        for x, z in enumerate(self.washers):
            self.free_washers[z].append(x)
        self.rows: list[list[int]] = []
        self.drums: list[Drum] = []
        for p, pocket in enumerate(self.store.pockets):
            last = self.rows[-1] if self.rows else []
            if not last or self.drums[last[0]].bank != pocket.bank or len(last) == pl.ROW_MOST:
                self.rows.append([])
            self.rows[-1].append(p)
            self.drums.append(Drum(pocket.bank, len(self.rows) - 1))
        self.free = set(range(len(self.drums)))
        self.out_at: dict[int, Tick] = {}
        self.fill = [
            max(1, int(min(d.capacity_kg for d in self.store.pockets if d.bank == b) * self.store.fill_frac * 1000))
            for b in range(len(self.settings.banks))
        ]

    def put_plans(self, warm_weeks: int) -> None:
        plans: list[tuple[Tick, int, int]] = [(warm_weeks * pl.WEEK, pl.PLAN_WARM, 0)] if warm_weeks else []
        for p, pocket in enumerate(self.store.pockets):
            for out in pocket.out:
                plans += [(ticks(out.from_s), pl.PLAN_OUT, p), (ticks(out.to_s), pl.PLAN_BACK, p)]
        attended = self.store.staff.attended
        if attended and self.store.arrivals.drop_off_by_hour:
            plans += [
                (t * pl.HOUR, pl.PLAN_STAFF, 0)
                for t in range(-(-self.horizon // pl.HOUR))
                if attended[t % HOURS] and not attended[t % HOURS - 1]
            ]
        for n, (tick, kind, p) in enumerate(sorted(plans)):
            self.put(pl.SLOT_PLAN, tick, ("plan", n, kind, p))

    # --- calendar

    def put(self, slot: int, tick: Tick, what: tuple[Any, ...]) -> None:
        """Enter an event; an earlier one of the same thing no longer holds."""
        self.stamp[what[:2]] += 1
        heapq.heappush(self.heap, (tick, slot, self.stamp[what[:2]], what))

    def drop(self, what: tuple[Any, ...]) -> None:
        self.stamp[what] += 1

    def run(self) -> Counting:
        events = 0
        while self.heap:
            now, _, stamp, what = heapq.heappop(self.heap)
            if now >= self.horizon:
                break
            if self.stamp[what[:2]] == stamp:
                events += 1
                getattr(self, f"on_{what[0]}")(now, *what[1:])
        self.count.totals["events"], self.count.totals["inside"] = events, self.inside
        return self.count

    def attended(self, t: Tick) -> bool:
        flags = self.store.staff.attended
        return bool(flags) and flags[t // pl.HOUR % HOURS]

    # --- arrivals

    def next_arrival(self, s: int, t: Tick) -> None:
        key = chance.mix((self.keys[s] + self.next_index[s] * chance.GOLDEN) & chance.MASK)
        self.next_index[s] += 1
        self.pending[s] = key
        left = -math.log(chance.field(chance.draw(key, pl.PLACE_GAP), 11, 53))
        a, factors = self.store.arrivals, self.settings.demand.factor_by_hour
        while t < self.horizon:
            h, edge = t // pl.HOUR % HOURS, (t // pl.HOUR + 1) * pl.HOUR
            season = a.season[(self.store.first_week - 1 + t // pl.WEEK) % pl.SEASON % len(a.season)]
            extra = a.by_hour[h] * max((factors[h] if factors else 1.0) - 1.0, 0.0)
            hourly = (a.by_hour[h], extra, a.drop_off_by_hour[h] if a.drop_off_by_hour else 0.0)[s]
            rate = hourly / pl.HOUR * season
            if left <= rate * (edge - t):
                self.put(s, t + int(left / rate + 0.5), ("arrive", s))
                return
            left -= rate * (edge - t)
            t = edge

    def on_arrive(self, t: Tick, s: int) -> None:
        key = self.pending[s]
        self.next_arrival(s, t)
        h, factors = t // pl.HOUR % HOURS, self.settings.demand.factor_by_hour
        stay = min(factors[h], 1.0) if factors else 1.0
        if s == pl.STREAM_WALK and chance.field(chance.draw(key, pl.PLACE_STAY), 0, 32) >= stay:
            self.count.totals["stayed_away"] += 1
            return
        person = Person(key, s, self.next_index[s])
        self.inside += 1
        self.draws.loads(person)
        if s == pl.STREAM_DROP:
            self.count.totals["drop_offs"] += 1
            self.drop_wash.append(person)
            self.start_drop_off(t)
        else:
            self.count.totals["customers"] += 1
            self.count.hours["customers", h] += 1
            self.enter(person, t)

    def enter(self, person: Person, t: Tick) -> None:
        person.joined = t
        if person.unwashed == 0:
            self.to_pockets(person, t)
            return
        started = self.start_washes(person, t, 0)
        if not any(person.waiting):
            return
        most = self.draws.at(self.store.visits.washer_line_max, chance.field(person.bits(pl.PLACE_LIMITS), 0, 16), 1.0)
        if started == 0 and len(self.waiting_w) >= int(most):
            self.turn_away(person, t, pl.LOST_WASHER_LINE)
            return
        for size, loads in enumerate(person.waiting):
            if loads:
                self.washer_lines[size].append(person)
        self.waiting_w.append(person)
        u = chance.field(person.bits(pl.PLACE_PATIENCE), 0, 32)
        self.due(person, pl.IN_WASHER_LINE, t + self.draws.ticks(self.store.visits.patience_washer_s, u))

    def due(self, person: Person, state: int, tick: Tick) -> None:
        person.state = state
        if tick < pl.LATEST:
            self.put(pl.SLOT_PERSON, tick, ("due", person))

    def settle(self, person: Person) -> None:
        person.state = pl.BUSY
        self.drop(("due", person))

    def turn_away(self, person: Person, t: Tick, reason: int) -> None:
        v, bits = self.store.visits, person.bits(pl.PLACE_RETRY + person.tries)
        if person.tries < v.retry_max and chance.field(bits, 0, 16) < v.retry_frac:
            person.tries += 1
            self.count.totals["retries"] += 1
            self.due(person, pl.AWAY, t + self.draws.ticks(v.retry_after_s, chance.field(bits, 32, 32)))
        else:
            person.lost = reason
            self.depart(person)

    def depart(self, person: Person) -> None:
        self.inside -= 1
        if person.stream == pl.STREAM_DROP:
            self.count.totals["drop_done"] += 1
        elif person.lost:
            self.count.totals[pl.TOTALS[pl.T_LOST + person.lost - 1]] += 1
        else:
            self.count.totals["served"] += 1

    def depart_if_done(self, person: Person) -> None:
        if person.drying == 0 and person.pile == 0:
            self.depart(person)

    def on_due(self, t: Tick, person: Person) -> None:
        state, person.state = person.state, pl.BUSY
        if state == pl.AWAY:
            self.enter(person, t)
        elif state == pl.IN_POCKET_LINE:
            self.pocket_line.remove(person)
            person.pile, person.lost = 0, pl.LOST_POCKET_WAIT
            self.depart_if_done(person)
        else:
            self.give_up_washing(person, t)

    def give_up_washing(self, person: Person, t: Tick) -> None:
        self.waiting_w.remove(person)
        for line in self.washer_lines:
            if person in line:
                line.remove(person)
        if person.started == 0:
            self.turn_away(person, t, pl.LOST_WASHER_WAIT)
            return
        left = sum(person.waiting)
        person.waiting, person.lost = [0, 0, 0, 0], pl.LOST_WASHER_WAIT
        person.pile -= person.pile * left // (left + person.started)
        person.min_loads = max(0, person.min_loads - left)
        person.unwashed -= left
        if person.unwashed == 0:
            self.to_pockets(person, t)

    # --- washers

    def start_washer(self, x: int, person: Person, t: Tick) -> None:
        u = chance.field(person.bits(pl.PLACE_WASH + person.started), 40, 24)
        person.started += 1
        self.washer_person[x] = person
        self.count.totals["washed"] += 1
        if person.stream != pl.STREAM_DROP:
            self.count.wait(0, person.joined, t)
        cycle = next(k.cycle_s for k in self.store.washers if k.size - 1 == self.washers[x])
        self.put(pl.FIRST_WASHER + x, t + self.draws.ticks(cycle, u), ("wash", x))

    def start_washes(self, person: Person, t: Tick, keep: int) -> int:
        started = 0
        for size in range(4):
            for z in range(size, 4):
                while person.waiting[size] and self.free_washers[z] and sum(map(len, self.free_washers)) > keep:
                    person.waiting[size] -= 1
                    self.start_washer(self.free_washers[z].pop(), person, t)
                    started += 1
        return started

    def on_wash(self, t: Tick, x: int) -> None:
        person = self.washer_person[x]
        self.release_washer(x, t)
        if person is not None:
            person.unwashed -= 1
            if person.unwashed == 0:
                self.to_pockets(person, t)

    def release_washer(self, x: int, t: Tick) -> None:
        heads = [(line[0].joined, size) for size, line in enumerate(self.washer_lines[: self.washers[x] + 1]) if line]
        if not heads:
            self.free_washers[self.washers[x]].append(x)
            if self.drop_wash:
                self.start_drop_off(t)
            return
        size = min(heads)[1]
        person = self.washer_lines[size][0]
        person.waiting[size] -= 1
        if person.waiting[size] == 0:
            self.washer_lines[size].pop(0)
            if not any(person.waiting):
                self.waiting_w.remove(person)
                self.settle(person)
        self.start_washer(x, person, t)

    def start_drop_off(self, t: Tick) -> None:
        if not self.attended(t):
            return
        keep = self.store.staff.keep_free
        while self.drop_wash and not self.waiting_w:
            person = self.drop_wash[0]
            self.start_washes(person, t, keep)
            if any(person.waiting):
                break
            self.drop_wash.pop(0)
        while self.drop_dry and not self.pocket_line and len(self.free) > keep:
            person = self.drop_dry[0]
            self.take(min(self.free), person, t)
            if person.pile == 0:
                self.drop_dry.pop(0)

    # --- pockets

    def to_pockets(self, person: Person, t: Tick) -> None:
        person.joined = t
        if person.pile == 0:
            self.depart_if_done(person)
        elif person.stream == pl.STREAM_DROP:
            self.drop_dry.append(person)
            self.start_drop_off(t)
        elif self.free:
            self.choose(person, t)
            if person.pile:
                self.join_pocket_line(person, t)
        else:
            most = self.draws.at(
                self.store.visits.pocket_line_max, chance.field(person.bits(pl.PLACE_LIMITS), 16, 16), 1.0
            )
            if len(self.pocket_line) >= int(most):
                person.pile, person.lost = 0, pl.LOST_POCKET_LINE
                self.depart_if_done(person)
            else:
                self.join_pocket_line(person, t)

    def join_pocket_line(self, person: Person, t: Tick) -> None:
        self.pocket_line.append(person)
        u = chance.field(person.bits(pl.PLACE_PATIENCE), 32, 32)
        self.due(person, pl.IN_POCKET_LINE, t + self.draws.ticks(self.store.visits.patience_pocket_s, u))
        delay, left = self.empty_delay(t), person.min_loads
        for p, drum in enumerate(self.drums):
            if left <= 0 or delay is None:
                break
            if drum.left and drum.stop <= t and self.out_at[p] > t + delay:
                self.put_out(p, t + delay)
                left -= 1

    def empty_delay(self, t: Tick) -> Tick | None:
        s = self.store.staff
        seconds = s.empty_after_s if self.attended(t) else s.others_empty_after_s
        return ticks(seconds) if seconds >= 0 else None

    def loads_in(self, person: Person, bank: int) -> int:
        return max(-(-person.pile // self.fill[bank]), person.min_loads)

    def choose(self, person: Person, t: Tick) -> None:
        """Side by side in one row, else the next free ones; of its own row those ahead first."""
        p0 = int(chance.field(person.bits(pl.PLACE_LIMITS), 32, 16) * len(self.drums))
        own = self.drums[p0].row
        order = self.rows[own:] + self.rows[:own]
        for row in order:
            n = self.loads_in(person, self.drums[row[0]].bank)
            runs = [p for p in row if all(q in self.free and q <= row[-1] for q in range(p, p + n))]
            runs = ([p for p in runs if p >= p0] if row is self.rows[own] else []) or runs
            if runs:
                for p in range(runs[0], runs[0] + n):
                    self.take(p, person, t)
                return
        for row in order:
            while person.pile:
                free = [p for p in row if p in self.free]
                free = ([p for p in free if p >= p0] if row is self.rows[own] else []) or free
                if not free:
                    break
                self.take(free[0], person, t)

    def take(self, p: int, person: Person, t: Tick) -> None:
        """The next even share of the pile into a pocket."""
        self.free.discard(p)
        bank = self.drums[p].bank
        grams = -(-person.pile // self.loads_in(person, bank))
        person.pile -= grams
        person.min_loads = max(0, person.min_loads - 1)
        person.drying += 1
        u = chance.field(person.bits(pl.PLACE_DRY + 64 * person.dry_next), 0, 16)
        if person.stream != pl.STREAM_DROP:
            self.count.wait(1, person.joined, t)
        self.start_drying(p, person, t, self.need(self.settings.banks[bank], grams, u, t))

    def need(self, bank: BankSetting, grams: int, u: float, t: Tick) -> Tick:
        masses, table = bank.need.load_kg, bank.need.need_s
        step = (masses[-1] - masses[0]) / (len(masses) - 1) if len(masses) > 1 else 1.0
        pos = min(max((grams - masses[0] * 1000) * (1.0 / (step * 1000)), 0.0), len(masses) - 1.0)
        i, kind = int(pos), int(u * len(table[0]))
        low, high = table[i][kind] * pl.SECOND, table[min(i + 1, len(masses) - 1)][kind] * pl.SECOND
        week = (self.store.first_week - 1 + t // pl.WEEK) % pl.SEASON
        return int((low + (high - low) * (pos - i)) * bank.need.season[week % len(bank.need.season)] + 0.5)

    def pieces(self, key: int, bank: int, need: Tick, left: Tick) -> int:
        b, coin = self.store.buying, self.settings.banks[bank].coin
        each = ticks(coin.piece_time_s)
        belief = self.draws.at(b.belief, chance.field(chance.draw(key, 0), 16, 24), 1.0)
        want = int(need * belief + 0.5) + (ticks(coin.cool_down_s) if coin.cool_down_inside else 0) - left
        least, base = (0, 0) if left else (coin.start_pieces, ticks(coin.first_time_s))
        n = least + max(0, -(-(want - base) // each))
        bits = chance.draw(key, 1)
        if not left and chance.field(bits, 0, 16) < b.habit_frac:
            n = coin.start_pieces + int(self.draws.at(b.habit_extra_pieces, chance.field(bits, 16, 16), 1.0))
        if b.overbuy_pieces and chance.field(bits, 32, 16) < b.overbuy_frac:
            n += b.overbuy_pieces
        limit = ticks(coin.limit_s) if coin.limit_s else pl.LATEST
        return min(n, max(least, least + (limit - left - base) // each))

    def start_drying(self, p: int, person: Person, t: Tick, need: Tick) -> None:
        drum, coin = self.drums[p], self.settings.banks[self.drums[p].bank].coin
        key = (person.key + (pl.PLACE_DRY + 64 * person.dry_next) * chance.GOLDEN) & chance.MASK
        person.dry_next += 1
        start = t + self.draws.ticks(self.store.buying.transfer_s, chance.field(chance.draw(key, 0), 40, 24))
        left = max(0, drum.paid - start)
        n = self.pieces(key, drum.bank, need, left)
        bought = n * ticks(coin.piece_time_s)
        if not left:
            bought += ticks(coin.first_time_s) - coin.start_pieces * ticks(coin.piece_time_s)
        inside = ticks(coin.cool_down_s) if coin.cool_down_inside else 0
        heat_end = max(start, start + left + bought - inside)
        look, early = heat_end, start + need + ticks(self.store.buying.early_margin_s)
        if early < heat_end and chance.field(chance.draw(key, 1), 48, 16) < self.store.buying.early_frac:
            look = early
        drum.person, drum.phase, drum.start, drum.heat_end = person, pl.RUNNING, start, heat_end
        drum.dry_at, drum.key, drum.round, drum.taken = start + need, key, 0, t
        self.count.totals["loads"] += 1
        self.sell(p, person, n, bought, t, starts=1)
        self.put_out(p, look)

    def sell(self, p: int, person: Person, n: int, bought: Tick, t: Tick, starts: int = 0) -> None:
        name = "house_pieces" if person.stream == pl.STREAM_DROP else "pieces"
        self.count.totals[name] += n
        meter = self.count.meters[t // pl.WEEK, p]
        meter[name] += n
        meter["sold_ticks"] += bought
        meter["starts"] += starts

    def put_out(self, p: int, tick: Tick) -> None:
        self.out_at[p] = tick
        self.put(pl.FIRST_WASHER + len(self.washers) + p, tick, ("drum", p))

    def on_drum(self, t: Tick, p: int) -> None:
        drum = self.drums[p]
        if drum.phase != pl.RUNNING:
            self.taken_out(p, t)
        elif t < drum.heat_end:
            coin = self.settings.banks[drum.bank].coin
            drum.paid = drum.heat_end + (ticks(coin.cool_down_s) if coin.cool_down_inside else 0)
            self.count.totals["early"] += 1
            self.book_run(p, t, t, t)
            self.taken_out(p, t)
        elif drum.dry_at <= t or not self.top_up(p, t):
            self.count.totals["damp"] += drum.dry_at > t
            self.wind_down(p, t)

    def top_up(self, p: int, t: Tick) -> bool:
        drum, b = self.drums[p], self.store.buying
        coin, house = self.settings.banks[drum.bank].coin, drum.owner().stream == pl.STREAM_DROP
        u = chance.field(chance.draw(drum.key, 3 + drum.round), 0, 32)
        if drum.round >= 60 or (u >= b.top_up_frac and not house):
            return False
        each = ticks(coin.piece_time_s)
        n = -(-(drum.dry_at - t) // each)
        n = n if house else min(n, b.top_up_pieces_max)
        inside = ticks(coin.cool_down_s) if coin.cool_down_inside else 0
        limit = ticks(coin.limit_s) if coin.limit_s else pl.LATEST
        n = max(1, min(n, (limit - inside) // each))
        drum.round, drum.heat_end = drum.round + 1, t + n * each
        self.count.totals["top_ups"] += 1
        self.sell(p, drum.owner(), n, n * each, t)
        self.put_out(p, drum.heat_end)
        return True

    def wind_down(self, p: int, t: Tick) -> None:
        """Cool-down, then the owner takes the load out, now or after being away."""
        drum, b = self.drums[p], self.store.buying
        stop = drum.heat_end + ticks(self.settings.banks[drum.bank].coin.cool_down_s)
        drum.paid, drum.phase, drum.stop = 0, pl.ENDING, stop
        self.book_run(p, drum.heat_end, stop, t)
        bits, out = chance.draw(drum.key, 2), stop
        if drum.owner().stream != pl.STREAM_DROP and chance.field(bits, 0, 16) < b.away_frac:
            out = stop + self.draws.ticks(b.away_s, chance.field(bits, 32, 32))
            delay = self.empty_delay(t)
            if self.pocket_line and delay is not None:
                out = min(out, stop + delay)
            drum.left = True
            self.count.totals["left"] += 1
        if out == t:
            self.taken_out(p, t)
        else:
            self.put_out(p, out)

    def book_run(self, p: int, heat_end: Tick, stop: Tick, t: Tick) -> None:
        start, meter = self.drums[p].start, self.count.meters[t // pl.WEEK, p]
        meter["motor_ticks"] += max(0, stop - start)
        meter["heated_ticks"] += max(0, heat_end - start)
        self.count.totals["heated_ticks"] += max(0, heat_end - start)
        self.count.span("heated", start, heat_end)

    def count_taken(self, p: int, t: Tick) -> None:
        since = self.drums[p].taken
        self.count.span("taken", since, t)
        self.count.totals["taken_ticks"] += t - since
        self.count.meters[t // pl.WEEK, p]["taken_ticks"] += t - since

    def taken_out(self, p: int, t: Tick) -> None:
        drum = self.drums[p]
        person = drum.owner()
        self.count_taken(p, t)
        drum.left, drum.phase = False, pl.EMPTY
        person.drying -= 1
        self.release_pocket(p, t)
        self.depart_if_done(person)

    def release_pocket(self, p: int, t: Tick) -> None:
        self.drop(("drum", p))
        if self.drums[p].down:
            return
        if self.moved:
            self.start_drying(p, *self._moved_first(t))
        elif self.pocket_line:
            person = self.pocket_line[0]
            self.take(p, person, t)
            if person.pile == 0:
                self.pocket_line.pop(0)
                self.settle(person)
        else:
            self.free.add(p)
            if self.drop_dry:
                self.start_drop_off(t)

    def _moved_first(self, t: Tick) -> tuple[Person, Tick, Tick]:
        person, missing = self.moved.pop(0)
        return person, t, missing

    # --- breakdowns and plans

    def break_u(self, p: int, n: int) -> float:
        key = chance.mix((self.keys[pl.STREAMS] + p * chance.GOLDEN) & chance.MASK)
        return chance.field(chance.draw(key, n), 11, 53)

    def on_break(self, t: Tick, p: int) -> None:
        drum, breaks = self.drums[p], self.store.breakdowns
        if breaks is None:
            return
        u, broke = self.break_u(p, drum.fails), drum.fails % 2 == 1
        drum.fails += 1
        span = breaks.repair_s if broke else breaks.between_s
        self.put(pl.SLOT_BREAK, t + self.draws.ticks(span, u), ("break", p))
        if not broke:
            self.comes_back(p, t)
            return
        self.count.totals["breakdowns"] += 1
        self.goes_down(p)
        if drum.phase == pl.RUNNING:
            self.interrupt(p, t)

    def goes_down(self, p: int) -> None:
        self.drums[p].down += 1
        self.free.discard(p)

    def comes_back(self, p: int, t: Tick) -> None:
        self.drums[p].down -= 1
        if self.drums[p].down == 0 and self.drums[p].phase == pl.EMPTY:
            self.release_pocket(p, t)

    def interrupt(self, p: int, t: Tick) -> None:
        drum, coin = self.drums[p], self.settings.banks[self.drums[p].bank].coin
        person, since = drum.owner(), max(t, drum.start)
        self.book_run(p, t, t, t)
        inside = ticks(coin.cool_down_s) if coin.cool_down_inside else 0
        unused = (drum.heat_end + inside - since) // ticks(coin.piece_time_s)
        if person.stream != pl.STREAM_DROP:
            self.count.totals["refunded" if self.attended(t) else "owed"] += unused
            if self.attended(t):
                self.count.meters[t // pl.WEEK, p]["refunded"] += unused
        self.count_taken(p, t)
        drum.phase, drum.paid = pl.EMPTY, 0
        self.drop(("drum", p))
        if drum.dry_at <= since:
            person.drying -= 1
            self.depart_if_done(person)
        elif self.free:
            first = min(self.free)
            self.free.discard(first)
            self.start_drying(first, person, t, drum.dry_at - since)
        else:
            self.moved.append((person, drum.dry_at - since))

    def on_plan(self, t: Tick, _n: int, kind: int, p: int) -> None:
        if kind == pl.PLAN_OUT:
            self.goes_down(p)
        elif kind == pl.PLAN_BACK:
            self.comes_back(p, t)
        elif kind == pl.PLAN_STAFF:
            self.start_drop_off(t)
        else:
            self.count.restart()
