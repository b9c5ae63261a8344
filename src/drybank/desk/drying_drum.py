"""The drum of a pocket: its plate, what the newest trial in the book found, and assumptions for the rest, each listed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Final

import msgspec

from drybank.desk.drying_changes import Ask
from drybank.drying import Calibration, FireControl, Pocket
from drybank.records.entry import Proved
from drybank.records.errors import Missing
from drybank.records.layout import Layout
from drybank.records.store import Plate, Units
from drybank.records.units import flow_said
from drybank.records.working import Assumption

if TYPE_CHECKING:
    from drybank.book import Book

TRIALS: Final = ("towel trial", "store evidence")
Trial = tuple[Proved, datetime]
FITTED: Final = ("heat_input_w", "flow_exhaust_m3_s", "contact_w_k", "leak_frac")


class Taken:
    """Collects what was not given."""

    def __init__(self, units: Units | None = None) -> None:
        self.list: list[Assumption] = []
        self.units = units or Units()

    def __call__(self, name: str, taken: str, source: str, *, low: str = "", high: str = "") -> None:
        self.list.append(
            Assumption(name=name, taken=taken, source=source, low=low, high=high, matters="minutes, energy")
        )


def drum_of(book: Book, laid: Layout, pocket: str, when: datetime) -> tuple[Pocket, tuple[Assumption, ...]]:
    """The drum of a pocket: plate, then what the newest trial in the book found; the rest assumed and listed."""
    if pocket not in laid.pockets:
        raise Missing(f"There is no pocket “{pocket}” in {laid.store.name}. Pockets: {', '.join(laid.pockets)}.")
    return _drum(laid, pocket, trials(book, laid.store.key, when).get(pocket))


def drum_of_bank(
    book: Book, laid: Layout, pockets: Sequence[str], when: datetime
) -> tuple[Pocket, tuple[Assumption, ...]]:
    """The drum that stands for some pockets: the one of the newest trial among them; without one, the first."""
    found = trials(book, laid.store.key, when)
    measured = [p for p in pockets if p in found]
    best = max(measured, key=lambda p: (found[p][0].test == TRIALS[0], found[p][1])) if measured else pockets[0]
    return _drum(laid, best, found.get(best))


def _drum(laid: Layout, pocket: str, found: Trial | None) -> tuple[Pocket, tuple[Assumption, ...]]:
    taken = Taken(laid.store.units)
    drum = from_plate(laid.pockets[pocket].plate, taken)
    if found is None:
        contact_and_leakage(drum, taken)
        return drum, tuple(taken.list)
    body, happened = found
    fitted = {k: float(v) for k, v in body.measured.items() if k in FITTED}
    how = Calibration(
        how=body.test, band_frac=float(body.measured.get("band_frac", 0.0)), source=f"the book, {happened:%Y-%m-%d}"
    )
    kept = [a for a in taken.list if a.name not in ("heat input", "airflow")]
    return msgspec.structs.replace(drum, **fitted, calibration=how), tuple(kept)


def contact_and_leakage(drum: Pocket, taken: Taken) -> None:
    """List the two figures that no plate gives."""
    taken(
        "fabric contact", f"{drum.contact_w_k:g} W/K", "set on one household level", low="0.7 times", high="1.4 times"
    )
    taken("leakage", "20 % of the airflow", "two household units measured 20 to 60 %", low="10 %", high="50 %")


def from_plate(plate: Plate, taken: Taken) -> Pocket:
    usual = Pocket()
    if plate.input_w is None:
        taken("heat input", f"{usual.heat_input_w / 1000:.1f} kW", "common practice for a 30-lb pocket", low="-10 %", high="+10 %")  # fmt: skip
    if plate.airflow_m3_s is None:
        taken("airflow", flow_said(usual.flow_exhaust_m3_s, taken.units.temperature), "common practice for a 30-lb pocket", low="-20 %", high="+25 %")  # fmt: skip
    if plate.motor_w is None:
        taken("motor", f"{usual.motor_w:.0f} W", "common practice for a 30-lb pocket")
    return Pocket(
        fuel=plate.fuel,
        heat_input_w=plate.input_w if plate.input_w is not None else usual.heat_input_w,
        flow_exhaust_m3_s=plate.airflow_m3_s if plate.airflow_m3_s is not None else usual.flow_exhaust_m3_s,
        motor_w=plate.motor_w if plate.motor_w is not None else usual.motor_w,
        derate_frac_per_1000_ft=0.04 if plate.is_derated else 0.0,
        fire=FireControl(kind=plate.fire),
    )


def trials(book: Book, store: str, when: datetime) -> dict[str, Trial]:
    """The newest trial of each pocket; a towel trial counts before what the store's figures say."""
    best: dict[str, Trial] = {}
    for told in book.story(store, kinds=("proof",), until=when):
        body = told.entry.body
        if isinstance(body, Proved) and body.test in TRIALS:
            now, rank = best.get(body.at), (body.test == TRIALS[0], told.entry.happened)
            if now is None or rank >= (now[0].test == TRIALS[0], now[1]):
                best[body.at] = (body, told.entry.happened)
    return best


def drum_said(drum: Pocket, ask: Ask) -> Pocket:
    """The drum with what the person said about it laid over."""
    said: dict[str, object] = {}
    if ask.heat_input_w is not None:
        said["heat_input_w"] = ask.heat_input_w
    if ask.flow_m3_s is not None:
        said["flow_exhaust_m3_s"] = ask.flow_m3_s
    if ask.fire is not None:
        said["fire"] = msgspec.structs.replace(drum.fire, kind=ask.fire)
    if ask.fuel is not None:
        said["fuel"] = ask.fuel
    return msgspec.structs.replace(drum, **said) if said else drum
