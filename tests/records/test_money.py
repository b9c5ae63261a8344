"""Money: exact, to the minor unit."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.records.errors import InputError
from drybank.records.money import Money, parse_money, round_minor, split, total


@given(st.integers(-(10**9), 10**9), st.lists(st.integers(0, 1000), min_size=1, max_size=8).filter(any))
def test_shares_add_to_the_whole(minor, weights):
    parts = split(Money(minor, "USD"), weights)
    assert total(parts, "USD") == Money(minor, "USD")


@given(st.integers(-(10**9), 10**9), st.lists(st.integers(1, 1000), min_size=1, max_size=8))
def test_no_share_is_a_minor_unit_off_its_exact_amount(minor, weights):
    parts = split(Money(minor, "USD"), weights)
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part.minor - Fraction(minor * weight, sum(weights))) < 1


@given(st.decimals(-(10**6), 10**6, places=3))
def test_half_even_agrees_with_the_decimal_library(amount):
    """Witness: decimal.ROUND_HALF_EVEN of the standard library."""
    assert round_minor(amount, "half even") == int(amount.quantize(Decimal(1), "ROUND_HALF_EVEN"))


@given(st.decimals(-(10**6), 10**6, places=3))
def test_half_up_down_up_agree_with_the_decimal_library(amount):
    """Witness: ROUND_HALF_UP, ROUND_DOWN and ROUND_UP of the standard library."""
    for rule, name in (("half up", "ROUND_HALF_UP"), ("down", "ROUND_DOWN"), ("up", "ROUND_UP")):
        assert round_minor(amount, rule) == int(amount.quantize(Decimal(1), name))


def test_a_float_never_becomes_money():
    with pytest.raises(TypeError):
        Money(1.5, "USD")
    with pytest.raises(TypeError):
        round_minor(0.1)


def test_two_currencies_are_not_added():
    with pytest.raises(InputError):
        Money(1, "USD") + Money(1, "CAD")


def test_more_decimals_than_the_currency_has_are_refused():
    assert parse_money("1,284.50", "CAD") == Money(128450, "CAD")
    with pytest.raises(InputError, match="more than 2 decimals"):
        parse_money("1.234", "USD")


def test_unknown_currency_is_refused_in_a_sentence():
    with pytest.raises(InputError, match="not a currency"):
        Money(1, "ZZZ")


@pytest.mark.parametrize("text", ["1,00", "1,250", "1,2,3", "12,34.5", ",5"])
def test_a_comma_that_could_be_a_decimal_mark_is_refused(text):
    with pytest.raises(InputError, match="two ways"):
        parse_money(text, "USD")


def test_commas_that_can_only_be_thousands_and_the_currencys_own_name_are_read():
    assert parse_money("1,284,500", "USD") == Money(128_450_000, "USD")
    assert parse_money("12.50 CAD", "CAD") == Money(1250, "CAD")
