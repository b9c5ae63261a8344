"""Findings: what, how much, how sure, likely causes with the evidence for each, and the next check."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from drybank.balance.audit import words
from drybank.balance.audit.devices import Odd
from drybank.balance.audit.judge import Judged
from drybank.balance.audit.uncounted import ONE_COIN, causes_by_hours
from drybank.balance.statistics.causes import CAUSES, CHANNELS
from drybank.balance.statistics.lists import words as sure_words
from drybank.balance.statistics.timing import MinutesSeen
from drybank.records.balance import LevelBalance, Period, UnitBalance
from drybank.records.finding import Cause, Finding
from drybank.records.working import Estimate, Input, Interval, Working

_LEAST_CHANCE = 0.02


@dataclass(frozen=True)
class Place:
    """Where a finding is told: the store and the period that make its key, and the currency."""

    store: str
    currency: str
    period: Period

    def key(self, name: str, where: str) -> str:
        """Stable: the same book and period give the same key."""
        span = f"{self.period.since:%y%m%d}-{self.period.until:%y%m%d}"
        return f"{self.store}.{name.replace(' ', '-')}.{where}.{span}"[:80]


def _evidence(j: Judged, i: int, k: int) -> tuple[str, ...]:
    table = j.causes
    out = []
    for c, channel in enumerate(CHANNELS):
        factor = float(table.log_factor[i, k, c])
        if abs(factor) >= 0.7:
            out.append(f"{channel}: {words.odds(factor)}")
    for log, name in ((table.log_shape[i, k], "week by week"), (table.log_rejects[i, k], "foreign pieces")):
        if abs(log) >= 0.7:
            out.append(f"{name}: {words.odds(float(log))}")
    if CAUSES[k] == "slugs" and j.panel.foreign.sum() == 0:
        out.append("no foreign pieces are counted here, so this cannot be told from coins lost or taken")
    return tuple(out)


OF_HOURS = ("minutes", "free")  # causes that change the hours and leave the cash as it is


def causes_of(j: Judged, i: int, seen: MinutesSeen | None, only: tuple[str, ...] = CAUSES) -> tuple[Cause, ...]:
    """The likely causes of one group, likeliest first; minutes per coin with the value they seem set to."""
    out: list[Cause] = []
    for k in j.causes.order(i):
        if CAUSES[k] not in only:
            continue
        chance = float(j.causes.posterior[i, k])
        if chance < _LEAST_CHANCE and len(out) >= 2:
            break
        evidence = _evidence(j, i, int(k))
        name = words.CAUSE[CAUSES[k]]
        if CAUSES[k] == "minutes" and seen is not None:
            value = seen.likeliest
            evidence += (f"looks like {value:g} min a coin (chance {seen.chance_of(value):.2f})",)
        out.append(Cause(name=name, chance=chance, evidence=evidence))
    return tuple(out)


def top_two(j: Judged, i: int, only: tuple[str, ...] = CAUSES) -> tuple[str, str]:
    order = [CAUSES[k] for k in j.causes.order(i) if CAUSES[k] in only]
    return order[0], order[1]


def cash_finding(place: Place, j: Judged, i: int, unit: UnitBalance, extra: tuple[Cause, ...]) -> Finding:
    """A unit whose cash is short, or over, beyond counting noise."""
    first, second = top_two(j, i)
    short = unit.verdict == "short"
    name = "cash short" if short else "cash over"
    if unit.rests_on == "counter" and first in ("double", "miss"):
        name = "counter counts twice" if first == "double" else "counter misses pieces"
    by_hours = unit.rests_on.startswith("hours")
    check = ONE_COIN if by_hours else words.next_check(first, second)
    if (
        not by_hours
        and short
        and first == "theft"
        and unit.share is not None
        and unit.luck is not None
        and unit.luck < 0.05
    ):
        check = f"{check} If that agrees with today: {words.marked_coins(unit.share.value)}"
    if extra:
        check = f"{extra[0].evidence[-1]} {check}" if extra[0].evidence else check
    return Finding(
        key=place.key(name, unit.key),
        room="balance",
        name=name,
        where=words.pockets(unit.pockets),
        says=unit.says,
        weight="money",
        size=unit.gap,
        certainty=unit.certainty,
        causes=extra + (causes_by_hours(unit) if by_hours else causes_of(j, i, None)),
        next_check=check,
        working=unit.working,
    )


_FEWER = (
    Cause(name="doors opened or loads taken out early, which stops the drum while time runs", chance=None),
    Cause(name="the motor cuts out when it grows hot", chance=None),
    Cause(name="the hour meter misses time", chance=None),
)


def run_on_cause(j: Judged, i: int, run_on: float) -> tuple[Cause, ...]:
    """The cool-down as a cause of more hours, where running on after the sold time would add about as much as is seen."""
    if not (run_on > 0 and float(j.hours.low[i]) <= run_on <= float(j.hours.high[i])):
        return ()
    add = f"it would add about {words.percent(run_on)} to the hours, as is seen"
    return (Cause(name=words.CAUSE["run on"], chance=None, evidence=(add,)),)


def is_second_fault(j: Judged, i: int) -> bool:
    """Whether hours are off beside cash that is, and what most likely ails the cash does not explain the hours."""
    return bool(j.listed_hours[i]) and top_two(j, i)[0] not in ("double", "miss")


def hours_finding(
    place: Place, j: Judged, i: int, unit: UnitBalance, seen: MinutesSeen | None, run_on: float = 0.0
) -> Finding:
    """A unit whose hours do not fit the pieces it sold. ``run_on``: see `drybank.balance.audit.held.Held`.

    Where its cash is a question already, only causes of the hours are weighed.
    """
    pockets, only = unit.pockets, OF_HOURS if unit.is_listed else CAUSES
    share, z = float(j.hours.share[i]), float(j.hours_z[i])
    half = 0.5 * float(j.hours.high[i] - j.hours.low[i])
    first, second = top_two(j, i, only)
    if share > 0 and first == "minutes":
        name = "minutes per coin too many"
    elif share > 0:
        name = "running free"
    else:
        name = "minutes per coin too few" if first == "minutes" else "fewer hours than sold"
    against = "its own past and its siblings" if j.has_base[i] else "its siblings"
    more = "more" if share > 0 else "fewer"
    says = (
        f"{words.pockets(pockets)} ran {words.percent(share)} {more} hours for its coins than {against} let expect "
        f"(give or take {100 * half:.1f})."
    )
    if name.startswith("minutes") and seen is not None:
        says += f" It seems to be set to {seen.likeliest:g} min a coin."
    luck = 2.0 * (1.0 - _norm_cdf(abs(z)))
    causes = causes_of(j, i, seen, only)
    if name == "fewer hours than sold":
        causes = (*_FEWER, *causes)
    causes = (*causes[:1], *run_on_cause(j, i, run_on), *causes[1:]) if share > 0 else causes
    return Finding(
        key=place.key(name, "+".join(pockets)),
        room="balance",
        name=name,
        where=words.pockets(pockets),
        says=says,
        weight="money",
        size=Estimate(
            value=100 * share, unit="%",
            interval=Interval(100 * float(j.hours.low[i]), 100 * float(j.hours.high[i])),
        ),
        certainty=sure_words(min(1.0, luck * 10.0)),
        causes=causes,
        next_check=words.next_check(first, second),
        working=Working(
            figure="hours against pieces",
            formula="ln(seconds run / seconds sold) now, less the same before, less the siblings' median change",
            inputs=(
                Input(name="seconds run", value=f"{np.nansum(j.panel.now['run_s'][i]):,.0f}", unit="s", how="measured"),
                Input(name="seconds sold", value=f"{np.nansum(j.panel.now['sold_counter_s'][i]):,.0f}", unit="s"),
                Input(name="standard deviation", value=f"{j.hours.sd[i]:.4f}", how="learned"),
            ),
        ),
    )  # fmt: skip


def _norm_cdf(x: float) -> float:
    import math

    return 0.5 * (1.0 + math.erf(x / math.sqrt(2.0)))


def trade_finding(place: Place, j: Judged, i: int, pockets: tuple[str, ...]) -> Finding:
    """A pocket that takes less of its store's trade than it used to."""
    share = float(j.trade.share[i])
    half = 0.5 * float(j.trade.high[i] - j.trade.low[i])
    return Finding(
        key=place.key("passed by", "+".join(pockets)),
        room="balance",
        name="passed by",
        where=words.pockets(pockets),
        says=(
            f"{words.pockets(pockets)} takes {words.percent(share)} less than its share of the store's trade before "
            f"(give or take {100 * half:.0f}). Trade alone wanders a good deal: look, do not conclude."
        ),
        weight="note",
        size=Estimate(
            value=100 * share, unit="%",
            interval=Interval(100 * float(j.trade.low[i]), 100 * float(j.trade.high[i])),
        ),
        certainty=sure_words(min(1.0, 10.0 * _norm_cdf(float(j.trade_z[i])))),
        causes=(
            Cause(name="airflow, lint or heat: it dries slowly", chance=None),
            Cause(name="its place or its door", chance=None),
            Cause(name="its price or minutes differ from the pockets beside it", chance=None),
        ),
        next_check=f"{words.NEXT[('avoided', 'none')]} {words.CAUTION}",
    )  # fmt: skip


_ODD_NAMES = {
    "reset": "counter reset",
    "board swapped": "board exchanged without an entry",
    "slip now": "reading does not fit",
    "slip before": "reading does not fit",
    "neighbour's reading": "reading does not fit",
}


def odd_finding(place: Place, odd: Odd) -> Finding:
    """A reading that does not follow the one before."""
    name = _ODD_NAMES.get(odd.way, "reading does not fit")
    causes = (Cause(name=odd.way, chance=odd.chance), *(Cause(name=o.way, chance=o.chance) for o in odd.others))
    check = "Read it again at the next stop and compare with the photo, if there is one."
    if odd.way in ("reset", "board swapped"):
        check = "Look in the service notes for that day; if a part was exchanged, enter its last and first figures."
    says = (
        f"{odd.device} showed {odd.shown:,} after {odd.before:,}: most likely {odd.way}. What it counted in between is"
        f" not known from it."
    )
    if odd.way.startswith("slip"):
        says = (
            f"{odd.device} showed {odd.shown:,} after {odd.before:,}: most likely a slip of the pen. It was left out."
        )
    return Finding(
        key=place.key(name, f"{odd.device}.{odd.entry[-6:] or int(odd.at)}"),
        room="balance",
        name=name,
        where=odd.device,
        says=says,
        weight="note",
        certainty=sure_words(1.0 - odd.chance),
        causes=causes,
        next_check=check,
    )


def level_finding(place: Place, level: LevelBalance, how_many: int, p: float) -> Finding:
    """A bank or store short alike, which no comparison between its pockets can show."""
    return Finding(
        key=place.key(f"{level.kind} short alike", level.key),
        room="balance",
        name=f"{level.kind} short alike",
        where=f"{level.kind} {level.key}",
        says=f"{level.says} It is spread over its {how_many} pockets, not in one.",
        weight="money",
        size=level.gap,
        certainty=sure_words(min(1.0, 5.0 * p)),
        causes=(
            Cause(name="a batch counted wrong, or a bag left out of the count", chance=None),
            Cause(name="weighed with a mean mass that is not the store's own", chance=None),
            Cause(name="a piece value set wrong on a counting machine or a control", chance=None),
            Cause(name="coins lost between box and count, at every pocket alike", chance=None),
        ),
        next_check=(
            "Count the next collection twice, by two ways of counting, with two people present; then compare by round"
            " and by who had custody, which only the owner can open."
        ),
    )


def one_span(j: Judged, i: int, unit: UnitBalance) -> tuple[Cause, ...]:
    """Whether a single span makes up the whole gap: then something happened once, and that comes first."""
    now = j.panel.now
    cash, counter = now["cash"][i], now["counter"][i]
    known = np.isfinite(cash) & np.isfinite(counter)
    if unit.rests_on != "counter" or int(known.sum()) < 3:
        return ()
    gap = np.where(known, cash - counter * np.exp(j.centre), 0.0)
    side = 1.0 if unit.verdict == "over" else -1.0
    worst = int(np.argmax(side * gap))
    rest_n = float(counter[known].sum() - counter[worst])
    rest = float(gap[known].sum() - gap[worst]) + float(j.carried[i])
    rest_sd = rest_n * float(np.sqrt(j.cash_growth.variance(max(rest_n, 1.0)))) + 1e-9
    if side * gap[worst] < 0.6 * side * gap[known].sum() or side * rest > 2.0 * rest_sd:
        return ()
    day = f"{datetime.fromtimestamp(float(now['end'][i, worst]) * 86_400.0, UTC):%d %B}"
    evidence = f"the span to {day} makes up the whole gap; the others agree"
    if side > 0:
        ask = "Look whether the counter was reset or its board exchanged in that span, and compare the hours of it."
        return (
            Cause(name="the counter lost pieces once: a reset or an exchange", chance=None, evidence=(evidence, ask)),
        )
    ask = "Look for a bag of that span left out of the count, or counted under another box; then read that entry again."
    return (Cause(name="a bag or count of one span went astray, once", chance=None, evidence=(evidence, ask)),)


def mixed_up(place: Place, j: Judged, i: int, units: dict[int, UnitBalance]) -> tuple[Cause, ...]:
    """Whether another unit of the same bank is over by what this one is short: two boxes or counts mixed up."""
    mine = units[i]
    if mine.gap is None:
        return ()
    for k, other in units.items():
        if k == i or other.bank != mine.bank or other.gap is None or other.rests_on != mine.rests_on:
            continue
        if other.gap.value * mine.gap.value >= 0:
            continue
        sd_both = np.hypot(_half(mine), _half(other)) / 1.96
        # Against hours the noise is wider than most mix-ups, so the other one need only lean clearly the other way.
        least = 2.6 if mine.rests_on == "counter" else 2.0
        is_far = min(abs(float(j.z[i])), abs(float(j.z[k]))) > least
        if is_far and abs(mine.gap.value + other.gap.value) < 2.0 * sd_both:
            both = f"{words.pockets(other.pockets)} is off by as much the other way: the two sum to nothing"
            ask = f"Ask whether the boxes or bags of these two may have been mixed up ({place.store})."
            return (Cause(name="two boxes or counts mixed up", chance=None, evidence=(both, ask)),)
    return ()


def _half(unit: UnitBalance) -> float:
    gap = unit.gap
    return 0.5 * (gap.interval.high - gap.interval.low) if gap and gap.interval else np.inf
