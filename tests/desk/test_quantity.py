"""Quantities with units from a person's text."""

import pytest

from drybank.desk.quantity import AREA, FLOW, HEAT_CONTENT, LENGTH, MASS_G, PRESSURE, VOLUME, degrees_c, quantity
from drybank.records.errors import InputError


@pytest.mark.parametrize(
    ("text", "table", "value"),
    [("8 in", LENGTH, 0.2032), ("200mm", LENGTH, 0.2), ("30 ft", LENGTH, 9.144), ("450 cfm", FLOW, 0.21237623),
     ("0.3 inwc", PRESSURE, 74.726673), ("1038 Btu/ft3", HEAT_CONTENT, 38674990.5), ("0,5 m³", VOLUME, 0.5),
     ("2 lb", MASS_G, 907.18474), ("300 in²", AREA, 0.193548)],
)  # fmt: skip
def test_units_are_turned_into_si(text, table, value):
    assert quantity(text, table, where="x", usual="1 m") == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "slip"),
    [("eight in", "not a quantity"), ("8", "no unit"), ("8 furlong", "not a unit"), ("", "not a quantity")],
)
def test_refuses_what_cannot_be_read(text, slip):
    with pytest.raises(InputError, match=slip):
        quantity(text, LENGTH, where="--width", usual="8 in")


def test_temperatures_carry_their_scale_or_take_the_stores():
    assert degrees_c("165 F", where="x") == pytest.approx(73.889, abs=1e-3)
    assert degrees_c("74", where="x", scale="C") == 74
    with pytest.raises(InputError, match="no unit"):
        degrees_c("74", where="x")
