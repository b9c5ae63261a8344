"""Set-up by form: the same checks as a file, shown before entered, what was typed kept; rows of the basics and of a tariff."""

import datetime as dt
import html
import re
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from .conftest import OTHER, STORE

NEW = {
    "what": "new-store", "key": "mill", "currency": "CAD", "country": "CA", "name": "Mill Row", "time_zone": "America/Toronto",
    "temperature": "C", "gas": "m3", "mass": "kg", "open_mon": "06:00-22:00", "open_tue": "06:00-22:00", "open_sat": "8:00-12:00, 14:00-20:00",
    "washers": "small: 12 x 8 kg, 28 min", "bank": "long wall", "sheet": "alder", "machines": "1+2 3+4", "fill": "14 kg",
    "fuel": "natural gas", "input": "22 kW", "heats": "", "coins": "0.25 1.00", "slots": "",
}  # fmt: skip
TARIFF = {
    "what": "tariff", "fuel": "natural gas", "tariff": "House gas 2027", "first": "2027-01-01", "unit": "therm", "price": "1.0625",
    "fixed": "20", "per": "bill", "tax": "6.25", "jurisdiction": "the town",
}  # fmt: skip


def now():
    from drybank.web import site

    return site.now()


def sheet(town, key):
    return next(s[key] for store in town.stores() if key in (s := town.sheets_at(store, now())))


def filled(town, key="alder"):
    """The new store's answers with what this sheet's slots and heats need."""
    one = sheet(town, key)
    heats = max((x.heat for x in one.settings if x.purpose == "temperature"), default=0)
    slots = "\n".join(f"{i.key} = {'0.25' if 'coin' in i.means else '0.25 town card'}" for i in one.inputs)
    return NEW | {"sheet": key, "slots": slots, "heats": ", ".join(("High", "Middle", "Gentle", "Air")[:heats])}


def shown_texts(body):
    names = re.findall(r'name="name" value="([^"]+)"', body)
    texts = [html.unescape(t) for t in re.findall(r'<textarea name="text"[^>]*>\n(.*?)</textarea>', body, re.DOTALL)]
    return {"name": names, "text": texts}


def test_new_store_is_shown_then_entered_as_typed(as_, town):
    client = as_("ada")
    shown = client.post("/new-store/form", filled(town))
    body = shown.content.decode()
    assert shown.status_code == 200, body
    assert "would change" in body
    assert "4 pockets on 2 machines in 1 bank" in body
    assert "mill" not in town.stores()
    done = client.post("/new-store/form", {"enter": "1", "from": "2026-01-01"} | shown_texts(body))
    assert done.status_code == 302, done.content.decode()
    made = town.store_at("mill", now())
    assert (made.name, made.time_zone, made.currency, made.coins) == ("Mill Row", "America/Toronto", "CAD", (25, 100))
    assert [m.pockets for m in made.machines] == [("1", "2"), ("3", "4")]
    assert made.pockets[0].plate.input_w == pytest.approx(22_000)
    assert made.washers[0].wash_s == 28 * 60
    assert [(o.days, o.open, o.close) for o in made.hours] == [
        (("mon", "tue"), "06:00", "22:00"), (("sat",), "08:00", "12:00"), (("sat",), "14:00", "20:00"),
    ]  # fmt: skip
    change_sunday(client, town, made)


def change_sunday(client, town, before):
    """Its basics by form: one day's hours change and nothing else."""
    from drybank.desk.store_form import basics_of

    body = client.post("/s/mill/set-up/basics", {"what": "basics"} | basics_of(before) | {"open_sun": "09:00-18:00"})
    assert "09:00" in body.content.decode()
    assert client.post("/s/mill/set-up/basics", {"enter": "1"} | shown_texts(body.content.decode())).status_code == 302
    after = town.store_at("mill", now())
    assert [(o.open, o.close) for o in after.hours if "sun" in o.days] == [("09:00", "18:00")]
    assert (after.washers, after.machines, after.coins) == (before.washers, before.machines, before.coins)


def test_a_sheet_sent_along_serves_a_book_that_has_none(as_, town):
    from drybank.book.files import write_sheet

    sent = SimpleUploadedFile("own.toml", write_sheet(sheet(town, "alder")).encode())
    answer = as_("ada").post("/new-store/form", filled(town) | {"key": "mill2", "sheet": "", "files": sent})
    assert answer.status_code == 200, answer.content.decode()
    assert b"would change" in answer.content


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"time_zone": "Nowhere/Town"}, "Nowhere/Town"),
        ({"currency": "XYZ"}, "Currency: “XYZ”"),
        ({"coins": "a lot"}, "Coins taken: “a” is not"),
        ({"machines": "1-400 " * 6}, "more pockets than one store has"),
        ({"machines": "1++2"}, "Machines and their pockets"),
        ({"fill": "heavy"}, "A full load of one pocket"),
        ({"open_mon": "morning"}, "Monday: “morning”"),
        ({"washers": "many"}, "Washers: “many”"),
        ({"slots": "near"}, "is not a slot"),
        ({"sheet": "nothing"}, "Control sheet: there is no such"),
        ({"key": ""}, "Short name: this is needed"),
        ({"mass": "stone"}, "stone"),
        ({"input": "22 horses"}, "Heat input on the rating plate"),
    ],
)
def test_each_mistake_is_told_by_its_question_and_what_was_typed_stays(as_, town, typed, words):
    answer = as_("ada").post("/new-store/form", filled(town) | {"key": "mill3"} | typed)
    body = html.unescape(answer.content.decode())
    assert answer.status_code == 422
    assert words in body
    assert 'value="Mill Row"' in body
    assert "small: 12 x 8 kg, 28 min" in body or "washers" in typed
    assert "mill3" not in town.stores()


def test_basics_show_what_stands_and_nothing_typed_changes_nothing(as_, town):
    from drybank.desk.store_form import basics_of, with_basics

    for store in (OTHER, STORE):
        before = town.store_at(store, now())
        assert with_basics(before, basics_of(before)) == before
    client = as_("stranger")
    before, tip = town.store_at(OTHER, now()), town.tip(OTHER)
    assert before.time_zone in client.get(f"/s/{OTHER}/set-up/basics").content.decode()
    same = client.post(f"/s/{OTHER}/set-up/basics", {"what": "basics"} | basics_of(before))
    assert b"Nothing would change" in same.content
    assert town.tip(OTHER) == tip


def test_a_tariff_ends_the_one_before_it_and_prices_by_its_own_lines(as_, town):
    from drybank.desk.store_form import with_tariff

    store = town.store_at(OTHER, now())
    made = with_tariff(store, TARIFF).tariffs
    new = made[-1]
    assert (new.valid_from, new.valid_to, new.energy[0].tiers[0].price_per_unit) == (
        dt.date(2027, 1, 1),
        None,
        Decimal("1.0625"),
    )
    assert (new.fixed[0].amount, new.taxes[0].percent) == (Decimal(20), Decimal("6.25"))
    gas = [t for t in made if t.fuel == "natural gas" and t is not new]
    assert all(t.valid_to and t.valid_to < new.valid_from for t in gas)
    again = with_tariff(with_tariff(store, TARIFF), TARIFF | {"price": "2"})
    assert len(again.tariffs) == len(made)
    shown = as_("stranger").post(f"/s/{OTHER}/set-up/tariff", TARIFF)
    assert shown.status_code == 200
    assert "House gas 2027" in shown.content.decode()


@pytest.mark.parametrize(
    ("typed", "words"),
    [({"price": "dear"}, "Price of one unit"), ({"unit": "gal"}, "not sold by the gal"), ({"tax": "-3"}, "percent"), ({"first": "soon"}, "First day it holds"), ({"price": "NaN"}, "not a number")],
)  # fmt: skip
def test_a_tariff_that_cannot_be_is_refused_with_what_was_typed(as_, typed, words):
    answer = as_("stranger").post(f"/s/{OTHER}/set-up/tariff", TARIFF | typed)
    assert answer.status_code == 422
    assert words in html.unescape(answer.content.decode())
    assert b'value="House gas 2027"' in answer.content


def test_forms_speak_spanish(as_):
    client = as_("ada")
    client.cookies["drybank-language"] = "es"
    for where, words in (("/new-store/form", "Hoja de control"), (f"/s/{STORE}/set-up/tariff", "Precio de una unidad")):
        assert words in client.get(where).content.decode()
