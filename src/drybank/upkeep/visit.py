"""A round: everything due at this visit, one card for each machine, in walking order.

Lock-out and gas-off steps stand on a sheet wherever one of its tasks opens the machine. A
sheet that needs power on never carries them: such work is on a sheet of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

import msgspec

from drybank.records.finding import Finding
from drybank.records.store import Machine
from drybank.records.upkeep import CardLine, CardSheet, Due, Power, RoundCard, Task
from drybank.upkeep.due import in_steps, places_named

LOCK_OUT_SOURCE: Final = (
    "29 CFR 1910.147 (scope, isolating devices, written procedure read; order of steps from memory)"
)
GAS_SMELL: Final = "Smell gas? Touch no switch, leave, and call the gas company from outside."
SCORCHED: Final = (
    "A scorched smell, or lint near the burner: stop, do not start it again, call the gas or electrical trade."
)
_LAW: Final = "Local code, the maker's manual and the licensed trades come before this card."
_QUALIFIED: Final = (
    "For a qualified person trained in this machine's written lock-out procedure only.",
    "Sharp edges, hot metal and moving parts behind panels; lint burns.",
    _LAW,
)
_POWERED: Final = (
    "This sheet needs the power on: open no panel.",
    "Keep hands, sleeves and cords away from the drum while it turns.",
    _LAW,
)
_PLAIN: Final = ("Stop the dryer at its control and let it cool before you reach in; open no panel.", _LAW)


def cautions_of(power: Power, *, opens: bool, has_gas: bool) -> tuple[str, ...]:
    """What is said first on a sheet: danger to life, then what the work itself asks."""
    own = _QUALIFIED if opens else _POWERED if power == "on" else _PLAIN
    return (*((GAS_SMELL,) if has_gas else ()), SCORCHED, *own)


def lock_out_steps(*, has_gas: bool) -> tuple[str, ...]:
    """Before a machine is opened. A dryer with gas and electricity has two energy sources."""
    gas = ("Close the gas cock at this machine; your own lock and tag on it. Gas work itself is the licensed trade's.",)
    return (
        "Have the written procedure for this machine in hand."
        + (" Gas and electricity are two sources: it must name both." if has_gas else ""),
        "Tell the people in the shop; hang the out-of-service sign.",
        "Stop the machine at its control. Push buttons and selectors are not isolating devices.",
        "Switch off and lock the electrical disconnect; your own lock and tag on it.",
        *(gas if has_gas else ()),
        "Wait until the drum stands and hot parts are cool.",
        "Try to start it: nothing may happen. A qualified person checks with a rated tester that it is dead.",
    )


def lock_off_steps(*, has_gas: bool) -> tuple[str, ...]:
    """After the work: how it goes back into service."""
    gas = ("Who may do so opens the gas, checks for leaks and sees the burner light properly.",)
    return (
        "Tools and rags out, panels and guards on, people clear.",
        "Each lock comes off by the person who put it on; then power on.",
        *(gas if has_gas else ()),
        "Run it empty for a minute: drum, heat, door stop. Take the sign down.",
    )


def _sheet(power: Power, lines: Sequence[CardLine], tasks: Sequence[Task], *, has_gas: bool) -> CardSheet:
    opens = any(t.opens_machine for t in tasks)
    return CardSheet(
        power=power,
        cautions=cautions_of(power, opens=opens, has_gas=has_gas),
        before=lock_out_steps(has_gas=has_gas) if opens else (),
        lines=tuple(lines),
        after=lock_off_steps(has_gas=has_gas) if opens else (),
    )


def _lines(due: Sequence[Due]) -> tuple[list[CardLine], list[Task]]:
    """Merge the same task at several pockets into one line; minutes add, parts count by pocket."""
    by_task: dict[str, list[Due]] = {}
    for item in due:
        by_task.setdefault(item.task.key, []).append(item)
    lines, tasks = [], []
    for items in by_task.values():
        task = items[0].task
        items = sorted(items, key=lambda i: in_steps(i.at))
        pockets = tuple(i.at for i in items)
        lines.append(
            CardLine(
                task=task.key,
                name=task.name,
                pockets=pockets,
                why=_why(items),
                minutes=task.minutes * len(items),
                who=task.who,
                steps=task.steps,
                write=task.write,
                parts=task.parts if len(items) == 1 else tuple(f"{len(items)} × {p}" for p in task.parts),
                source=f"{task.source}"
                if task.known == "common practice, no source"
                else f"{task.source} ({task.known})",
            )
        )
        tasks.append(task)
    return lines, tasks


def _why(items: Sequence[Due]) -> str:
    """Why a line is due: once where it is the same everywhere, else place by place."""
    by_says: dict[str, list[str]] = {}
    for item in items:
        by_says.setdefault(item.says, []).append(item.at)
    if len(by_says) == 1:
        return items[0].says
    return " ".join(f"{', '.join(places)}: {says}" for says, places in by_says.items())


def parts_of(due: Sequence[Due]) -> tuple[str, ...]:
    """Parts to take along for some tasks, each once with its number."""
    count: dict[str, int] = {}
    for item in due:
        for part in item.task.parts:
            count[part] = count.get(part, 0) + 1
    return tuple(part if n == 1 else f"{n} × {part}" for part, n in count.items())


def _sheets(due: Sequence[Due], *, has_gas: bool) -> tuple[CardSheet, ...]:
    """Off first, so that what must be proved running is proved after the work.

    What can be done either way joins the work with the power off where there is some.
    """
    off = [d for d in due if d.task.power == "off"]
    running = [d for d in due if d.task.power == "on"]
    plain = [d for d in due if d.task.power == "either"]
    if off:
        off, plain = [*off, *plain], []
    out = []
    groups: tuple[tuple[Power, list[Due]], ...] = (("off", off), ("either", plain), ("on", running))
    for power, items in groups:
        if items:
            lines, tasks = _lines(items)
            out.append(_sheet(power, lines, tasks, has_gas=has_gas))
    return tuple(out)


class Stop(msgspec.Struct, frozen=True, kw_only=True):
    """A machine on the round: its place in walking order, its pockets, whether it burns gas."""

    machine: str
    place: int
    pockets: tuple[str, ...]
    has_gas: bool = True


def stops(machines: Sequence[Machine], has_gas: Mapping[str, bool]) -> tuple[Stop, ...]:
    """The machines of a store file in walking order (``place``, then as they stand in the file)."""
    made = [
        Stop(machine=m.key, place=m.place, pockets=m.pockets, has_gas=any(has_gas.get(p, True) for p in m.pockets))
        for m in machines
    ]
    return tuple(sorted(made, key=lambda s: s.place))


def is_for_this_visit(due: Due, *, visit: date, until: date) -> bool:
    """Overdue, due, never entered, or falling due (early end) before the next visit.

    What is out of service stays off the card: nobody runs it, and its clocks stand still.
    """
    if due.state in ("overdue", "due", "never entered"):
        return True
    early = due.low or due.on
    return due.state == "coming" and early is not None and visit <= early < until


def round_cards(
    due: Sequence[Due],
    walk: Sequence[Stop],
    *,
    visit: date,
    until: date,
    findings: Sequence[Finding] = (),
) -> tuple[RoundCard, ...]:
    """One card for each stop with something to do or to look at; the room's own card comes first.

    ``until`` is the day of the next visit: what falls due before it is on this card.
    """
    wanted = [d for d in due if is_for_this_visit(d, visit=visit, until=until)]
    known = {key for s in walk for key in (s.machine, *s.pockets)}
    cards = []
    room = [d for d in wanted if d.task.scope == "store"]
    loose = tuple(f for f in findings if not places_named(f) & known)
    if room or loose:
        cards.append(
            _card(Stop(machine="", place=-1, pockets=(), has_gas=any(s.has_gas for s in walk)), room, loose, ())
        )
    for stop in walk:
        here = {stop.machine, *stop.pockets}
        items = [d for d in wanted if d.at in here and d.task.scope != "store"]
        seen = tuple(f for f in findings if places_named(f) & here)
        out = tuple(sorted({d.at for d in due if d.at in here and d.state == "out of service"}))
        if items or seen:
            cards.append(_card(stop, items, seen, out))
    return tuple(cards)


def _card(stop: Stop, items: Sequence[Due], seen: tuple[Finding, ...], out: tuple[str, ...]) -> RoundCard:
    sheets = _sheets(items, has_gas=stop.has_gas)
    lines = [line for sheet in sheets for line in sheet.lines]
    return RoundCard(
        machine=stop.machine,
        place=stop.place,
        pockets=stop.pockets,
        sheets=sheets,
        look_at=seen,
        out_of_service=out,
        minutes=sum(line.minutes for line in lines),
        parts=parts_of(items),
    )
