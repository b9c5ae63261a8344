"""Money: integer minor units with a currency; unit prices exact; rounding named.

Binary floats never enter: `Money` refuses them. Minor-unit digits follow ISO 4217
(from memory; the handful of currencies whose coins Drybank knows).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from decimal import Decimal
from fractions import Fraction
from typing import Literal

import msgspec

from drybank.records.errors import InputError

MINOR_DIGITS = {
    "USD": 2, "CAD": 2, "EUR": 2, "GBP": 2, "MXN": 2, "AUD": 2, "NZD": 2,
    "CHF": 2, "SEK": 2, "NOK": 2, "DKK": 2, "PLN": 2, "CZK": 2, "JPY": 0,
}  # fmt: skip

_THOUSANDS = re.compile(r"^-?\d{1,3}(?:,\d{3})+\.\d+$|^-?\d{1,3}(?:,\d{3}){2,}$")
"""Commas that can only be marks of thousands: with a decimal point after them, or several of them."""

Rounding = Literal["half up", "half even", "down", "up"]
Exact = int | Decimal | Fraction


def _half_up(x: Fraction) -> int:
    """Half away from zero, so that a refund rounds as its sale did."""
    sign = -1 if x < 0 else 1
    return sign * int(abs(x) + Fraction(1, 2))


def _half_even(x: Fraction) -> int:
    return round(x)


def _down(x: Fraction) -> int:
    """Toward zero."""
    return int(x)


def _up(x: Fraction) -> int:
    """Away from zero."""
    whole = int(x)
    return whole if x == whole else whole + (1 if x > 0 else -1)


_RULES: dict[Rounding, Callable[[Fraction], int]] = {
    "half up": _half_up, "half even": _half_even, "down": _down, "up": _up,
}  # fmt: skip


def exact(value: Exact | str) -> Fraction:
    """An exact rational from an integer, Decimal, Fraction or decimal text; a float is refused."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal | Fraction | str):
        raise TypeError(f"an exact number is needed, not {type(value).__name__}")
    try:
        return Fraction(value)
    except (ValueError, OverflowError, ZeroDivisionError) as bad:
        raise InputError(f"“{value}” is not a number.", mend="Write it like 1.25.") from bad


def round_minor(value: Exact, rule: Rounding = "half up") -> int:
    """Whole minor units from an exact amount in minor units, by a named rule."""
    return _RULES[rule](exact(value))


class Money(msgspec.Struct, frozen=True, order=True):
    """An amount in whole minor units (cents) of one currency."""

    minor: int
    currency: str

    def __post_init__(self) -> None:
        if isinstance(self.minor, bool) or not isinstance(self.minor, int):
            raise TypeError("Money.minor is a whole number of minor units")
        if self.currency not in MINOR_DIGITS:
            raise InputError(
                f"“{self.currency}” is not a currency Drybank knows.", allowed=", ".join(sorted(MINOR_DIGITS))
            )

    def _same(self, other: Money) -> None:
        if self.currency != other.currency:
            raise InputError(f"{self.currency} and {other.currency} cannot be added.")

    def __add__(self, other: Money) -> Money:
        self._same(other)
        return Money(self.minor + other.minor, self.currency)

    def __sub__(self, other: Money) -> Money:
        self._same(other)
        return Money(self.minor - other.minor, self.currency)

    def __neg__(self) -> Money:
        return Money(-self.minor, self.currency)

    def times(self, factor: Exact, rule: Rounding = "half up") -> Money:
        """This amount times an exact factor, rounded once by the named rule."""
        return Money(round_minor(exact(factor) * self.minor, rule), self.currency)

    def decimal(self) -> Decimal:
        """The amount in major units, exact."""
        digits = MINOR_DIGITS[self.currency]
        return Decimal(self.minor).scaleb(-digits)

    def plain(self) -> str:
        """Digits without a sign of currency: 1,284.50."""
        return f"{self.decimal():,.{MINOR_DIGITS[self.currency]}f}"

    def __str__(self) -> str:
        return f"{self.plain()} {self.currency}"


def parse_money(text: str, currency: str) -> Money:
    """Money from text such as ``1.25``; more digits than the currency has are refused."""
    digits = MINOR_DIGITS.get(currency)
    if digits is None:
        return Money(0, currency)  # raises the plain sentence about the currency
    plain = text.strip().removesuffix(currency).strip()
    if "," in plain:
        if not _THOUSANDS.match(plain):
            raise InputError(
                f"“{text}” can be read in two ways.", mend="Write decimals with a point: 1.25, or 1,284.50."
            )
        plain = plain.replace(",", "")
    scaled = exact(plain) * 10**digits
    if scaled.denominator != 1:
        raise InputError(f"“{text}” has more than {digits} decimals.", mend=f"{currency} has {digits}.")
    return Money(int(scaled), currency)


def total(amounts: Iterable[Money], currency: str) -> Money:
    """Sum of amounts of one currency; an empty sum is zero."""
    out = Money(0, currency)
    for amount in amounts:
        out = out + amount
    return out


def split(amount: Money, weights: Iterable[Exact]) -> tuple[Money, ...]:
    """Share an amount by weights, to the minor unit, so that the parts add to the whole.

    Largest remainder; ties go to the earlier part. Weights are >= 0 with a positive sum.
    """
    shares = [exact(w) for w in weights]
    whole = sum(shares, Fraction(0))
    if whole <= 0 or any(s < 0 for s in shares):
        raise InputError("Shares must be zero or more and not all zero.")
    raw = [amount.minor * s / whole for s in shares]
    low = [r.numerator // r.denominator for r in raw]
    left = amount.minor - sum(low)
    order = sorted(range(len(raw)), key=lambda i: (low[i] - raw[i], i))
    for i in order[:left]:
        low[i] += 1
    return tuple(Money(m, amount.currency) for m in low)
