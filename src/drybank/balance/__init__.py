"""Hours, coins and cash: is the cash right, and if not, where and why.

    statistics/   growth of noise, ratios, lists, minutes per coin, causes (arrays)
    reading/      what a reading should be, slips, why one does not follow, the check while typing
    audit/        from entries to a verdict per unit, findings, workings
    weigh.py      coins by weight
    kernel.py     one pass over a fleet's readings; reference.py  the same in plain numpy

The answer of a balance is `drybank.records.balance.BalanceResult`. A flag is a question, never an
accusation, and no word of it names a person.

Signatures::

    balance(layout, entries, period, *, habits=None, priors=None) -> BalanceResult
    balance_fleet([(layout, entries), ...], period, *, habits=None, priors=None) -> tuple[BalanceResult, ...]
    make_ready(layout, entries, period) -> Ready           one store, small: to be judged with others
    balance_ready([Ready, ...], period) -> Iterator[BalanceResult]
    compare_held(layout, entries, period, "round" | "holder" | "counter") -> (CustodyBy, letter -> name)
    what_would_i_see(*, coins_week, weeks=(1, 4, 8, 12), has_counters=True, counted="machine",
                     base_weeks=12, habits=None, growth=None) -> Noticed
    check_entry(typed, last, expected, *, size=None, hours=None, neighbours=(), typed_before=None) -> EntryCheck
    expect_next(increments, days, days_next, *, fleet_sd=.22, fleet_rate_day=None) -> Expected
    why(shown, before, expected, *, size=None, neighbours=()) -> tuple[Fit, ...]
    count_by_weight(gross_g, tare_g, mass, *, scale_step_g) -> Weighed
    value_by_weight(net_g, masses, *, scale_step_g, counters=None) -> BagValue
    tell(entries, time_zone) -> Story; follow(device, shown, swapped, *, size) -> Trace; moment(when) -> days
    hours_of(layout, entries, since, until) -> hours by pocket; pieces_of(...) -> pieces by counter

``entries`` are `Entry` lines as written or a book's lines with corrections folded in: anything with ``id``,
``happened`` and ``body``. Hand in all of a store's entries, not only the period's: noise is learned from them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drybank.balance.audit.devices import Trace, follow, usual_rate
    from drybank.balance.audit.result import Ready, balance, balance_fleet, balance_ready, compare_held, make_ready
    from drybank.balance.audit.sight import Noticed, what_would_i_see
    from drybank.balance.audit.story import Story, moment, tell
    from drybank.balance.audit.usage import hours_of, pieces_of
    from drybank.balance.reading.check import EntryCheck, HoursKnown, check_entry
    from drybank.balance.reading.expect import Expected, expect_next
    from drybank.balance.reading.fits import Fit, why
    from drybank.balance.weigh import BagValue, MeanMass, Weighed, count_by_weight, value_by_weight

_AT = {
    "balance": "audit.result", "balance_fleet": "audit.result", "balance_ready": "audit.result", "Ready": "audit.result",
    "compare_held": "audit.result", "make_ready": "audit.result", "Noticed": "audit.sight",
    "what_would_i_see": "audit.sight", "EntryCheck": "reading.check", "HoursKnown": "reading.check",
    "check_entry": "reading.check", "Expected": "reading.expect", "expect_next": "reading.expect",
    "Fit": "reading.fits", "why": "reading.fits", "BagValue": "weigh", "MeanMass": "weigh", "Weighed": "weigh",
    "count_by_weight": "weigh", "value_by_weight": "weigh",
    "Trace": "audit.devices", "follow": "audit.devices", "usual_rate": "audit.devices", "Story": "audit.story",
    "moment": "audit.story", "tell": "audit.story", "hours_of": "audit.usage", "pieces_of": "audit.usage",
}  # fmt: skip

__all__ = [
    "BagValue",
    "EntryCheck",
    "Expected",
    "Fit",
    "HoursKnown",
    "MeanMass",
    "Noticed",
    "Ready",
    "Story",
    "Trace",
    "Weighed",
    "balance",
    "balance_fleet",
    "balance_ready",
    "check_entry",
    "compare_held",
    "count_by_weight",
    "expect_next",
    "follow",
    "hours_of",
    "make_ready",
    "moment",
    "pieces_of",
    "tell",
    "usual_rate",
    "value_by_weight",
    "what_would_i_see",
    "why",
]


def __getattr__(name: str) -> object:
    """Import on first use, so that naming the room costs nothing."""
    if name not in _AT:
        raise AttributeError(f"drybank.balance has no “{name}”")
    from importlib import import_module

    return getattr(import_module(f"drybank.balance.{_AT[name]}"), name)
