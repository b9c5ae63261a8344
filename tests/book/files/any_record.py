"""Any store and any sheet: records drawn from their own types, within the limits of a file."""

from __future__ import annotations

import datetime as dt
from typing import Any

import msgspec
from hypothesis import strategies as st
from msgspec import inspect

from drybank.book.files import limits
from drybank.book.files.shape import bare, fields_of
from drybank.records.energy import NaturalGas, Propane, RoomAir, Tariff
from drybank.records.money import MINOR_DIGITS
from drybank.records.sheet import ControlSheet, Grid
from drybank.records.store import Store

TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=30)
NAME = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=20)
KEYS = st.from_regex(r"[A-Za-z0-9+_-]([A-Za-z0-9+_ -]{0,8}[A-Za-z0-9+_-])?", fullmatch=True)
EXACT = {
    ("Store", "time_zone"): st.sampled_from(["America/Toronto", "Europe/Lisbon", "UTC"]),
    ("Store", "currency"): st.sampled_from(sorted(MINOR_DIGITS)), ("Store", "country"): st.sampled_from(["CA", "US", "PT"]),
    ("Store", "languages"): st.sampled_from(["en", "fr-CA"]), ("Store", "name"): NAME,
    ("Opening", "open"): st.sampled_from(["00:00", "06:30"]), ("Opening", "close"): st.sampled_from(["24:00", "22:15"]),
    ("Share", "percent"): st.sampled_from(["0", "12.5", "100"]), ("ShareTier", "percent"): st.sampled_from(["0", "12.5", "100"]),
    ("SalesTax", "percent"): st.sampled_from(["13", "0.25"]), ("SalesTax", "valid_from"): st.dates().map(dt.date.isoformat),
    ("SettingLine", "input"): st.just(""),
}  # fmt: skip


def sized(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda x: x if abs(x) > 1e-25 else 0.0).filter(lambda x: low <= x <= high)


def _exact(low: int, high: int) -> st.SearchStrategy[Any]:
    return st.decimals(low, high, places=4)


SOUND: dict[type, st.SearchStrategy[Any]] = {
    NaturalGas: st.builds(
        NaturalGas, heat_content_btu_ft3=_exact(850, 1200), meter_gauge_kpa=_exact(0, 700), meter_temp_c=_exact(-40, 50),
        meter_corrects_temp=st.booleans(), source=TEXT,
    ) | st.builds(NaturalGas, heat_content_mj_m3=_exact(32, 44), base_temp_c=_exact(0, 25)),
    Propane: st.builds(Propane, heat_content_btu_gal=_exact(88000, 95000), source=TEXT),
    RoomAir: st.builds(RoomAir, heat_to_c=sized(5, 17), cool_to_c=st.none() | sized(18, 35), counts_moisture=st.booleans()),
}  # fmt: skip


def a_value(record: str, field: str, kind: inspect.Type) -> st.SearchStrategy[Any]:
    place = (record, field)
    low, high, _ = limits.RANGES.get(place, (-1000, 1000, ""))
    if place in EXACT:
        return EXACT[place]
    if place in limits.PATTERNS and limits.PATTERNS[place][0] is limits.KEY:
        return KEYS
    if isinstance(kind, inspect.LiteralType):
        return st.sampled_from(kind.values)
    plain = {
        inspect.StrType: TEXT, inspect.BoolType: st.booleans(), inspect.FloatType: sized(low, high),
        inspect.IntType: st.integers(int(-(-low // 1)), int(high)),
        inspect.DecimalType: st.decimals("-99999", "99999", places=6), inspect.DateType: st.dates(),
    }  # fmt: skip
    if type(kind) in plain:
        return plain[type(kind)]
    return SOUND[kind.cls] if kind.cls in SOUND else a_record(kind.cls)  # type: ignore[attr-defined]


def a_field(record: type, field: inspect.Field) -> st.SearchStrategy[Any]:
    kind = bare(field.type)
    if isinstance(kind, inspect.VarTupleType):
        if getattr(kind.item_type, "cls", None) is Tariff or (record.__name__, field.name) == (
            "SheetCounter",
            "inputs",
        ):
            return st.just(())  # tariffs have rules of their own, tried with the demo's; inputs are named below
        one = a_value(record.__name__, field.name, kind.item_type)
        out: st.SearchStrategy[Any] = st.lists(one, max_size=2).map(tuple)
    else:
        out = a_value(record.__name__, field.name, kind)
    return st.none() | out if kind is not field.type else out


def a_record(record: type) -> st.SearchStrategy[Any]:
    if record is Grid:
        return st.builds(a_grid, st.sampled_from(["s", "0.1 min", "°C", "count"]), st.integers(0, 500), st.integers(1, 60),
                         st.integers(0, 90), st.booleans(), TEXT)  # fmt: skip
    return st.fixed_dictionaries({f.name: a_field(record, f) for f in fields_of(record)}).map(lambda kw: record(**kw))


def a_grid(unit: str, lowest: int, increment: int, count: int, is_listed: bool, zero: str) -> Grid:
    if is_listed:
        return Grid(unit=unit, values=tuple(lowest + increment * i for i in range(count + 1)), zero_means=zero)  # type: ignore[arg-type]
    return Grid(
        unit=unit,
        lowest=lowest,
        highest=lowest + increment * count,
        increment=increment,
        factory=lowest,
        zero_means=zero,
    )  # type: ignore[arg-type]


def with_own_keys(rows: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple({row.key: row for row in rows}.values())


def sound_store(store: Store) -> Store:
    """The store with what its rows name put right: pockets in machines, machines in banks, inputs at controls."""
    replace = msgspec.structs.replace
    pockets = with_own_keys(store.pockets)
    banks = with_own_keys(store.banks)
    machines = with_own_keys(store.machines)[: len(pockets)] if banks else ()
    if not machines:
        pockets = ()
    shares = [tuple(p.key for p in pockets[i :: len(machines)]) for i in range(len(machines))]
    machines = tuple(replace(m, bank=banks[0].key, pockets=s) for m, s in zip(machines, shares, strict=True))
    control = machines[0].key if machines else "*"
    trade = store.trade
    if trade.need_minutes and trade.need_share:
        length = min(len(trade.need_minutes), len(trade.need_share))
        trade = replace(trade, need_minutes=trade.need_minutes[:length], need_share=trade.need_share[:length])
    return replace(
        store, pockets=pockets, banks=banks, machines=machines, washers=with_own_keys(store.washers), trade=trade,
        boxes=tuple(replace(b, inputs=(f"{control}.in",)) for b in with_own_keys(store.boxes)),
        inputs=tuple(replace(i, input="*.in") for i in store.inputs),
        counters=tuple(replace(c, key=f"{control}.in") for c in store.counters) if machines else (),
        heats=tuple(replace(h, number=n) for n, h in enumerate(store.heats, 1)),
        taxes=store.taxes,
    )  # fmt: skip


def sound_sheet(sheet: ControlSheet) -> ControlSheet:
    replace = msgspec.structs.replace
    inputs = with_own_keys(sheet.inputs)
    named = tuple(i.key for i in inputs[:1])
    settings = tuple(
        replace(s, grids=s.grids or (Grid(unit="s"),), input=named[0] if named else "")
        for s in with_own_keys(sheet.settings)
    )
    return replace(sheet, inputs=inputs, settings=settings, meters=with_own_keys(sheet.meters),
                   counters=tuple(replace(c, inputs=named) for c in with_own_keys(sheet.counters)))  # fmt: skip


STORES = a_record(Store).map(sound_store)
SHEETS = a_record(ControlSheet).map(sound_sheet)
