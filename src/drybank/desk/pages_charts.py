"""Charts that stand on pages: coins against hours, waiting by hour, one load's drying, due dates. One message each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from drybank.desk.drawing import DANGER, DYE, QUIET, Chart
from drybank.desk.drying_chart import chart_of as load_chart
from drybank.desk.drying_chart import title_of
from drybank.desk.traffic import DAY_NAMES
from drybank.desk.traffic import chart_of as fullness_chart

if TYPE_CHECKING:
    from drybank.desk.drying import Dried
    from drybank.desk.traffic import StoreWeek
    from drybank.desk.upkeep import Upkeep
    from drybank.records.balance import BalanceResult, UnitBalance
    from drybank.records.upkeep import Due

TASKS = 12


def hours_chart(result: BalanceResult) -> Chart | None:
    """Coins counted against hours run, unit by unit, with each bank's usual coins an hour as a line; the odd ones named.

    Banks have lines of their own: an hour costs what its bank's sign says.
    """
    shown = [u for u in result.units if u.hours and u.pieces > 0]
    if len(shown) < 2:
        return None
    usual = {
        bank: _coins_an_hour([u for u in shown if u.bank == bank]) for bank in dict.fromkeys(u.bank for u in shown)
    }
    odd = [u for u in shown if u.is_listed]
    named = odd or [max(shown, key=lambda u: abs(_away(u, usual)))]
    title = _hours_title(named, usual, is_odd=bool(odd))
    values = [
        {"hours": u.hours, "pieces": u.pieces, "odd": u in odd, "name": "+".join(u.pockets) if u in named else ""} for u in shown
    ]  # fmt: skip
    lines = [row for bank, rate in usual.items() for row in _bank_line(bank, rate, shown)]
    x = {"field": "hours", "type": "quantitative", "axis": {"title": "hours run", "tickCount": 5}}
    y = {"field": "pieces", "type": "quantitative", "axis": {"title": "coins", "tickCount": 5}}
    colour = {"condition": {"test": "datum.odd", "value": DYE}, "value": QUIET}
    points = {"mark": {"type": "point", "size": 70, "filled": True, "opacity": 1}, "encoding": {"x": x, "y": y, "color": colour}}  # fmt: skip
    names = {
        "mark": {"type": "text", "align": "left", "dx": 9, "dy": 6},
        "encoding": {"x": x, "y": y, "text": {"field": "name"}, "color": colour},
    }
    line = {"mark": {"type": "line", "strokeDash": [5, 4]}, "encoding": {"x": x, "y": y, "detail": {"field": "bank"}}}
    ends = {
        "transform": [{"filter": "datum.hours > 0"}], "mark": {"type": "text", "align": "right", "dy": -8, "color": QUIET},
        "encoding": {"x": x, "y": y, "text": {"field": "bank"}},
    }  # fmt: skip
    spec = {"layer": [{"data": {"values": lines}, "layer": [line, ends] if len(usual) > 1 else [line]}, {"data": {"values": values}, "layer": [points, names]}]}  # fmt: skip
    rows = tuple(
        ("+".join(u.pockets), u.bank, f"{u.hours:,.1f}", f"{u.pieces:,.0f}", f"{u.pieces / (u.hours or 1.0):.2f}", u.verdict) for u in shown
    )  # fmt: skip
    rates = ", ".join(f"{bank} {rate:.2f}" for bank, rate in usual.items())
    alt = f"{title}. {len(shown)} pockets or groups; coins an hour, bank by bank: {rates}."
    heads = ("pockets", "bank", "hours", "coins", "coins an hour", "verdict")
    return Chart(title=title, alt=alt, spec=spec, heads=heads, rows=rows)


def _coins_an_hour(units: Sequence[UnitBalance]) -> float:
    return sum(u.pieces for u in units) / sum(u.hours or 0.0 for u in units)


def _bank_line(bank: str, rate: float, units: Sequence[UnitBalance]) -> list[dict[str, Any]]:
    most = 1.05 * max(u.hours or 0.0 for u in units if u.bank == bank)
    return [{"hours": h, "pieces": h * rate, "bank": bank} for h in (0.0, most)]


def _away(unit: UnitBalance, usual: Mapping[str, float]) -> float:
    return unit.pieces / (unit.hours or 1.0) / usual[unit.bank] - 1.0


def _hours_title(named: Sequence[UnitBalance], usual: Mapping[str, float], *, is_odd: bool) -> str:
    names = ", ".join("+".join(u.pockets) for u in named)
    if is_odd:
        return f"Coins against hours: the balance asks about {names}"
    return f"Coins follow hours; {names} lies furthest from its bank, {100 * _away(named[0], usual):+.0f} %"


def waiting_chart(week: StoreWeek) -> Chart:
    """Waits for a pocket hour by hour, a line a day, the worst day inked and named: what 95 of 100 waits stay under."""
    hours = [h for h in week.traffic.hours if h.customers > 0]
    worst = max(hours, key=lambda h: h.pocket_wait_p95_s or 0.0, default=None)
    most = (worst.pocket_wait_p95_s or 0.0) / 60 if worst else 0.0
    if worst is None or most < 1:  # nobody waits: how full it gets says more
        return fullness_chart(week)
    day = worst.hour // 24
    values = [
        {"hour": h.hour % 24, "wait": round((h.pocket_wait_p95_s or 0.0) / 60, 1), "day": DAY_NAMES[h.hour // 24], "worst": h.hour // 24 == day}
        for h in hours
    ]  # fmt: skip
    title = f"{DAY_NAMES[day]} {worst.hour % 24}:00: 95 of 100 wait less than {most:.0f} min for a pocket"
    shared = {
        "x": {"field": "hour", "type": "quantitative", "axis": {"title": "hour of the day", "tickCount": 6}},
        "y": {
            "field": "wait",
            "type": "quantitative",
            "axis": {"title": "min", "tickCount": 5},
            "scale": {"domainMin": 0},
        },
    }
    colour = {"condition": {"test": "datum.worst", "value": DYE}, "value": QUIET}
    faint = {"condition": {"test": "datum.worst", "value": 1}, "value": 0.35}
    spec = {"data": {"values": values}, "layer": [
        {"mark": {"type": "line", "interpolate": "step-after"}, "encoding": {**shared, "detail": {"field": "day"}, "color": colour, "opacity": faint}},
        {"transform": [{"filter": f"datum.worst && datum.hour == {worst.hour % 24}"}],
         "mark": {"type": "text", "dy": -10, "align": "center", "color": DYE}, "encoding": {**shared, "text": {"field": "day"}}},
    ]}  # fmt: skip
    rows = tuple(
        (DAY_NAMES[h.hour // 24], f"{h.hour % 24}:00", f"{h.customers:.1f}", f"{h.pockets_taken:.1f}", f"{(h.pocket_wait_p95_s or 0.0) / 60:.0f} min")
        for h in hours
    )  # fmt: skip
    heads = ("day", "hour", "customers", "pockets taken", "95 of 100 waits then")
    return Chart(title=title, alt=f"{title}. A line for each day of the week.", spec=spec, heads=heads, rows=rows)


def drying_chart(told: Dried) -> Chart:
    """One load: temperatures above, moisture below, over the same minutes."""
    made = load_chart(told)
    minutes = told.trace.time_s / 60.0
    every = max(1, len(minutes) // 24)
    rows = tuple(
        (f"{minutes[k]:.0f}", f"{told.trace.temp_exhaust_c[k]:.0f} °C", *(f"{100 * m:.0f} %" for m in told.trace.moisture_frac[k]))
        for k in range(0, len(minutes), every)
    )  # fmt: skip
    heads = ("minutes", "exhaust", *(f"water in the {name} items" for name in told.classes))
    title = title_of(told)
    alt = f"{title}. Temperatures of the items and the exhaust, and moisture of the items, against minutes."
    return Chart(title=title, alt=alt, spec={"vconcat": made["vconcat"]}, heads=heads, rows=rows)


def due_chart(seen: Upkeep) -> Chart | None:
    """Due dates of the tasks, the soonest of each; overdue ones inked, with their interval as a line."""
    first: dict[str, Due] = {}
    for one in sorted((d for d in seen.due if d.on is not None), key=lambda d: d.on or seen.today):
        first.setdefault(one.task.name, one)
    dated = list(first.values())[:TASKS]
    if not dated:
        return None
    late = sum(d.state == "overdue" for d in seen.due)
    today = f"{seen.today}"
    values: list[dict[str, Any]] = [
        {"task": d.task.name, "on": f"{d.on}", "low": f"{d.low or d.on}", "high": f"{d.high or d.on}", "late": d.state == "overdue"} for d in dated
    ]  # fmt: skip
    soon = next((d for d in dated if d.state != "overdue"), None)
    title = f"{late} jobs are overdue" if late else "Nothing is overdue"
    title += f"; next: {soon.task.name} ({soon.at}), {soon.on}" if soon else ""
    y = {"field": "task", "type": "nominal", "sort": None, "axis": {"title": None, "domain": False, "ticks": False, "labelLimit": 260}}  # fmt: skip
    x = {
        "field": "on",
        "type": "temporal",
        "axis": {"title": None, "format": "%d %b", "tickCount": 4, "labelOverlap": True},
    }
    colour = {"condition": {"test": "datum.late", "value": DANGER}, "value": QUIET}
    spec = {"layer": [
        {"data": {"values": [{"on": today}]}, "mark": {"type": "rule", "strokeDash": [4, 4]}, "encoding": {"x": x}},
        {"data": {"values": values}, "mark": {"type": "rule", "strokeWidth": 2}, "encoding": {"y": y, "x": {**x, "field": "low"}, "x2": {"field": "high"}, "color": colour}},
        {"data": {"values": values}, "mark": {"type": "point", "size": 70, "filled": True, "opacity": 1}, "encoding": {"y": y, "x": x, "color": colour}},
    ]}  # fmt: skip
    rows = tuple((d.task.name, d.at, f"{d.on}", f"{d.low or d.on}", f"{d.high or d.on}", d.state) for d in dated)
    heads = ("job", "where", "due", "from", "to", "state")
    return Chart(title=title, alt=f"{title}. The dashed line is today, {today}.", spec=spec, heads=heads, rows=rows)
