"""Nouns of a store's week: who comes, what stands there, how time is bought, what came of it.

Times are seconds, masses kilograms, pieces whole numbers; hours of the week are 168
values, Monday 00:00 first, in the store's own time. Every mistake in a record is a
plain sentence when the store is simulated (`drybank.traffic.simulate`).
"""

from __future__ import annotations

from typing import Literal

import msgspec

from drybank.records.working import Assumption, Estimate

HOURS = 168  # hours of a week

Hours = tuple[float, ...]
SpreadKind = Literal["constant", "uniform", "exponential", "quantiles"]
LostReason = Literal["washer line too long", "washer wait", "pocket line too long", "pocket wait"]


class Spread(msgspec.Struct, frozen=True):
    """How a quantity scatters: one value, a low and a high, a mean, or equally spaced quantiles.

    ``quantiles`` holds 2 to 33 values, lowest first, at equal steps of probability from 0 to 1;
    values between are interpolated in a straight line.
    """

    kind: SpreadKind
    values: tuple[float, ...]


class Arrivals(msgspec.Struct, frozen=True, kw_only=True):
    """Customers an hour for each hour of the week, and a factor for each week of the year.

    ``season`` (1 to 53 values, week 1 first) multiplies ``by_hour``. ``drop_off_by_hour``
    are orders left for staff. Closed hours hold 0.
    """

    by_hour: Hours
    season: tuple[float, ...] = (1.0,)
    drop_off_by_hour: Hours = ()


class Visits(msgspec.Struct, frozen=True, kw_only=True):
    """What a customer brings and how long they put up with waiting.

    ``loads_share`` gives the share of customers with 1, 2, ... 5 wash loads; ``size_share`` the
    share of loads that need a washer of size 1 to 4. ``dry_only_frac`` come with
    wet things; ``wash_only_frac`` take theirs home wet. Shares of a whole add to 1.
    ``washer_line_max`` / ``pocket_line_max``: with that many customers waiting already, the customer
    turns away (rounded down; a spread over customers). ``patience_*_s``: waits that long, then goes.
    ``retry_frac`` of those turned away before a wash come again after ``retry_after_s``, up to
    ``retry_max`` times (residents of a house mostly do).
    """

    loads_share: tuple[float, ...]
    load_kg: tuple[Spread, ...]
    size_share: tuple[float, ...] = (1.0,)
    dry_only_frac: float = 0.0
    wash_only_frac: float = 0.0
    join_frac: float = 0.5
    washer_line_max: Spread = Spread("constant", (1e6,))
    pocket_line_max: Spread = Spread("constant", (1e6,))
    patience_washer_s: Spread = Spread("constant", (1e8,))
    patience_pocket_s: Spread = Spread("constant", (1e8,))
    retry_frac: float = 0.0
    retry_after_s: Spread = Spread("constant", (3600.0,))
    retry_max: int = 0


class Buying(msgspec.Struct, frozen=True, kw_only=True):
    """How customers buy drying time.

    ``belief``: the time a customer thinks the load needs, as a factor of what it does need.
    ``habit_frac`` ignore that and put in the start pieces and ``habit_extra_pieces`` (rounded
    down). ``overbuy_frac`` add ``overbuy_pieces``. When the heat ends on a damp load, ``top_up_frac`` add pieces
    until dry, at most ``top_up_pieces_max`` at a time; the others go home damp. ``early_frac``
    take a dry load out ``early_margin_s`` after it is dry and leave the time on the clock.
    ``away_frac`` are not there when the drum stops and come ``away_s`` later.
    ``transfer_s``: from taking a pocket to the drum's start.
    """

    belief: Spread = Spread("constant", (1.0,))
    habit_frac: float = 0.0
    habit_extra_pieces: Spread = Spread("constant", (0.0,))
    overbuy_frac: float = 0.0
    overbuy_pieces: int = 0
    top_up_frac: float = 1.0
    top_up_pieces_max: int = 1
    early_frac: float = 0.0
    early_margin_s: float = 0.0
    away_frac: float = 0.0
    away_s: Spread = Spread("constant", (0.0,))
    transfer_s: Spread = Spread("constant", (0.0,))


class WasherKind(msgspec.Struct, frozen=True, kw_only=True):
    """Washers of one size (1 small ... 4 large), alike in cycle time."""

    size: int
    count: int
    cycle_s: Spread


class OutSpan(msgspec.Struct, frozen=True):
    """From when to when a pocket is out of service, in seconds from the first Monday 00:00."""

    from_s: float
    to_s: float


class Pocket(msgspec.Struct, frozen=True, kw_only=True):
    """One drum. ``bank`` counts from 0; pockets stand in walking order within their bank."""

    name: str
    bank: int = 0
    capacity_kg: float = 10.0
    out: tuple[OutSpan, ...] = ()


class Staff(msgspec.Struct, frozen=True, kw_only=True):
    """Hours with staff and what they do.

    ``attended`` has 168 flags (empty: never). When customers wait, staff empty a stopped pocket
    after ``empty_after_s``; without staff other customers do after ``others_empty_after_s`` (negative: never).
    Drop-off loads start when staff are in, nobody waits and more than ``keep_free`` machines are free.
    """

    attended: tuple[bool, ...] = ()
    empty_after_s: float = -1.0
    others_empty_after_s: float = -1.0
    keep_free: int = 0


class Breakdowns(msgspec.Struct, frozen=True, kw_only=True):
    """Times between breakdowns of one pocket (calendar time in service) and times to repair."""

    between_s: Spread
    repair_s: Spread


class Store(msgspec.Struct, frozen=True, kw_only=True):
    """What stands in the store and who comes."""

    name: str
    arrivals: Arrivals
    visits: Visits
    buying: Buying
    washers: tuple[WasherKind, ...]
    pockets: tuple[Pocket, ...]
    fill_frac: float = 1.0
    staff: Staff = Staff()
    breakdowns: Breakdowns | None = None
    first_week: int = 1
    assumptions: tuple[Assumption, ...] = ()


class CoinBuying(msgspec.Struct, frozen=True, kw_only=True):
    """How pieces become seconds on one bank; the caller derives it from the control's sale rule.

    ``start_pieces`` buy ``first_time_s``; each further piece ``piece_time_s``. ``limit_s`` is the most
    the clock holds (0: no limit). The cool-down is part of the sold time (inside) or follows it.
    """

    start_pieces: int
    first_time_s: int
    piece_time_s: int
    limit_s: int = 0
    cool_down_s: int = 0
    cool_down_inside: bool = True


class NeedTable(msgspec.Struct, frozen=True, kw_only=True):
    """Seconds of heat until dry, by load and by equally likely kinds of load, at one bank's heat.

    ``need_s[i][k]`` belongs to ``load_kg[i]`` (equal steps, ascending) and kind k; loads between are
    interpolated in a straight line, loads outside take the nearest end. ``season`` multiplies by
    week of the year (outdoor air).
    """

    load_kg: tuple[float, ...]
    need_s: tuple[tuple[float, ...], ...]
    season: tuple[float, ...] = (1.0,)


class BankSetting(msgspec.Struct, frozen=True, kw_only=True):
    """What one bank is set to: how it sells time, and what loads need at its heat."""

    coin: CoinBuying
    need: NeedTable


class Demand(msgspec.Struct, frozen=True, kw_only=True):
    """What a setting does to who comes: a factor on arrivals for each hour of the week (empty: 1).

    Below 1 some of the same customers stay away; above 1 others join them.
    """

    factor_by_hour: Hours = ()


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """One setting of every bank, in the order of the banks."""

    banks: tuple[BankSetting, ...]
    demand: Demand = Demand()


class HourOfWeek(msgspec.Struct, frozen=True, kw_only=True):
    """What one hour of the week looks like, averaged over weeks and replications."""

    hour: int
    customers: float
    pockets_taken: float
    heated_s: float
    washer_wait_p50_s: float | None
    washer_wait_p95_s: float | None
    pocket_wait_p50_s: float | None
    pocket_wait_p95_s: float | None


class PocketWeek(msgspec.Struct, frozen=True, kw_only=True):
    """One pocket over an average week."""

    name: str
    pieces: float
    starts: float
    sold_s: float
    motor_s: float
    heated_s: float
    taken_frac: float


class Traffic(msgspec.Struct, frozen=True, kw_only=True):
    """What a store's weeks came to. Means are per week; intervals are over replications."""

    weeks: int
    replications: int
    seed: int
    events: int
    customers: Estimate
    served: Estimate
    lost: dict[LostReason, Estimate]
    loads_dried: Estimate
    loads_damp: Estimate
    pieces: Estimate
    refunded_pieces: Estimate
    washer_wait_mean_s: Estimate
    pocket_wait_mean_s: Estimate
    pocket_wait_p95_s: float | None
    pockets_taken_frac: Estimate
    heated_s: Estimate
    hours: tuple[HourOfWeek, ...]
    pockets: tuple[PocketWeek, ...]
    assumptions: tuple[Assumption, ...] = ()


class Effect(msgspec.Struct, frozen=True, kw_only=True):
    """What a change does to one figure: after minus before, with the same customers met."""

    name: str
    before: Estimate
    after: Estimate
    difference: Estimate
    variance_cut: float | None = None


class WhatIf(msgspec.Struct, frozen=True, kw_only=True):
    """One change and its effects per week."""

    change: str
    effects: tuple[Effect, ...]
    assumptions: tuple[Assumption, ...] = ()
