"""A bill by the store's own tariff, to the cent; a printed price that does not agree with the bill is flagged."""

import pytest

from drybank.desk.tariffs import TariffAsk, tariff_told
from drybank.records.errors import InputError

from .conftest import STORE


def told(book, pen, quantity="1623", fuel="gas", period="2026-05", **more):
    return tariff_told(book, STORE, TariffAsk(fuel=fuel, period=period, quantity=quantity, **more), pen.clock())


def test_the_demo_towns_gas_bill_by_hand(book, pen):
    """500 m3 x 0.2314 = 115.70; 1123 x 0.2188 = 245.7124; 31 x 0.81 = 25.11; 1623 x 0.0432 = 70.1136; 1623 x 0.1525 = 247.5075;
    each rounded half up: 704.14; 13 % is 91.5382: 795.68. One more m3: (0.2188 + 0.0432 + 0.1525) x 1.13 = 0.468385."""
    made = told(book, pen)
    assert [x.amount.plain() for x in made.bill.lines] == ["115.70", "245.71", "25.11", "70.11", "247.51", "91.54"]
    assert made.bill.total.plain() == "795.68"
    assert float(made.cost.marginal_minor) == pytest.approx(46.8385)
    assert made.findings == ()


def test_two_swapped_digits_are_flagged_and_named(book, pen):
    """795.68 over 1623 m3 is 0.490; 0.940 is printed."""
    made = told(book, pen, amount="795.68", price="0.940")
    assert made.difference.minor == 0
    assert "two digits look swapped" in made.findings[0]
    assert told(book, pen, amount="795.68", price="0.490").findings == ()


def test_an_amount_that_the_tariff_does_not_make_is_asked_about(book, pen):
    made = told(book, pen, amount="800.00")
    assert "4.32 CAD more stands on the bill" in made.findings[0]


def test_another_unit_is_turned_by_the_gas_heat_which_is_listed_where_nobody_said_it(book, pen):
    made = told(book, pen, quantity="10", unit="GJ")
    assert any(a.name == "heat in natural gas" for a in made.assumptions)
    used = float(made.bill.lines[0].quantity or 0)
    assert used == pytest.approx(10e9 / 38.675e6, rel=1e-3)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"quantity": "nan"}, "out of range"),
        ({"quantity": "a lot"}, "not a number"),
        ({"quantity": "9" * 30}, "out of range"),
        ({"unit": "gal"}, "not measured in gal"),
        ({"fuel": "coal"}, "not a fuel"),
        ({"fuel": "electricity"}, "bills the highest demand"),
        ({"price": "0.49"}, "Give --amount too"),
        ({"period": "May"}, "not a period"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(book, pen, more, says):
    with pytest.raises(InputError) as wrong:
        told(book, pen, **more)
    assert says in wrong.value.sentence()
