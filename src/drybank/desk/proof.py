"""Field tests at the desk: what the book says is set, the test held against it, the result kept.

Each test takes the open book, the place, `How` it was done and what was measured, and gives
a `Proven`: the result, its findings, the entry's id (empty where nothing was kept).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Literal

import msgspec

from drybank.control import first_on, scale_of, terms, time_on, to_base, to_sheet, worth
from drybank.desk.stamp import Pen
from drybank.desk.standing import bank_key, controls_of, layout_at
from drybank.desk.wording import seconds_from
from drybank.proof import (
    CA_DERATE,
    GAS_INPUT,
    MAKE_UP_AIR,
    MOTOR_VOLTAGE,
    PROPANE,
    TIME_SOLD,
    US_DERATE,
    Clocking,
    Duct,
    ExhaustAir,
    GasSupply,
    GasTest,
    HeatLog,
    HeatTest,
    Opening,
    PlateLimit,
    PostedLine,
    PostedSign,
    SignRules,
    Stopwatch,
    TimedSale,
    as_entry,
    findings,
    plan_clocking,
    pressure_at_height_pa,
    prove_back_pressure,
    prove_current,
    prove_duct,
    prove_flow,
    prove_gas,
    prove_heat,
    prove_make_up,
    prove_scale,
    prove_sign,
    prove_time,
    prove_voltage,
    supply_from,
)
from drybank.proof.gas import ClockingPlan, DerateRule
from drybank.proof.standing import DUCT_VELOCITY, REFUND_NOTICE, STATEMENT_OF_RATES, VOLTAGE_UNBALANCE
from drybank.records.coins import coin
from drybank.records.control import Terms
from drybank.records.energy import NaturalGas
from drybank.records.errors import InputError, Missing
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.money import parse_money
from drybank.records.proof import Conduct, Measured, ProofResult, Tolerance
from drybank.records.sheet import Values
from drybank.records.store import Plate
from drybank.records.units import c_from_f
from drybank.records.working import Assumption

if TYPE_CHECKING:
    from drybank.book import Book


class How(msgspec.Struct, frozen=True, kw_only=True):
    """How a test was done and whether it is kept: pen, instruments, minutes, shop open, own tolerance."""

    pen: Pen
    is_kept: bool = True
    happened: datetime | None = None
    instruments: tuple[str, ...] = ()
    minutes: float | None = None
    shop_open: bool | None = None
    tolerance: Tolerance | None = None

    @property
    def when(self) -> datetime:
        return self.happened or self.pen.clock()

    def conduct(self, *usual: str) -> Conduct:
        return Conduct(
            instruments=self.instruments or usual, by=self.pen.by, minutes=self.minutes, shop_open=self.shop_open
        )

    def rule(self, laid: Layout, standing: Tolerance | None) -> Tolerance | None:
        """The tolerance the owner gave, else the standing one where it belongs to the store's country."""
        if self.tolerance is not None:
            return self.tolerance
        return standing if standing is not None and standing.holds_in(laid.store.country) else None


class Proven(msgspec.Struct, frozen=True, kw_only=True):
    """A field test's result with its findings and the id of the entry it became."""

    store: str
    result: ProofResult
    findings: tuple[Finding, ...] = ()
    entry: str = ""


def own_tolerance(text: str, unit: str) -> Tolerance:
    """A tolerance from ``below=5, above=10%, source=manual p. 12``; limits in the test's own unit or percent."""
    parts: dict[str, str] = {}
    for piece in text.split(","):
        name, sign, value = piece.partition("=")
        if not sign:
            raise InputError(f"“{piece.strip()}” has no value.", where="--tolerance",
                             mend="Write it like: below=5, above=10%, source=the manual p. 12.")  # fmt: skip
        parts[name.strip().lower()] = value.strip()
    strange = set(parts) - {"below", "above", "source", "where"}
    if strange:
        raise InputError(f"“{', '.join(sorted(strange))}” is not part of a tolerance.", where="--tolerance",
                         allowed="below, above, source, where")  # fmt: skip
    below, below_frac = _limit(parts.get("below"))
    above, above_frac = _limit(parts.get("above"))
    return Tolerance(
        name="the owner's tolerance", unit=unit, source=parts.get("source", ""), known="entered by the owner",
        jurisdiction=parts.get("where", ""), below=below, below_frac=below_frac, above=above, above_frac=above_frac,
    )  # fmt: skip


def _limit(text: str | None) -> tuple[float | None, float | None]:
    """A limit as (fixed, fraction of the nominal); both None where the side has no limit."""
    if text is None:
        return None, None
    try:
        return (None, float(text[:-1]) / 100) if text.endswith("%") else (float(text), None)
    except ValueError:
        raise InputError(f"“{text}” is not a limit.", where="--tolerance", mend="Write 5 or 10%.") from None


def _keep(book: Book, laid: Layout, how: How, result: ProofResult, *, at: str, more: dict[str, float | str] | None = None) -> Proven:  # fmt: skip
    """Enter a result where it is to be kept; findings are made of it either way."""
    entry = ""
    if how.is_kept:
        body = as_entry(result, at=at)
        body = msgspec.structs.replace(body, measured={**body.measured, **(more or {})})
        entry = book.append([how.pen.entry(laid.store.key, body, how.when)])[0].entry.id
    return Proven(store=laid.store.key, result=result, findings=findings(result), entry=entry)


def _plate(laid: Layout, pocket: str) -> Plate:
    if pocket not in laid.pockets:
        raise Missing(f"There is no pocket “{pocket}” in {laid.store.name}. Pockets: {', '.join(laid.pockets)}.")
    return laid.pockets[pocket].plate


def _values(book: Book, laid: Layout, control: str, when: datetime) -> tuple[Values, tuple[Assumption, ...]]:
    """What the control holds by the book; the house settings where it was never entered, said as assumed."""
    held = book.settings_at(laid.store.key, when).get(control, {})
    if held:
        return held, ()
    house = book.house_at(laid.store.key, laid.controls[control].bank, when)
    if not house:
        raise InputError(
            f"What control {control} is set to is not known.", mend="Enter it first: drybank set, or drybank adopt."
        )
    assumed = Assumption(
        name=f"settings of control {control}", taken="the house settings", source="never entered as left",
        matters="what the control should sell and how hot it should run",
    )  # fmt: skip
    return to_sheet(laid, control, house), (assumed,)


def _terms(laid: Layout, control: str, values: Values) -> Terms:
    return terms(laid.sheets[laid.controls[control].sheet], values, worth=worth(laid, control))


def _coin_input(laid: Layout, control: str, wanted: str) -> str:
    """The sheet's input that the test coins went into: the one named, or the only coin input."""
    mine = [i for i in laid.inputs.values() if i.control == control]
    if wanted:
        found = [i for i in mine if wanted in (i.key, i.sheet_input)]
    else:
        found = [i for i in mine if i.means in ("coin", "token")]
    if len(found) != 1:
        raise InputError(
            f"Which input the coins went into is not clear at control {control}.", where="--input",
            allowed=", ".join(i.sheet_input for i in mine),
        )  # fmt: skip
    return found[0].sheet_input


class Timing(msgspec.Struct, frozen=True, kw_only=True):
    """One stop-watched purchase of a pocket: pieces in all, of which so many as top-up, and the run."""

    pocket: str
    ran_s: float
    pieces: int = 0
    input: str = ""
    is_top_up: bool = False


def _timed_sale(book: Book, laid: Layout, how: How, timing: Timing) -> tuple[TimedSale, tuple[Assumption, ...]]:
    _plate(laid, timing.pocket)
    control = controls_of(laid, pocket=timing.pocket)[0]
    values, assumed = _values(book, laid, control, how.when)
    rule, key = _terms(laid, control, values), _coin_input(laid, control, timing.input)
    start = first_on(rule, key)
    least = start.pieces if start is not None else 0
    pieces = timing.pieces or least
    if timing.is_top_up and pieces <= least:
        raise InputError(f"A start already takes {least} pieces.", where=f"pocket {timing.pocket}",
                         mend="Say all the pieces put in, start and top-up together.")  # fmt: skip
    sold = time_on(rule, key, pieces) if pieces else rule.free_time_s
    sale = TimedSale(
        pocket=timing.pocket, kind="top-up" if timing.is_top_up else "start", sold_s=float(sold), ran_s=timing.ran_s,
        cool_down_s=float(rule.cool_down_s), cool_down_is_sold=rule.cool_down == "inside",
    )  # fmt: skip
    return sale, assumed


def time_sold(book: Book, store: str, timings: Sequence[Timing], how: How, *, watch: Stopwatch | None = None) -> Proven:
    """Hold stop-watched purchases against what the settings sell."""
    laid = layout_at(book, store, how.when)
    watch = watch or Stopwatch()
    made = [_timed_sale(book, laid, how, t) for t in timings]
    sales = [m[0] for m in made]
    result = prove_time(sales, watch=watch, tolerance=how.rule(laid, TIME_SOLD), conduct=how.conduct(watch.name))
    result = _with_assumed(result, [a for m in made for a in m[1]])
    pockets = sorted({t.pocket for t in timings})
    return _keep(book, laid, how, result, at=", ".join(pockets)[:80])


def _with_assumed(result: ProofResult, more: Sequence[Assumption]) -> ProofResult:
    known = dict.fromkeys([*result.assumed, *more])
    return msgspec.structs.replace(result, assumed=tuple(known))


def heat_set_c(
    book: Book, laid: Layout, pocket: str, heat: int, when: datetime
) -> tuple[float, tuple[Assumption, ...]]:
    """The temperature [°C] that a pocket's heat is set to by the book."""
    control = controls_of(laid, pocket=pocket)[0]
    values, assumed = _values(book, laid, control, when)
    scale = scale_of(laid, control, values)
    for line in laid.sheets[laid.controls[control].sheet].settings:
        if line.purpose == "temperature" and line.heat == heat and line.key in values:
            grid = next((g for g in line.grids if g.unit == scale), line.grids[0])
            degrees = float(to_base(grid, values[line.key]))
            return (c_from_f(degrees) if grid.unit == "°F" else degrees), assumed
    raise Missing(f"What heat {heat} of pocket {pocket} is set to is not known.")


def heat_run(
    book: Book, store: str, pocket: str, heat: int, log: HeatLog, how: How, *,
    set_means: Literal["middle", "cut-out"] | None = None,
) -> Proven:  # fmt: skip
    """Hold a logged exhaust against the heat set, its care symbol and the maker's limit."""
    laid = layout_at(book, store, how.when)
    plate = _plate(laid, pocket)
    named = next((h for h in laid.store.heats if h.number == heat), None)
    if named is None:
        have = ", ".join(f"{h.number} {h.name}" for h in laid.store.heats)
        raise Missing(f"There is no heat {heat}. Heats: {have}.")
    set_c, assumed = heat_set_c(book, laid, pocket, heat, how.when)
    test = HeatTest(
        pocket=pocket, heat=named.name, set_c=set_c, log=log, care=named.care, maker_limit_c=plate.exhaust_limit_c,
        maker_source="the plate, as the store file has it" if plate.exhaust_limit_c is not None else "", set_means=set_means,
    )  # fmt: skip
    result = prove_heat(test, tolerance=how.rule(laid, None), conduct=how.conduct(log.instrument))
    return _keep(book, laid, how, _with_assumed(result, assumed), at=pocket, more={"heat": float(heat), "set": set_c})


def gas_of(laid: Layout, pocket: str, *, heat_j_m3: float | None = None, gauge_pa: float | None = None) -> GasSupply:
    """The gas at a pocket's meter: what was given, the store file's, else the averages with their range; air pressure by
    height."""
    plate = _plate(laid, pocket)
    if plate.fuel == "electric":
        raise InputError(f"Pocket {pocket} is heated by electricity; there is no gas to clock.")
    said = laid.store.natural_gas if plate.fuel == "natural gas" else None
    base = PROPANE if plate.fuel == "propane" else GasSupply() if said is None else supply_from(said)
    given: dict[str, object] = {"barometer_pa": pressure_at_height_pa(laid.store.altitude_m)}
    if said is not None and (said.meter_corrects_pressure or said.air_pressure_kpa != NaturalGas().air_pressure_kpa):
        given = {}  # the store file says what the air presses with, or that it does not matter
    if heat_j_m3 is not None:
        given |= {"heat_j_m3": heat_j_m3, "heat_range_frac": 0.0, "heat_source": "given at the test"}
    if gauge_pa is not None:
        given["gauge_pa"] = gauge_pa
    return msgspec.structs.replace(base, **given)


def derate_of(laid: Layout) -> DerateRule:
    """The altitude rule of the store's country."""
    return CA_DERATE if laid.store.country == "CA" else US_DERATE


def _plate_input(laid: Layout, pocket: str) -> float:
    found = _plate(laid, pocket).input_w
    if found is None:
        raise InputError(f"The gas input on the plate of pocket {pocket} is not known.",
                         mend="Read it off the rating plate and put it into the store file.")  # fmt: skip
    return found


def gas_plan(
    book: Book, store: str, pocket: str, dial_m3: float, how: How, supply: GasSupply | None = None
) -> ClockingPlan:
    """How long the clocking will take on this dial: asked before it begins."""
    laid = layout_at(book, store, how.when)
    return plan_clocking(dial_m3=dial_m3, plate_w=_plate_input(laid, pocket), supply=supply or gas_of(laid, pocket))


def gas_input(
    book: Book, store: str, pocket: str, clocking: Clocking, how: How, supply: GasSupply | None = None
) -> Proven:
    """Hold a clocked gas input against the plate at the store's height."""
    laid = layout_at(book, store, how.when)
    test = GasTest(
        pocket=pocket, clocking=clocking, supply=supply or gas_of(laid, pocket), plate_w=_plate_input(laid, pocket),
        height_m=laid.store.altitude_m, plate_is_for_height=_plate(laid, pocket).is_derated, derate=derate_of(laid),
    )  # fmt: skip
    result = prove_gas(test, tolerance=how.rule(laid, GAS_INPUT), conduct=how.conduct("gas meter", "stopwatch"))
    return _keep(book, laid, how, result, at=pocket)


def make_up_air(book: Book, store: str, opening: Opening, how: How) -> Proven:
    """Hold the room's make-up opening against the total input of all its gas dryers."""
    laid = layout_at(book, store, how.when)
    gas = [k for k, p in laid.pockets.items() if p.plate.fuel != "electric"]
    if not gas:
        raise InputError("No dryer here burns gas; this rule does not speak about the room.")
    unknown = [k for k in gas if laid.pockets[k].plate.input_w is None]
    if unknown:
        raise InputError(f"The gas input on the plate of pockets {', '.join(unknown)} is not known.",
                         mend="Put it into the store file; the rule counts every gas dryer in the room.")  # fmt: skip
    result = prove_make_up(
        total_input_w=sum(_plate_input(laid, k) for k in gas), opening=opening, subject=laid.store.name,
        tolerance=how.rule(laid, MAKE_UP_AIR), conduct=how.conduct("rule"),
    )  # fmt: skip
    return _keep(book, laid, how, result, at="store")


def _plate_limit(laid: Layout, pocket: str) -> PlateLimit | None:
    limit = _plate(laid, pocket).duct_pressure_limit_pa
    return None if limit is None else PlateLimit(highest_pa=limit, source="the plate, as the store file has it")


def exhaust_duct(
    book: Book, store: str, pocket: str, flow: Measured, duct: Duct, how: How, *, air: ExhaustAir | None = None
) -> Proven:
    """Work out what a flow costs in a pocket's duct; hold it against the maker's limit."""
    laid = layout_at(book, store, how.when)
    warm = air or ExhaustAir(height_m=laid.store.altitude_m)
    result = prove_duct(
        subject=f"pocket {pocket}", flow=flow, duct=duct, air=warm, limit=_plate_limit(laid, pocket),
        speed=DUCT_VELOCITY if DUCT_VELOCITY.holds_in(laid.store.country) else None, conduct=how.conduct(flow.instrument),
    )  # fmt: skip
    assumed = () if air else (
        Assumption(name="air in the duct", taken="60 °C at 35 % relative humidity", source="assumed, no source",
                   low="45 °C", high="80 °C", matters="density, a few percent of the pressure"),
    )  # fmt: skip
    return _keep(book, laid, how, _with_assumed(result, assumed), at=pocket)


def back_pressure(book: Book, store: str, pocket: str, reading: Measured, how: How) -> Proven:
    """Hold a static pressure read at the collar against the maker's limit."""
    laid = layout_at(book, store, how.when)
    result = prove_back_pressure(subject=f"pocket {pocket}", reading=reading, limit=_plate_limit(laid, pocket),
                                 conduct=how.conduct(reading.instrument))  # fmt: skip
    return _keep(book, laid, how, result, at=pocket)


def exhaust_flow(book: Book, store: str, pocket: str, reading: Measured, how: How) -> Proven:
    """Hold a measured exhaust flow against the plate's airflow."""
    laid = layout_at(book, store, how.when)
    result = prove_flow(subject=f"pocket {pocket}", reading=reading, plate_m3_s=_plate(laid, pocket).airflow_m3_s,
                        tolerance=how.rule(laid, None), conduct=how.conduct(reading.instrument))  # fmt: skip
    return _keep(book, laid, how, result, at=pocket)


def supply_voltage(book: Book, store: str, pocket: str, readings: Sequence[Measured], how: How) -> Proven:
    """Hold supply voltages against the plate."""
    laid = layout_at(book, store, how.when)
    plate_v = _plate(laid, pocket).voltage_v
    if plate_v is None:
        raise InputError(
            f"The voltage on the plate of pocket {pocket} is not known.", mend="Put it into the store file."
        )
    result = prove_voltage(
        subject=f"pocket {pocket}", plate_v=plate_v, readings=readings, tolerance=how.rule(laid, MOTOR_VOLTAGE),
        unbalance=VOLTAGE_UNBALANCE if VOLTAGE_UNBALANCE.holds_in(laid.store.country) else None,
        conduct=how.conduct("voltmeter"),
    )  # fmt: skip
    return _keep(book, laid, how, result, at=pocket)


def motor_current(
    book: Book, store: str, pocket: str, reading: Measured, how: How, *, plate_a: float, is_licensed: bool
) -> Proven:
    """Hold a motor current, measured by a licensed person, against the motor's plate."""
    laid = layout_at(book, store, how.when)
    _plate(laid, pocket)
    result = prove_current(subject=f"pocket {pocket}", plate_a=plate_a, reading=reading, is_licensed=is_licensed,
                           conduct=how.conduct("clamp meter"))  # fmt: skip
    return _keep(book, laid, how, result, at=pocket)


def price_sign(book: Book, store: str, bank: str, posted: PostedSign, how: How) -> Proven:
    """Hold the sign on the wall against what every control of the bank sells.

    Where controls or inputs sell different times for the same money, the shortest counts:
    that customer reads the same sign.
    """
    laid = layout_at(book, store, how.when)
    key = bank_key(laid, bank)
    ruled: list[tuple[Terms, str, int]] = []
    assumed: list[Assumption] = []
    starts: set[int] = set()
    for control in controls_of(laid, bank=key):
        values, more = _values(book, laid, control, how.when)
        rule = _terms(laid, control, values)
        assumed += more
        inputs = [i for i in laid.inputs.values() if i.control == control and i.means == "coin" and i.piece_minor]
        for one in inputs:
            first = first_on(rule, one.sheet_input)
            ruled.append((rule, one.sheet_input, one.piece_minor))
            starts |= {first.pieces} if first is not None else set()

    def sells(kind: Literal["start", "top-up"], minor: int) -> float:
        times = [_seconds(rule, name, piece, kind, minor) for rule, name, piece in ruled if minor % piece == 0]
        known = [t for t in times if t is not None]
        if not known:
            raise InputError(f"No coin of bank {key} makes up {minor} minor units.", mend="Enter the line as it hangs.")
        return float(min(known))

    country = laid.store.country
    rules = SignRules(
        rates=STATEMENT_OF_RATES if STATEMENT_OF_RATES.holds_in(country) else None,
        notice=REFUND_NOTICE if REFUND_NOTICE.holds_in(country) else None,
    )
    needed = min(starts) if len(starts) == 1 and posted.starts_with else None
    result = prove_sign(posted, sells, subject=f"bank {key}", starts_with=needed, rules=rules, conduct=how.conduct())
    return _keep(book, laid, how, _with_assumed(result, assumed), at=key)


def _seconds(rule: Terms, name: str, piece: int, kind: Literal["start", "top-up"], minor: int) -> int | None:
    """What so much money in one coin gives: as a start, or on top of the smallest start. None below a start."""
    count = minor // piece
    first = first_on(rule, name)
    if first is None:
        return None
    if kind == "start":
        return time_on(rule, name, count) if count >= first.pieces else None
    return time_on(rule, name, first.pieces + count) - first.sold_s


def posted_line(text: str, currency: str, kind: Literal["start", "top-up"]) -> PostedLine:
    """A line of the sign from ``1.00=26 min``."""
    money, sign, span = text.partition("=")
    if not sign:
        raise InputError(f"“{text}” is not a line of the sign.", mend="Write it like 1.00=26 min.")
    return PostedLine(money=parse_money(money, currency), seconds=seconds_from(span), kind=kind)


def scale_check(book: Book, store: str, said: ScaleSaid, how: How) -> Proven:
    """Check a scale against a known mass, and say what its error does to a count of one of the store's coins."""
    laid = layout_at(book, store, how.when)
    kind = coin(laid.store.currency, said.coin_minor or max(laid.store.coins))
    result = prove_scale(
        reference_g=said.reference_g, reference_plus_minus_g=said.reference_plus_minus_g, shown_g=said.shown_g,
        step_g=said.step_g, coin=kind, tolerance=how.rule(laid, None), conduct=how.conduct("scale"),
    )  # fmt: skip
    return _keep(book, laid, how, result, at="store")


class ScaleSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A scale's check: the known mass and its give or take, what the scale showed, its step [g]; a coin's minor units."""

    reference_g: float
    reference_plus_minus_g: float
    shown_g: float
    step_g: float
    coin_minor: int = 0
