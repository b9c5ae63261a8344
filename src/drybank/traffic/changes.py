"""What one change does: the same customers met twice, and the difference with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from drybank.records.errors import InputError
from drybank.records.traffic import (
    HOURS,
    CoinBuying,
    Demand,
    Effect,
    OutSpan,
    Pocket,
    Settings,
    Store,
    WhatIf,
)
from drybank.traffic import places as pl
from drybank.traffic.assumed import assumptions
from drybank.traffic.result import LOST, Floats, estimate, ratio
from drybank.traffic.running import Counts

FIGURES = (
    ("customers served", "a week"),
    ("customers lost", "a week"),
    ("pieces put in", "a week"),
    ("loads that left damp", "a week"),
    ("mean wait for a pocket", "s"),
    ("share of pockets in use", "fraction"),
    ("hours of heat", "h a week"),
)


def _figures(store: Store, counts: Counts, weeks: int) -> list[Floats]:
    """Each figure of `FIGURES`, one value a replication."""
    lost = np.sum([counts.column(name) for name in LOST.values()], axis=0)
    wait = ratio(counts.column("pocket_wait_ticks"), counts.column("pocket_waits"))
    return [
        counts.column("served") / weeks,
        lost / weeks,
        counts.column("pieces") / weeks,
        counts.column("damp") / weeks,
        wait / pl.SECOND,
        counts.column("taken_ticks") / (weeks * pl.WEEK * len(store.pockets)),
        counts.column("heated_ticks") / (weeks * pl.HOUR),
    ]


def _variance_cut(before: Floats, after: Floats) -> float | None:
    """By how much meeting the same customers narrows the difference, against two separate runs."""
    apart = float(before.var() + after.var())
    together = float((after - before).var())
    return apart / together if together > 0 and math.isfinite(apart / together) else None


def difference(change: str, before: tuple[Store, Counts], after: tuple[Store, Counts], *, weeks: int) -> WhatIf:
    """Effects of a change from counts of the same seed and replications, ``weeks`` counted in each."""
    if len(before[1].totals) != len(after[1].totals):
        raise InputError("Before and after must have the same replications.")
    pairs = zip(FIGURES, _figures(*before, weeks), _figures(*after, weeks), strict=True)
    effects = tuple(
        Effect(
            name=name,
            before=estimate(a, unit),
            after=estimate(b, unit),
            difference=estimate(b - a, unit),
            variance_cut=_variance_cut(a, b),
        )
        for (name, unit), a, b in pairs
    )
    return WhatIf(change=change, effects=effects, assumptions=assumptions(after[0]))


def one_more_pocket(store: Store, bank: int = 0) -> Store:
    """The store with one more pocket, like the last of its bank, at the bank's end."""
    last = max((p for p, pocket in enumerate(store.pockets) if pocket.bank == bank), default=None)
    if last is None:
        raise InputError(f"The store has no bank {bank + 1}.")
    like = store.pockets[last]
    more = Pocket(name="one more", bank=bank, capacity_kg=like.capacity_kg)
    return msgspec.structs.replace(store, pockets=(*store.pockets[: last + 1], more, *store.pockets[last + 1 :]))


def one_pocket_broken(store: Store, name: str, *, from_s: float = 0.0, to_s: float | None = None) -> Store:
    """The store with one pocket out of service, for good unless ``to_s`` says when it is back."""
    if name not in {p.name for p in store.pockets}:
        raise InputError(f"The store has no pocket “{name}”.", allowed=", ".join(p.name for p in store.pockets))
    end = pl.MOST_WEEKS * 168 * 3600.0 if to_s is None else to_s
    pockets = tuple(
        msgspec.structs.replace(p, out=(*p.out, OutSpan(from_s, end))) if p.name == name else p for p in store.pockets
    )
    return msgspec.structs.replace(store, pockets=pockets)


def promotion(settings: Settings, hours: Sequence[int], factor: float) -> Settings:
    """Settings under which ``factor`` times as many customers come in the given hours of the week."""
    if any(not 0 <= h < HOURS for h in hours):
        raise InputError("An hour of the week lies between 0 and 167.")
    now = settings.demand.factor_by_hour or (1.0,) * HOURS
    chosen = set(hours)
    return msgspec.structs.replace(
        settings,
        demand=Demand(factor_by_hour=tuple(v * (factor if h in chosen else 1.0) for h, v in enumerate(now))),
    )


def price_change(settings: Settings, coins: Sequence[CoinBuying], demand_factor: float = 1.0) -> Settings:
    """Settings with another way of selling time on each bank, and the share of customers that then come."""
    if len(coins) != len(settings.banks):
        raise InputError(f"{len(coins)} prices for {len(settings.banks)} banks.")
    banks = tuple(msgspec.structs.replace(bank, coin=coin) for bank, coin in zip(settings.banks, coins, strict=True))
    return promotion(msgspec.structs.replace(settings, banks=banks), range(HOURS), demand_factor)
