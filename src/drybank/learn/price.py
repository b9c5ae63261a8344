"""What a change of price or settings did: units against units, the store's total beside it, switching told from loss.

Comparing units of one store measures switching as much as lost customers: where those who mind the price walk to the
next pocket, the changed ones fall twice. So the store's total always stands beside it, with how far that moves by itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from drybank.learn.compare import Compared, compare, smallest, t_edge
from drybank.learn.past import log_ratio, noise
from drybank.learn.step import smallest_step, step
from drybank.records.errors import InputError, NotIdentified
from drybank.records.learn import (
    F64,
    Contrast,
    Diversion,
    Measure,
    Sight,
    SmallestEffect,
    StoreMove,
    Switching,
    Verdict,
)
from drybank.records.working import Assumption, Estimate, Input, Interval, Working

ALARM: Final = 0.05
WEEKS_ASKED: Final = (4, 8, 12)
NEVER_FRAC: Final = 0.60
"""An effect beyond this is not called visible: nobody needs a test to see it."""
_NAME: Final = {"pieces": "coins", "hours": "hours"}


def _frac(log: float) -> float:
    return math.expm1(min(log, 50.0))


def _estimate(log: float, ends: tuple[float, float] | None, working: Working | None = None) -> Estimate:
    interval = Interval(_frac(ends[0]), _frac(ends[1])) if ends is not None else None
    return Estimate(value=_frac(log), unit="fraction", interval=interval, working=working)


def _verdict(log: float, p: float | None) -> Verdict:
    if p is None:
        return "not known"
    if p > ALARM:
        return "no difference seen"
    return "less" if log < 0 else "more"


def contrast(weeks: F64, changed: Sequence[bool], *, at: int, before: int, after: int, what: Measure) -> Contrast:
    """Changed units against unchanged ones about week ``at`` of ``weeks`` (P, W).

    Units without use before or after are left out. Raises `NotIdentified` where too few are left.
    """
    d = _changes_of(weeks, at, before, after)
    mask, known = np.asarray(changed, bool), np.isfinite(d)
    found = compare(d[mask & known], d[~mask & known])
    return _contrast_said(found, (int((mask & known).sum()), int((~mask & known).sum())), what, (before, after))


def _changes_of(weeks: F64, at: int, before: int, after: int) -> F64:
    if not (before >= 1 and after >= 1 and before <= at <= weeks.shape[-1] - after):
        raise InputError(
            f"{before} weeks before and {after} after week {at} do not fit into {weeks.shape[-1]} weeks.", where="learn"
        )
    return log_ratio(weeks, at, before, after)


def _contrast_said(found: Compared, counts: tuple[int, int], what: Measure, span: tuple[int, int]) -> Contrast:
    verdict = _verdict(found.difference, found.p)
    working = Working(
        figure=f"{_NAME[what]} of changed against unchanged",
        formula="mean of ln(after / before) over changed less over unchanged; Student's t with units less two degrees",
        inputs=(
            Input(name="units changed", value=str(counts[0])), Input(name="units unchanged", value=str(counts[1])),
            Input(name="weeks before and after", value=f"{span[0]} and {span[1]}"),
            Input(name="relabelings", value=str(found.relabelings)),
        ),
    )  # fmt: skip
    effect = _estimate(found.difference, found.interval(), working)
    assert effect.interval is not None
    says = (
        f"Against their neighbours the changed pockets took {100 * effect.value:+.0f} % {_NAME[what]} "
        f"({100 * effect.interval.low:+.0f} to {100 * effect.interval.high:+.0f}); "
    )
    says += "that is more than chance." if verdict in ("less", "more") else "that may be chance."
    return Contrast(
        what=what, effect=effect, log_effect=found.difference, log_se=found.se, df=found.df, p_t=found.p_t,
        p_relabel=found.p_relabel, relabelings=found.relabelings,
        decided_by="relabelings" if found.decides else "t", verdict=verdict, says=says,
    )  # fmt: skip


def store_move(
    total: F64, *, at: int, before: int, after: int, what: Measure, others: F64 | None = None, others_at: Sequence[int] = ()
) -> StoreMove:  # fmt: skip
    """The store's total (W,) over ``after`` weeks from week ``at``, against all that is known of it before.

    Season and lasting chance are taken for what they are (`step`). ``others`` (stores, W), totals of stores left as they were,
    takes weather and neighbours out too: then the ratio to their sum is followed. ``others_at`` are weeks of other changes.
    """
    line, against = np.asarray(total, dtype=np.float64), 0
    if others is not None and len(others):
        against = len(others)
        with np.errstate(divide="ignore", invalid="ignore"):
            line = line / np.asarray(others).sum(axis=0)
    plain = float(_changes_of(line, at, before, after))
    if not math.isfinite(plain):
        raise NotIdentified("The store's total is not known in the weeks before or after the change.")
    line = line[: at + after]
    known, seen = int(np.isfinite(line[:at]).sum()), step(line, at, others_at=others_at)
    if seen is None:
        words = (
            f"The store's total moved by {100 * _frac(plain):+.0f} % in {_NAME[what]}; its past is too short to say what is "
            "usual, so nobody can tell what did it."
        )
        return StoreMove(
            what=what, effect=_estimate(plain, None), log_effect=plain, log_se=None, df=None, against=against,
            weeks_known=known, p=None, verdict="not known", says=words,
        )  # fmt: skip
    working = Working(
        figure=f"{_NAME[what]} of the store",
        formula="ln of weekly totals: a level, a step at the change, a wave of the year, weeks that wander; mixture of Student's t",
        inputs=(
            Input(name="weeks before", value=str(known)), Input(name="weeks after", value=str(after)),
            Input(name="stores beside it", value=str(against)), Input(name="other changes", value=str(len(others_at))),
        ),
    )  # fmt: skip
    effect, verdict = _estimate(seen.log, seen.interval(), working), _verdict(seen.log, seen.p)
    assert effect.interval is not None
    beside = f"beside {against} other stores" if against else f"against its {known} weeks before"
    usual = "more than it moves by itself" if verdict in ("less", "more") else "no more than it moves by itself"
    says = (
        f"The store as a whole took {100 * effect.value:+.0f} % {_NAME[what]} {beside}, season taken out "
        f"({100 * effect.interval.low:+.0f} to {100 * effect.interval.high:+.0f}): {usual}."
    )
    return StoreMove(
        what=what, effect=effect, log_effect=seen.log, log_se=seen.se, df=float(seen.df), against=against,
        weeks_known=known, p=seen.p, verdict=verdict, says=says,
    )  # fmt: skip


def diversion(contrast: Contrast, store: StoreMove, *, share: float) -> Diversion:
    """How much of what the changed units lost the unchanged ones took up; the changed had ``share`` of use before (0 to 1).

    The contrast says how far the two groups moved apart, the store's move where both went together; what each group lost or
    won follows from the two. The taken share is a ratio of two uncertain figures, so its interval is Fieller's; where the loss
    itself is not beyond chance there is nothing to tell apart.
    """
    if store.log_se is None or store.df is None:
        return Diversion(share=None, verdict="cannot tell", says=_cannot("the store's past is too short"))
    if not 0 < share < 1:
        return Diversion(share=None, verdict="nothing to tell apart", says="Every pocket was changed, so none could be switched to.")  # fmt: skip

    def lost_won(apart: float, together: float) -> F64:
        rest = math.exp(together) / (share * math.exp(apart) + 1 - share)
        return np.array([share * (1 - math.exp(apart) * rest), (1 - share) * (rest - 1)])

    at = (contrast.log_effect, store.log_effect)
    lost, won = lost_won(*at)
    h = 1e-5
    by = [(lost_won(at[0] + h, at[1]) - lost_won(at[0] - h, at[1])) / (2 * h) * contrast.log_se,
          (lost_won(at[0], at[1] + h) - lost_won(at[0], at[1] - h)) / (2 * h) * store.log_se]  # fmt: skip
    var_lost, var_won, cov = (float(sum(v[i] * v[j] for v in by)) for i, j in ((0, 0), (1, 1), (0, 1)))
    parts = [float((v[1] - won / lost * v[0]) ** 2) if lost else 1.0 for v in by]
    df = sum(parts) ** 2 / (parts[0] ** 2 / contrast.df + parts[1] ** 2 / store.df) if sum(parts) > 0 else 1.0
    edge = t_edge(df)
    if lost**2 <= edge**2 * var_lost:
        return Diversion(share=None, verdict="cannot tell", says=_cannot("the loss itself is within chance"))
    return _told_apart(won / lost, _fieller((won, lost), (var_won, var_lost, cov), edge))


def _told_apart(taken: float, ends: tuple[float, float]) -> Diversion:
    low, high = ends
    estimate = Estimate(value=taken, unit="fraction", interval=Interval(low, high))
    holds_none, holds_all = low <= 0.0 <= high, low <= 1.0 <= high
    took = f"{100 * taken:.0f} % ({100 * low:.0f} to {100 * high:.0f})"
    said: dict[tuple[bool, bool], tuple[Switching, str]] = {
        (True, True): ("cannot tell", _cannot(f"the others took up {took} of it")),
        (True, False): ("lost", f"What the changed pockets lost left the store: the others took up {took} of it."),
        (False, True): ("switched", f"Customers switched pockets: the others took up {took} of what the changed lost."),
        (False, False): ("both", f"Some switched and some left: the others took up {took} of it."),
    }
    verdict, says = said[holds_none, holds_all]
    return Diversion(share=estimate, verdict=verdict, says=says)


def _cannot(why: str) -> str:
    return f"Whether customers left or only switched pockets cannot be told: {why}."


def _fieller(values: tuple[float, float], var: tuple[float, float, float], edge: float) -> tuple[float, float]:
    """Interval of top / bottom of two estimates with their variances and covariance; bottom is beyond chance."""
    top, bottom = values
    vt, vb, cov = var
    a = bottom**2 - edge**2 * vb
    b = top * bottom - edge**2 * cov
    c = top**2 - edge**2 * vt
    root = math.sqrt(max(b**2 - a * c, 0.0))
    return (b - root) / a, (b + root) / a


def sight(weeks: F64, *, changed: int, what_weeks: Sequence[int] = WEEKS_ASKED) -> Sight:
    """Smallest effects that a store would see, before anything is changed, from weeks (P, W) of its own.

    ``changed`` units of the P. Raises `InputError` where none or more than all would be changed.
    """
    units = weeks.shape[0]
    if not 1 <= changed <= units:
        raise InputError(f"{changed} of {units} units cannot be changed.", allowed=f"1 to {units}")
    rows, own = [], True
    for w in what_weeks:
        heard = noise(weeks, w, w)
        own &= heard.is_own
        within = store = None
        if changed < units and units >= 3:
            se = heard.unit_sd * math.sqrt(1 / changed + 1 / (units - changed))
            within = _visible(smallest(se, units - 2))
        least = smallest_step(weeks.sum(axis=0), w)
        if least is not None:
            store = _visible(least)
        rows.append(SmallestEffect(weeks=w, changed=changed, units=units, within_frac=within, store_frac=store))
    assumed = () if own else (
        Assumption(name="noise of a pocket's week", taken="as of 35 loads a week", source="assumed, no source",
                   matters="how small an effect can be seen"),
    )  # fmt: skip
    return Sight(
        rows=tuple(rows), is_from_own_past=own, weeks_known=int(weeks.shape[1]), says=_sight_says(rows), assumed=assumed
    )


def _visible(log: float) -> float | None:
    """A fall seen, as a fraction; None beyond what counts as visible."""
    fall = -math.expm1(-log)
    return fall if fall <= NEVER_FRAC else None


def _sight_says(rows: Sequence[SmallestEffect]) -> str:
    last = rows[-1]
    said = []
    for row in rows:
        seen = "nothing" if row.within_frac is None else f"a fall of {100 * row.within_frac:.0f} %"
        said.append(f"{seen} after {row.weeks} + {row.weeks} weeks")
    text = ""
    if last.changed < last.units:
        text = f"With {last.changed} of {last.units} changed, pockets against pockets would show {', '.join(said)}, four times in five. "
    total = [r for r in rows if r.store_frac is not None]
    if total:
        best = min(total, key=lambda r: r.store_frac or 1.0)
        text += f"The store's total would show a fall of {100 * (best.store_frac or 0):.0f} % after {best.weeks} weeks, against all that is known before. "
    else:
        text += "The store's total would not show any change that a person would not see: its past is too short or too restless. "
    known = [f for r in rows for f in (r.within_frac, r.store_frac) if f is not None]
    least = min([*known, 1.0])
    if least > 0.05:
        text += f"A response of {'5 to 10 %' if least > 0.10 else '5 %'} cannot be seen here."
    return text.strip()
