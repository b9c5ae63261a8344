"""Upkeep by hours and dates: what is due, when, what to look at, and the round's cards.

tasks     a list to start from, to be replaced by the maker's manual
clock     the trade clock: season, weekdays, outages
forecast  when an amount of use is reached, with a back-tested interval
due       every task at every place, overdue first; when a coin box is full
hint      use, drying time, fuel and lint as findings to look at
sheets    a round on paper: stops joined, what opens machines apart
visit     everything due at a visit, one card for each machine, with lock-out steps
"""

from drybank.upkeep.clock import Season, TradeClock, fit_season
from drybank.upkeep.due import Place, Use, box_full, due_at, in_steps, schedule
from drybank.upkeep.forecast import FIRST_GUESS, BackTest, Reached, back_test, forecast, rate
from drybank.upkeep.hint import Watched, falling_use, rising
from drybank.upkeep.sheets import Part, PartStop, parts_on_paper
from drybank.upkeep.tasks import START_LIST, replace_tasks
from drybank.upkeep.visit import Stop, is_for_this_visit, lock_off_steps, lock_out_steps, parts_of, round_cards, stops
from drybank.upkeep.words import LABELS, SPANISH, Language, in_language, said_in

__all__ = [
    "FIRST_GUESS",
    "LABELS",
    "SPANISH",
    "START_LIST",
    "BackTest",
    "Language",
    "Part",
    "PartStop",
    "Place",
    "Reached",
    "Season",
    "Stop",
    "TradeClock",
    "Use",
    "Watched",
    "back_test",
    "box_full",
    "due_at",
    "falling_use",
    "fit_season",
    "forecast",
    "in_language",
    "in_steps",
    "is_for_this_visit",
    "lock_off_steps",
    "lock_out_steps",
    "parts_of",
    "parts_on_paper",
    "rate",
    "replace_tasks",
    "rising",
    "round_cards",
    "said_in",
    "schedule",
    "stops",
]
