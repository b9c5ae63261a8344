"""A small store of our own and effective entries as a story tells them."""

import copy
from datetime import UTC, datetime, timedelta

import pytest

from drybank.control import layout
from drybank.records.entry import AnyBody, Version
from drybank.records.sheet import (
    Change,
    ControlSheet,
    Grid,
    SaleRule,
    SettingLine,
    SheetCounter,
    SheetInput,
    SheetMeter,
)
from drybank.records.store import Bank, InputSaid, Machine, Pocket, Share, Store

MONDAY = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


class Said:
    """One effective entry; ``day`` counts from Monday 4 May 2026, 09:00 UTC. ``booked``: the day it came into the book."""

    def __init__(self, number: int, body: AnyBody, day: float = 0, by: str = "r", booked: float | None = None) -> None:
        self.id, self.body, self.by = f"e{number}", body, by
        self.versions, self.is_taken_back = (), False
        self.happened = MONDAY + timedelta(days=day)
        self.booked = MONDAY + timedelta(days=day if booked is None else booked)

    def corrected(self, body: AnyBody | None, day: float) -> "Said":
        """The same entry after a correction booked on ``day``; no body: taken back."""
        before = self.versions or (Version(booked=self.booked, happened=self.happened, body=self.body),)
        now = Version(booked=MONDAY + timedelta(days=day), happened=self.happened, body=body)
        new = copy.copy(self)
        new.versions, new.body, new.is_taken_back = (*before, now), body or self.body, body is None
        return new

    def as_of(self, day: float) -> "Said | None":
        """What the book said of this entry on a day; nothing where it was not booked yet."""
        moment = MONDAY + timedelta(days=day)
        if self.booked > moment:
            return None
        if not self.versions:
            return self
        known = [v for v in self.versions if v.booked <= moment]
        new = copy.copy(self)
        new.versions = tuple(known)
        new.is_taken_back = known[-1].body is None
        new.body = next(v.body for v in reversed(known) if v.body is not None)
        return new


def make_layout():
    """Two pockets, a coin slot and a card pad each; a landlord's weekly tenth."""
    time = SettingLine(
        key="t", name="Minutes", purpose="time per piece", found="first page", grids=(Grid(unit="min", lowest=1, highest=20),),
        input="slot", change=Change(way="digits", say="Type {value}."), reached="staff desk",
    )  # fmt: skip
    sheet = ControlSheet(
        key="kind", name="Kind", revision="1", settings=(time,),
        inputs=(SheetInput(key="slot", name="Slot"), SheetInput(key="pad", name="Pad", means=("card",))),
        counters=(SheetCounter(key="coins", name="Coins", inputs=("slot",), rolls_over_at=10_000),),
        meters=(SheetMeter(key="hours", name="Hours", counts="motor", per_hour=10, rolls_over_at=100_000),),
        sale=SaleRule(start="sum"),
    )  # fmt: skip
    store = Store(
        key="test", name="Test", time_zone="UTC", currency="USD", country="US", coins=(25,), banks=(Bank(key="b", name="B"),),
        machines=tuple(Machine(key=f"m{p}", bank="b", sheet="kind", pockets=(p,)) for p in ("1", "2")),
        pockets=(Pocket(key="1", fill_kg=14), Pocket(key="2", fill_kg=14)),
        inputs=(InputSaid(input="*.slot", piece_minor=25), InputSaid(input="*.pad", means="card", piece_minor=25, takings="statement", account="card")),
        shares=(Share(name="Landlord", percent="10", period="week"),),
    )  # fmt: skip
    return layout(store, {"kind": sheet})


@pytest.fixture
def laid():
    return make_layout()
