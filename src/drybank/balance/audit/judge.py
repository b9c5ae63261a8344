"""All groups of one or many stores judged together: the statistics laid over the rows of spans."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import msgspec
import numpy as np
import numpy.typing as npt

from drybank.balance.audit.spans import BASE_SPANS, Rows, Span
from drybank.balance.audit.units import Group
from drybank.balance.statistics.carry import start_offset, tail_factor
from drybank.balance.statistics.causes import CauseTable, correlation, weigh_causes
from drybank.balance.statistics.growth import Floats, Growth, fit_growth
from drybank.balance.statistics.lists import LIST_FALSE_SHARE, WATCH_Z, adjusted, chance_of_luck
from drybank.balance.statistics.priors import Habits, cash_growth, counted_by, hours_growth, trade_growth
from drybank.balance.statistics.ratios import (
    Change,
    Ratio,
    change,
    compare,
    empirical_null,
    fit_change_growth,
    honest_centre,
    lasting_weeks,
    week_and_total,
)
from drybank.balance.statistics.timing import free_against_minutes

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

LEAST_BASE = 4
TRADE_FALSE_SHARE = 0.02  # trade wanders by itself: it is listed only where little doubt is left
_MORE_THAN_LUCK = 0.5  # what is more likely luck than not is not put on the list
_FIELDS = ("counted_minor", "counter_minor", "pieces", "run_s", "sold_counter_s", "sold_cash_s", "days", "end")


@dataclass(frozen=True)
class Row:
    """What is told of one group beside its figures: the end of its last span, and hours from reading to emptying."""

    group: Group
    last_end: float
    gap_hours: float | None


@dataclass(frozen=True)
class Part:
    """The spans of one store's groups cut at the period, as arrays (group, span), oldest first, NaN where not known.

    ``base`` spans end before the period, ``now`` spans within it; ``methods`` counts how spans were counted.
    """

    rows: tuple[Row, ...]
    base: dict[str, Floats]
    now: dict[str, Floats]
    gap_var: Floats
    shared_var: Floats
    piece_minor: Floats
    foreign: Floats
    methods: dict[str, int]


@dataclass(frozen=True)
class Panel:
    """Spans of all groups of all stores: see `Part`, whose arrays are laid one below the other.

    ``store`` and ``kin`` number each group's store and its siblings (its bank where that has five groups or
    more, else its store).
    """

    rows: tuple[Row, ...]
    store: Ints
    kin: Ints
    base: dict[str, Floats]
    now: dict[str, Floats]
    gap_var: Floats
    shared_var: Floats
    piece_minor: Floats
    foreign: Floats
    method: str
    meter_step_h: float

    @property
    def groups(self) -> int:
        return len(self.rows)


def _matrix(spans: Sequence[Sequence[Span]], field: str, *, right: bool) -> Floats:
    width = max((len(s) for s in spans), default=0)
    out = np.full((len(spans), width), np.nan)
    for i, row in enumerate(spans):
        values = [getattr(s, field) for s in row]
        if values:
            part = slice(width - len(values), width) if right else slice(0, len(values))
            out[i, part] = values
    return out


def _row(r: Rows) -> Row:
    gaps = [s.gap_hours for s in r.spans if np.isfinite(s.gap_hours)]
    end = r.spans[-1].end if r.spans else 0.0
    return Row(r.group, end, float(np.median(gaps)) if gaps else None)


def cut(rows: Sequence[Rows], since: float, until: float) -> Part:
    """Cut the rows of a store's groups at the period; spans further back than `BASE_SPANS` are let go."""
    base = [[s for s in r.spans if s.end <= since + 1e-9][-BASE_SPANS:] for r in rows]
    now = [[s for s in r.spans if since + 1e-9 < s.end <= until + 1e-9] for r in rows]
    return Part(
        rows=tuple(_row(r) for r in rows),
        base={f: _matrix(base, f, right=True) for f in _FIELDS},
        now={f: _matrix(now, f, right=False) for f in _FIELDS},
        gap_var=np.stack([_matrix(now, f, right=False) for f in ("gap_start_var", "gap_end_var")]),
        shared_var=np.array([float(np.mean([s.shared_var for s in row])) if row else 0.0 for row in now]),
        piece_minor=np.array([r.piece_minor for r in rows]),
        foreign=np.array([float(sum(s.foreign for s in row)) for row in now]),
        methods=dict(Counter(s.method for row in now for s in row if s.method)),
    )


def _below(blocks: Sequence[Floats], *, right: bool) -> Floats:
    """Arrays (.., group, span) one below the other, the shorter ones filled up with NaN."""
    width = max((b.shape[-1] for b in blocks), default=0)
    filled = [
        np.pad(
            b,
            [(0, 0)] * (b.ndim - 1) + [(width - b.shape[-1], 0) if right else (0, width - b.shape[-1])],
            constant_values=np.nan,
        )
        for b in blocks
    ]
    return np.concatenate(filled, axis=-2)


def panel(parts: Sequence[Part], meter_step_h: float) -> Panel:
    """All stores' parts as one panel."""
    rows = tuple(r for p in parts for r in p.rows)
    store = [k for k, p in enumerate(parts) for _ in p.rows]
    kin: dict[tuple[int, str], list[int]] = {}
    for i, r in enumerate(rows):
        kin.setdefault((store[i], r.group.bank), []).append(i)
    sibling = np.zeros(len(rows), np.int64)
    for k, ((at, _), members) in enumerate(sorted(kin.items())):
        sibling[members] = k if len(members) >= 5 else len(kin) + at
    _, sibling = np.unique(sibling, return_inverse=True)
    methods: Counter[str] = Counter()
    for p in parts:
        methods.update(p.methods)
    return Panel(
        rows=rows,
        store=np.asarray(store, np.int64),
        kin=np.asarray(sibling, np.int64),
        base={f: _below([p.base[f] for p in parts], right=True) for f in _FIELDS},
        now={f: _below([p.now[f] for p in parts], right=False) for f in _FIELDS},
        gap_var=_below([p.gap_var for p in parts], right=False),
        shared_var=np.concatenate([p.shared_var for p in parts]),
        piece_minor=np.concatenate([p.piece_minor for p in parts]),
        foreign=np.concatenate([p.foreign for p in parts]),
        method=max(sorted(methods), key=lambda name: methods[name]) if methods else "hand",
        meter_step_h=meter_step_h,
    )


def _sums(a: Floats, b: Floats) -> tuple[Floats, Floats, Bools]:
    """Sums of two tallies over the spans where both are known; NaN where there are none."""
    both = np.isfinite(a) & np.isfinite(b)
    some = both.any(axis=1) if both.size else np.zeros(a.shape[0], bool)
    one = np.where(some, np.where(both, a, 0.0).sum(axis=1), np.nan)
    two = np.where(some, np.where(both, b, 0.0).sum(axis=1), np.nan)
    return one, two, both


def _end_variance(known: Bools, gap_var: Floats, b: float) -> Floats:
    """Pieces squared beyond the two usual ends: further stretches, and gaps between reading and emptying."""
    if known.shape[1] == 0:
        return np.zeros(known.shape[0])
    first = known & ~np.pad(known, ((0, 0), (1, 0)))[:, :-1]
    last = known & ~np.pad(known, ((0, 0), (0, 1)))[:, 1:]
    gaps = np.where(first, np.nan_to_num(gap_var[0]), 0.0) + np.where(last, np.nan_to_num(gap_var[1]), 0.0)
    return np.asarray(b * np.maximum(first.sum(axis=1) - 1, 0) + gaps.sum(axis=1))


def _joined(p: Panel, field: str) -> Floats:
    return np.concatenate([p.base[field], p.now[field]], axis=1)


@dataclass(frozen=True)
class Judged:
    """Everything the findings are made of, one entry per group."""

    panel: Panel
    habits: Habits
    cash_growth: Growth
    hours_growth: Growth
    by_hours_growth: Growth
    trade_growth: Growth
    centre: float
    carried: Floats
    cash: Ratio
    cash_z: Floats
    by_hours: Ratio
    by_hours_z: Floats
    hours: Ratio
    hours_z: Floats
    trade: Ratio
    trade_z: Floats
    has_base: Bools
    z: Floats
    rests_on: tuple[str, ...]
    week_z: Floats
    p_short: Floats
    p_over: Floats
    listed_short: Bools
    listed_over: Bools
    listed_hours: Bools
    listed_trade: Bools
    luck: Floats
    watched: Bools
    causes: CauseTable
    shape: Floats


def habits_of(p: Panel, habits: Habits | None) -> Habits:
    """Assumed habits, told how the fleet counts, what it takes a week and how its meters step."""
    pieces = np.concatenate(
        [_joined(p, "pieces").ravel(), (_joined(p, "counted_minor") / p.piece_minor[:, None]).ravel()]
    )
    pieces = pieces[np.isfinite(pieces) & (pieces > 0)]
    base = counted_by(p.method, habits)
    return msgspec.structs.replace(
        base,
        week_coins=float(np.median(pieces)) if pieces.size else base.week_coins,
        meter_step_h=p.meter_step_h,
    )


def _for_fit(p: Panel, one: str, two: str) -> tuple[Floats, Floats]:
    """Spans that growth is fitted on: those before the period, and the period's own while they are few."""
    base = np.isfinite(p.base[one]) & np.isfinite(p.base[two])
    enough = base.size and int(base.sum(axis=1).max(initial=0)) >= LEAST_BASE
    return (p.base[one], p.base[two]) if enough else (_joined(p, one), _joined(p, two))


def _change(p: Panel, one: str, two: str, tally: str, has_base: Bools) -> Change:
    num, den, both = _sums(p.now[one], p.now[two])
    n = np.nansum(np.where(both, p.now[tally], 0.0), axis=1)
    b_num, b_den, b_both = _sums(p.base[one], p.base[two])
    b_n = np.nansum(np.where(b_both, p.base[tally], 0.0), axis=1) if p.base[tally].size else np.zeros(p.groups)
    if has_base.any():
        b_num = np.where(has_base, b_num, np.nan)
        return change((num, den), (b_num, b_den), p.kin, (n, b_n))
    return change((num, den), None, p.kin, (n, n))


def _no_past(growth: Growth, habits: Habits, has_base: Bools) -> Growth:
    """Growth without an own past: the lasting spread between pockets comes in."""
    return growth if has_base.any() else msgspec.structs.replace(growth, c=growth.c + habits.run_spread**2)


def judge(p: Panel, *, habits: Habits | None = None, priors: dict[str, float] | None = None) -> Judged:
    """Lay every statistic over the panel."""
    h = habits_of(p, habits)
    piece = p.piece_minor[:, None]
    for tallies in (p.base, p.now):
        tallies["cash"] = tallies["counted_minor"] / piece
        tallies["counter"] = tallies["counter_minor"] / piece
    took = _cash(p, h)
    cash = took.ratio
    base_known = np.isfinite(p.base["run_s"]) & (
        np.isfinite(p.base["sold_counter_s"]) | np.isfinite(p.base["sold_cash_s"])
    )
    has_base = base_known.sum(axis=1) >= LEAST_BASE if base_known.size else np.zeros(p.groups, bool)
    g_by, by_hours = _ratio_of_change(
        p, ("sold_cash_s", "run_s", "cash"), has_base, hours_growth(h, against_cash=True), h
    )
    g_hours, hours = _ratio_of_change(
        p, ("run_s", "sold_counter_s", "counter"), has_base, hours_growth(h, against_cash=False), h
    )
    g_trade, trade = _trade(p, h, has_base)
    z_cash, z_by = empirical_null(cash.z), empirical_null(by_hours.z)
    z_hours, z_trade = empirical_null(hours.z), empirical_null(trade.z)
    has_counter = np.isfinite(z_cash)
    z = np.where(has_counter, z_cash, z_by)
    rests = tuple(
        "counter" if c else ("hours, own past" if b else "hours, siblings") if np.isfinite(y) else "nothing"
        for c, b, y in zip(has_counter, has_base, z_by, strict=True)
    )
    return _listed(
        p, h, took, (g_hours, g_by, g_trade), (cash, by_hours, hours, trade),
        (z_cash, z_by, z_hours, z_trade), (has_base, z, rests), priors,
    )  # fmt: skip


@dataclass(frozen=True)
class Cash:
    """Cash against counters: growth, centre, the ratio over the period, z of single weeks, and the pieces
    carried over from before the period."""

    growth: Growth
    centre: float
    ratio: Ratio
    weeks: Floats
    carried: Floats


def _cash(p: Panel, h: Habits) -> Cash:
    growth = fit_growth(*_for_fit(p, "cash", "counter"), prior=cash_growth(h))
    num, den, known = _sums(p.now["cash"], p.now["counter"])
    base = (p.base["cash"], p.base["counter"])
    base_sums = _sums(*base)
    before = honest_centre(base_sums[0], base_sums[1], growth)
    carried, open_var = start_offset(*base, growth, before)
    follows = known[:, 0] & ~(np.nan_to_num(p.gap_var[0][:, 0]) > 0) if known.shape[1] else np.zeros(p.groups, bool)
    carried = np.where(follows, carried, 0.0)
    extra = _end_variance(known, p.gap_var, growth.b) + np.where(follows, open_var - growth.b / 2.0, 0.0)
    centre = honest_centre(num + carried, den, growth, extra)
    ratio = compare(num + carried, np.nan_to_num(den), growth, centre, extra)
    spans = int(np.median(known.sum(axis=1)[known.any(axis=1)])) if known.any() else 0
    ratio = replace(ratio, z=ratio.z / tail_factor(*base, growth, before, spans=spans))
    extra = np.nan_to_num(p.gap_var).sum(axis=0)
    weeks = compare(p.now["cash"], np.nan_to_num(p.now["counter"]), growth, centre, extra).z
    weeks = lasting_weeks(weeks, p.now["cash"], p.now["counter"], growth, centre)
    return Cash(growth, centre, ratio, weeks, carried)


def _ratio_of_change(
    p: Panel, names: tuple[str, str, str], has_base: Bools, prior: Growth, h: Habits
) -> tuple[Growth, Ratio]:
    one, two, tally = names
    fit = _for_fit(p, one, two)
    n = p.base[tally] if fit[0] is p.base[one] else _joined_own(p, tally)
    growth = fit_change_growth(*fit, n, p.kin, prior=prior) if fit[0].shape[1] >= 2 else prior
    growth = _no_past(growth, h, has_base)
    return growth, _change(p, one, two, tally, has_base).judge(growth, p.shared_var)


def _joined_own(p: Panel, field: str) -> Floats:
    return np.concatenate([p.base[field], p.now[field]], axis=1)


def _trade(p: Panel, h: Habits, has_base: Bools) -> tuple[Growth, Ratio]:
    """Pieces a day against own past, less the siblings'; by hours where there is no counter."""
    prior = trade_growth(h)
    sold = {}
    for name, tallies in (("base", p.base), ("now", p.now)):
        with np.errstate(invalid="ignore", divide="ignore"):
            each = tallies["sold_cash_s"] / tallies["cash"]
        each = each[np.isfinite(each)]
        per_piece = float(np.median(each)) if each.size else 360.0
        sold[name] = np.where(np.isfinite(tallies["counter"]), tallies["counter"], tallies["run_s"] / per_piece)
    base, now = dict(p.base), dict(p.now)
    base["trade"], now["trade"] = sold["base"], sold["now"]
    q = msgspec.structs.replace(prior)
    own = Panel(**{**p.__dict__, "base": base, "now": now})
    fit = _for_fit(own, "trade", "days")
    growth = fit_change_growth(*fit, fit[0], p.kin, prior=q) if fit[0].shape[1] >= 2 else q
    return growth, _change(own, "trade", "days", "trade", has_base).judge(growth)


def _listed(
    p: Panel,
    h: Habits,
    took: Cash,
    growths: tuple[Growth, Growth, Growth],
    ratios: tuple[Ratio, Ratio, Ratio, Ratio],
    zs: tuple[Floats, Floats, Floats, Floats],
    cash_of: tuple[Bools, Floats, tuple[str, ...]],
    priors: dict[str, float] | None,
) -> Judged:
    from scipy.stats import norm

    has_base, z, rests = cash_of
    weeks = took.weeks
    cash, by_hours, hours, trade = ratios
    z_cash, z_by, z_hours, z_trade = zs
    if weeks.shape[1] > 1:
        p_short = np.where(np.isfinite(z_cash), week_and_total(z_cash, weeks), norm.cdf(z))
    else:
        p_short = norm.cdf(z)
    p_over = norm.sf(z)
    p_hours = 2.0 * norm.sf(np.abs(z_hours))
    table, shape = _causes(p, (cash, hours, trade), (z_cash, z_hours, z_trade), growths[0], priors)
    luck = np.where(np.nan_to_num(z) <= 0, chance_of_luck(z), chance_of_luck(-z))
    shares = [adjusted(x) for x in (p_short, p_over, p_hours, norm.cdf(z_trade))]
    with np.errstate(invalid="ignore"):
        by_week = p_short < 0.5 * norm.cdf(z)  # the worst week says more than the total
        luck = np.where(by_week, np.minimum(luck, 2.0 * shares[0]), luck)
        listed = [s <= LIST_FALSE_SHARE for s in shares]
        listed[0] &= luck < _MORE_THAN_LUCK
        listed[1] &= luck < _MORE_THAN_LUCK
        is_noise = table.posterior[:, 0] >= _MORE_THAN_LUCK
        listed[2] &= ~is_noise
        listed[3] = (shares[3] <= TRADE_FALSE_SHARE) & ~is_noise
        watched = z < WATCH_Z
    return Judged(
        panel=p, habits=h, cash_growth=took.growth, hours_growth=growths[0], by_hours_growth=growths[1],
        trade_growth=growths[2], centre=took.centre, carried=took.carried, cash=cash, cash_z=z_cash, by_hours=by_hours, by_hours_z=z_by,
        hours=hours, hours_z=z_hours, trade=trade, trade_z=z_trade, has_base=has_base, z=z, rests_on=rests,
        week_z=weeks, p_short=p_short, p_over=p_over, listed_short=listed[0], listed_over=listed[1],
        listed_hours=listed[2], listed_trade=listed[3], luck=luck, watched=watched, causes=table, shape=shape,
    )  # fmt: skip


def _causes(
    p: Panel,
    ratios: tuple[Ratio, Ratio, Ratio],
    zs: tuple[Floats, Floats, Floats],
    growth: Growth,
    priors: dict[str, float] | None,
) -> tuple[CauseTable, Floats]:
    sd = np.column_stack([r.sd for r in ratios])
    z = np.column_stack(zs)
    known = np.isfinite(p.now["run_s"]) & np.isfinite(p.now["counter"]) & (np.nan_to_num(p.now["counter"]) > 0)
    run = np.where(known, p.now["run_s"], 0.0) / 3600.0
    pieces = np.where(known, p.now["counter"], 0.0)
    b_run, b_pieces, _ = _sums(p.base["run_s"], p.base["counter"])
    with np.errstate(invalid="ignore", divide="ignore"):
        usual = b_run / 3600.0 / b_pieces
    shape = np.zeros(p.groups)
    ok = np.isfinite(usual) & (known.sum(axis=1) >= 3)
    if ok.any():
        shape[ok] = free_against_minutes(run[ok], pieces[ok], usual[ok], msgspec.structs.replace(growth, c=0.0))
    rejects = p.foreign if p.foreign.any() else None
    minutes = _minutes_per_piece(p)
    table = weigh_causes(
        z * sd, sd, corr=correlation(z), coin_minutes=minutes, pieces=pieces.sum(axis=1), rejects=rejects,
        shape=shape, priors=priors,
    )  # fmt: skip
    return table, shape


def _minutes_per_piece(p: Panel) -> float:
    with np.errstate(invalid="ignore", divide="ignore"):
        each = p.now["sold_cash_s"] / p.now["cash"] / 60.0
    each = each[np.isfinite(each)]
    return float(np.median(each)) if each.size else 6.0
