"""An invented fleet as a book's entries: stores of 24 pockets read, emptied and counted every week.

Six pockets to a machine, each pocket with its own control, coin counter, hour meter and box. A machine's visit is one reading
and one collection; every box is counted by itself. History of `drybank.trial`, seeded by the store's number.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    DeviceValue,
    Entry,
    Pieces,
    PiecesCounted,
    PlanAdopted,
    ReadingTaken,
    SheetDated,
    StoreDated,
)
from drybank.records.ids import uuid7
from drybank.records.sheet import (
    Change,
    ControlSheet,
    Grid,
    HouseValue,
    SaleRule,
    SettingLine,
    SheetCounter,
    SheetInput,
    SheetMeter,
)
from drybank.records.store import Bank, InputSaid, Machine, Pocket, Store
from drybank.trial import Fault, History, invent

MACHINES, EACH = 4, 6
BEGIN = datetime(2023, 1, 2, 9, tzinfo=UTC)
WRITING_MS = 1_750_000_000_000
KEYS = [str(k + 1) for k in range(MACHINES * EACH)]


def _line(key: str, purpose: str, grid: Grid) -> SettingLine:
    change = Change(way="digits", say="Type {digits}.")
    return SettingLine(key=key, name=key, purpose=purpose, found="p. 1", grids=(grid,), change=change, reached="inside", input="slot")  # type: ignore[arg-type]  # fmt: skip


SHEET = ControlSheet(
    key="elm", name="Elm", revision="1",
    settings=(
        _line("clock", "time per piece", Grid(unit="half min", lowest=2, highest=60, factory=12)),
        _line("first", "start pieces", Grid(unit="pieces", lowest=1, highest=8, factory=2)),
    ),
    inputs=(SheetInput(key="slot", name="Slot"),),
    counters=(SheetCounter(key="coins", name="Coins", inputs=("slot",), rolls_over_at=10_000),),
    meters=(SheetMeter(key="run", name="Run", counts="motor", per_hour=10, rolls_over_at=100_000),),
    sale=SaleRule(start="sum"),
)  # fmt: skip
HOUSE = (
    HouseValue(purpose="time per piece", value=360, piece_minor=25),
    HouseValue(purpose="start pieces", value=2, base="pieces", piece_minor=25),
)


def key_of(number: int) -> str:
    return f"s{number:05}"


def a_store(number: int) -> Store:
    cut = [tuple(KEYS[m * EACH : (m + 1) * EACH]) for m in range(MACHINES)]
    return Store(
        key=key_of(number), name=f"Store {number}", time_zone="UTC", currency="USD", country="US", coins=(25,),
        banks=(Bank(key="all", name="All"),),
        machines=tuple(Machine(key=f"m{m}", bank="all", sheet="elm", pockets=p, place=m) for m, p in enumerate(cut)),
        pockets=tuple(Pocket(key=k, fill_kg=15.0) for k in KEYS), inputs=(InputSaid(input="*.slot", piece_minor=25),),
    )  # fmt: skip


def history(number: int, weeks: int) -> History:
    """One store's weeks; in every tenth store pocket 1 loses a twentieth over the last eight weeks."""
    faults = (
        [Fault(kind="theft", store=0, pocket=0, size=0.05, first_week=max(0, weeks - 8))] if number % 10 == 0 else []
    )
    return invent(stores=1, pockets=len(KEYS), weeks=weeks, seed=7_000_000 + number, faults=faults)


def entries(number: int, weeks: int, *, old_ids: bool = False) -> Iterator[Entry]:
    """A store's life in the order it happened: its description, then every week's visit and counts.

    Ids are made as the entries are written, one after the other; with ``old_ids`` when they happened, as in an export of
    many stores that is brought in: then they fall all over the index of ids, and an entry costs more in a large book.
    """
    h, key, made = history(number, weeks), key_of(number), 0

    def entry(when: datetime, body: AnyBody) -> Entry:
        nonlocal made
        made += 1
        written_ms = int(when.timestamp() * 1000) if old_ids else WRITING_MS + number * 100_000 + made
        ident = uuid7(written_ms, (number * 1_000_000 + made).to_bytes(10, "big"))
        return Entry(id=ident, store=key, happened=when, by="route", origin="bench", body=body)

    before = BEGIN - timedelta(days=1)
    yield entry(before, StoreDated(store=a_store(number), from_date="2023-01-01"))
    yield entry(before, SheetDated(sheet=SHEET, from_date="2023-01-01"))
    yield entry(before, PlanAdopted(bank="all", values=HOUSE, from_date="2023-01-01"))
    counter, meter = h.counter_read[0].astype(int), (10.0 * h.hours_read[0] + 0.5).astype(int) % 100_000
    for week in range(weeks + 1):
        start = BEGIN + timedelta(weeks=week)
        for m in range(MACHINES):
            mine = range(m * EACH, (m + 1) * EACH)
            at = start + timedelta(minutes=4 * m)
            shown = [DeviceValue(device=f"{KEYS[p]}.coins", shown=int(counter[p, week])) for p in mine]
            shown += [DeviceValue(device=f"{KEYS[p]}.run", shown=int(meter[p, week])) for p in mine]
            yield entry(at, ReadingTaken(values=tuple(shown)))
            boxes = tuple(f"{KEYS[p]}.box" for p in mine)
            yield entry(at + timedelta(minutes=2), BoxesEmptied(boxes=boxes, is_after_reading=True))
        for p, pocket in enumerate(KEYS):
            coins = (Pieces(piece_minor=25, count=int(h.counted[0, p, week - 1])),) if week else ()
            body = PiecesCounted(boxes=(f"{pocket}.box",), pieces=coins, minor=None if coins else 0, method="machine")
            yield entry(start + timedelta(hours=20, minutes=p), body)
