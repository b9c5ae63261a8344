"""What is known of a bank beside its store file: fuel supplies, a trial's drum, need tables, watches, the room's air."""

from __future__ import annotations

from collections.abc import Callable

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.drying import NeedAxes, NeedMap, Pocket
from drybank.records.energy import RoomAir, RoomAirCost, Supply
from drybank.records.traffic import Settings as TrafficSettings
from drybank.records.traffic import Store as TrafficStore
from drybank.records.working import Assumption

HOURS_A_YEAR = 8760


class PlanWeek(msgspec.Struct, frozen=True, kw_only=True):
    """A watched week of the whole store: who comes and what stands there, which of its banks is planned, and what every
    bank of it is set to today (needed where it has more than one)."""

    store: TrafficStore
    bank: int = 0
    settings: TrafficSettings | None = None


class WatchSpan(msgspec.Struct, frozen=True, kw_only=True):
    """Customers counted at the door of the whole store from one hour of the week on (0 is Monday midnight), over a span."""

    from_hour: float
    hours: float
    customers: int


class PlanRoom(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """The conditioned room that a bank's dryers draw from, with a year of outdoor air, hour by hour from 1 January.

    temp_c (8760,) [°C]; humidity_kg_kg (8760,) or None [kg/kg]; ``first_weekday`` of the year's first day (0 is Monday).
    """

    room: RoomAir
    temp_c: NDArray[np.float64]
    humidity_kg_kg: NDArray[np.float64] | None
    pressure_pa: float
    source: str
    first_weekday: int = 0


class RoomAirTold(msgspec.Struct, frozen=True, kw_only=True):
    """The hidden cost of room air at today's and at the proposed settings, over a year; never part of a plan's margin.

    Weekly amounts are means over the year's weeks at the proposed settings, and over its coldest and warmest four weeks.
    """

    proposed: RoomAirCost
    today: RoomAirCost | None
    week_minor: float
    week_today_minor: float | None
    coldest_minor: float
    warmest_minor: float
    says: str
    assumptions: tuple[Assumption, ...] = ()


class PlanGiven(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """What a book adds to a store file for a plan; whatever is left out is taken from the store or assumed.

    ``supplies`` go before the store's own; ``drum`` is a pocket of the bank (calibrated, or from its plate) with what its
    making assumed; ``find_needs`` and ``find_band`` give a drum's need table and the range of its minutes, as
    `drybank.plan.gather.needs.table_of` and ``minutes_band`` do (a desk may keep them); ``watches`` customers counted.
    """

    supplies: tuple[Supply, ...] = ()
    drum: Pocket | None = None
    drum_assumed: tuple[Assumption, ...] = ()
    find_needs: Callable[[Pocket, tuple[float, ...], NeedAxes], NeedMap] | None = None
    find_band: Callable[[Pocket, NeedAxes, float, float], tuple[float, float]] | None = None
    watches: tuple[WatchSpan, ...] = ()
    week: PlanWeek | None = None
    room: PlanRoom | None = None
