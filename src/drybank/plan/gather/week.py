"""A bank's share of the store's week, from the store file: who comes, when, with what, to which washers and pockets.

The week of the whole store is better where one has been watched; this one stands in until then, and says what it assumes.
"""

from __future__ import annotations

import numpy as np

from drybank.plan.gather.needs import BELIEF
from drybank.records.plan import F64, PlanLoads
from drybank.records.store import Opening, Store
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
PATIENCE_S = 1500.0
AWAY_FRAC, AWAY_S = 0.3, 300.0
SOURCE = "assumed, no source; watch customers for an hour to replace it"


def week_of_bank(
    store: Store, bank: str, loads: PlanLoads, per_week: float, pockets: int, fill_kg: float
) -> TrafficStore | None:
    """The bank's share of the week; None where the store gives no opening hours."""
    if not store.hours:
        return None
    open_hours = _weights(store.hours)
    if open_hours.sum() <= 0:
        return None
    mean_loads = float(np.dot(np.arange(1, 6), LOADS_SHARE))
    by_hour = open_hours / open_hours.sum() * per_week / mean_loads
    kinds = _washers(store, pockets)
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
        pockets=tuple(Pocket(name=str(i + 1), capacity_kg=max(fill_kg, masses[-1])) for i in range(pockets)),
        assumptions=tuple(
            Assumption(name=name, taken=taken, source=SOURCE)
            for name, taken in (
                ("when customers come", "weekends near twice a weekday, late morning and early evening most"),
                ("loads of a visit in the week's run", "1 to 5, mean 2.0"),
                ("patience in a line", f"{PATIENCE_S / 60:.0f} min on average"),
                ("owners away when the drum stops", f"{100 * AWAY_FRAC:.0f} %, {AWAY_S / 60:.0f} min on average"),
            )
        ),
    )  # fmt: skip


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
