"""Use by week: what is usual, season where two years tell it, what comes next with an interval that the past has borne out.

The interval comes from the same question asked of the past again and again: so many weeks known, so many ahead. When in
the day and week use falls is learned only from what has times: watches, readings a day apart, statements of one day.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Final

import numpy as np

from drybank.learn.compare import t_edge
from drybank.learn.past import LEAST_DF, store_noise
from drybank.learn.regress import least_squares
from drybank.records.errors import NotIdentified
from drybank.records.learn import F64, Ahead, BackTested, Measure, Quarter, Starts, Timing, UseLearned, WeeklyUse
from drybank.records.working import Estimate, Input, Interval, Working

BASE_WEEKS: Final = 8
AHEAD_WEEKS: Final = (1, 4, 13)
SEASON_WEEKS: Final = 104
YEAR_WEEKS: Final = 52.1775
LEAST_LOADS: Final = 12
LEAST_QUARTER: Final = 6
QUARTERS: Final = {
    "Dec to Feb": (12, 1, 2),
    "Mar to May": (3, 4, 5),
    "Jun to Aug": (6, 7, 8),
    "Sep to Nov": (9, 10, 11),
}
LEAST_DAYS: Final = 2
"""Days of each weekday that have to be seen before weekdays are told."""


def ahead(weeks: F64, at: str, what: Measure, coming: int) -> Ahead | None:
    """Use over the coming weeks of one line (W,): the last weeks' mean carried on; None where the past is too short."""
    line = weeks[np.isfinite(weeks)] if np.isfinite(weeks[-BASE_WEEKS:]).all() else weeks[:0]
    if line.size < BASE_WEEKS or line[-BASE_WEEKS:].sum() <= 0:
        return None
    sd, df, windows = store_noise(line, BASE_WEEKS, coming)
    if not math.isfinite(sd) or df < LEAST_DF:
        return None
    middle, half = float(line[-BASE_WEEKS:].mean()) * coming, t_edge(df) * sd
    unit = "h" if what == "hours" else "pieces"
    working = Working(
        figure=f"{what} of the next {coming} weeks", formula="mean of the last weeks carried on; spread of the same step in the past",
        inputs=(Input(name="weeks known", value=str(line.size), how="measured"),
                Input(name="such steps in the past", value=f"{windows}, worth {df:.1f} separate ones")),
    )  # fmt: skip
    ends = Interval(middle * math.exp(-half), middle * math.exp(half))
    return Ahead(
        at=at, what=what, weeks=coming,
        total=Estimate(value=middle, unit=unit, interval=ends, how="learned", working=working),
    )  # fmt: skip


def back_test(lines: Sequence[F64], coming: int, what: Measure = "hours") -> BackTested | None:
    """How often intervals made at past moments, from what was known by then, held what came; None where none could be made."""
    held = tried = 0
    for line in lines:
        for now in range(line.size - coming, BASE_WEEKS + coming, -max(coming, 1)):
            said = ahead(line[:now], "", what, coming)
            came = line[now : now + coming].sum()
            if said is not None and said.total.interval is not None and np.isfinite(came):
                tried += 1
                held += said.total.interval.low <= came <= said.total.interval.high
    return BackTested(weeks=coming, tried=tried, held_frac=held / tried) if tried else None


def season_and_trend(total: F64, first: date) -> tuple[Estimate, Estimate]:
    """Swing of the year (half of highest less lowest, as a fraction) and trend a year, from two years or more.

    Neighbouring weeks are alike, so weeks are first summed by four. Raises `NotIdentified` with less than two years.
    """
    if total.size < SEASON_WEEKS:
        raise NotIdentified(f"{total.size} weeks cannot tell season from trend; it takes {SEASON_WEEKS}.")
    months = total[: total.size // 4 * 4].reshape(-1, 4).sum(axis=1)
    at = (first.toordinal() / 7 + 2 + 4 * np.arange(months.size)) / YEAR_WEEKS
    known = np.isfinite(months) & (months > 0)
    angle = 2 * np.pi * at
    columns = np.column_stack([np.ones_like(at), at - at.mean(), np.cos(angle), np.sin(angle)])[known]
    fit = least_squares(columns, np.log(months[known]))
    trend = fit.estimate(np.array([0.0, 1.0, 0.0, 0.0]), "ln a year")
    swing = float(np.hypot(fit.beta[2], fit.beta[3]))
    row = np.array([0.0, 0.0, *(fit.beta[2:4] / max(swing, 1e-12))])
    half = t_edge(fit.df) * fit.of(row)[1]
    assert trend.interval is not None
    grown = Interval(math.expm1(trend.interval.low), math.expm1(trend.interval.high))
    return (
        Estimate(value=swing, unit="fraction", interval=Interval(max(0.0, swing - half), swing + half), how="learned"),
        Estimate(value=math.expm1(trend.value), unit="fraction a year", interval=grown, how="learned"),
    )


def weekdays(days: Sequence[tuple[date, float]]) -> Timing:
    """Share of each weekday, Monday first, from use of single days; even and assumed where too few were seen."""
    by: list[list[float]] = [[] for _ in range(7)]
    for day, amount in days:
        by[day.weekday()].append(amount)
    if min(len(b) for b in by) < LEAST_DAYS:
        return Timing(what="weekdays", share=(1 / 7,) * 7, give_or_take=(), how="assumed",
                      source="even days; read every day for two weeks to tell them apart")  # fmt: skip
    mean = np.array([np.mean(b) for b in by])
    df = sum(len(b) - 1 for b in by)
    pooled = math.sqrt(sum(float(((np.array(b) - np.mean(b)) ** 2).sum()) for b in by) / df)
    se = pooled / np.sqrt([len(b) for b in by])
    share, total = mean / mean.sum(), mean.sum()
    var = (se**2 * (1 - share) ** 2 + share**2 * ((se**2).sum() - se**2)) / total**2
    give = t_edge(df) * np.sqrt(var)
    return Timing(what="weekdays", share=tuple(map(float, share)), give_or_take=tuple(map(float, give)), how="learned",
                  source=f"{len(days)} single days of readings or statements")  # fmt: skip


def hours_of_day(watched: Sequence[tuple[float, float, int]], open_hours: Sequence[bool]) -> Timing:
    """Share of each hour of the day from watches (from, to, customers; hours of the day), where they cover the open hours."""
    seconds, customers = np.zeros(24), np.zeros(24)
    for start, end, count in watched:
        edges = np.arange(24)
        inside = np.clip(np.minimum(edges + 1, end) - np.maximum(edges, start), 0, None)
        seconds += inside
        customers += count * inside / max(end - start, 1e-9)
    is_open = np.asarray(open_hours, bool)
    if not is_open.any() or (seconds[is_open] < 1.0).any():
        even = is_open / is_open.sum() if is_open.any() else np.full(24, 1 / 24)
        return Timing(what="hours of the day", share=tuple(map(float, even)), give_or_take=(), how="assumed",
                      source="even over open hours; watch each open hour once to tell them apart")  # fmt: skip
    rate = np.where(is_open, customers / np.maximum(seconds, 1e-9), 0.0)
    var = np.where(is_open, np.maximum(customers, 1.0) / np.maximum(seconds, 1e-9) ** 2, 0.0)
    share, total = rate / rate.sum(), rate.sum()
    give = 1.96 * np.sqrt(var * (1 - share) ** 2 + share**2 * (var.sum() - var)) / total
    return Timing(what="hours of the day", share=tuple(map(float, share)), give_or_take=tuple(map(float, give)), how="learned",
                  source=f"{len(watched)} watches; where one spans hours, its customers are spread evenly")  # fmt: skip


def by_season(line: F64, starts_day: F64, at: str, what: Measure) -> list[Quarter]:
    """Mean of a line (W,) over each quarter of the last 52 weeks; a quarter with fewer than six known weeks is left out."""
    out = []
    last, days = line[-52:], starts_day[-52:]
    month = np.array([_day(days[k : k + 1]).month for k in range(days.size)])
    for name, months in QUARTERS.items():
        mine = last[np.isin(month, months) & np.isfinite(last)]
        if mine.size >= LEAST_QUARTER:
            out.append(Quarter(at=at, what=what, months=name, per_week=float(mine.mean()), weeks=int(mine.size)))
    return out


def starts(purchases: Sequence[tuple[int, int]], pieces_week: F64) -> Starts:
    """Starts a week and first purchases, from pieces (at first, in all) of watched loads and the counters' weeks (W,).

    A week's starts are its pieces over the pieces of a load: the last weeks are counted, so chance is that of the loads.
    Student's intervals of the means.
    """
    n = len(purchases)
    if n < LEAST_LOADS:
        why = (
            f"{n} loads were watched with their purchases; it takes {LEAST_LOADS}"
            if n
            else "nobody watched loads with their purchases"
        )
        return Starts(
            per_week=None, first_pieces=None, pieces=None, topped_up_frac=None, how="assumed",
            says=f"Starts and first purchases: {why}, so they are not known. A meter of starts, or a watch that writes down what each load put in, tells them.",
        )  # fmt: skip
    seen = np.asarray(purchases, np.float64)
    edge, root = t_edge(n - 1), math.sqrt(n)
    means = []
    for column in (seen[:, 0], seen[:, 1]):
        half = edge * float(column.std(ddof=1)) / root
        ends = Interval(float(column.mean()) - half, float(column.mean()) + half)
        means.append(Estimate(value=float(column.mean()), unit="pieces", interval=ends, how="learned"))
    first, whole = means
    share, more = wilson(int((seen[:, 1] > seen[:, 0]).sum()), n), seen[:, 1] > seen[:, 0]
    topped = Estimate(value=float(more.mean()), unit="fraction", interval=share, how="learned")
    week = pieces_week[-BASE_WEEKS:]
    known = week[np.isfinite(week)]
    per_week, text = None, ""
    assert whole.interval is not None
    if known.size == BASE_WEEKS and whole.interval.low > 0:
        total = float(known.mean())
        ends = Interval(total / whole.interval.high, total / whole.interval.low)
        per_week = Estimate(value=total / whole.value, unit="starts", interval=ends, how="learned")
        text = f"About {per_week.value:.0f} starts a week ({ends.low:.0f} to {ends.high:.0f}), by the counters of the last {BASE_WEEKS} weeks. "
    text += (
        f"{n} loads watched: {first.value:.1f} pieces at first, {whole.value:.1f} in all; {100 * topped.value:.0f} % put in more "
        f"({100 * share.low:.0f} to {100 * share.high:.0f})."
    )
    return Starts(per_week=per_week, first_pieces=first, pieces=whole, topped_up_frac=topped, how="learned", says=text)


def wilson(hits: int, n: int) -> Interval:
    """Wilson's 95 % interval of a share."""
    z2, p = 1.959963984540054**2, hits / n
    middle, half = (
        (p + z2 / (2 * n)) / (1 + z2 / n),
        math.sqrt(z2 * p * (1 - p) / n + z2**2 / (4 * n * n)) / (1 + z2 / n),
    )
    return Interval(max(0.0, middle - half), min(1.0, middle + half))


def learn_use(
    use: WeeklyUse, *, timing: Sequence[Timing] = (), purchases: Sequence[tuple[int, int]] = ()
) -> UseLearned:  # fmt: skip
    """Usual weeks, season, starts, and what comes next, of every unit and of the store."""
    rows: list[Ahead] = []
    coming: list[Ahead] = []
    notes: list[str] = []
    tests: list[BackTested] = []
    quarters: list[Quarter] = []
    swing = trend = None
    for what in ("hours", "pieces"):
        lines = dict(zip(use.units, use.of(what), strict=True))
        known = {k: v for k, v in lines.items() if np.isfinite(v).any()}
        total = use.of(what).sum(axis=0)
        for key, line in {"store": total, **known}.items():
            quarters += by_season(line, use.starts, key, what)
            rows += [r for r in (ahead(line, key, what, 1),) if r is not None]
        made = [ahead(total, "store", what, w) for w in AHEAD_WEEKS[1:]]
        coming += [m for m in made if m is not None]
        if what == "hours":
            found = [back_test([total, *known.values()], w) for w in AHEAD_WEEKS]
            tests += [t for t in found if t is not None]
            try:
                swing, trend = season_and_trend(total, _day(use.starts))
            except NotIdentified as no:
                notes.append(no.sentence())
    if not rows:
        notes.append("Readings do not reach over enough weeks in a row to say what comes next.")
    return UseLearned(
        weeks=int(use.starts.size), per_week=tuple(rows), season_swing=swing, trend_year=trend, ahead=tuple(coming),
        back_test=tuple(tests), timing=tuple(timing), starts=starts(purchases, use.pieces.sum(axis=0)), by_season=tuple(quarters), notes=tuple(notes),
    )  # fmt: skip


def _day(starts: F64) -> date:
    return date.fromordinal(date(1970, 1, 1).toordinal() + int(starts[0])) if starts.size else date(1970, 1, 1)
