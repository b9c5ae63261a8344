"""Invented stores for the tests: plain queues, and one with every rule at work."""

from __future__ import annotations

from msgspec import structs

from drybank.traffic import (
    Arrivals,
    BankSetting,
    Breakdowns,
    Buying,
    CoinBuying,
    NeedTable,
    OutSpan,
    Pocket,
    Settings,
    Spread,
    Staff,
    Store,
    Visits,
    WasherKind,
)

HOUR_S = 3600.0
FOREVER = Spread("constant", (1e8,))
ONE_KG = Spread("constant", (1.0,))


def steady(rate_hour: float) -> Arrivals:
    return Arrivals(by_hour=(rate_hour,) * 168)


def plain_setting(need_s: float = 60.0) -> BankSetting:
    """One-second pieces, so that time bought is the time needed rounded up to a second."""
    return BankSetting(
        coin=CoinBuying(start_pieces=1, first_time_s=1, piece_time_s=1),
        need=NeedTable(load_kg=(1.0,), need_s=((need_s,),)),
    )


def washer_queue(
    *, rate_hour: float, servers: int, service: Spread, line_max: float = 1e6, patience: Spread = FOREVER
) -> Store:
    """A store that is nothing but a line in front of washers; nobody dries."""
    visits = Visits(
        loads_share=(1.0,), load_kg=(ONE_KG,), wash_only_frac=1.0, patience_washer_s=patience,
        washer_line_max=Spread("constant", (line_max,)),
    )  # fmt: skip
    return Store(
        name="washers only", arrivals=steady(rate_hour), visits=visits, buying=Buying(),
        washers=(WasherKind(size=1, count=servers, cycle_s=service),), pockets=(Pocket(name="1"),),
    )  # fmt: skip


def pocket_queue(*, rate_hour: float, servers: int, line_max: float = 1e6, belief: Spread = ONE_KG) -> Store:
    """A store that is nothing but a line in front of pockets; all come with wet things.

    The need of every load is the same; ``belief`` scatters the time bought around it, nobody tops up.
    """
    visits = Visits(
        loads_share=(1.0,), load_kg=(ONE_KG,), dry_only_frac=1.0, pocket_line_max=Spread("constant", (line_max,))
    )
    return Store(
        name="pockets only", arrivals=steady(rate_hour), visits=visits,
        buying=Buying(belief=belief, top_up_frac=0.0), washers=(),
        pockets=tuple(Pocket(name=str(i + 1)) for i in range(servers)),
    )  # fmt: skip


def opening_hours(scale: float) -> tuple[float, ...]:
    """Customers an hour: seven to ten, two humps, busier at the week's end (invented)."""
    day = [0] * 7 + [3, 5, 7, 9, 9, 8, 6, 5, 5, 6, 8, 7, 5, 3, 2] + [0] * 2
    return tuple(scale * v * (1.6 if d >= 5 else 1.0) for d in range(7) for v in day)


def need_table(slow: float = 1.0) -> NeedTable:
    masses = (1.0, 4.0, 7.0, 10.0, 13.0)
    rows = tuple(tuple(slow * (500.0 + 170.0 * kg + 45.0 * k) for k in range(8)) for kg in masses)
    return NeedTable(load_kg=masses, need_s=rows, season=(1.05, 1.0, 0.95))


def busy_settings() -> Settings:
    first = CoinBuying(start_pieces=4, first_time_s=1440, piece_time_s=360, limit_s=5400, cool_down_s=120)
    second = CoinBuying(start_pieces=3, first_time_s=1080, piece_time_s=300, cool_down_s=180, cool_down_inside=False)
    return Settings(banks=(BankSetting(coin=first, need=need_table()), BankSetting(coin=second, need=need_table(0.8))))


def busy_store(scale: float = 1.3, pockets: int = 24, small: int = 14, large: int = 6) -> Store:
    """Every rule at work: two sizes, two banks, staff, orders, breakdowns, outages, people who turn away."""
    visits = Visits(
        loads_share=(0.35, 0.3, 0.2, 0.1, 0.05), size_share=(0.7, 0.3),
        load_kg=(Spread("uniform", (3.0, 7.0)), Spread("uniform", (7.0, 14.0))),
        dry_only_frac=0.06, wash_only_frac=0.04, join_frac=0.4,
        washer_line_max=Spread("uniform", (0.0, 6.0)), pocket_line_max=Spread("uniform", (0.0, 5.0)),
        patience_washer_s=Spread("exponential", (1500.0,)), patience_pocket_s=Spread("exponential", (900.0,)),
        retry_frac=0.5, retry_after_s=Spread("uniform", (1800.0, 9000.0)), retry_max=2,
    )  # fmt: skip
    buying = Buying(
        belief=Spread("quantiles", (0.5, 0.8, 0.95, 1.1, 1.5)), habit_frac=0.2,
        habit_extra_pieces=Spread("uniform", (0.0, 3.0)), overbuy_frac=0.1, overbuy_pieces=1, top_up_frac=0.9,
        top_up_pieces_max=2, early_frac=0.2, early_margin_s=60.0, away_frac=0.25,
        away_s=Spread("exponential", (500.0,)), transfer_s=Spread("uniform", (30.0, 90.0)),
    )  # fmt: skip
    half = pockets // 2
    drums = tuple(
        Pocket(
            name=str(i + 1), bank=int(i >= half), capacity_kg=9.0 if i < half else 14.0,
            out=(OutSpan(2 * 86400.0, 4 * 86400.0),) if i == 3 else (),
        )
        for i in range(pockets)
    )  # fmt: skip
    staff = Staff(
        attended=tuple(9 <= h % 24 < 17 for h in range(168)), empty_after_s=120.0, others_empty_after_s=600.0,
        keep_free=2,
    )  # fmt: skip
    drop = tuple(0.8 if 9 <= h % 24 < 15 else 0.0 for h in range(168))
    return Store(
        name="every rule", visits=visits, buying=buying, pockets=drums, staff=staff, fill_frac=0.8,
        arrivals=Arrivals(by_hour=opening_hours(scale), season=(1.0, 1.2, 0.9), drop_off_by_hour=drop),
        washers=(
            WasherKind(size=1, count=small, cycle_s=Spread("uniform", (1680.0, 2100.0))),
            WasherKind(size=2, count=large, cycle_s=Spread("uniform", (1800.0, 2400.0))),
        ),
        breakdowns=Breakdowns(
            between_s=Spread("exponential", (9 * 86400.0,)), repair_s=Spread("exponential", (86400.0,))
        ),
    )  # fmt: skip


def reduced_store(scale: float = 3.9, pockets: int = 24, washers: int = 20) -> Store:
    """Single loads, two lines in a row, nobody turns away: what a network of queues can express."""
    visits = Visits(loads_share=(1.0,), load_kg=(Spread("uniform", (3.0, 8.0)),))
    return Store(
        name="reduced", visits=visits, arrivals=Arrivals(by_hour=opening_hours(scale)),
        buying=Buying(belief=Spread("uniform", (0.8, 1.3)), top_up_frac=0.0),
        washers=(WasherKind(size=1, count=washers, cycle_s=Spread("uniform", (1680.0, 2100.0))),),
        pockets=tuple(Pocket(name=str(i + 1)) for i in range(pockets)),
    )  # fmt: skip


def reduced_settings() -> Settings:
    coin = CoinBuying(start_pieces=4, first_time_s=1440, piece_time_s=360)
    return Settings(banks=(BankSetting(coin=coin, need=need_table()),))


def timed_store(scale: float = 1.0) -> Store:
    """The store that is timed: every rule of `busy_store` but left orders, at a scale of machines and customers.

    1.0 is 24 pockets, 20 washers (14 small, 6 large) and about 347,000 events a year.
    """
    store = busy_store(1.0 * scale, pockets=round(24 * scale), small=round(14 * scale), large=round(6 * scale))
    arrivals = Arrivals(by_hour=store.arrivals.by_hour, season=store.arrivals.season)
    return structs.replace(store, arrivals=arrivals)
