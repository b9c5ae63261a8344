"""Coins: mass, size, where the figures come from and how well they are known.

One table for the balance and the field tests. A mass here is the *nominal* mass of a
new coin. Coins from circulation are lighter, so a count by weight wants the store's
own mean mass; taking the nominal one builds in a shortage of about 1 %.
"""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from drybank.records.errors import InputError

Known = Literal[
    "read",
    "read in a secondary page",
    "from memory",
    "recomputed",
    "common practice, no source",
    "entered by the owner",
    "maker's plate or manual",
]


class CoinSpec(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of coin as struck: value in minor units, mass [g], size [mm], years, source.

    ``until_year`` is 0 while the coin is still struck to this mass. ``mass_tolerance_g``
    is the mint's allowance on one new coin, 0 where none is on file.
    """

    currency: str
    value_minor: int
    name: str
    mass_g: float
    diameter_mm: float
    thickness_mm: float
    from_year: int
    until_year: int = 0
    mass_tolerance_g: float = 0.0
    source: str
    known: Known

    @property
    def minor_per_gram(self) -> float:
        """Face value per gram of new coin [minor units/g]."""
        return self.value_minor / self.mass_g


US_STATUTE: Final = "31 USC 5112(a); US Mint coin specifications"
US_MINT: Final = "US Mint coin specifications"
EURO: Final = "Council Regulation (EC) No 975/98, art. 1"
EURO_LISTS: Final = "Council Regulation (EC) No 975/98, as listed by collectors' tables"
UK_PAGE: Final = "Royal Mint data on a question-and-answer page"
UK_MINT: Final = "Royal Mint"
CA_NOTICE: Final = "Royal Canadian Mint notice of 10 April 2012, as reposted; Canada Gazette, as cited"
CA_MINT: Final = "Royal Canadian Mint"


def _us(value: int, name: str, mass: float, across: float, thick: float, year: int, tol: float) -> CoinSpec:
    return CoinSpec(
        currency="USD", value_minor=value, name=name, mass_g=mass, diameter_mm=across, thickness_mm=thick,
        from_year=year, mass_tolerance_g=tol, source=US_MINT if value == 100 else US_STATUTE, known="read",
    )  # fmt: skip


def _eur(value: int, name: str, mass: float, across: float, thick: float) -> CoinSpec:
    read = value in (50, 100, 200)
    return CoinSpec(
        currency="EUR", value_minor=value, name=name, mass_g=mass, diameter_mm=across, thickness_mm=thick,
        from_year=1999, source=EURO if read else EURO_LISTS,
        known="read" if read else "read in a secondary page",
    )  # fmt: skip


def _gbp(value: int, name: str, mass: float, across: float, thick: float, year: int) -> CoinSpec:
    paged = value in (5, 100, 200)
    return CoinSpec(
        currency="GBP", value_minor=value, name=name, mass_g=mass, diameter_mm=across, thickness_mm=thick,
        from_year=year, source=UK_PAGE if paged else UK_MINT,
        known="read in a secondary page" if paged else "from memory",
    )  # fmt: skip


def _cad(
    value: int, name: str, mass: float, across: float, thick: float, *, years: tuple[int, int], read: bool
) -> CoinSpec:
    return CoinSpec(
        currency="CAD", value_minor=value, name=name, mass_g=mass, diameter_mm=across, thickness_mm=thick,
        from_year=years[0], until_year=years[1], source=CA_NOTICE if read else CA_MINT,
        known="read in a secondary page" if read else "from memory",
    )  # fmt: skip


# The first year of each present mass is from memory throughout. The US mint allowances
# (Coin World Almanac) are from memory too: only the 5-cent one (.194 g) also stands in
# 31 USC 5113.
COINS: Final[tuple[CoinSpec, ...]] = (
    _us(5, "5 cents", 5.000, 21.21, 1.95, 1946, 0.194),
    _us(10, "10 cents", 2.268, 17.91, 1.35, 1965, 0.091),
    _us(25, "25 cents", 5.670, 24.26, 1.75, 1965, 0.227),
    _us(50, "50 cents", 11.340, 30.61, 2.15, 1971, 0.454),
    _us(100, "1 dollar", 8.1, 26.49, 2.00, 1979, 0.30),
    _cad(5, "5 cents", 3.95, 21.2, 1.76, years=(2000, 0), read=False),
    _cad(10, "10 cents", 1.75, 18.03, 1.22, years=(2001, 0), read=False),
    _cad(25, "25 cents", 4.40, 23.88, 1.58, years=(2000, 0), read=False),
    _cad(100, "1 dollar", 6.998, 26.5, 1.95, years=(1987, 2011), read=True),
    _cad(100, "1 dollar", 6.27, 26.5, 1.95, years=(2012, 0), read=True),
    _cad(200, "2 dollars", 7.3, 28.0, 1.8, years=(1996, 2011), read=True),
    _cad(200, "2 dollars", 6.92, 28.0, 1.75, years=(2012, 0), read=False),
    _eur(5, "5 cent", 3.92, 21.25, 1.67),
    _eur(10, "10 cent", 4.10, 19.75, 1.93),
    _eur(20, "20 cent", 5.74, 22.25, 2.14),
    _eur(50, "50 cent", 7.80, 24.25, 2.38),
    _eur(100, "1 euro", 7.50, 23.25, 2.33),
    _eur(200, "2 euro", 8.50, 25.75, 2.20),
    _gbp(5, "5 pence", 3.25, 18.0, 1.7, 1990),
    _gbp(10, "10 pence", 6.50, 24.5, 1.85, 1992),
    _gbp(20, "20 pence", 5.00, 21.4, 1.7, 1982),
    _gbp(50, "50 pence", 8.00, 27.3, 1.78, 1997),
    _gbp(100, "1 pound", 8.75, 23.43, 2.8, 2016),
    _gbp(200, "2 pounds", 12.0, 28.4, 2.5, 1997),
)


class WornMass(msgspec.Struct, frozen=True, kw_only=True):
    """What coins from circulation weigh: mean [g], scatter of one coin [g], how many were weighed."""

    currency: str
    value_minor: int
    mean_g: float
    sd_g: float
    coins: int
    source: str
    known: Known


WORN: Final[tuple[WornMass, ...]] = (
    WornMass(
        currency="USD", value_minor=25, mean_g=5.622, sd_g=0.068, coins=50,
        source="50 quarters from circulation, a statistics-textbook exercise",
        known="read in a secondary page",
    ),
    WornMass(
        currency="EUR", value_minor=100, mean_g=7.52, sd_g=0.034, coins=2000,
        source="Shkedy, Aerts, Callaert, J. Statistics Education 14(2), 2006: 2,000 new 1-euro coins",
        known="from memory",
    ),
)  # fmt: skip


def coins_of(currency: str) -> tuple[CoinSpec, ...]:
    """Coins of a currency, lowest value first, an older mass before the present one."""
    found = tuple(c for c in COINS if c.currency == currency)
    if not found:
        have = ", ".join(sorted({c.currency for c in COINS}))
        raise InputError(
            f"No coin masses are on file for “{currency}”.",
            allowed=have,
            mend="Weigh 100 of your own coins and enter their mean mass.",
        )
    return found


def coin(currency: str, value_minor: int, *, year: int = 0) -> CoinSpec:
    """The coin of a value as struck in a year; without a year, the present one.

    Raises `InputError` where that value is no coin on file, naming those that are.
    """
    kin = [c for c in coins_of(currency) if c.value_minor == value_minor]
    for spec in reversed(kin):
        if not year or (spec.from_year <= year and (not spec.until_year or year <= spec.until_year)):
            return spec
    have = ", ".join(f"{v}" for v in sorted({c.value_minor for c in coins_of(currency)}))
    when = f" of {year}" if year else ""
    raise InputError(f"No {currency} coin worth {value_minor} minor units{when} is on file.", allowed=have)
