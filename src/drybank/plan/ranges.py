"""What if the world is not as stated: price response, least regret, fuel prices, what matters most.

Every world is searched anew, exactly; nothing here is read off the middle answer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from drybank.plan.outcome import mean, meet, weekly_minor
from drybank.plan.search.problem import (
    JOULES_KWH,
    MICRO,
    Choice,
    Problem,
    World,
    choice_of,
    middle,
    problem,
    setting_at,
)
from drybank.plan.search.running import Ranking, best_codes, choice_at, decode, places_of, search, values_micro
from drybank.plan.words import fuel_unit, money, price
from drybank.records.errors import InputError
from drybank.records.plan import (
    F64,
    I64,
    RUNGS,
    AnswerAtPrice,
    FuelHold,
    FuelStep,
    Matter,
    PlanInputs,
    PlanSetting,
    Ranged,
)
from drybank.records.working import Assumption

Sayer = Callable[[PlanSetting], str]
KEPT = 512
KEPT_AT_MOST = 131_072
"""Settings kept at each rung at first, and at most at one of them, in looking for the least regret."""
FUEL_RANGE = (0.5, 3.0)
"""Fuel prices looked at, as factors of today's."""
SEARCHES_AT_MOST = 17


def worth_minor(inputs: PlanInputs, micro: float) -> float:
    """Worth of all rows in the search's units as an expected week, in minor units."""
    return micro / MICRO / float(inputs.loads.weight.sum()) * inputs.loads_per_week.value


def value_micro(question: Problem, choice: Choice) -> int:
    """The search's worth of one setting, evaluated by itself."""
    return int(values_micro(question, places_of(choice))[0])


@dataclass(frozen=True)
class Best:
    """The best setting of one world."""

    setting: PlanSetting
    minor: float
    ranking: Ranking
    question: Problem


def best_in(inputs: PlanInputs, world: World, *, keep: int = 8, without: str = "") -> Best | None:
    """The best setting in one world; None when no setting keeps every constraint."""
    question = problem(inputs, world, without=without)
    ranking = search(question, keep, recheck=1)
    if not ranking.found:
        return None
    top = ranking.found[0]
    return Best(setting_at(inputs, question, top.choice), worth_minor(inputs, top.worth_micro), ranking, question)


# ---------------------------------------------------------------- price response and least regret


def rungs(ranged: Ranged) -> tuple[float, ...]:
    """Five places from low over the middle to high, evenly in the logarithm on either side."""
    low, value, high = max(ranged.low, 1.0), max(ranged.value, 1.0), max(ranged.high, 1.0)
    return (low, float(np.sqrt(low * value)), value, float(np.sqrt(value * high)), high)


@dataclass(frozen=True)
class LeastRegret:
    """The setting whose worst loss over the range of the walk-away price is smallest, and the best at each place."""

    setting: PlanSetting
    regret_minor: float
    is_exact: bool
    could_miss_minor: float
    worlds: tuple[World, ...]
    questions: tuple[Problem, ...]
    bests: tuple[tuple[PlanSetting, float], ...]

    def against(self, inputs: PlanInputs, answer: PlanSetting, say: Sayer) -> tuple[AnswerAtPrice, ...]:
        """What the answer would miss at each place."""
        rows = zip(RUNGS, self.worlds, self.questions, self.bests, strict=True)
        return tuple(
            AnswerAtPrice(
                rung=rung, walk_away_minor=world.walk_away_minor, best=best, best_says=say(best), best_minor=minor,
                answer_minor=(mine := _worth_minor_at(inputs, question, world, answer)), regret_minor=minor - mine,
                least_regret_minor=minor - _worth_minor_at(inputs, question, world, self.setting),
            )
            for rung, world, question, (best, minor) in rows
        )  # fmt: skip


def price_response(inputs: PlanInputs) -> LeastRegret:
    """The best at each place of the walk-away price's range, and the least-regret choice over it.

    A setting that loses at most R everywhere lies within R of the best at every place. So the list at one place is
    made longer until it reaches down to R there: then no setting that was left out can lose less.
    """
    here = middle(inputs)
    worlds = tuple(here.but(walk_away_minor=w) for w in rungs(inputs.price_answer.walk_away_minor))
    questions = tuple(problem(inputs, w) for w in worlds)
    tops, places, regret, missed = _least_regret(questions)
    bests = tuple(
        (setting_at(inputs, q, choice_at(row)), worth_minor(inputs, value))
        for q, (value, row) in zip(questions, tops, strict=True)
    )
    least = setting_at(inputs, questions[0], choice_at(places))
    return LeastRegret(
        least, worth_minor(inputs, regret), missed == 0.0, worth_minor(inputs, missed), worlds, questions, bests
    )


def _least_regret(questions: Sequence[Problem]) -> tuple[list[tuple[float, I64]], I64, float, float]:
    """Best worth and place at each rung; the least-regret row, its regret, and what a row left out could save on it."""
    keep = [KEPT] * len(questions)
    with ThreadPoolExecutor(2) as pool:
        kept = list(pool.map(lambda q: best_codes(q, KEPT), questions))
    if any(not values.size for values, _, _ in kept):
        raise InputError(
            "somewhere in the range of the walk-away price no setting keeps every constraint.", where="plan"
        )
    top = np.array([float(values[0]) - q.lost_micro for q, (values, _, _) in zip(questions, kept, strict=True)])
    tops = [(float(t), decode(q, codes[:1])[0]) for t, q, (_, codes, _) in zip(top, questions, kept, strict=True)]
    codes = np.unique(np.concatenate([c for _, c, _ in kept]))
    row, regret = _narrowed(questions, top, decode(questions[0], codes), np.inf, 0)
    while True:
        gaps = [np.inf if is_all else float(values[0] - values[-1]) for values, _, is_all in kept]
        deepest = int(np.argmax(gaps))
        if gaps[deepest] >= regret or keep[deepest] >= KEPT_AT_MOST:
            return tops, row, regret, max(0.0, regret - gaps[deepest])
        keep[deepest] *= 4
        values, codes, _ = kept[deepest] = best_codes(questions[deepest], keep[deepest])
        near = codes[values >= values[0] - regret]
        row, regret = _narrowed(questions, top, decode(questions[0], near), regret, deepest, row)


def _narrowed(
    questions: Sequence[Problem], top: F64, places: I64, bound: float, near: int, row: I64 | None = None
) -> tuple[I64, float]:
    """The row of least regret; rows that lose more than ``bound`` at one rung are not looked at further.

    Rungs far from ``near``, where the rows come from, go first: there most of them fall away.
    """
    worst = np.zeros(places.shape[0])
    for i in sorted(range(len(questions)), key=lambda i: -abs(i - near)):
        worst = np.maximum(worst, top[i] - values_micro(questions[i], places))
        inside = worst <= bound
        places, worst = places[inside], worst[inside]
        if worst.size == 0:
            assert row is not None, "without a bound some row is left"
            return row, bound
    least = int(np.argmin(worst))
    return places[least], float(worst[least])


def _worth_minor_at(inputs: PlanInputs, question: Problem, world: World, setting: PlanSetting) -> float:
    choice = choice_of(inputs, question, setting)
    if choice is None:
        return weekly_minor(inputs, setting, world)
    return worth_minor(inputs, value_micro(question, choice))


# ---------------------------------------------------------------- what matters


@dataclass(frozen=True)
class Unknown:
    """One thing that is not known for sure, and the worlds at its two ends."""

    assumption: Assumption
    low: World
    high: World
    measure: str
    weeks: tuple[float, float] | None = None


def _of(name: str, ranged: Ranged, say: Callable[[float], str]) -> Assumption:
    return Assumption(
        name=name,
        taken=say(ranged.value),
        low=say(ranged.low),
        high=say(ranged.high),
        source=ranged.source or ranged.how,
    )


def unknowns(inputs: PlanInputs) -> tuple[Unknown, ...]:
    """Everything with a range, one at a time."""
    here, costs, loads = middle(inputs), inputs.costs, inputs.loads
    walk = inputs.price_answer.walk_away_minor
    spread = here.spread_frac

    def amount(minor: float) -> str:
        return money(inputs, minor)

    unit = fuel_unit(inputs)

    def per(what: str, times: float = 1.0) -> Callable[[float], str]:
        return lambda minor: f"{price(inputs, minor * times)} a {what}"

    out = [
        Unknown(_of("walk-away price of a normal load", walk, amount), here.but(walk_away_minor=walk.low),
                here.but(walk_away_minor=walk.high), "Change the price once and watch how many leave the dryers."),
        Unknown(_of("what a load's visit brings beside drying", costs.visit_minor, amount),
                here.but(visit_minor=costs.visit_minor.low), here.but(visit_minor=costs.visit_minor.high),
                "Work out what a wash leaves after water, heat and soap."),
        Unknown(_of("price of fuel", costs.fuel_minor_kwh, per(unit.name, unit.kwh)),
                here.but(fuel_minor_kwh=costs.fuel_minor_kwh.low), here.but(fuel_minor_kwh=costs.fuel_minor_kwh.high),
                "Enter the latest bill."),
        Unknown(_of("price of electricity", costs.power_minor_kwh, per("kWh")),
                here.but(power_minor_kwh=costs.power_minor_kwh.low), here.but(power_minor_kwh=costs.power_minor_kwh.high),
                "Enter the latest bill."),
        Unknown(_of("wear of a pocket", costs.wear_minor_hour, per("motor hour")),
                here.but(wear_minor_hour=costs.wear_minor_hour.low), here.but(wear_minor_hour=costs.wear_minor_hour.high),
                "Add up a year's repairs over the hour meters."),
        Unknown(Assumption(name="time that loads need", taken="as stated", low=f"{loads.need_low_frac:.2f} times",
                           high=f"{loads.need_high_frac:.2f} times", source=loads.source),
                here.but(need_frac=loads.need_low_frac), here.but(need_frac=loads.need_high_frac),
                "Stop-watch ten customers' loads until they are dry."),
        Unknown(Assumption(name="spread of walk-away prices", taken=f"{100 * spread:.0f} %",
                           low=f"{50 * spread:.0f} %", high=f"{150 * spread:.0f} %", source="assumed"),
                here.but(spread_frac=0.5 * spread), here.but(spread_frac=1.5 * spread),
                "Ask ten customers what they would still pay."),
        Unknown(Assumption(name="how far a larger load may cost more", taken=f"{here.follows_size:g}", low="0", high="1",
                           source="assumed"),
                here.but(follows_size=0.0), here.but(follows_size=1.0), "Watch which loads leave when the price rises."),
        Unknown(Assumption(name="how well owners judge the time", taken="as stated", low="exactly", high="twice as badly",
                           source="assumed"),
                here.but(belief_power=0.0), here.but(belief_power=2.0), "Count the loads that buy more time."),
    ]  # fmt: skip
    week = inputs.loads_per_week
    out.append(
        Unknown(
            _of("loads a week", week, lambda n: f"{n:.0f}"),
            here,
            here,
            "Read the hour meters each week.",
            (week.low, week.high),
        )
    )
    return tuple(u for u in out if u.weeks is not None or u.low != u.high)


def matters(inputs: PlanInputs, answer: PlanSetting) -> tuple[Matter, ...]:
    """Unknowns ranked by what could be missed, then by how far the contribution moves."""
    with ThreadPoolExecutor(2) as pool:  # the searches let go of the interpreter's lock
        rows = list(pool.map(lambda unknown: _matter(inputs, answer, unknown), unknowns(inputs)))
    return tuple(sorted(rows, key=lambda m: (-m.regret_minor, -m.swing_minor)))


def _matter(inputs: PlanInputs, answer: PlanSetting, unknown: Unknown) -> Matter:
    if unknown.weeks is not None:
        low, high = (weekly_minor(inputs, answer, unknown.low, w) for w in unknown.weeks)
        return Matter(assumption=unknown.assumption, low_minor=low, high_minor=high, swing_minor=abs(high - low),
                      regret_minor=0.0, changes_answer=False, measure=unknown.measure)  # fmt: skip
    ends, regrets, others = [], [], []
    for world in (unknown.low, unknown.high):
        best = best_in(inputs, world)
        mine = weekly_minor(inputs, answer, world)
        ends.append(mine)
        if best is None:
            regrets.append(0.0)
            others.append(True)
            continue
        choice = choice_of(inputs, best.question, answer)
        exact = mine if choice is None else worth_minor(inputs, value_micro(best.question, choice))
        regrets.append(max(0.0, best.minor - exact))
        others.append(best.setting != answer)
    return Matter(
        assumption=unknown.assumption, low_minor=ends[0], high_minor=ends[1], swing_minor=abs(ends[1] - ends[0]),
        regret_minor=max(regrets), changes_answer=any(others), measure=unknown.measure,
    )  # fmt: skip


# ---------------------------------------------------------------- fuel


@dataclass(frozen=True)
class _Line:
    """A setting's weekly contribution as a line in the fuel price: constant less kWh times price."""

    setting: PlanSetting
    constant: float
    kwh: float

    def at(self, price: float) -> float:
        return self.constant - self.kwh * price


def fuel_steps(inputs: PlanInputs, say: Sayer) -> tuple[FuelStep, ...]:
    """Fuel prices from half to three times today's at which another setting becomes the best.

    A setting's contribution is a line in the fuel price, so the best over all prices is the upper edge of lines: search at
    two prices, then where their lines meet, until nothing new is found. Exact, save for the search's own unit.
    """
    here, today = middle(inputs), inputs.costs.fuel_minor_kwh.value
    if today <= 0:
        return ()
    budget = [SEARCHES_AT_MOST]

    def line_at(price: float) -> _Line | None:
        budget[0] -= 1
        best = best_in(inputs, here.but(fuel_minor_kwh=price), keep=1)
        return None if best is None else _line(inputs, best.setting, here)

    low, high = (today * f for f in FUEL_RANGE)
    first, last = line_at(low), line_at(high)
    if first is None or last is None:
        return ()
    found = _edge(first, last, line_at, budget)
    steps = []
    for before, after in pairwise(found):
        if before.kwh <= after.kwh:
            continue
        price = (before.constant - after.constant) / (before.kwh - after.kwh)
        steps.append(
            FuelStep(
                fuel_minor_kwh=price,
                times_today=price / today,
                setting=after.setting,
                says=f"From {price / today:.2f} times today's fuel price on: {say(after.setting)}.",
            )
        )
    return tuple(steps)


def fuel_hold(inputs: PlanInputs, steps: Sequence[FuelStep], *, is_best: bool) -> FuelHold:
    """Between which of the steps around today's price the answer lies; ``is_best``: it is the best before queues too."""
    low = max((s.times_today for s in steps if s.times_today <= 1.0), default=None)
    high = min((s.times_today for s in steps if s.times_today > 1.0), default=None)
    ends = [FUEL_RANGE[0] if low is None else low, FUEL_RANGE[1] if high is None else high]
    today = inputs.costs.fuel_minor_kwh.value
    unit = fuel_unit(inputs)
    span = " to ".join(price(inputs, today * unit.kwh * e) for e in ends)
    who = (
        "These settings stay the best"
        if is_best
        else "Before queues, what is best at today's fuel price stays the best"
    )
    if today <= 0:
        return FuelHold(low_times=None, high_times=None, says="Fuel costs nothing here, so its price changes nothing.")
    says = f"{who} while fuel costs {ends[0]:.2f} to {ends[1]:.2f} times today's price ({span} a {unit.name})"
    says += ", as far as was looked." if low is None and high is None else "."
    return FuelHold(low_times=low, high_times=high, says=says)


def _line(inputs: PlanInputs, setting: PlanSetting, world: World) -> _Line:
    met = meet(inputs, setting, world)
    per_week = inputs.loads_per_week.value
    kwh = per_week * mean(met, met.fuel_j) / JOULES_KWH
    return _Line(setting, per_week * mean(met, met.contribution) + kwh * world.fuel_minor_kwh, kwh)


LineAt = Callable[[float], _Line | None]


def _edge(first: _Line, last: _Line, line_at: LineAt, budget: list[int]) -> list[_Line]:
    """Lines of the upper edge from first to last, in order of rising price."""
    if first.setting == last.setting or budget[0] <= 0 or first.kwh <= last.kwh:
        return [first] if first.setting == last.setting else [first, last]
    price = (first.constant - last.constant) / (first.kwh - last.kwh)
    between = line_at(price)
    slack = 1e-6 * max(1.0, abs(first.at(price)))
    if between is None or between.at(price) <= first.at(price) + slack:
        return [first, last]
    return [*_edge(first, between, line_at, budget), *_edge(between, last, line_at, budget)[1:]]


# ---------------------------------------------------------------- constraints and the front


LIMIT_NAMES = (
    ("normal load", "a normal load dry for at most so many coins"),
    ("price step", "the largest price step at once"),
    ("posted minutes", "minutes on the sign whole or half"),
    ("first start", "a first start long enough to dry something"),
    ("start rate", "a start no dearer than the same money later"),
    ("equal price of all coins", "the same price per minute for every coin"),
    ("heat step", "the largest change of a heat at once"),
    ("heat gap", "heats that differ enough"),
    ("care limits", "heats under the limits of their care symbols"),
)


def capped(question: Problem, heat: int, pieces: int) -> Problem:
    """The same question with a normal load dry for at most so many pieces."""
    return replace(question, normal_heat=heat, normal_pieces=pieces)


def only(question: Problem, choice: Choice, free: Sequence[str]) -> Problem:
    """The same question with everything but the named settings held where they are."""
    times = question.times_s if "time" in free else question.times_s[choice.time : choice.time + 1]
    starts = question.starts if "start" in free else question.starts[choice.start : choice.start + 1]
    firsts = question.firsts_s
    stands = question.stands if "time" in free else question.stands[choice.time : choice.time + 1]
    stands = stands if "start" in free else stands[:, choice.start : choice.start + 1]
    if firsts.size and "start" not in free:
        firsts, stands = firsts[choice.first : choice.first + 1], stands[:, :, choice.first : choice.first + 1]
    allowed = question.allowed
    if "heat" not in free:
        allowed = np.zeros_like(allowed)
        for k, level in enumerate(choice.levels):
            allowed[k, level] = question.allowed[k, level]
    return replace(question, times_s=times, starts=starts, firsts_s=firsts, stands=stands, allowed=allowed)
