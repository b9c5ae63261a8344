"""From a person's words to what is asked of a load: units, times, prices."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from decimal import Decimal, InvalidOperation
from typing import Final

from drybank.desk.drying import check_kind
from drybank.desk.drying_changes import Ask
from drybank.desk.quantity import FLOW, LENGTH, MASS_G, POWER, degrees_c, fraction, quantity
from drybank.desk.wording import seconds_from
from drybank.records.drying import FIRES
from drybank.records.errors import InputError, OutOfRange
from drybank.records.money import MINOR_DIGITS
from drybank.records.store import Fire, Fuel, Units
from drybank.records.units import KWH_J, THERM_J

PER: Final = {"kwh": 1.0, "therm": THERM_J / KWH_J, "mj": 1e6 / KWH_J, "gj": 1e9 / KWH_J, "mmbtu": 10 * THERM_J / KWH_J}
FUELS: Final[tuple[Fuel, ...]] = ("natural gas", "propane", "electric")
_PRICE: Final = re.compile(r"^\s*(?P<money>\d+(?:\.\d+)?)\s*/\s*(?P<unit>[A-Za-z]+)\s*$")


@contextmanager
def as_said() -> Iterator[None]:
    """A figure beyond the model's range is something the person gave: told as that, with its range."""
    try:
        yield
    except OutOfRange as far:
        raise InputError(far.sentence()) from far


def ask_from(words: Mapping[str, str]) -> Ask:
    """What was asked, from option names and their text; an empty text is nothing said."""

    def given(name: str) -> str:
        return words.get(name, "").strip()

    at, currency = given("--at"), given("--currency").upper()
    if currency and currency not in MINOR_DIGITS:
        raise InputError(
            f"“{currency}” is not a currency Drybank knows.", where="--currency", allowed=", ".join(MINOR_DIGITS)
        )
    digits = MINOR_DIGITS[currency or "USD"]
    return Ask(
        mass_kg=_maybe(given("--load"), lambda t: quantity(t, MASS_G, where="--load", usual="18 lb") / 1000.0),
        residual_frac=_maybe(given("--left"), lambda t: fraction(t, where="--left")),
        kind=check_kind(given("--kind") or "mixed"),
        heat=int(given("--heat") or "0"),
        is_unheated=at.lower() == "none",
        temp_exhaust_c=None if at.lower() == "none" else _maybe(at, lambda t: degrees_c(t, where="--at")),
        sold_s=_maybe(given("--sold"), lambda t: float(seconds_from(t))),
        cool_down_s=_maybe(given("--cool-down"), lambda t: float(seconds_from(t))),
        air_c=_maybe(given("--air"), lambda t: degrees_c(t, where="--air")),
        humidity_frac=_maybe(given("--humidity"), lambda t: fraction(t, where="--humidity")),
        altitude_m=_maybe(given("--altitude"), lambda t: quantity(t, LENGTH, where="--altitude", usual="5000 ft")),
        fuel=_fuel(given("--fuel")),
        fire=_fire(given("--fire")),
        heat_input_w=_maybe(given("--input"), lambda t: quantity(t, POWER, where="--input", usual="75 kBtu/h")),
        flow_m3_s=_maybe(given("--airflow"), lambda t: quantity(t, FLOW, where="--airflow", usual="450 cfm")),
        gas_minor_kwh=_maybe(given("--gas-price"), lambda t: _minor_kwh(t, digits, "--gas-price")),
        power_minor_kwh=_maybe(given("--power-price"), lambda t: _minor_kwh(t, digits, "--power-price")),
        currency=currency or ("USD" if given("--gas-price") or given("--power-price") else ""),
    )


def _maybe(text: str, read):  # type: ignore[no-untyped-def]
    return read(text) if text else None


def _fuel(text: str) -> Fuel | None:
    for fuel in FUELS:
        if text == fuel:
            return fuel
    if text:
        raise InputError(f"“{text}” is not a fuel Drybank knows.", where="--fuel", allowed=", ".join(FUELS))
    return None


def _fire(text: str) -> Fire | None:
    for fire in FIRES:
        if text == fire:
            return fire
    if text:
        raise InputError(f"“{text}” is not a way of firing Drybank knows.", where="--fire", allowed=", ".join(FIRES))
    return None


def _minor_kwh(text: str, digits: int, where: str) -> float:
    """Minor units per kWh from 1.12/therm."""
    found = _PRICE.match(text)
    unit = found["unit"].lower() if found else ""
    if found is None or unit not in PER:
        raise InputError(
            f"“{text}” is not a price.",
            where=where,
            mend="Write it like 1.12/therm or 0.14/kWh.",
            allowed="per " + ", ".join(PER),
        )
    try:
        money = Decimal(found["money"])
    except InvalidOperation:
        raise InputError(f"“{text}” is not a price.", where=where) from None
    return float(money.scaleb(digits)) / PER[unit]


def units_said(words: Mapping[str, str]) -> Units:
    """The person's units by how the load and the heat were written."""
    is_pounds = "lb" in words.get("--load", "").lower()
    at = words.get("--at", "").strip().lower()
    is_f = at.endswith("f") or (is_pounds and not at.endswith("c"))
    return Units(temperature="F" if is_f else "C", mass="lb" if is_pounds else "kg", gas="therm" if is_f else "kWh")


def form_of(path: str) -> str:
    """The form of a chart by its file's ending; empty for no chart."""
    if not path:
        return ""
    form = path.rsplit(".", 1)[-1].lower() if "." in path else ""
    if form not in ("svg", "png"):
        raise InputError(f"“{path}” ends neither in .svg nor in .png.", where="--chart", mend="Name it like load.svg.")
    return form
