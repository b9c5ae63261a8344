"""A unit price held against the bill it came from."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from drybank.records.energy import PriceDoubt, StatedBill
from drybank.records.errors import InputError
from drybank.records.money import exact

_POINT_MOVES = (Fraction(1, 1000), Fraction(1, 100), Fraction(1, 10), Fraction(10), Fraction(100), Fraction(1000))


def check_stated_price(stated: StatedBill) -> PriceDoubt | None:
    """None when the stated price agrees with amount over quantity, to the digits it is stated with.

    Otherwise a finding with the price computed and the likeliest slip: two digits swapped,
    a decimal point moved, or not known. It asks; it does not say which of the two is right.
    """
    if not (stated.amount.is_finite() and stated.quantity.is_finite() and stated.price_per_unit.is_finite()):
        raise InputError("amount, quantity and price must be numbers.", where="stated bill")
    if any(abs(v.adjusted()) > 12 for v in (stated.amount, stated.quantity, stated.price_per_unit)):
        raise InputError("amount, quantity and price must be figures of a bill.", where="stated bill")
    if stated.quantity <= 0 or stated.price_per_unit <= 0:
        raise InputError("quantity and price must be above zero.", where="stated bill")
    computed = exact(stated.amount) / exact(stated.quantity)
    step = Fraction(10) ** int(stated.price_per_unit.as_tuple().exponent)
    slack = step / 2 + Fraction(1, 200) / exact(stated.quantity)  # its last digit, and half a cent of the amount
    if abs(computed - exact(stated.price_per_unit)) <= slack:
        return None
    shown = Decimal(round(computed / step)) * Decimal(1).scaleb(int(stated.price_per_unit.as_tuple().exponent))
    return _doubt(stated, shown, computed)


def _doubt(stated: StatedBill, shown: Decimal, computed: Fraction) -> PriceDoubt:
    likely = _slip(f"{stated.price_per_unit:f}", f"{shown:f}", exact(stated.price_per_unit) / (computed or 1))
    percent = (exact(stated.price_per_unit) / computed - 1) * 100 if computed else Fraction(0)
    return PriceDoubt(
        stated=stated.price_per_unit,
        computed=shown,
        unit=stated.unit,
        difference_pct=Decimal(round(percent * 10)).scaleb(-1),
        likely=likely,
        sentence=(
            f"{stated.amount} over {stated.quantity} {stated.unit} is {shown} per {stated.unit}; "
            f"{stated.price_per_unit} is stated ({likely}). Which is right? Look at the bill again."
        ),
    )


def _slip(stated: str, computed: str, ratio: Fraction) -> str:
    if any(_swapped(stated, i) == computed for i in range(len(stated) - 1)):
        return "two digits look swapped"
    if any(abs(ratio / power - 1) < Fraction(1, 100) for power in _POINT_MOVES):
        return "the decimal point looks moved"
    if len(stated) == len(computed) and sum(a != b for a, b in zip(stated, computed, strict=True)) == 1:
        return "one digit differs"
    return "reason not known"


def _swapped(text: str, i: int) -> str:
    """The text with two neighbouring digits swapped; a point between them stays where it is."""
    j = i + 2 if text[i + 1] == "." and i + 2 < len(text) else i + 1
    chars = list(text)
    chars[i], chars[j] = chars[j], chars[i]
    return "".join(chars)
