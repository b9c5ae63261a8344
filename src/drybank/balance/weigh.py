"""Coins by weight: how many, what they are worth, and when the scale cannot tell.

A scale with steps of 5 g is taken as good to within 5 g either way, any error alike: a standard deviation
of 5 / sqrt(3) g.

The count of a bag of one denomination is (weight - tare) / mean mass. Its error has three parts that do
not shrink alike: the spread of single coins, the mean of this batch, the scale. The mean mass must be
the operator's own, from coins counted once: circulated coins are lighter than new ones, so that the
nominal mass builds in a shortage of half to one per cent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drybank.records.coins import coin
from drybank.records.errors import InputError, NotIdentified

BATCH_CV = 0.0015  # spread of a batch's mean mass about the operator's own; an assumption
COIN_CV = 0.012  # spread of one coin: .068 g of 5.622 g, 50 circulated 25c coins (read in a secondary page)
SCALE_SD = 0.5773502691896258  # 1 / sqrt(3): any error up to one step either way
SURE = 1.959963984540054
EQUAL_VALUE = 0.002  # denominations whose value per gram agrees this closely may lie in one bag


@dataclass(frozen=True)
class MeanMass:
    """The operator's own mean mass of one denomination: from ``coins`` counted coins on a scale with steps
    of ``scale_step_g``. ``cv`` is the spread of single coins as a share. [g]"""

    value_minor: int
    mean_g: float
    coins: int
    scale_step_g: float = 1.0
    cv: float = COIN_CV

    def __post_init__(self) -> None:
        if self.mean_g <= 0 or self.coins < 1 or self.scale_step_g < 0 or not 0 <= self.cv < 1:
            raise InputError(
                "A mean mass needs a mass above zero and at least one counted coin.",
                where=f"mean mass of {self.value_minor}",
                mend="Count 1,000 of your own coins once, weigh them, and enter both figures.",
            )

    @property
    def own_cv(self) -> float:
        """Relative error of the mean itself: sampling of its coins and the scale."""
        return float(
            np.sqrt(self.cv**2 / self.coins + (SCALE_SD * self.scale_step_g / (self.coins * self.mean_g)) ** 2)
        )


@dataclass(frozen=True)
class Weighed:
    """A count by weight with its 95 % interval. ``is_exact``: the whole number is right with 95 % chance."""

    count: int
    sd: float
    low: int
    high: int
    is_exact: bool
    says: str


def count_sd(n: float, mass: MeanMass, *, scale_step_g: float, batch_cv: float = BATCH_CV) -> float:
    """Standard deviation of a count of ``n`` coins by weight. [coins]"""
    lasting = np.hypot(batch_cv, mass.own_cv)
    return float(np.sqrt(n * mass.cv**2 + (n * lasting) ** 2 + (SCALE_SD * scale_step_g / mass.mean_g) ** 2))


def count_by_weight(
    gross_g: float, tare_g: float, mass: MeanMass, *, scale_step_g: float, batch_cv: float = BATCH_CV
) -> Weighed:
    """Pieces in a bag of one denomination.

    ``scale_step_g`` is the scale's step. Raises `InputError` for a bag lighter than its tare.
    """
    net = gross_g - tare_g
    if not np.isfinite(net) or net < -3.0 * scale_step_g:
        raise InputError(
            f"The bag weighs {gross_g:g} g and its tare is {tare_g:g} g.",
            where="weight",
            mend="Weigh the empty bag again and enter both in grams.",
        )
    n = max(net, 0.0) / mass.mean_g
    sd = count_sd(n, mass, scale_step_g=scale_step_g, batch_cv=batch_cv)
    count = round(n)
    is_exact = sd * SURE <= 0.5
    says = f"{count:,} pieces, exact." if is_exact else f"{count:,} pieces, give or take {SURE * sd:.1f}."
    return Weighed(
        count=count,
        sd=sd,
        low=max(0, int(np.floor(n - SURE * sd + 0.5))),
        high=int(np.ceil(n + SURE * sd - 0.5)),
        is_exact=is_exact,
        says=says,
    )


def largest_exact(mass: MeanMass, *, scale_step_g: float, batch_cv: float = BATCH_CV) -> int:
    """Most coins whose whole number a weight still gives with 95 % chance; 0 where never."""
    if SURE * count_sd(1.0, mass, scale_step_g=scale_step_g, batch_cv=batch_cv) > 0.5:
        return 0
    low, high = 1, 1 << 24
    while high - low > 1:
        mid = (low + high) // 2
        if SURE * count_sd(float(mid), mass, scale_step_g=scale_step_g, batch_cv=batch_cv) <= 0.5:
            low = mid
        else:
            high = mid
    return low


def fewest_within(share: float, mass: MeanMass, *, scale_step_g: float, batch_cv: float = BATCH_CV) -> int | None:
    """Fewest coins counted by weight to within ``share`` with 95 % chance; None where never."""
    if SURE * np.hypot(batch_cv, mass.own_cv) >= share:
        return None
    n = 1
    while SURE * count_sd(float(n), mass, scale_step_g=scale_step_g, batch_cv=batch_cv) > share * n:
        n += 1
    return n


def nominal_bias(currency: str, mass: MeanMass) -> float:
    """Share by which a count with the nominal mass of the coin as struck would be off. Below zero: short."""
    return mass.mean_g / coin(currency, mass.value_minor).mass_g - 1.0


@dataclass(frozen=True)
class BagValue:
    """What a bag is worth, in minor units, with its 95 % interval."""

    minor: float
    low: float
    high: float
    says: str


def value_by_weight(
    net_g: float,
    masses: Sequence[MeanMass],
    *,
    scale_step_g: float,
    counters: Sequence[tuple[float, float]] | None = None,
    batch_cv: float = BATCH_CV,
) -> BagValue:
    """Value of a bag that may hold several denominations.

    Parameters
    ----------
    net_g : float
        Weight less tare. [g]
    masses : sequence of MeanMass
        One for each denomination that may be in the bag.
    counters : sequence of (pieces, sd), optional
        What the coin counters say of each denomination, with its standard error.

    Raises
    ------
    NotIdentified
        When the value per gram differs between the denominations and no counter says the mix: hundreds
        of pairs of counts then give the same weight.
    """
    if not masses:
        raise InputError("A value by weight needs the mean mass of each denomination.", where="weight")
    per_gram = np.array([m.value_minor / m.mean_g for m in masses])
    if counters is not None:
        return _with_counters(net_g, masses, counters, scale_step_g=scale_step_g, batch_cv=batch_cv)
    if (per_gram.max() - per_gram.min()) / per_gram.mean() <= EQUAL_VALUE + 2.0 * max(m.own_cv for m in masses):
        mid = float(per_gram.mean())
        lasting = np.hypot(batch_cv, max(m.own_cv for m in masses))
        sd = mid * float(
            np.sqrt((net_g * lasting) ** 2 + (SCALE_SD * scale_step_g) ** 2 + net_g * masses[0].mean_g * COIN_CV**2)
        )
        spread = 0.5 * float(per_gram.max() - per_gram.min()) * net_g
        half = SURE * sd + spread
        return BagValue(mid * net_g, mid * net_g - half, mid * net_g + half, "Every mix here is worth the same.")
    names = " and ".join(f"{m.value_minor}" for m in masses)
    low, high = float(per_gram.min() * net_g), float(per_gram.max() * net_g)
    raise NotIdentified(
        f"One weight cannot tell what a bag of {names} is worth: anything from {low:,.0f} to {high:,.0f} minor"
        " units weighs the same. Sort it, or read the coin counters of both denominations first."
    )


def _with_counters(
    net_g: float,
    masses: Sequence[MeanMass],
    counters: Sequence[tuple[float, float]],
    *,
    scale_step_g: float,
    batch_cv: float,
) -> BagValue:
    """Counters and weight together: the counts are pulled onto the weight, each by its own uncertainty."""
    if len(counters) != len(masses):
        raise InputError(
            f"{len(counters)} counter figures for {len(masses)} denominations.",
            where="weight",
            mend="Give one for each denomination, zero if none.",
        )
    n = np.array([c[0] for c in counters], float)
    cov = np.diag(np.array([max(c[1], 1e-9) for c in counters]) ** 2)
    mass = np.array([m.mean_g for m in masses])
    value = np.array([m.value_minor for m in masses], float)
    total = float(mass @ n)
    own = sum((c * m.mean_g * m.own_cv) ** 2 + c * (m.mean_g * m.cv) ** 2 for c, m in zip(n, masses, strict=True))
    noise = float(own + (total * batch_cv) ** 2 + (SCALE_SD * scale_step_g) ** 2)
    gain = cov @ mass / float(mass @ cov @ mass + noise)
    fixed = n + gain * (net_g - total)
    left = cov - np.outer(gain, mass @ cov)
    minor, sd = float(value @ fixed), float(np.sqrt(max(value @ left @ value, 0.0)))
    off = (net_g - total) / float(np.sqrt(mass @ cov @ mass + noise))
    says = "Counters and weight agree." if abs(off) < 3 else "Counters and weight do not agree: count this bag."
    return BagValue(minor, minor - SURE * sd, minor + SURE * sd, says)
