"""An invented history told as entries of a book: readings, boxes emptied, counts, deposits.

One store of a `History` is laid over a `Layout`: its pockets in the layout's order. What a pocket sells is
shared out over the inputs of its control; counters and meters show what their sheets let them show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np

from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Deposited,
    DeviceValue,
    Entry,
    PaidOut,
    PartReplaced,
    Pieces,
    PiecesCounted,
    PlanAdopted,
    ReadingTaken,
)
from drybank.records.errors import InputError
from drybank.records.ids import uuid7
from drybank.records.layout import Control, Layout
from drybank.records.sheet import HouseSettings
from drybank.trial.generator import History
from drybank.trial.world import Fault

ORIGIN = "trial"


@dataclass(frozen=True)
class Telling:
    """How the invented store is looked after. Times of day follow ``start``; shares are fractions of value."""

    start: datetime
    reader: str = "route"
    counter: str = "count"
    bags: Literal["pocket", "bank", "store"] = "pocket"
    method: Literal["machine", "hand", "weight"] = "machine"
    empty_every: int = 1
    minutes_before_emptying: float = 2.0
    hours_to_count: float = 20.0
    days_to_deposit: float = 2.0
    late_deposits: Mapping[int, float] = field(default_factory=dict)  # week -> days later than usual
    other_inputs: Mapping[str, float] = field(default_factory=dict)  # sheet's input -> share of value
    missed_readings: frozenset[tuple[str, int]] = frozenset()  # (machine, week)
    house: Mapping[str, HouseSettings] = field(default_factory=dict)
    enters_replacements: bool = True
    seed: int = 1


@dataclass
class _Week:
    """What one control took in one week, by input: pieces counted by counters, and dropped into boxes."""

    counted: dict[str, int]
    dropped: dict[str, int]


class _Teller:
    def __init__(self, layout: Layout, history: History, telling: Telling, store: int) -> None:
        self.layout, self.history, self.telling, self.store = layout, history, telling, store
        keys = list(layout.pockets)
        if len(keys) != history.pockets:
            raise InputError(
                f"The history has {history.pockets} pockets and the store has {len(keys)}.",
                where="trial",
                mend="Invent a history with as many pockets as the store.",
            )
        self.pocket = {k: i for i, k in enumerate(keys)}
        self.rng = np.random.default_rng(telling.seed)
        self.lines: list[tuple[datetime, str, AnyBody]] = []
        self.shown = {k: int(self.rng.integers(0, c.rolls_over_at)) for k, c in layout.counters.items()}
        self.minutes = {k: float(self.rng.uniform(2e4, 6e5)) for k in layout.meters}
        self.box: dict[str, dict[int, int]] = {k: {} for k in layout.boxes}
        self.foreign = dict.fromkeys(layout.boxes, 0)
        self.statement: dict[str, dict[str, int]] = {}
        self.walk = sorted(layout.machines.values(), key=lambda m: (m.place, m.key))
        self.ready: dict[str, list[str]] = {m.key: [] for m in self.walk}  # boxes that its machine is the last to feed
        order = {m.key: n for n, m in enumerate(self.walk)}
        for box in layout.boxes.values():
            owners = {layout.controls[layout.inputs[i].control].machine for i in box.inputs}
            if owners:
                self.ready[max(owners, key=order.__getitem__)].append(box.key)
        self.weeks = {c.key: self._weeks(c) for c in layout.controls.values()}

    # -- sharing a pocket's coins over its control's inputs -------------------------------------------------------

    def _weeks(self, control: Control) -> list[_Week]:
        mine = [i for i in self.layout.inputs.values() if i.control == control.key and i.means != "staff key"]
        if not mine:
            return []
        main = min((i for i in mine if i.box), key=lambda i: (i.piece_minor, i.key), default=mine[0])
        at = [self.pocket[p] for p in control.pockets]
        coins = self.history.coins[self.store, at].sum(axis=0)
        counter = self.history.counter[self.store, at].sum(axis=0)
        counted = self.history.counted[self.store, at].sum(axis=0)
        out = []
        for w in range(self.history.weeks):
            counts, drops = {main.key: int(counter[w])}, {main.key: int(counted[w])}
            for i in mine:
                share = self.telling.other_inputs.get(i.sheet_input, 0.0)
                if i.key == main.key or share <= 0:
                    continue
                per = max(1, i.piece_minor // max(1, main.piece_minor))
                most = min(counts[main.key], drops[main.key]) // per
                n = min(int(self.rng.binomial(int(coins[w]) // per, share)), most)
                counts[i.key] = drops[i.key] = n
                counts[main.key] -= n * per
                drops[main.key] -= n * per
            out.append(_Week(counts, drops))
        return out

    def add(self, when: datetime, by: str, body: AnyBody) -> None:
        self.lines.append((when, by, body))

    # -- one week ------------------------------------------------------------------------------------------------

    def faults_of(self, control: Control, week: int, kinds: Sequence[str]) -> list[Fault]:
        at = {self.pocket[p] for p in control.pockets}
        return [
            f for f in self.history.faults
            if f.kind in kinds and f.store == self.store and f.pocket in at and f.first_week == week
        ]  # fmt: skip

    def run(self, week: int, start: datetime) -> None:
        """A week's sales go into counters, meters, boxes and statements."""
        for control in self.layout.controls.values():
            weeks = self.weeks[control.key]
            if not weeks:
                continue
            took = weeks[week]
            self._count(control, took, week, start)
            for key, n in took.dropped.items():
                entry = self.layout.inputs[key]
                if entry.box:
                    box = self.box[entry.box]
                    box[entry.piece_minor] = box.get(entry.piece_minor, 0) + n
                elif entry.account:
                    account = self.statement.setdefault(entry.account, {})
                    account[key] = account.get(key, 0) + n
            rejects = int(self.history.rejects[self.store, [self.pocket[p] for p in control.pockets], week].sum())
            boxes = [self.layout.inputs[k].box for k in took.dropped if self.layout.inputs[k].box]
            if boxes:
                self.foreign[boxes[0]] += rejects
        for key, meter in self.layout.meters.items():
            hours = float(self.history.hours[self.store, self.pocket[meter.pocket], week])
            self.minutes[key] += 60.0 * hours * (0.9 if meter.counts == "heat" else 1.0)

    def _count(self, control: Control, took: _Week, week: int, start: datetime) -> None:
        exchanged = self.faults_of(control, week, ("reset", "swap"))
        middle = start + timedelta(days=3.4)
        last: list[DeviceValue] = []
        first: list[DeviceValue] = []
        for key, counter in self.layout.counters.items():
            if counter.control != control.key:
                continue
            step = sum(
                took.counted.get(i, 0) * (self.layout.inputs[i].piece_minor if counter.counts_value else 1)
                for i in counter.inputs
            )
            size = counter.rolls_over_at
            if exchanged:
                last.append(DeviceValue(device=key, shown=(self.shown[key] + step // 2) % size))
                self.shown[key] = int(exchanged[0].size) % size
                first.append(DeviceValue(device=key, shown=self.shown[key]))
                step -= step // 2
            self.shown[key] = (self.shown[key] + step) % size
        if exchanged and exchanged[0].kind == "swap" and self.telling.enters_replacements and last:
            body = PartReplaced(part="board", at=control.key, last=tuple(last), first=tuple(first))
            self.add(middle, self.telling.reader, body)

    # -- the visit -----------------------------------------------------------------------------------------------

    def _values(self, machine: str, week: int) -> tuple[DeviceValue, ...]:
        controls = [c for c in self.layout.controls.values() if c.machine == machine]
        mine = {c.key for c in controls}
        pockets = {p for c in controls for p in c.pockets}
        out = []
        for key, counter in self.layout.counters.items():
            if counter.control in mine:
                at = [self.pocket[p] for p in self.layout.controls[counter.control].pockets]
                slip = int(self.history.slips[self.store, at, week].sum())
                out.append(DeviceValue(device=key, shown=max(0, self.shown[key] + slip)))
        for key, meter in self.layout.meters.items():
            if meter.pocket in pockets:
                steps = int(self.minutes[key] / 60.0 * meter.per_hour) % meter.rolls_over_at
                out.append(DeviceValue(device=key, shown=steps))
        return tuple(out)

    def visit(self, week: int, when: datetime, *, empties: bool) -> None:
        """Read every machine in walking order, empty its boxes, count them later."""
        say = self.telling
        bags: dict[str, list[str]] = {}
        for n, machine in enumerate(self.walk):
            at = when + timedelta(minutes=4.0 * n)
            if (machine.key, week) not in say.missed_readings:
                self.add(at, say.reader, ReadingTaken(values=self._values(machine.key, week)))
            if not empties:
                continue
            for box in self.ready[machine.key]:
                bag = self._bag(box, week)
                bags.setdefault(bag, []).append(box)
                gap = timedelta(minutes=say.minutes_before_emptying)
                self.add(
                    at + gap,
                    say.reader,
                    BoxesEmptied(boxes=(box,), bag=bag, is_after_reading=gap.total_seconds() < 900),
                )
        if empties:
            self._count_bags(bags, when, week)

    def _bag(self, box: str, week: int) -> str:
        inputs = self.layout.boxes[box].inputs
        bank = self.layout.controls[self.layout.inputs[inputs[0]].control].bank
        name = {"pocket": box, "bank": bank, "store": self.layout.store.key}[self.telling.bags]
        return f"{name}-w{week}"

    def _count_bags(self, bags: Mapping[str, Sequence[str]], when: datetime, week: int) -> None:
        say = self.telling
        total, at = 0, when + timedelta(minutes=say.minutes_before_emptying, hours=say.hours_to_count)
        for n, (bag, boxes) in enumerate(bags.items()):
            pieces: dict[int, int] = {}
            foreign = 0
            for box in boxes:
                foreign += self.foreign[box]
                for v, k in self.box[box].items():
                    pieces[v] = pieces.get(v, 0) + k
                self.box[box], self.foreign[box] = {}, 0
            lines = tuple(Pieces(piece_minor=v, count=k) for v, k in sorted(pieces.items()) if v)
            total += sum(v * k for v, k in pieces.items())
            body = PiecesCounted(bag=bag, pieces=lines, method=say.method, foreign=foreign)
            self.add(at + timedelta(minutes=3.0 * n), say.counter, body)
        days = say.days_to_deposit + say.late_deposits.get(week, 0.0)
        self.add(at + timedelta(days=days), say.counter, Deposited(bags=tuple(bags), minor=total, slip=f"w{week}"))

    def settle(self, since: datetime, until: datetime) -> None:
        """Statements of cards and apps for a span of weeks."""
        for account, inputs in sorted(self.statement.items()):
            lines = tuple((k, n, n * self.layout.inputs[k].piece_minor) for k, n in sorted(inputs.items()))
            gross = sum(m for _, _, m in lines)
            body = PaidOut(
                account=account, period_from=f"{since:%Y-%m-%d}", period_to=f"{until - timedelta(days=1):%Y-%m-%d}",
                gross_minor=gross, fee_minor=round(gross * 0.05), paid_minor=gross - round(gross * 0.05), inputs=lines,
            )  # fmt: skip
            self.add(until + timedelta(days=3), self.telling.counter, body)
        self.statement = {}

    def tell(self) -> tuple[Entry, ...]:
        start = self.telling.start
        for bank, values in self.telling.house.items():
            body = PlanAdopted(bank=bank, values=values, from_date=f"{start - timedelta(days=30):%Y-%m-%d}")
            self.add(start - timedelta(days=30), self.telling.reader, body)
        self.visit(0, start, empties=True)
        settled = start
        for w in range(self.history.weeks):
            now = start + timedelta(days=7 * (w + 1))
            self.run(w, now - timedelta(days=7))
            self.visit(w + 1, now, empties=(w + 1) % self.telling.empty_every == 0)
            if (w + 1) % 4 == 0:
                self.settle(settled, now)
                settled = now
        return self._signed()

    def _signed(self) -> tuple[Entry, ...]:
        out = []
        ids = np.random.default_rng([self.telling.seed, self.store])
        for when, by, body in sorted(self.lines, key=lambda line: line[0]):
            stamp = int(when.timestamp() * 1000)
            out.append(
                Entry(
                    id=uuid7(stamp, ids.bytes(10)),
                    store=self.layout.store.key,
                    happened=when.astimezone(UTC),
                    by=by,
                    origin=ORIGIN,
                    body=body,
                )
            )
        return tuple(out)


def as_entries(layout: Layout, history: History, telling: Telling, *, store: int = 0) -> tuple[Entry, ...]:
    """Tell one store of an invented history as entries, oldest first.

    Raises `InputError` when the history has not as many pockets as the store, or the start has no time zone.
    The same history, layout and telling give the same entries, ids included.
    """
    if telling.start.tzinfo is None:
        raise InputError("The first visit needs a time zone.", where="trial")
    if telling.empty_every < 1:
        raise InputError("Boxes are emptied every so many weeks, one at least.", where="trial")
    return _Teller(layout, history, telling, store).tell()


_SAID = {
    "theft": "{p}: {s:.1f} % of the coins taken each week",
    "bursts": "{p}: {s:.1f} % of the coins taken on average, all in one week of four",
    "skim": "the whole store: {s:.1f} % of the coins taken at every pocket",
    "slugs": "{p}: {s:.1f} % of the pieces are not coins",
    "free": "{p}: runs {s:.1f} % of its hours unpaid",
    "double": "{p}: its counter counts {s:.1f} % of the pieces twice",
    "miss": "{p}: its counter misses {s:.1f} % of the pieces",
    "avoided": "{p}: loses {s:.1f} % of its loads",
}


def faults_in_words(layout: Layout, history: History, start: datetime, *, store: int = 0) -> tuple[str, ...]:
    """What was planted, one sentence each: to be kept beside an invented history, out of the book."""
    keys = list(layout.pockets)
    out = []
    for f in history.faults:
        if f.store != store:
            continue
        where = "the whole store" if f.pocket is None else f"pocket {keys[f.pocket]}"
        first = start + timedelta(days=7 * f.first_week)
        until = f" until {start + timedelta(days=7 * f.last_week):%d %b %Y}" if f.last_week else ""
        if f.kind in _SAID:
            what = _SAID[f.kind].format(p=where, s=100 * f.size)
        elif f.kind == "minutes":
            what = f"{where}: a coin buys {f.size:+g} min"
        elif f.kind == "typo":
            what = f"{where}: one counter reading written {f.size:+g} off"
        else:
            what = (
                f"{where}: counter {'reset to nothing' if f.kind == 'reset' else f'on another board from {f.size:g}'}"
            )
        out.append(f"{what}, from {first:%d %b %Y}{until}.")
    return tuple(out)
