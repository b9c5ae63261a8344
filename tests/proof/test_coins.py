"""Coin masses against the statute, the mint's redemption rates and each other."""

import pytest
from tests.facts.report import note

from drybank.records.coins import COINS, WORN, coin, coins_of
from drybank.records.errors import InputError
from drybank.records.units import INCH_M, POUND_KG

# 31 CFR 100.11(d), the mint's redemption rates for unmixed bent coin [$/lb]; read, recomputed.
REDEEMED_PER_POUND = {10: 20.00, 25: 20.00, 50: 20.00, 5: 4.5359, 100: 56.00}
# 31 USC 5112(a), read: diameter [in], weight [g] (the dollar's weight is not set there).
STATUTE = {50: (1.205, 11.34), 25: (0.955, 5.67), 10: (0.705, 2.268), 5: (0.835, 5.0), 100: (1.043, None)}


@pytest.mark.facts
@pytest.mark.parametrize(("value", "dollars"), REDEEMED_PER_POUND.items())
def test_value_per_pound_agrees_with_the_redemption_rates_within_a_tenth_of_a_cent(value, dollars):
    ours = coin("USD", value).minor_per_gram * POUND_KG * 1000 / 100
    note(
        f"{value}-cent coins by the pound",
        "31 CFR 100.11(d)",
        "R, C",
        f"${dollars:.4f}",
        f"${ours:.4f}",
        f"{ours - dollars:+.5f}",
    )
    assert ours == pytest.approx(dollars, abs=0.001)


@pytest.mark.facts
@pytest.mark.parametrize(("value", "row"), STATUTE.items())
def test_masses_and_diameters_agree_with_the_statute(value, row):
    spec = coin("USD", value)
    assert spec.diameter_mm == pytest.approx(row[0] * INCH_M * 1000, abs=0.02)
    if row[1] is not None:
        assert spec.mass_g == row[1]


@pytest.mark.facts
def test_1000_dollars_in_quarters_weigh_22_680_kg():
    assert 4000 * coin("USD", 25).mass_g / 1000 == pytest.approx(22.680, abs=0.001)


def test_every_coin_names_its_source_and_how_it_is_known():
    assert all(c.source and c.known and c.from_year for c in COINS)


def test_a_year_chooses_the_coin_of_that_year():
    assert coin("CAD", 100, year=2005).mass_g == 6.998
    assert coin("CAD", 100).mass_g == 6.27
    with pytest.raises(InputError, match="of 1950"):
        coin("CAD", 100, year=1950)


def test_refuses_a_currency_and_a_value_without_data():
    with pytest.raises(InputError, match="No coin masses"):
        coins_of("SEK")
    with pytest.raises(InputError, match="5, 10, 25, 50, 100"):
        coin("USD", 200)


def test_worn_coins_lie_within_the_mint_allowance_on_average():
    for worn in WORN:
        spec = coin(worn.currency, worn.value_minor)
        assert abs(worn.mean_g / spec.mass_g - 1) < 0.04
