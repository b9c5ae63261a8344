"""Differences by round and by who held the money: which rounds are short, told with letters and never with names.

Every span of every unit ends when its box was emptied. Summed over the spans that one holder emptied (or counted), the gap
between cash and counters shows whether it goes with a holder or with a place. It says when money was missing, not who took
it: a route, a bag, a key or a counting machine goes with a holder too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from drybank.balance.audit.judge import Judged
from drybank.balance.audit.spans import CLUSTER_DAYS
from drybank.balance.audit.story import Story
from drybank.balance.audit.words import amounts, percent
from drybank.balance.statistics.growth import Growth
from drybank.balance.statistics.lists import LIST_FALSE_SHARE, adjusted
from drybank.balance.statistics.ratios import HALF_WIDTH_95
from drybank.records.balance import CustodyBy, CustodyLine, HeldBy
from drybank.records.working import Estimate, Interval

_DAY = 86_400.0


class Handled(msgspec.Struct, frozen=True, kw_only=True):
    """One unit's span between emptyings: pieces its counters say, the gap in pieces and in money, who emptied, who counted."""

    unit: str
    end: float
    pieces: float
    gap: float
    piece_minor: float
    emptied_by: str
    counted_by: str


def handled(j: Judged, story: Story, by: Mapping[str, str]) -> tuple[Handled, ...]:
    """Every span of the period with both tallies, in order of time; ``by`` says who wrote each entry."""
    now = j.panel.now
    factor = float(np.exp(j.centre))
    out = []
    for i, row in enumerate(j.panel.rows):
        emptied = [e for e in story.emptied if e.boxes & row.group.boxes]
        counted = [c for c in story.counted if c.boxes & row.group.boxes]
        known = np.isfinite(now["cash"][i]) & np.isfinite(now["counter"][i])
        for t in np.flatnonzero(known):
            end, n = float(now["end"][i, t]), float(now["counter"][i, t])
            took = {by.get(e.entry, "") for e in emptied if end - CLUSTER_DAYS < e.at <= end + 1e-9}
            told = {by.get(c.entry, "") for c in counted if end - CLUSTER_DAYS < c.at <= end + 1e-9}
            out.append(
                Handled(
                    unit=row.group.key, end=end, pieces=n, gap=float(now["cash"][i, t]) - factor * n,
                    piece_minor=float(j.panel.piece_minor[i]), emptied_by=_joined(took), counted_by=_joined(told),
                )
            )  # fmt: skip
    return tuple(sorted(out, key=lambda h: (h.end, h.unit)))


def _joined(names: Iterable[str]) -> str:
    return " and ".join(sorted(n for n in names if n)) or "not known"


def letters(rows: Sequence[Handled], by: HeldBy) -> dict[str, str]:
    """A letter for each who held the money, in the order of their first span: A, B, ... Z, AA."""
    out: dict[str, str] = {}
    for h in rows:
        name = h.counted_by if by == "counter" else h.emptied_by
        out.setdefault(name, _letter(len(out)))
    return out


def _letter(n: int) -> str:
    first, last = divmod(n, 26)
    return (_letter(first - 1) if first else "") + chr(ord("A") + last)


def compare_custody(rows: Sequence[Handled], growth: Growth, by: HeldBy, currency: str, zone: str) -> CustodyBy:
    """Gaps summed by round, by who emptied or by who counted, each with its interval; listed at one false in ten."""
    named = letters(rows, by)
    groups: dict[tuple[str, date | None], list[Handled]] = {}
    for h in rows:
        who = named[h.counted_by if by == "counter" else h.emptied_by]
        day = datetime.fromtimestamp(h.end * _DAY, UTC).astimezone(ZoneInfo(zone)).date() if by == "round" else None
        groups.setdefault((who, day), []).append(h)
    lines = [_line(who, day, part, rows, growth, zone) for (who, day), part in groups.items()]
    shares = adjusted(np.array([line.luck for line in lines]))
    done = tuple(
        msgspec.structs.replace(line, verdict=_verdict(line, float(share)))
        for line, share in zip(lines, shares, strict=True)
    )
    return CustodyBy(by=by, currency=currency, lines=done, says=_says(done, by, currency))


def _line(
    who: str, day: date | None, part: Sequence[Handled], rows: Sequence[Handled], growth: Growth, zone: str
) -> CustodyLine:
    gap = sum(h.gap * h.piece_minor for h in part)
    expected = sum((h.pieces) * h.piece_minor for h in part)
    sd = float(np.sqrt(_variance(part, rows, growth)))
    days = sorted({datetime.fromtimestamp(h.end * _DAY, UTC).astimezone(ZoneInfo(zone)).date() for h in part})
    z = gap / sd if sd > 0 else 0.0
    from scipy.stats import norm

    return CustodyLine(
        holder=who, first=days[0], last=days[-1], rounds=len(days), spans=len(part), expected_minor=round(expected),
        gap=Estimate(value=gap, unit="minor", interval=Interval(gap - HALF_WIDTH_95 * sd, gap + HALF_WIDTH_95 * sd)),
        share=gap / expected if expected else 0.0, z=z, luck=float(2.0 * norm.sf(abs(z))), verdict="right",
    )  # fmt: skip


def _variance(part: Sequence[Handled], rows: Sequence[Handled], growth: Growth) -> float:
    """Minor units squared: what lasts at a unit adds up, ends count once for each unbroken stretch of its spans."""
    total = 0.0
    units = dict.fromkeys(h.unit for h in part)
    for unit in units:
        mine = [h for h in part if h.unit == unit]
        ends = [h.end for h in rows if h.unit == unit]
        places = sorted(ends.index(h.end) for h in mine)
        stretches = 1 + sum(b != a + 1 for a, b in pairwise(places))
        n = max(sum(h.pieces for h in mine), 1.0)
        total += (growth.c * n * n + growth.a * n + growth.b * stretches) * mine[0].piece_minor ** 2
    return total


def _verdict(line: CustodyLine, share: float) -> str:
    if share > LIST_FALSE_SHARE:
        return "right"
    return "short" if line.gap.value < 0 else "over"


def _says(lines: Sequence[CustodyLine], by: HeldBy, currency: str) -> str:
    short = sorted((line for line in lines if line.verdict == "short"), key=lambda line: line.gap.value)
    if not lines:
        return "No span of this period has both a count and a counter, so nothing can be laid to a round."
    if by != "round" and len(lines) == 1:
        return "One holder had it all, so there is nobody to compare with: see the whole store's balance."
    if not short:
        return "The gaps go with no round and no holder more than luck would have it."
    worst = short[0]
    half = (worst.gap.interval.high - worst.gap.interval.low) / 2 if worst.gap.interval else 0.0
    about, give = amounts(worst.gap.value, half, currency)
    did = "counted" if by == "counter" else "emptied"
    what = f"the round of {worst.first:%d %b %Y}" if by == "round" else f"what holder {worst.holder} {did}"
    return (
        f"{len(short)} of {len(lines)} stand out; most of all {what}: about {about} short (give or take {give}), "
        f"{percent(worst.share)} of what the counters say. That tells when money was missing, not why: a route, a bag, "
        "a key or a counting machine goes with a holder too."
    )
