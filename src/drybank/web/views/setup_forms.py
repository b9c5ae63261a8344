"""Set-up by form: a new store, the basics of one, a tariff. What is typed becomes a file, and that goes the way of any file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from drybank.book.files import kind_of, read_sheet, write_sheet, write_store
from drybank.desk import store_form as desk
from drybank.records.energy import UNITS_OF
from drybank.records.money import MINOR_DIGITS
from drybank.records.sheet import ControlSheet
from drybank.records.store import Store
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.forms import Ask, Form
from drybank.web.guard import Seat
from drybank.web.said import said
from drybank.web.speech import page
from drybank.web.views.setup import Files, entered, files_sent

TEMPLATE = "web/set_up_form.html"
DAYS = {
    "mon": _l("Monday"), "tue": _l("Tuesday"), "wed": _l("Wednesday"), "thu": _l("Thursday"), "fri": _l("Friday"),
    "sat": _l("Saturday"), "sun": _l("Sunday"),
}  # fmt: skip
FUELS = ("natural gas", "propane", "electric")
FILE = "store.toml"


def new_store(request: HttpRequest, seat: Seat) -> HttpResponse:
    """A store with one bank, on control sheets that stand in the book or come along."""
    held = {key: sheet for store in seat.stores() for key, sheet in site.book().sheets_at(store, site.now()).items()}

    def files(typed: dict[str, str]) -> Files:
        sent = {sheet.key: (name, text) for name, text in files_sent(request) for sheet in _sheet(text, name)}
        sheets = held | {sheet.key: sheet for name, text in sent.values() for sheet in _sheet(text, name)}
        chosen = typed | ({"sheet": next(iter(sent))} if sent and not typed.get("sheet") else {})
        made = desk.new_store(chosen, sheets)
        used = {m.sheet for m in made.machines}
        beside = [(f"{key}.toml", write_sheet(sheets[key]).encode()) for key in sorted(used & sheets.keys())]
        return [(FILE, write_store(made).encode()), *beside]

    return _form(request, seat, _new_store_form(held), {}, files)


def _sheet(text: bytes, name: str) -> list[ControlSheet]:
    return [read_sheet(text, name)] if kind_of(text) == "sheet" else []


def basics(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Name, time zone, units, opening hours, washers of a store that stands."""
    store = _store(seat)
    form = Form(key="basics", title="", button=_l("Check and show what changes"), asks=(*_basics_asks(), _from()))
    return _form(request, seat, form, desk.basics_of(store), lambda typed: _file(desk.with_basics(store, typed)))


def tariff(request: HttpRequest, seat: Seat) -> HttpResponse:
    """One fuel's price, fixed charge and tax between two days."""
    store = _store(seat)
    units = tuple(dict.fromkeys(u for fuel in UNITS_OF.values() for u in fuel))
    form = Form(key="tariff", title="", button=_l("Check and show what changes"), asks=(
        Ask(name="fuel", label=_l("Fuel"), kind="choice", options=tuple((f, said(f)) for f in UNITS_OF)),
        Ask(name="tariff", label=_l("Name of the rate"), is_needed=True),
        Ask(name="first", label=_l("First day it holds"), kind="date", is_needed=True, hint=_l("An earlier rate without a last day then ends the day before.")),
        Ask(name="last", label=_l("Last day it holds"), kind="date", hint=_l("Until further notice, if left out.")),
        Ask(name="unit", label=_l("Unit it is sold by"), kind="choice", options=tuple((u, u) for u in units)),
        Ask(name="price", label=_l("Price of one unit"), kind="number", is_needed=True, hint=_l("In whole currency units, such as 0.0625.")),
        Ask(name="fixed", label=_l("Fixed charge"), kind="number", hint=_l("May be left out.")),
        Ask(name="per", label=_l("The fixed charge is for"), kind="choice", options=(("bill", _l("each bill")), ("day", _l("each day")))),
        Ask(name="tax", label=_l("Tax, percent"), kind="number", hint=_l("May be left out.")),
        Ask(name="jurisdiction", label=_l("Whose tax is it?"), hint=_l("May be left out.")),
        Ask(name="source", label=_l("Where was the rate read?"), hint=_l("May be left out.")), _from(),
    ))  # fmt: skip
    return _form(request, seat, form, {}, lambda typed: _file(desk.with_tariff(store, typed)))


def _store(seat: Seat) -> Store:
    return site.book().store_at(seat.store, site.now())


def _file(store: Store) -> Files:
    return [(FILE, write_store(store).encode())]


def _form(
    request: HttpRequest, seat: Seat, form: Form, stands: dict[str, str], files: Callable[[dict[str, str]], Files]
) -> HttpResponse:
    """The form as the book stands; sent, the file that comes of it, shown first and then entered."""
    titles = {"new-store": _("A new store"), "basics": _("The store's basics"), "tariff": _("A tariff")}
    shown: dict[str, Any] = {"title": titles[form.key], "form": ask.filled(form, stands)}
    if request.method != "POST":
        return page(request, TEMPLATE, shown)
    typed = ask.typed_of(request)
    shown |= {"labels": {a.name: a.label for a in form.asks}}
    texts = list(zip(request.POST.getlist("name"), request.POST.getlist("text"), strict=False))
    if request.POST.get("enter") == "1" and texts:
        return entered(request, seat, TEMPLATE, shown, lambda: [(name[:120], text.encode()) for name, text in texts])
    shown["form"] = ask.filled(form, typed)
    return entered(request, seat, TEMPLATE, shown, lambda: files(typed))


def _from() -> Ask:
    return Ask(name="from", label=_l("From which day"), kind="date", hint=_l("Today, if left out."))


def _basics_asks() -> tuple[Ask, ...]:
    degrees, masses = (("C", "°C"), ("F", "°F")), (("kg", "kg"), ("lb", "lb"))
    gases = tuple((u, u) for u in ("m3", "therm", "Ccf", "GJ", "kWh", "gal", "L", "kg"))
    return (
        Ask(name="name", label=_l("Name of the store"), is_needed=True),
        Ask(name="time_zone", label=_l("Time zone"), hint=_l("Such as America/Toronto."), is_needed=True),
        Ask(name="temperature", label=_l("Temperatures in"), kind="choice", options=degrees),
        Ask(name="gas", label=_l("Fuel in"), kind="choice", options=gases),
        Ask(name="mass", label=_l("Weights in"), kind="choice", options=masses),
        Ask(name="hours", label=_l("Opening hours"), kind="head", hint=_l("Such as 06:00-22:00; two spans with a comma; empty on closed days.")),
        *(Ask(name=f"open_{day}", label=label) for day, label in DAYS.items()),
        Ask(name="washers", label=_l("Washers"), kind="long", hint=_l("One kind a line, such as small: 12 x 8 kg, 28 min.")),
    )  # fmt: skip


def _new_store_form(held: dict[str, ControlSheet]) -> Form:
    sheets = tuple((key, f"{s.name}: {', '.join(i.key for i in s.inputs)}") for key, s in sorted(held.items()))
    currencies = tuple((c, c) for c in sorted(MINOR_DIGITS))
    return Form(key="new-store", title="", button=_l("Check and show what changes"), asks=(
        Ask(name="key", label=_l("Short name"), hint=_l("Letters and digits; it stands in addresses and never changes."), is_needed=True),
        Ask(name="currency", label=_l("Currency"), kind="choice", options=currencies, value="USD"),
        Ask(name="country", label=_l("Country"), hint=_l("Two capital letters, such as CA."), is_needed=True),
        *_basics_asks(),
        Ask(name="bank", label=_l("Name of the bank of dryers"), is_needed=True),
        Ask(name="sheet", label=_l("Control sheet"), kind="choice", options=(("", _l("the one sent along")), *sheets), hint=_l("Each with its slots.")),
        Ask(name="files", label=_l("Or send a sheet along"), kind="file", hint=_l("As TOML.")),
        Ask(name="machines", label=_l("Machines and their pockets"), hint=_l("1+2 3+4 for machines of two pockets, 1-12 for machines of one."), is_needed=True),
        Ask(name="fill", label=_l("A full load of one pocket"), hint=_l("Such as 14 kg or 30 lb."), is_needed=True),
        Ask(name="fuel", label=_l("Fuel"), kind="choice", options=tuple((f, said(f)) for f in FUELS)),
        Ask(name="input", label=_l("Heat input on the rating plate"), hint=_l("Such as 22 kW or 75 kBtu/h. May be left out.")),
        Ask(name="heats", label=_l("Names of the heats"), hint=_l("By their numbers, with commas, such as High, Gentle.")),
        Ask(name="coins", label=_l("Coins taken"), hint=_l("Such as 0.25 1.00"), is_needed=True),
        Ask(name="slots", label=_l("What a piece in each slot is worth"), kind="long", hint=_l("One slot a line, such as near = 0.25; a card reader with its statement: pad = 0.25 town card.")),
        _from(),
    ))  # fmt: skip
