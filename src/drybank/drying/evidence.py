"""What a working store can tell of its pockets without closing: bills, stop-watched loads, the share that buys more time.

The assumptions of an unmeasured pocket are drawn many times from their ranges; each draw is weighed by how well it agrees
with what was seen. What comes out is wide, and honest about it: the middle and 90 % of what is left, with how much
narrower that is than before. Nothing is fitted to a point.
"""

from __future__ import annotations

from typing import Final

import msgspec
import numpy as np

from drybank.drying.bands import ASSUMED, load_moved, pocket_moved
from drybank.drying.run import dry_many
from drybank.records.drying import Array, Calibration, Heat, Load, Pocket, StoreEvidence, StoreFit
from drybank.records.errors import InputError, NotIdentified

DRAWS: Final = 600
LOADS: Final = 8  # a clientele in as many loads, one for each eighth
MODEL_SD_FRAC: Final = 0.05  # of the model itself, on what a bill or watch is compared with (assumed)
LEAST_KEPT: Final = 8.0  # draws' worth; fewer, and the evidence contradicts every draw


def fit_store(pocket: Pocket, evidence: StoreEvidence, *, rng: np.random.Generator, draws: int = DRAWS) -> StoreFit:
    """Weigh drawn pockets by the evidence.

    Raises `InputError` without evidence, `NotIdentified` where it contradicts all that the assumptions allow.
    """
    if not (evidence.bills or evidence.watched or evidence.more_time):
        raise InputError(
            "There is nothing to learn from.", mend="Give a bill, a watched load or a share that buys more."
        )
    ends = np.log([[a.low, a.high] for a in ASSUMED])
    logs = rng.uniform(ends[:, 0], ends[:, 1], size=(draws, len(ASSUMED)))
    pockets = [_pocket_drawn(pocket, row) for row in logs]
    normal = Load(mass_dry_kg=evidence.normal_load_kg, residual_frac=evidence.residual_frac)
    minutes = _seconds([_load_drawn(normal, row) for row in logs], pockets, evidence, evidence.heat) / 60.0
    score = np.zeros(draws)
    for part in (_watched, _bills, _more_time):
        score += part(logs, pockets, evidence)
    score = np.where(np.isfinite(minutes), score, -np.inf)
    weights = np.exp(score - score.max())
    kept = float(weights.sum() ** 2 / (weights**2).sum())
    if kept < LEAST_KEPT or score.max() < -0.5 * 9.0 * _count(evidence):
        raise NotIdentified(
            "What was seen fits no pocket of this kind, whatever is assumed about it. Check units and figures: fuel of the "
            "bill, hours sold, weights; then whether a watched load was of towels or overfull."
        )
    return _told(pocket, logs, minutes, weights, kept)


def _told(pocket: Pocket, logs: Array, minutes: Array, weights: Array, kept: float) -> StoreFit:
    after, before = _quantiles(minutes, weights), _quantiles(minutes, np.ones(len(minutes)))
    factors = tuple((a.name, *_quantiles(np.exp(logs[:, i]), weights)) for i, a in enumerate(ASSUMED))
    narrowed = 1.0 - (after[2] - after[0]) / (before[2] - before[0])
    middle = np.array([np.log(f[2]) for f in factors])
    band = (after[2] - after[0]) / (2 * 1.645) / after[1]
    notes = []
    if narrowed < 0.1:
        notes.append("This evidence hardly narrows the band. Stop-watched loads of known weight would.")
    if kept < 30:
        notes.append(
            "Few draws agree with all that was seen; take the band as rough, and look for a figure that is off."
        )
    notes.append("A middle and 90 % of what assumptions and evidence leave together; not a sampling interval.")
    fitted = msgspec.structs.replace(
        _pocket_drawn(pocket, middle),
        fire=pocket.fire,
        calibration=Calibration(how="store evidence", band_frac=min(1.0, band)),
    )
    return StoreFit(
        minutes=after, minutes_before=before, factors=factors, narrowed_frac=float(narrowed), draws_kept=kept,
        pocket=fitted, notes=tuple(notes),
    )  # fmt: skip


def _count(evidence: StoreEvidence) -> int:
    return len(evidence.bills) + len(evidence.watched) + len(evidence.more_time)


def _pocket_drawn(pocket: Pocket, logs: Array) -> Pocket:
    for a, x in zip(ASSUMED, logs, strict=True):
        if a.is_of_pocket:
            pocket = pocket_moved(pocket, a, float(np.exp(x)))
    return pocket


def _load_drawn(load: Load, logs: Array) -> Load:
    for a, x in zip(ASSUMED, logs, strict=True):
        if not a.is_of_pocket:
            load = load_moved(load, a, float(np.exp(x)))
    return load


def _seconds(loads: list[Load], pockets: list[Pocket], evidence: StoreEvidence, heat: Heat) -> Array:
    return dry_many(loads, pockets, evidence.air, heat).seconds_to_dry


def _watched(logs: Array, pockets: list[Pocket], evidence: StoreEvidence) -> Array:
    score = np.zeros(len(pockets))
    for seen in evidence.watched:
        load = Load(mass_dry_kg=seen.mass_dry_kg, residual_frac=seen.residual_frac)
        loads = [_load_drawn(load, row) for row in logs]
        ours = dry_many(loads, pockets, seen.air, seen.heat).seconds_to_dry
        # minutes go about with mass^0.85 and moisture: their errors add to that of the watch
        sd = np.sqrt(
            seen.time_sd_frac**2 + (0.85 * seen.mass_sd_frac) ** 2 + seen.residual_sd_frac**2 + MODEL_SD_FRAC**2
        )
        score += -0.5 * (np.log(np.where(np.isfinite(ours), ours, 14400.0) / seen.dry_s) / sd) ** 2
    return score


def _clientele(evidence: StoreEvidence) -> list[Load]:
    """Loads of a clientele: equal parts of a log-normal around the normal load."""
    from scipy.stats import norm

    sigma = np.sqrt(np.log1p(evidence.spread_load_frac**2))
    spots = norm.ppf((np.arange(LOADS) + 0.5) / LOADS)
    masses = np.clip(evidence.normal_load_kg * np.exp(sigma * spots), 0.1, 120.0)
    return [Load(mass_dry_kg=float(m), residual_frac=evidence.residual_frac) for m in masses]


def _crossed(logs: Array, pockets: list[Pocket], evidence: StoreEvidence) -> tuple[list[Load], list[Pocket]]:
    loads = [_load_drawn(load, row) for row in logs for load in _clientele(evidence)]
    return loads, [p for p in pockets for _ in range(LOADS)]


def _bills(logs: Array, pockets: list[Pocket], evidence: StoreEvidence) -> Array:
    """Fuel per sold second: what the bill leaves for the dryers against loads that each got the mean sold time."""
    score = np.zeros(len(pockets))
    if not evidence.bills:
        return score
    loads, crossed = _crossed(logs, pockets, evidence)
    for bill in evidence.bills:
        each = min(bill.sold_s / bill.loads, 14000.0)
        sold = dry_many(loads, crossed, evidence.air, evidence.heat, sold_s=each)
        used = sold.gas_end_j if pockets[0].fuel != "electric" else sold.electricity_end_j
        ours = used.reshape(len(pockets), LOADS).mean(axis=1) * bill.loads
        seen = bill.fuel_j - 0.5 * (bill.other_low_j + bill.other_high_j)
        if seen <= 0.0:
            raise InputError("Other uses take the whole bill.", mend="Lower what else burned on this bill.")
        spread = (bill.other_high_j - bill.other_low_j) / np.sqrt(12.0)
        sd = np.sqrt((spread / seen) ** 2 + 0.03**2 + MODEL_SD_FRAC**2)
        score += -0.5 * (np.log(ours / seen) / sd) ** 2
    return score


def _more_time(logs: Array, pockets: list[Pocket], evidence: StoreEvidence) -> Array:
    """The share whose need is longer than the first time: a logistic edge smooths the eight loads into a clientele."""
    score = np.zeros(len(pockets))
    if not evidence.more_time:
        return score
    loads, crossed = _crossed(logs, pockets, evidence)
    need = _seconds(loads, crossed, evidence, evidence.heat).reshape(len(pockets), LOADS)
    need = np.where(np.isfinite(need), need, 14400.0)
    for seen in evidence.more_time:
        edge = np.clip(np.log(need / seen.first_s) / 0.10, -40, 40)  # people stop within about ±10 % of dry (assumed)
        share = np.clip((1 / (1 + np.exp(-edge))).mean(axis=1), 1e-3, 1 - 1e-3)
        got = (seen.bought_more + 0.5) / (seen.loads + 1.0)
        sd = np.sqrt(got * (1 - got) / seen.loads + 0.05**2)  # 0.05: who buys more is habit too (assumed)
        score += -0.5 * ((share - got) / sd) ** 2
    return score


def _quantiles(values: Array, weights: Array) -> tuple[float, float, float]:
    """5 %, 50 % and 95 % of weighted values; what is not finite counts as longest."""
    order = np.argsort(np.where(np.isfinite(values), values, np.inf))
    heaps = np.cumsum(weights[order])
    spots = [int(order[min(np.searchsorted(heaps, q * heaps[-1]), len(values) - 1)]) for q in (0.05, 0.5, 0.95)]
    return float(values[spots[0]]), float(values[spots[1]]), float(values[spots[2]])
