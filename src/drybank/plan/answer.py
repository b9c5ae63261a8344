"""Puts a plan together: search, figures, rivals, front, constraints, ranges, workings."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import msgspec
import numpy as np

from drybank.plan import words
from drybank.plan.beside import free_window, minute_costs, room_air_told
from drybank.plan.gather.grid import house_of
from drybank.plan.outcome import figures, meet, normal_price, weekly_minor
from drybank.plan.queue import Queued, through_traffic, waiting_figures, waits_p95_s
from drybank.plan.ranges import (
    LIMIT_NAMES,
    LeastRegret,
    best_in,
    capped,
    fuel_hold,
    fuel_steps,
    matters,
    only,
    price_response,
    unknowns,
    value_micro,
    worth_minor,
)
from drybank.plan.search.problem import Problem, World, choice_of, grid_settings, middle, problem, setting_at
from drybank.plan.search.reference import is_allowed, worth_micro
from drybank.plan.search.running import Ranking, search
from drybank.plan.workings import inputs_listed, workings
from drybank.records.errors import DrybankError, InputError, NotIdentified
from drybank.records.plan import (
    FrontPoint,
    LimitCost,
    Plan,
    PlanInputs,
    PlanSetting,
    Rival,
    SearchReport,
    SettingPriced,
)

KEPT, RIVALS = 256, 3
"""Settings that the short list keeps; runners-up that are named."""


def make_plan(inputs: PlanInputs) -> Plan:
    """The best settings of a bank, what they should bring, and what could make it wrong.

    Raises `InputErrors` for impossible inputs, `InputError` where no setting keeps every constraint (it names the pair
    that contradict and the nearest miss), `NotIdentified` where the loads cannot tell one setting from another.
    """
    question = problem(inputs)
    ranking = search(question, KEPT, recheck=16)
    if not ranking.found:
        raise _refusal(inputs)
    if (
        not any(f.worth_micro > -question.lost_micro for f in ranking.found[:1])
        and question.limit_minor.max() < question.piece_minor
    ):
        raise NotIdentified("Nobody among the loads would pay one coin; give a walk-away price above it.")
    first = setting_at(inputs, question, ranking.found[0].choice)
    least = price_response(inputs)
    front = _front(inputs, question, first)
    named = _named(inputs, question, ranking, least.setting, front)
    through = [n.setting for n in named] + [p.setting for p in front] + _today_allowed(inputs, question)
    also = [(s, _weekly(inputs, question, s)) for s in through]
    queued = through_traffic(inputs, _settings(inputs, question, ranking), also)
    answer = queued.setting if queued is not None else first
    _hold_against_plain_maths(inputs, question, answer)
    return _written(inputs, question, _Found(ranking, first, least, front, named, queued), answer)


def _today_allowed(inputs: PlanInputs, question: Problem) -> list[PlanSetting]:
    """Today's setting where it keeps every constraint: with queues counted it may be the best."""
    choice = choice_of(inputs, question, inputs.today) if inputs.today is not None else None
    return [inputs.today] if inputs.today is not None and choice is not None and is_allowed(question, choice) else []


@dataclass(frozen=True)
class _Name:
    """A candidate with a name and what speaks for it."""

    name: str
    setting: PlanSetting
    reason: str


@dataclass(frozen=True)
class _Found:
    """What the searches found before the answer was chosen."""

    ranking: Ranking
    first: PlanSetting
    least: LeastRegret
    front: tuple[FrontPoint, ...]
    named: tuple[_Name, ...]
    queued: Queued | None


def _hold_against_plain_maths(inputs: PlanInputs, question: Problem, answer: PlanSetting) -> None:
    """The answer evaluated once more, load by load in whole numbers; a difference would be a fault of Drybank."""
    choice = choice_of(inputs, question, answer)
    if choice is None or worth_micro(question, choice) != value_micro(question, choice):
        raise DrybankError("The plan and its check disagree; this is a fault of Drybank.")


def price_setting(
    inputs: PlanInputs, setting: PlanSetting, *, against: PlanSetting, name: str = "what if"
) -> SettingPriced:
    """What a setting brings beside another, the same loads met; it need not keep the constraints, and says which it breaks."""
    world = middle(inputs)
    question = problem(inputs)
    choice = choice_of(inputs, question, setting)
    on_grid = _is_on_grid(inputs, setting)
    is_free = choice is not None and is_allowed(question, choice)
    breaks = () if is_free or not on_grid else _broken(inputs, setting)
    met = meet(inputs, setting, world)
    return SettingPriced(
        name=name, setting=setting, against=against, is_on_grid=on_grid, breaks=breaks, currency=inputs.currency,
        figures=figures(inputs, setting, against, world, _worlds(inputs)),
        workings=workings(inputs, setting, met, world),
    )  # fmt: skip


def _is_on_grid(inputs: PlanInputs, setting: PlanSetting) -> bool:
    grid = inputs.grid
    return (
        setting.time_per_piece_s in grid.time_per_piece_s
        and setting.start_pieces in grid.start_pieces
        and (not grid.first_time_s or setting.first_time_s in grid.first_time_s)
        and all(
            t in grid.temps and grid.temps.index(t) in h.levels for t, h in zip(setting.temps, grid.heats, strict=True)
        )
    )


def _broken(inputs: PlanInputs, setting: PlanSetting) -> tuple[str, ...]:
    """Constraints that the setting does not keep, each looked at by itself."""
    return tuple(
        says for name, says in LIMIT_NAMES if not _stands(inputs, setting, [n for n, _ in LIMIT_NAMES if n != name])
    )


def _stands(inputs: PlanInputs, setting: PlanSetting, without: Sequence[str]) -> bool:
    """Whether a setting stands with the named constraints left out."""
    question = problem(relaxed(inputs, without))
    choice = choice_of(inputs, question, setting)
    return choice is not None and is_allowed(question, choice)


def relaxed(inputs: PlanInputs, without: Sequence[str]) -> PlanInputs:
    """The same inputs with the named constraints left out."""
    limits = inputs.limits
    off: dict[str, dict[str, Any]] = {
        "normal load": {"normal_load_pieces_at_most": None},
        "price step": {"price_step_at_most_pct": None},
        "posted minutes": {"posted_step_s": 1},
        "first start": {"least_heat_s": 0},
        "start rate": {"start_rate": "any"},
        "equal price of all coins": {"price_spread_at_most_pct": 1e9},
        "heat step": {"heat_step_at_most_c": None},
        "heat gap": {"heat_gap_c": 0.0},
        "care limits": {"care_limits_hold": False},
    }
    for name in without:
        limits = msgspec.structs.replace(limits, **off[name])
    return msgspec.structs.replace(inputs, limits=limits)


# ---------------------------------------------------------------- refusal


def _refusal(inputs: PlanInputs) -> InputError:
    """Why there is no setting: one constraint the grid cannot keep, or the pair that contradict; the nearest miss."""
    names = dict(LIMIT_NAMES)
    alone = [name for name in names if _is_possible(relaxed(inputs, [name]))]
    if not alone:
        pair = next((p for p in combinations(names, 2) if _is_possible(relaxed(inputs, p))), None)
        if pair is None:
            return InputError(
                "no setting of these controls keeps the constraints, even with any two left out.",
                where=f"bank {inputs.bank}", mend="Check the control sheet's ranges against what the store asks.",
            )  # fmt: skip
        text = f"no setting keeps every constraint: both “{names[pair[0]]}” and “{names[pair[1]]}” stand in the way."
        return InputError(text, where=f"bank {inputs.bank}", mend=_nearest(inputs, pair))
    if len(alone) == 1:
        text = f"no setting of these controls keeps “{names[alone[0]]}”."
        return InputError(text, where=f"bank {inputs.bank}", mend=_nearest(inputs, alone))
    others = [n for n in alone[1:] if _contradict(inputs, alone[0], n)] or alone[1:]
    text = f"two constraints contradict each other: “{names[alone[0]]}” and “{names[others[0]]}”. Give up one of them."
    return InputError(text, where=f"bank {inputs.bank}", mend=_nearest(inputs, alone[:1]))


def _is_possible(inputs: PlanInputs) -> bool:
    return bool(search(problem(inputs), 1, recheck=0).found)


def _contradict(inputs: PlanInputs, a: str, b: str) -> bool:
    """Whether these two alone, with nothing else asked, leave no setting."""
    return not _is_possible(relaxed(inputs, [n for n, _ in LIMIT_NAMES if n not in (a, b)]))


def _nearest(inputs: PlanInputs, without: Sequence[str]) -> str:
    """The best setting that the constraints would allow with some of them left out."""
    best = best_in(relaxed(inputs, without), middle(inputs), keep=1)
    if best is None:
        return ""
    left = " and ".join(f"“{dict(LIMIT_NAMES)[n]}”" for n in without)
    return f"Nearest miss, without {left}: {words.say_setting(inputs, best.setting)}."


# ---------------------------------------------------------------- the parts of the answer


def _settings(inputs: PlanInputs, question: Problem, ranking: Ranking) -> list[tuple[PlanSetting, float]]:
    return [(setting_at(inputs, question, f.choice), worth_minor(inputs, f.worth_micro)) for f in ranking.found]


def _worlds(inputs: PlanInputs) -> list[World]:
    return [w for u in unknowns(inputs) if u.weeks is None for w in (u.low, u.high)]


def _written(inputs: PlanInputs, question: Problem, found: _Found, answer: PlanSetting) -> Plan:
    world, queued = middle(inputs), found.queued

    def say(setting: PlanSetting) -> str:
        return words.say_setting(inputs, setting)

    made = figures(inputs, answer, inputs.today, world, _worlds(inputs))
    ranked, steps = matters(inputs, answer), fuel_steps(inputs, say)
    keeps = inputs.today is not None and _same(answer, inputs.today)
    by_key = {f.key: f for f in made}
    waits = waits_p95_s(inputs, [p.setting for p in found.front], queued)
    front = tuple(
        msgspec.structs.replace(p, wait_p95_s=w, is_answer=p.setting == answer)
        for p, w in zip(found.front, waits, strict=True)
    )
    return Plan(
        store=inputs.store, bank=inputs.bank, currency=inputs.currency,
        setting=answer, house=house_of(inputs.grid, answer), today=inputs.today,
        what_to_set=words.what_to_set(inputs, answer, keeps),
        what_it_brings=words.what_it_brings(inputs, by_key, keeps, queued.report if queued is not None else None),
        what_could_be_wrong=words.what_could_be_wrong(inputs, ranked),
        keeps_today=keeps, changes=words.changes(inputs, answer, inputs.today),
        figures=(*made, *waiting_figures(queued, inputs.today)),
        rivals=_rivals(inputs, question, found, answer), front=front,
        limit_costs=_limit_costs(inputs, found.ranking, queued),
        answers=found.least.against(inputs, answer, say),
        least_regret=found.least.setting, least_regret_minor=found.least.regret_minor,
        matters=ranked, fuel_steps=steps, free_window=free_window(inputs, answer),
        queue=queued.report if queued is not None else None,
        search=_report(inputs, found.ranking, found.least, queued),
        assumptions=inputs.assumptions, notes=_notes(inputs, queued), inputs=inputs_listed(inputs),
        workings=workings(inputs, answer, meet(inputs, answer, world), world),
        minute_cost=minute_costs(inputs, answer), fuel_hold=fuel_hold(inputs, steps, is_best=answer == found.first),
        room_air=room_air_told(inputs, answer),
    )  # fmt: skip


def _same(a: PlanSetting, b: PlanSetting) -> bool:
    """Alike in all that a control holds."""
    return (a.time_per_piece_s, a.start_pieces, a.first_time_s, a.cool_down_s, a.temps) == (
        b.time_per_piece_s, b.start_pieces, b.first_time_s, b.cool_down_s, b.temps,
    )  # fmt: skip


def _notes(inputs: PlanInputs, queued: Queued | None) -> tuple[str, ...]:
    notes = list(inputs.notes)
    if not inputs.sheet_is_read_back and not any(n.startswith("Nobody has read back") for n in notes):
        notes.append("Nobody has read the control sheet back at a machine yet; try one pocket first.")
    if queued is None:
        notes.append("Waiting for a pocket is not counted: no week of customers was given.")
    else:
        notes.append("Customers lost in line are shown apart; the weekly sums leave them out.")
    if inputs.grid.other_inputs:
        notes.append(
            "Loads are taken to be paid with the smallest coin; the other coins follow at the same price per minute."
        )
    return tuple(dict.fromkeys(notes))


def _report(inputs: PlanInputs, ranking: Ranking, least: LeastRegret, queued: Queued | None) -> SearchReport:
    settings = grid_settings(inputs)
    cut = 0.0
    if not ranking.is_all:
        cut = worth_minor(inputs, ranking.found[0].worth_micro - ranking.found[-1].worth_micro)
    says = f"All {settings:,} settings that every control of the bank can hold were searched."
    if queued is not None:
        says += f" {queued.report.candidates} went through the store's week."
    return SearchReport(
        settings=settings, feasible=True, kept=len(ranking.found), regret_is_exact=least.is_exact, regret_could_miss_minor=least.could_miss_minor,
        cut_could_miss_minor=0.0 if queued is None else queued.cut_minor if not ranking.is_all else 0.0,
        through_traffic=0 if queued is None else queued.report.candidates,
        says=says if ranking.is_all or queued is None
        else f"{says} Whatever was not kept brings at least {words.money(inputs, cut)} a week less before queues.",
    )  # fmt: skip


def _front(inputs: PlanInputs, question: Problem, first: PlanSetting) -> tuple[FrontPoint, ...]:
    """For each price of a normal load, the best that is no dearer; those that a cheaper one beats are left out."""
    heat = inputs.loads.normal_heat
    most = normal_price(inputs, first)
    points: list[FrontPoint] = []
    top = -np.inf
    for pieces in range(int(question.starts.min()), most + 1):
        found = search(capped(question, heat, pieces), 1, recheck=1).found
        if not found or found[0].worth_micro <= top:
            continue
        top = found[0].worth_micro
        setting = setting_at(inputs, question, found[0].choice)
        points.append(
            FrontPoint(
                setting=setting, says=words.say_setting(inputs, setting),
                contribution_minor=worth_minor(inputs, found[0].worth_micro),
                price_normal_minor=normal_price(inputs, setting) * setting.piece_minor, wait_p95_s=None,
            )
        )  # fmt: skip
    return tuple(points)


def _named(
    inputs: PlanInputs, question: Problem, ranking: Ranking, least: PlanSetting, front: Sequence[FrontPoint]
) -> tuple[_Name, ...]:
    """Candidates that a person may prefer to the best: each speaks for itself, all different from the best."""
    first = setting_at(inputs, question, ranking.found[0].choice)
    normal = normal_price(inputs, first) * first.piece_minor
    out = [_Name("cheaper for a normal load", p.setting, "It asks less for a normal load.") for p in front
           if p.price_normal_minor < normal][-1:]  # fmt: skip
    small = _smallest_change(inputs, question)
    if small is not None:
        reason = "It differs from today in one thing only, so less is put at risk."
        out.append(_Name("one change only", small, reason))
    reason = "It loses least wherever in its range the price response lies."
    out.append(_Name("safest over the range of price response", least, reason))
    others = [setting_at(inputs, question, f.choice) for f in ranking.found]
    out += [_Name("another time per coin", s, "It sells time in other steps.") for s in others
            if s.time_per_piece_s != first.time_per_piece_s][:1]  # fmt: skip
    out += [_Name("other heats", s, "Its heats are set otherwise.") for s in others if s.temps != first.temps][:1]
    out.append(_Name("best before queues", first, "It brings most when nobody waits."))
    kept: list[_Name] = []
    out += [_Name("next in what it brings", s, "It comes next.") for s in others[1 : 3 + RIVALS]]
    for one in out:
        is_spare = one.name == "next in what it brings" and len(kept) > RIVALS
        if not is_spare and not any(k.setting == one.setting for k in kept):
            kept.append(one)
    return tuple(kept)


def _rivals(inputs: PlanInputs, question: Problem, found: _Found, answer: PlanSetting) -> tuple[Rival, ...]:
    """Up to three named runners-up, each different from the answer and from each other; queues counted where they are known."""
    after = found.queued.after_minor if found.queued is not None else {}
    best = after.get(answer, _weekly(inputs, question, answer))
    out: list[Rival] = []
    for one in found.named:
        if one.setting == answer or len(out) == RIVALS:
            continue
        minor = after.get(one.setting, _weekly(inputs, question, one.setting))
        wait = found.queued.waits_s.get(one.setting) if found.queued is not None else None
        out.append(
            Rival(
                name=one.name, setting=one.setting, house=house_of(inputs.grid, one.setting),
                says=words.say_setting(inputs, one.setting) + ".",
                why_not=words.why_not(inputs, best - minor, one.reason, wait), contribution_minor=minor,
                behind_minor=best - minor, price_normal_minor=normal_price(inputs, one.setting) * one.setting.piece_minor,
            )
        )  # fmt: skip
    return tuple(out)


def _weekly(inputs: PlanInputs, question: Problem, setting: PlanSetting) -> float:
    choice = choice_of(inputs, question, setting)
    if choice is None:
        return weekly_minor(inputs, setting, middle(inputs))
    return worth_minor(inputs, value_micro(question, choice))


def _smallest_change(inputs: PlanInputs, question: Problem) -> PlanSetting | None:
    """The best setting that differs from today's in time, start or heats alone; None where today's is off the grid."""
    here = choice_of(inputs, question, inputs.today) if inputs.today is not None else None
    if here is None or inputs.today is None:
        return None
    found: list[tuple[int, PlanSetting]] = []
    for free in ("time", "start", "heat"):
        narrow = only(question, here, (free,))
        for f in search(narrow, 2, recheck=0).found:
            setting = setting_at(inputs, narrow, f.choice)
            if not _same(setting, inputs.today):
                found.append((f.worth_micro, setting))
    return max(found, key=lambda x: x[0])[1] if found else None


def _asks_the_same(a: Problem, b: Problem) -> bool:
    """Whether leaving a constraint out changed nothing, so that no search is needed to say what it costs."""
    return (
        (a.least_gap, a.normal_heat, a.normal_pieces, a.least_heated_s)
        == (b.least_gap, b.normal_heat, b.normal_pieces, b.least_heated_s)
        and all(np.array_equal(x, y) for x, y in (
            (a.times_s, b.times_s), (a.starts, b.starts), (a.firsts_s, b.firsts_s), (a.allowed, b.allowed), (a.stands, b.stands)
        ))
    )  # fmt: skip


def _limit_costs(inputs: PlanInputs, ranking: Ranking, queued: Queued | None) -> tuple[LimitCost, ...]:
    """What each constraint costs: the best without it, less the best with it. Those that cost nothing are left out."""
    here, question, out = worth_minor(inputs, ranking.found[0].worth_micro), problem(inputs), []
    free = [(name, says, problem(inputs, without=name)) for name, says in LIMIT_NAMES]
    free = [x for x in free if not _asks_the_same(question, x[2])]
    with ThreadPoolExecutor(2) as pool:
        for (name, says, freed), found in zip(free, pool.map(lambda x: search(x[2], 1, recheck=1), free), strict=True):
            best = worth_minor(inputs, found.found[0].worth_micro) if found.found else here
            if best > here + 0.5:
                without = setting_at(inputs, freed, found.found[0].choice)
                out.append(LimitCost(name=name, says=says, cost_minor=best - here, without_it=without))
    if queued is not None and queued.wait_limit_cost_minor > 0.5:
        out.append(
            LimitCost(
                name="wait", says="95 of 100 waits within the limit, on the short list",
                cost_minor=queued.wait_limit_cost_minor, without_it=queued.without_wait_limit,
            )
        )  # fmt: skip
    return tuple(sorted(out, key=lambda c: -c.cost_minor))
