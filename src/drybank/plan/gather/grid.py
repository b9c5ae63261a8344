"""What all the controls of a bank can hold, as a plan's grid; house settings to a plan's setting and back."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from drybank.control import common, controls_of, rate_statement
from drybank.plan.gather.assumed import Assumed
from drybank.records.control import Settable
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.plan import OtherInput, PlanGrid, PlanHeat, PlanInputs, PlanSetting
from drybank.records.sheet import HouseSettings, HouseValue
from drybank.records.units import c_from_f, minutes

LEAST_COOL_S = 120
"""Cool-down that a plan does not go under where none is set today: a short cool-down takes the mean of a hot load near
handling temperature within a minute or two, thick pieces later (own drying runs; unverified)."""


def _values(lines: Sequence[Settable], purpose: str, **same: int) -> list[Settable]:
    return [s for s in lines if s.line.purpose == purpose and all(getattr(s.line, k) == v for k, v in same.items())]


def grid_of_bank(
    laid: Layout, bank: str, house: HouseSettings, assumed: Assumed, lines: Sequence[Settable] | None = None
) -> PlanGrid:
    """What all the controls of a bank can hold, as a plan's grid; ``lines`` as `drybank.control.common` gives them."""
    lines = common(laid, bank) if lines is None else lines
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
    source = "the shortest of two minutes or more that the controls hold (own drying runs)"
    assumed(
        "cool-down", minutes(taken), source, low=minutes(60), high=minutes(300), matters="electricity, wear, fabrics"
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
        assumed(
            "temperature",
            assumed.degrees(75),
            "the control has no setting for it; assumed",
            low=assumed.degrees(60),
            high=assumed.degrees(85),
        )
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


def notes_on_sale(laid: Layout, bank: str, house: HouseSettings) -> tuple[str, ...]:
    """What of the bank's sale rule a plan leaves aside, in sentences; refuses a bank that dries free or sells by start only."""
    sales = {laid.sheets[c.sheet].sale for c in controls_of(laid, bank)}
    states = rate_statement(laid, bank, house) if house else None
    if states is not None and states.is_free:
        raise InputError("drying is free on this bank, so there is no price to choose.", where=f"bank {bank}",
                         mend="Switch free drying off first, or price one change with --set.")  # fmt: skip
    notes = (
        [f"Today's settings are not true for the whole bank: {states.untrue[0]}"] if states and states.untrue else []
    )
    if any(s.top_up == "refused" for s in sales):
        if any(s.over_payment != "time" for s in sales):
            raise InputError("these controls sell by the start only; time per coin cannot be planned.", where=f"bank {bank}",
                             mend="Plan a bank whose controls take more coins.")  # fmt: skip
        notes.append("These controls refuse coins while time runs: loads are taken to be paid in full at the start.")
    if any(h.purpose in ("price by hour", "price by heat", "time by heat") for h in house):
        notes.append("Prices by the hour or by heat stay as they are; the plan weighs the plain price.")
    return tuple(notes)


def notes_on_cool_down(settable: Sequence[Settable], house: HouseSettings) -> tuple[str, ...]:
    """What the plan does with the cool-down, in a sentence that agrees with the value it proposes."""
    lines = _values(settable, "cool-down time")
    if not lines:
        return ()
    today = next((h.value for h in house if h.purpose == "cool-down time"), None)
    if today is not None and today in lines[0].values:
        return ("The cool-down is set by what cools a load, not by what it earns: the plan leaves it as it is.",)
    if today is not None:
        return (f"Today's cool-down of {minutes(today)} is on no control's grid; the plan proposes the shortest of two minutes "
                "or more that all of them hold.",)  # fmt: skip
    return ("What the cool-down is set to today is not known. The plan proposes the shortest of two minutes or more; where the "
            "control holds a longer one, leave that.",)  # fmt: skip


def setting_today(grid: PlanGrid, house: HouseSettings) -> tuple[PlanSetting | None, tuple[str, ...]]:
    """Today's setting, or none with the reason in a sentence."""
    if not house:
        return None, ()
    today = setting_of_house(grid, house)
    if today is None:
        return None, ("Today's settings do not say what time a coin gives; nothing is compared with them.",)
    off = [t for t in today.temps if t not in grid.temps]
    if off:
        held = f"Today's {off[0]} {grid.temp_base} is on no control's grid; nothing is compared with today."
        return None, (held,)
    return today, ()


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
