"""Everything a plan is made from, gathered from a store, its sheets and what is set today.

What the store does not say is assumed, and every assumption is listed with its source and range.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

import msgspec
import numpy as np

from drybank.control import common, controls_of, layout
from drybank.control.checks import LEAST_HEAT_S, POSTED_S
from drybank.drying import Air, FireControl
from drybank.drying import Pocket as Drum
from drybank.energy import Electricity, NaturalGas, Propane, unit_cost, unit_joules
from drybank.plan.needs import BELIEF, Curve, curve, from_minutes, from_runs
from drybank.plan.problem import JOULES_KWH
from drybank.plan.week import week_of_bank
from drybank.records.control import Settable
from drybank.records.energy import Supply, Tariff, Usage
from drybank.records.errors import InputError, Missing
from drybank.records.layout import Layout
from drybank.records.plan import (
    OtherInput,
    PlanCosts,
    PlanGrid,
    PlanHeat,
    PlanInputs,
    PlanLimits,
    PlanLoads,
    PlanSetting,
    PriceAnswer,
    Ranged,
)
from drybank.records.sheet import ControlSheet, HouseSettings, HouseValue
from drybank.records.store import Bank, Pocket, Store
from drybank.records.traffic import Settings as TrafficSettings
from drybank.records.traffic import Store as TrafficStore
from drybank.records.units import c_from_f
from drybank.records.working import Assumption, Working

LEAST_COOL_S = 120
"""Cool-down that a plan does not go under where none is set today: a short cool-down takes the mean of a hot load near
handling temperature within a minute or two, thick pieces later (own drying runs; unverified)."""
SPREAD = 0.3
LOADS_A_VISIT = (2.0, 1.3, 3.0)
GAS_MINOR_KWH, POWER_MINOR_KWH = 3.72, 12.0
"""US commercial averages: gas $11.32/Mcf at 1038 Btu/ft3 (2022, EIA, read), electricity 9 to 39 c/kWh by state
(2023, EIA Electric Power Annual, read)."""


class Assumed:
    """Collects what was not given."""

    def __init__(self) -> None:
        self.list: list[Assumption] = []

    def __call__(self, name: str, taken: str, source: str, *, low: str = "", high: str = "", matters: str = "") -> None:
        self.list.append(Assumption(name=name, taken=taken, source=source, low=low, high=high, matters=matters))


def plan_inputs(
    store: Store,
    sheets: Mapping[str, ControlSheet] | Iterable[ControlSheet],
    bank: str,
    house_today: HouseSettings | None = None,
    *,
    supplies: Sequence[Supply] = (),
    traffic: TrafficStore | None = None,
    traffic_bank: int = 0,
    traffic_settings: TrafficSettings | None = None,
) -> PlanInputs:
    """Inputs of a plan for one bank of a store.

    ``house_today`` are the house settings in force (None or empty: not known; no comparison, no limit on the step).
    ``supplies`` say what heat is in the fuel; ``traffic`` is the store's week for queues (default: the bank's share of
    a week made from the store file), ``traffic_settings`` what its banks are set to today where it has several.

    Raises `InputError` where the bank, its grid or its trade cannot carry a plan.
    """
    laid = layout(store, sheets)
    found = next((b for b in store.banks if b.key == bank), None)
    if found is None:
        raise Missing(f"There is no bank “{bank}”. Banks here: {', '.join(b.key for b in store.banks)}.")
    house, assumed = tuple(house_today or ()), Assumed()
    grid = grid_of_bank(laid, bank, house, assumed)
    pockets = bank_pockets(laid, bank)
    fuel_curve = _curve(store, pockets, grid, assumed)
    loads = _loads(store, found, pockets, grid, house, fuel_curve, assumed)
    per_week = _per_week(store, laid, bank, assumed)
    costs = _costs(store, pockets, loads, per_week, supplies, assumed)
    today = setting_of_house(grid, house) if house else None
    assumed("what owners pay for at first", f"{BELIEF[0]:g} to {BELIEF[1]:g} of what the load needs", "assumed, no source",
            matters="the share of loads dry at the first purchase")  # fmt: skip
    notes = () if len({p.plate for p in pockets}) == 1 else (
        f"The pockets of this bank differ; pocket {pockets[0].key} stands for all.",)  # fmt: skip
    week = traffic if traffic is not None else week_of_bank(
        store, bank, loads, per_week.value, len(pockets), pockets[0].fill_kg
    )  # fmt: skip
    return PlanInputs(
        store=store.key, bank=bank, currency=store.currency, grid=grid, loads=loads, loads_per_week=per_week,
        costs=costs, price_answer=_answer(store, today, loads, grid, assumed), limits=_limits(store),
        today=today, pockets=len(pockets), traffic=week, traffic_bank=traffic_bank if traffic is not None else 0, traffic_settings=traffic_settings,
        assumptions=(*assumed.list, *(week.assumptions if week is not None else ())), notes=notes,
    )  # fmt: skip


def bank_pockets(laid: Layout, bank: str) -> list[Pocket]:
    """Pockets of a bank in walking order."""
    keys = [key for control in controls_of(laid, bank) for key in control.pockets]
    if not keys:
        raise InputError(
            f"Bank {bank} has no pocket.", where=f"bank {bank}", mend="Name its machines in the store file."
        )
    return [laid.pockets[key] for key in keys]


# ---------------------------------------------------------------- the grid


def _values(lines: Sequence[Settable], purpose: str, **same: int) -> list[Settable]:
    return [s for s in lines if s.line.purpose == purpose and all(getattr(s.line, k) == v for k, v in same.items())]


def grid_of_bank(laid: Layout, bank: str, house: HouseSettings, assumed: Assumed) -> PlanGrid:
    """What all the controls of a bank can hold, as a plan's grid."""
    lines = common(laid, bank)
    coins = _coins(laid, bank)
    times = {
        s.line.piece_minor: s for s in _values(lines, "time per piece") if s.line.piece_minor in coins and s.values
    }
    if not times:
        raise InputError("no time per coin can be set alike on all controls.", where=f"bank {bank}",
                         mend="Split the bank, or plan its controls one by one.")  # fmt: skip
    main = min(times)
    starts = _starts(lines, main, bank)
    sale = {laid.sheets[c.sheet].sale for c in controls_of(laid, bank)}
    is_sum = any(s.start == "sum" for s in sale)
    firsts = () if is_sum else next((s.values for s in _values(lines, "first time")), ())
    temps, heats, base, strict = _heats(laid, lines, house, assumed)
    return PlanGrid(
        piece_minor=main,
        time_per_piece_s=tuple(v for v in times[main].values if v > 0),
        start_pieces=starts,
        first_time_s=tuple(v for v in firsts if v > 0),
        cool_down_s=(_cool_down(lines, house, assumed),),
        cool_is_inside=any(s.cool_down == "inside" for s in sale),
        temps=temps,
        temps_c=tuple(float(t) if base == "°C" else c_from_f(t) for t in temps),
        temp_base="°F" if base == "°F" else "°C",
        heats=heats,
        heats_fall_strictly=strict,
        other_inputs=tuple(
            OtherInput(piece_minor=piece, time_per_piece_s=tuple(v for v in s.values if v > 0))
            for piece, s in sorted(times.items())
            if piece != main
        ),
        template=house,
    )


def _coins(laid: Layout, bank: str) -> set[int]:
    """What one piece of each paying input is worth; staff keys pay nothing."""
    controls = {c.key for c in controls_of(laid, bank)}
    paying = [i for i in laid.inputs.values() if i.control in controls and i.means != "staff key" and i.piece_minor > 0]
    if not paying:
        raise InputError("no input of this bank takes money.", where=f"bank {bank}",
                         mend="Say in the store file what piece each input takes.")  # fmt: skip
    return {i.piece_minor for i in paying}


def _starts(lines: Sequence[Settable], main: int, bank: str) -> tuple[int, ...]:
    """Starts that are whole numbers of the main coin."""
    priced = _values(lines, "start price")
    if priced:
        whole = tuple(sorted({v // main for v in priced[0].values if v > 0 and v % main == 0}))
        if whole:
            return whole
        raise InputError("no start price that all controls can hold is a whole number of coins.", where=f"bank {bank}")
    counted = [s for s in _values(lines, "start pieces") if s.line.piece_minor in (0, main)]
    return tuple(v for v in counted[0].values if v > 0) if counted else (1,)


def _cool_down(lines: Sequence[Settable], house: HouseSettings, assumed: Assumed) -> int:
    """The cool-down: today's, or the shortest of two minutes or more. It is set by the load's heat, not by what it earns."""
    today = next((h.value for h in house if h.purpose == "cool-down time"), None)
    values = next((s.values for s in _values(lines, "cool-down time")), ())
    if today is not None and (not values or today in values):
        return today
    if not values:
        return 0
    enough = [v for v in values if v >= LEAST_COOL_S]
    taken = min(enough, default=max(values))
    assumed(
        "cool-down", f"{taken} s", "own drying runs; a plan never shortens it to earn more", low="60 s", high="300 s"
    )
    return taken


def _heats(
    laid: Layout, lines: Sequence[Settable], house: HouseSettings, assumed: Assumed
) -> tuple[tuple[int, ...], tuple[PlanHeat, ...], str, bool]:
    """Temperatures, heats with their levels (hottest first), the scale, and whether heats must differ."""
    found = [s for s in _values(lines, "temperature") if s.line.base in ("°C", "°F")]
    bases = {s.line.base for s in found if s.values}
    wanted = "°C" if laid.store.units.temperature == "C" else "°F"
    base = wanted if wanted in bases or not bases else min(bases)
    found = [s for s in found if s.line.base == base and s.values]
    if not found:
        assumed("temperature", "75 °C", "the control has no setting for it; assumed", low="60 °C", high="85 °C")
        return (75,), (PlanHeat(number=1, name="heat", levels=(0,)),), "°C", False
    temps = tuple(sorted({v for s in found for v in s.values}))
    named = {h.number: h for h in laid.store.heats}
    order = sorted(found, key=lambda s: (-max(s.values), s.line.heat))
    heats = tuple(
        PlanHeat(
            number=s.line.heat,
            name=named[s.line.heat].name if s.line.heat in named else f"heat {s.line.heat}",
            care=named[s.line.heat].care if s.line.heat in named else "none",
            levels=tuple(temps.index(v) for v in s.values),
        )
        for s in order
    )
    return temps, heats, base, True


# ---------------------------------------------------------------- house settings


def setting_of_house(grid: PlanGrid, house: HouseSettings) -> PlanSetting | None:
    """House settings as a plan's setting; None when they do not say what a start and a coin give."""

    def said(purpose: str, **same: object) -> HouseValue | None:
        return next(
            (h for h in house if h.purpose == purpose and all(getattr(h, k) == v for k, v in same.items())), None
        )

    piece = said("time per piece", piece_minor=grid.piece_minor) or said("time per piece", piece_minor=0)
    rate = said("time per value")
    if piece is None and (rate is None or not rate.piece_minor):
        return None
    time_s = piece.value if piece else (rate.value * grid.piece_minor) // rate.piece_minor if rate else 0
    price, count = said("start price"), said("start pieces")
    start = -(-price.value // grid.piece_minor) if price else count.value if count else 1
    first, cool = said("first time"), said("cool-down time")
    temps = [said("temperature", heat=h.number, base=grid.temp_base) or said("temperature", heat=0) for h in grid.heats]
    if time_s <= 0 or start < 1:
        return None
    others = [said("time per piece", piece_minor=o.piece_minor) for o in grid.other_inputs]
    return PlanSetting(
        piece_minor=grid.piece_minor,
        time_per_piece_s=time_s,
        start_pieces=start,
        first_time_s=first.value if first and grid.first_time_s else start * time_s,
        cool_down_s=cool.value if cool else 0,
        temps=tuple(t.value if t else grid.temps[max(h.levels)] for t, h in zip(temps, grid.heats, strict=True)),
        other_times_s=tuple(
            o.value if o else time_s * i.piece_minor // grid.piece_minor
            for o, i in zip(others, grid.other_inputs, strict=True)
        ),
        other_starts=tuple(-(-start * grid.piece_minor // i.piece_minor) for i in grid.other_inputs),
    )


def setting_of(inputs: PlanInputs, house: HouseSettings) -> PlanSetting:
    """House settings as a plan's setting; refused when they do not say what a coin gives."""
    setting = setting_of_house(inputs.grid, house)
    if setting is None:
        raise InputError("the settings do not say what time a coin gives.", where="time per piece",
                         mend="Give “time per piece” for the main coin.")  # fmt: skip
    return setting


def house_of(grid: PlanGrid, setting: PlanSetting) -> HouseSettings:
    """A plan's setting in the words of today's house settings; lines that a plan does not choose stay as they are."""
    lines = [_in_words(grid, setting, line) for line in grid.template]
    said = {(h.purpose, h.piece_minor, h.heat) for h in lines}
    purposes = {h.purpose for h in lines}
    new = []
    if "time per value" not in purposes:
        pieces = [(setting.piece_minor, setting.time_per_piece_s)]
        pieces += zip((o.piece_minor for o in grid.other_inputs), setting.other_times_s, strict=True)
        new += [HouseValue(purpose="time per piece", value=t, piece_minor=p) for p, t in pieces
                if ("time per piece", p, 0) not in said and ("time per piece", 0, 0) not in said]  # fmt: skip
    if not purposes & {"start price", "start pieces"} and len(grid.start_pieces) > 1:
        new.append(HouseValue(purpose="start price", value=setting.start_minor, base="minor"))
    if grid.first_time_s and "first time" not in purposes:
        new.append(HouseValue(purpose="first time", value=setting.first_time_s))
    if setting.cool_down_s and "cool-down time" not in purposes:
        new.append(HouseValue(purpose="cool-down time", value=setting.cool_down_s))
    if len(grid.temps) > 1 and "temperature" not in purposes:
        new += [HouseValue(purpose="temperature", value=t, base=grid.temp_base, heat=h.number)
                for h, t in zip(grid.heats, setting.temps, strict=True)]  # fmt: skip
    return (*lines, *new)


def _in_words(grid: PlanGrid, setting: PlanSetting, line: HouseValue) -> HouseValue:
    """One line of today's house settings with the plan's value."""
    value = line.value
    if line.purpose == "time per piece":
        others = dict(zip((o.piece_minor for o in grid.other_inputs), setting.other_times_s, strict=True))
        value = others.get(line.piece_minor, setting.time_per_piece_s)
    elif line.purpose == "time per value":
        value = setting.time_per_piece_s * line.piece_minor // setting.piece_minor
    elif line.purpose == "start price":
        value = setting.start_minor
    elif line.purpose == "start pieces":
        value = -(-setting.start_minor // line.piece_minor) if line.piece_minor else setting.start_pieces
    elif line.purpose == "first time":
        value = setting.first_time_s
    elif line.purpose == "cool-down time":
        value = setting.cool_down_s
    elif line.purpose == "temperature" and line.base == grid.temp_base:
        heats = {h.number: t for h, t in zip(grid.heats, setting.temps, strict=True)}
        value = heats.get(line.heat, setting.temps[0] if line.heat == 0 else value)
    return msgspec.structs.replace(line, value=value)


# ---------------------------------------------------------------- loads


def _curve(store: Store, pockets: Sequence[Pocket], grid: PlanGrid, assumed: Assumed) -> Curve:
    pocket, plate = pockets[0], pockets[0].plate
    usual = Drum()
    for name, value, taken in (
        ("heat input of a pocket", plate.input_w, f"{usual.heat_input_w / 1000:.1f} kW"),
        ("airflow of a pocket", plate.airflow_m3_s, f"{usual.flow_exhaust_m3_s:.2f} m3/s"),
        ("motor of a pocket", plate.motor_w, f"{usual.motor_w:.0f} W"),
    ):
        if value is None:
            assumed(name, taken, "common practice, no source", matters="minutes, fuel")
    drum = Drum(
        fuel=plate.fuel,
        heat_input_w=plate.input_w if plate.input_w is not None else usual.heat_input_w,
        flow_exhaust_m3_s=plate.airflow_m3_s if plate.airflow_m3_s is not None else usual.flow_exhaust_m3_s,
        motor_w=plate.motor_w if plate.motor_w is not None else usual.motor_w,
        derate_frac_per_1000_ft=0.04 if plate.is_derated else 0.0,
        fire=FireControl(kind=plate.fire),
    )
    wet = [w.moisture_left_frac for w in store.washers if w.moisture_left_frac is not None]
    moisture = (
        float(np.average(wet, weights=[w.number for w in store.washers if w.moisture_left_frac is not None]))
        if wet
        else 0.6
    )
    if not wet:
        assumed(
            "water left by the washers", "60 % of dry mass", "assumed", low="50 %", high="75 %", matters="minutes, fuel"
        )
    assumed(
        "air that the dryers draw", "22 °C, 50 % humidity", "assumed all year", low="5 °C", high="30 °C", matters="fuel"
    )
    assumed("fabric contact of a pocket", f"{usual.contact_w_k:g} W/K", "set on household efficiency levels",
            matters="minutes: an uncalibrated pocket is an estimate")  # fmt: skip
    return curve(
        drum, Air(altitude_m=store.altitude_m), temps_c=grid.temps_c, moisture_frac=moisture, fill_kg=pocket.fill_kg
    )


def _loads(
    store: Store,
    bank: Bank,
    pockets: Sequence[Pocket],
    grid: PlanGrid,
    house: HouseSettings,
    of: Curve,
    assumed: Assumed,
) -> PlanLoads:
    trade = store.trade
    level = _reference_level(grid, house)
    heat_share = _heat_share(store, grid, assumed)
    normal_kg = bank.normal_load_kg or trade.load_kg_mean or 0.35 * pockets[0].fill_kg
    if trade.need_minutes:
        return from_minutes(
            of, minutes=trade.need_minutes, share=trade.need_share, heat_share=heat_share, at_level=level,
            spread_frac=SPREAD, source="stated by the owner (trade.need_minutes)",
        )  # fmt: skip
    if trade.load_kg_mean is None:
        assumed(
            "mean load", f"{normal_kg:.1f} kg", "the bank's normal load, or 35 % of the fill", matters="minutes, fuel"
        )
    assumed("drying needs", "from drying runs", "uncalibrated pocket", low="-17 %", high="+36 %", matters="everything")
    return from_runs(
        of, mean_kg=trade.load_kg_mean or normal_kg, heat_share=heat_share, at_level=level, spread_frac=SPREAD,
        normal_kg=normal_kg,
    )  # fmt: skip


def _reference_level(grid: PlanGrid, house: HouseSettings) -> int:
    """The temperature that stated minutes hold at: the hottest heat as set today, else the hottest it may be."""
    hottest = grid.heats[0]
    for h in house:
        if (
            h.purpose == "temperature"
            and h.heat in (0, hottest.number)
            and h.base == grid.temp_base
            and h.value in grid.temps
        ):
            return grid.temps.index(h.value)
    return max(hottest.levels)


def _heat_share(store: Store, grid: PlanGrid, assumed: Assumed) -> list[float]:
    """Shares of the bank's heats, out of the store's shares by heat number."""
    given = store.trade.heat_share
    if given and (len(given) != max(len(store.heats), len(grid.heats)) or min(given) < 0 or sum(given) <= 0):
        raise InputError(f"{len(given)} shares for {len(store.heats)} heats.", where="trade.heat_share",
                         mend="Give one share for each heat, in the order of their numbers.")  # fmt: skip
    share = [given[h.number - 1] for h in grid.heats if 1 <= h.number <= len(given)]
    if len(share) == len(grid.heats) and sum(share) > 0:
        return share
    heats = len(grid.heats)
    share = [1.0] if heats == 1 else [0.6] + [0.4 / (heats - 1)] * (heats - 1)
    if heats > 1:
        assumed("heats that customers choose", ", ".join(f"{100 * s:.0f} %" for s in share), "assumed, no source")
    return share


def _per_week(store: Store, laid: Layout, bank: str, assumed: Assumed) -> Ranged:
    """Loads a week at this bank: the store's, shared by pockets."""
    share = len(bank_pockets(laid, bank)) / max(1, len(store.pockets))
    if store.trade.loads_per_week is not None:
        mean = store.trade.loads_per_week * share
        return Ranged(value=mean, low=0.85 * mean, high=1.15 * mean, how="given", source="trade.loads_per_week")
    mean = 40.0 * len(store.pockets) * share
    assumed("loads a week", f"{mean:.0f}", "40 a pocket, assumed", low=f"{0.5 * mean:.0f}", high=f"{1.5 * mean:.0f}",
            matters="every weekly figure in proportion")  # fmt: skip
    return Ranged(
        value=mean, low=0.5 * mean, high=1.5 * mean, how="assumed", source="40 loads a pocket a week, assumed"
    )


# ---------------------------------------------------------------- money


def _costs(
    store: Store,
    pockets: Sequence[Pocket],
    loads: PlanLoads,
    per_week: Ranged,
    supplies: Sequence[Supply],
    assumed: Assumed,
) -> PlanCosts:
    fuel = pockets[0].plate.fuel
    month = per_week.value * 30.0 / 7.0
    fuel_kwh = month * float(np.mean(loads.fuel_j[:, -1])) / JOULES_KWH
    power_kwh = month * loads.motor_w * float(np.mean(loads.need_s[:, -1])) / JOULES_KWH
    tariffs = {name: _latest(store, name) for name in ("natural gas", "propane", "electricity")}
    power, power_tariff, power_usage, power_working = _price(
        tariffs["electricity"], Electricity(), power_kwh, len(pockets), store, assumed, POWER_MINOR_KWH, "electricity"
    )
    if fuel == "electric":
        burnt, fuel_tariff, fuel_usage, fuel_working, supply = power, power_tariff, power_usage, power_working, None
    else:
        supply = _supply(fuel, supplies, assumed)
        burnt, fuel_tariff, fuel_usage, fuel_working = _price(
            tariffs[fuel], supply, fuel_kwh, len(pockets), store, assumed, GAS_MINOR_KWH, "fuel"
        )
    return PlanCosts(
        fuel_minor_kwh=burnt, power_minor_kwh=power, wear_minor_hour=_wear(store, assumed), visit_minor=_visit(store, assumed),
        fuel_tariff=fuel_tariff, fuel_supply=supply, fuel_usage=fuel_usage, fuel_working=fuel_working,
        power_tariff=power_tariff, power_usage=power_usage, power_working=power_working,
    )  # fmt: skip


def _latest(store: Store, fuel: str) -> Tariff | None:
    return max((t for t in store.tariffs if t.fuel == fuel), key=lambda t: t.valid_from, default=None)


def _supply(fuel: str, supplies: Sequence[Supply], assumed: Assumed) -> Supply:
    kind = Propane if fuel == "propane" else NaturalGas
    given = next((s for s in supplies if isinstance(s, kind)), None)
    if given is not None:
        return given
    if fuel == "propane":
        assumed("heat in propane", "91 452 Btu a gallon", "US energy statistics (read in a secondary page)")
        return Propane()
    assumed("heat in natural gas", "1038 Btu a cubic foot (38.7 MJ/m3)", "US average delivered 2023 (EIA, read)",
            low="1020", high="1060", matters="fuel cost, where gas is billed by volume")  # fmt: skip
    return NaturalGas(heat_content_btu_ft3=Decimal(1038), source="US average delivered 2023 (EIA)")


def _price(
    tariff: Tariff | None,
    supply: Supply,
    kwh: float,
    pockets: int,
    store: Store,
    assumed: Assumed,
    usual: float,
    name: str,
) -> tuple[Ranged, Tariff | None, Usage | None, Working | None]:
    """Price of a kWh at the margin, with the tariff and the month it was taken at."""
    if tariff is None:
        assumed(f"price of {name}", f"{usual:g} minor units a kWh", "US commercial average (EIA, read)",
                low=f"{0.6 * usual:.2f}", high=f"{1.6 * usual:.2f}", matters="energy cost in proportion")  # fmt: skip
        return Ranged(value=usual, low=0.6 * usual, high=1.6 * usual, source="EIA averages"), None, None, None
    unit_kwh = float(unit_joules(tariff.unit, supply)) / JOULES_KWH
    usage = _month(tariff, Decimal(round(kwh / unit_kwh)), pockets)
    cost = unit_cost(usage, tariff)
    value = float(cost.marginal_minor) / unit_kwh
    source = f"tariff “{tariff.name}”, next unit"
    return (
        Ranged(value=value, low=0.75 * value, high=1.5 * value, how="given", source=source),
        tariff,
        usage,
        cost.working,
    )


def _month(tariff: Tariff, quantity: Decimal, pockets: int) -> Usage:
    """A month of thirty days under the tariff; peaks and day parts as if use were even over the hours of each."""
    first = tariff.valid_from
    if tariff.valid_to is not None and tariff.valid_to < first + dt.timedelta(days=29):
        last = tariff.valid_to
    else:
        last = first + dt.timedelta(days=29)
    peak = Decimal(pockets)
    names = [p.name for p in tariff.day_parts] + ([tariff.other_hours] if tariff.day_parts else [])
    part = (quantity / max(1, len(names))).quantize(Decimal("0.001"))
    by_part = dict.fromkeys(names, part)
    return Usage(
        first_day=first, last_day=last, quantity=sum(by_part.values(), Decimal(0)) if names else quantity,
        by_day_part=by_part, demand_kw=peak, demand_kw_by_day_part=dict.fromkeys(names, peak), apparent_kva=peak,
    )  # fmt: skip


def _wear(store: Store, assumed: Assumed) -> Ranged:
    wear = store.costs.wear_minor_per_hour
    if wear > 0:
        return Ranged(value=wear, low=0.5 * wear, high=2.0 * wear, how="given", source="costs.wear_minor_per_hour")
    assumed("wear of a pocket", "30 minor units an hour", "assumed, no source", low="0", high="100")
    return Ranged(value=30.0, low=0.0, high=100.0, source="assumed")


def _visit(store: Store, assumed: Assumed) -> Ranged:
    """What a load's visit brings beside its drying: the visit's, shared over its loads."""
    costs = store.costs
    loads, least, most = LOADS_A_VISIT
    assumed("loads of a visit", f"{loads:g}", "assumed, no source", low=f"{least:g}", high=f"{most:g}",
            matters="what a lost load takes along")  # fmt: skip
    if costs.visit_minor is not None:
        low = costs.visit_minor_low if costs.visit_minor_low is not None else 0.6 * costs.visit_minor
        high = costs.visit_minor_high if costs.visit_minor_high is not None else 1.6 * costs.visit_minor
        return Ranged(
            value=costs.visit_minor / loads, low=low / most, high=high / least, how="given", source="costs.visit_minor"
        )
    prices = [w.price_minor for w in store.washers if w.price_minor is not None]
    value = 0.5 * float(np.mean(prices)) if prices else 200.0
    assumed("what a visit brings beside drying", f"{value:.0f} minor units a load",
            "half a wash's price" if prices else "assumed, no source", low=f"{0.3 * value:.0f}", high=f"{2.0 * value:.0f}",
            matters="how dear a lost customer is")  # fmt: skip
    return Ranged(value=value, low=0.3 * value, high=2.0 * value, source="half a wash's price, assumed")


def _answer(store: Store, today: PlanSetting | None, loads: PlanLoads, grid: PlanGrid, assumed: Assumed) -> PriceAnswer:
    low, high = store.trade.walk_away_minor_low, store.trade.walk_away_minor_high
    assumed("spread of walk-away prices", f"{100 * SPREAD:.0f} % about the median", "assumed, no source")
    base = _todays_normal(today, loads, grid)
    if low is not None and high is not None and 0 <= low <= high:
        middle = float(np.sqrt((base + low) * (base + high)))
        walk = Ranged(value=middle, low=base + low, high=base + high, how="given",
                      source="today's price of a normal load, and trade.walk_away_minor_low / _high more")  # fmt: skip
        return PriceAnswer(walk_away_minor=walk, spread_frac=SPREAD, source="range given by the owner")
    if low is not None or high is not None:
        raise InputError(
            "a walk-away price wants a low and a high, low first.", where="trade.walk_away_minor_low / _high"
        )
    assumed("walk-away price of a normal load", f"{1.5 * base:.0f} minor units", "1.5 times today's price, assumed",
            low=f"{1.15 * base:.0f}", high=f"{2.2 * base:.0f}", matters="the price that pays best")  # fmt: skip
    walk = Ranged(value=1.5 * base, low=1.15 * base, high=2.2 * base, source="1.5 times today's price, assumed")
    return PriceAnswer(walk_away_minor=walk, spread_frac=SPREAD, source="assumed")


def _todays_normal(today: PlanSetting | None, loads: PlanLoads, grid: PlanGrid) -> float:
    """Today's price of a normal load; where nothing is set, 8 minor units a minute of its need."""
    need = float(loads.normal_need_s[-1])
    if today is None:
        return 8.0 * need / 60.0
    cool = today.cool_down_s if grid.cool_is_inside else 0
    more = max(0.0, np.ceil((need + cool - today.first_time_s) / today.time_per_piece_s))
    return float((today.start_pieces + more) * today.piece_minor)


def _limits(store: Store) -> PlanLimits:
    says, needs = store.constraints, store.trade.need_minutes
    return PlanLimits(
        normal_load_pieces_at_most=says.normal_load_pieces_at_most,
        price_step_at_most_pct=says.price_step_at_most_pct,
        posted_step_s=POSTED_S[says.posted_minutes],
        least_heat_s=round(60.0 * min(needs)) if needs else LEAST_HEAT_S,
        wait_p95_s=says.wait_p95_s,
    )
