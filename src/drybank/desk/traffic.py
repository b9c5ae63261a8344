"""A store's week at the desk: customers, washers, pockets and waits from the book, and what a change would do."""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

import msgspec
import numpy as np

from drybank.desk.drawing import Chart
from drybank.desk.houses import house_from
from drybank.desk.planning import inputs_of
from drybank.desk.stamp import Pen
from drybank.desk.standing import bank_key, layout_at
from drybank.records.entry import PutOut
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.plan import PlanInputs
from drybank.records.traffic import (
    Arrivals,
    BankSetting,
    Demand,
    OutSpan,
    Pocket,
    Settings,
    Spread,
    Staff,
    Traffic,
    WasherKind,
    WhatIf,
)
from drybank.records.traffic import Store as Trade
from drybank.records.working import Assumption
from drybank.traffic import Work, one_more_pocket, one_pocket_broken, promotion, simulate, what_if

if TYPE_CHECKING:
    from drybank.book import Book

DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_NAMES: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
WEEKS, REPLICATIONS, SEED = 4, 60, 1
STAFF_EMPTY_S: Final = 300.0
FOREVER_S: Final = 230 * 7 * 86_400.0
PROMOTION: Final = re.compile(r"\s*(mon|tue|wed|thu|fri|sat|sun)\s+([+-]?\d+(?:\.\d+)?)\s*%\s*")


class Ask(msgspec.Struct, frozen=True, kw_only=True):
    """What is asked beside today's week: a bank with one more pocket, a broken pocket, a promotion, another setting."""

    more: str = ""
    broken: str = ""
    promotion: str = ""
    settings: tuple[str, ...] = ()
    bank: str = ""
    weeks: int = WEEKS
    replications: int = REPLICATIONS
    seed: int = SEED
    cluster: str = ""

    def work(self) -> Work:
        return Work(
            weeks=self.weeks,
            replications=self.replications,
            seed=self.seed,
            warm_weeks=1,
            threads=2,
            cluster=self.cluster,
        )


class StoreWeek(msgspec.Struct, frozen=True, kw_only=True):
    """A store's week in one answer, hour by hour and pocket by pocket, with the changes asked for."""

    store: str
    name: str
    answer: str
    traffic: Traffic
    changes: tuple[WhatIf, ...]
    out_of_service: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """The store as the book has it, ready to simulate. ``inputs`` by bank key, in the order of the settings."""

    trade: Trade
    settings: Settings
    inputs: dict[str, PlanInputs]
    out: tuple[str, ...]


def store_week(book: Book, store: str, pen: Pen, ask: Ask | None = None) -> StoreWeek:
    """The week as it stands, and what each change asked for does; without one, one more pocket and one broken."""
    asked = ask if ask is not None else Ask()
    laid, now = layout_at(book, store, pen.clock()), stand(book, store, pen)
    work = asked.work()
    week = simulate(
        now.trade, now.settings, weeks=work.weeks, replications=work.replications, seed=work.seed, threads=work.threads,
        cluster=work.cluster,
    )  # fmt: skip
    changes = tuple(
        what_if(words, (now.trade, now.settings), after, work) for words, after in _changes(book, laid, pen, now, asked)
    )
    return StoreWeek(
        store=store, name=laid.store.name, answer=answer(laid.store.name, week), traffic=week, changes=changes,
        out_of_service=now.out, notes=_notes(now),
    )  # fmt: skip


def stand(book: Book, store: str, pen: Pen) -> Standing:
    """Every bank of the store in one week: customers of all, all washers, pockets in walking order."""
    when = pen.clock()
    laid = layout_at(book, store, when)
    if not laid.store.hours:
        raise InputError(
            f"{laid.store.name} gives no opening hours, so nobody knows when customers come.",
            mend="Add [[hours]] to the store file and load it.",
        )
    inputs = {b.key: inputs_of(book, store, b.key, pen) for b in laid.store.banks}
    banks = tuple(_bank_setting(one, laid, key) for key, one in inputs.items())
    out = _out_now(book, store, when)
    trade = _merged(laid, inputs, out)
    return Standing(trade=trade, settings=Settings(banks=banks), inputs=inputs, out=out)


def _bank_setting(inputs: PlanInputs, laid: Layout, key: str) -> BankSetting:
    from drybank.plan.queue import week_settings
    from drybank.plan.search.problem import middle

    if inputs.today is None:
        raise InputError(
            f"Bank {key} of {laid.store.name} has no house settings, so nobody knows what a coin buys.",
            mend=f"Adopt the ones it holds: drybank house {laid.store.key} --bank “{key}”.",
        )
    return week_settings(inputs, inputs.today, middle(inputs)).banks[inputs.traffic_bank]


def _merged(laid: Layout, inputs: dict[str, PlanInputs], out: tuple[str, ...]) -> Trade:
    weeks = [one.traffic for one in inputs.values() if one.traffic is not None]
    by_hour = np.sum([w.arrivals.by_hour for w in weeks], axis=0)
    washers = sorted(laid.store.washers, key=lambda w: w.load_kg)[:4]
    kinds = tuple(
        WasherKind(size=i + 1, count=w.number, cycle_s=Spread("constant", (float(w.wash_s),)))
        for i, w in enumerate(washers)
    )
    first, total = weeks[0], sum(k.count for k in kinds)
    pockets = tuple(
        Pocket(
            name=key, bank=b, capacity_kg=weeks[b].pockets[0].capacity_kg,
            out=(OutSpan(0.0, FOREVER_S),) if key in out else (),
        )
        for b, bank in enumerate(inputs)
        for machine in sorted((m for m in laid.machines.values() if m.bank == bank), key=lambda m: m.place)
        for key in machine.pockets
    )  # fmt: skip
    attended = _attended(laid)
    staff = Staff(attended=attended, empty_after_s=STAFF_EMPTY_S) if any(attended) else Staff()
    taken = {a.name: a for w in weeks for a in w.assumptions}
    if any(attended):
        words = f"empty stopped pockets after {STAFF_EMPTY_S / 60:.0f} min when somebody waits"
        taken["staff"] = Assumption(name="staff", taken=words, source="Drybank's assumption; ask them")
    visits = first.visits
    if kinds:
        share = tuple(k.count / total for k in kinds)
        visits = msgspec.structs.replace(visits, size_share=share, load_kg=(visits.load_kg[0],) * len(kinds))
    return msgspec.structs.replace(
        first, name=laid.store.name, arrivals=Arrivals(by_hour=tuple(float(v) for v in by_hour)), visits=visits,
        washers=kinds or first.washers, pockets=pockets, staff=staff, assumptions=tuple(taken.values()),
    )  # fmt: skip


def _attended(laid: Layout) -> tuple[bool, ...]:
    """Hours of the week in which somebody of the store is in for the whole hour."""
    flags = [False] * 168
    for opening in laid.store.hours:
        first, last = (int(t[:2]) + int(t[3:5]) / 60 for t in (opening.open, opening.close))
        last = last if last > first else last + 24
        for day in opening.days if opening.attended else ():
            for hour in range(int(np.ceil(first)), int(last)):
                flags[(24 * DAYS.index(day) + hour) % 168] = True
    return tuple(flags)


def _out_now(book: Book, store: str, when: datetime) -> tuple[str, ...]:
    last: dict[str, PutOut] = {}
    for told in book.story(store, kinds=("outage",), until=when + timedelta(microseconds=1)):
        if isinstance(told.body, PutOut):
            last[told.body.pocket] = told.body
    return tuple(sorted(key for key, body in last.items() if not body.is_back))


def _changes(  # what is asked for, as words and the store and settings after it
    book: Book, laid: Layout, pen: Pen, now: Standing, ask: Ask
) -> list[tuple[str, tuple[Trade, Settings]]]:
    banks, made = list(now.inputs), []
    plain = not (ask.more or ask.broken or ask.promotion or ask.settings)
    working = [p.name for p in now.trade.pockets if p.name not in now.out]
    if ask.more or plain:
        key = bank_key(laid, ask.more) if ask.more else banks[0]
        made.append((f"one more pocket in {key}", (one_more_pocket(now.trade, banks.index(key)), now.settings)))
    if ask.broken or (plain and len(working) > 1):
        name = ask.broken or working[0]
        made.append((f"pocket {name} broken", (one_pocket_broken(now.trade, name), now.settings)))
    if ask.promotion:
        day, factor = read_promotion(ask.promotion)
        after = promotion(now.settings, range(24 * day, 24 * day + 24), factor)
        words = f"{100 * (factor - 1):+.0f} % customers on {DAY_NAMES[day]}"
        made.append((words, (now.trade, after)))
    if ask.settings:
        made.append((", ".join(ask.settings), (now.trade, _other_settings(book, laid, pen, now, ask))))
    return made


def read_promotion(text: str) -> tuple[int, float]:
    """The day of the week and the factor on its customers, from words such as ``wed +20 %``."""
    found = PROMOTION.fullmatch(text.lower())
    if found is None or not -100.0 <= float(found[2]) <= 300.0:
        raise InputError(
            f"“{text}” is not a promotion.", where="--promotion", allowed="mon to sun and -100 % to +300 %",
            mend="Write it like: wed +20 %",
        )  # fmt: skip
    return DAYS.index(found[1]), 1.0 + float(found[2]) / 100.0


def _other_settings(book: Book, laid: Layout, pen: Pen, now: Standing, ask: Ask) -> Settings:
    """One bank at other settings; customers answer to the price as the plan takes it, by the bank's share of pockets."""
    from drybank.plan import setting_of
    from drybank.plan.queue import week_settings
    from drybank.plan.search.problem import middle

    key = bank_key(laid, ask.bank)
    inputs, at = now.inputs[key], list(now.inputs).index(key)
    house = house_from(laid, key, ask.settings, book.house_at(laid.store.key, key, pen.clock()))
    other = week_settings(inputs, setting_of(inputs, house), middle(inputs))
    mine = sum(p.bank == at for p in now.trade.pockets) / len(now.trade.pockets)
    share = 1.0 + (other.demand.factor_by_hour[0] - 1.0) * mine
    banks = tuple(other.banks[inputs.traffic_bank] if i == at else b for i, b in enumerate(now.settings.banks))
    return Settings(banks=banks, demand=Demand(factor_by_hour=(share,) * 168))


def answer(name: str, week: Traffic) -> str:
    """The week in one sentence or two."""
    lost = sum(e.value for e in week.lost.values())
    busy = max(week.hours, key=lambda h: h.pockets_taken)
    wait = busy.pocket_wait_p95_s
    words = (
        "hardly anybody waits for a pocket"
        if not wait
        else f"95 of 100 waits for a pocket are within {wait / 60:.0f} min"
    )
    return (
        f"{name} serves about {week.served.value:.0f} customers a week and loses {lost:.1f}. The fullest hour is "
        f"{DAY_NAMES[busy.hour // 24]} {busy.hour % 24}:00 with {busy.pockets_taken:.1f} of {len(week.pockets)} pockets taken; "
        f"{words} then."
    )


def _notes(now: Standing) -> tuple[str, ...]:
    notes = [f"Pocket {key} is out of service and stays so in this week." for key in now.out]
    if not any(a.source == "watches in the book" for a in now.trade.assumptions):
        notes.append(
            "When customers come is assumed: watch the store for an hour or two and enter it to sharpen this week."
        )
    return tuple(notes)


def chart_of(week: StoreWeek) -> Chart:
    """Pockets taken hour by hour, one line a day, the fullest day inked and named."""
    busy = max(week.traffic.hours, key=lambda h: h.pockets_taken)
    count, full = len(week.traffic.pockets), DAY_NAMES[busy.hour // 24]
    values = [
        {"hour": h.hour % 24, "taken": round(h.pockets_taken, 2), "day": DAY_NAMES[h.hour // 24], "full": h.hour // 24 == busy.hour // 24}
        for h in week.traffic.hours
    ]  # fmt: skip
    title = f"{full} {busy.hour % 24}:00 fills {busy.pockets_taken:.0f} of {count} pockets"
    colour = {"condition": {"test": "datum.full", "value": "#1F5D6B"}, "value": "#56606E"}
    ends = {"filter": {"field": "hour", "equal": busy.hour % 24}}
    lines = {
        "mark": {"type": "line", "interpolate": "step-after"},
        "encoding": {"detail": {"field": "day"}, "color": colour, "opacity": {"condition": {"test": "datum.full", "value": 1}, "value": 0.35}},
    }  # fmt: skip
    label = {
        "transform": [ends, {"filter": "datum.full"}],
        "mark": {"type": "text", "dy": -10, "align": "center", "color": "#1F5D6B"},
        "encoding": {"text": {"field": "day"}},
    }
    rule = {"data": {"values": [{"pockets": count}]}, "mark": {"type": "rule", "strokeDash": [4, 4]},
            "encoding": {"y": {"field": "pockets", "type": "quantitative"}}}  # fmt: skip
    shared = {
        "x": {"field": "hour", "type": "quantitative", "title": "hour of the day", "scale": {"domain": [0, 23]}},
        "y": {
            "field": "taken",
            "type": "quantitative",
            "title": "pockets taken (mean)",
            "scale": {"domain": [0, count]},
        },
    }
    return Chart(
        title=title,
        alt=f"{title}. Mean pockets taken by hour, a line for each day of the week; the dashed line is all {count} pockets.",
        spec={"data": {"values": values}, "layer": [{**lines, "encoding": {**shared, **lines["encoding"]}},  # type: ignore[dict-item]
                                                    {**label, "encoding": {**shared, **label["encoding"]}}, rule]},  # type: ignore[dict-item]
        heads=HEADS, rows=day_rows(week.traffic),
    )  # fmt: skip


HEADS: Final = ("day", "customers", "fullest hour", "pockets taken", "95 of 100 waits then", "hours of heat")


def day_rows(week: Traffic) -> tuple[tuple[str, ...], ...]:
    """The week as a table, one row a day."""
    rows = []
    for day, name in enumerate(DAY_NAMES):
        hours = week.hours[24 * day : 24 * day + 24]
        full = max(hours, key=lambda h: h.pockets_taken)
        wait = full.pocket_wait_p95_s
        said = "not known" if wait is None else "none" if wait == 0 else f"{wait / 60:.0f} min"
        rows.append((
            name, f"{sum(h.customers for h in hours):.0f}", f"{full.hour % 24}:00", f"{full.pockets_taken:.1f} of {len(week.pockets)}",
            said, f"{sum(h.heated_s for h in hours) / 3600:.1f}",
        ))  # fmt: skip
    return tuple(rows)


def effect_rows(change: WhatIf) -> tuple[tuple[str, ...], ...]:
    """A change's effects in words: today, the change, give or take, all to the digits that the give or take bears out."""
    rows = []
    for e in change.effects:
        ends, unit, times = e.difference.interval, e.before.unit, 1.0
        if unit == "fraction":
            unit, times = "%", 100.0
        half = None if ends is None else times * (ends.high - ends.low) / 2
        digits = 1 if not half else min(3, max(0, -math.floor(math.log10(half))))
        before, more = times * e.before.value, round(times * e.difference.value, digits)
        give = "not known" if half is None else f"{half:.{digits}f}" if half else "none"
        rows.append((f"{e.name} ({unit})", f"{before:.{digits}f}", f"{more:+.{digits}f}" if more else "none", give))
    return tuple(rows)
