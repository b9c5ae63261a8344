"""Invented controls and stores for the tests of the control room. None stands for a real one."""

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
from drybank.records.store import Bank, Box, Heat, InputSaid, Machine, Pocket, Store, Trade, Units

TYPE = Change(way="digits", say="Type {digits} for {name}.")


def line(key, purpose, *grids, **more):
    more.setdefault("change", TYPE)
    more.setdefault("reached", "behind the front door")
    more.setdefault("name", key.replace("-", " "))
    return SettingLine(key=key, purpose=purpose, found=f"page {len(key)}", grids=grids, **more)


def seconds(unit, lowest, highest, increment=1, **more):
    return Grid(unit=unit, lowest=lowest, highest=highest, increment=increment, **more)


def willow(**rule):
    """Two slots, a first time, typed values in tenths of a minute, °C only."""
    settings = (
        line("warmth-1", "temperature", Grid(unit="°C", lowest=40, highest=82), heat=1),
        line("start-money", "start price", Grid(unit="25 minor", lowest=0, highest=40, factory=3)),
        line("opening", "first time", seconds("0.1 min", 10, 600, factory=180)),
        line("left-slot", "time per piece", seconds("0.1 min", 0, 300, factory=60), input="left"),
        line("right-slot", "time per piece", seconds("0.1 min", 0, 600, factory=240), input="right"),
        line("most", "top-up limit", seconds("min", 0, 99, zero_means="no limit", factory=0)),
        line("cooling", "cool-down time", seconds("half min", 0, 20, factory=4)),
        line("warmth-2", "temperature", Grid(unit="°C", lowest=40, highest=82), heat=2),
        line("wait", "held-money timeout", seconds("s", 10, 250, 10, factory=60)),
    )
    return ControlSheet(
        key="willow", name="Willow", revision="1", settings=settings,
        inputs=(SheetInput(key="left", name="Left slot"), SheetInput(key="right", name="Right slot")),
        counters=(
            SheetCounter(key="left-count", name="Left", inputs=("left",), rolls_over_at=10_000),
            SheetCounter(key="all", name="All", inputs=("left", "right"), rolls_over_at=100_000, counts="value"),
        ),
        meters=(
            SheetMeter(key="run", name="Run", counts="motor", per_hour=1, rolls_over_at=100_000),
            SheetMeter(key="sold", name="Sold", counts="sold time", per_hour=10, rolls_over_at=100_000),
            SheetMeter(key="hot", name="Hot", counts="heat", per_hour=1, rolls_over_at=100_000),
        ),
        sale=SaleRule(**{"start": "first time", "below_start": "dropped", **rule}),
    )  # fmt: skip


def hazel(**rule):
    """One slot, sum of coin times by jumper and dial, start by pieces, both scales stated."""
    settings = (
        line("coin-clock", "time per piece", Grid(unit="quarter min", values=(12, 16, 20, 24, 28, 32), factory=24), input="slot",
             change=Change(way="dial", say="Turn the dial {direction} {steps} marks, to {value}."), reached="under the lid",
             power="off"),
        line("coins-first", "start pieces", Grid(unit="pieces", lowest=1, highest=8, factory=1), input="slot",
             change=Change(way="jumper", say="Put the jumper on {value}."), reached="under the lid", power="off"),
        line("hot", "temperature", Grid(unit="°F", lowest=120, highest=170, increment=5, factory=150),
             Grid(unit="°C", lowest=45, highest=75, increment=3, factory=66), heat=1),
        line("end-cool", "cool-down time", seconds("min", 0, 5, factory=2)),
        line("degrees", "temperature scale", Grid(unit="choice", lowest=0, highest=1, factory=0), choices=("°F", "°C")),
    )  # fmt: skip
    return ControlSheet(
        key="hazel", name="Hazel", revision="1", settings=settings,
        inputs=(SheetInput(key="slot", name="Slot", means=("coin", "token")),),
        counters=(SheetCounter(key="coins", name="Coins", inputs=("slot",), rolls_over_at=10_000),),
        meters=(SheetMeter(key="hours", name="Hours", counts="motor", per_hour=1, rolls_over_at=10_000),),
        sale=SaleRule(**{"start": "sum", "below_start": "held", **rule}),
    )  # fmt: skip


def rowan(**rule):
    """A whole machine's control: time by value, free by a switch, presses that wrap, set from the staff desk."""
    press = Change(way="presses", say="Press {direction} {steps} times until it shows {value}.", wraps=True)
    settings = (
        line("price", "start price", Grid(unit="5 minor", lowest=0, highest=200, factory=15), change=press),
        line("pace", "time per value", seconds("s", 0, 3600, 15, factory=480), per_minor=25, change=press),
        line("warm", "temperature", Grid(unit="°F", lowest=110, highest=149, increment=3), heat=1, scope="machine"),
        line("rest", "cool-down time", seconds("quarter min", 0, 20, factory=8)),
        line("gift", "free drying", Grid(unit="choice", lowest=0, highest=1, factory=0), choices=("off", "on"),
             change=Change(way="word", say="Pick the word {value} at the desk.")),
        line("gift-time", "free time", seconds("min", 0, 60, factory=20)),
        line("cap", "top-up limit", seconds("min", 0, 90, zero_means="none", factory=0)),
    )  # fmt: skip
    return ControlSheet(
        key="rowan", name="Rowan", revision="1", serves="machine", settings=settings,
        inputs=(SheetInput(key="coins", name="Coins"), SheetInput(key="reader", name="Reader", means=("card",))),
        counters=(SheetCounter(key="n", name="Pieces", inputs=("coins",), rolls_over_at=65_536),),
        meters=(SheetMeter(key="h", name="Hours", counts="sold time", per_hour=60, rolls_over_at=1_000_000),),
        sale=SaleRule(**{"start": "sum", "credit": "per value", "cool_down": "after", "free": "switch", **rule}),
    )  # fmt: skip


def linden(**rule):
    """Settings that few controls have: prices by hour and heat, free hours, reversing, lock-out, a door rule to set."""
    settings = (
        line("base-price", "start price", Grid(unit="25 minor", lowest=1, highest=40, factory=4)),
        line("late-price", "price by hour", Grid(unit="25 minor", lowest=1, highest=40), from_hour=22, until_hour=6),
        line("hot-price", "price by heat", Grid(unit="25 minor", lowest=1, highest=40), heat=2),
        line("first", "first time", seconds("min", 1, 90, factory=20)),
        line("coin", "time per piece", seconds("min", 0, 60, factory=5), input="coin"),
        line("token", "time per piece", seconds("min", 0, 60, factory=5), input="token"),
        line("coin-hot", "time by heat", seconds("min", 0, 60), heat=2, input="coin"),
        line("later", "top-up time", seconds("min", 0, 60, zero_means="as at the start"), input="coin"),
        line("token-worth", "token value", Grid(unit="25 minor", lowest=1, highest=40), input="token"),
        line("per-count", "pieces per count", Grid(unit="pieces", lowest=1, highest=10), input="coin"),
        line("turn", "reversing run", seconds("s", 0, 120)),
        line("pause", "reversing rest", seconds("s", 0, 30)),
        line("tumble", "anti-crease time", seconds("min", 0, 60)),
        line("gift-from", "free from hour", Grid(unit="h", lowest=0, highest=23)),
        line("gift-until", "free until hour", Grid(unit="h", lowest=0, highest=23)),
        line("gift-time", "free time", seconds("min", 1, 60)),
        line("lock", "coin lock-out", Grid(unit="choice", lowest=0, highest=1), choices=("off", "on")),
        line("door", "door rule", Grid(unit="choice", lowest=0, highest=1), choices=("clock runs", "clock stops")),
        line("begin", "heat at start", Grid(unit="count", lowest=1, highest=2)),
    )
    return ControlSheet(
        key="linden", name="Linden", revision="1", settings=settings,
        inputs=(SheetInput(key="coin", name="Coin"), SheetInput(key="token", name="Token", means=("token",))),
        counters=(SheetCounter(key="n", name="N", inputs=("coin", "token"), rolls_over_at=10_000),),
        meters=(SheetMeter(key="h", name="H", counts="motor", per_hour=60, rolls_over_at=1_000_000),),
        sale=SaleRule(**{"start": "first time", "free": "hours", **rule}),
    )  # fmt: skip


WILLOW_WORTH = {"left": 25, "right": 100}
HAZEL_WORTH = {"slot": 25}
ROWAN_WORTH = {"coins": 25, "reader": 25}


def store(**more):
    """Four pockets of Willow and Hazel in one bank, a twin of Rowan in another."""
    given = {
        "key": "s", "name": "Store", "time_zone": "America/Toronto", "currency": "CAD", "country": "CA",
        "units": Units(temperature="C"), "coins": (25, 100),
        "heats": (Heat(number=1, name="Hot", care="two dots"), Heat(number=2, name="Warm", care="one dot")),
        "banks": (Bank(key="a", name="Left wall"), Bank(key="b", name="Back")),
        "machines": (
            Machine(key="m1", bank="a", sheet="willow", pockets=("1", "2"), place=1),
            Machine(key="m2", bank="a", sheet="hazel", pockets=("3",), place=2),
            Machine(key="m3", bank="b", sheet="rowan", pockets=("9", "10"), place=3),
        ),
        "pockets": tuple(Pocket(key=k, fill_kg=15.0) for k in ("1", "2", "3", "9", "10")),
        "boxes": (),
        "inputs": (
            InputSaid(input="*.left", piece_minor=25), InputSaid(input="*.right", piece_minor=100),
            InputSaid(input="*.slot", piece_minor=25), InputSaid(input="*.coins", piece_minor=25),
            InputSaid(input="*.reader", means="card", piece_minor=25, takings="statement", account="cards"),
        ),
        "trade": Trade(need_minutes=(20.0, 30.0, 40.0)),
    }  # fmt: skip
    return Store(**{**given, **more})


SHEETS = {s.key: s for s in (willow(), hazel(), rowan())}


def money(purpose, value, **more):
    return HouseValue(purpose=purpose, value=value, base="minor", **more)


def span(purpose, value, **more):
    return HouseValue(purpose=purpose, value=value, base="s", **more)


def degrees(value, scale, heat=1):
    return HouseValue(purpose="temperature", value=value, base=scale, heat=heat)


__all__ = [
    "HAZEL_WORTH",
    "ROWAN_WORTH",
    "SHEETS",
    "WILLOW_WORTH",
    "Box",
    "degrees",
    "hazel",
    "linden",
    "money",
    "rowan",
    "span",
    "store",
    "willow",
]
