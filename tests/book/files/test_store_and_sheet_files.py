"""Store files and control sheets: every mistake at once, in words; what is written reads back equal."""

from __future__ import annotations

import contextlib
import sys
from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, Phase, event, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from any_record import SHEETS, STORES

from drybank.book.files import (
    difference,
    kind_of,
    read_settings,
    read_sheet,
    read_store,
    with_lines,
    write_settings,
    write_sheet,
    write_store,
)
from drybank.book.files.amounts import amount, many, spoken
from drybank.book.files.history import read_mapping
from drybank.book.files.shape import names_of
from drybank.control import check_sheet, check_store
from drybank.records.errors import InputError, InputErrors
from drybank.records.sheet import ControlSheet
from drybank.records.store import Store

TOWN = files("drybank.desk.demo_town")
STORE = (TOWN / "lantern_row.toml").read_text("utf-8")
SHEET = (TOWN / "alder.toml").read_text("utf-8")

WRONG = """\
key = "corner"
name = "Corner"
time_zone = "America/Torronto"
currency = "CAD"
country = "Canada"
coins = [0.25, "1.00", 25]
altitude = 110
wether = "x"

[units]
temperature = "K"

[[bank]]
key = "wall"
name = "Wall"

[[pocket]]
for = "1-3"
key = "{}"
fil = "9 kg"
plate = { input = "75", airflow = "450 cfs" }

[[pocket]]
key = "4"
fill = "900 kg"

[[machine]]
key = "1"
bank = "walll"
sheet = "alder"
pockets = "1-5"

[[machine]]
key = "1"
bank = "wall"
pockets = ["4"]
sheet = 3

[[hours]]
days = "mon-fry"
open = "6:00"
close = "22:00"
attended = "yes"
"""

SENTENCES = """\
corner.toml:3 time_zone: “America/Torronto”: it is no time zone. Write one like "America/Toronto" or "Europe/Lisbon".
corner.toml:5 country: “Canada”: it cannot stand here. Allowed: two capital letters of ISO 3166, such as “CA”.
corner.toml:6 coins[1]: 0.25: it is not a whole number of the currency's smallest units. Put money in quotes: "0.25" is 0.25 CAD; without quotes the number is in cents.
corner.toml:7 altitude: 110: “altitude” wants its unit. Write a height such as "1650 m" or "5400 ft", in quotes.
corner.toml:8 wether: “wether” is no key of a store. Did you mean “weather”?
corner.toml:11 units.temperature: “K”: it is not one of the words allowed here. Allowed: “C”, “F”.
corner.toml:20 pocket[1].fil: “fil” is no key of a pocket. Did you mean “fill”?
corner.toml:21 pocket[1].plate.input: “75”: it has no unit. Write a power such as "22 kW", "75 kBtu/h" or "0.5 hp".
corner.toml:21 pocket[1].plate.airflow: “450 cfs”: “cfs” is no unit for it. Allowed: m3/s, L/s, m3/h, cfm. Write an air flow such as "0.21 m3/s", "760 m3/h" or "450 cfm".
corner.toml:25 pocket[2].fill: “900 kg”: it is out of range. Allowed: 1 to 200 kg.
corner.toml:29 machine[1].bank: Machine 1 names bank “walll”, which the store does not have. Allowed: wall. Add the bank, or mend the name.
corner.toml:31 machine[1].pockets: Machine 1 names pocket “5”, which the store does not have. Add a [[pocket]] with this key, or mend the name.
corner.toml:33 machine[2]: The key “1” is given twice; first on line 27. Give every row a key of its own.
corner.toml:37 machine[2].sheet: 3: a text belongs here. Put it in quotation marks.
corner.toml:40 hours[1].days: “mon-fry”: it names no days. Write "mon-fri", "sat, sun", "every day" or ["mon", "tue"].
corner.toml:41 hours[1].open: “6:00”: it cannot stand here. Allowed: hours and minutes as “06:00”.
corner.toml:43 hours[1].attended: “yes”: it is neither true nor false. Write true or false, without quotes."""


def mistakes(text: str, name: str = "corner.toml") -> list[str]:
    with pytest.raises(InputErrors) as caught:
        read_store(text, name)
    return caught.value.sentence().split("\n")


class TestMistakes:
    def test_all_are_found_at_once_with_line_value_range_and_mend(self) -> None:
        assert mistakes(WRONG) == SENTENCES.split("\n")

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ('name = "abc\nkey = 1', "f:1: A character that may not stand here: often a missing quotation mark"),
            ('key = "a"\nkey = "b"', "f:2: The name is given twice in the same table. Keep one of the two lines."),
            ("[units]\n[units]", "f:2: The table is given twice."),
            ("fill = 9 kg", "f:1: Something stands after the value. Put texts in quotation marks"),
            ('name "x"', "f:1: A name without “=” after it. Write name = value."),
            ("drybank = \"store 2\"", "f:1 drybank: The file says “store 2”, a later form than this Drybank reads."),
            ("drybank = \"sheet 1\"", "f:1 drybank: This is no store file: its first line does not say so."),
        ],
    )  # fmt: skip
    def test_are_told_in_words_a_person_can_act_on(self, text: str, says: str) -> None:
        assert mistakes(text, "f")[0].startswith(says)

    def test_a_sheet_tells_its_own(self) -> None:
        text = SHEET.replace('purpose = "brightness"', 'purpose = "brightnes"')
        text = text.replace('highest = "9 min"', 'highest = "9 min 3 s"').replace('factory = "C"', 'factory = "K"')
        text = text.replace('inputs = ["far"]', 'inputs = ["fur"]').replace("highest = 600", "highest = 601")
        with pytest.raises(InputErrors) as caught:
            read_sheet(text, "alder.toml")
        found = [e.split(" ", 1)[1] for e in caught.value.sentence().split("\n")]
        assert found == [
            "setting[1].purpose: “brightnes”: it is not one of the words allowed here. Allowed: "
            + found[0].partition("Allowed: ")[2].partition(" Did")[0] + " Did you mean “brightness”?",
            "setting[2].grid.highest: “9 min 3 s”: it is not a whole number of steps of 0.1 min. Choose a finer unit, or mend the value.",
            "setting[6].grid.factory: “K”: it is none of the choices. Allowed: “C”, “F”.",
            "setting[7].grid: From 20 in steps of 20 the highest, 601, is never reached. Allowed: 600 or 620. "
            "Mend the highest value or the increment.",
            "counter[2].inputs: “fur” is no input of this sheet. Allowed: far, near, pad.",
        ]  # fmt: skip

    def test_a_temperature_in_the_wrong_scale_is_refused_not_converted(self) -> None:
        text = SHEET.replace('{ unit = "°C", lowest = 34', '{ unit = "°C", lowest = "94 F"')
        with pytest.raises(InputErrors, match="it is in °F, the grid in °C"):
            read_sheet(text, "alder.toml")


def sized(low: float, high: float) -> st.SearchStrategy[float]:
    """Floats of a size that a store can have: finer than 1e-25 is refused, see `amounts.number`."""
    return st.floats(low, high).map(lambda x: x if abs(x) > 1e-25 else 0.0).filter(lambda x: low <= x <= high)


class TestRoundTrip:
    def test_the_demo_store_reads_back_equal(self) -> None:
        store = read_store(STORE)
        assert read_store(write_store(store)) == store

    def test_the_demo_sheet_reads_back_equal_with_its_settings_in_the_controls_own_order(self) -> None:
        sheet = read_sheet(SHEET)
        again = read_sheet(write_sheet(sheet))
        assert again == sheet
        assert [s.key for s in again.settings][:3] == ["lamp", "linger", "near gives"]

    @settings(deadline=None, max_examples=60, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(STORES)
    def test_any_store_reads_back_equal(self, store: Store) -> None:
        assert read_store(write_store(store)) == store

    @settings(deadline=None, max_examples=60, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(SHEETS)
    def test_any_sheet_reads_back_equal(self, sheet: ControlSheet) -> None:
        assert read_sheet(write_sheet(sheet)) == sheet

    @settings(deadline=None, max_examples=30)
    @given(
        fill=sized(2, 150), altitude=sized(-430, 4500), wet=sized(0.2, 1.5), power=sized(500, 300_000),
        hot=sized(30, 150), wear=sized(0, 1e6), name=st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=30),
        note=st.text(max_size=50), wash=st.integers(300, 14_400), coins=st.lists(st.integers(1, 100_000), max_size=5),
        share=sized(0, 1), price=st.decimals("-9", "9", places=9),
    )  # fmt: skip
    def test_any_numbers_and_texts_read_back_equal(
        self, fill, altitude, wet, power, hot, wear, name, note, wash, coins, share, price
    ) -> None:
        store = read_store(STORE)
        plate = msgspec.structs.replace(store.pockets[0].plate, input_w=power, exhaust_limit_c=hot)
        pocket = msgspec.structs.replace(store.pockets[0], fill_kg=fill, plate=plate)
        washer = msgspec.structs.replace(store.washers[0], moisture_left_frac=wet, wash_s=wash)
        person = msgspec.structs.replace(store.responsible, address=note)
        gas = store.tariffs[1]
        tier = msgspec.structs.replace(gas.energy[0].tiers[1], price_per_unit=price)
        charge = msgspec.structs.replace(gas.energy[0], tiers=(gas.energy[0].tiers[0], tier))
        changed = msgspec.structs.replace(
            store, name=name, altitude_m=altitude, coins=tuple(coins), pockets=(pocket, *store.pockets[1:]),
            washers=(washer,), responsible=person, tariffs=(msgspec.structs.replace(gas, energy=(charge,)),),
            costs=msgspec.structs.replace(store.costs, wear_minor_per_hour=wear),
            trade=msgspec.structs.replace(store.trade, need_minutes=(18.5,), need_share=(share,)),
        )  # fmt: skip
        assert read_store(write_store(changed)) == changed


class TestHostileText:
    @pytest.mark.timeout(30)
    @pytest.mark.parametrize(
        "text",
        [
            b"\xff\xfek\x00e\x00y\x00", 'a = "\0"', "[[[" * 100_000, "a = " + "[" * 200_000, "a." * 300_000 + "b = 1",
            "[" + '"a".' * 200_000 + "b]", "x = " + "9" * 10_000, "altitude = 1e999999999", "coins = [1e9999999999999]",
            "\n".join(f"a{i} = 1" for i in range(90_000)), '[[pocket]]\nfor = "1-500"\n' * 30_000, "[[pocket]]\n" * 90_000,
            'a = ["' + '","' * 300_000 + '"]', "a = {" + "b = {" * 1000, "'''" * 300_000, '"' * 1_000_000, "#" * 1_000_000,
            '[[pocket]]\nfor = "1-999999"', '[[machine]]\npockets = "1-99999999999999999999"', "a = 2024-13-45",
            'x = "\\ud800"', "altitude_m = nan", "altitude_m = inf", "altitude_m = 1_0.0_0e1_0", 'key = "' + "k" * 900_000 + '"',
            '[[hours]]\ndays = "' + "mon-sun," * 100_000 + '"', "[units]\n" + "a.b.c.d.e.f.g.h.i.j.k = 1", "pocket = 1",
            "pocket = [[[]]]", "units = []", "[[pocket]]\nplate = [1]", "[[units]]", "[key]", "tariff = [1, {}, []]",
            "[[tariff]]\nenergy = [{ name = '', tiers = [{ price_per_unit = 1e400 }] }]", "\r\r\r", "a\rb = 1", "\ufeff\ufeffa = 1",
            '[[pocket]]\nfor = ["1", {}]', '[[pocket]]\nfor = "1-8 by 3"', 'currency = ["CAD"]', 'drybank = [1]',
        ],
    )  # fmt: skip
    def test_gets_sentences_within_seconds(self, text: str | bytes) -> None:
        with pytest.raises(InputError) as caught:
            read_store(text, "hostile.toml")
        said = caught.value.sentence()
        assert said.startswith("hostile.toml")
        assert len(said) < 200_000
        assert all(c.isprintable() or c == "\n" for c in said)
        kind_of(text)

    @given(st.integers(0, 400), st.text(max_size=4), st.integers(0, 30))
    @settings(deadline=None, max_examples=60)
    def test_of_any_edit_gives_settings_or_a_mapping_or_sentences(self, at: int, put: str, cut: int) -> None:
        house = (TOWN / "weir_settings.toml").read_text("utf-8")
        mapping = 'dates = "day first"\nheader = 3\n[columns]\nDate = "date"\n"Box 1" = "money in box 1"\n'
        with contextlib.suppress(InputError):
            read = read_settings(house[:at] + put + house[at + cut :], "x")
            assert read_settings(write_settings(read)) == read
        with contextlib.suppress(InputError):
            read_mapping(mapping[:at] + put + mapping[at + cut :], "x")

    @settings(deadline=None, max_examples=60)
    @given(st.binary(max_size=400))
    def test_of_any_bytes_gives_a_store_or_sentences(self, data: bytes) -> None:
        for read in (read_store, read_sheet):
            with pytest.raises(InputError):
                read(data, "x")

    @settings(deadline=None, max_examples=60)
    @given(st.integers(0, len(STORE) - 1), st.text(max_size=4), st.integers(0, 30))
    def test_of_any_edit_gives_a_store_or_sentences(self, at: int, put: str, cut: int) -> None:
        text = STORE[:at] + put + STORE[at + cut :]
        with contextlib.suppress(InputError):  # anything else fails the test
            store = read_store(text, "x")
            assert read_store(write_store(store)) == store

    @settings(deadline=None, max_examples=60)
    @given(st.integers(0, len(SHEET) - 1), st.text(max_size=4), st.integers(0, 30))
    def test_of_any_edit_gives_a_sheet_or_sentences(self, at: int, put: str, cut: int) -> None:
        text = SHEET[:at] + put + SHEET[at + cut :]
        with contextlib.suppress(InputError):
            sheet = read_sheet(text, "x")
            event("read as a sheet")
            assert read_sheet(write_sheet(sheet)) == sheet


class TestAmounts:
    @pytest.mark.parametrize(
        ("text", "unit", "value"),
        [
            ("6 min", "s", 360), ("3 min 20 s", "s", 200), ("1 h", "s", 3600), ("0.5 min", "s", 30),
            ("20 lb", "kg", "9.0718474"), ("75 kBtu/h", "w", "21980.330262916666"), ("22 kW", "w", 22000),
            ("450 cfm", "m3_s", "0.21237634944"), ("0.6 inH2O", "pa", "149.453346"), ("5400 ft", "m", "1645.92"),
            ("55 %", "frac", "0.55"), ("176 F", "c", "80"),
        ],
    )  # fmt: skip
    def test_read_with_their_unit(self, text: str, unit: str, value: str | int) -> None:
        """The pound, foot, inch of water (conventional, 4 °C) and International Table Btu are exact by definition
        (NIST SP 811, from memory)."""
        assert float(amount(text, unit)) == pytest.approx(float(Decimal(value)), rel=1e-12)

    @pytest.mark.parametrize(
        "text", ["6", "6 mins", "min", "6 min 3", "-1 min 2 s", "6,5 min", "1e3 s", "6 kg", "", "6 min and"]
    )
    def test_without_a_plain_unit_are_refused(self, text: str) -> None:
        with pytest.raises(InputError):
            amount(text, "s")

    @settings(deadline=None)
    @given(st.integers(0, 10**7))
    def test_of_time_read_back_equal(self, seconds: int) -> None:
        assert amount(spoken(seconds, "s"), "s") == seconds

    def test_lists_of_keys(self) -> None:
        assert many("A1-A3, 9, 011-012") == [("A1",), ("A2",), ("A3",), ("9",), ("011",), ("012",)]
        assert many("1-4 by 2") == [("1", "2"), ("3", "4")]


class TestLines:
    def test_of_mistakes_in_a_sheet_that_later_checks_find(self) -> None:
        text = SHEET.replace('unit = "s", lowest = 24', 'unit = "%", lowest = 24').replace(
            'say = "Type 1 for C', 'say = "Type {nought} for C'
        )
        text = text.replace('free = "no start price"', 'free = "hours"')
        found = with_lines(text, "alder.toml", check_sheet(read_sheet(text)))
        line = {n: text[: text.index(word)].count("\n") + 1 for n, word in
                (("grid", 'unit = "%", lowest = 24'), ("say", "{nought}"), ("sale", "[sale]"))}  # fmt: skip
        places = [e.where.split(" ")[0] for e in found]
        assert f"alder.toml:{line['grid']}" in places
        assert f"alder.toml:{line['say']}" in places
        assert f"alder.toml:{line['sale']}" in places
        assert all(e.where.startswith("alder.toml:") for e in found)

    def test_of_mistakes_in_a_store_also_in_rows_written_once_for_many(self) -> None:
        text = STORE.replace('coins = ["0.25", "1.00"]', 'coins = ["0.25", "1.00", "0.25"]')
        errors = [
            *check_store(read_store(text), {"alder": read_sheet(SHEET)}),
            InputError("Odd.", where="pockets[13].plate.input_w"),
        ]
        found = with_lines(text, "s.toml", errors)
        wanted = text[: text.index('input = "41 kW"')].count("\n") + 1
        assert found[-1].where == f"s.toml:{wanted} pockets[13].plate.input_w"
        far = STORE.replace('coins = ["0.25", "1.00"]', 'coins = ["0.25", "2.00"]')
        (once,) = with_lines(far, "s.toml", check_store(read_store(far), {"alder": read_sheet(SHEET)}))
        assert once.where.startswith(
            f"s.toml:{far[: far.index('[[input]]', far.index('*.near'))].count(chr(10)) + 1} inputs"
        )
        assert once.what.endswith("15 more alike.")
        coins = text[: text.index("coins = ")].count("\n") + 1
        assert any(e.where.startswith(f"s.toml:{coins} coins") for e in found)


class TestDifference:
    def test_says_what_a_changed_file_changes(self) -> None:
        old = read_store(STORE)
        new = read_store(
            STORE.replace('price = "4.50"', 'price = "4.75"').replace('fill = "22 kg"', 'fill = "50 lb"')
            .replace('for = "21-24"', 'for = "21-23"').replace('visit_low = "5.00"\n', "").replace('name = "Mild"', 'name = "Soft"')
        )  # fmt: skip
        assert difference(old, new) == [
            "Heat 3, name: was Mild, now Soft.",
            "Washer “small washers”, price: was 4.50 CAD, now 4.75 CAD.",
            "Machine 24 is gone.",
            "Pocket 24 is gone.",
            "Pocket 21, fill: was 22 kg, now 22.6796185 kg.",
            "Pocket 22, fill: was 22 kg, now 22.6796185 kg.",
            "Pocket 23, fill: was 22 kg, now 22.6796185 kg.",
            "Box “box 24” is gone.",
            "Costs, visit low: was 5.00 CAD, now not given.",
        ]

    def test_of_equal_things_is_nothing(self) -> None:
        assert difference(read_sheet(SHEET), read_sheet(SHEET)) == []


def test_every_key_of_a_file_means_one_field_only() -> None:
    for record in (Store, ControlSheet):
        names = names_of(record)
        assert len({f.name for f, _ in names.values()}) == len(msgspec.structs.fields(record))


def test_files_are_told_apart_without_their_first_line() -> None:
    plain = {"store": STORE, "sheet": SHEET, "settings": "[[bank]]\nbank='a'", "history mapping": "[columns]\na='b'"}
    for kind, text in plain.items():
        assert kind_of("\n".join(x for x in text.split("\n") if not x.startswith("drybank"))) == kind
    assert kind_of("a,b\n1,2") == "not ours"


def test_a_broken_file_is_still_known_for_what_it_is() -> None:
    """So that its own reader says what is wrong with it, and where."""
    assert kind_of(STORE.replace('name = "Lantern Row Wash"', "name = Lantern Row Wash")) == "store"
    assert kind_of(SHEET.replace("[sale]", "[sale").replace('drybank = "sheet 1"', "").encode() + b"\xff") == "sheet"
    assert kind_of("[columns]\nDate = date") == "history mapping"
    assert kind_of("Dear reader,\nthis = that") == "not ours"
