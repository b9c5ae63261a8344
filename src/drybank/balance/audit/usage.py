"""Hours per pocket and pieces per counter between two moments, from readings alone."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import numpy as np

from drybank.balance.audit.devices import follow, usual_rate
from drybank.balance.audit.story import moment, tell
from drybank.records.balance import Told
from drybank.records.layout import Layout

LEAST_COVERED = 0.9
"""Readings must reach over this share of a span; its use is then theirs, carried no further."""


def steps_of(layout: Layout, entries: Iterable[Told], since: datetime, until: datetime) -> dict[str, float]:
    """Steps of every meter and counter between two moments; a device whose total is not known at both is left out.

    Between readings the total is laid straight; across a reset or an exchange without figures nothing is known.
    """
    story = tell(entries, layout.store.time_zone)
    sizes = {k: c.rolls_over_at for k, c in layout.counters.items()} | {
        k: m.rolls_over_at for k, m in layout.meters.items()
    }
    out = {}
    for device, size in sizes.items():
        shown = story.shown.get(device, ())
        rate = usual_rate(shown, size)
        trace = follow(device, shown, story.swapped, size=size, fleet_rate=rate if np.isfinite(rate) else None)
        if not trace.at:
            continue
        first, last = _inside(trace.at, moment(since), moment(until))
        a, b = trace.look(first), trace.look(last)
        if a[1] == b[1] >= 0 and last - first >= LEAST_COVERED * (moment(until) - moment(since)):
            out[device] = b[0] - a[0]
    return out


def _inside(at: list[float], since: float, until: float) -> tuple[float, float]:
    """The part of a span that readings cover: nothing is carried further out than they reach."""
    return max(since, at[0]), min(until, at[-1])


def hours_of(layout: Layout, entries: Iterable[Told], since: datetime, until: datetime) -> dict[str, float]:
    """Motor hours per pocket; sold or heat hours where a pocket has no motor meter. Pockets not known are left out."""
    steps = steps_of(layout, entries, since, until)
    out: dict[str, float] = {}
    for kind in ("heat", "sold time", "motor"):
        for meter in layout.meters.values():
            if meter.counts == kind and meter.key in steps:
                out[meter.pocket] = steps[meter.key] / meter.per_hour
    return out


def pieces_of(layout: Layout, entries: Iterable[Told], since: datetime, until: datetime) -> dict[str, float]:
    """Pieces per counter. Counters of value count their value steps."""
    steps = steps_of(layout, entries, since, until)
    return {key: steps[key] for key in layout.counters if key in steps}
