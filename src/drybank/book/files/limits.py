"""What a field may hold beyond its type: ranges in the field's own unit, patterns, and words for mistakes.

The reference pages are written from these tables too, so that what is refused and what is documented cannot drift apart.
Ranges are wide on purpose: they catch a slipped point or a wrong unit, not an unusual store (our judgement, no source).
"""

from __future__ import annotations

import re
from datetime import date
from zoneinfo import ZoneInfo

from drybank.records.errors import InputError
from drybank.records.money import MINOR_DIGITS

Place = tuple[str, str]

RANGES: dict[Place, tuple[float, float, str]] = {
    ("Store", "altitude_m"): (-430, 5200, "m"),
    ("Store", "coins"): (1, 100_000, "minor units"),
    ("Heat", "number"): (1, 20, ""),
    ("Washer", "number"): (1, 500, ""),
    ("Washer", "load_kg"): (1, 150, "kg"),
    ("Washer", "wash_s"): (300, 14_400, "s"),
    ("Washer", "moisture_left_frac"): (0.2, 1.5, "of the dry mass"),
    ("Washer", "price_minor"): (0, 1_000_000, "minor units"),
    ("Plate", "input_w"): (500, 300_000, "W"),
    ("Plate", "airflow_m3_s"): (0.01, 5, "m3/s"),
    ("Plate", "motor_w"): (50, 20_000, "W"),
    ("Plate", "duct_pressure_limit_pa"): (1, 2500, "Pa"),
    ("Plate", "exhaust_limit_c"): (30, 150, "°C"),
    ("Plate", "voltage_v"): (90, 700, "V"),
    ("Pocket", "fill_kg"): (1, 200, "kg"),
    ("Machine", "place"): (0, 10_000, ""),
    ("Bank", "normal_load_kg"): (0.5, 100, "kg"),
    ("Box", "capacity_pieces"): (1, 1_000_000, "pieces"),
    ("InputSaid", "piece_minor"): (0, 1_000_000, "minor units"),
    ("CounterSaid", "rolls_over_at"): (10, 10**12, ""),
    ("Costs", "wear_minor_per_hour"): (0, 1_000_000, "minor units"),
    ("Costs", "visit_minor"): (0, 10_000_000, "minor units"),
    ("Costs", "visit_minor_low"): (0, 10_000_000, "minor units"),
    ("Costs", "visit_minor_high"): (0, 10_000_000, "minor units"),
    ("Share", "guaranteed_minor"): (0, 10**10, "minor units"),
    ("ShareTier", "above_minor"): (0, 10**10, "minor units"),
    ("Counting", "late_after_days"): (0, 60, "days"),
    ("Trade", "loads_per_week"): (0, 100_000, "loads"),
    ("Trade", "need_minutes"): (1, 240, "minutes"),
    ("Trade", "need_share"): (0, 1, ""),
    ("Trade", "heat_share"): (0, 1, ""),
    ("Trade", "load_kg_mean"): (0.2, 100, "kg"),
    ("Trade", "walk_away_minor_low"): (0, 1_000_000, "minor units"),
    ("Trade", "walk_away_minor_high"): (0, 1_000_000, "minor units"),
    ("Constraints", "normal_load_pieces_at_most"): (1, 200, "pieces"),
    ("Constraints", "wait_p95_s"): (0, 14_400, "s"),
    ("Constraints", "price_step_at_most_pct"): (0, 100, "%"),
    ("Grid", "lowest"): (-1_000_000, 10_000_000, "steps of the unit"),
    ("Grid", "highest"): (-1_000_000, 10_000_000, "steps of the unit"),
    ("Grid", "increment"): (1, 1_000_000, "steps of the unit"),
    ("Grid", "values"): (-1_000_000, 10_000_000, "steps of the unit"),
    ("Grid", "factory"): (-1_000_000, 10_000_000, "steps of the unit"),
    ("SettingLine", "heat"): (0, 20, ""),
    ("SettingLine", "per_minor"): (0, 1_000_000, "minor units"),
    ("SettingLine", "from_hour"): (0, 23, "hours"),
    ("SettingLine", "until_hour"): (1, 24, "hours"),
    ("SheetCounter", "rolls_over_at"): (10, 10**12, ""),
    ("SheetMeter", "rolls_over_at"): (10, 10**12, ""),
    ("HistoryMapping", "header"): (0, 100_000, ""),
    ("HouseValue", "value"): (-1_000_000, 10_000_000, "base units"),
    ("HouseValue", "piece_minor"): (0, 1_000_000, "minor units"),
    ("HouseValue", "heat"): (0, 20, ""),
    ("HouseValue", "from_hour"): (0, 23, "hours"),
    ("HouseValue", "until_hour"): (1, 24, "hours"),
}  # fmt: skip

KEY = re.compile(r"(?! )[^\x00-\x1f\x7f.*{}\[\]\"]{1,40}(?<! )")
_KEYS = "1 to 40 characters without . * { } [ ] or quotation marks, no space at either end"
_INPUT = re.compile(r"(?:\*|[^.*{}\[\]\"]{1,40})\.[^.*{}\[\]\"]{1,40}")
_INPUT_WORDS = "“<control>.<sheet's input>”, or “*.<sheet's input>” for every control"
_DEVICE = re.compile(r"[^.*{}\[\]\"]{1,40}\.[^.*{}\[\]\"]{1,40}")
_CLOCK = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d|24:00")
_PERCENT = re.compile(r"\d{1,3}(?:\.\d{1,10})?")

PATTERNS: dict[Place, tuple[re.Pattern[str], str]] = {
    **{(r, "key"): (KEY, _KEYS) for r in ("Store", "Washer", "Pocket", "Machine", "Bank", "Box", "ControlSheet",
                                          "SettingLine", "SheetInput", "SheetCounter", "SheetMeter")},
    ("Machine", "pockets"): (KEY, _KEYS), ("Machine", "bank"): (KEY, _KEYS), ("Machine", "sheet"): (KEY, _KEYS),
    ("SheetCounter", "inputs"): (KEY, _KEYS),
    ("CounterSaid", "key"): (_DEVICE, "“<control>.<sheet's counter>” or “<pocket>.<sheet's meter>”"),
    ("InputSaid", "input"): (_INPUT, _INPUT_WORDS),
    ("Box", "inputs"): (_INPUT, _INPUT_WORDS),
    ("Opening", "open"): (_CLOCK, "hours and minutes as “06:00”"),
    ("HistoryMapping", "time"): (_CLOCK, "hours and minutes as “20:00”"),
    ("Opening", "close"): (_CLOCK, "hours and minutes as “22:30”"),
    ("Store", "country"): (re.compile(r"[A-Z]{2}"), "two capital letters of ISO 3166, such as “CA”"),
    ("Store", "languages"): (re.compile(r"[a-z]{2,3}(?:-[A-Z]{2})?"), "language codes such as “en” or “fr-CA”"),
    ("Store", "name"): (re.compile(r"[^\x00-\x1f\x7f]{1,200}"), "1 to 200 characters on one line"),
    ("Share", "percent"): (_PERCENT, "0 to 100, such as “40” or “12.5”"),
    ("ShareTier", "percent"): (_PERCENT, "0 to 100, such as “40” or “12.5”"),
    ("SalesTax", "percent"): (_PERCENT, "0 to 100, such as “13”"),
}  # fmt: skip

# Where a field's name would mislead: coins are money; a sheet knows no currency; exact figures are written as they stand.
UNIT_OF: dict[Place, str] = {
    ("Store", "coins"): "minor", ("SettingLine", "per_minor"): "", ("Ratchet", "share_frac"): "",
    ("DemandCharge", "apparent_share_frac"): "", ("NaturalGas", "base_temp_c"): "", ("NaturalGas", "meter_temp_c"): "",
    ("Propane", "density_kg_l"): "",
}  # fmt: skip
NUMBERED: dict[Place, str] = {("Store", "machines"): "place"}
RANGES_OF_KEYS: frozenset[Place] = frozenset({("Machine", "pockets")})
MAY_BE_NUMBERS: frozenset[Place] = frozenset(
    {(r, "key") for r in ("Washer", "Pocket", "Machine", "Bank", "Box")}
    | {("Machine", "pockets"), ("Machine", "bank"), ("Box", "number"), ("Share", "percent"), ("ShareTier", "percent"), ("SalesTax", "percent"),
       ("ControlSheet", "revision")}
)  # fmt: skip

EXAMPLES: dict[Place, str] = {
    ("Store", "time_zone"): 'time_zone = "America/Toronto"', ("Store", "currency"): 'currency = "CAD"',
    ("Store", "country"): 'country = "CA"', ("Store", "coins"): 'coins = ["0.25", "1.00"]',
    ("Store", "key"): 'key = "hill"', ("Store", "name"): 'name = "Hill Street Wash"',
    ("Pocket", "fill_kg"): 'fill = "9 kg"', ("Machine", "pockets"): 'pockets = "1-2"',
    ("Machine", "sheet"): 'sheet = "the control sheet\'s key"', ("Washer", "load_kg"): 'load = "8 kg"',
    ("Washer", "wash_s"): 'wash = "30 min"', ("Opening", "days"): 'days = "mon-fri"',
    ("Opening", "open"): 'open = "06:00"', ("Opening", "close"): 'close = "22:00"',
    ("ControlSheet", "sale"): "a [sale] table with start = \"first time\" or \"sum\"",
    ("Grid", "unit"): 'unit = "0.1 min"',
}  # fmt: skip

NOUNS: dict[str, str] = {
    "SettingLine": "a setting", "InputSaid": "an input", "CounterSaid": "a counter", "SalesTax": "a tax",
    "SheetInput": "an input", "SheetCounter": "a counter", "SheetMeter": "a meter", "ControlSheet": "a control sheet",
    "SaleRule": "the sale rule", "HouseValue": "a house value", "Opening": "hours", "Units": "the units",
    "Costs": "the costs", "Trade": "the trade", "Constraints": "the constraints", "Responsible": "who gives money back",
    "DayPart": "a day part", "EnergyCharge": "an energy charge", "DemandCharge": "a demand charge",
    "FixedCharge": "a fixed charge", "Adjustment": "an adjustment",
}  # fmt: skip


def noun(record: str) -> str:
    """A record's name as a sentence says it."""
    return NOUNS.get(record, f"a {record.lower()}")


def span(low: float, high: float, unit: str) -> str:
    """A range in words: 0 to 1,000,000 minor units."""
    low, high = (int(x) if x == int(x) else x for x in (low, high))
    return f"{low:,} to {high:,} {unit}".rstrip()


def check(record: str, field: str, value: object) -> None:
    """Raise an `InputError` where a value of the right type lies out of its range or pattern."""
    place = (record, field)
    if place in RANGES and isinstance(value, int | float):
        low, high, unit = RANGES[place]
        if not low <= value <= high:
            raise InputError("it is out of range.", allowed=span(low, high, unit))
    if isinstance(value, str):
        _check_text(place, value)


def _check_text(place: Place, value: str) -> None:
    if place in PATTERNS and not PATTERNS[place][0].fullmatch(value):
        raise InputError("it cannot stand here.", allowed=PATTERNS[place][1])
    if len(value) > 4000:
        raise InputError("the text is too long.", allowed="up to 4,000 characters")
    if place in WHOLE_CHECKS:
        WHOLE_CHECKS[place](value)


def _zone(value: str) -> None:
    try:
        ZoneInfo(value)
    except (ValueError, OSError, KeyError):
        raise InputError("it is no time zone.", mend='Write one like "America/Toronto" or "Europe/Lisbon".') from None


def _currency(value: str) -> None:
    if value not in MINOR_DIGITS:
        raise InputError("it is not a currency Drybank knows.", allowed=", ".join(sorted(MINOR_DIGITS)))


def _percent(value: str) -> None:
    if float(value) > 100:
        raise InputError("it is out of range.", allowed="0 to 100")


def day_text(value: str) -> None:
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
            raise ValueError
        date.fromisoformat(value)
    except ValueError:
        raise InputError("it is no day of the calendar.", mend="Write year-month-day: 2025-03-01.") from None


WHOLE_CHECKS = {
    ("Store", "time_zone"): _zone, ("Store", "currency"): _currency, ("Tariff", "currency"): _currency,
    ("Share", "percent"): _percent, ("ShareTier", "percent"): _percent, ("SalesTax", "percent"): _percent, ("SalesTax", "valid_from"): day_text,
    ("BankHouse", "from_date"): day_text,
}  # fmt: skip
