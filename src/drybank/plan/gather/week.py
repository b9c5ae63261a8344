"""A bank's share of the store's week, from the store file: who comes, when, with what, to which washers and pockets.

The week of the whole store is better where one has been watched; this one stands in until then, and says what it assumes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drybank.plan.gather.needs import BELIEF
from drybank.records.plan import F64, PlanLoads
from drybank.records.plan_given import WatchSpan
from drybank.records.store import Opening, Store
from drybank.records.store import Pocket as StorePocket
from drybank.records.traffic import Arrivals, Buying, Pocket, Spread, Visits, WasherKind
from drybank.records.traffic import Store as TrafficStore
from drybank.records.working import Assumption

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
BY_DAY = (1.0, 0.8, 0.8, 0.8, 0.9, 1.6, 1.7)
"""Customers of a day over the week's mean (assumed, no source)."""
BY_HOUR = (
    0.2,
    0.2,
    0.2,
    0.2,
    0.2,
    0.3,
    0.5,
    0.8,
    1.1,
    1.4,
    1.5,
    1.4,
    1.2,
    1.1,
    1.1,
    1.2,
    1.3,
    1.5,
    1.5,
    1.3,
    1.0,
    0.6,
    0.4,
    0.2,
)
"""Customers of an hour over the day's mean, where the store is open (assumed, no source)."""
LOADS_SHARE = (0.4, 0.35, 0.15, 0.07, 0.03)
"""Share of customers with 1, 2, ... 5 loads; mean 1.98 (assumed, no source)."""
MEAN_LOADS = float(np.dot(np.arange(1, 6), LOADS_SHARE))
PATIENCE_S = 1500.0
AWAY_FRAC, AWAY_S = 0.3, 300.0
WATCHED = "watches in the book"
SOURCE = "assumed, no source; watch customers for an hour to replace it"


LEAST_SEEN = 5
"""Customers that watches must have counted before they move the week."""
HOUR_SHAPE = 4.0
"""How firmly the stated shape of the week is held against counts of an hour: as if four customers had been counted there
(a spread of 50 % between hours as stated and as they are; assumed)."""


@dataclass(frozen=True)
class Counted:
    """The whole store's customers by hour of the week after watches, and the ends of their sum as factors (sampling)."""

    by_hour: tuple[float, ...]
    customers: int
    watches: int
    low_frac: float
    high_frac: float


def counted(watches: Sequence[WatchSpan], stated: F64) -> Counted | None:
    """A stated week (168,) with customers counted at the door laid over it; None where too few were counted.

    The height of the week is that of the counts, and each hour moves from its stated share towards what was counted in
    it: customers come as a Poisson stream whose rate lies about the stated one as a gamma variable of shape `HOUR_SHAPE`,
    so the rate after counting n where m were meant is (shape + n) / (shape + m) times the stated one. A count over
    several hours is shared as the stated week shares it.
    """
    seen = sum(w.customers for w in watches)
    covered, counts = np.zeros(168), np.zeros(168)
    for watch in watches:
        parts = _parts(watch)
        meant = sum(stated[h] * part for h, part in parts)
        for h, part in parts:
            covered[h] += part
            counts[h] += watch.customers * (stated[h] * part / meant if meant > 0 else part / watch.hours)
    meant = float((stated * covered).sum())
    if seen < LEAST_SEEN or meant <= 0.0:
        return None
    level = stated * (seen / meant)
    by_hour = level * (HOUR_SHAPE + counts) / (HOUR_SHAPE + level * covered)
    give = 1.96 / seen**0.5
    return Counted(tuple(float(v) for v in by_hour), seen, len(watches), max(0.05, 1.0 - give), 1.0 + give)


def _parts(watch: WatchSpan) -> list[tuple[int, float]]:
    """Hours of the week that a watch covers, with the part of each."""
    first, last = watch.from_hour, watch.from_hour + watch.hours
    return [
        (hour % 168, min(hour + 1.0, last) - max(float(hour), first))
        for hour in range(int(np.floor(first)), int(np.ceil(last)))
    ]


def shape_of(store: Store) -> F64:
    """The whole store's customers by hour of the week (168,) as its opening hours and loads say."""
    open_hours = _weights(store.hours)
    total = store.trade.loads_per_week or 40.0 * len(store.pockets)
    return np.asarray(open_hours / open_hours.sum() * total / MEAN_LOADS) if open_hours.sum() > 0 else open_hours


def week_of_bank(
    store: Store,
    bank: str,
    loads: PlanLoads,
    per_week: float,
    pockets: Sequence[StorePocket],
    watches: Sequence[WatchSpan],
) -> TrafficStore | None:
    """The bank's share of the week; None where the store gives no opening hours."""
    open_hours = _weights(store.hours)
    if open_hours.sum() <= 0:
        return None
    by_hour = open_hours / open_hours.sum() * per_week / MEAN_LOADS
    seen = counted(watches, shape_of(store))
    if seen is not None:
        by_hour = np.array(seen.by_hour) * len(pockets) / max(1, len(store.pockets))
    kinds = _washers(store, len(pockets))
    masses = tuple(float(v) for v in np.quantile(loads.load_kg, np.linspace(0.0, 1.0, 17)))
    return TrafficStore(
        name=f"{store.name}, {bank}",
        arrivals=Arrivals(by_hour=tuple(float(v) for v in by_hour)),
        visits=Visits(
            loads_share=LOADS_SHARE,
            load_kg=tuple(Spread("quantiles", masses) for _ in kinds),
            size_share=tuple(k.count / sum(k.count for k in kinds) for k in kinds),
            join_frac=0.0,
            patience_pocket_s=Spread("exponential", (PATIENCE_S,)),
            patience_washer_s=Spread("exponential", (PATIENCE_S,)),
        ),
        buying=Buying(
            belief=Spread("uniform", BELIEF), top_up_frac=1.0, top_up_pieces_max=2,
            away_frac=AWAY_FRAC, away_s=Spread("exponential", (AWAY_S,)), transfer_s=Spread("constant", (60.0,)),
        ),
        washers=kinds,
        pockets=tuple(Pocket(name=str(i + 1), capacity_kg=max(p.fill_kg, masses[-1])) for i, p in enumerate(pockets)),
        assumptions=_assumptions(seen),
    )  # fmt: skip


def _assumptions(seen: Counted | None) -> tuple[Assumption, ...]:
    """What of the week nobody said, and what watches said."""
    if seen is None:
        when = Assumption(name="when customers come", source=SOURCE,
                          taken="weekends near twice a weekday, late morning and early evening most")  # fmt: skip
    else:
        taken = f"{sum(seen.by_hour):.0f} a week, from {seen.customers} customers in {seen.watches} watches; the stated shape where nobody watched"
        when = Assumption(name="customers in all", taken=taken, source=WATCHED,
                          low=f"{100 * seen.low_frac:.0f} %", high=f"{100 * seen.high_frac:.0f} %")  # fmt: skip
    rest = (
        ("loads of a visit in the week's run", f"1 to 5, mean {MEAN_LOADS:.1f}"),
        ("patience in a line", f"{PATIENCE_S / 60:.0f} min on average"),
        ("owners away when the drum stops", f"{100 * AWAY_FRAC:.0f} %, {AWAY_S / 60:.0f} min on average"),
    )
    return (when, *(Assumption(name=name, taken=taken, source=SOURCE) for name, taken in rest))


def _weights(hours: tuple[Opening, ...]) -> F64:
    """Weights of the week's hours, 0 where the store is closed."""
    out = np.zeros(168)
    for opening in hours:
        first, last = _hour(opening.open), _hour(opening.close)
        span = last - first if last > first else last - first + 24.0
        for day in opening.days:
            at = 24 * DAYS.index(day) + first
            for hour in range(int(np.floor(at)), int(np.ceil(at + span))):
                part = min(hour + 1.0, at + span) - max(float(hour), at)
                place = hour % 168
                out[place] = max(out[place], part * BY_DAY[place // 24] * BY_HOUR[place % 24])
    return out


def _hour(text: str) -> float:
    """Hours of a clock time such as 06:30."""
    hour, _, minute = text.partition(":")
    return int(hour) + int(minute or 0) / 60.0


def _washers(store: Store, pockets: int) -> tuple[WasherKind, ...]:
    """The bank's share of the washers, at least one of each kind, four sizes at most; one a pocket where none is named."""
    if not store.washers:
        return (WasherKind(size=1, count=max(1, pockets), cycle_s=Spread("constant", (1800.0,))),)
    share = pockets / max(1, len(store.pockets))
    kinds = sorted(store.washers, key=lambda w: w.load_kg)[:4]
    return tuple(
        WasherKind(size=i + 1, count=max(1, round(w.number * share)), cycle_s=Spread("constant", (float(w.wash_s),)))
        for i, w in enumerate(kinds)
    )
