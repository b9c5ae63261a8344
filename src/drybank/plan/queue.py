"""The short list through the store's week: waiting and lost customers, the same customers met by every setting.

Queues can only take away: customers who leave a line are lost with their visit, so a setting's worth without queues bounds
its worth with them. Candidates go through the week in the order of that bound, until no bound left beats the best found, or
the list's end; then the report says how much the cut could miss.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import msgspec
import numpy as np

from drybank.plan.outcome import levels_of, mean, meet
from drybank.plan.search.problem import World, middle
from drybank.records.errors import InputError
from drybank.records.plan import F64, I64, PlanFigure, PlanInputs, PlanSetting, QueueReport
from drybank.records.traffic import BankSetting, CoinBuying, Demand, NeedTable
from drybank.records.traffic import Settings as WeekSettings
from drybank.records.working import Estimate, Interval
from drybank.traffic import Work, simulate_counts
from drybank.traffic.result import percentile_s, ratio

CANDIDATES, WEEKS, REPLICATIONS, SEED, THREADS = 8, 13, 8, 20_260_101, 2
T_95 = 2.364624
"""Two-sided 95 % point of Student's t with 7 degrees of freedom (`REPLICATIONS` less one)."""
KINDS = 10
SECOND_TICKS = 1_000_000
LINES = ("lost_pocket_line", "lost_pocket_wait")
"""Customers lost at the dryers; those lost before a wash are no matter of these settings."""


@dataclass(frozen=True, eq=False)
class _Run:
    """One setting's weeks: customers lost in line by replication, waits."""

    setting: PlanSetting
    lost: F64
    waits: F64
    wait_p95_s: float | None
    cost_minor: float


@dataclass(frozen=True)
class Queued:
    """What the store's week made of the short list."""

    setting: PlanSetting
    report: QueueReport
    cut_minor: float
    wait_limit_cost_minor: float
    without_wait_limit: PlanSetting
    """The best after queues if waiting were not limited, and what the limit costs against it."""
    waits_s: dict[PlanSetting, float | None]
    after_minor: dict[PlanSetting, float]
    """What each setting that went through brings a week, customers lost in line taken off."""
    wait_each_s: dict[PlanSetting, F64]
    """The 95th percentile of waits in each replication, for the chosen setting and today's."""


def through_traffic(
    inputs: PlanInputs, ranked: Sequence[tuple[PlanSetting, float]], also: Sequence[tuple[PlanSetting, float]] = ()
) -> Queued | None:
    """The best of the short list with queues counted; None when no week of customers is given.

    ``ranked`` is best first, each with what it brings before queues; ``also`` go through in any case (named rivals, the
    points of the front). Settings run two at a time, one thread each; the result does not depend on it.
    """
    if inputs.traffic is None or not ranked:
        return None
    world = middle(inputs)
    also = list(dict(also).items())
    first = [s for s, _ in also] + ([inputs.today] if inputs.today is not None else [])
    with ThreadPoolExecutor(THREADS) as pool:
        made = dict(zip(first, pool.map(lambda s: _run(inputs, s, world), first), strict=True))
        runs = [(bound - made[s].cost_minor, made[s]) for s, bound in also]
        cut = _down_the_list(inputs, ranked, runs, world, pool)
        chosen, free = _chosen(inputs, runs)
        known = [s for s in (chosen[1].setting, inputs.today) if s is not None]
        each = dict(zip(known, pool.map(lambda s: _waits_each(inputs, s, world), known), strict=True))
    value, run = chosen
    return Queued(
        setting=run.setting,
        wait_limit_cost_minor=max(0.0, free[0] - value),
        without_wait_limit=free[1].setting,
        report=_report(inputs, len(runs), run, made[inputs.today] if inputs.today is not None else None),
        cut_minor=max(0.0, cut - value),
        waits_s={r.setting: r.wait_p95_s for _, r in runs},
        after_minor={r.setting: v for v, r in runs},
        wait_each_s=each,
    )


def _down_the_list(
    inputs: PlanInputs, ranked: Sequence[tuple[PlanSetting, float]], runs: list[tuple[float, _Run]], world: World,
    pool: ThreadPoolExecutor,
) -> float:  # fmt: skip
    """Run settings of the short list until no bound left beats the best, or the list's end; the best bound left out."""
    best, cut = _best_keeping(inputs, runs), 0.0
    done = {r.setting for _, r in runs}
    seen: set[tuple[int, int, int]] = set()
    waiting: list[tuple[PlanSetting, float]] = []

    def run_waiting() -> None:
        settings = [s for s, _ in waiting]
        for (_, bound), run in zip(waiting, pool.map(lambda s: _run(inputs, s, world), settings), strict=True):
            runs.append((bound - run.cost_minor, run))
        waiting.clear()

    for setting, bound in ranked:
        if bound <= best:
            break
        times = (setting.time_per_piece_s, setting.start_pieces, setting.first_time_s)
        if setting in done:
            seen.add(times)
            continue
        if times in seen or len(seen) >= CANDIDATES:
            cut = max(cut, bound)
            continue
        seen.add(times)
        waiting.append((setting, bound))
        if len(waiting) >= (THREADS if runs else 1):
            run_waiting()
            best = _best_keeping(inputs, runs)
    run_waiting()
    return cut


def _best_keeping(inputs: PlanInputs, runs: Sequence[tuple[float, _Run]]) -> float:
    """The most that a run brings among those that keep the limit on waiting."""
    return max((value for value, run in runs if _keeps(inputs, run) is not False), default=-np.inf)


def _keeps(inputs: PlanInputs, run: _Run) -> bool | None:
    """Whether a run keeps the limit on waiting; None where there is none."""
    limit = inputs.limits.wait_p95_s
    return None if limit is None else run.wait_p95_s is None or run.wait_p95_s <= limit


def _chosen(inputs: PlanInputs, runs: Sequence[tuple[float, _Run]]) -> tuple[tuple[float, _Run], tuple[float, _Run]]:
    """The best run that keeps the limit on waiting (where none does, the shortest wait: the report says so), and the best
    were waiting not limited."""
    keeping = [x for x in runs if _keeps(inputs, x[1]) is not False]
    best = max(keeping, key=lambda x: x[0]) if keeping else min(runs, key=lambda x: (x[1].wait_p95_s or 0.0, -x[0]))
    return best, max(runs, key=lambda x: x[0])


def estimate(each: F64, unit: str) -> Estimate:
    """Mean over the replications with its 95 % interval (Student's t)."""
    mean, half = float(each.mean()), T_95 * float(each.std(ddof=1)) / REPLICATIONS**0.5
    return Estimate(value=mean, unit=unit, interval=Interval(mean - half, mean + half))


def waits_p95_s(inputs: PlanInputs, settings: Sequence[PlanSetting], known: Queued | None) -> list[float | None]:
    """The 95th percentile of waits for a pocket at each setting; None where no week is given."""
    if inputs.traffic is None:
        return [None] * len(settings)
    waits = dict(known.waits_s) if known is not None else {}
    return [waits[s] if s in waits else _run(inputs, s, middle(inputs)).wait_p95_s for s in settings]


def waiting_figures(queued: Queued | None, today: PlanSetting | None) -> tuple[PlanFigure, ...]:
    """Waiting and customers lost in line, today beside proposed, the same customers met."""
    if queued is None:
        return ()
    report = queued.report
    out = [
        PlanFigure(key="lost in line", name="customers lost in line at the dryers", today=report.lost_today,
                   proposed=report.lost, difference=report.lost_difference),
        PlanFigure(key="wait", name="mean wait for a pocket", today=report.wait_mean_today_s,
                   proposed=report.wait_mean_s, difference=report.wait_mean_difference_s),
    ]  # fmt: skip
    new = queued.wait_each_s[queued.setting]
    old = queued.wait_each_s.get(today) if today is not None else None
    if report.wait_p95_s is not None:
        before = None if old is None else _percentile(report.wait_p95_today_s, old)
        change = None
        if old is not None and report.wait_p95_today_s is not None:
            spread = estimate(new - old, "s")
            value = report.wait_p95_s - report.wait_p95_today_s
            change = msgspec.structs.replace(spread, value=value, interval=_about(value, spread.interval))
        out.append(PlanFigure(key="wait p95", name="95 of 100 waits are within", today=before,
                              proposed=_percentile(report.wait_p95_s, new), difference=change))  # fmt: skip
    return tuple(out)


def _percentile(value: float | None, each: F64) -> Estimate:
    """A percentile over all replications, with the interval that its scatter between replications gives."""
    spread = estimate(each, "s")
    if value is None:
        return spread
    around = _about(value, spread.interval)
    return msgspec.structs.replace(
        spread, value=value, interval=around and msgspec.structs.replace(around, low=max(0.0, around.low))
    )


def _about(value: float, spread: Interval | None) -> Interval | None:
    if spread is None:
        return None
    half = (spread.high - spread.low) / 2.0
    return msgspec.structs.replace(spread, low=value - half, high=value + half)


def _report(inputs: PlanInputs, candidates: int, run: _Run, today: _Run | None) -> QueueReport:
    keeps = _keeps(inputs, run)
    change = None if today is None else estimate(run.lost - today.lost, "customers a week")
    return QueueReport(
        candidates=candidates, replications=REPLICATIONS, weeks=WEEKS,
        wait_p95_today_s=None if today is None else today.wait_p95_s, wait_p95_s=run.wait_p95_s,
        wait_mean_today_s=None if today is None else estimate(today.waits, "s"), wait_mean_s=estimate(run.waits, "s"),
        wait_mean_difference_s=None if today is None else estimate(run.waits - today.waits, "s"),
        lost_today=None if today is None else estimate(today.lost, "customers a week"),
        lost=estimate(run.lost, "customers a week"), lost_difference=change, cost_minor=run.cost_minor,
        cost_today_minor=None if today is None else today.cost_minor,
        keeps_wait_limit=keeps, says=_says(inputs, run, keeps, change),
    )  # fmt: skip


def _says(inputs: PlanInputs, run: _Run, keeps: bool | None, change: Estimate | None) -> str:
    text = (
        f"95 of 100 waits for a pocket are within {run.wait_p95_s / 60:.0f} min."
        if run.wait_p95_s
        else "At least 95 of 100 customers find a pocket free."
    )
    if change is not None and change.interval is not None:
        less, more = change.interval.low, change.interval.high
        text += " Customers lost in line: " + (
            "no different from today." if less <= 0.0 <= more else f"{change.value:+.1f} a week against today."
        )
    if keeps is False and inputs.limits.wait_p95_s is not None:
        text += (
            f" No setting on the short list keeps the limit of {inputs.limits.wait_p95_s / 60:.0f} min: "
            "more pockets or shorter needs would, prices alone do not."
        )
    return text


def _run(inputs: PlanInputs, setting: PlanSetting, world: World) -> _Run:
    """A setting's weeks; the loads of a lost customer take margin and visit along."""
    assert inputs.traffic is not None, "asked for only where a week is given"
    work = Work(weeks=WEEKS, replications=REPLICATIONS, seed=SEED, warm_weeks=1)
    counts = simulate_counts(inputs.traffic, week_settings(inputs, setting, world), work)
    lost: F64 = np.sum([counts.column(name) for name in LINES], axis=0) / WEEKS
    waits = ratio(counts.column("pocket_wait_ticks"), counts.column("pocket_waits")) / SECOND_TICKS
    met = meet(inputs, setting, world)
    dried = max(mean(met, met.is_dried * 1.0), 1e-9)
    shares = inputs.traffic.visits.loads_share
    loads = float(np.dot(np.arange(1, len(shares) + 1), shares))
    each = mean(met, met.margin) / dried + world.visit_minor
    return _Run(
        setting=setting, lost=lost, waits=np.nan_to_num(waits), cost_minor=float(lost.mean()) * loads * max(each, 0.0),
        wait_p95_s=percentile_s(counts.waits[1].sum(axis=0), 0.95),
    )  # fmt: skip


def _waits_each(inputs: PlanInputs, setting: PlanSetting, world: World) -> F64:
    """The 95th percentile of waits in each replication by itself; what it scatters between them. [s]"""
    assert inputs.traffic is not None, "asked for only where a week is given"
    sold, out = week_settings(inputs, setting, world), np.zeros(REPLICATIONS)
    for k in range(REPLICATIONS):
        work = Work(weeks=WEEKS, replications=1, seed=SEED, warm_weeks=1, first=k)
        counts = simulate_counts(inputs.traffic, sold, work)
        out[k] = percentile_s(counts.waits[1].sum(axis=0), 0.95) or 0.0
    return out


def week_settings(inputs: PlanInputs, setting: PlanSetting, world: World) -> WeekSettings:
    """What the banks of the week are set to, this bank at ``setting``; who accepts the price comes, measured by today."""
    assert inputs.traffic is not None
    banks = 1 + max(p.bank for p in inputs.traffic.pockets)
    mine = BankSetting(coin=coin_buying(inputs, setting), need=need_table(inputs, setting, world))
    if banks == 1:
        others: tuple[BankSetting, ...] = (mine,)
    elif inputs.traffic_settings is None or len(inputs.traffic_settings.banks) != banks:
        raise InputError(f"the week has {banks} banks; what they are set to is not given.", where="traffic_settings")
    else:
        others = inputs.traffic_settings.banks
    taken = tuple(mine if i == inputs.traffic_bank else b for i, b in enumerate(others))
    factor = _accepting(inputs, setting, world)
    base = _accepting(inputs, inputs.today, world) if inputs.today is not None else 1.0
    share = factor / base if base > 0 else 1.0
    if banks > 1:  # only this bank's customers see its price
        mine_share = sum(p.bank == inputs.traffic_bank for p in inputs.traffic.pockets) / len(inputs.traffic.pockets)
        share = 1.0 + (share - 1.0) * mine_share
    return WeekSettings(banks=taken, demand=Demand(factor_by_hour=(share,) * 168))


def _accepting(inputs: PlanInputs, setting: PlanSetting, world: World) -> float:
    met = meet(inputs, setting, world)
    return mean(met, met.is_dried * 1.0)


def coin_buying(inputs: PlanInputs, setting: PlanSetting) -> CoinBuying:
    """The sale in plain numbers, the top-up limit of the house settings with it."""
    limit = next((h.value for h in inputs.grid.template if h.purpose == "top-up limit"), 0)
    return CoinBuying(
        start_pieces=setting.start_pieces, first_time_s=setting.first_time_s, piece_time_s=setting.time_per_piece_s,
        limit_s=max(limit, setting.first_time_s) if limit else 0, cool_down_s=setting.cool_down_s,
        cool_down_inside=inputs.grid.cool_is_inside,
    )  # fmt: skip


def need_table(inputs: PlanInputs, setting: PlanSetting, world: World) -> NeedTable:
    """Needs by mass, ten equally likely kinds that share the heats as customers do."""
    loads, levels = inputs.loads, levels_of(inputs, setting)
    order = np.argsort(loads.load_kg, kind="stable")
    mass = loads.load_kg[order]
    grid = np.linspace(float(mass[0]), float(max(mass[-1], mass[0] + 0.1)), 9)
    heats = _kinds(loads.heat, len(inputs.grid.heats))
    rows = [
        tuple(float(np.interp(m, mass, loads.need_s[order, levels[h]])) * world.need_frac for h in heats) for m in grid
    ]
    return NeedTable(load_kg=tuple(float(m) for m in grid), need_s=tuple(rows))


def _kinds(heat: I64, heats: int) -> list[int]:
    """Heats of ten kinds, in proportion to how often they are chosen."""
    share = np.bincount(heat, minlength=heats) / heat.size
    edges = np.cumsum(share)
    return [int(np.searchsorted(edges, (i + 0.5) / KINDS)) for i in range(KINDS)]
