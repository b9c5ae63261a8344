"""The balance: entries of one or many stores in, a result per store out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from drybank.balance.audit import findings as tell_finding
from drybank.balance.audit import words
from drybank.balance.audit.custody import Handled, compare_custody, handled, letters
from drybank.balance.audit.devices import Odd, Trace, follow, usual_rate
from drybank.balance.audit.held import Held, what_was_held
from drybank.balance.audit.judge import Ints, Judged, Part, cut, judge, panel
from drybank.balance.audit.levels import add_up, is_spread, level
from drybank.balance.audit.sight import smallest_loss
from drybank.balance.audit.spans import rows, source
from drybank.balance.audit.story import Story, moment, tell
from drybank.balance.audit.unit import unit_of
from drybank.balance.audit.units import groups
from drybank.balance.statistics.causes import PRIORS
from drybank.balance.statistics.growth import Growth
from drybank.balance.statistics.lists import LIST_FALSE_SHARE, adjusted
from drybank.balance.statistics.priors import Habits, assumptions
from drybank.balance.statistics.timing import MinutesSeen, minutes_per_coin
from drybank.records.balance import (
    BalanceResult,
    CustodyBy,
    Discipline,
    GrowthUsed,
    HeldBy,
    LevelBalance,
    Outcomes,
    Period,
    Signed,
    Told,
    UnitBalance,
)
from drybank.records.entry import OutcomeFound
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.working import Assumption

HORIZON_DAYS = 400.0  # readings and counts further back teach nothing more
_AT_ONCE_COINS = 0.5  # coins that still fall when box and counter are taken in one go; an assumption


@dataclass(frozen=True)
class Ready:
    """One store made ready to be judged with others: its spans cut at the period, and what was seen on the way.

    Small enough to hold for thousands of stores, and to send from one computer to another.
    """

    store: str
    name: str
    currency: str
    banks: tuple[str, ...]
    part: Part
    odd: tuple[Odd, ...]
    held: dict[str, Held]
    missing: tuple[str, ...]
    assumed: tuple[Assumption, ...]
    outcomes: tuple[OutcomeFound, ...]
    meter_step_h: float


def _traces(layout: Layout, story: Story) -> dict[str, Trace]:
    sizes = {k: c.rolls_over_at for k, c in layout.counters.items()}
    sizes |= {k: m.rolls_over_at for k, m in layout.meters.items()}
    rates: dict[str, float] = {k: usual_rate(story.shown.get(k, ()), size) for k, size in sizes.items()}
    usual: dict[str, float | None] = {}
    for kind in (layout.counters, layout.meters):
        known = [rates[k] for k in kind if np.isfinite(rates[k])]
        usual.update(dict.fromkeys(kind, float(np.median(known)) if known else None))
    return {
        k: follow(k, story.shown.get(k, ()), story.swapped, size=size, fleet_rate=usual[k]) for k, size in sizes.items()
    }


def make_ready(layout: Layout, entries: Iterable[Told], period: Period) -> Ready:
    """Read one store's entries into spans; see `balance` for what they are."""
    store = layout.store
    story = tell(entries, store.time_zone, from_day=moment(period.since) - HORIZON_DAYS)
    traces = _traces(layout, story)
    held, missing, assumed = what_was_held(layout, story)
    since, until = moment(period.since), moment(period.until)
    inside = [c for c in story.counted if since < c.at <= until + 1e-9]
    of = source(layout, story, traces, held)
    found = [rows(of, g, since, until) for g in groups(layout, inside)]
    odd = tuple(o for t in traces.values() for o in t.odd if since < o.at <= until + 1e-9)
    if story.orphans:
        missing.append(
            f"{len(story.orphans)} counts name no box, bag or collection that is on file; they are left out."
        )
    return Ready(
        store=store.key, name=store.name, currency=store.currency, banks=tuple(b.key for b in store.banks),
        part=cut(found, since, until), odd=odd, held=held, missing=tuple(missing), assumed=tuple(assumed),
        outcomes=tuple(story.outcomes), meter_step_h=max((1.0 / m.per_hour for m in layout.meters.values()), default=0.0),
    )  # fmt: skip


def balance_ready(
    ready: Sequence[Ready], period: Period, *, habits: Habits | None = None, priors: dict[str, float] | None = None
) -> Iterator[BalanceResult]:
    """Judge many stores together, and tell one after the other; noise is learned from all, lists keep their promise over all."""
    step = max((t.meter_step_h for t in ready), default=0.0) or 0.1
    judged = judge(panel([t.part for t in ready], step), habits=habits, priors=priors)
    firsts = np.cumsum([0, *(len(t.part.rows) for t in ready)])
    places = [_places(judged, np.arange(firsts[k], firsts[k + 1]), t.banks) for k, t in enumerate(ready)]
    doubtful = _doubtful(judged, places)
    for told, mine, is_doubtful in zip(ready, places, doubtful, strict=True):
        yield _result(judged, mine, told, (period, is_doubtful), priors)


Places = tuple[Ints, dict[str, Ints]]


def _places(j: Judged, at: Ints, banks: Sequence[str]) -> Places:
    """Where a store's groups stand in the panel, and those of each of its banks."""
    of_bank = {key: np.array([i for i in at.tolist() if j.panel.rows[i].group.bank == key], np.int64) for key in banks}
    return at, {key: rows for key, rows in of_bank.items() if rows.size}


def _doubtful(j: Judged, places: Sequence[Places]) -> list[frozenset[str]]:
    """Per store the levels ("" is the store itself) that may be luck once all stores and banks of the fleet are looked at:
    of those told as short alike, one in ten may be false on average, as with units."""
    from scipy.stats import norm

    keys = [(k, key) for k, (_, banks) in enumerate(places) for key in ("", *banks)]
    sums = [add_up(j, places[k][1][key] if key else places[k][0]) for k, key in keys]
    z = np.array([s.log / s.sd if s is not None else np.nan for s in sums])
    out: list[set[str]] = [set() for _ in places]
    for is_store in (True, False):
        mine = [n for n, (_, key) in enumerate(keys) if (not key) == is_store]
        shares = adjusted(np.asarray(norm.cdf(z[mine])))
        for n, share in zip(mine, shares.tolist(), strict=True):
            if not share <= LIST_FALSE_SHARE:
                out[keys[n][0]].add(keys[n][1])
    return [frozenset(levels) for levels in out]


def balance_fleet(
    stores: Sequence[tuple[Layout, Iterable[Told]]],
    period: Period,
    *,
    habits: Habits | None = None,
    priors: dict[str, float] | None = None,
) -> tuple[BalanceResult, ...]:
    """Balance many stores at once: noise is learned from all, lists keep their promise over all.

    See `balance`; results are in the order of the stores.
    """
    ready = [make_ready(layout, entries, period) for layout, entries in stores]
    return tuple(balance_ready(ready, period, habits=habits, priors=priors))


def balance(
    layout: Layout,
    entries: Iterable[Told],
    period: Period,
    *,
    habits: Habits | None = None,
    priors: dict[str, float] | None = None,
) -> BalanceResult:
    """Is the cash right, and if not, where and why?

    Parameters
    ----------
    layout : Layout
        The store with its control sheets laid over it (`drybank.control.layout.layout`).
    entries : iterable of entries
        All entries of the store: the period's and those before it, from which noise and own past are
        learned. `Entry`, or a book's lines with corrections folded in.
    period : Period
        Boxes emptied after ``since`` and not after ``until`` are judged.
    habits : Habits, optional
        Assumed reading and counting habits, for a fleet that has not shown its own.
    priors : dict, optional
        Prior of each cause, by the owner's hand; `drybank.balance.statistics.causes.PRIORS` otherwise.

    Returns
    -------
    BalanceResult
        A verdict per unit, bank and store, findings, and what was missing or assumed. The same entries
        give the same result.
    """
    return balance_fleet([(layout, entries)], period, habits=habits, priors=priors)[0]


def _result(
    j: Judged, mine: Places, told: Ready, asked: tuple[Period, frozenset[str]], priors: dict[str, float] | None
) -> BalanceResult:
    period, doubtful = asked
    places = [int(i) for i in mine[0]]
    units = [unit_of(j, i, j.panel.rows[i], told.currency) for i in places]
    banks = tuple(level(j, rows, "bank", key, told.currency) for key, rows in mine[1].items())
    whole = level(j, mine[0], "store", told.store, told.currency)
    place = tell_finding.Place(told.store, told.currency, period)
    found = _findings(place, j, told, places, units) + _alike(place, j, mine, (banks, whole), doubtful)
    found += [tell_finding.odd_finding(place, o) for o in told.odd]
    ordered = _in_order(found)
    return BalanceResult(
        store=told.store, name=told.name, currency=told.currency, period=period,
        says=_summary(units, whole, ordered), units=tuple(units), banks=banks, whole=whole, findings=ordered,
        missing=_missing(j, places, told, units), assumed=assumptions(j.habits) + told.assumed, growth=_growth_used(j),
        discipline=_discipline(j, places), outcomes=_outcomes(told.outcomes, priors),
    )  # fmt: skip


def compare_held(
    layout: Layout, entries: Sequence[Signed], period: Period, by: HeldBy
) -> tuple[CustodyBy, dict[str, str]]:
    """Gaps by round, holder or counter, and apart from them whom each letter stands for."""
    rows, growth = _custody(layout, entries, period)
    store = layout.store
    return compare_custody(rows, growth, by, store.currency, store.time_zone), letters(rows, by)


def _custody(layout: Layout, entries: Sequence[Signed], period: Period) -> tuple[tuple[Handled, ...], Growth]:
    ready = make_ready(layout, entries, period)
    judged = judge(panel([ready.part], ready.meter_step_h or 0.1))
    story = tell(entries, layout.store.time_zone, from_day=moment(period.since) - HORIZON_DAYS)
    return handled(judged, story, {e.id: e.by for e in entries}), judged.cash_growth


def _in_order(found: list[Finding]) -> tuple[Finding, ...]:
    order = {"danger": 0, "money": 1, "due": 2, "note": 3}
    size = {f.key: -abs(f.size.value) if f.size and f.size.unit == "minor" else 0.0 for f in found}
    return tuple(sorted(found, key=lambda f: (order[f.weight], size[f.key], f.key)))


def _seen(j: Judged, i: int, told: Ready) -> MinutesSeen | None:
    """Which minutes per coin the group's pocket seems set to; None with several controls or no counter."""
    group = j.panel.rows[i].group
    hours, sold = j.panel.now["run_s"][i], j.panel.now["sold_counter_s"][i]
    both = np.isfinite(hours) & np.isfinite(sold)
    if len(group.controls) != 1 or not both.any():
        return None
    kin = (j.panel.kin == j.panel.kin[i]) & (np.arange(j.panel.groups) != i)
    all_run, all_sold = j.panel.now["run_s"][kin], j.panel.now["sold_counter_s"][kin]
    good = np.isfinite(all_run) & np.isfinite(all_sold)
    rates = np.where(good, all_run, 0).sum(1) / np.maximum(np.where(good, all_sold, 0).sum(1), 1e-9)
    rates = rates[good.any(axis=1)]
    per_piece = told.held[group.controls[0]].at(j.panel.rows[i].last_end)
    main = max(group.box_inputs or tuple(per_piece), key=lambda key: (key in per_piece, key))
    minutes = per_piece.get(main, 360.0) / 60.0
    return minutes_per_coin(
        float(hours[both].sum()) / 3600.0,
        float(sold[both].sum()) / 60.0 / minutes,
        float(np.median(rates)) if rates.size else 0.95,
        meter_step_h=j.panel.meter_step_h,
        growth=j.hours_growth,
    )


def _findings(
    place: tell_finding.Place, j: Judged, told: Ready, at: list[int], units: list[UnitBalance]
) -> list[Finding]:
    by_row: dict[int, UnitBalance] = dict(zip(at, units, strict=True))
    out: list[Finding] = []
    for i, unit in by_row.items():
        if unit.is_listed:
            first = tell_finding.mixed_up(place, j, i, by_row) or tell_finding.one_span(j, i, unit)
            out.append(tell_finding.cash_finding(place, j, i, unit, first))
        if tell_finding.is_second_fault(j, i) if unit.is_listed else j.listed_hours[i]:
            controls = j.panel.rows[i].group.controls
            run_on = told.held[controls[0]].run_on if len(controls) == 1 else 0.0
            out.append(tell_finding.hours_finding(place, j, i, unit, _seen(j, i, told), run_on))
        if j.listed_trade[i]:
            out.append(tell_finding.trade_finding(place, j, i, unit.pockets))
    return out


def _alike(
    place: tell_finding.Place,
    j: Judged,
    members: Places,
    levels: tuple[tuple[LevelBalance, ...], LevelBalance],
    doubtful: frozenset[str],
) -> list[Finding]:
    """The whole store, or else single banks, short alike."""
    from scipy.stats import norm

    banks, whole = levels
    mine, of_bank = members
    if whole.verdict == "short" and whole.z is not None and "" not in doubtful and is_spread(j, mine):
        return [tell_finding.level_finding(place, whole, whole.units, float(norm.cdf(whole.z)))]
    return [
        tell_finding.level_finding(place, b, b.units, float(norm.cdf(b.z)))
        for b in banks
        if b.verdict == "short" and b.z is not None and b.key not in doubtful and is_spread(j, of_bank[b.key])
    ]


def _summary(units: list[UnitBalance], whole: LevelBalance, found: tuple[Finding, ...]) -> str:
    judged = sum(u.verdict != "cannot tell" for u in units)
    money = [f for f in found if f.weight == "money"]
    if not judged:
        return "The cash cannot be judged for this period: see what is missing."
    if not money:
        return f"Nothing stands out. {whole.says}"
    noun = "question" if len(money) == 1 else "questions"
    return f"{len(money)} {noun}. {money[0].says}"


def _missing(j: Judged, at: list[int], told: Ready, units: list[UnitBalance]) -> tuple[str, ...]:
    out = list(told.missing)
    out += [u.says for u in units if u.verdict == "cannot tell"]
    found = [j.panel.rows[i].group for i in at]
    no_counter = [p for group in found if not group.cash_counters for p in group.pockets]
    if no_counter:
        out.append(
            f"{words.pockets(tuple(no_counter))}: no counter of the coins, so cash is held against hours, and only a"
            " change from before can be seen, not a loss that was there from the first day."
        )
    return tuple(dict.fromkeys(out))


def _growth_used(j: Judged) -> tuple[GrowthUsed, ...]:
    named: tuple[tuple[str, Growth], ...] = (
        ("cash against counters", j.cash_growth),
        ("cash against hours, as a change", j.by_hours_growth),
        ("hours against pieces, as a change", j.hours_growth),
        ("trade against siblings, as a change", j.trade_growth),
    )
    return tuple(GrowthUsed(statistic=s, c=g.c, a=g.a, b=g.b, pockets=g.pockets) for s, g in named)


def _discipline(j: Judged, at: list[int]) -> Discipline | None:
    n = j.cash.n[at]
    n = n[np.isfinite(n) & (n > 0)]
    if not n.size:
        return None
    usual = float(np.median(n))
    g = j.cash_growth
    offset = g.end_coins_sd()
    least = min(g.b, 2.0 * _AT_ONCE_COINS**2 + 1.0 / 6.0)
    now = smallest_loss(float(g.variance(usual))) or 1.0
    better = smallest_loss(float(Growth(c=g.c, a=g.a, b=least).variance(usual))) or 1.0
    is_limit = g.end_share(usual) > 0.5
    says = f"About {offset:.1f} coins fall between reading a counter and emptying its box."
    if is_limit:
        says += (
            f" That is what limits this balance: {100 * now:.1f} % would be noticed at a usual pocket,"
            f" {100 * better:.1f} % if each box were emptied right after its counter is read. Read, empty, next pocket."
        )
    return Discipline(
        offset_coins=offset, smallest_now_frac=now, smallest_if_at_once_frac=better, is_the_limit=is_limit, says=says
    )


def _outcomes(found: Sequence[OutcomeFound], priors: dict[str, float] | None) -> Outcomes | None:
    """Tally of findings confirmed and dismissed, and the priors those counts would give."""
    if not found:
        return None
    last = {o.finding: o for o in found}
    confirmed: dict[str, int] = {}
    for o in last.values():
        if o.outcome == "confirmed":
            confirmed[o.cause or "not said"] = confirmed.get(o.cause or "not said", 0) + 1
    dismissed = sum(o.outcome == "dismissed" for o in last.values())
    now = priors or PRIORS
    weight = 100.0  # findings that the assumed priors count for
    counts = {c: weight * now[c] + confirmed.get(c, 0) + (dismissed if c == "none" else 0) for c in now}
    total = sum(counts.values())
    return Outcomes(
        confirmed=confirmed, dismissed=dismissed, open=sum(o.outcome == "open" for o in last.values()),
        suggested_priors={c: round(v / total, 4) for c, v in counts.items()},
    )  # fmt: skip
