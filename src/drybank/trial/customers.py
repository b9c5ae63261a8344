"""Histories whose use comes from simulated customers rather than from the balance's own model.

Customers come, wash, wait, buy what they believe they need, top up, leave early or late (`drybank.traffic`);
the books are then kept over their coins and motor hours as `generator` keeps them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drybank.records.errors import InputError
from drybank.records.traffic import (
    Arrivals,
    BankSetting,
    Breakdowns,
    Buying,
    CoinBuying,
    NeedTable,
    Settings,
    Spread,
    Store,
    Visits,
    WasherKind,
)
from drybank.records.traffic import Pocket as Drum
from drybank.traffic import METER_NAMES, history
from drybank.trial.generator import Floats, History, Ints, from_use
from drybank.trial.world import Fault, World

_PIECES, _MOTOR = METER_NAMES.index("pieces"), METER_NAMES.index("motor_ticks")
_TICKS_HOUR = 3.6e9  # a tick is a microsecond
_DAY = (0,) * 7 + (3, 5, 7, 9, 9, 8, 6, 5, 5, 6, 8, 7, 5, 3, 2) + (0,) * 2  # customers an hour, invented


def laundry(
    pockets: int, trade: float = 1.0, *, coin_minutes: float = 6.0, start_coins: int = 4
) -> tuple[Store, Settings]:
    """An invented store of one bank, and its setting; ``trade`` scales who comes (1: about 30 loads a pocket).

    Everything in it is an assumption of the trial; none was fitted to a store.
    """
    if pockets < 1 or trade <= 0:
        raise InputError("An invented laundry needs a pocket and some trade.", where="trial")
    scale = 0.31 * trade * pockets / 12.0
    hours = tuple(scale * v * (1.6 if day >= 5 else 1.0) for day in range(7) for v in _DAY)
    season = tuple(1.0 + 0.08 * float(np.sin(2 * np.pi * w / 52.0)) for w in range(52))
    visits = Visits(
        loads_share=(0.4, 0.3, 0.2, 0.1), size_share=(0.75, 0.25),
        load_kg=(Spread("uniform", (3.0, 7.0)), Spread("uniform", (6.0, 12.0))), dry_only_frac=0.05,
        wash_only_frac=0.04, patience_pocket_s=Spread("exponential", (1200.0,)),
    )  # fmt: skip
    buying = Buying(
        belief=Spread("quantiles", (0.6, 0.85, 1.0, 1.15, 1.5)), habit_frac=0.25,
        habit_extra_pieces=Spread("uniform", (0.0, 3.0)), overbuy_frac=0.1, overbuy_pieces=1, top_up_frac=0.9,
        top_up_pieces_max=2, early_frac=0.3, early_margin_s=60.0, away_frac=0.25,
        away_s=Spread("exponential", (500.0,)), transfer_s=Spread("uniform", (20.0, 80.0)),
    )  # fmt: skip
    store = Store(
        name="trial", arrivals=Arrivals(by_hour=hours, season=season), visits=visits, buying=buying,
        washers=(
            WasherKind(size=1, count=max(2, pockets), cycle_s=Spread("uniform", (1680.0, 2100.0))),
            WasherKind(size=2, count=max(1, pockets // 3), cycle_s=Spread("uniform", (1800.0, 2400.0))),
        ),
        pockets=tuple(Drum(name=str(k + 1), capacity_kg=12.0) for k in range(pockets)),
        breakdowns=Breakdowns(
            between_s=Spread("exponential", (120 * 86400.0,)), repair_s=Spread("exponential", (86400.0,))
        ),
    )  # fmt: skip
    need = NeedTable(
        load_kg=(1.0, 4.0, 7.0, 10.0, 13.0),
        need_s=tuple(tuple(600.0 + 160.0 * kg + 50.0 * k for k in range(8)) for kg in (1.0, 4.0, 7.0, 10.0, 13.0)),
        season=tuple(1.0 - 0.04 * float(np.sin(2 * np.pi * w / 52.0)) for w in range(52)),
    )
    each = round(60 * coin_minutes)
    coin = CoinBuying(start_pieces=start_coins, first_time_s=start_coins * each, piece_time_s=each, cool_down_s=120)
    return store, Settings(banks=(BankSetting(coin=coin, need=need),))


def from_customers(
    stores: Sequence[tuple[Store, Settings]],
    world: World | None = None,
    *,
    weeks: int,
    seed: int,
    faults: Sequence[Fault] = (),
) -> History:
    """Simulate every store's weeks and keep the books over them.

    All stores must have as many pockets. The same seed gives the same history. Raises `InputError`.
    """
    if not stores or len({len(s.pockets) for s, _ in stores}) != 1:
        raise InputError("Histories of customers need one or more stores with as many pockets each.", where="trial")
    told = [history(store, settings, weeks=weeks, seed=seed * 10_007 + k) for k, (store, settings) in enumerate(stores)]
    meters = np.stack(told).transpose(0, 2, 1, 3)  # (store, pocket, week, meter)
    coins: Ints = meters[:, :, :, _PIECES].astype(np.int64)
    hours: Floats = meters[:, :, :, _MOTOR] / _TICKS_HOUR
    return from_use(coins, hours, world, seed=seed, faults=faults)
