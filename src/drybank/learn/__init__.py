"""Learn: from the book back into the plan.

weeks     use of every control by week, from readings
past      what a store's own past tells of chance: placebo windows
compare   changed against unchanged: t, all relabelings, what could be seen
price     what a change did, the store's total beside it, switching told from loss
narrow    an assumed range after something was seen
"""

from drybank.learn.compare import Compared, compare, relabel, smallest
from drybank.learn.narrow import as_ranged, narrow
from drybank.learn.past import Noise, noise, placebos
from drybank.learn.price import contrast, diversion, sight, store_move
from drybank.learn.weeks import weekly_use

__all__ = [
    "Compared",
    "Noise",
    "as_ranged",
    "compare",
    "contrast",
    "diversion",
    "narrow",
    "noise",
    "placebos",
    "relabel",
    "sight",
    "smallest",
    "store_move",
    "weekly_use",
]
