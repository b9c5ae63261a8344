"""Banks and the whole store: sums of their units, where a loss shared by all pockets alike is seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drybank.balance.audit import words
from drybank.balance.audit.judge import Ints, Judged
from drybank.balance.audit.sight import STORE_RUN_SPREAD, smallest_loss
from drybank.balance.statistics.ratios import HALF_WIDTH_95
from drybank.records.balance import LevelBalance
from drybank.records.money import Money
from drybank.records.working import Estimate, Interval

SURE_Z = 2.3263478740408408


@dataclass(frozen=True)
class Sum:
    """One level in figures: money expected and counted, log gap, its sd; ``n`` units it rests on."""

    expected: float
    counted: float
    log: float
    sd: float
    units: int
    by: str


def add_up(j: Judged, members: Ints) -> Sum | None:
    """Sum the members (places of groups): those with counters if there are any, else by hours against their own past."""
    counter = members[np.isfinite(j.cash.z[members])]
    if counter.size:
        piece = j.panel.piece_minor[counter]
        expected = j.cash.n[counter] * piece
        adjusted = (1.0 + j.cash.share[counter]) * np.exp(j.centre) * expected
        counted = adjusted - j.carried[counter] * piece
        sd = float(np.sqrt(np.sum((j.cash.sd[counter] * expected) ** 2)) / expected.sum())
        log = float(np.log(adjusted.sum() / expected.sum())) - j.centre
        return Sum(float(expected.sum()), float(counted.sum()), log, sd, int(counter.size), "counters")
    return _by_hours(j, members)


def _by_hours(j: Judged, members: Ints) -> Sum | None:
    use = members[j.has_base[members]]
    sums = {}
    for name, part in (("base", j.panel.base), ("now", j.panel.now)):
        both = np.isfinite(part["sold_cash_s"][use]) & np.isfinite(part["run_s"][use])
        sold = np.where(both, part["sold_cash_s"][use], 0.0)
        run = np.where(both, part["run_s"][use], 0.0)
        money = np.where(both, part["counted_minor"][use], 0.0)
        pieces = np.where(both, part["cash"][use], 0.0)
        weeks = np.where(both, part["days"][use], 0.0).sum(axis=1).max(initial=0.0) / 7.0
        sums[name] = (sold.sum(), run.sum(), money.sum(), pieces.sum(axis=1), weeks)
    now, base = sums["now"], sums["base"]
    if not use.size or min(now[0], now[1], base[0], base[1]) <= 0:
        return None
    log = float(np.log(now[0] / now[1]) - np.log(base[0] / base[1]))
    g = j.by_hours_growth
    n, nb = np.maximum(now[3], 1.0), np.maximum(base[3], 1.0)
    share = n / n.sum()
    each = g.c + g.a * (1 / n + 1 / nb) + g.b * (1 / n**2 + 1 / nb**2)
    var = float(np.sum(share**2 * each)) + STORE_RUN_SPREAD**2 * (1 / max(now[4], 0.1) + 1 / max(base[4], 0.1))
    return Sum(float(now[2] / np.exp(log)), float(now[2]), log, float(np.sqrt(var)), int(use.size), "hours")


def level(j: Judged, members: Ints, kind: str, key: str, currency: str) -> LevelBalance:
    """Judge one bank or store."""
    who = f"The {'store' if kind == 'store' else 'bank ' + key}"
    kinds = {"kind": "store" if kind == "store" else "bank", "key": key}
    found = add_up(j, members)
    if found is None:
        return LevelBalance(
            **kinds, says=f"{who} cannot be judged: no unit of it has both cash and a tally.",  # type: ignore[arg-type]
            verdict="cannot tell", units=0,
        )  # fmt: skip
    share = float(np.expm1(found.log))
    low, high = (float(np.expm1(found.log + s * HALF_WIDTH_95 * found.sd)) for s in (-1, 1))
    gap = float(np.expm1(found.log + (j.centre if found.by == "counters" else 0.0))) * found.expected
    half = 0.5 * (high - low)
    z = found.log / found.sd
    verdict = "short" if z < -SURE_Z else "over" if z > SURE_Z else "right"
    of = "its counters say" if found.by == "counters" else "its hours let expect"
    if verdict == "right":
        says = words.right_sentence(who, half, "its counters" if found.by == "counters" else "its hours")
    else:
        says = words.gap_sentence(who, gap, half * found.expected, share, half, of=of, currency=currency)
    total = int(members.size)
    if found.units < total:
        says += f" It rests on {found.units} of its {total} units."
    return LevelBalance(
        **kinds, says=says, verdict=verdict, units=found.units,  # type: ignore[arg-type]
        expected=Money(round(found.expected), currency), counted=Money(round(found.counted), currency),
        gap=Estimate(value=gap, unit="minor", interval=Interval(low * found.expected, high * found.expected)),
        share=Estimate(value=share, unit="", interval=Interval(low, high)),
        z=z, smallest_loss_frac=smallest_loss(found.sd**2),
    )  # fmt: skip


def is_spread(j: Judged, members: Ints) -> bool:
    """Whether a level stays short when the units that are short by themselves are left out."""
    rest = members[~(j.listed_short[members] & (j.z[members] < -SURE_Z))]
    if rest.size < 3:
        return False
    found = add_up(j, rest)
    return found is not None and found.log / found.sd < -SURE_Z
