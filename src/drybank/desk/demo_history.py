"""The demo town's two years: an invented history with the faults of `demo_town/faults.toml` planted, told as entries.

Nothing here is measured anywhere: seeded chance on our own assumptions, so that every finding can be held against the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from drybank.control import coin_plan, to_sheet, worth
from drybank.desk.demo_town import FIRST_DAY, WEEKS, PlantedFault
from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Claimed,
    DeviceValue,
    Entry,
    PartReplaced,
    PiecesCounted,
    ReadingTaken,
    Refunded,
    Serviced,
    ValueLearned,
)
from drybank.records.ids import uuid7
from drybank.records.layout import Layout
from drybank.records.sheet import HouseSettings
from drybank.trial import Fault, History, Telling, World, as_entries, invent
from drybank.trial.beside import beside
from drybank.trial.world import FaultKind
from drybank.upkeep import START_LIST

SEED = 20_230_102
CARD_SHARE = {"pad": 0.14, "far": 0.25, "dollar": 0.22}
WORLD_KINDS: dict[str, FaultKind] = {"theft": "theft", "double": "double", "minutes": "minutes", "replacement": "swap"}
FIRE_SHARE = 0.62
"""Share of the run that the burner is on, invented for the bills (real ones come from the drying of real loads)."""
MJ_PER_M3, MJ_PER_THERM, MJ_PER_GAL = 38.6, 105.506, 96.5


_Spoken = list[tuple[datetime, str, AnyBody]]


def first_visit(zone: str) -> datetime:
    """Monday of week 0 at nine, local."""
    return datetime.combine(date.fromisoformat(FIRST_DAY), time(9), ZoneInfo(zone)).astimezone(UTC)


def _world(layout: Layout, bank: str, house: HouseSettings) -> World:
    """A bank's world: its own start and minutes per quarter, loads so many a pocket as its owner says."""
    control = next(c for c in layout.controls.values() if c.bank == bank)
    main = min(
        (i for i in layout.inputs.values() if i.control == control.key and i.means == "coin"),
        key=lambda i: i.piece_minor,
    )
    plan = coin_plan(
        layout.sheets[control.sheet],
        to_sheet(layout, control.key, house),
        main.sheet_input,
        worth=worth(layout, control.key),
    )
    loads = (layout.store.trade.loads_per_week or 35.0 * len(layout.pockets)) / len(layout.pockets)
    return World(
        loads_week=loads, start_coins=plan.start_pieces, extra_coins=2.0, coin_minutes=plan.time_per_piece_s / 60,
        offset_coins=0.6, trade_spread_store=0.05, trade_spread_pocket=0.16,
    )  # fmt: skip


def _faults(layout: Layout, pockets: Sequence[str], planted: Sequence[PlantedFault]) -> tuple[Fault, ...]:
    return tuple(
        Fault(
            kind=WORLD_KINDS[f.kind],
            store=0,
            size=f.size,
            pocket=pockets.index(f.pocket),
            first_week=f.from_week,
            last_week=f.until_week,
        )
        for f in planted
        if f.kind in WORLD_KINDS and f.store == layout.store.key and f.pocket in pockets
    )


def _seed(layout: Layout) -> int:
    """A seed of the store's own, so that no two stores share chance or ids."""
    return SEED + 10 * sum(n * ord(c) for n, c in enumerate(layout.store.key, 1))


def history_of(layout: Layout, houses: dict[str, HouseSettings], planted: Sequence[PlantedFault]) -> History:
    """The store's history: each bank in its own world, laid side by side in the layout's order of pockets."""
    parts = []
    order = list(layout.pockets)
    banks = list(dict.fromkeys(next(c.bank for c in layout.controls.values() if p in c.pockets) for p in order))
    for number, bank in enumerate(banks):
        pockets = [p for p in order if any(p in c.pockets and c.bank == bank for c in layout.controls.values())]
        parts.append(
            invent(
                _world(layout, bank, houses[bank]),
                stores=1,
                pockets=len(pockets),
                weeks=WEEKS,
                seed=_seed(layout) + number,
                faults=_faults(layout, pockets, planted),
            )
        )
    return beside(parts)


def told(layout: Layout, houses: dict[str, HouseSettings], planted: Sequence[PlantedFault]) -> tuple[Entry, ...]:
    """The store's two years as entries: visits, counts, deposits, statements, and what else was planted."""
    history = history_of(layout, houses, planted)
    mine = [f for f in planted if f.store == layout.store.key]
    late = {f.from_week: f.size - 2.0 for f in mine if f.kind == "late deposit"}
    telling = Telling(
        start=first_visit(layout.store.time_zone), other_inputs=CARD_SHARE, late_deposits=late, seed=_seed(layout)
    )
    entries = list(as_entries(layout, history, telling))
    for fault in mine:
        if fault.kind == "roll-over":
            entries = _begin_at(layout, entries, fault)
        elif fault.kind == "swapped box":
            entries = _swapped(entries, fault, telling.start)
    if layout.store.counting.asks_two:
        entries = [_with_two(e) for e in entries]
    return tuple(sorted([*entries, *_extras(layout, history, mine, telling.start)], key=lambda e: (e.happened, e.id)))


def _with_two(entry: Entry) -> Entry:
    """A count that the store wants made by two."""
    if not isinstance(entry.body, PiecesCounted):
        return entry
    return msgspec.structs.replace(entry, body=msgspec.structs.replace(entry.body, with_second="second"))


def _begin_at(layout: Layout, entries: list[Entry], fault: PlantedFault) -> list[Entry]:
    """One meter moved so that it begins where the fault says and rolls over on its way."""
    size = layout.meters[fault.device].rolls_over_at
    shift: int | None = None
    out = []
    for entry in entries:
        if isinstance(entry.body, ReadingTaken):
            shown = next((v.shown for v in entry.body.values if v.device == fault.device), None)
            if shown is not None:
                shift = int(fault.size) - shown if shift is None else shift
                values = tuple(
                    DeviceValue(device=v.device, shown=(shown + shift) % size) if v.device == fault.device else v
                    for v in entry.body.values
                )
                entry = msgspec.structs.replace(entry, body=msgspec.structs.replace(entry.body, values=values))
        out.append(entry)
    return out


def _swapped(entries: list[Entry], fault: PlantedFault, start: datetime) -> list[Entry]:
    """Two boxes written down for each other at one collection."""
    when = start + timedelta(weeks=fault.from_week)
    other = {fault.device: fault.other, fault.other: fault.device}
    out = []
    for entry in entries:
        is_there = isinstance(entry.body, BoxesEmptied) and abs(entry.happened - when) < timedelta(days=1)
        if is_there and isinstance(entry.body, BoxesEmptied) and entry.body.boxes[0] in other:
            body = msgspec.structs.replace(entry.body, boxes=(other[entry.body.boxes[0]],))
            entry = msgspec.structs.replace(entry, body=body)
        out.append(entry)
    return out


def _extras(layout: Layout, history: History, planted: Sequence[PlantedFault], start: datetime) -> list[Entry]:
    """Complaints with their refunds, and the fuel bills of each month."""
    rng = np.random.default_rng([SEED, _seed(layout)])
    lines: list[_Spoken] = []
    pockets = list(layout.pockets)
    for _ in range(18):  # a complaint every few weeks, anywhere
        day = start + timedelta(days=float(rng.uniform(0, 7 * WEEKS)))
        lines.append(_complaint(pockets[int(rng.integers(len(pockets)))], day, 100))
    for fault in planted:
        if fault.kind == "refunds":
            span = 7.0 * ((fault.until_week or fault.from_week + 1) - fault.from_week)
            days = rng.uniform(0, span, int(fault.size))
            lines += [
                _complaint(fault.pocket, start + timedelta(weeks=fault.from_week, days=float(d)), 100) for d in days
            ]
    lines += [[line] for line in _bills(layout, history, start, rng)]
    lines += [[line] for line in _services(layout, history, start, rng)]
    return [e for line in lines for e in _signed(layout.store.key, line, rng)]


_HOURS_A_DAY = 3.0
"""What an invented pocket runs, for spreading the last services over the demo's last months."""


def _services(
    layout: Layout, history: History, start: datetime, rng: np.random.Generator
) -> list[tuple[datetime, str, AnyBody]]:
    """The last time each upkeep task was done at each place, spread so that most are in time and a few are not."""
    end = start + timedelta(weeks=history.weeks)
    places = {"pocket": list(layout.pockets), "machine": list(layout.machines), "store": ["store"]}
    out: list[tuple[datetime, str, AnyBody]] = []
    for task in START_LIST:
        days = task.every if task.per == "days" else task.every / _HOURS_A_DAY / (1 if task.per == "hours" else 4)
        for at in places[task.scope]:
            ago = min(7.0 * history.weeks - 1, days * float(rng.uniform(0.1, 1.05)))
            who = "technician" if task.who == "anyone" else "trade"
            out.append(
                (end - timedelta(days=ago), who, Serviced(at=at, tasks=(task.key,), minutes=round(task.minutes)))
            )
    return out


def _signed(store: str, line: _Spoken, rng: np.random.Generator) -> list[Entry]:
    """A line as an entry; a refund names the claim that it answers, which is the line before it."""
    out: list[Entry] = []
    for when, by, body in line:
        stamp = when.astimezone(UTC).replace(microsecond=0)
        made = uuid7(int(stamp.timestamp() * 1000), rng.bytes(10))
        if isinstance(body, Refunded):
            body = msgspec.structs.replace(body, claim=out[-1].id)
        out.append(Entry(id=made, store=store, happened=stamp, by=by, origin="trial", body=body))
    return out


def _complaint(pocket: str, when: datetime, minor: int) -> _Spoken:
    return [
        (when, "desk", Claimed(pocket=pocket, what="short time", minor=minor)),
        (when + timedelta(hours=20), "desk", Refunded(pocket=pocket, minor=minor, why="short time", paid_by="post")),
    ]


def _bills(
    layout: Layout, history: History, start: datetime, rng: np.random.Generator
) -> list[tuple[datetime, str, AnyBody]]:
    """A fuel bill every four weeks: hours run at the plate's input, the burner on for an invented share, 3 % of chance."""
    watts = np.array([p.plate.input_w or 22_000.0 for p in layout.pockets.values()])
    fuel = next(iter(layout.pockets.values())).plate.fuel
    unit, mj = {"natural gas": ("m3", MJ_PER_M3), "propane": ("gal", MJ_PER_GAL)}[fuel]
    if layout.store.units.gas == "therm":
        unit, mj = "therm", MJ_PER_THERM
    price_minor = {"m3": 43.0, "therm": 118.0, "gal": 212.0}[unit]
    name = "gas" if fuel == "natural gas" else "propane"
    out: list[tuple[datetime, str, AnyBody]] = []
    for first in range(0, history.weeks - 3, 4):
        hours = history.hours[0, :, first : first + 4].sum(axis=1)
        used = float((hours * watts).sum() * 3600 * FIRE_SHARE / 1e6 / mj * rng.normal(1, 0.03))
        day, last = start + timedelta(weeks=first), start + timedelta(weeks=first + 4, days=-1)
        span = {"data_from": f"{day:%Y-%m-%d}", "data_to": f"{last:%Y-%m-%d}", "method": "bill"}
        measured = msgspec.convert(
            {"kind": "learned value", "name": f"{name} billed", "value": round(used, 1), "unit": unit, **span},
            ValueLearned,
        )
        paid = msgspec.structs.replace(
            measured, name=f"{name} bill", value=float(round(used * price_minor)), unit=f"minor {layout.store.currency}"
        )
        out += [(last + timedelta(days=6), "owner", measured), (last + timedelta(days=6), "owner", paid)]
    return out


def replaced_boards(entries: Sequence[Entry]) -> list[str]:
    """Controls whose board was exchanged in the history."""
    return [e.body.at for e in entries if isinstance(e.body, PartReplaced) and e.body.part == "board"]
