"""A store, its basics and a tariff from what is typed into forms; the file that comes of it goes the way of any other."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any, Final, TypeVar

from msgspec.structs import replace

from drybank.desk.quantity import MASS_G, POWER, quantity
from drybank.desk.wording import seconds_from
from drybank.records.energy import EnergyCharge, FixedCharge, Tariff, Tax, Tier
from drybank.records.errors import InputError, InputErrors
from drybank.records.money import MINOR_DIGITS, parse_money
from drybank.records.sheet import ControlSheet
from drybank.records.store import Bank, Day, Heat, InputSaid, Machine, Opening, Plate, Pocket, Store, Units, Washer
from drybank.records.units import POUND_KG, minutes

DAYS: Final[tuple[Day, ...]] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Typed = Mapping[str, str]
T = TypeVar("T")
MOST_POCKETS: Final = 2000
NONE: Final[tuple[Any, ...]] = ()
_SPAN: Final = re.compile(r"^\s*(\d{1,2}:\d\d)\s*(?:-|–|to|a)\s*(\d{1,2}:\d\d)\s*$")
_WASHER: Final = re.compile(r"^\s*(?P<key>[^:]{1,60}):\s*(?P<number>\d{1,3})\s*[x×]\s*(?P<load>[^,;]+?)\s*[,;]\s*(?P<wash>.+?)\s*$")  # fmt: skip


class _Reader:
    """Takes each answer in its turn and keeps every mistake, by the name of its question."""

    def __init__(self, typed: Typed) -> None:
        self.typed, self.wrong = typed, list[InputError]()

    def text(self, name: str) -> str:
        said = self.typed.get(name, "").strip()
        if not said:
            self.wrong.append(InputError("this is needed.", where=name))
        return said

    def take(self, name: str, read: Callable[[str], T], other: T, *, needed: bool = True) -> T:
        """The answer read; ``other`` where nothing is typed, or what cannot be read (and the form is then refused)."""
        said = self.text(name) if needed else self.typed.get(name, "").strip()
        if not said:
            return other
        try:
            return read(said)
        except InputError as bad:
            self.wrong.append(InputError(bad.what, where=name, allowed=bad.allowed, mend=bad.mend))
            return other

    def done(self) -> None:
        if self.wrong:
            raise InputErrors(self.wrong)


# -- store basics


def basics_of(store: Store) -> dict[str, str]:
    """What the form of the basics shows of a store as it stands."""
    unit = store.units.mass
    out = {
        "name": store.name, "time_zone": store.time_zone, "temperature": store.units.temperature, "gas": store.units.gas, "mass": unit,
        "washers": "\n".join(_washer_said(w, unit) for w in store.washers),
    }  # fmt: skip
    return out | {f"open_{day}": ", ".join(f"{a}-{b}" for a, b in _spans_on(store.hours, day)) for day in DAYS}


def with_basics(store: Store, typed: Typed) -> Store:
    """The store with its name, time zone, units, opening hours and washers as typed; all else stays.

    Raises `InputErrors` with every answer that cannot be read.
    """
    read = _Reader(typed)
    new = replace(store, **_basics(read, store.hours, store.washers))
    read.done()
    return new


def _basics(read: _Reader, hours: tuple[Opening, ...], washers: tuple[Washer, ...]) -> dict[str, Any]:
    units = Units(temperature=read.text("temperature"), gas=read.text("gas"), mass=read.text("mass"))  # type: ignore[arg-type]
    return {
        "name": read.text("name"), "time_zone": read.text("time_zone"), "units": units, "hours": _hours(read, hours),
        "washers": read.take("washers", lambda text: _washers(text, washers, units.mass), NONE, needed=False),
    }  # fmt: skip


def _spans_on(hours: tuple[Opening, ...], day: Day) -> tuple[tuple[str, str], ...]:
    return tuple((o.open, o.close) for o in hours if day in o.days)


def _hours(read: _Reader, old: tuple[Opening, ...]) -> tuple[Opening, ...]:
    """Days of one and the same hours together; hours that stay keep who attends them."""
    days = {day: read.take(f"open_{day}", _spans, NONE, needed=False) for day in DAYS}
    if all(days[day] == _spans_on(old, day) for day in DAYS):
        return old
    attended = {(day, o.open, o.close) for o in old if o.attended for day in o.days}
    groups: dict[tuple[str, str, bool], list[Day]] = {}
    for day, spans in days.items():
        for opens, closes in spans:
            groups.setdefault((opens, closes, (day, opens, closes) in attended), []).append(day)
    return tuple(Opening(days=tuple(d), open=o, close=c, attended=a) for (o, c, a), d in groups.items())


def _spans(text: str) -> tuple[tuple[str, str], ...]:
    out = []
    for part in text.split(","):
        found = _SPAN.match(part)
        if found is None:
            raise InputError(f"“{part.strip()}” is not a span of hours.", mend="Write it like 06:00-22:00.")
        out.append((found[1].zfill(5), found[2].zfill(5)))
    return tuple(out)


def _washer_said(washer: Washer, unit: str) -> str:
    load = washer.load_kg / POUND_KG if unit == "lb" else washer.load_kg
    return f"{washer.key}: {washer.number} x {load:.4g} {unit}, {minutes(washer.wash_s)}"


def _washers(text: str, old: tuple[Washer, ...], unit: str) -> tuple[Washer, ...]:
    """One kind a line; what the form does not ask of a known kind stays, and what stands as it was is left alone."""
    known = {w.key: w for w in old}
    out = []
    for line in filter(str.strip, text.splitlines()):
        found = _WASHER.match(line)
        if found is None:
            raise InputError(
                f"“{line.strip()}” is not a kind of washer.", mend=f"Write it like small: 12 x 8 {unit}, 28 min."
            )
        was = known.get(found["key"].strip())
        if was is not None and any(line.split() == _washer_said(was, u).split() for u in ("kg", "lb")):
            out.append(was)
            continue
        load = quantity(found["load"], MASS_G, where="", usual=f"8 {unit}") / 1000
        said = {"number": int(found["number"]), "load_kg": load, "wash_s": seconds_from(found["wash"])}
        out.append(replace(was, **said) if was is not None else Washer(key=found["key"].strip(), **said))  # type: ignore[arg-type]
    return tuple(out)


# -- a new store


def new_store(typed: Typed, sheets: Mapping[str, ControlSheet]) -> Store:
    """A store with one bank of like machines, as typed. Raises `InputErrors` with every answer that cannot be read."""
    read = _Reader(typed)
    basics = _basics(read, (), ())
    currency = read.text("currency")
    if currency and currency not in MINOR_DIGITS:
        read.wrong.append(
            InputError(
                f"“{currency}” is not a currency Drybank knows.",
                where="currency",
                allowed=", ".join(sorted(MINOR_DIGITS)),
            )
        )
    sheet = sheets.get(read.text("sheet"))
    if sheet is None and typed.get("sheet"):
        read.wrong.append(InputError("there is no such control sheet here.", where="sheet", allowed=", ".join(sheets)))
    machines = read.take("machines", _machines, NONE)
    watts = read.take("input", _watts, None, needed=False)
    plate = Plate(fuel=read.text("fuel"), input_w=watts)  # type: ignore[arg-type]
    fill = read.take("fill", lambda t: quantity(t, MASS_G, where="", usual="14 kg") / 1000, 1.0)
    bank = read.text("bank")
    money = _Coins(currency) if currency in MINOR_DIGITS else None
    coins = read.take("coins", money.coins, NONE) if money else NONE
    slots = read.take("slots", money.slots, NONE, needed=False) if money else NONE
    heats = tuple(filter(None, (part.strip() for part in typed.get("heats", "").split(","))))
    key, country = read.text("key"), read.text("country")
    read.done()
    assert sheet is not None
    return Store(
        key=key, currency=currency, country=country, coins=coins, inputs=slots, banks=(Bank(key=bank, name=bank),),
        heats=tuple(Heat(number=n, name=name) for n, name in enumerate(heats, 1)),
        machines=tuple(Machine(key=f"M{n}", bank=bank, sheet=sheet.key, pockets=p, place=n) for n, p in enumerate(machines, 1)),
        pockets=tuple(Pocket(key=one, fill_kg=fill, plate=plate) for pockets in machines for one in pockets), **basics,
    )  # fmt: skip


def _watts(text: str) -> float:
    return quantity(text, POWER, where="", usual="22 kW")


def _machines(text: str) -> tuple[tuple[str, ...], ...]:
    """The pockets of each machine from 1+2 3+4, or 1-12 for machines of one pocket each."""
    out: list[tuple[str, ...]] = []
    for word in text.replace(",", " ").split():
        row = re.fullmatch(r"(\d{1,4})-(\d{1,4})", word)
        if row and int(row[1]) <= int(row[2]) and int(row[2]) - int(row[1]) < 400:
            out += [(str(n),) for n in range(int(row[1]), int(row[2]) + 1)]
        elif all(word.split("+")):
            out.append(tuple(word.split("+")))
        else:
            raise InputError(
                f"“{word}” names no pockets.", mend="Write 1+2 3+4 for machines of two, 1-12 for machines of one."
            )
    if sum(map(len, out)) > MOST_POCKETS:
        raise InputError("these are more pockets than one store has.", allowed=f"up to {MOST_POCKETS}")
    return tuple(out)


class _Coins:
    """Coins and slots in one currency."""

    def __init__(self, currency: str) -> None:
        self.currency = currency

    def _minor(self, text: str) -> int:
        return parse_money(text, self.currency).minor

    def coins(self, text: str) -> tuple[int, ...]:
        return tuple(self._minor(word) for word in text.split())

    def slots(self, text: str) -> tuple[InputSaid, ...]:
        """One slot a line: its name, what a piece is worth, and the statement its takings come on where they do."""
        out = []
        for line in filter(str.strip, text.splitlines()):
            name, sign, rest = line.partition("=")
            worth, _, account = rest.strip().partition(" ")
            if not sign or not name.strip() or not worth:
                raise InputError(
                    f"“{line.strip()}” is not a slot.", mend="Write it like near = 0.25, or pad = 0.25 town card."
                )
            said = {"means": "card", "takings": "statement", "account": account.strip()} if account.strip() else {}
            out.append(InputSaid(input=f"*.{name.strip()}", piece_minor=self._minor(worth), **said))  # type: ignore[arg-type]
        return tuple(out)


# -- a tariff


def with_tariff(store: Store, typed: Typed) -> Store:
    """The store with one more tariff: a price, a fixed charge and a tax, from its first day on.

    An open-ended tariff of the same fuel that began earlier ends the day before; one of the same first day is replaced.
    """
    read = _Reader(typed)
    fuel = read.text("fuel")
    first, last = read.take("first", _day, None), read.take("last", _day, None, needed=False)
    price = read.take("price", _decimal, None)
    fixed = read.take("fixed", _decimal, None, needed=False)
    tax = read.take("tax", _percent, None, needed=False)
    name, unit = read.text("tariff"), read.text("unit")
    read.done()
    assert first is not None
    assert price is not None
    made = Tariff(
        name=name, fuel=fuel, unit=unit, currency=store.currency, valid_from=first, valid_to=last,  # type: ignore[arg-type]
        energy=(EnergyCharge(name="energy", tiers=(Tier(price_per_unit=price),)),),
        fixed=(FixedCharge(name="fixed charge", amount=fixed, per="day" if typed.get("per") == "day" else "bill"),) if fixed else (),
        taxes=(Tax(name="tax", percent=tax, jurisdiction=typed.get("jurisdiction", "")),) if tax else (), source=typed.get("source", ""),
    )  # fmt: skip
    kept = [_ended(t, made) for t in store.tariffs if (t.fuel, t.valid_from) != (made.fuel, made.valid_from)]
    _refuse_overlap(kept, made)
    return replace(store, tariffs=(*kept, made))


def _ended(old: Tariff, new: Tariff) -> Tariff:
    if old.fuel == new.fuel and old.valid_to is None and old.valid_from < new.valid_from:
        return replace(old, valid_to=new.valid_from - timedelta(days=1))
    return old


def _refuse_overlap(tariffs: list[Tariff], new: Tariff) -> None:
    for old in tariffs:
        is_before = old.valid_to is not None and old.valid_to < new.valid_from
        is_after = new.valid_to is not None and new.valid_to < old.valid_from
        if old.fuel == new.fuel and not (is_before or is_after):
            until = f" to {old.valid_to}" if old.valid_to else " on"
            raise InputError(
                f"“{old.name}” holds from {old.valid_from}{until}.", where="first", mend="Give days on which no other tariff of this fuel holds."
            )  # fmt: skip


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"“{text}” is not a day.", mend="Write it like 2026-05-03.") from None


def _decimal(text: str) -> Decimal:
    try:
        value = Decimal(text.replace(" ", "").replace(",", "."))
    except InvalidOperation:
        raise InputError(f"“{text}” is not a number.", mend="Write it like 1.25.") from None
    if not value.is_finite():
        raise InputError(f"“{text}” is not a number.", mend="Write it like 1.25.")
    return value


def _percent(text: str) -> Decimal:
    return _decimal(text.removesuffix("%").strip())
