"""Balance a store from the book, and show it: result, chart, tables."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from drybank.desk.drawing import DYE, Chart
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.records.balance import BalanceResult, Period
from drybank.records.entry import KINDS, OutcomeFound, PiecesCounted
from drybank.records.errors import InputError
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.balance import Noticed
    from drybank.book import Book, Told

USUAL_WEEKS = 8
_SKIP = {"store version", "sheet version", "seal", "close", "note"}
TALLIES = ("reading", "collection", "count")
KINDS_READ = tuple(k for k in KINDS if k not in _SKIP and k != "correction")


def period_for(book: Book, laid: Layout, since: date | None, until: date | None, when: datetime) -> Period:
    """From the start of the first day to the end of the last, local; the last eight weeks where nothing is said."""
    return period_of(laid.store.time_zone, since, until, when)


def period_of(time_zone: str, since: date | None, until: date | None, when: datetime) -> Period:
    """`period_for` of a time zone."""
    zone = ZoneInfo(time_zone)
    last = until or when.astimezone(zone).date()
    ends = datetime.combine(last + timedelta(days=1), time(), zone).astimezone(UTC)
    first = since or (last - timedelta(weeks=USUAL_WEEKS))
    return Period(since=datetime.combine(first, time(), zone).astimezone(UTC), until=ends)


def entries_for(book: Book, store: str, period: Period) -> list[Told]:
    """What the balance of a period reads of a store: readings, emptyings and counts as far back as they teach anything,
    everything else from its beginning."""
    from drybank.balance.audit.result import HORIZON_DAYS

    far_back = period.since - timedelta(days=HORIZON_DAYS + 1)
    others = tuple(k for k in KINDS_READ if k not in TALLIES)
    told = book.story(store, kinds=TALLIES, since=far_back, until=period.until)
    told += book.story(store, kinds=others, until=period.until)
    return sorted(told, key=lambda t: (t.happened, t.seq))


def balance_store(
    book: Book, store: str, when: datetime, *, since: date | None = None, until: date | None = None
) -> BalanceResult:
    """Is the cash of one store right, and if not, where and why? Deterministic: same book and period, same answer."""
    from drybank.balance import balance

    laid = layout_at(book, store, when)
    period = period_for(book, laid, since, until, when)
    return balance(laid, entries_for(book, store, period), period)


def what_would_i_see(
    book: Book, store: str, when: datetime, *, since: date | None = None, until: date | None = None
) -> Noticed:
    """How small a loss this store's routine would notice. For the owner only: it tells a thief how much is safe."""
    from drybank.balance import what_would_i_see as ask

    laid = layout_at(book, store, when)
    result = balance_store(book, store, when, since=since, until=until)
    pieces = [u.pieces for u in result.units if u.pieces > 0]
    weeks = max(result.period.days / 7, 1)
    if not pieces:
        raise InputError(f"{laid.store.name} has no counted weeks yet.", mend="Enter readings and counts first.")
    counted = [t.body.method for t in book.story(store, kinds=("count",)) if isinstance(t.body, PiecesCounted)]
    usual = max(set(counted), key=counted.count) if counted else "machine"
    has_counters = bool(laid.counters)
    return ask(
        coins_week=tuple(p / weeks for p in pieces), has_counters=has_counters, counted=usual,
        growth=result.growth[0] if has_counters and result.growth else None,
    )  # fmt: skip


def enter_outcome(book: Book, store: str, finding: str, outcome: str, pen: Pen, *, cause: str = "") -> str:
    """How a finding came out, as an entry: confirmed, dismissed or open."""
    if outcome not in ("confirmed", "dismissed", "open"):
        raise InputError(f"“{outcome}” is not an outcome.", allowed="confirmed, dismissed, open")
    body = OutcomeFound(finding=finding, outcome=outcome, cause=cause)  # type: ignore[arg-type]
    return book.append([pen.entry(store, body)])[0].entry.id


def cash_chart(result: BalanceResult) -> Chart:
    """Counted against expected, unit by unit, as a share of expected with its interval; the odd ones named."""
    shown = [u for u in result.units if u.share is not None and u.share.interval is not None]
    odd = [u for u in shown if u.is_listed]
    names = ", ".join(u.key for u in odd)
    title = (
        f"{names}: away from what its counter says" if odd else "Every unit lies where its counter says, within luck"
    )
    rows = []
    values = []
    for u in shown:
        assert u.share is not None
        assert u.share.interval is not None
        low, high, mid = 100 * u.share.interval.low, 100 * u.share.interval.high, 100 * u.share.value
        values.append({"unit": u.key, "share": mid, "low": low, "high": high, "odd": u.is_listed})
        rows.append((u.key, f"{mid:+.1f}", f"{low:+.1f}", f"{high:+.1f}", u.verdict))
    colour = {"condition": {"test": "datum.odd", "value": DYE}, "value": "#56606E"}
    y = {
        "field": "unit",
        "type": "nominal",
        "sort": None,
        "axis": {"title": None, "domain": False, "ticks": False, "grid": False},
    }
    x = {"field": "share", "type": "quantitative", "axis": {"title": "counted less expected, % of expected"}}
    layers = [
        {"mark": "rule", "encoding": {"x": {"datum": 0}, "color": {"value": "#D9D6CE"}}},
        {"mark": "rule", "encoding": {"y": y, "x": {**x, "field": "low"}, "x2": {"field": "high"}, "color": colour}},
        {"mark": "point", "encoding": {"y": y, "x": x, "color": colour}},
        {"transform": [{"filter": "datum.odd"}], "mark": {"type": "text", "align": "left", "dx": 10, "color": DYE},
         "encoding": {"y": y, "x": {"field": "high", "type": "quantitative"}, "text": {"field": "unit"}}},
    ]  # fmt: skip
    alt = f"{len(shown)} units of {result.name}. " + (
        f"Away from expected: {names}." if odd else "None is away from expected by more than luck."
    )
    return Chart(
        title=title,
        alt=alt,
        spec={"data": {"values": values}, "layer": layers},
        heads=("unit", "share %", "low %", "high %", "verdict"),
        rows=tuple(rows),
    )
