"""The settings search: what to set on a bank, what it should bring, what could make it wrong.

from drybank.plan import make_plan, plan_inputs, price_setting, setting_of

inputs = plan_inputs(store, sheets, bank, house_today)   # from records; what is not given is listed as assumed
plan = make_plan(inputs)                                  # -> Plan (records/plan.py); InputError says why there is none
setting = setting_of(inputs, house)                       # house settings in the plan's words; house_of goes back
priced = price_setting(inputs, setting, against=inputs.today)

gather/      inputs from store and sheets: grid, loads, costs, the week
search/      the exact search, its plain maths, its whole-number question
outcome.py   one setting met by the loads: figures, intervals, differences
ranges.py    price response, least regret, fuel steps, what matters
queue.py     the short list through the store's week
words.py     what a plan says      workings.py  what stands behind each figure
answer.py    puts the plan together
"""

from drybank.plan.answer import make_plan, price_setting
from drybank.plan.gather.grid import house_of, setting_of
from drybank.plan.gather.inputs import plan_inputs
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
from drybank.records.plan_given import PlanGiven, PlanRoom, PlanWeek, WatchSpan

__all__ = [
    "FrontPoint",
    "OtherInput",
    "Plan",
    "PlanCosts",
    "PlanFigure",
    "PlanGiven",
    "PlanGrid",
    "PlanHeat",
    "PlanInputs",
    "PlanLimits",
    "PlanLoads",
    "PlanRoom",
    "PlanSetting",
    "PlanWeek",
    "PriceAnswer",
    "Ranged",
    "Rival",
    "SettingPriced",
    "WatchSpan",
    "house_of",
    "make_plan",
    "plan_inputs",
    "price_setting",
    "setting_of",
]
