"""One unit of the result: money expected and counted, the gap with its interval, the verdict in words."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from drybank.balance.audit import words
from drybank.balance.audit.judge import Judged, Row
from drybank.balance.audit.sight import smallest_loss
from drybank.balance.statistics.growth import Growth
from drybank.balance.statistics.lists import words as sure_words
from drybank.balance.statistics.ratios import HALF_WIDTH_95
from drybank.records.balance import UnitBalance
from drybank.records.money import Money
from drybank.records.working import Estimate, Input, Interval, Working

_CLEAR_Z = 2.0  # a total nearer to its expectation than this is not what put a unit on the list


def _why_not(j: Judged, i: int, row: Row) -> str:
    now = j.panel.now
    who = words.pockets(row.group.pockets)
    if not now["days"].size or not np.isfinite(now["days"][i]).any():
        return f"{who}: no box was emptied twice, so there is no span to judge in this period."
    if not np.isfinite(now["counted_minor"][i]).any():
        return f"{who}: emptied, but not counted on its own yet."
    if row.group.cash_counters and not np.isfinite(now["counter_minor"][i]).any():
        return f"{who}: its counter was not read at both ends, or what it counted is not known."
    if not np.isfinite(now["run_s"][i]).any():
        return (
            f"{who}: no counter ({row.group.why_no_counter}) and no hours read at both ends: cash alone tells nothing."
        )
    return f"{who}: {row.group.why_no_counter or 'nothing to compare its cash with'}."


def unit_of(j: Judged, i: int, row: Row, currency: str) -> UnitBalance:
    """The i-th group as a result."""
    rests = j.rests_on[i]
    ratio, growth = (j.cash, j.cash_growth) if rests == "counter" else (j.by_hours, j.by_hours_growth)
    common = {
        "key": row.group.key, "pockets": row.group.pockets, "bank": row.group.bank,
        "spans": _spans(j, i, rests),
        "hours": _total(j.panel.now["run_s"][i], 3600.0), "foreign": int(j.panel.foreign[i]),
        "first_gap_hours": row.gap_hours,
    }  # fmt: skip
    if rests == "nothing" or not np.isfinite(j.z[i]):
        return UnitBalance(**common, says=_why_not(j, i, row), verdict="cannot tell", rests_on="nothing")  # type: ignore[arg-type]
    counted, expected, gap, low, high = _money(j, i, rests)
    listed_short, listed_over = bool(j.listed_short[i]), bool(j.listed_over[i])
    verdict = "short" if listed_short else "over" if listed_over else "right"
    is_burst = listed_short and j.z[i] > -_CLEAR_Z
    half = 0.5 * (high - low)
    who = words.pockets(row.group.pockets)
    of = "its counter" if rests == "counter" else "its hours"
    if verdict == "right":
        says = words.right_sentence(who, half / expected, of)
    elif is_burst:
        says = _burst(j, i, who, currency)
    else:
        tells = "its counter says" if rests == "counter" else "its hours let expect"
        says = words.gap_sentence(who, gap, half, gap / expected, half / expected, of=tells, currency=currency)
    return UnitBalance(
        **common, says=says, verdict=verdict, rests_on=rests,  # type: ignore[arg-type]
        expected=Money(round(expected), currency), counted=Money(round(counted), currency),
        gap=Estimate(value=gap, unit="minor", interval=Interval(low, high)),
        share=Estimate(value=gap / expected, unit="", interval=Interval(low / expected, high / expected)),
        z=float(j.z[i]), luck=float(j.luck[i]), certainty=sure_words(float(j.luck[i])) if verdict != "right" else "",
        is_listed=listed_short or listed_over, is_watched=bool(j.watched[i]), pieces=float(ratio.n[i]),
        smallest_loss_frac=smallest_loss(float(ratio.sd[i]) ** 2),
        ends_share=float(min(1.0, growth.b / ratio.n[i] ** 2 / ratio.sd[i] ** 2)),
        working=_working(j, i, rests, growth),
    )  # fmt: skip


def _burst(j: Judged, i: int, who: str, currency: str) -> str:
    """The span that stands out, where the whole period does not."""
    worst = int(np.nanargmin(np.where(np.isfinite(j.week_z[i]), j.week_z[i], np.inf)))
    now, piece = j.panel.now, float(j.panel.piece_minor[i])
    n = float(now["counter"][i, worst])
    gap = float(now["counted_minor"][i, worst] - now["counter_minor"][i, worst])
    half = HALF_WIDTH_95 * float(np.sqrt(j.cash_growth.variance(max(n, 1.0)))) * n * piece
    end = float(now["end"][i, worst])
    day = f"{datetime.fromtimestamp(end * 86_400.0, UTC):%d %B}"
    return words.burst_sentence(who, day, gap, half, currency)


def _spans(j: Judged, i: int, rests: str) -> int:
    """Spans over which both sides of the comparison are known."""
    now = j.panel.now
    names = ("counted_minor", "counter_minor") if rests == "counter" else ("sold_cash_s", "run_s")
    return int((np.isfinite(now[names[0]][i]) & np.isfinite(now[names[1]][i])).sum()) if now["days"].size else 0


def _total(values: np.typing.NDArray[np.float64], by: float) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.sum() / by) if known.size else None


def _money(j: Judged, i: int, rests: str) -> tuple[float, float, float, float, float]:
    """Counted, expected, the gap and its 95 % interval. [minor units]

    The gap is counted less expected, put right by the coins that the emptying before the period is seen
    to have held too many or too few.
    """
    now, piece = j.panel.now, float(j.panel.piece_minor[i])
    if rests == "counter":
        both = np.isfinite(now["counted_minor"][i]) & np.isfinite(now["counter_minor"][i])
        counted = float(now["counted_minor"][i][both].sum())
        expected = float(now["counter_minor"][i][both].sum())
        gap = counted + float(j.carried[i]) * piece - expected
        shift = float(np.exp(j.centre))
        return (
            counted, expected, gap, ((1 + float(j.cash.low[i])) * shift - 1) * expected,
            ((1 + float(j.cash.high[i])) * shift - 1) * expected,
        )  # fmt: skip
    counted = float(j.by_hours.n[i]) * piece
    expected = counted / (1.0 + float(j.by_hours.share[i]))
    low, high = float(j.by_hours.low[i]), float(j.by_hours.high[i])
    return counted, expected, counted - expected, low * expected, high * expected


def _working(j: Judged, i: int, rests: str, growth: Growth) -> Working:
    ratio = j.cash if rests == "counter" else j.by_hours
    fitted = (
        f"fitted on {growth.pockets} units, leaning on what is assumed as 50 would" if growth.pockets else "assumed"
    )
    inputs: tuple[Input, ...] = (
        Input(name="pieces it rests on", value=f"{ratio.n[i]:,.0f}", how="measured"),
        Input(name="c, lasting", value=f"{growth.c:.3g}", how="learned", source=fitted),
        Input(name="a, fresh noise of a piece", value=f"{growth.a:.3g}", how="learned", source=fitted),
        Input(name="b, the two ends", value=f"{growth.b:.3g}", unit="pieces²", how="learned", source=fitted),
        Input(name="standard deviation", value=f"{ratio.sd[i]:.4f}", how="computed"),
        Input(name="z", value=f"{j.z[i]:.2f}", how="computed"),
    )
    if rests == "counter":
        inputs += (
            Input(name="middle of all counters", value=f"{j.centre:.5f}", how="learned"),
            Input(name="coins carried over from before", value=f"{j.carried[i]:+.1f}", unit="pieces", how="learned"),
        )
        formula = (
            "ln((sum counted + carried over) / sum of counter) less the middle of all; variance c + a/n + b/n², the"
            " first end narrowed by the weeks before"
        )
    else:
        formula = (
            "ln(sum of seconds bought by the cash / sum of seconds run), less the same before the period, less the"
            " siblings' median change; variance c + a (1/n + 1/n before) + b (1/n² + 1/n before²)"
        )
    return Working(figure="cash against what was expected", formula=formula, inputs=inputs)
