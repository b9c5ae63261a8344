"""The store as it stands with its sheets laid over it: every control, input, counter, meter and box by key."""

from __future__ import annotations

import msgspec

from drybank.records.sheet import ControlSheet
from drybank.records.store import Machine, Means, Pocket, Store


class Control(msgspec.Struct, frozen=True, kw_only=True):
    """The device that sells time: its key is the pocket's, or the machine's where it serves all pockets of one."""

    key: str
    machine: str
    bank: str
    sheet: str
    pockets: tuple[str, ...]


class Input(msgspec.Struct, frozen=True, kw_only=True):
    """``key`` is ``<control>.<sheet's input>``; ``box`` is "" where takings go to a statement or nowhere."""

    key: str
    control: str
    sheet_input: str
    means: Means
    piece_minor: int
    box: str = ""
    account: str = ""


class Counter(msgspec.Struct, frozen=True, kw_only=True):
    """``key`` is ``<control>.<sheet's counter>``."""

    key: str
    control: str
    inputs: tuple[str, ...]
    rolls_over_at: int
    counts_value: bool = False


class Meter(msgspec.Struct, frozen=True, kw_only=True):
    """``key`` is ``<pocket>.<sheet's meter>``; a reading is a whole number of 1/``per_hour`` hours."""

    key: str
    pocket: str
    counts: str
    per_hour: int
    rolls_over_at: int


class CoinBox(msgspec.Struct, frozen=True, kw_only=True):
    key: str
    inputs: tuple[str, ...]
    capacity_pieces: int | None = None
    number: str = ""


class Unit(msgspec.Struct, frozen=True, kw_only=True):
    """Smallest closed group of boxes and counters: what the balance can judge by itself."""

    key: str
    controls: tuple[str, ...]
    pockets: tuple[str, ...]
    inputs: tuple[str, ...]
    counters: tuple[str, ...]
    boxes: tuple[str, ...]


class Layout(msgspec.Struct, frozen=True, kw_only=True):
    store: Store
    sheets: dict[str, ControlSheet]
    pockets: dict[str, Pocket]
    machines: dict[str, Machine]
    controls: dict[str, Control]
    inputs: dict[str, Input]
    counters: dict[str, Counter]
    meters: dict[str, Meter]
    boxes: dict[str, CoinBox]
    units: tuple[Unit, ...]
