"""Learning at the desk: what the book tells of changes, fuel, use and needs; kept on command; handed back to the plan."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final, NamedTuple
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from drybank.balance.audit.story import moment
from drybank.desk.learning_facts import COUNTED, WASHES, Change, changes_of, fuel_bills, timing_of
from drybank.desk.learning_loads import enter_timed as enter_timed
from drybank.desk.learning_loads import enter_weighed as enter_weighed
from drybank.desk.learning_loads import loads_seen, purchases_of
from drybank.desk.learning_plan import (
    LEAST_SEEN,
    NEED_NAME,
    SIGHT_WEEKS,
    WALK_AWAY,
    fuel_hour_j,
)
from drybank.desk.learning_plan import learned_for as learned_for
from drybank.desk.learning_plan import store_with_learned as store_with_learned
from drybank.desk.learning_plan import with_learned as with_learned
from drybank.desk.learning_words import answers, next_steps
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.learn import (
    Beside,
    Effect,
    Stakes,
    as_ranged,
    contrast,
    design,
    diversion,
    learn_fuel,
    learn_needs,
    learn_use,
    narrow,
    sight,
    store_move,
    weekly_use,
)
from drybank.records.entry import ValueLearned
from drybank.records.errors import DrybankError, InputError, NotIdentified
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.learn import (
    F64,
    ChangeSeen,
    Contrast,
    Diversion,
    Experiment,
    FuelLearned,
    Measure,
    Narrowed,
    NeedsLearned,
    Sight,
    StoreMove,
    UseLearned,
    WeeklyUse,
)
from drybank.records.plan import Ranged
from drybank.records.working import Assumption, Estimate, Interval

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.book.story import Told

MOST_WEEKS: Final = 12
MOST_AFTER: Final = 52
"""Weeks after a change over which the store's total is followed."""
LEAST_WEEKS: Final = 2
LEAST_BESIDE: Final = 26
"""Last weeks through which another store must have been read to stand beside."""
PAST_WEEKS: Final = 60


class Learned(msgspec.Struct, frozen=True, kw_only=True):
    """What a store's book tells today. ``could_keep`` are the values that `keep` would enter; nothing is entered here."""

    store: str
    name: str
    today: str
    changes: tuple[ChangeSeen, ...]
    sight: Sight | None
    fuel: FuelLearned | None
    use: UseLearned
    needs: NeedsLearned | None
    findings: tuple[Finding, ...]
    could_keep: tuple[ValueLearned, ...]
    kept: tuple[ValueLearned, ...]
    notes: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()


def learn(book: Book, store: str, pen: Pen, *, air_c: Sequence[float] = ()) -> Learned:
    """Everything the book tells of a store; ``air_c`` are mean outdoor temperatures of the twelve months, where known."""
    if len(air_c) not in (0, 12) or not all(-60 <= t <= 60 for t in air_c):
        raise InputError("Outdoor air wants twelve monthly means in °C.", where="--air", allowed="-60 to 60 each")
    when = pen.clock()
    laid = layout_at(book, store, when)
    story = book.story(store, until=when + timedelta(microseconds=1))
    use = weekly_use(laid, story, at=_last_reading(story, when))
    loads, notes = loads_seen(book, laid, story, when)
    needs = None
    try:
        needs = learn_needs(loads)
    except NotIdentified as no:
        notes.append(f"Minutes needed: {no.sentence()}")
    fuel = _fuel(book, laid, story, pen, air_c)
    changes = _changes(book, laid, story, when)
    seen = _sight(use)
    made = Learned(
        store=store, name=laid.store.name, today=f"{when.astimezone(ZoneInfo(laid.store.time_zone)):%Y-%m-%d}",
        changes=changes, sight=seen, fuel=fuel, use=learn_use(use, timing=timing_of(laid, story), purchases=purchases_of(story)), needs=needs,
        findings=fuel.findings if fuel is not None else (), could_keep=(),
        kept=tuple(learned_for(book, store, when).values()), notes=tuple(notes),
    )  # fmt: skip
    values = _values(made, laid, use)
    made = msgspec.structs.replace(made, could_keep=values)
    return msgspec.structs.replace(
        made, answers=answers(changes, fuel, made.use, needs),
        next_steps=next_steps(store, changes, fuel, needs, len(_fresh(made))),
    )  # fmt: skip


def _fresh(learned: Learned) -> list[ValueLearned]:
    same = {(v.name, v.at, v.value, v.data_to) for v in learned.kept}
    return [v for v in learned.could_keep if (v.name, v.at, v.value, v.data_to) not in same]


def keep(book: Book, learned: Learned, pen: Pen) -> tuple[str, ...]:
    """Enter what was learned, each value with its interval, method and the days of its data; what stands alike is left."""
    fresh = _fresh(learned)
    return tuple(b.entry.id for b in book.append([pen.entry(learned.store, v) for v in fresh])) if fresh else ()


def enter_washes(book: Book, store: str, period: str, washes: int, pen: Pen) -> str:
    """Washes counted over a month, a year or days (as `drybank bill` takes them): what tells a shared meter apart."""
    from drybank.desk.takings import period_of

    if not 0 <= washes <= 10**7:
        raise InputError(f"{washes} washes cannot be.", where="--washes", allowed="0 to 10,000,000")
    layout_at(book, store, pen.clock())
    first, last = period_of(period)
    body = ValueLearned(
        name=WASHES, value=float(washes), unit="washes", method=COUNTED, data_from=first.isoformat(), data_to=last.isoformat()
    )  # fmt: skip
    return book.append([pen.entry(store, body)])[0].entry.id


# ---------------------------------------------------------------- parts


def _last_reading(story: Sequence[Told], when: datetime) -> datetime:
    return max((t.happened for t in story if t.kind == "reading"), default=when)


def _known(weeks: F64, first: int, last: int) -> tuple[F64, int]:
    """Rows known over all of a span, and the first week from which all of them are known before it."""
    rows = np.isfinite(weeks[:, first:last]).all(axis=1)
    before = np.isfinite(weeks[rows, :first]).all(axis=0)
    gaps = np.flatnonzero(~before)
    return np.asarray(rows), int(gaps[-1]) + 1 if gaps.size else 0


def _sight(use: WeeklyUse) -> Sight | None:
    weeks = use.hours if np.isfinite(use.hours).any() else use.pieces
    last = weeks.shape[1]
    if last < LEAST_WEEKS or not weeks.size:
        return None
    rows, since = _known(weeks, max(0, last - PAST_WEEKS), last)
    clean = weeks[rows][:, since:]
    return sight(clean, changed=max(1, clean.shape[0] // 2)) if clean.shape[0] >= 2 else None


def sight_of(book: Book, store: str, when: datetime) -> Sight | None:
    """The smallest fall that a change here could show after 4, 8 and 12 weeks; None where too few weeks are known."""
    story = book.story(store, until=when + timedelta(microseconds=1))
    return _sight(weekly_use(layout_at(book, store, when), story, at=_last_reading(story, when)))


def _changes(book: Book, laid: Layout, story: Sequence[Told], when: datetime) -> tuple[ChangeSeen, ...]:
    events = [c for c in changes_of(laid, story) if c.at <= when]
    out: list[ChangeSeen] = []
    priors: dict[str, Ranged] = {}
    for i, event in enumerate(events):
        use = weekly_use(laid, story, at=event.at)
        span = _window(use, [e.at for e in events], i)
        seen = None if span is None else _change(book, laid, use, event, span, priors)
        if seen is not None:
            out.append(seen)
    return tuple(out)


class _Window(NamedTuple):
    """Weeks about a change: its own, those compared before and after, those of the store's total after, earlier changes."""

    at: int
    before: int
    after: int
    long: int
    others_at: tuple[int, ...]


def _window(use: WeeklyUse, changes: Sequence[datetime], i: int) -> _Window | None:
    """None where readings do not reach over two weeks on both sides, up to the changes next to it."""
    if not use.starts.size:
        return None
    weeks = [int(np.argmin(np.abs(use.starts - moment(c)))) for c in changes]
    at = weeks[i]
    if abs(use.starts[at] - moment(changes[i])) > 1.0:
        return None
    before, long = min(at, MOST_WEEKS), min(use.starts.size - at, MOST_AFTER)
    if i:
        before = min(before, int((changes[i] - changes[i - 1]).days // 7))
    if i + 1 < len(changes):
        long = min(long, int((changes[i + 1] - changes[i]).days // 7))
    after = min(long, MOST_WEEKS)
    return None if min(before, after) < LEAST_WEEKS else _Window(at, before, after, long, tuple(weeks[:i]))


def _change(
    book: Book, laid: Layout, use: WeeklyUse, event: Change, span: _Window, priors: dict[str, Ranged]
) -> ChangeSeen | None:  # fmt: skip
    """One change and what became of it; None where no control that was changed is known."""
    at, before, after = span.at, span.before, span.after
    mask = np.array([u in event.controls for u in use.units])
    contrasts: list[Contrast] = []
    moves: list[StoreMove] = []
    apart: Diversion | None = None
    narrowed: tuple[Narrowed, ...] = ()
    heard: Sight | None = None
    measures: tuple[Measure, ...] = ("pieces", "hours")
    for what in measures:
        rows, since = _known(use.of(what), at - before, at + after)
        weeks, mine = use.of(what)[rows][:, since:], mask[rows]
        if not weeks.size or not mine.any():
            continue
        place = at - since
        elsewhere = [k - since for k in span.others_at if since < k < at]
        move = store_move(weeks.sum(axis=0), at=place, before=before, after=span.long, what=what, others_at=elsewhere)
        moves.append(move)
        share = float(weeks[mine][:, place - before : place].sum() / weeks[:, place - before : place].sum())
        with suppress(NotIdentified):
            contrasts.append(contrast(weeks, list(mine), at=place, before=before, after=after, what=what))
            if what == "hours":
                apart = diversion(contrasts[-1], move, share=share)
        if what == "hours":
            narrowed = _narrowed(book, laid, event, move, share, priors)
            heard = sight(weeks[:, :place], changed=int(mine.sum()), what_weeks=(after,)) if len(mine) >= 2 else None
    if not moves:
        return None
    zone = ZoneInfo(laid.store.time_zone)
    return ChangeSeen(
        what=event.what, on=f"{event.at.astimezone(zone):%Y-%m-%d}", weeks_before=before, weeks_after=after,
        changed=tuple(u for u in use.units if u in event.controls),
        unchanged=tuple(u for u in use.units if u not in event.controls), contrasts=tuple(contrasts), store=tuple(moves),
        diversion=apart, narrowed=narrowed,
        sight=heard or Sight(rows=(), is_from_own_past=False, weeks_known=at, says="Too few controls were read to say what could be seen."),
    )  # fmt: skip


def _narrowed(
    book: Book, laid: Layout, event: Change, move: StoreMove, share: float, priors: dict[str, Ranged]
) -> tuple[Narrowed, ...]:
    """The walk-away price after a bank's new settings, by how the store's hours moved; each change goes on from the last."""
    if not event.bank or move.log_se is None or move.df is None:
        return ()
    try:
        prior, expected, rough = _answer_curve(book, laid, event, share)
    except DrybankError:
        return ()
    prior = priors.get(event.bank, prior)
    if not 0 < prior.low < prior.high:
        return ()
    made = narrow(
        WALK_AWAY, prior, expected, Effect(move.log_effect, move.log_se, move.df), model_se=rough,
        unit=f"minor {laid.store.currency}", seen=f"the store's hours, {event.what}",
    )  # fmt: skip
    priors[event.bank] = as_ranged(made, "the change before")
    return (made,)


Curve = Callable[[F64], F64]


def _answer_curve(book: Book, laid: Layout, event: Change, share: float) -> tuple[Ranged, Curve, Curve]:
    """The plan's own range of walk-away prices, and the log change of the store's hours that each would have brought.

    Whether those who leave bring the longest loads (as the plan takes it) or any loads is not known: the middle of both is
    taken, and half of what lies between them is how far it may be off.
    """
    from drybank.plan import plan_inputs, setting_of
    from drybank.plan.outcome import mean, meet
    from drybank.plan.search.problem import middle

    store = laid.store.key
    old = book.house_at(store, event.bank, event.at - timedelta(minutes=1))
    new = book.house_at(store, event.bank, event.at + timedelta(minutes=1))
    inputs = plan_inputs(laid.store, laid.sheets, event.bank, old)
    if inputs.today is None:
        raise NotIdentified("What stood before the change is not known.")
    before, after, world = inputs.today, setting_of(inputs, new), middle(inputs)

    def looked(walk: F64, pick: int) -> F64:
        spots = np.exp(np.linspace(math.log(walk[0]), math.log(walk[-1]), 41))
        rows = []
        for w in spots:
            here = world.but(walk_away_minor=float(w))
            one, other = (meet(inputs, s, here) for s in (before, after))
            long_go = mean(other, other.sold_s) / max(mean(one, one.sold_s), 1e-9)
            any_go = mean(other, other.is_dried * 1.0) / max(mean(one, one.is_dried * 1.0), 1e-9)
            two = [math.log(max(1e-6, 1 - share + share * r)) for r in (long_go, any_go)]
            rows.append(((two[0] + two[1]) / 2, abs(two[0] - two[1]) / 2))
        return np.asarray(np.interp(np.log(walk), np.log(spots), [r[pick] for r in rows]), np.float64)

    return inputs.price_answer.walk_away_minor, lambda w: looked(w, 0), lambda w: looked(w, 1)


def _fuel(book: Book, laid: Layout, story: Sequence[Told], pen: Pen, air_c: Sequence[float]) -> FuelLearned | None:
    asked = fuel_bills(laid, story, air_c)
    if asked is None:
        return None
    physics = _physics(book, laid, asked.fuel, asked.unit, pen)
    made = learn_fuel(
        asked.bills, fuel=asked.fuel, unit=asked.unit, is_shared=asked.is_shared, physics=physics, changes=asked.changes,
        at=laid.store.key,
    )  # fmt: skip
    if not asked.left_out:
        return made
    note = f"{asked.left_out} bills were left out: readings do not reach over their days, or their unit differs."
    return msgspec.structs.replace(made, notes=(*made.notes, note))


def _physics(book: Book, laid: Layout, fuel: str, unit: str, pen: Pen) -> Estimate:
    """Fuel of a motor hour by the drying runs, at today's settings where known; from the idle fire to the plate's input, assumed."""
    from drybank.desk.planning import inputs_of
    from drybank.energy import billed_joules

    bank = next(
        b.key for b in laid.store.banks
        if any(_burns(laid, p, fuel) for m in laid.machines.values() if m.bank == b.key for p in m.pockets)
    )  # fmt: skip
    inputs = inputs_of(book, laid.store.key, bank, pen)
    loads, supply = inputs.loads, inputs.costs.fuel_supply
    per = float(billed_joules(unit, supply)) if supply is not None else 3.6e6
    if inputs.today is not None:
        mean_w = fuel_hour_j(inputs) / 3600.0
    else:
        mean_w = float(np.average(loads.fuel_j[:, -1] / loads.need_s[:, -1], weights=loads.weight))
    plates = [p.plate.input_w for p in laid.pockets.values() if p.plate.input_w is not None]
    top_w = max([*plates, mean_w])
    idle_w = min(float(loads.fuel_over_w[-1]), mean_w)
    band = Interval(idle_w * 3600 / per, top_w * 3600 / per, "assumption")
    return Estimate(value=mean_w * 3600 / per, unit=f"{unit} an hour", assumption=band)


def _burns(laid: Layout, pocket: str, fuel: str) -> bool:
    from drybank.desk.learning_facts import FUELS

    return FUELS[laid.pockets[pocket].plate.fuel] == fuel


def _values(learned: Learned, laid: Layout, use: WeeklyUse) -> tuple[ValueLearned, ...]:
    """What could be kept: one value each, with its ends, unit, method and the days of its data."""
    out: list[ValueLearned] = []
    span = _span(use)
    for change in learned.changes:
        for n in change.narrowed:
            bank = change.what.removeprefix("new settings of bank ")
            out = [v for v in out if (v.name, v.at) != (WALK_AWAY, bank)]
            out.append(ValueLearned(name=WALK_AWAY, at=bank, value=n.value, low=n.low, high=n.high, unit=n.unit, data_from=span[0], data_to=span[1],
                                    method=f"belief (90 %) narrowed by the store's hours after {change.on}; before: {n.prior_low:.0f} to {n.prior_high:.0f}"))  # fmt: skip
    if learned.fuel is not None and learned.fuel.verdict == "learned":
        f = learned.fuel
        out.append(
            _value(
                "fuel per hour",
                learned.store,
                f.per_hour,
                f"least squares over {f.bills} {f.fuel} bills",
                (f.data_from, f.data_to),
            )
        )
    if learned.needs is not None:
        for q, e in learned.needs.quantiles:
            out.append(
                _value(
                    NEED_NAME.format(round(100 * q)),
                    "store",
                    e,
                    f"{learned.needs.loads} loads watched, timed or weighed",
                    span,
                )
            )
    for row in learned.sight.rows if learned.sight is not None else ():
        if row.weeks == SIGHT_WEEKS and row.store_frac is not None:
            how = "smallest fall of the total found four times in five, from its own past"
            least = Estimate(value=row.store_frac, unit="fraction", how="learned")
            out.append(_value(LEAST_SEEN, "store", least, how, span))
    out += [
        _value("use a week", a.at, a.total, "mean of the last eight weeks carried on", span)
        for a in learned.use.per_week if a.what == "hours"
    ]  # fmt: skip
    return tuple(out)


def _value(name: str, at: str, e: Estimate, method: str, span: tuple[str, str]) -> ValueLearned:
    ends = e.interval
    return ValueLearned(
        name=name, at=at, value=e.value, low=ends.low if ends else None, high=ends.high if ends else None, unit=e.unit,
        method=method, data_from=span[0], data_to=span[1],
    )  # fmt: skip


def _span(use: WeeklyUse) -> tuple[str, str]:
    if not use.starts.size:
        return "", ""
    first, last = (datetime.fromtimestamp(s * 86_400, ZoneInfo("UTC")) for s in (use.starts[0], use.starts[-1] + 7))
    return f"{first:%Y-%m-%d}", f"{last:%Y-%m-%d}"


# ---------------------------------------------------------------- experiments


def experiment(book: Book, store: str, pen: Pen, *, effect_frac: float) -> Experiment:
    """Which pockets to change for how long to see an effect of a given size, and what it may cost."""
    when = pen.clock()
    laid = layout_at(book, store, when)
    story = book.story(store, until=when + timedelta(microseconds=1))
    use = weekly_use(laid, story, at=_last_reading(story, when))
    if use.starts.size < LEAST_WEEKS:
        raise NotIdentified("The book holds fewer than two weeks of readings: read meters weekly first.")
    lost, how = _worst(book, laid, pen)
    stakes = Stakes(takings_minor_week=_takings(laid, use), worst_lost_frac=lost, how=how)
    made = design(store, use, stakes, effect_frac=effect_frac, beside=_beside(book, store, use, when))
    money = Assumption(
        name="takings at risk",
        taken="pieces of the last eight weeks at the smallest piece's worth",
        source="the counters",
    )
    return msgspec.structs.replace(made, assumed=(*made.assumed, money), currency=laid.store.currency)


def _beside(book: Book, store: str, use: WeeklyUse, when: datetime) -> Beside:
    """The book's other stores that were read through the last half year or more, by this store's own weeks."""
    names, rows = [], []
    for key in book.stores():
        if key == store:
            continue
        with suppress(DrybankError):
            laid = layout_at(book, key, when)
            story = book.story(key, until=when + timedelta(microseconds=1))
            told = weekly_use(laid, story, at=datetime.fromtimestamp(float(use.starts[0]) * 86_400, UTC))
            found = {round(float(t)): told.hours[:, i].sum() for i, t in enumerate(told.starts)}
            row = np.array([found.get(round(float(t)), np.nan) for t in use.starts])
            if np.isfinite(row[-LEAST_BESIDE:]).sum() > LEAST_BESIDE - 3:
                names.append(key)
                rows.append(row)
    return Beside(tuple(names), np.array(rows))


def _takings(laid: Layout, use: WeeklyUse) -> tuple[float, ...]:
    """Minor units a week of each control over the last weeks; NaN where not known."""
    out = []
    for i, key in enumerate(use.units):
        pieces = [x.piece_minor for x in laid.inputs.values() if x.control == key and x.piece_minor > 0]
        week = use.pieces[i, -8:]
        known = week[np.isfinite(week)]
        out.append(float(known.mean()) * min(pieces) if known.size and pieces else math.nan)
    return tuple(out)


def _worst(book: Book, laid: Layout, pen: Pen) -> tuple[float, str]:
    """Share of loads lost at the low end of walk-away prices if drying got a piece dearer; the worst of the banks."""
    from scipy.special import ndtr

    from drybank.desk.planning import inputs_of

    worst, how = 0.3, "assumed, no source"
    for bank in laid.store.banks:
        try:
            inputs = inputs_of(book, laid.store.key, bank.key, pen)
            answer, today = inputs.price_answer, inputs.today
            if today is None:
                continue
            from drybank.plan.outcome import normal_price

            price = normal_price(inputs, today) * today.piece_minor
            low = answer.walk_away_minor.low
            now, then = (ndtr(math.log(low / p) / answer.spread_frac) for p in (price, price + today.piece_minor))
            worst, how = (
                max(0.05, float(1 - then / now)),
                f"one piece dearer at the low end of walk-away prices ({answer.source})",
            )
        except DrybankError:
            continue
    return worst, how
