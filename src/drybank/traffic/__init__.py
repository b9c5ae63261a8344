"""A store's week, customer by customer: washers, pockets, coins, waits, and what a change does.

simulation   the front door: simulate, what_if, history; changes makes the usual changes
packing      records to the kernel's arrays; checks says what cannot stand
running      replications in turn, on threads, on a cluster; result makes the readable week
reference    the same week in plain Python, for the tests and for the reader
week/        the compiled week (calendar, people, buying, staff, machines, due, kernel)
chance       draws by random access: every setting meets the same customers
places       addresses and names of everything counted; assumed lists what is taken for granted
"""

from drybank.records.traffic import (
    Arrivals,
    BankSetting,
    Breakdowns,
    Buying,
    CoinBuying,
    Demand,
    Effect,
    HourOfWeek,
    NeedTable,
    OutSpan,
    Pocket,
    PocketWeek,
    Settings,
    Spread,
    Staff,
    Store,
    Traffic,
    Visits,
    WasherKind,
    WhatIf,
)
from drybank.traffic.changes import one_more_pocket, one_pocket_broken, price_change, promotion
from drybank.traffic.running import Counts, Work
from drybank.traffic.simulation import METER_NAMES, history, simulate, simulate_counts, what_if

__all__ = [
    "METER_NAMES",
    "Arrivals",
    "BankSetting",
    "Breakdowns",
    "Buying",
    "CoinBuying",
    "Counts",
    "Demand",
    "Effect",
    "HourOfWeek",
    "NeedTable",
    "OutSpan",
    "Pocket",
    "PocketWeek",
    "Settings",
    "Spread",
    "Staff",
    "Store",
    "Traffic",
    "Visits",
    "WasherKind",
    "WhatIf",
    "Work",
    "history",
    "one_more_pocket",
    "one_pocket_broken",
    "price_change",
    "promotion",
    "simulate",
    "simulate_counts",
    "what_if",
]
