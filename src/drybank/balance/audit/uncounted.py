"""What may lie behind a gap where no counter stands beside the cash: hours alone cannot tell the causes apart, and say so."""

from __future__ import annotations

from drybank.records.balance import UnitBalance
from drybank.records.finding import Cause

ONE_COIN = (
    "Put in what starts it and stop-watch the minutes it gives: from outside, five minutes. If they are as posted, look for it "
    "running with nothing paid, then read, empty at once and count this box apart for two weeks."
)


def causes_by_hours(unit: UnitBalance) -> tuple[Cause, ...]:
    """Causes of a gap against hours, cheapest to check first, none with a chance: they leave the same trace."""
    if unit.share is None:
        return ()
    same = "without a counter this leaves the same trace as the other causes"
    ratio = 1.0 / (1.0 + unit.share.value)
    minutes = f"it would have to give {ratio:.2f} times the minutes that are set"
    if unit.share.value < 0:
        return (
            Cause(name="it sells more minutes for a coin than it is set to", chance=None, evidence=(minutes,)),
            Cause(name="it runs with nothing paid: a stuck part, unlogged service runs", chance=None, evidence=(same,)),
            Cause(name="coins lost between slot and count, or taken", chance=None, evidence=(same,)),
        )
    return (
        Cause(name="it sells fewer minutes for a coin than it is set to", chance=None, evidence=(minutes,)),
        Cause(name="loads taken out early, or a motor that cuts out", chance=None, evidence=(same,)),
        Cause(name="the hour meter misses time", chance=None, evidence=(same,)),
    )
