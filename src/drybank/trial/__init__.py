"""Invented histories with known faults: for the demo, the tests, the bench, and for an owner who asks
how small a loss would be noticed.

    world.py       constants of the invented world; the faults that can be planted
    generator.py   weekly histories as arrays, drawn from a seed
"""

from __future__ import annotations

from drybank.trial.generator import History, invent
from drybank.trial.world import Fault, World

__all__ = ["Fault", "History", "World", "invent"]
