"""The settings search: what to set on a bank, what it should bring, what could make it wrong.

from drybank.plan import PlanInputs, make_plan, plan_inputs, price_setting

inputs = plan_inputs(store, sheets, bank, house_today)   # from records; what is not given is listed as assumed
plan = make_plan(inputs)                                  # -> Plan (records/plan.py); InputError says why there is none
priced = price_setting(inputs, setting, against=plan.setting)

inputs.py    a bank's grid, loads, costs and constraints, from store and sheets
needs.py     loads: a stated distribution of needs, or needs from drying runs
problem.py   the question in whole numbers; constraints as masks
kernel.py    the exact search in machine code        reference.py   the same maths, one load at a time
search.py    runs the search, decodes and re-evaluates every winner
outcome.py   one setting met by the loads: figures, intervals, differences
ranges.py    price response, least regret, fuel steps, what matters
queue.py     the short list through the store's week
answer.py    puts the plan together
"""

from drybank.plan.answer import make_plan, price_setting
from drybank.plan.inputs import house_of, plan_inputs, setting_of
from drybank.records.plan import (
    FrontPoint,
    OtherInput,
    Plan,
    PlanCosts,
    PlanFigure,
    PlanGrid,
    PlanHeat,
    PlanInputs,
    PlanLimits,
    PlanLoads,
    PlanSetting,
    PriceAnswer,
    Ranged,
    Rival,
    SettingPriced,
)

__all__ = [
    "FrontPoint",
    "OtherInput",
    "Plan",
    "PlanCosts",
    "PlanFigure",
    "PlanGrid",
    "PlanHeat",
    "PlanInputs",
    "PlanLimits",
    "PlanLoads",
    "PlanSetting",
    "PriceAnswer",
    "Ranged",
    "Rival",
    "SettingPriced",
    "house_of",
    "make_plan",
    "plan_inputs",
    "price_setting",
    "setting_of",
]
