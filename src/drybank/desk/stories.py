"""The story of one pocket: what it holds as of any day, and everything the book tells of it, newest first."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import msgspec

from drybank.control import grid_of, scale_of, show
from drybank.desk.drawing import DANGER, DYE, QUIET, Chart
from drybank.desk.setting import Differs, differs_from_house
from drybank.desk.standing import controls_of, layout_at
from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Claimed,
    HouseUsed,
    PartReplaced,
    PiecesCounted,
    Proved,
    PutOut,
    ReadingTaken,
    Refunded,
    Serviced,
    SettingChanged,
)
from drybank.records.layout import Layout
from drybank.records.money import Money

if TYPE_CHECKING:
    from drybank.book import Book, Told
    from drybank.desk.use import StoreUse

CASH_KINDS = ("count",)
LANES = {
    "setting change": "settings", "replacement": "parts", "proof": "proofs", "service": "service", "outage": "outages",
    "claim": "complaints", "refund": "complaints", "collection": "emptied",
}  # fmt: skip

BAD = ("outages", "complaints")


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """One setting of the control as of the day asked: its name, value in words, or that it is not known."""

    name: str
    value: str
    is_known: bool


class Event(msgspec.Struct, frozen=True, kw_only=True):
    """One entry about the pocket, in a sentence."""

    id: str
    kind: str
    happened: datetime
    by: str
    says: str
    is_corrected: bool
    is_cash: bool


class PocketStory(msgspec.Struct, frozen=True, kw_only=True):
    """Who it is, what it holds on a day, what differs from the house, what happened."""

    store: str
    pocket: str
    bank: str
    machine: str
    control: str
    sheet: str
    as_of: date
    says: str
    held: tuple[Held, ...]
    differs: tuple[Differs, ...]
    sheet_says: str
    fuel: str
    fill_kg: float
    events: tuple[Event, ...]


def pocket_story(book: Book, store: str, pocket: str, when: datetime, *, as_of: date | None = None) -> PocketStory:
    """The pocket's story up to ``when``; settings as of the end of a day, today where none is said."""
    laid = layout_at(book, store, when)
    control = controls_of(laid, pocket=pocket)[0]
    zone = ZoneInfo(laid.store.time_zone)
    day = as_of or when.astimezone(zone).date()
    then: datetime | date = as_of or when
    old = layout_at(book, store, then)
    control = control if control in old.controls else controls_of(old, pocket=pocket)[0]
    held = book.settings_at(store, then).get(control, {})
    one = old.controls[control]
    bank = next(b for b in old.store.banks if b.key == one.bank)
    lines = _held(old, control, held)
    known = ", ".join(f"{h.name} {h.value}" for h in lines[:4] if h.is_known)
    moment = when if as_of is None else datetime.combine(as_of + timedelta(days=1), datetime.min.time(), zone)
    return PocketStory(
        store=store, pocket=pocket, bank=bank.name, machine=one.machine, control=control, sheet=old.sheets[one.sheet].name,
        as_of=day, says=f"{known}." if known else "What this control holds was never written down.", held=lines,
        differs=differs_from_house(book, old, control, held, moment), sheet_says=book.sheet_state(store, one.sheet, then if isinstance(then, datetime) else moment).sentence(),
        fuel=laid.pockets[pocket].plate.fuel, fill_kg=laid.pockets[pocket].fill_kg, events=_events(book, laid, pocket, when),
    )  # fmt: skip


def _held(laid: Layout, control: str, values: dict[str, int]) -> tuple[Held, ...]:
    out = []
    for line in laid.sheets[laid.controls[control].sheet].settings:
        scale = scale_of(laid, control, values) if len(line.grids) > 1 else ""
        value = values.get(line.key)
        is_known = value is not None and grid_of(line, scale) is not None
        words = (
            show(line, value, scale=scale, currency=laid.store.currency)
            if is_known and value is not None
            else "not known"
        )
        out.append(Held(name=line.name, value=words, is_known=is_known))
    return tuple(out)


def _events(book: Book, laid: Layout, pocket: str, when: datetime) -> tuple[Event, ...]:
    mine = _keys_of(laid, pocket)
    told = book.story(laid.store.key, until=when + timedelta(microseconds=1))
    out = [_event(t, says) for t in told if (says := _says(t.body, laid, mine)) is not None]
    return tuple(reversed(out))


def _event(told: Told, says: str) -> Event:
    return Event(
        id=told.id, kind=told.kind, happened=told.happened, by=told.by, says=says, is_corrected=bool(told.corrected_by),
        is_cash=told.kind in CASH_KINDS,
    )  # fmt: skip


def _keys_of(laid: Layout, pocket: str) -> frozenset[str]:
    """Every key under which the book may speak of the pocket: its control, machine, devices, inputs and boxes."""
    controls = {c.key for c in laid.controls.values() if pocket in c.pockets}
    inputs = {i.key for i in laid.inputs.values() if i.control in controls}
    devices = {m.key for m in laid.meters.values() if m.pocket == pocket} | {c.key for c in laid.counters.values() if c.control in controls}  # fmt: skip
    boxes = {b.key for b in laid.boxes.values() if inputs & set(b.inputs)}
    machines = {laid.controls[c].machine for c in controls}
    return frozenset({pocket} | controls | inputs | devices | boxes | machines)


def _says(body: AnyBody, laid: Layout, mine: frozenset[str]) -> str | None:
    """One sentence about an entry that speaks of this pocket; None where it does not."""
    for kind, tell in _TELLERS.items():
        if isinstance(body, kind):
            says: str | None = tell(body, laid, mine)
            return says
    return None


def _reading(body: ReadingTaken, laid: Layout, mine: frozenset[str]) -> str | None:
    shown = [v for v in body.values if v.device in mine]
    if not shown:
        return None
    return "Read: " + ", ".join(f"{_device(laid, v.device)} {_shown(laid, v.device, v.shown)}" for v in shown) + "."


def _device(laid: Layout, key: str) -> str:
    name = key.rsplit(".", 1)[-1]
    return f"{name} meter" if key in laid.meters else f"counter {name}"


def _shown(laid: Layout, key: str, value: int | None) -> str:
    if value is None:
        return "not read"
    meter = laid.meters.get(key)
    return f"{value / meter.per_hour:.1f} h" if meter and meter.per_hour > 1 else f"{value} h" if meter else f"{value}"


def _setting(body: SettingChanged, laid: Layout, mine: frozenset[str]) -> str | None:
    if body.control not in mine:
        return None
    held = {v.setting: v.value for v in body.left if v.value is not None}
    lines = {s.key: s for s in laid.sheets[laid.controls[body.control].sheet].settings}
    words = []
    for key, value in held.items():
        line = lines.get(key)
        scale = scale_of(laid, body.control, held) if line and len(line.grids) > 1 else ""
        if line and grid_of(line, scale) is not None:
            words.append(f"{line.name} {show(line, value, scale=scale, currency=laid.store.currency)}")
    read = " Read back." if body.is_read_back else ""
    return f"Left at: {', '.join(words)}.{read}" if words else f"Looked at.{read}"


def _emptied(body: BoxesEmptied, laid: Layout, mine: frozenset[str]) -> str | None:
    boxes = [b for b in body.boxes if b in mine]
    return f"Box emptied{f' into bag {body.bag}' if body.bag else ''}." if boxes else None


def _counted(body: PiecesCounted, laid: Layout, mine: frozenset[str]) -> str | None:
    if not set(body.boxes) & mine:
        return None
    minor = body.minor if body.minor is not None else sum(p.piece_minor * p.count for p in body.pieces)
    return f"Counted {Money(minor, laid.store.currency)} from {len(body.boxes)} box{'es' * (len(body.boxes) > 1)}."


def _proved(body: Proved, laid: Layout, mine: frozenset[str]) -> str | None:
    at = {p.strip() for p in body.at.split(",")}
    return f"Field test “{body.test}”: {body.verdict}." if at & mine else None


def _replaced(body: PartReplaced, laid: Layout, mine: frozenset[str]) -> str | None:
    return f"{body.part.capitalize()} exchanged." if body.at in mine else None


def _serviced(body: Serviced, laid: Layout, mine: frozenset[str]) -> str | None:
    return f"Service: {', '.join(task.replace('-', ' ') for task in body.tasks)}." if body.at in mine else None


def _out(body: PutOut, laid: Layout, mine: frozenset[str]) -> str | None:
    if body.pocket not in mine:
        return None
    return "Back in service." if body.is_back else f"Out of service{f': {body.why}' if body.why else ''}."


def _claimed(body: Claimed, laid: Layout, mine: frozenset[str]) -> str | None:
    return f"Complaint: {body.what}." if body.pocket in mine else None


def _refunded(body: Refunded, laid: Layout, mine: frozenset[str]) -> str | None:
    return f"Given back {Money(body.minor, laid.store.currency)}." if body.pocket in mine else None


def _used(body: HouseUsed, laid: Layout, mine: frozenset[str]) -> str | None:
    return f"House use{f': {body.why}' if body.why else ''}." if body.pocket in mine else None


_TELLERS: dict[type, Any] = {
    ReadingTaken: _reading, SettingChanged: _setting, BoxesEmptied: _emptied, PiecesCounted: _counted, Proved: _proved,
    PartReplaced: _replaced, Serviced: _serviced, PutOut: _out, Claimed: _claimed, Refunded: _refunded, HouseUsed: _used,
}  # fmt: skip


def story_chart(story: PocketStory, use: StoreUse, *, since: date) -> Chart | None:
    """Hours a week as a line, and what was done to the pocket as marks on the same time line."""
    place = next((p for p in use.places if p.key == story.pocket and p.scope == "pocket"), None)
    zone = ZoneInfo(use.layout.store.time_zone)
    spans = [s for s in place.use.hours if s.last > since] if place else []
    marks = [
        {"day": f"{e.happened.astimezone(zone):%Y-%m-%d}", "lane": LANES[e.kind], "bad": LANES[e.kind] in BAD}
        for e in story.events
        if e.kind in LANES and e.kind != "collection" and e.happened.astimezone(zone).date() >= since
    ]
    if not spans and not marks:
        return None
    weekly = [{"day": f"{s.last}", "hours": 7 * s.amount / (s.last - s.first).days} for s in spans]
    x = {"field": "day", "type": "temporal", "axis": {"title": None, "format": "%b %Y", "tickCount": 6, "grid": False}}
    line = {
        "data": {"values": weekly}, "height": 120, "width": 600, "mark": {"type": "line", "interpolate": "step-before", "color": QUIET},
        "encoding": {"x": x, "y": {"field": "hours", "type": "quantitative", "axis": {"title": "hours a week", "tickCount": 3}}},
    }  # fmt: skip
    colour = {
        "condition": {"test": "datum.bad", "value": DANGER},
        "value": DYE,
    }
    lanes = {
        "data": {"values": marks}, "height": {"step": 22}, "width": 600, "mark": {"type": "point", "size": 60, "filled": True, "opacity": 1},
        "encoding": {"x": x | {"axis": None}, "y": {"field": "lane", "type": "nominal", "axis": {"title": None, "ticks": False, "domain": False}}, "color": colour},
    }  # fmt: skip
    spec: dict[str, Any] = {
        "vconcat": [line, lanes] if marks else [line],
        "resolve": {"scale": {"x": "shared"}},
        "spacing": 8,
    }
    title = f"Pocket {story.pocket} ran {_usual(weekly):.0f} hours a week; {len(marks)} marks" if weekly else f"Pocket {story.pocket}: {len(marks)} marks"  # fmt: skip
    return Chart(
        title=title, alt=f"{title} since {since}.", spec=spec, heads=("week to", "hours a week"),
        rows=tuple((str(w["day"]), f"{w['hours']:.1f}") for w in reversed(weekly)),
    )  # fmt: skip


def _usual(weekly: Iterable[dict[str, Any]]) -> float:
    rows = [float(w["hours"]) for w in weekly]
    return sum(rows) / len(rows)
