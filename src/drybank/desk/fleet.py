"""The balance of every store of a book at once: read store by store, judged together, told one after the other.

Each store's entries come from the columns kept beside the book (`drybank.book.snapshot`), are cut down to its spans at once,
and only those are held, so that memory grows by some hundred kilobytes a store. With a cluster the cutting is done there;
judging stays here, and the answer is the same bit for bit.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final, NamedTuple

import msgspec

from drybank.desk.balancing import KINDS_READ, period_of
from drybank.desk.far import each_on
from drybank.records.balance import BalanceResult, Period
from drybank.records.errors import DrybankError, InputError
from drybank.records.finding import Finding

if TYPE_CHECKING:
    from drybank.balance.audit.result import Ready
    from drybank.book import Book
    from drybank.book.columns import StoreColumns
    from drybank.records.layout import Layout

CHUNK: Final = 8
"""Stores sent to a cluster in one piece."""
WEIGHTS: Final = ("danger", "money", "due", "note")

Step = Callable[[int, int, str], None]


class StoreLine(msgspec.Struct, frozen=True, kw_only=True):
    """One store of a fleet in a line: its units, its cash, how many questions it has, and what it says."""

    store: str
    name: str
    units: int
    judged: int
    questions: int
    share: float | None
    says: str


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """A finding with the store it is asked of."""

    store: str
    name: str
    finding: Finding


class Fleet(msgspec.Struct, frozen=True, kw_only=True):
    """All stores in one answer: every finding, danger first and money by size, then a line a store.

    Of the cash findings at most one in ten is false on average, over the whole fleet (Benjamini and Hochberg). ``left_out``
    says which stores could not be read, and why.
    """

    period: Period
    says: str
    stores: tuple[StoreLine, ...]
    findings: tuple[Asked, ...]
    left_out: tuple[str, ...] = ()


class _Sent(NamedTuple):
    """What a worker is given: columns of some stores (packed where they travel), the period, the moment that the stores
    stand at."""

    columns: tuple[StoreColumns | bytes, ...]
    period: Period
    when: datetime


def fleet_results(
    book: Book,
    when: datetime,
    *,
    since: date | None = None,
    until: date | None = None,
    cluster: str = "",
    anew: bool = False,
    step: Step | None = None,
    left_out: list[str] | None = None,
) -> Iterator[BalanceResult]:
    """Every store's result, in the order of their keys; nothing is yielded before the last store is read.

    A store that cannot be laid out is left out and told in ``left_out``. ``anew`` reads the book itself, whatever is kept
    beside it.
    """
    from drybank.balance.audit.result import balance_ready

    period = _period(book, since, until, when)
    refused = left_out if left_out is not None else []
    ready = list(_ready(book, period, when, cluster=cluster, anew=anew, step=step, left_out=refused))
    if not ready:
        raise InputError("No store of this book can be balanced.", mend=" ".join(refused[:3]))
    return balance_ready(ready, period)


def balance_fleet(
    book: Book,
    when: datetime,
    *,
    since: date | None = None,
    until: date | None = None,
    cluster: str = "",
    anew: bool = False,
    step: Step | None = None,
) -> Fleet:
    """Is the cash of all stores right, and if not, where? The list keeps its promise over the whole fleet."""
    left_out: list[str] = []
    results = fleet_results(
        book, when, since=since, until=until, cluster=cluster, anew=anew, step=step, left_out=left_out
    )
    return told(results, tuple(left_out))


def told(results: Iterator[BalanceResult], left_out: Sequence[str] = ()) -> Fleet:
    """Results folded into one answer, one at a time."""
    lines: list[StoreLine] = []
    asked: list[Asked] = []
    period: Period | None = None
    for r in results:
        period = r.period
        asked += [Asked(store=r.store, name=r.name, finding=f) for f in r.findings]
        lines.append(
            StoreLine(
                store=r.store, name=r.name, units=len(r.units), judged=sum(u.verdict != "cannot tell" for u in r.units),
                questions=sum(f.weight in ("danger", "money") for f in r.findings),
                share=r.whole.share.value if r.whole.share else None, says=r.says,
            )
        )  # fmt: skip
    assert period is not None
    asked.sort(key=_rank)
    return Fleet(
        period=period, says=_says(lines, asked), stores=tuple(lines), findings=tuple(asked), left_out=tuple(left_out)
    )


def _rank(one: Asked) -> tuple[int, float, str]:
    size = one.finding.size
    return WEIGHTS.index(one.finding.weight), -abs(size.value) if size else 0.0, one.finding.key


def _says(lines: Sequence[StoreLine], asked: Sequence[Asked]) -> str:
    judged = sum(line.judged for line in lines)
    of = f"{len(lines)} store{'s' * (len(lines) != 1)}, {judged} of {sum(line.units for line in lines)} units judged"
    money = [a for a in asked if a.finding.weight in ("danger", "money")]
    if not money:
        return f"Nothing stands out: {of}."
    where = len({a.store for a in money})
    return f"{len(money)} question{'s' * (len(money) != 1)} at {where} store{'s' * (where != 1)}: {of}."


def _period(book: Book, since: date | None, until: date | None, when: datetime) -> Period:
    stores = sorted(book.stores())
    if not stores:
        raise InputError("This book has no store yet.", mend="Begin with: drybank load STORE.toml SHEET.toml --yes")
    return period_of(book.store_at(stores[0], when).time_zone, since, until, when)


def _ready(
    book: Book, period: Period, when: datetime, *, cluster: str, anew: bool, step: Step | None, left_out: list[str]
) -> Iterator[Ready]:
    total = len(book.stores())
    sent = _sent(book, period, when, anew=anew, is_far=bool(cluster))
    done = 0
    for chunk in each_on(cluster, cut_down, sent):
        for one in chunk:
            done += 1
            if isinstance(one, str):
                left_out.append(one)
                continue
            if step is not None:
                step(done, total, one.name)
            yield one


def _sent(book: Book, period: Period, when: datetime, *, anew: bool, is_far: bool) -> Iterator[_Sent]:
    from drybank.book.snapshot import each_store

    every = each_store(book, anew=anew)
    while some := tuple(itertools.islice(every, CHUNK if is_far else 1)):
        yield _Sent(tuple(c.pack() for c in some) if is_far else some, period, when)


def cut_down(sent: _Sent) -> list[Ready | str]:
    """Each store's entries cut down to its spans; a sentence instead for one that cannot be laid out."""
    from drybank.balance.audit.result import HORIZON_DAYS, make_ready
    from drybank.book.columns import unpack

    out: list[Ready | str] = []
    far_back = sent.period.since - timedelta(days=HORIZON_DAYS + 1)
    for given in sent.columns:
        columns = unpack(given) if isinstance(given, bytes) else given
        try:
            laid = layout_of(columns, sent.when)
            entries = columns.entries(KINDS_READ, until=sent.period.until, tallies_since=far_back)
            out.append(make_ready(laid, entries, sent.period))
        except DrybankError as bad:
            out.append(f"{columns.store}: {bad.sentence()}")
    return out


def layout_of(columns: StoreColumns, when: datetime) -> Layout:
    """The store with its sheets laid over it, as both stood at ``when``."""
    from drybank.book.story import sheets_at, store_at
    from drybank.control import layout

    placed = list(columns.entries(("store version", "sheet version")))
    store = store_at(placed, when)
    return layout(store, sheets_at(placed, when, store.time_zone))
