"""THE sale rule: what a control does with pieces, doors, heats and power, event by event.

Plan, balance, traffic, sign and coin test all stand on `sell`. It knows nothing but the sheet, its values and the events;
time moves from event to event, so that a sale of hours costs no more than one of minutes.

Finer points that a sheet's words leave open, decided once here:

- Pieces of one `Paid` go in one after the other. The piece that reaches the start price starts the sale; those after it
  are pieces while time runs, and a cool-down has not begun at the very moment of a start.
- A sale begins with the door shut: money put in with it open starts the clock when it closes.
- Cool-down inside sold time is the end of the whole time bought. One after it begins when the sold time has run out.
- A time by value or a part of a piece is rounded down to whole seconds.
- Where drying is free a piece put in at rest starts the free time, and is then a piece while time runs.
- Power off takes no piece. With "time lost" the money held below the start price is lost as well.
- A cool-down that may end early at a temperature is counted at its full length.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Literal

from drybank.control.terms import is_free_at, piece_time, price_at, share_of_start, terms
from drybank.records.control import (
    DoorClosed,
    DoorOpened,
    Event,
    HeatChosen,
    InputTerms,
    Paid,
    PowerBack,
    PowerCut,
    Pressed,
    Sale,
    Span,
    SpanKind,
    Terms,
)
from drybank.records.errors import InputError
from drybank.records.sheet import ControlSheet, Values

DAY_S = 86_400
PIECES_AT_ONCE = 10_000
_TURNING: tuple[SpanKind, ...] = ("heat", "air", "cool", "anti-crease")


class _Money:
    """Pieces waiting below the start price, and what was carried over from the last sale."""

    def __init__(self, inputs: Mapping[str, InputTerms]) -> None:
        self.inputs = inputs
        self.paid, self.taken, self.refused, self.lost, self.held = (dict.fromkeys(inputs, 0) for _ in range(5))
        self.carried_minor, self.carried_share, self.carried_s = Fraction(0), Fraction(0), 0

    def progress(self, price: int | None) -> Fraction:
        """How much of a start is there; 1 is a start."""
        share, minor = self.carried_share, self.carried_minor
        for key, count in self.held.items():
            worth, part = share_of_start(self.inputs[key], price)
            share, minor = share + part * count, minor + worth * count
        return share + (minor / price if price else 0)

    @property
    def is_waiting(self) -> bool:
        return any(self.held.values())

    def drop(self) -> None:
        for key, count in self.held.items():
            self.lost[key] += count
        self.held = dict.fromkeys(self.held, 0)
        self.carried_minor, self.carried_share, self.carried_s = Fraction(0), Fraction(0), 0

    def take_held(self) -> dict[str, int]:
        """The held pieces become taken ones; what was carried is used up."""
        out, self.held = self.held, dict.fromkeys(self.held, 0)
        for key, count in out.items():
            self.taken[key] += count
        self.carried_minor, self.carried_share, self.carried_s = Fraction(0), Fraction(0), 0
        return out


class _Drum:
    """One pocket under one control: the clock, the phase, the tallies."""

    def __init__(self, terms: Terms, clock_s: int | None) -> None:
        self.terms, self.clock_s, self.now = terms, clock_s, 0
        self.money = _Money(terms.inputs)
        self.left = self.after = self.crease = self.turned = 0
        self.is_open = self.is_off = self.is_waiting_for_door = False
        self.heat, self.started_at, self.drop_at = terms.heat_at_start, -1, None
        self.sold = self.capped = self.forgone = self.free = self.motor = self.open_sold = 0
        self.cooled_sold = self.cooled_after = 0
        self.starts: list[int] = []
        self.spans: list[Span] = []
        self.seconds: dict[SpanKind, int] = {}

    drop_at: int | None

    # -- time ------------------------------------------------------------------------------------------------------

    @property
    def day_s(self) -> int | None:
        return None if self.clock_s is None else (self.clock_s + self.now) % DAY_S

    def stretch(self) -> tuple[SpanKind, int | None]:
        """What the drum does now, and for how long at most if nothing happens (None: for ever)."""
        busy = self.left > 0 or self.after > 0
        if self.is_off or self.is_waiting_for_door:
            return ("stopped" if busy else "idle"), None
        if self.is_open and busy:
            return ("stopped", None) if self.terms.door == "clock stops" else ("open", self.left or self.after)
        if self.left > 0:
            return self._sold_stretch()
        if self.after > 0:
            return "cool", self.after
        return ("anti-crease", self.crease) if self.crease > 0 and not self.is_open else ("idle", None)

    def _sold_stretch(self) -> tuple[SpanKind, int]:
        inside = self.terms.cool_down_s if self.terms.cool_down == "inside" else 0
        if self.left > inside:
            return ("heat" if self.heat else "air"), self.left - inside
        return "cool", self.left

    def advance(self, until: int) -> None:
        while self.now < until:
            self._expire()
            kind, most = self.stretch()
            ends = [until] + ([self.drop_at] if self.drop_at is not None else [])
            length = min(ends) - self.now
            self.step(kind, length if most is None else min(length, most))
        self._expire()

    def _expire(self) -> None:
        if self.drop_at is not None and self.now >= self.drop_at:
            self.money.drop()
            self.drop_at = None

    def step(self, kind: SpanKind, length: int) -> None:
        """Let ``length`` seconds of one state pass."""
        was_sold = self.left > 0
        heat = self.heat if kind == "heat" else 0
        last = self.spans[-1] if self.spans else None
        if last and (last.kind, last.heat, last.until_s) == (kind, heat, self.now):
            self.spans[-1] = Span(last.from_s, self.now + length, kind, heat)
        else:
            self.spans.append(Span(self.now, self.now + length, kind, heat))
        self.seconds[kind] = self.seconds.get(kind, 0) + length
        self._count(kind, length, was_sold)
        self.now += length
        self._run_down(kind, length)

    def _count(self, kind: SpanKind, length: int, was_sold: bool) -> None:
        if kind == "cool" and was_sold:
            self.cooled_sold += length
        elif kind == "cool":
            self.cooled_after += length
        elif kind == "open" and was_sold:
            self.open_sold += length
        if kind in _TURNING:
            self.motor += self._turning(self.turned + length) - self._turning(self.turned)
            self.turned += length
        else:
            self.turned = 0

    def _turning(self, seconds: int) -> int:
        """Seconds that the motor ran of the first so many of a stretch, with the rests of reversing left out."""
        run, rest = self.terms.run_s, self.terms.rest_s
        if run <= 0 or rest <= 0:
            return seconds
        return seconds // (run + rest) * run + min(seconds % (run + rest), run)

    def _run_down(self, kind: SpanKind, length: int) -> None:
        if kind in ("idle", "stopped"):
            return
        if kind == "anti-crease":
            self.crease -= length
        elif self.left > 0:
            self.left -= length
            if self.left == 0:
                self._sold_out()
        else:
            self.after -= length
            self.crease = self.terms.crease_s if self.after == 0 else 0

    def _sold_out(self) -> None:
        self.after = self.terms.cool_down_s if self.terms.cool_down == "after" else 0
        self.crease = 0 if self.after else self.terms.crease_s

    # -- money -----------------------------------------------------------------------------------------------------

    def is_cooling(self) -> bool:
        if self.left == 0:
            return self.after > 0
        inside = self.terms.cool_down == "inside" and self.left <= self.terms.cool_down_s
        return inside and self.now > self.started_at

    def pay(self, key: str) -> None:
        piece = self.terms.inputs[key]
        self.money.paid[key] += 1
        if self.is_off or self.terms.takes_no_pieces or piece.is_locked:
            self.money.refused[key] += 1
        elif self.is_cooling():
            self._pay_in_cool_down(key, piece)
        elif self.left > 0 or self.press():
            self._top_up(key, piece) if self.terms.top_up == "adds" else self._refuse(key)
        else:
            self._toward_start(key)

    def _pay_in_cool_down(self, key: str, piece: InputTerms) -> None:
        way = self.terms.coin_in_cool_down
        if way == "heats again":
            self._top_up(key, piece)
        elif way == "new sale":
            self._toward_start(key)
        else:
            self._refuse(key)

    def _refuse(self, key: str) -> None:
        self.money.refused[key] += 1

    def _top_up(self, key: str, piece: InputTerms) -> None:
        time_s = piece_time(piece, self.heat, is_top_up=True)
        limit = self.terms.top_up_limit_s
        if limit is not None and self.left + time_s > limit:
            if self.terms.at_limit == "refused":
                self._refuse(key)
                return
            fits = min(time_s, max(0, limit - self.left))
            self.capped += time_s - fits
            time_s = fits
        self.money.taken[key] += 1
        self._credit(time_s)

    def _credit(self, time_s: int) -> None:
        self.sold += time_s
        self.left += time_s
        if time_s and self.after:
            self.after = 0
        if time_s:
            self.crease = 0

    def _toward_start(self, key: str) -> None:
        self.money.held[key] += 1
        self.drop_at = None if self.terms.timeout_s is None else self.now + self.terms.timeout_s
        self.try_start(key)

    def try_start(self, last: str) -> None:
        """Start a sale if the money waiting reaches the price; ``last`` is the input of the piece that came last."""
        price = price_at(self.terms, self.heat, self.day_s)
        over = self.money.progress(price) - 1
        if over < 0:
            return
        piece, money = self.terms.inputs[last], self.money
        carried_s = money.carried_s
        pieces = money.take_held()
        extra = self._over_time(piece, over, price)
        if self.terms.start == "sum":
            whole = carried_s + sum(n * self._start_time(key) for key, n in pieces.items())
            time_s = whole if self.terms.over_payment == "time" else whole - min(extra, whole)
            room = None
        else:
            time_s = self.terms.first_time_s
            room = self.terms.top_up_limit_s
        if self.terms.over_payment == "held":
            money.carried_s = extra
            self._carry(piece, over, price)
        self._begin(time_s)
        if self.terms.start == "first time" and self.terms.over_payment == "time":
            fits = extra if room is None else min(extra, max(0, room - self.left))
            self.capped += extra - fits
            self._credit(fits)

    def _start_time(self, key: str) -> int:
        return piece_time(self.terms.inputs[key], self.heat, is_top_up=False)

    def _over_time(self, piece: InputTerms, over: Fraction, price: int | None) -> int:
        """Seconds that the money beyond the start is good for: that part of its piece's time."""
        worth, share = share_of_start(piece, price)
        whole = Fraction(worth, price) if price and worth else share
        part = over / whole if whole else Fraction(0)
        return int(part * piece_time(piece, self.heat, is_top_up=False))

    def _carry(self, piece: InputTerms, over: Fraction, price: int | None) -> None:
        if piece.start_pieces > 0 or not price:
            self.money.carried_share = over
        else:
            self.money.carried_minor = over * price

    def _begin(self, time_s: int) -> None:
        self.forgone += self.left
        self.left = self.after = self.crease = 0
        self.drop_at = None
        self.starts.append(self.now)
        self.started_at = self.now
        self.is_waiting_for_door = self.is_open
        self._credit(time_s)

    # -- the other events ------------------------------------------------------------------------------------------

    def press(self) -> bool:
        """The start button: gives the free time where drying is free, the power on and the drum at rest."""
        can = is_free_at(self.terms, self.day_s) and not self.is_off and self.left == 0 and self.after == 0
        if not can or self.terms.free_time_s == 0:
            return False
        self.free += self.terms.free_time_s
        self._begin(self.terms.free_time_s)
        return True

    def door(self, state: Literal["open", "shut"]) -> None:
        self.is_open = state == "open"
        self.crease = 0 if self.is_open else self.crease
        if not self.is_open:
            self.is_waiting_for_door = False

    def power(self, state: Literal["off", "on"]) -> None:
        self.is_off = state == "off"
        if self.is_off:
            self.crease = 0
        if self.is_off and self.terms.power_cut == "time lost":
            self.forgone += self.left
            self.left = self.after = 0
            self.is_waiting_for_door = False
            self.money.drop()
            self.drop_at = None

    def choose(self, heat: int) -> None:
        self.heat = heat
        last = next((key for key, n in self.money.held.items() if n), "")
        if last and not self.is_off and (self.left == 0 or self.is_cooling()):
            self.try_start(last)

    def happen(self, event: Event) -> None:
        match event:
            case Paid(input=key, pieces=pieces):
                for _ in range(pieces):
                    self.pay(key)
            case Pressed():
                self.press()
            case DoorOpened() | DoorClosed():
                self.door("open" if isinstance(event, DoorOpened) else "shut")
            case PowerCut() | PowerBack():
                self.power("off" if isinstance(event, PowerCut) else "on")
            case HeatChosen(heat=heat):
                self.choose(heat)

    def run_out(self) -> None:
        """Let all the time bought pass, if nothing holds it up."""
        while True:
            _kind, most = self.stretch()
            if most is None:
                self._expire()
                return
            self.advance(self.now + most)


def _check_events(terms: Terms, events: Sequence[Event]) -> None:
    before = 0
    for place, event in enumerate(events, 1):
        where = f"event {place}"
        if event.at_s < before:
            raise InputError(
                "An event lies before the one above it.", where=where, mend="Put the events in order of time."
            )
        before = event.at_s
        if isinstance(event, Paid) and event.input not in terms.inputs:
            raise InputError(f"“{event.input}” is not an input.", where=where, allowed=", ".join(terms.inputs))
        if isinstance(event, Paid) and not 0 <= event.pieces <= PIECES_AT_ONCE:
            raise InputError(f"{event.pieces} pieces at once.", where=where, allowed=f"0 to {PIECES_AT_ONCE:,}")
        if isinstance(event, HeatChosen) and event.heat < 0:
            raise InputError(f"There is no heat {event.heat}.", where=where, allowed="0 for none, or 1 and up")


def counts_of(sheet: ControlSheet, terms: Terms, accepted: Mapping[str, int]) -> dict[str, int]:
    """How far each counter moves for so many accepted pieces by input.

    One count for "pieces per count" pieces of an input; a counter of value moves by their worth in minor units over the
    same number. What is left of a count stays inside the control.
    """
    out: dict[str, int] = {}
    for counter in sheet.counters:
        total = 0
        for key in counter.inputs:
            piece = terms.inputs.get(key)
            if piece is not None:
                amount = accepted.get(key, 0) * (piece.worth_minor if counter.counts == "value" else 1)
                total += amount // piece.per_count
        out[counter.key] = total
    return out


def sell(
    sheet: ControlSheet,
    values: Values,
    events: Sequence[Event],
    *,
    worth: Mapping[str, int] | None = None,
    clock_s: int | None = None,
    until_s: int | None = None,
) -> Sale:
    """What a control with these values makes of these events.

    Parameters
    ----------
    sheet, values
        Its sheet; setting key -> whole number on the sheet's grid.
    events
        In order of time, from 0 s on; the drum begins at rest, shut, powered, with nothing paid.
    worth
        Minor units of one piece by sheet input, as the store has it.
    clock_s
        Second of the local day at 0 s. None: prices by hour and free hours are left out.
    until_s
        Stop here; None: when the time bought has run out, or after the last event.

    Raises
    ------
    InputError
        Values off their grids, an unknown input, events out of order.
    """
    return sell_on(terms(sheet, values, worth=worth), sheet, events, clock_s=clock_s, until_s=until_s)


def sell_on(
    terms: Terms,
    sheet: ControlSheet,
    events: Sequence[Event],
    *,
    clock_s: int | None = None,
    until_s: int | None = None,
) -> Sale:
    """`sell` for terms already read."""
    _check_events(terms, events)
    drum = _Drum(terms, clock_s)
    for event in events:
        if until_s is not None and event.at_s > until_s:
            break
        drum.advance(event.at_s)
        drum.happen(event)
    drum.run_out() if until_s is None else drum.advance(until_s)
    return _result(drum, sheet)


def _result(drum: _Drum, sheet: ControlSheet) -> Sale:
    money, seconds = drum.money, drum.seconds
    heated, aired = seconds.get("heat", 0), seconds.get("air", 0)
    ran_sold = heated + aired + drum.cooled_sold + drum.open_sold
    by_count = {"motor": drum.motor, "sold time": ran_sold, "heat": heated}
    accepted = {key: n - money.refused[key] for key, n in money.paid.items()}
    busy = [span for span in drum.spans if span.kind not in ("idle", "stopped")]
    is_done = drum.left == 0 and drum.after == 0 and drum.crease == 0
    held_minor = money.carried_minor + sum(n * drum.terms.inputs[key].worth_minor for key, n in money.held.items())
    return Sale(
        sold_s=drum.sold,
        heated_s=heated,
        aired_s=aired,
        cooled_sold_s=drum.cooled_sold,
        cooled_after_s=drum.cooled_after,
        open_s=drum.open_sold,
        forgone_s=drum.forgone,
        left_s=drum.left,
        capped_s=drum.capped,
        free_s=drum.free,
        anti_crease_s=seconds.get("anti-crease", 0),
        motor_s=drum.motor,
        starts_s=tuple(drum.starts),
        ends_s=busy[-1].until_s if busy and is_done else None,
        paid=money.paid,
        taken=money.taken,
        refused=money.refused,
        held=money.held,
        lost=money.lost,
        held_minor=Fraction(held_minor),
        counts=counts_of(sheet, drum.terms, accepted),
        meters={m.key: by_count[m.counts] for m in sheet.meters},
        spans=tuple(drum.spans),
    )
