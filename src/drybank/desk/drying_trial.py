"""Calibrating a pocket at the desk: the card of the towel trial, the fit, what the store's own figures say, kept as a proof."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

import msgspec
import numpy as np

from drybank.desk.drying import dry_in_store
from drybank.desk.drying_changes import Ask
from drybank.desk.drying_drum import Taken, drum_of
from drybank.desk.proof import gas_of
from drybank.desk.quantity import MASS_G, VOLUME, degrees_c, fraction, quantity, watch_s
from drybank.desk.standing import layout_at
from drybank.desk.wording import seconds_from
from drybank.drying import Air, Heat
from drybank.drying.calibrate import fit_trial
from drybank.drying.evidence import fit_store
from drybank.proof.gas import GasSupply, clocking_s
from drybank.records.drying import (
    FuelBill,
    MoreTime,
    NearEmptyRun,
    StoreEvidence,
    StoreFit,
    TowelRun,
    TowelTrial,
    TrialFit,
    WatchedLoad,
)
from drybank.records.entry import Proved
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.units import CUBIC_FOOT_M3, KWH_J, THERM_J, minutes
from drybank.records.working import Assumption

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.desk.stamp import Pen

ENERGY: Final = {
    "j": 1.0,
    "mj": 1e6,
    "kwh": KWH_J,
    "gj": 1e9,
    "therm": THERM_J,
    "therms": THERM_J,
    "btu": THERM_J / 1e5,
}
SEED: Final = 20260504  # of the draws behind a store's evidence: the same figures every time


class CardStep(msgspec.Struct, frozen=True, kw_only=True):
    """One step of the trial and what to write down; ``writes`` are the blanks."""

    says: str
    writes: tuple[str, ...] = ()


class TrialCard(msgspec.Struct, frozen=True, kw_only=True):
    """What stands on the card of the towel trial, cautions first. Pure content: paper and terminal set it."""

    store: str
    pocket: str
    title: str
    cautions: tuple[str, ...]
    take_along: tuple[str, ...]
    steps: tuple[CardStep, ...]
    afterwards: str
    honest: tuple[str, ...]


class Calibrated(msgspec.Struct, frozen=True, kw_only=True):
    """A fit, what was assumed in it, and the id of the entry it became (empty where nothing was kept)."""

    store: str
    pocket: str
    trial: TrialFit | None = None
    evidence: StoreFit | None = None
    assumptions: tuple[Assumption, ...] = ()
    entry: str = ""


CARD_CAUTIONS: Final = (
    "Shop closed, doors locked: nobody else loads or pays while you weigh.",
    "The exhaust, the inlet and the duct burn skin at once. Use the openings the maker gives; drill nothing, open no panel.",
    "Read the gas meter only. Valves, burners and wiring are the licensed trades'. If gas smells, leave and call from outside.",
    "Clean the lint screen first. If the vent is choked or air is short, stop: clean it, and calibrate another day.",
    "Stay with the dryer. Wet towels that come out hot: spread them, never pile them.",
    "Hands, sleeves and leads away from the drum and the fan while they turn.",
    "The maker's manual, local code and licensed trades come before this card.",
)


def trial_card(book: Book, store: str, pocket: str, when: datetime) -> TrialCard:
    """The card of the towel trial for one pocket in the store's own units, with how long its clocking takes."""
    laid = layout_at(book, store, when)
    drum, _ = drum_of(book, laid, pocket, when)
    light, heavy = ("8 lb", "16 lb") if laid.store.units.mass == "lb" else ("3.6 kg", "7.3 kg")
    is_metric = laid.store.units.gas in ("m3", "GJ", "kWh")
    steps = []
    if drum.fuel != "electric":
        supply = gas_of(laid, pocket)
        dial, large = (0.1, 1.0) if is_metric else (10 * CUBIC_FOOT_M3, 100 * CUBIC_FOOT_M3)
        some, whole = ("0.1 m³", "1 m³") if is_metric else ("10 ft³", "100 ft³")
        short = minutes(clocking_s(dial_m3=dial, input_w=drum.heat_input_w, supply=supply))
        long = minutes(clocking_s(dial_m3=large, input_w=drum.heat_input_w, supply=supply))
        says = (
            f"Clock the gas: all else off, water heaters too; this dryer firing without a break (wet load, highest heat). {some} "
            f"take about {short}, one turn of a {whole} dial {long}: take the smallest dial the meter has."
        )
        steps.append(CardStep(says=says, writes=("dial per turn", "whole turns", "minutes and seconds")))
    steps += [
        CardStep(
            says="One dry towel, weighed, highest heat. Exhaust at 1 min. From when the fire first goes out after 6 min until it "
            "goes out again after 12 min: mean exhaust (read every 30 s), gas or kWh, and the time between.",
            writes=("towel", "exhaust at 1 min", "mean exhaust", "gas or kWh", "time between"),
        ),
        *(
            CardStep(
                says=f"Towels of {mass} dry, weighed; wet them to 1.6 times that, weighed. Cold drum, highest heat, {span}, then out "
                "and weighed at once. They must come out still wet: a load run until dry tells nothing of the cloth.",
                writes=("dry", "wet", "ran", "after", "exhaust at 3 min", "exhaust 1 min before the end", "inlet at 3 min, if any"),
            )
            for mass, span in ((light, "6 min"), (heavy, "11 min"))
        ),
    ]  # fmt: skip
    return TrialCard(
        store=store,
        pocket=pocket,
        title=f"Towel trial, pocket {pocket} of {laid.store.name}",
        cautions=CARD_CAUTIONS,
        take_along=(
            f"Towels, {light} and {heavy} dry; a scale to {'50 g' if laid.store.units.mass == 'kg' else '2 oz'}", "A thermometer for the exhaust, a watch, a bucket",
            "A thermometer for the drum's inlet, if the maker gives an opening: without it leakage stays assumed",
        ),
        steps=tuple(steps),
        afterwards=f"drybank calibrate {store} {pocket} --clock ... --near-empty ... --towels ... --towels ...",
        honest=(
            "What it gives: fuel input, airflow and how well cloth meets air, each with its error; minutes of mixed loads to a few "
            "per cent beside what your customers' loads are made of, which stays assumed.",
            "A dial read to a fortieth of a turn is 2.5 % off after one turn; three turns are three times as good.",
        ),
    )  # fmt: skip


def towel_trial(
    book: Book, store: str, pocket: str, texts: TrialTexts, pen: Pen, *, is_kept: bool = True
) -> Calibrated:
    """Fit a towel trial told in words and keep it in the book as a proof."""
    when = pen.clock()
    laid = layout_at(book, store, when)
    drum, assumed = drum_of(book, laid, pocket, when)
    taken = Taken()
    taken.list += assumed
    heat = _highest(book, laid, pocket, texts.heat, when)
    air = _air_of(texts, laid, taken)
    supply = None if drum.fuel == "electric" else gas_of(laid, pocket)
    trial = TowelTrial(
        air=air,
        heat=heat,
        clocked_w=_clocked_w(texts.clock, supply) if texts.clock else None,
        near_empty=_near_empty(texts.near_empty, supply) if texts.near_empty else None,
        towels=tuple(_towels(t) for t in texts.towels),
        clock_sd_frac=0.02 if supply is None else max(0.02, supply.heat_range_frac / 3**0.5),
        scale_sd_kg=texts.scale_sd_kg,
    )
    fit = fit_trial(msgspec.structs.replace(drum, calibration=None), trial)
    measured: dict[str, float | str] = {f.name: f.value for f in fit.figures}
    measured |= {f"{f.name}_se": f.standard_error for f in fit.figures}
    measured |= {"band_frac": fit.band_frac, "misfit": fit.misfit}
    entry = _keep(book, store, pocket, "towel trial", measured, pen) if is_kept else ""
    return Calibrated(store=store, pocket=pocket, trial=fit, assumptions=tuple(taken.list), entry=entry)


class TrialTexts(msgspec.Struct, frozen=True, kw_only=True):
    """A trial as a person writes it: ``name=value`` lists with units."""

    clock: str = ""
    near_empty: str = ""
    towels: tuple[str, ...] = ()
    heat: str = ""
    air: str = ""
    humidity: str = ""
    scale_sd_kg: float = 0.05


class EvidenceTexts(msgspec.Struct, frozen=True, kw_only=True):
    """What a working store has, as a person writes it."""

    bills: tuple[str, ...] = ()
    watched: tuple[str, ...] = ()
    more_time: tuple[str, ...] = ()
    heat: str = ""


def store_evidence(
    book: Book, store: str, pocket: str, texts: EvidenceTexts, pen: Pen, *, is_kept: bool = True
) -> Calibrated:
    """Weigh what the store's own figures say of its pockets, and keep it in the book as a proof."""
    when = pen.clock()
    laid = layout_at(book, store, when)
    drum, assumed = drum_of(book, laid, pocket, when)
    usual = dry_in_store(book, store, pocket, Ask(temp_exhaust_c=_temp(texts.heat, "--heat")), when)
    heat = Heat(temp_exhaust_c=usual.temp_exhaust_c, cool_down_s=0.0)
    air = Air(altitude_m=laid.store.altitude_m)
    supply = None if drum.fuel == "electric" else gas_of(laid, pocket)
    evidence = StoreEvidence(
        normal_load_kg=usual.load_kg,
        residual_frac=usual.residual_frac,
        heat=heat,
        air=air,
        bills=tuple(_bill(t, supply) for t in texts.bills),
        watched=tuple(_watched(t, heat, air, usual.residual_frac) for t in texts.watched),
        more_time=tuple(_more(t) for t in texts.more_time),
    )
    fit = fit_store(msgspec.structs.replace(drum, calibration=None), evidence, rng=np.random.default_rng(SEED))
    found = fit.pocket
    measured: dict[str, float | str] = {
        "heat_input_w": found.heat_input_w, "flow_exhaust_m3_s": found.flow_exhaust_m3_s, "contact_w_k": found.contact_w_k,
        "leak_frac": found.leak_frac, "minutes_low": fit.minutes[0], "minutes": fit.minutes[1], "minutes_high": fit.minutes[2],
        "band_frac": found.calibration.band_frac if found.calibration else 1.0,
    }  # fmt: skip
    entry = _keep(book, store, pocket, "store evidence", measured, pen) if is_kept else ""
    return Calibrated(store=store, pocket=pocket, evidence=fit, assumptions=assumed, entry=entry)


def _keep(book: Book, store: str, pocket: str, test: str, measured: dict[str, float | str], pen: Pen) -> str:
    body = Proved(
        test=test, at=pocket, measured=measured, verdict="no tolerance", instrument="scale, thermometer, meter"
    )
    return book.append([pen.entry(store, body)])[0].entry.id


def _highest(book: Book, laid: Layout, pocket: str, text: str, when: datetime) -> Heat:
    """The heat of the trial: as said, else the hottest that the pocket is set to."""
    from drybank.desk.proof import heat_set_c

    if text:
        return Heat(temp_exhaust_c=_temp(text, "--heat"), cool_down_s=0.0)
    temps = []
    for heat in laid.store.heats:
        try:
            temps.append(heat_set_c(book, laid, pocket, heat.number, when)[0])
        except (InputError, KeyError, LookupError):
            continue
    if not temps:
        raise InputError("What the highest heat is set to is not known.", where="--heat", mend="Say it, such as 82 C.")
    return Heat(temp_exhaust_c=max(temps), cool_down_s=0.0)


def _temp(text: str, where: str) -> float | None:
    return degrees_c(text, where=where) if text else None


def _air_of(texts: TrialTexts, laid: Layout, taken: Taken) -> Air:
    temp, humidity = _temp(texts.air, "--air"), fraction(texts.humidity, where="--humidity") if texts.humidity else None
    if temp is None:
        taken("air in the trial", "22 °C", "assumed; say it with --air")
    if humidity is None:
        taken("humidity in the trial", "50 %", "assumed; say it with --humidity")
    return Air(
        temp_c=22.0 if temp is None else temp, humidity_frac=0.5 if humidity is None else humidity,
        altitude_m=laid.store.altitude_m,
    )  # fmt: skip


def _pairs(text: str, where: str, needed: tuple[str, ...], may: tuple[str, ...] = ()) -> dict[str, str]:
    """``name=value`` pieces of a list; a missing or strange name is refused."""
    parts: dict[str, str] = {}
    for piece in text.split(","):
        name, sign, value = piece.partition("=")
        if not sign:
            raise InputError(
                f"“{piece.strip()}” has no value.", where=where, mend="Write name=value, with commas between."
            )
        parts[name.strip().lower()] = value.strip()
    strange, missing = set(parts) - {*needed, *may}, [n for n in needed if n not in parts]
    if strange:
        raise InputError(
            f"“{', '.join(sorted(strange))}” is not part of it.", where=where, allowed=", ".join((*needed, *may))
        )
    if missing:
        raise InputError(f"{', '.join(missing)} is missing.", where=where, allowed=", ".join((*needed, *may)))
    return parts


def _kg(text: str, where: str) -> float:
    return quantity(text, MASS_G, where=where, usual="8 lb") / 1000.0


def _fuel_j(text: str, supply: GasSupply | None, where: str) -> float:
    """An amount of fuel: a volume at the meter with the store's gas, or energy."""
    table = {**ENERGY, **(VOLUME if supply is not None else {})}
    amount = quantity(text, table, where=where, usual="2.0 ft3" if supply is not None else "1.5 kWh")
    unit = text.strip().split(" ")[-1].lstrip("0123456789.,-").lower().replace("³", "3")
    if supply is not None and unit in VOLUME:
        return amount * supply.correction * supply.heat_j_m3
    return amount


def _clocked_w(text: str, supply: GasSupply | None) -> float:
    if supply is None:
        raise InputError("This pocket burns no gas.", where="--clock", mend="Leave the clocking out.")
    parts = _pairs(text, "--clock", ("dial", "ran"), ("turns",))
    dial = quantity(parts["dial"], VOLUME, where="--clock", usual="10 ft3")
    try:
        turns = float(parts.get("turns", "1"))
    except ValueError:
        raise InputError(f"“{parts['turns']}” is not a number of turns.", where="--clock") from None
    ran = watch_s(parts["ran"], where="--clock")
    if ran <= 0.0 or turns <= 0.0:
        raise InputError("Turns and time must be above none.", where="--clock")
    return dial * turns * supply.correction * supply.heat_j_m3 / ran


def _near_empty(text: str, supply: GasSupply | None) -> NearEmptyRun:
    where = "--near-empty"
    parts = _pairs(text, where, ("towel", "exhaust", "fuel", "span"), ("first",))
    span = watch_s(parts["span"], where=where)
    if span <= 0.0:
        raise InputError("The time between must be above none.", where=where)
    return NearEmptyRun(
        towel_kg=_kg(parts["towel"], where), exhaust_mean_c=degrees_c(parts["exhaust"], where=where),
        fuel_w=_fuel_j(parts["fuel"], supply, where) / span, exhaust_1_min_c=_temp(parts.get("first", ""), where),
    )  # fmt: skip


def _towels(text: str) -> TowelRun:
    where = "--towels"
    parts = _pairs(text, where, ("dry", "wet", "ran", "after"), ("at3", "end", "inlet"))
    return TowelRun(
        dry_kg=_kg(parts["dry"], where), wet_kg=_kg(parts["wet"], where), run_s=watch_s(parts["ran"], where=where),
        after_kg=_kg(parts["after"], where), exhaust_3_min_c=_temp(parts.get("at3", ""), where),
        exhaust_end_c=_temp(parts.get("end", ""), where), inlet_3_min_c=_temp(parts.get("inlet", ""), where),
    )  # fmt: skip


def _number(text: str, where: str) -> float:
    try:
        return float(text.replace(" ", ""))
    except ValueError:
        raise InputError(f"“{text}” is not a number.", where=where) from None


def _bill(text: str, supply: GasSupply | None) -> FuelBill:
    where = "--bill"
    parts = _pairs(text, where, ("fuel", "others", "hours", "loads"))
    low, _, high = parts["others"].partition("..")
    ends = [_fuel_j(low, supply, where), _fuel_j(high or low, supply, where)]
    return FuelBill(
        fuel_j=_fuel_j(parts["fuel"], supply, where), other_low_j=min(ends), other_high_j=max(ends),
        sold_s=3600.0 * _number(parts["hours"], where), loads=_number(parts["loads"], where),
    )  # fmt: skip


def _watched(text: str, heat: Heat, air: Air, residual: float) -> WatchedLoad:
    where = "--watched"
    parts = _pairs(text, where, ("load", "dry"), ("left",))
    return WatchedLoad(
        mass_dry_kg=_kg(parts["load"], where), dry_s=watch_s(parts["dry"], where=where), heat=heat, air=air,
        residual_frac=fraction(parts["left"], where=where) if "left" in parts else residual,
    )  # fmt: skip


def _more(text: str) -> MoreTime:
    where = "--more-time"
    parts = _pairs(text, where, ("first", "more", "of"))
    return MoreTime(
        first_s=float(seconds_from(parts["first"])), bought_more=int(_number(parts["more"], where)),
        loads=int(_number(parts["of"], where)),
    )  # fmt: skip
