"""What is wrong with a control sheet or a store file, all of it at once, before anything is laid over anything."""

from __future__ import annotations

import re
from collections import Counter as Tally
from collections.abc import Iterable, Iterator, Mapping

from drybank.control.grid import SCALES, base_of, holds
from drybank.control.layout import as_sheets, layout
from drybank.control.steps import FIELDS, STEPPED, fields_of
from drybank.control.terms import DOOR_WORDS, OFF_WORDS, ON_WORDS
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Input
from drybank.records.money import MINOR_DIGITS
from drybank.records.sheet import Base, ControlSheet, Grid, Purpose, SettingLine
from drybank.records.store import Opening, Store

VALUES_AT_MOST = 100_000
WAYS_OF_HEAT: tuple[Purpose, ...] = ("temperature", "time by heat", "price by heat")
OF_INPUT: tuple[Purpose, ...] = (
    "start pieces", "piece value", "token value", "pieces per count", "time per piece", "top-up time", "time by heat",
    "time per value", "coin lock-out",
)  # fmt: skip
_S: tuple[Base, ...] = ("s",)
_MINOR: tuple[Base, ...] = ("minor",)
_DEGREES: tuple[Base, ...] = ("°C", "°F")
_WORD: tuple[Base, ...] = ("choice", "count")
BASES: dict[Purpose, tuple[Base, ...]] = {
    "start price": _MINOR, "piece value": _MINOR, "token value": _MINOR, "price by hour": _MINOR, "price by heat": _MINOR,
    "start pieces": ("pieces", "count"), "pieces per count": ("pieces", "count"), "held-money timeout": _S,
    "time per piece": _S, "time per value": _S, "first time": _S, "top-up time": _S, "top-up limit": _S, "time by heat": _S,
    "temperature": _DEGREES, "temperature band": _DEGREES, "temperature cap": _DEGREES, "cool-down end temperature": _DEGREES,
    "heat offered": _WORD, "heat at start": _WORD, "cool-down time": _S, "anti-crease time": _S, "reversing run": _S,
    "reversing rest": _S, "door rule": ("choice",), "end signal": ("choice", "count", "s"), "free drying": _WORD,
    "free time": _S, "free from hour": _S, "free until hour": _S, "time shown as": _WORD, "price shown": _WORD,
    "temperature scale": ("choice",), "brightness": ("choice", "count", "%"), "coin lock-out": _WORD, "staff code": ("count",),
}  # fmt: skip
WORDS: dict[str, tuple[str, ...]] = {
    "door rule": DOOR_WORDS,
    "free drying": (*OFF_WORDS, *ON_WORDS),
    "coin lock-out": (*OFF_WORDS, *ON_WORDS),
    "temperature scale": ("°c", "°f", "c", "f"),
}
_KEY = re.compile(r"^[^\s.*][^.*]{0,38}[^\s.*]$|^[^\s.*]$")
Faults = Iterator[InputError]


def _wrong(where: str, what: str, mend: str = "", allowed: str = "") -> InputError:
    return InputError(what, where=where, mend=mend, allowed=allowed)


def _keys(where: str, keys: Iterable[str]) -> Faults:
    for key, count in Tally(keys).items():
        if not _KEY.match(key):
            yield _wrong(
                f"{where} “{key}”", "This cannot be a key.", "Use 1 to 40 letters, digits, dashes; no dot, no star."
            )
        if count > 1:
            yield _wrong(f"{where} “{key}”", f"It stands there {count} times.", "Give each a key of its own.")


# -- one setting ------------------------------------------------------------------------------------------------------


def _grid(where: str, line: SettingLine, grid: Grid) -> Faults:
    base = base_of(grid)
    if base not in BASES[line.purpose]:
        yield _wrong(
            f"{where}.unit", f"A {line.purpose} cannot be in “{grid.unit}”.", allowed=", ".join(BASES[line.purpose])
        )
    low, high = (min(grid.values), max(grid.values)) if grid.values else (grid.lowest, grid.highest)
    if grid.increment < 1:
        yield _wrong(f"{where}.increment", f"The increment is {grid.increment}.", "It is 1 or more of the unit.")
    elif high < low:
        yield _wrong(where, f"It holds nothing: lowest {low}, highest {high}.", "Put the smaller one under lowest.")
    elif not grid.values and (high - low) // grid.increment >= VALUES_AT_MOST:
        yield _wrong(where, "It holds more values than any setting.", allowed=f"at most {VALUES_AT_MOST:,} values")
    elif not grid.values and (high - low) % grid.increment:
        top = low + (high - low) // grid.increment * grid.increment
        yield _wrong(
            f"{where}.highest", f"{high} is not reached from {low} in steps of {grid.increment}.", f"The last is {top}."
        )
    if low < 0 and base not in SCALES:
        yield _wrong(f"{where}.lowest", f"{low} is below nothing.", "Only temperatures go below 0.")
    if grid.factory is not None and not holds(grid, grid.factory):
        yield _wrong(
            f"{where}.factory", f"The factory value {grid.factory} is not one it can hold.", "Mend it or the range."
        )
    if base == "choice" and not 0 <= low <= high < len(line.choices):
        yield _wrong(
            f"{where}", "It reaches past its words.", f"There are {len(line.choices)} choices, counted from 0."
        )
    if line.purpose == "top-up limit" and holds(grid, 0) and not grid.zero_means:
        yield _wrong(
            f"{where}.zero_means",
            "A limit of 0 is allowed without saying what it does.",
            'Say it: zero_means = "no limit".',
        )


def _grids(where: str, line: SettingLine) -> Faults:
    if not line.grids:
        yield _wrong(f"{where}.grids", "It states no values it can hold.", "Give unit, lowest, highest and increment.")
    units = [g.unit for g in line.grids]
    if len(units) > 1 and (len(set(units)) < len(units) or not set(units) <= set(SCALES)):
        yield _wrong(
            f"{where}.grids", "More than one range is stated.", "Only a temperature has two: one in °C, one in °F."
        )
    for place, grid in enumerate(line.grids):
        yield from _grid(f"{where}.grids[{place}]", line, grid)


def _change(where: str, line: SettingLine) -> Faults:
    say, way = line.change.say, line.change.way
    if not say.strip():
        yield _wrong(
            f"{where}.change.say", "It does not say how the setting is changed.", "Write it for the work card."
        )
    for field in dict.fromkeys(fields_of(say)):
        if field not in FIELDS:
            yield _wrong(
                f"{where}.change.say", f"{{{field}}} is not known.", allowed=", ".join(f"{{{f}}}" for f in FIELDS)
            )
        elif field in ("steps", "direction") and way not in STEPPED:
            yield _wrong(
                f"{where}.change.say", f"{{{field}}} has no meaning for the way “{way}”.", allowed=", ".join(STEPPED)
            )
    if "{" in re.sub(r"\{[^{}]*\}", "", say) or "}" in re.sub(r"\{[^{}]*\}", "", say):
        yield _wrong(f"{where}.change.say", "A brace is not closed.", "Write {value}, {steps} ... with both braces.")
    if way in STEPPED and line.change.goes != "both" and not line.change.wraps:
        yield _wrong(
            f"{where}.change",
            f"It goes {line.change.goes} only and never comes back.",
            'Set wraps = true, or goes = "both".',
        )


def _words(where: str, line: SettingLine) -> Faults:
    known = WORDS.get(line.purpose, ())
    for word in line.choices if known else ():
        if word.casefold() not in known:
            yield _wrong(
                f"{where}.choices", f"“{word}” is not understood for a {line.purpose}.", allowed=", ".join(known)
            )
    if len({w.casefold() for w in line.choices}) < len(line.choices):
        yield _wrong(f"{where}.choices", "A word stands there twice.", "Give each choice a word of its own.")
    if any(g.unit == "choice" for g in line.grids) and not line.choices:
        yield _wrong(
            f"{where}.choices", "It is set by a word and names none.", "List its words, the first is number 0."
        )


def _belongs(where: str, sheet: ControlSheet, line: SettingLine) -> Faults:
    inputs = [i.key for i in sheet.inputs]
    if line.input and line.input not in inputs:
        yield _wrong(f"{where}.input", f"There is no input “{line.input}”.", allowed=", ".join(inputs))
    if line.input and line.purpose not in OF_INPUT:
        yield _wrong(f"{where}.input", f"A {line.purpose} is not of one input.", "Leave input out.")
    if line.purpose in WAYS_OF_HEAT and line.heat < 1:
        yield _wrong(f"{where}.heat", f"A {line.purpose} is of one heat.", "Give heat = 1 or up.")
    if line.purpose == "time per value" and line.per_minor < 1:
        yield _wrong(
            f"{where}.per_minor", "It is not said how much money this time is for.", "Give per_minor in minor units."
        )
    if line.purpose == "price by hour" and not (0 <= line.from_hour <= 23 and 1 <= line.until_hour <= 24):
        yield _wrong(where, "Its hours are not hours of a day.", allowed="from_hour 0 to 23, until_hour 1 to 24")


# -- a whole sheet ----------------------------------------------------------------------------------------------------


def _twice(sheet: ControlSheet) -> Faults:
    seen: dict[tuple[object, ...], str] = {}
    for line in sheet.settings:
        what = (line.purpose, line.input, line.heat, line.from_hour, line.until_hour)
        if what in seen:
            yield _wrong(
                f"settings “{line.key}”", f"“{seen[what]}” has the same purpose, input and heat.",
                "Give one of them another purpose, or leave it out.",
            )  # fmt: skip
        seen.setdefault(what, line.key)
    heats = sorted({line.heat for line in sheet.settings if line.purpose == "temperature"})
    if heats != list(range(1, len(heats) + 1)):
        yield _wrong(
            "settings", f"Its heats are numbered {', '.join(map(str, heats))}.", "Number them from 1 without a gap."
        )


def _sale(sheet: ControlSheet) -> Faults:
    """Settings that the sale rule calls for, and settings that it never looks at."""
    sale = sheet.sale
    have: dict[str, list[SettingLine]] = {}
    for line in sheet.settings:
        have.setdefault(line.purpose, []).append(line)
    needs: list[tuple[bool, tuple[Purpose, ...], str]] = [
        (sale.start == "first time", ("first time",), "start = \"first time\""),
        (sale.credit == "per value", ("time per value",), "credit = \"per value\""),
        (sale.credit == "per piece" and sale.start == "sum", ("time per piece", "time by heat"), "start = \"sum\""),
        (sale.below_start == "dropped", ("held-money timeout",), "below_start = \"dropped\""),
        (sale.free == "switch", ("free drying",), "free = \"switch\""),
        (sale.free == "no start price", ("start price", "start pieces"), "free = \"no start price\""),
        (sale.free == "hours", ("free from hour",), "free = \"hours\""),
        (sale.free == "hours", ("free until hour",), "free = \"hours\""),
        (sale.free in ("switch", "hours"), ("free time", "first time"), f"free = \"{sale.free}\""),
    ]  # fmt: skip
    for is_needed, purposes, word in needs:
        if is_needed and not any(p in have for p in purposes):
            yield _wrong(
                "sale", f"{word} needs a setting for {' or '.join(purposes)}.", "Add it, or mend the sale rule."
            )
    idle: list[tuple[bool, Purpose, str]] = [
        (sale.below_start == "held", "held-money timeout", 'below_start = "dropped"'),
        (sale.free != "switch", "free drying", 'free = "switch"'),
        (sale.free != "hours", "free from hour", 'free = "hours"'),
        (sale.credit != "per value", "time per value", 'credit = "per value"'),
        (sale.credit != "per piece", "time per piece", 'credit = "per piece"'),
    ]
    for is_idle, purpose, word in idle:
        for line in have.get(purpose, ()) if is_idle else ():
            yield _wrong(
                f"settings “{line.key}”", f"The sale rule never looks at a {purpose}.", f"Say {word}, or leave it out."
            )
    if sale.free == "no start price" and not any(
        holds(g, 0) for p in ("start price", "start pieces") for x in have.get(p, ()) for g in x.grids
    ):
        yield _wrong(
            "sale.free",
            "Free by a start price of nothing, but its start price cannot be nothing.",
            "Let the range begin at 0.",
        )
    if "start price" in have:
        for line in have.get("start pieces", ()):
            if not line.input:
                yield _wrong(
                    f"settings “{line.key}”",
                    "It has a start price and start pieces for every input.",
                    "Keep one of them.",
                )


def _devices(sheet: ControlSheet) -> Faults:
    inputs = {i.key for i in sheet.inputs}
    yield from _keys("inputs", (i.key for i in sheet.inputs))
    yield from _keys("counters and meters", [c.key for c in sheet.counters] + [m.key for m in sheet.meters])
    if not sheet.inputs:
        yield _wrong("inputs", "The control has no input.", "Name its slots and acceptors.")
    for slot in sheet.inputs:
        if not slot.means:
            yield _wrong(f"inputs “{slot.key}”.means", "It takes nothing.", "Say coin, token, card, app or staff key.")
    for counter in sheet.counters:
        for key in [k for k in counter.inputs if k not in inputs] or ([""] if not counter.inputs else []):
            what = f"It counts “{key}”, which is no input." if key else "It counts no input."
            yield _wrong(f"counters “{counter.key}”.inputs", what, allowed=", ".join(sorted(inputs)))
    for kind, key, turns in [("counters", c.key, c.rolls_over_at) for c in sheet.counters] + [
        ("meters", m.key, m.rolls_over_at) for m in sheet.meters
    ]:
        if not 10 <= turns <= 10**12:
            yield _wrong(
                f"{kind} “{key}”.rolls_over_at", f"It is {turns}.", "Give the number after the highest it can show."
            )


def check_sheet(sheet: ControlSheet) -> tuple[InputError, ...]:
    """Everything wrong with one control sheet; empty where it can be used."""
    return tuple(_sheet_faults(sheet))


def _sheet_faults(sheet: ControlSheet) -> Faults:
    yield from _keys("sheet", [sheet.key])
    yield from _keys("settings", (line.key for line in sheet.settings))
    if not sheet.revision.strip():
        yield _wrong("revision", "The sheet has no revision.", "Number it, so that a read-back can name it.")
    for place, line in enumerate(sheet.settings):
        where = f"settings[{place}] “{line.key}”"
        yield from _grids(where, line)
        yield from _change(where, line)
        yield from _words(where, line)
        yield from _belongs(where, sheet, line)
    yield from _twice(sheet)
    yield from _sale(sheet)
    yield from _devices(sheet)


# -- a store file -----------------------------------------------------------------------------------------------------


def check_store(store: Store, sheets: Mapping[str, ControlSheet] | Iterable[ControlSheet]) -> tuple[InputError, ...]:
    """Everything wrong with a store file under these sheets, the faults of its sheets included."""
    known = as_sheets(sheets)
    used = {m.sheet for m in store.machines}
    faults = [
        InputError(e.what, where=f"sheet {key}: {e.where}", mend=e.mend, allowed=e.allowed)
        for key in sorted(used & set(known))
        for e in check_sheet(known[key])
    ]
    try:
        laid = layout(store, known)
    except InputErrors as wrong:
        faults += wrong.errors
    else:
        faults += _pieces(store, laid.inputs.values())
    return (*faults, *_heats(store, known), *_hours(store), *_money(store), *_things(store), *_trade(store))


def _pieces(store: Store, inputs: Iterable[Input]) -> Faults:
    for i in inputs:
        if i.means == "staff key":
            continue
        if i.piece_minor == 0:
            yield _wrong(
                f"inputs “{i.key}”",
                "It is not said what its piece is worth.",
                "Give piece_minor for it, or for its * line.",
            )
        if i.means == "coin" and i.piece_minor and i.piece_minor not in store.coins:
            coins = ", ".join(map(str, store.coins))
            yield _wrong(
                f"inputs “{i.key}”",
                f"It takes a coin of {i.piece_minor}, which the store does not accept.",
                allowed=coins,
            )


def _heats(store: Store, sheets: Mapping[str, ControlSheet]) -> Faults:
    numbers = [h.number for h in store.heats]
    if numbers != list(range(1, len(numbers) + 1)):
        yield _wrong(
            "heats", f"Heats are numbered {', '.join(map(str, numbers))}.", "Number them 1, 2, 3 ... in that order."
        )
    if len({h.name.casefold() for h in store.heats}) < len(store.heats):
        yield _wrong("heats", "Two heats have one name.", "Give each heat a name of its own.")
    has = {
        x.heat
        for m in store.machines
        if m.sheet in sheets
        for x in sheets[m.sheet].settings
        if x.purpose == "temperature"
    }
    for number in sorted(has - set(numbers)):
        yield _wrong(
            "heats", f"A control of this store has a heat {number}, and the store has no name for it.", "Add it."
        )
    for number in sorted(set(numbers) - has) if has else ():
        yield _wrong("heats", f"No control of this store has a heat {number}.", "Leave it out.")


def _clock(text: str) -> bool:
    return bool(re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d|24:00", text))


def _hours(store: Store) -> Faults:
    for place, span in enumerate(store.hours):
        yield from _opening(f"hours[{place}]", span)


def _opening(where: str, span: Opening) -> Faults:
    for name, text in (("open", span.open), ("close", span.close)):
        if not _clock(text):
            yield _wrong(f"{where}.{name}", f"“{text}” is not a time of day.", "Write it like 06:00.")
    if not span.days:
        yield _wrong(f"{where}.days", "No day is named.", allowed="mon, tue, wed, thu, fri, sat, sun")


def _money(store: Store) -> Faults:
    if store.currency not in MINOR_DIGITS:
        yield _wrong(
            "currency", f"“{store.currency}” is not a currency Drybank knows.", allowed=", ".join(sorted(MINOR_DIGITS))
        )
    for place, coin in enumerate(store.coins):
        if coin < 1 or store.coins.count(coin) > 1:
            yield _wrong(
                f"coins[{place}]", f"A coin of {coin} stands there twice, or is worth nothing.", "List each coin once."
            )
    for place, said in enumerate(store.inputs):
        if said.takings == "statement" and not said.account:
            yield _wrong(f"inputs[{place}].account", "It is not said which statement it comes on.", "Name the account.")
    for place, tariff in enumerate(store.tariffs):
        yield from tariff.check(f"tariffs[{place}]")
    for name, table in (("natural_gas", store.natural_gas), ("propane", store.propane), ("room_air", store.room_air)):
        yield from table.check(name) if table is not None else ()


def _things(store: Store) -> Faults:
    if not -430 <= store.altitude_m <= 5200:
        yield _wrong("altitude_m", f"The store lies at {store.altitude_m:g} m.", allowed="-430 to 5200 m")
    for place, pocket in enumerate(store.pockets):
        if not 1 <= pocket.fill_kg <= 200:
            yield _wrong(
                f"pockets[{place}].fill_kg", f"A drum for {pocket.fill_kg:g} kg.", allowed="1 to 200 kg of dry goods"
            )
        plate = pocket.plate
        for name in ("input_w", "airflow_m3_s", "motor_w", "duct_pressure_limit_pa", "exhaust_limit_c", "voltage_v"):
            value = getattr(plate, name)
            if value is not None and not 0 < value < 1e7:
                yield _wrong(
                    f"pockets[{place}].plate.{name}", f"It is {value:g}.", "Give what the plate says, or leave it out."
                )
    for bank in store.banks:
        if not any(m.bank == bank.key for m in store.machines):
            yield _wrong(
                f"banks “{bank.key}”", "No machine stands in this bank.", "Leave it out, or name it under a machine."
            )
    for place, washer in enumerate(store.washers):
        left = washer.moisture_left_frac
        if washer.number < 1 or washer.load_kg <= 0 or washer.wash_s <= 0 or (left is not None and not 0 <= left <= 3):
            yield _wrong(
                f"washers[{place}]", "Number, load, time or water left cannot be.", "Mend the one that is off."
            )


def _trade(store: Store) -> Faults:
    trade = store.trade
    if len(trade.need_share) not in (0, len(trade.need_minutes)):
        yield _wrong(
            "trade.need_share",
            f"{len(trade.need_share)} shares for {len(trade.need_minutes)} needs.",
            "Give one for each.",
        )
    for name, shares in (("need_share", trade.need_share), ("heat_share", trade.heat_share)):
        if shares and (min(shares) < 0 or abs(sum(shares) - 1) > 1e-6):
            yield _wrong(f"trade.{name}", f"The shares add to {sum(shares):g}.", "Let them be 0 or more and add to 1.")
    if len(trade.heat_share) not in (0, len(store.heats)):
        yield _wrong(
            "trade.heat_share",
            f"{len(trade.heat_share)} shares for {len(store.heats)} heats.",
            "Give one for each heat.",
        )
    if any(not 0 < need <= 600 for need in trade.need_minutes):
        yield _wrong(
            "trade.need_minutes", "A drying need is none, or more than ten hours.", allowed="above 0, up to 600 min"
        )
