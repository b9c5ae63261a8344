"""A bag on the scale, from a person's words: one kind of coin counted, several kinds valued."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from drybank.desk.quantity import MASS_G, fraction, quantity
from drybank.proof import OwnMass, Share, Weighing, count_by_weight, exact_up_to, value_mixed
from drybank.proof.coin import CountByWeight, MixedValue
from drybank.proof.standing import CAUTIONS
from drybank.records.coins import CoinSpec, coin
from drybank.records.errors import InputError
from drybank.records.money import Money


class Bag(msgspec.Struct, frozen=True, kw_only=True):
    """What a person says of a bag: coins by minor units, currency, weights as text, own mean masses, shares.

    ``own`` holds ``25=1000:5622 g`` (so many counted coins weigh so much), ``shares``
    ``100=45-55 %`` (this kind's share of the number of coins), ``year`` of the coins where it
    changes the mass.
    """

    coins: tuple[int, ...]
    currency: str
    gross: str
    tare: str = ""
    step: str = "1 g"
    own: tuple[str, ...] = ()
    shares: tuple[str, ...] = ()
    year: int = 0


class Weighed(msgspec.Struct, frozen=True, kw_only=True):
    """A bag's answer: a count where it holds one kind, a value where it holds several."""

    cautions: tuple[str, ...]
    coins: tuple[CoinSpec, ...]
    says: str
    worth: Money | None
    count: CountByWeight | None = None
    mixed: MixedValue | None = None
    exact_up_to: int | None = None


def _own(texts: Sequence[str], plus_minus_g: float) -> dict[int, OwnMass]:
    out = {}
    for text in texts:
        value, sign, rest = text.partition("=")
        count, colon, mass = rest.partition(":")
        if not (sign and colon and value.strip().isdecimal() and count.strip().isdecimal()):
            raise InputError(f"“{text}” is not a mean mass.", where="--own", mend="Write it like 25=1000:5622 g.")
        grams = quantity(mass, MASS_G, where="--own", usual="5622 g")
        out[int(value)] = OwnMass(coins=int(count), mass_g=grams, scale_plus_minus_g=plus_minus_g)
    return out


def _share(spec: CoinSpec, texts: Sequence[str]) -> Share:
    for text in texts:
        value, _, rest = text.partition("=")
        if value.strip() == str(spec.value_minor):
            low, dash, high = rest.partition("-")
            is_pct = rest.strip().endswith("%")
            ends = [
                t if t.strip().endswith("%") or not is_pct else f"{t.strip()}%"
                for t in ((low, high) if dash else (low, low))
            ]
            return Share(
                coin=spec, low_frac=fraction(ends[0], where="--share"), high_frac=fraction(ends[1], where="--share")
            )
    return Share(coin=spec)


def weigh(bag: Bag) -> Weighed:
    """Count or value a bag; the scale's step is taken as an error of half a step either way, tare included."""
    if not bag.coins:
        raise InputError("Which coins are in the bag?", mend="Name them by minor units, such as 25.")
    if len(set(bag.coins)) != len(bag.coins):
        raise InputError("One kind of coin is named twice.")
    step = quantity(bag.step, MASS_G, where="--step", usual="1 g")
    tare = quantity(bag.tare, MASS_G, where="--tare", usual="40 g") if bag.tare else 0.0
    give = step if bag.tare else step / 2
    weighing = Weighing(
        gross_g=quantity(bag.gross, MASS_G, where="gross", usual="2.4 kg"), tare_g=tare, scale_plus_minus_g=give
    )
    specs = tuple(coin(bag.currency, value, year=bag.year) for value in bag.coins)
    own = _own(bag.own, step / 2)
    if len(specs) > 1:
        return _mixed(specs, bag, weighing, own)
    mine = own.get(specs[0].value_minor)
    found = count_by_weight(specs[0], weighing, own=mine)
    most = exact_up_to(mine.mean_g, scale_plus_minus_g=give, own=mine) if mine is not None else None
    return Weighed(
        cautions=CAUTIONS["coins"], coins=specs, says=found.says, worth=Money(found.value_minor, bag.currency), count=found,
        exact_up_to=most,
    )  # fmt: skip


def _mixed(specs: tuple[CoinSpec, ...], bag: Bag, weighing: Weighing, own: dict[int, OwnMass]) -> Weighed:
    wear = [1 - own[c.value_minor].mean_g / c.mass_g for c in specs if c.value_minor in own]
    lighter = sum(wear) / len(wear) if len(wear) == len(specs) else None
    found = value_mixed([_share(c, bag.shares) for c in specs], weighing, own_wear_frac=lighter)
    worth = Money(round(found.value.value), bag.currency) if found.is_known else None
    return Weighed(cautions=CAUTIONS["coins"], coins=specs, says=found.says, worth=worth, mixed=found)
