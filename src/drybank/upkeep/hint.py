"""What use, drying times, fuel and lint hint at: findings to look at, each with its evidence.

A hint never says that something is broken. Falling use is bounded by chance itself: at 35
loads a week a fall under a quarter cannot be told within two months.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import msgspec
import numpy as np

from drybank.proof.airtest import LintTrend, lint_trend
from drybank.records.errors import InputError, NotIdentified
from drybank.records.finding import Cause, Finding
from drybank.records.working import Estimate, Input, Interval, Working

NOTICED_SD: Final = 2.576  # 1 % two-sided for one place; the list is for looking, not for blame
_NEXT: Final = {
    "falling use": "Stand by it for a load: does it turn, heat and take coins like its neighbours?",
    "minutes to dry": "Clean lint screen and cabinet, then time a load again.",
    "fuel per hour": "Clock the gas meter on this pocket and look at burner flame and duct.",
    "lint": "Have the duct cleaned before the pressure reaches the plate's limit.",
}
_CAUSES: Final = {
    "falling use": ("it dries badly and customers avoid it", "coin jams", "a changed place in the room", "chance"),
    "minutes to dry": ("lint in screen, cabinet or duct", "a weak burner", "wetter loads from the washers"),
    "fuel per hour": ("lint or a choked duct", "burner or gas pressure", "a door seal", "wetter loads", "colder air"),
    "lint": ("lint in the duct", "a sticking outlet flap"),
}


class Watched(msgspec.Struct, frozen=True, kw_only=True):
    """A figure that repeats at one place: days, values, its instrument's give or take.

    ``kind`` is "minutes to dry", "fuel per hour" or "lint"; ``limit`` where one is known.
    """

    kind: str
    at: str
    days: tuple[float, ...]
    values: tuple[float, ...]
    plus_minus: float
    unit: str
    limit: float | None = None

    def __post_init__(self) -> None:
        if self.kind not in ("minutes to dry", "fuel per hour", "lint"):
            raise InputError(f"“{self.kind}” is not followed.", allowed="minutes to dry, fuel per hour, lint")


def rising(watched: Watched) -> Finding | None:
    """A finding where a figure has risen beyond chance; None where it has not or there are under three values."""
    try:
        trend = lint_trend(
            watched.days, watched.values, plus_minus=watched.plus_minus, unit=watched.unit, limit=watched.limit
        )
    except NotIdentified:
        return None
    if trend.verdict != "rising":
        return None
    return _finding(watched.kind, watched.at, trend.slope, _trend_says(watched, trend), _evidence(watched))


def _trend_says(watched: Watched, trend: LintTrend) -> str:
    interval = trend.slope.interval
    assert interval is not None
    text = (
        f"{watched.kind.capitalize()} at {watched.at} rises by {30 * trend.slope.value:.2g} {watched.unit} a month "
        f"({30 * interval.low:.2g} to {30 * interval.high:.2g})."
    )
    if trend.days_to_limit is not None:
        low, high = trend.days_to_limit
        late = "" if math.isinf(high) else f" to {high:.0f}"
        text += f" At this rate the limit is reached in {low:.0f}{late} days."
    return text


def _evidence(watched: Watched) -> tuple[str, ...]:
    first, last = watched.values[0], watched.values[-1]
    return (f"{len(watched.values)} values over {watched.days[-1] - watched.days[0]:.0f} days: "
            f"{first:.3g} to {last:.3g} {watched.unit}",)  # fmt: skip


def _finding(kind: str, at: str, size: Estimate, says: str, evidence: tuple[str, ...]) -> Finding:
    names = _CAUSES[kind]
    causes = tuple(Cause(name=n, chance=None, evidence=evidence if i == 0 else ()) for i, n in enumerate(names))
    return Finding(
        key=f"upkeep/{kind}/{at}",
        room="upkeep",
        name=kind,
        where=at,
        says=says,
        weight="danger" if kind == "lint" else "due",
        size=size,
        certainty="beyond chance at 1 %" if kind == "falling use" else "beyond chance at 2.5 %",
        causes=causes,
        next_check=_NEXT[kind],
    )


def falling_use(
    loads: Mapping[str, Sequence[float]], *, recent: int = 8, base: int = 12, sd: float = NOTICED_SD
) -> tuple[Finding, ...]:
    """Pockets whose use fell against their siblings: last ``recent`` weeks against ``base`` before.

    ``loads`` are loads (or starts) a week per pocket of one bank, same weeks, latest last.
    The change of each log sum, less the median of its siblings', against the largest of three:
    counting noise, the pocket's own week-to-week unrest beside its siblings (it holds however
    loads are reckoned from pieces), and the siblings' scatter (1.4826 MAD). At least four pockets.
    """
    weeks = {len(v) for v in loads.values()}
    if len(weeks) > 1:
        raise InputError("Every pocket needs the same weeks.", mend="Give 0 where a pocket stood still.")
    if len(loads) < 4 or weeks.pop() < recent + base:
        raise NotIdentified(f"Comparing with siblings takes four pockets and {recent + base} weeks.")
    keys = list(loads)
    table = np.asarray([loads[k] for k in keys], dtype=float)
    if np.any(~np.isfinite(table)) or np.any(table < 0):
        raise InputError("A week's loads are below zero or missing.")
    late, early = table[:, -recent:].sum(axis=1), table[:, -recent - base : -recent].sum(axis=1)
    usable = (late > 0) & (early > 0)
    change = np.where(usable, np.log(np.maximum(late, 0.5) / recent) - np.log(np.maximum(early, 0.5) / base), np.nan)
    unrest = _unrest(table[:, -recent - base :]) * math.sqrt(1 / recent + 1 / base)
    out = [_fall(keys, i, change, (late, early, unrest), sd) for i in range(len(keys)) if early[i] > 0]
    return tuple(f for f in out if f is not None)


def _unrest(table: np.ndarray) -> np.ndarray:
    """Standard deviation of one week's log share of each pocket: from week-to-week steps, which a lasting fall hardly
    moves, and never below the middle one of the bank."""
    log = np.log(np.maximum(table, 0.5))
    share = log - np.median(log, axis=0)
    own = np.sqrt(np.mean(np.diff(share, axis=1) ** 2, axis=1) / 2)
    out: np.ndarray = np.maximum(own, float(np.median(own)))
    return out


def _fall(
    keys: Sequence[str], i: int, change: np.ndarray, known: tuple[np.ndarray, np.ndarray, np.ndarray], sd: float
) -> Finding | None:
    late, early, unrest = known
    others = np.delete(change, i)
    others = others[np.isfinite(others)]
    if others.size < 3:
        return None
    centre = float(np.median(others))
    scatter = 1.4826 * float(np.median(np.abs(others - centre)))
    chance = math.sqrt(1 / max(late[i], 0.5) + 1 / early[i])
    own = float(np.log(max(late[i], 0.5) / early[i])) - float(np.log(late.sum() / early.sum()))
    moved = float(change[i]) - centre if np.isfinite(change[i]) else own
    noise = max(chance, scatter, float(unrest[i])) * math.sqrt(1 + math.pi / 2 / others.size)
    if moved > -sd * noise:
        return None
    fall, low, high = (100 * (1 - math.exp(m)) for m in (moved, moved + 1.96 * noise, moved - 1.96 * noise))
    size = Estimate(
        value=fall,
        unit="%",
        interval=Interval(low, high),
        working=Working(
            figure="fall in use",
            formula="log of late over early use, less the siblings' median",
            inputs=(
                Input(name="late", value=f"{late[i]:g}", unit="loads", how="measured"),
                Input(name="early", value=f"{early[i]:g}", unit="loads", how="measured"),
                Input(name="siblings' change", value=f"{100 * (math.exp(centre) - 1):.1f}", unit="%", how="measured"),
            ),
        ),
    )
    says = f"Pocket {keys[i]} is used {fall:.0f} % less than before against its siblings ({low:.0f} to {high:.0f})."
    return _finding("falling use", keys[i], size, says, (f"{early[i]:.0f} loads before, {late[i]:.0f} lately",))
