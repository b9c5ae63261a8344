"""Results made for looking at: the store as it stands, money week by week, the chart of each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal
from zoneinfo import ZoneInfo

import msgspec

from drybank.desk.drawing import DYE, QUIET, Chart
from drybank.desk.standing import layout_at
from drybank.records.entry import OutcomeFound, PutOut
from drybank.records.finding import Finding
from drybank.records.money import MINOR_DIGITS, Money

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.desk.use import StoreUse
    from drybank.records.takings import PeriodTakings

USUAL_WEEKS = 8
_NOUN, _APART = re.compile(r"^Pockets? "), re.compile(r"\s*(?:\+|,|\band\b)\s*")
State = Literal["out of service", "danger", "not as the house says", "look at it", "as it should be", "not known"]


class PocketNow(msgspec.Struct, frozen=True, kw_only=True):
    """One pocket at a glance: its state in a word and why, this week's hours against its usual week.

    ``share`` is this week over the usual, 0 to 2 for drawing; None where either is not known.
    """

    key: str
    machine: str
    state: State
    why: str
    hours_week: float | None
    hours_usual: float | None
    share: float | None


class BankNow(msgspec.Struct, frozen=True, kw_only=True):
    key: str
    name: str
    pockets: tuple[PocketNow, ...]


class Floor(msgspec.Struct, frozen=True, kw_only=True):
    """The store as rows of pockets in walking order; ``read`` is the day up to which meters were read."""

    store: str
    name: str
    banks: tuple[BankNow, ...]
    read: date | None
    says: str


def floor(book: Book, store: str, when: datetime, use: StoreUse, findings: Iterable[Finding] = ()) -> Floor:
    """Every bank with its pockets as they stand; ``findings`` are those that this reader may see."""
    laid = layout_at(book, store, when)
    out = {b.pocket: b for b in _outages(book, store, when)}
    found: dict[str, list[Finding]] = {}
    for one in findings:
        for place in places_of(one.where):
            found.setdefault(place, []).append(one)
    differs = _differing(book, store, when)
    week, read = _weeks(use)
    banks = []
    for bank in laid.store.banks:
        machines = sorted((m for m in laid.machines.values() if m.bank == bank.key), key=lambda m: m.place)
        rows = [
            _pocket(p, m.key, (out.get(p), found.get(p, []), differs.get(p)), week.get(p))
            for m in machines
            for p in m.pockets
        ]
        banks.append(BankNow(key=bank.key, name=bank.name, pockets=tuple(rows)))
    return Floor(store=store, name=laid.store.name, banks=tuple(banks), read=read, says=_says(banks))


def places_of(where: str) -> tuple[str, ...]:
    """The places that a finding names: "Pockets 9+10" and "9, 10" are both of them."""
    return tuple(p for p in _APART.split(_NOUN.sub("", where)) if p)


def _says(banks: Sequence[BankNow]) -> str:
    rows = [p for b in banks for p in b.pockets]
    odd = [p for p in rows if p.state not in ("as it should be", "not known")]
    unknown = sum(p.state == "not known" for p in rows)
    head = (
        f"{len(odd)} of {len(rows)} pockets want a look." if odd else f"All {len(rows)} pockets are as they should be."
    )
    if unknown == len(rows):
        head = f"Of {len(rows)} pockets it is not known what they hold."
        unknown = 0
    return head + (f" Of {unknown} it is not known what they hold." if unknown else "")


def _outages(book: Book, store: str, when: datetime) -> list[PutOut]:
    last: dict[str, PutOut] = {}
    for told in book.story(store, kinds=("outage",), until=when + timedelta(microseconds=1)):
        if isinstance(told.body, PutOut):
            last[told.body.pocket] = told.body
    return [b for b in last.values() if not b.is_back]


def _differing(book: Book, store: str, when: datetime) -> dict[str, str]:
    """Pockets whose control is not as the house says, with what differs; "" where nothing does."""
    from drybank.desk.setting import bank_progress

    out: dict[str, str] = {}
    for bank in layout_at(book, store, when).store.banks:
        for one in bank_progress(book, store, bank.key, when):
            words = "; ".join(f"{d.name} {d.is_now}, should be {d.should_be}" for d in one.differs[:3])
            if one.state in ("not known", "no house settings"):
                words = "?"
            out |= dict.fromkeys(one.pockets, words)
    return out


def _weeks(use: StoreUse) -> tuple[dict[str, tuple[float, float]], date | None]:
    """Hours of the last seven days on file and of a usual week, for pockets with a meter; the last day read."""
    out, read = {}, None
    for place in use.places:
        spans = place.use.hours
        if place.scope != "pocket" or not spans:
            continue
        end = spans[-1].last
        read = end if read is None else min(read, end)
        rates = [_hours(spans, end - timedelta(weeks=k + 1), end - timedelta(weeks=k)) for k in range(USUAL_WEEKS + 1)]
        usual = [r for r in rates[1:] if r is not None]
        if rates[0] is not None and usual:
            out[place.key] = (rates[0], sum(usual) / len(usual))
    return out, read


def _hours(spans: Sequence[Any], first: date, last: date) -> float | None:
    total, covered = 0.0, 0
    for span in reversed(spans):
        if span.last <= first:
            break
        days = (min(span.last, last) - max(span.first, first)).days
        if days > 0:
            total, covered = total + span.amount * days / (span.last - span.first).days, covered + days
    return total if covered == (last - first).days else None


def _pocket(
    key: str, machine: str, seen: tuple[PutOut | None, list[Finding], str | None], week: tuple[float, float] | None
) -> PocketNow:
    out, found, differs = seen
    worst = next((f for f in found if f.weight == "danger"), found[0] if found else None)
    state: State
    if out is not None:
        state, why = "out of service", out.why
    elif worst is not None and worst.weight == "danger":
        state, why = "danger", worst.says
    elif differs == "?":
        state, why = ("look at it", worst.says) if worst else ("not known", "")
    elif differs:
        state, why = "not as the house says", differs
    elif worst is not None:
        state, why = "look at it", worst.says
    else:
        state, why = "as it should be", ""
    share = min(week[0] / week[1], 2.0) if week and week[1] > 0 else None
    return PocketNow(
        key=key, machine=machine, state=state, why=why, hours_week=week[0] if week else None,
        hours_usual=week[1] if week else None, share=share,
    )  # fmt: skip


def money_weeks(book: Book, store: str, when: datetime, weeks: int = 13) -> tuple[PeriodTakings, ...]:
    """Takings of the last whole weeks, oldest first."""
    from drybank.desk.takings import statement_of

    zone = ZoneInfo(layout_at(book, store, when).store.time_zone)
    day = when.astimezone(zone).date()
    monday = day - timedelta(days=day.weekday())
    first, last = monday - timedelta(weeks=weeks), monday - timedelta(days=1)
    return statement_of(book, store, f"{first}..{last}", when).weeks


def major(minor: float, currency: str) -> float:
    """Whole units of a currency for an axis; money itself stays in minor units."""
    return float(minor / 10 ** MINOR_DIGITS[currency])


def money_chart(weeks: Sequence[PeriodTakings], currency: str) -> Chart:
    """Money a week, the last one named and inked."""
    last = weeks[-1]
    usual = Money(round(sum(w.takings.minor for w in weeks) / len(weeks)), currency)
    title = f"The last week took {last.takings.plain()}; a usual one takes {usual.plain()} {currency}"
    values = [{"week": f"{w.starts}", "took": major(w.takings.minor, currency), "last": w is last} for w in weeks]
    rows = tuple((f"{w.starts}", f"{w.ends}", w.coins.plain(), w.cards.plain(), w.takings.plain()) for w in weeks)
    x = {
        "field": "week",
        "type": "ordinal",
        "axis": {
            "title": None,
            "labelAngle": 0,
            "labelOverlap": True,
            "format": "%d %b",
            "formatType": "time",
            "grid": False,
        },
    }
    y = {"field": "took", "type": "quantitative", "axis": {"title": currency, "tickCount": 4}}
    colour = {"condition": {"test": "datum.last", "value": DYE}, "value": QUIET}
    spec = {
        "data": {"values": values},
        "mark": {"type": "bar"},
        "encoding": {"x": x | {"timeUnit": "yearmonthdate"}, "y": y, "color": colour},
    }
    return Chart(title=title, alt=f"{title}. {len(weeks)} weeks shown.", spec=spec, heads=("from", "to", "coins", "cards", "took"), rows=rows)  # fmt: skip


def named_outcomes(book: Book, store: str) -> dict[str, str]:
    """How findings came out so far, by their key: the last word on each."""
    return {
        t.body.finding: t.body.outcome
        for t in book.story(store, kinds=("finding outcome",))
        if isinstance(t.body, OutcomeFound)
    }


def months_before(book: Book, store: str, when: datetime, months: int = 24) -> tuple[str, ...]:
    """This month and those before it, the latest whole one first, then back in time; the running one last."""
    day = when.astimezone(ZoneInfo(book.store_at(store, when).time_zone)).date().replace(day=1)
    running, out = f"{day:%Y-%m}", []
    for _ in range(months):
        day = (day - timedelta(days=1)).replace(day=1)
        out.append(f"{day:%Y-%m}")
    return (*out, running)


def week_before(book: Book, store: str, when: datetime) -> str:
    """The last whole week, as 2026-W47."""
    day = when.astimezone(ZoneInfo(book.store_at(store, when).time_zone)).date()
    return f"{day - timedelta(days=day.weekday() + 7):%G-W%V}"
