"""Invented stores for the tests of the balance, with invented controls. None stands for a real one."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from drybank.balance import balance
from drybank.balance.audit.judge import Panel
from drybank.control.layout import layout
from drybank.records.balance import Period
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
from drybank.records.store import Bank, Box, CounterSaid, InputSaid, Machine, Pocket, Store
from drybank.trial import Fault, Telling, World, as_entries, invent

START = datetime(2025, 1, 6, 15, tzinfo=UTC)
BASE = 20  # clean weeks before the period


def _line(key, purpose, grid, **more):
    change = Change(way="digits", say="Type {digits}.")
    return SettingLine(key=key, name=key, purpose=purpose, found="p. 1", grids=(grid,), change=change, reached="inside", **more)  # fmt: skip


def _sheet(key, **more):
    """Coins buy half minutes, the start takes pieces; one counter, one motor meter of tenths."""
    given = {
        "settings": (
            _line("clock", "time per piece", Grid(unit="half min", lowest=2, highest=60, factory=12), input="slot"),
            _line("first", "start pieces", Grid(unit="pieces", lowest=1, highest=8, factory=2), input="slot"),
        ),
        "inputs": (SheetInput(key="slot", name="Slot"),),
        "counters": (SheetCounter(key="coins", name="Coins", inputs=("slot",), rolls_over_at=10_000),),
        "meters": (SheetMeter(key="run", name="Run", counts="motor", per_hour=10, rolls_over_at=100_000),),
        "sale": SaleRule(start="sum"),
    }  # fmt: skip
    return ControlSheet(key=key, name=key.title(), revision="1", **{**given, **more})


ELM = _sheet("elm")
ASH = _sheet(
    "ash",
    settings=(*ELM.settings, _line("big", "time per piece", Grid(unit="half min", lowest=2, highest=200, factory=48), input="big")),
    inputs=(SheetInput(key="slot", name="Slot"), SheetInput(key="big", name="Big slot")),
    counters=(*ELM.counters, SheetCounter(key="bigs", name="Big coins", inputs=("big",), rolls_over_at=10_000)),
)  # fmt: skip
FIR = _sheet(
    "fir",
    settings=(*ELM.settings, _line("cards", "time per piece", Grid(unit="half min", lowest=2, highest=60, factory=12), input="reader")),
    inputs=(SheetInput(key="slot", name="Slot"), SheetInput(key="reader", name="Reader", means=("card",), has_counter=False)),
)  # fmt: skip
OAK = _sheet("oak", serves="machine")
SHEETS = (ELM, ASH, FIR, OAK)


def house(sheet="elm", pockets=12, per_machine=1, **more):
    """A store of so many pockets under one kind of control, in one bank."""
    keys = [str(k + 1) for k in range(pockets)]
    cut = [tuple(keys[k : k + per_machine]) for k in range(0, pockets, per_machine)]
    given = {
        "key": "corner", "name": "Corner", "time_zone": "America/Chicago", "currency": "USD", "country": "US",
        "coins": (25,), "banks": (Bank(key="n", name="North"),),
        "machines": tuple(Machine(key=f"m{k + 1}", bank="n", sheet=sheet, pockets=p, place=k) for k, p in enumerate(cut)),
        "pockets": tuple(Pocket(key=k, fill_kg=15.0) for k in keys),
        "inputs": tuple(_said(sheet)),
    }  # fmt: skip
    return layout(Store(**{**given, **more}), SHEETS)


def _said(sheet):
    yield InputSaid(input="*.slot", piece_minor=25)
    if sheet == "ash":
        yield InputSaid(input="*.big", piece_minor=100)
    if sheet == "fir":
        yield InputSaid(input="*.reader", means="card", piece_minor=25, takings="statement", account="cards")


NO_COUNTERS = (CounterSaid(key="*.coins", is_missing=True),)


def shared(*pairs):
    """Boxes that two controls drop into."""
    return tuple(Box(key=f"box{k}", inputs=tuple(f"{p}.slot" for p in pair)) for k, pair in enumerate(pairs))


def posted(minutes=6.0):
    """House settings of the bank."""
    return {
        "n": (
            HouseValue(purpose="time per piece", value=round(60 * minutes), piece_minor=25),
            HouseValue(purpose="time per piece", value=round(240 * minutes), piece_minor=100),
            HouseValue(purpose="start pieces", value=2, base="pieces", piece_minor=25),
        )
    }


def story(at, *faults, weeks=8, seed=1, world=None, base=BASE, **telling):
    """Entries of one invented store: ``base`` clean weeks, then the faults."""
    world = world or World()
    history = invent(world, stores=1, pockets=len(at.pockets), weeks=base + weeks, seed=seed, faults=faults)
    say = replace(Telling(start=START, house=posted(), seed=seed), **telling)
    return as_entries(at, history, say), history


def fault(kind, pocket, size, first=BASE, last=None):
    return Fault(kind=kind, store=0, pocket=None if pocket is None else pocket - 1, size=size, first_week=first, last_week=last)  # fmt: skip


def period(weeks=8, base=BASE):
    return Period(since=START + timedelta(days=7 * base + 1), until=START + timedelta(days=7 * (base + weeks) + 1))


def judged(at, *faults, weeks=8, base=BASE, **more):
    entries, _ = story(at, *faults, weeks=weeks, base=base, **more)
    return balance(at, entries, period(weeks, base))


def names(result):
    return {(f.name, f.where) for f in result.findings}


def unit(result, key):
    return next(u for u in result.units if u.key == key)


def panel_of(h, base, *, counters=True):
    """A drawn history as the panel that `judge` takes, without going through entries."""
    d, k = (25.0 * x for x in (h.weekly_counted(), h.weekly_counter()))
    k = k if counters else np.full_like(k, np.nan)
    fields = {
        "counted_minor": d, "counter_minor": k, "pieces": k / 25.0, "run_s": 3600.0 * h.weekly_hours(),
        "sold_counter_s": k / 25.0 * 360.0, "sold_cash_s": d / 25.0 * 360.0, "days": np.full_like(d, 7.0),
        "end": np.broadcast_to(7.0 * np.arange(1, d.shape[1] + 1), d.shape),
    }  # fmt: skip
    n = d.shape[0]
    return Panel(
        rows=tuple(range(n)), store=h.store_index(), kin=h.store_index(),
        base={f: v[:, :base] for f, v in fields.items()}, now={f: v[:, base:] for f, v in fields.items()},
        gap_var=np.zeros((2, n, d.shape[1] - base)), shared_var=np.zeros(n), piece_minor=np.full(n, 25.0),
        foreign=np.zeros(n), method=h.world.counted, meter_step_h=h.world.meter_step_h,
    )  # fmt: skip
