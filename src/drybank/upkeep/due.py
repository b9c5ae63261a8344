"""What is due: every task at every place, overdue first; and when a coin box will be full."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Final, Literal

import msgspec

from drybank.records.errors import InputError, NotIdentified
from drybank.records.finding import Finding
from drybank.records.upkeep import BoxDue, Due, Outage, Per, Span, Task
from drybank.upkeep.clock import TradeClock
from drybank.upkeep.forecast import FIRST_GUESS, BackTest, Reached, forecast

State = Literal["overdue", "due", "coming", "never entered", "out of service", "not known"]
_ORDER: Final[dict[State, int]] = {
    "overdue": 0, "due": 1, "never entered": 2, "coming": 3, "not known": 4, "out of service": 5,
}  # fmt: skip
SOON_DAYS: Final = 14

# What a finding pulls forward: tasks whose key stands here are due at the next visit. Common practice, no source.
PULLED_BY: Final[dict[str, tuple[str, ...]]] = {
    "exhaust pressure": ("lint-inside", "duct"),
    "exhaust duct": ("duct",),
    "lint": ("lint-inside", "duct"),
    "exhaust temperature": ("lint-inside", "heat-run"),
    "gas input": ("burner",),
    "make-up air": ("make-up-air",),
    "motor current": ("belt", "bearings"),
    "minutes to dry": ("lint-inside", "burner"),
    "fuel per hour": ("lint-inside", "burner", "gas-input"),
    "falling use": ("door-seal", "time-sold", "heat-run"),
    "time sold": ("time-sold",),
    "passed by": ("door-seal", "time-sold", "heat-run"),
    "fewer hours than sold": ("lint-inside", "heat-run"),
    "running free": ("time-sold",),
    "minutes per coin too many": ("time-sold",),
    "minutes per coin too few": ("time-sold",),
}


class Use(msgspec.Struct, frozen=True, kw_only=True):
    """How one place is used: spans of hours and cycles between readings, its clock, meter resolution."""

    hours: tuple[Span, ...] = ()
    cycles: tuple[Span, ...] = ()
    clock: TradeClock = TradeClock()
    resolution_h: float = 1.0

    def spans(self, per: Per) -> tuple[Span, ...]:
        return self.hours if per == "hours" else self.cycles

    def since(self, per: Per, day: date) -> float:
        """Use from the end of a day on: whole spans after it and the trade share of the one it cuts."""
        total = 0.0
        for span in self.spans(per):
            if span.first >= day:
                total += span.amount
            elif span.last > day:
                whole = self.clock.weeks(span.first, span.last)
                part = self.clock.weeks(day, span.last)
                total += span.amount * (part / whole if whole > 0 else 0.0)
        return total


class Place(msgspec.Struct, frozen=True, kw_only=True):
    """A pocket, machine or the store with its use, its outages and when each task was last done.

    ``used_at`` holds, where the meter was read when a task was done, the use since then in
    the task's own unit; else it is worked out from the spans.
    """

    key: str
    scope: Literal["pocket", "machine", "store"]
    use: Use = Use()
    last_done: dict[str, date] = {}
    used_since: dict[str, float] = {}
    outages: tuple[Outage, ...] = ()
    has_gas: bool = True

    def is_out(self, today: date) -> bool:
        return any(o.first <= today and (o.last is None or today < o.last) for o in self.outages)


def due_at(place: Place, task: Task, *, today: date, past: BackTest = FIRST_GUESS, level: float = 0.80) -> Due:
    """When a task falls due at a place."""
    if task.scope != place.scope:
        raise InputError(f"“{task.name}” is a task for a {task.scope}.", where=place.key)
    done = place.last_done.get(task.key)
    if done is not None and done > today:
        raise InputError(f"“{task.name}” was entered as done on {done}, after today.", where=place.key)
    if place.is_out(today):
        return Due(
            at=place.key, task=task, on=None, state="out of service", says="Out of service; due when it is back."
        )
    if done is None:
        return Due(at=place.key, task=task, on=None, state="never entered",
                   says="Never entered as done: do it at this visit, and its clock starts.")  # fmt: skip
    if task.per == "days":
        return _by_days(place, task, done, today)
    return _by_use(place, task, done, today=today, past=past, level=level)


def _by_days(place: Place, task: Task, done: date, today: date) -> Due:
    on = done + timedelta(days=round(task.every))
    left = float((on - today).days)
    return Due(at=place.key, task=task, on=on, left=left, state=_state(on, on, today),
               says=_days_say(on, today, done))  # fmt: skip


def _days_say(on: date, today: date, done: date) -> str:
    late = (today - on).days
    if late > 0:
        return f"Overdue by {late} {'day' if late == 1 else 'days'}; last done {done}."
    return f"Due today; last done {done}." if late == 0 else f"Due {on}; last done {done}."


def _by_use(place: Place, task: Task, done: date, *, today: date, past: BackTest, level: float) -> Due:
    used = place.used_since.get(task.key)
    used = place.use.since(task.per, done) if used is None else used
    left = task.every - used
    unit = "h" if task.per == "hours" else "loads"
    if left <= 0:
        return Due(at=place.key, task=task, on=today, left=left, state="overdue",
                   says=f"Overdue by {_many(-left, unit)}: {_many(used, unit)} since it was done on {done}.")  # fmt: skip
    try:
        resolution = place.use.resolution_h if task.per == "hours" else 1.0
        found = forecast(left, place.use.spans(task.per), today=today, clock=place.use.clock, resolution=resolution,
                         past=past, level=level)  # fmt: skip
    except NotIdentified as why:
        return Due(at=place.key, task=task, on=None, left=left, state="not known",
                   says=f"{_many(left, unit)} left. {why.sentence()}")  # fmt: skip
    return Due(
        at=place.key, task=task, on=found.on, low=found.low, high=found.high, level=level, left=left,
        state=_state(found.on, found.low, today), says=_reached_say(found, f"{_many(left, unit)} left"),
        working=found.working,
    )  # fmt: skip


def _many(amount: float, unit: str) -> str:
    """An amount with its unit, one load not being "1 loads"."""
    shown = f"{amount:,.0f}"
    return f"{shown} {'load' if unit == 'loads' and shown == '1' else unit}"


def _reached_say(found: Reached, left: str) -> str:
    if found.on is None or found.low is None:
        return f"{left}: more than ten years at this use."
    late = "not within ten years" if found.high is None else f"{found.high}"
    if found.low == found.high:
        return f"Due {found.on}, to the day; {left}. The meter decides."
    return f"Due {found.low} to {late} ({100 * found.level:.0f} %), most likely {found.on}; {left}. The meter decides."


def _state(on: date | None, low: date | None, today: date) -> State:
    if on is not None and on < today:
        return "overdue"
    soon = today + timedelta(days=SOON_DAYS)
    return "due" if low is not None and low <= soon else "coming"


def schedule(
    places: Iterable[Place],
    tasks: Sequence[Task],
    *,
    today: date,
    findings: Sequence[Finding] = (),
    past: BackTest = FIRST_GUESS,
    level: float = 0.80,
) -> tuple[Due, ...]:
    """Every task at every place it belongs to, overdue first, then by date.

    A finding at a place pulls the tasks that `PULLED_BY` names for it forward to this visit.
    """
    out = []
    for place in places:
        for task in tasks:
            if task.scope == place.scope and (place.has_gas or not task.gas_only):
                due = due_at(place, task, today=today, past=past, level=level)
                out.append(_pulled(due, [f for f in findings if place.key in places_named(f)], today))
    return tuple(sorted(out, key=_rank))


def places_named(finding: Finding) -> frozenset[str]:
    """Keys of pockets and machines that a finding's place names: "14", "pocket 14, High", "pockets 1, 2"."""
    words = finding.where.replace(",", " ").split()
    if words and words[0].lower() in ("pocket", "pockets", "machine", "machines"):
        return frozenset((finding.where, *(w for w in words[1:] if w not in ("and", "to"))))
    return frozenset((finding.where,))


def _pulled(due: Due, findings: Sequence[Finding], today: date) -> Due:
    kinds = [(f, f.key.split("/")) for f in findings]
    why = tuple(f.name for f, parts in kinds if any(due.task.key in PULLED_BY.get(p, ()) for p in (f.name, *parts)))
    if not why or due.state in ("overdue", "out of service"):
        return due
    says = f"Pulled forward by: {', '.join(why)}. {due.says}"
    return msgspec.structs.replace(due, state="due", pulled_by=why, says=says, on=due.on or today)


def in_steps(key: str) -> tuple[tuple[int, int, str], ...]:
    """A place's key for sorting as people count: 2 before 10, C2 before C10, figures before letters."""
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", key) if part)


def _rank(due: Due) -> tuple[int, date, tuple[tuple[int, int, str], ...], str]:
    return (_ORDER[due.state], due.on or date.max, in_steps(due.at), due.task.key)


def _called(box: str) -> str:
    """A box as a person says it; its key may begin with the word already."""
    return box[:1].upper() + box[1:] if box.lower().startswith("box") else f"Box {box}"


def box_full(
    box: str,
    *,
    capacity: int | None,
    pieces_now: float,
    spans: Sequence[Span],
    today: date,
    clock: TradeClock | None = None,
    past: BackTest = FIRST_GUESS,
    level: float = 0.80,
) -> BoxDue:
    """When a coin box will be full: the early end of the interval is the day to empty it by.

    ``spans`` are pieces dropped into it between readings; ``pieces_now`` what lay in it at
    the end of the last span. Raises `NotIdentified` where the box's capacity is not known.
    """
    if capacity is None:
        raise NotIdentified(f"{_called(box)}: how many coins it holds is not known; count a full one and enter it.")
    if capacity <= 0 or pieces_now < 0:
        raise InputError(
            f"A box for {capacity} coins with {pieces_now:g} in it.", where=_called(box), mend="Count both in pieces."
        )
    left = capacity - pieces_now
    if left <= 0:
        return BoxDue(box=box, pieces_now=pieces_now, capacity=capacity, on=today, empty_by=today, high=today, level=level,
                      says=f"{_called(box)} is full by its counter: empty it at this visit.")  # fmt: skip
    found = forecast(left, spans, today=today, clock=clock, resolution=1.0, past=past, level=level)
    late = "later than ten years" if found.high is None else f"{found.high}"
    early = "later than ten years" if found.low is None else f"{found.low}"
    when = f"on {early}" if early == late else f"between {early} and {late} ({100 * level:.0f} %)"
    return BoxDue(
        box=box, pieces_now=pieces_now, capacity=capacity, on=found.on, empty_by=found.low, high=found.high, level=level,
        says=f"{_called(box)} will be full {when}: empty it by {early}.",
        working=found.working,
    )  # fmt: skip
