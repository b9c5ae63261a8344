"""Learn: from the book back into the plan.

weeks     use of every control by week, from readings
past      what a store's own past tells of chance: the same windows laid where nothing was changed
step      a step in a store's total, season and lasting chance taken for what they are
compare   changed against unchanged: t, all relabelings, what could be seen
price     what a change did, the store's total beside it, switching told from loss
narrow    an assumed range after something was seen
into_plan learned figures laid into a plan's inputs
regress   least squares; fuel  what a heated hour burns, from bills
needs     minutes that loads need, from what was seen of them; belief  what a watch leaves open about them
use       usual weeks, season, what comes next, with the back-test
design    which pockets to change, for how long, at what cost
"""

from drybank.learn.compare import Compared, compare, relabel, smallest
from drybank.learn.design import Beside, Stakes, design
from drybank.learn.fuel import learn_fuel
from drybank.learn.into_plan import ranged_of, with_fuel, with_needs, with_walk_away
from drybank.learn.narrow import Effect, as_ranged, narrow
from drybank.learn.needs import learn_needs
from drybank.learn.past import Noise, noise, placebos
from drybank.learn.price import contrast, diversion, sight, store_move
from drybank.learn.regress import least_squares
from drybank.learn.step import Stepped, smallest_step, step
from drybank.learn.use import ahead, back_test, by_season, hours_of_day, learn_use, season_and_trend, starts, weekdays
from drybank.learn.weeks import weekly_use

__all__ = [
    "Beside",
    "Compared",
    "Effect",
    "Noise",
    "Stakes",
    "Stepped",
    "ahead",
    "as_ranged",
    "back_test",
    "by_season",
    "compare",
    "contrast",
    "design",
    "diversion",
    "hours_of_day",
    "learn_fuel",
    "learn_needs",
    "learn_use",
    "least_squares",
    "narrow",
    "noise",
    "placebos",
    "ranged_of",
    "relabel",
    "season_and_trend",
    "sight",
    "smallest",
    "smallest_step",
    "starts",
    "step",
    "store_move",
    "weekdays",
    "weekly_use",
    "with_fuel",
    "with_needs",
    "with_walk_away",
]  # fmt: skip
