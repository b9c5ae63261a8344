"""Coins on a scale: is the scale right, how many are in the bag, what is a mixed bag worth.

sd(count)² = n cv² + (n batch)² + (scale / mean mass)², the mean mass being the store's own
where it has one. One weight never tells the make-up of a mixed bag; it may tell its value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from drybank.proof.judge import combine, judge, within
from drybank.proof.standing import CAUTIONS
from drybank.records.coins import WORN, CoinSpec
from drybank.records.errors import InputError, NotIdentified
from drybank.records.proof import Conduct, Figure, Measured, ProofResult, Tolerance
from drybank.records.working import Assumption, Estimate, Input, Interval, Working

COIN_CV: Final = 0.012  # 50 quarters from circulation, a textbook exercise; secondary
BATCH_SD: Final = 0.0015  # how far one bag's mean strays from the store's mean: common practice, no source
WEAR_FRAC: Final = 0.0085  # the same quarters: so much lighter than new
WEAR_RANGE_FRAC: Final = (0.0, 0.015)  # assumed span of wear where the store has not weighed its own
EXACT_CHANCE: Final = 0.95


class OwnMass(msgspec.Struct, frozen=True, kw_only=True):
    """Mean mass of the store's own coins: so many counted by hand, weighed together [g]."""

    coins: int
    mass_g: float
    scale_plus_minus_g: float

    def __post_init__(self) -> None:
        if self.coins < 50:
            raise InputError(
                f"{self.coins} coins are too few for a mean mass.",
                allowed="50 or more",
                mend="Count 1,000 once, then yearly.",
            )
        within("The weight of the counted coins", self.mass_g, 10, 100_000, "g", "Was kg entered as g?")
        within("The scale's give or take", self.scale_plus_minus_g, 0, 500, "g")

    @property
    def mean_g(self) -> float:
        return self.mass_g / self.coins

    def sd_frac(self, cv: float) -> float:
        """Relative standard deviation of the mean: scatter of the coins counted and the scale."""
        return math.hypot(cv / math.sqrt(self.coins), self.scale_plus_minus_g / 2 / self.mass_g)


class Weighing(msgspec.Struct, frozen=True, kw_only=True):
    """A bag on a scale: gross and tare [g], the scale's expanded uncertainty [g]."""

    gross_g: float
    tare_g: float = 0.0
    scale_plus_minus_g: float

    def __post_init__(self) -> None:
        within("The weight", self.gross_g, 0, 200_000, "g", "Was it in kg or lb?")
        within("The tare", self.tare_g, 0, 50_000, "g", "Was it in kg or lb?")
        within("The scale's give or take", self.scale_plus_minus_g, 0, 1000, "g", "Enter half its step at least.")
        if self.tare_g > self.gross_g:
            raise InputError(
                f"The empty bag ({self.tare_g:g} g) is heavier than the full one ({self.gross_g:g} g).",
                mend="Were the two swapped?",
            )

    @property
    def net_g(self) -> float:
        return self.gross_g - self.tare_g


class CountByWeight(msgspec.Struct, frozen=True, kw_only=True):
    """A count from a weight: best whole number, 95 % sampling interval, range over assumed wear.

    ``is_exact`` only where the chance that the whole number is right is at least 95 % and the
    mean mass is the store's own.
    """

    coins: int
    count: Estimate
    value_minor: int
    currency: str
    chance_right: float
    is_exact: bool
    says: str
    working: Working
    assumed: tuple[Assumption, ...] = ()


def count_sd(
    n: float, *, cv: float, batch: float, scale_sd_g: float, mean_g: float, mean_sd_frac: float = 0.0
) -> float:
    """Standard deviation of a count of n coins by weight, coins."""
    return math.sqrt(n * cv**2 + n**2 * (batch**2 + mean_sd_frac**2) + (scale_sd_g / mean_g) ** 2)


def _mean_mass(spec: CoinSpec, own: OwnMass | None, cv: float) -> tuple[float, float]:
    """Mean mass [g] and its relative sd: the store's own, or the new coin's less usual wear."""
    if own is None:
        return spec.mass_g * (1 - WEAR_FRAC), 0.0
    share = own.mean_g / spec.mass_g
    if not 0.9 <= share <= 1.05:
        raise InputError(
            f"Your {spec.name} coins would weigh {own.mean_g:.3f} g each, {100 * share:.0f} % of a new one.",
            mend="Was the bag's tare left on, or another coin mixed in?",
        )
    return own.mean_g, own.sd_frac(cv)


def count_by_weight(
    spec: CoinSpec, weighing: Weighing, *, own: OwnMass | None = None, cv: float = COIN_CV, batch: float = BATCH_SD
) -> CountByWeight:
    """How many coins of one kind are in the bag.

    Without the store's own mean mass the new coin's is used, 0.85 % lighter (what 50 quarters
    from circulation showed) with the range over no wear to 1.5 % apart: never called exact.
    """
    mean, mean_sd = _mean_mass(spec, own, cv)
    n = weighing.net_g / mean
    sd = count_sd(n, cv=cv, batch=batch, scale_sd_g=weighing.scale_plus_minus_g / 2, mean_g=mean, mean_sd_frac=mean_sd)
    coins = round(n)
    right = _chance_whole(n, coins, sd)
    assumed = None
    if own is None:
        low, high = (weighing.net_g / (spec.mass_g * (1 - w)) for w in WEAR_RANGE_FRAC)
        assumed = Interval(low, high, kind="assumption")
    exact = own is not None and right >= EXACT_CHANCE
    return CountByWeight(
        coins=coins,
        count=Estimate(
            value=n, unit="coins", interval=Interval(max(0.0, n - 1.96 * sd), n + 1.96 * sd), assumption=assumed
        ),
        value_minor=coins * spec.value_minor,
        currency=spec.currency,
        chance_right=right,
        is_exact=exact,
        says=_count_says(spec, coins, sd, assumed, exact=exact),
        working=_count_working(spec, weighing, mean, own),
        assumed=() if own else (_wear(spec),),
    )


def _chance_whole(n: float, coins: int, sd: float) -> float:
    if sd == 0:
        return 1.0
    up, down = (coins + 0.5 - n) / sd, (coins - 0.5 - n) / sd
    return 0.5 * (math.erf(up / math.sqrt(2)) - math.erf(down / math.sqrt(2)))


def _count_says(spec: CoinSpec, coins: int, sd: float, assumed: Interval | None, *, exact: bool) -> str:
    if exact:
        return f"{coins} coins of {spec.name}; the scale can tell to the coin."
    text = f"About {coins} coins of {spec.name} (give or take {1.96 * sd:.0f})"
    if assumed is not None:
        text += f"; {assumed.low:.0f} to {assumed.high:.0f} by how worn they are. Weigh 1,000 of your own once to settle that"
    return text + "."


def _count_working(spec: CoinSpec, weighing: Weighing, mean: float, own: OwnMass | None) -> Working:
    return Working(
        figure="coins",
        formula="(gross - tare) / mean mass; sd² = n cv² + (n batch)² + (n sd of the mean)² + (scale / mean mass)²",
        inputs=(
            Input(name="net weight", value=f"{weighing.net_g:g}", unit="g", how="measured"),
            Input(name="mean mass", value=f"{mean:.4f}", unit="g", how="measured" if own else "assumed",
                  source=f"{own.coins} own coins" if own else f"{spec.source} ({spec.known}), less usual wear"),
        ),
        source="balance of three errors, checked by simulation",
    )  # fmt: skip


def _wear(spec: CoinSpec) -> Assumption:
    known = next((w for w in WORN if (w.currency, w.value_minor) == (spec.currency, spec.value_minor)), None)
    source = f"{known.source} ({known.known})" if known else "as US quarters; no source for this coin"
    low, high = (f"{100 * w:.1f} %" for w in WEAR_RANGE_FRAC)
    return Assumption(
        name="wear of the coins", taken=f"{100 * WEAR_FRAC:.2f} % lighter than new", source=source, low=low, high=high,
        matters="the count in direct proportion",
    )  # fmt: skip


def exact_up_to(mean_g: float, *, scale_plus_minus_g: float, own: OwnMass | None = None, cv: float = COIN_CV,
                batch: float = BATCH_SD) -> int:  # fmt: skip
    """Largest number of coins that a weight tells to the coin with 95 % chance (0: never)."""
    share = 0.0 if own is None else own.sd_frac(cv)
    need = 0.5 / 1.959964
    for n in range(1, 5001):
        if count_sd(n, cv=cv, batch=batch, scale_sd_g=scale_plus_minus_g / 2, mean_g=mean_g, mean_sd_frac=share) > need:
            return n - 1
    return 5000


# --- mixed bags ---------------------------------------------------------------------------


class Share(msgspec.Struct, frozen=True, kw_only=True):
    """A kind of coin in a mixed bag and what is known of its share of the *number* of coins."""

    coin: CoinSpec
    low_frac: float = 0.0
    high_frac: float = 1.0

    def __post_init__(self) -> None:
        if not 0 <= self.low_frac <= self.high_frac <= 1:
            raise InputError("A share runs from 0 to 1, low before high.", where=self.coin.name)


class MixedValue(msgspec.Struct, frozen=True, kw_only=True):
    """What a mixed bag is worth, in minor units.

    ``value`` carries the weighing's 95 % interval about the middle, and apart from it the range
    over what the mix (and the wear, where it is not the store's own) may be. ``mix_frac`` is the
    half-range over the mix alone. ``fits`` counts the pairs of counts that one weight allows
    (None for more than two kinds); ``is_known`` where the mix leaves at most 0.5 %.
    """

    value: Estimate
    currency: str
    mix_frac: float
    weigh_frac: float
    fits: int | None
    is_known: bool
    says: str


def value_per_gram(shares: Sequence[Share]) -> tuple[float, float]:
    """Lowest and highest value per gram over the mixes allowed [minor/g].

    A ratio of two sums linear in the shares: each end by Dinkelbach's steps, the inner
    greatest value by filling the best coins first.
    """
    if sum(s.low_frac for s in shares) > 1 + 1e-12 or sum(s.high_frac for s in shares) < 1 - 1e-12:
        raise InputError(
            "The shares of the coins do not add to the whole bag.", mend="Let the ranges include a sum of 1."
        )
    return _ratio_end(shares, -1.0), _ratio_end(shares, 1.0)


def _ratio_end(shares: Sequence[Share], sign: float) -> float:
    ratio = shares[0].coin.minor_per_gram
    for _ in range(100):
        gain = [sign * (s.coin.value_minor - ratio * s.coin.mass_g) for s in shares]
        part = [s.low_frac for s in shares]
        left = 1.0 - sum(part)
        for i in sorted(range(len(shares)), key=lambda i: -gain[i]):
            add = min(left, shares[i].high_frac - part[i])
            part[i], left = part[i] + add, left - add
        worth = sum(p * s.coin.value_minor for p, s in zip(part, shares, strict=True))
        mass = sum(p * s.coin.mass_g for p, s in zip(part, shares, strict=True))
        if abs(worth / mass - ratio) < 1e-12 * ratio:
            break
        ratio = worth / mass
    return ratio


def pairs_that_fit(first: CoinSpec, second: CoinSpec, net_g: float, plus_minus_g: float) -> int:
    """How many pairs of counts weigh the same within the scale's and the coins' give or take."""
    fits = 0
    for a in range(int((net_g + plus_minus_g) / first.mass_g) + 1):
        rest = net_g - a * first.mass_g
        low, high = (rest - plus_minus_g) / second.mass_g, (rest + plus_minus_g) / second.mass_g
        fits += max(0, math.floor(high) - max(0, math.ceil(low)) + 1)
    return fits


def value_mixed(shares: Sequence[Share], weighing: Weighing, *, own_wear_frac: float | None = None) -> MixedValue:
    """What a mixed bag is worth, and whether one weight can say so.

    ``own_wear_frac`` is how much lighter than new the store's own coins are; None takes
    0.85 % with the range 0 to 1.5 %.
    """
    if len(shares) < 2:
        raise InputError("A mixed bag holds at least two kinds.", mend="Use the count by weight for one kind.")
    if len({s.coin.currency for s in shares}) > 1:
        raise InputError("Coins of two currencies cannot be valued by one weight.", mend="Sort them first.")
    if weighing.net_g <= 0:
        raise NotIdentified("The bag is empty.")
    wears = (WEAR_FRAC, *WEAR_RANGE_FRAC) if own_wear_frac is None else (own_wear_frac,) * 3
    net = weighing.net_g
    ends = value_per_gram(shares)
    low, high = (v * net / (1 - wears[0]) for v in ends)
    middle = (low + high) / 2
    mix = (high - low) / 2 / middle
    heaviest = max(s.coin.mass_g for s in shares)
    scatter = 1.96 * COIN_CV * math.sqrt(heaviest / net)  # the fewest coins scatter most
    weigh = combine(weighing.scale_plus_minus_g / net, 1.96 * BATCH_SD, scatter)
    fits = None
    if len(shares) == 2:
        give = weighing.scale_plus_minus_g + 2 * BATCH_SD * net
        fits = pairs_that_fit(shares[0].coin, shares[1].coin, net / (1 - wears[0]), give)
    assumed = Interval(ends[0] * net / (1 - wears[1]), ends[1] * net / (1 - wears[2]), kind="assumption")
    return MixedValue(
        value=Estimate(
            value=middle,
            unit="minor",
            interval=Interval(middle * (1 - weigh), middle * (1 + weigh)),
            assumption=assumed,
        ),
        currency=shares[0].coin.currency,
        mix_frac=mix,
        weigh_frac=weigh,
        fits=fits,
        is_known=mix <= 0.005,
        says=_mixed_says(assumed, mix, weigh, fits),
    )


def _mixed_says(assumed: Interval, mix: float, weigh: float, fits: int | None) -> str:
    many = f"{fits} different pairs of counts weigh the same. " if fits and fits > 1 else ""
    span = f"from {assumed.low / 100:,.2f} to {assumed.high / 100:,.2f}"
    if mix <= 0.005:
        wear = "" if assumed.high - assumed.low < 0.002 * assumed.low else f"; {span} by how worn the coins are"
        return (
            f"{many}The value is known all the same: these coins are worth the same by weight "
            f"(give or take {100 * weigh:.1f} %{wear})."
        )
    return (
        f"{many}The answer is not unique: by weight alone the bag is worth {span}. "
        "Sort the coins, or read both coin counters and give the shares."
    )


# --- the scale ----------------------------------------------------------------------------


def prove_scale(
    *,
    reference_g: float,
    reference_plus_minus_g: float,
    shown_g: float,
    step_g: float,
    coin: CoinSpec,
    tolerance: Tolerance | None = None,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Check a scale against a known mass and say what its error would do to a count.

    Rolled new coins are no reference: the mint allows about 4 % on one coin.
    """
    within("The reference mass", reference_g, 50, 100_000, "g", "Was kg entered as g?")
    within("The scale's step", step_g, 0.001, 100, "g", "Was kg entered as g?")
    within("The weight shown", shown_g / reference_g, 0.5, 1.5, "of the reference", "Was the unit key on another unit?")
    give = combine(reference_plus_minus_g, 2 * step_g / math.sqrt(12))
    judged = judge("scale against a known mass", Measured(value=shown_g, unit="g", plus_minus=give, instrument="scale"),
                   tolerance, nominal=reference_g)  # fmt: skip
    error = shown_g - reference_g
    coins_off = error / coin.mass_g
    side: Literal["heavy", "light"] = "heavy" if error > 0 else "light"
    return ProofResult(
        kind="scale",
        subject="scale",
        verdict=judged.verdict,
        says=f"At {reference_g:g} g the scale shows {abs(error):.2f} g too {side} (give or take {give:.2f}): "
        f"{abs(coins_off):.1f} coins of {coin.name} for a bag of this weight.",
        next_step="Enter the scale's own tolerance with its source to have this judged."
        if judged.verdict == "no tolerance"
        else "Have the scale adjusted, or correct by this error."
        if judged.verdict == "fail"
        else "Nothing to do; check again yearly and after a knock.",
        cautions=CAUTIONS["coins"],
        judgements=(judged,),
        figures=(Figure(name="error in coins", estimate=Estimate(value=coins_off, unit="coins", how="measured")),),
        conduct=conduct or Conduct(instruments=("scale",)),
    )
