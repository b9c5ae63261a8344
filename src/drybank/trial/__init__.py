"""Invented histories with known faults: for the demo, the tests, the bench, and for an owner who asks
how small a loss would be noticed.

    world.py       constants of the invented world; the faults that can be planted
    generator.py   weekly histories as arrays, drawn from a seed
    customers.py   the same books kept over weeks of simulated customers
    beside.py      histories of several banks laid side by side
    telling.py     a history told as entries of a book, over a given store
"""

from __future__ import annotations

from drybank.trial.customers import from_customers, laundry
from drybank.trial.generator import History, from_use, invent
from drybank.trial.telling import Telling, as_entries, faults_in_words
from drybank.trial.world import Fault, World

__all__ = [
    "Fault",
    "History",
    "Telling",
    "World",
    "as_entries",
    "faults_in_words",
    "from_customers",
    "from_use",
    "invent",
    "laundry",
]
