"""A small store of our own and effective entries as a story tells them."""

from datetime import UTC, datetime, timedelta

import pytest

from drybank.control import layout
from drybank.records.entry import AnyBody
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
    """One effective entry; ``day`` counts from Monday 4 May 2026, 09:00 UTC."""

    def __init__(self, number: int, body: AnyBody, day: float = 0, by: str = "r") -> None:
        self.id, self.body, self.by = f"e{number}", body, by
        self.happened = self.booked = MONDAY + timedelta(days=day)


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
