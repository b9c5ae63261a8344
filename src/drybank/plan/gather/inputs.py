"""Everything a plan is made from, gathered from a store, its sheets and what is set today.

What the store does not say is assumed, and every assumption is listed with its source and range.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from drybank.control import common, layout
from drybank.control.checks import LEAST_HEAT_S, POSTED_S
from drybank.plan.gather.assumed import Assumed
from drybank.plan.gather.costs import costs_of, price_answer
from drybank.plan.gather.grid import grid_of_bank, notes_on_cool_down, notes_on_sale, setting_today
from drybank.plan.gather.loads import bank_dryer, bank_loads, bank_pockets, loads_per_week
from drybank.plan.gather.needs import BELIEF
from drybank.plan.gather.week import week_of_bank
from drybank.records.errors import Missing
from drybank.records.plan import PlanInputs, PlanLimits
from drybank.records.plan_given import PlanGiven, PlanWeek
from drybank.records.sheet import ControlSheet, HouseSettings
from drybank.records.store import Store


def plan_inputs(
    store: Store,
    sheets: Mapping[str, ControlSheet] | Iterable[ControlSheet],
    bank: str,
    house_today: HouseSettings | None = None,
    given: PlanGiven | None = None,
) -> PlanInputs:
    """Inputs of a plan for one bank of a store.

    ``house_today`` are the house settings in force (None or empty: not known; no comparison, no limit on the step).
    ``given`` is what is known beside the store file: fuel supplies, a drum that a trial calibrated, its need table,
    watched customers, a week of the whole store, the conditioned room.

    Raises `InputError` where the bank, its grid or its trade cannot carry a plan.
    """
    given = given or PlanGiven()
    laid = layout(store, sheets)
    found = next((b for b in store.banks if b.key == bank), None)
    if found is None:
        raise Missing(f"There is no bank “{bank}”. Banks here: {', '.join(b.key for b in store.banks)}.")
    house, assumed = tuple(house_today or ()), Assumed(store.currency, store.units)
    sale_notes = notes_on_sale(laid, bank, house)
    lines = common(laid, bank)
    grid = grid_of_bank(laid, bank, house, assumed, lines)
    pockets = bank_pockets(laid, bank)
    dryer = bank_dryer(store, pockets, grid, given, assumed)
    loads = bank_loads(store, found, pockets, grid, house, dryer, assumed)
    per_week = loads_per_week(store, laid, bank, given.watches, assumed)
    costs = costs_of(store, pockets, loads, per_week, given.supplies, assumed)
    today, today_notes = setting_today(grid, house)
    assumed("what owners pay for at first", f"{BELIEF[0]:g} to {BELIEF[1]:g} of what the load needs", "assumed, no source",
            matters="the share of loads dry at the first purchase")  # fmt: skip
    notes = () if len({p.plate for p in pockets}) == 1 else (
        f"The pockets of this bank differ; pocket {pockets[0].key} stands for all.",)  # fmt: skip
    week = given.week
    if week is None:
        made = week_of_bank(store, bank, loads, per_week.value, pockets, given.watches)
        week = PlanWeek(store=made) if made is not None else None
    return PlanInputs(
        store=store.key, bank=bank, currency=store.currency, grid=grid, loads=loads, loads_per_week=per_week,
        costs=costs, price_answer=price_answer(store, today, loads, grid, assumed), limits=_limits(store),
        today=today, pockets=len(pockets), traffic=week.store if week is not None else None,
        traffic_bank=week.bank if week is not None else 0, traffic_settings=week.settings if week is not None else None,
        assumptions=(*assumed.list, *(week.store.assumptions if week is not None else ())),
        notes=(*sale_notes, *today_notes, *notes_on_cool_down(lines, house), *notes), room=given.room,
        drum_flow_m3_s=dryer.drum.flow_exhaust_m3_s, units=store.units,
    )  # fmt: skip


def _limits(store: Store) -> PlanLimits:
    says, needs = store.constraints, store.trade.need_minutes
    return PlanLimits(
        normal_load_pieces_at_most=says.normal_load_pieces_at_most,
        price_step_at_most_pct=says.price_step_at_most_pct,
        posted_step_s=POSTED_S[says.posted_minutes],
        least_heat_s=round(60.0 * min(needs)) if needs else LEAST_HEAT_S,
        wait_p95_s=says.wait_p95_s,
    )
