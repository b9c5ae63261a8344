"""What was kept as learned, laid into a plan: each input says that it was learned, from which days, and what that changed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

import msgspec
import numpy as np

from drybank.desk.learning_facts import COUNTED
from drybank.learn import ranged_of, with_fuel, with_needs, with_walk_away
from drybank.records.entry import ValueLearned
from drybank.records.money import Money
from drybank.records.plan import PlanInputs, Ranged
from drybank.records.store import Store

if TYPE_CHECKING:
    from drybank.book import Book

NEED_SHARES: Final = {10: 0.175, 25: 0.20, 50: 0.25, 75: 0.20, 90: 0.175}
"""Share of loads that each kept quantile of minutes stands for: half way to its neighbours."""
NEED_NAME: Final = "minutes needed by {} of 100 loads"
WALK_AWAY: Final = "walk-away price"
SIGHT_WEEKS: Final = 8
LEAST_SEEN: Final = f"smallest fall seen in {SIGHT_WEEKS} weeks"


def learned_for(book: Book, store: str, when: datetime) -> dict[tuple[str, str], ValueLearned]:
    """Values kept as learned by then, the latest of each name and place; bills and counts are not among them."""
    out: dict[tuple[str, str], ValueLearned] = {}
    for told in book.story(store, kinds=("learned value",), until=when + timedelta(microseconds=1)):
        if isinstance(told.body, ValueLearned) and told.body.method not in ("bill", COUNTED):
            out[told.body.name, told.body.at] = told.body
    return out


def store_with_learned(store: Store, learned: dict[tuple[str, str], ValueLearned]) -> Store:
    """The store with learned minutes needed where its owner states none; what the owner gave stands."""
    rows = [learned.get((NEED_NAME.format(q), "store")) for q in NEED_SHARES]
    minutes = tuple(r.value for r in rows if r is not None)
    if store.trade.need_minutes or len(minutes) < len(NEED_SHARES) or list(minutes) != sorted(set(minutes)):
        return store
    trade = msgspec.structs.replace(store.trade, need_minutes=minutes, need_share=tuple(NEED_SHARES.values()))
    return msgspec.structs.replace(store, trade=trade)


def with_learned(inputs: PlanInputs, learned: dict[tuple[str, str], ValueLearned], store: Store) -> PlanInputs:
    """A plan's inputs with what was kept as learned: walk-away price, minutes needed, fuel of an hour.

    ``store`` is the store as its owner described it, before `store_with_learned`. Each replaced figure says that it was learned,
    from which days; nothing kept, nothing changed.
    """
    notes: list[str] = []
    walk = _ranged(learned.get((WALK_AWAY, inputs.bank)))
    if walk is not None:
        notes.append(
            _moved(
                "walk-away price of a normal load",
                inputs.price_answer.walk_away_minor,
                walk,
                lambda v: str(Money(round(v), inputs.currency)),
            )
        )
        inputs = with_walk_away(inputs, walk)
    need = _ranged(learned.get((NEED_NAME.format(50), "store")))
    if need is not None and inputs.today is not None:
        loads = inputs.loads
        if store.trade.need_minutes:
            before = _planned_min(inputs)
            inputs = with_needs(inputs, planned_min=before, median=need, source=need.source)
            after, ends = _planned_min(inputs), inputs.loads
            old = Ranged(value=before, low=before * loads.need_low_frac, high=before * loads.need_high_frac)
            new = Ranged(
                value=after, low=after * ends.need_low_frac, high=after * ends.need_high_frac, source=need.source
            )
            notes.append(_moved("minutes that half of the loads need", old, new, lambda v: f"{v:.0f} min"))
        else:
            band = {"need_low_frac": need.low / need.value, "need_high_frac": need.high / need.value}
            inputs = msgspec.structs.replace(inputs, loads=msgspec.structs.replace(inputs.loads, how="learned", source=need.source, **band))  # fmt: skip
            notes.append(
                f"Learned: minutes that half of the loads need, {need.value:.0f} ({need.low:.0f} to {need.high:.0f}); none were stated. {_cap(need.source)}."
            )
    inputs = _with_fuel_learned(inputs, learned.get(("fuel per hour", store.key)), notes)
    seen = learned.get((LEAST_SEEN, "store"))
    if seen is not None:
        notes.append(
            f"Before you change anything: over {SIGHT_WEEKS} weeks this store's total would show a fall of {100 * seen.value:.0f} % or "
            "more, four times in five; a smaller one looks like chance."
        )
    return msgspec.structs.replace(inputs, notes=(*inputs.notes, *notes)) if notes else inputs


def _with_fuel_learned(inputs: PlanInputs, fuel: ValueLearned | None, notes: list[str]) -> PlanInputs:
    ranged = _ranged(fuel)
    if fuel is None or ranged is None or inputs.today is None:
        return inputs
    unit = fuel.unit.removesuffix(" an hour")
    over = fuel_hour_j(inputs) / unit_j(inputs, unit)
    factor = Ranged(value=ranged.value / over, low=ranged.low / over, high=ranged.high / over, how="learned", source=ranged.source)  # fmt: skip
    notes.append(
        f"Learned: fuel of an hour is {ranged.value:.3g} {unit} ({ranged.low:.3g} to {ranged.high:.3g}); by the drying runs it "
        f"would be {over:.3g}. {_cap(ranged.source)}."
    )
    return with_fuel(inputs, factor=factor, source=ranged.source)


def _moved(name: str, old: Ranged, new: Ranged, says: Callable[[float], str]) -> str:
    """What learning changed of one input, before beside after, in words."""
    then, now = (f"{says(r.value)} ({says(r.low)} to {says(r.high)})" for r in (old, new))
    return f"Learned: {name} is {now}; before learning it was {then}. {_cap(new.source)}."


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def _ranged(value: ValueLearned | None) -> Ranged | None:
    if value is None:
        return None
    source = f"learned from {value.data_from} to {value.data_to}: {value.method}"
    return ranged_of(value.value, value.low, value.high, source)


def _planned_min(inputs: PlanInputs) -> float:
    """Median minutes of the plan's loads at the heats as set today."""
    from drybank.plan.outcome import levels_of

    assert inputs.today is not None, "asked for only where today is known"
    level = levels_of(inputs, inputs.today)[inputs.loads.heat]
    return float(np.median(inputs.loads.need_s[np.arange(level.size), level])) / 60.0


def fuel_hour_j(inputs: PlanInputs) -> float:
    """Fuel of a motor hour at today's settings, by the plan's own loads. [J]"""
    from drybank.plan.outcome import mean, meet
    from drybank.plan.search.problem import middle

    assert inputs.today is not None, "asked for only where today is known"
    met = meet(inputs, inputs.today, middle(inputs))
    motor_s = mean(met, met.heated_s) + inputs.today.cool_down_s * mean(met, met.is_dried * 1.0)
    return 3600.0 * mean(met, met.fuel_j) / motor_s


def unit_j(inputs: PlanInputs, unit: str) -> float:
    from drybank.energy import billed_joules

    supply = inputs.costs.fuel_supply
    return float(billed_joules(unit, supply)) if supply is not None else 3.6e6
