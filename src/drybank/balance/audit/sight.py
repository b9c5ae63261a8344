"""How small a loss would be noticed, with these pockets, meters and weekly reading. For the owner alone."""

from __future__ import annotations

import msgspec
import numpy as np

from drybank.balance.statistics.carry import start_offset
from drybank.balance.statistics.growth import Growth
from drybank.balance.statistics.priors import Habits, cash_growth, counted_by, hours_growth
from drybank.records.balance import GrowthUsed
from drybank.records.errors import InputError

ONE_IN_A_HUNDRED = 2.3263478740408408  # one-sided 1 % false alarms
FOUR_IN_FIVE = 0.8416212335729143  # power .80
TAIL = 1.03  # z is divided by the fleet's tail factor, about this much
STORE_RUN_SPREAD = 0.008  # a store's week shared by all its pockets; an assumption


class Sight(msgspec.Struct, frozen=True, kw_only=True):
    """Smallest loss noticed after some weeks, as a fraction: at one pocket, and shared by a whole store.

    Noticed: found four times in five, with one false alarm in a hundred pockets and looks. None: a loss
    of that kind would not be noticed at all (beyond 60 %).
    """

    weeks: int
    pocket_frac: float | None
    store_frac: float | None


class Noticed(msgspec.Struct, frozen=True, kw_only=True):
    """Answer to “how small a loss would I notice?” with what it rests on."""

    has_counters: bool
    sights: tuple[Sight, ...]
    at_once: tuple[Sight, ...]
    says: str


def smallest_loss(variance: float) -> float | None:
    """Loss noticed with power .80 at 1 % false alarms from the variance of a log ratio."""
    loss = 1.0 - float(np.exp(-(ONE_IN_A_HUNDRED + FOUR_IN_FIVE) * np.sqrt(max(variance, 0.0))))
    return loss if loss < 0.6 else None


def _first_end(growth: Growth, coins_week: float, weeks: int) -> float:
    """Variance of the first reading's offset once so many weeks before it are known. [pieces squared]"""
    weekly = np.full((1, weeks), coins_week)
    return float(start_offset(weekly, weekly, growth)[1][0])


def _variance(growth: Growth, n: float, *, base: float, siblings: int, against_own_past: bool, weeks: int) -> float:
    if not against_own_past:
        known = _first_end(growth, base / weeks, weeks) - growth.b / 2.0
        return (float(growth.variance(n)) + known / n**2) * TAIL**2
    x1, x2 = 1 / n + 1 / base, 1 / n**2 + 1 / base**2
    more = 1.0 + (0.5 * np.pi / siblings if siblings else 0.0)
    return float((growth.c + growth.a * x1 + growth.b * x2) * more)


def what_would_i_see(
    *,
    coins_week: tuple[float, ...],
    weeks: tuple[int, ...] = (1, 4, 8, 12),
    has_counters: bool = True,
    counted: str = "machine",
    base_weeks: int = 12,
    habits: Habits | None = None,
    growth: Growth | GrowthUsed | None = None,
) -> Noticed:
    """Smallest loss that would be noticed at a usual pocket and in the whole store.

    Parameters
    ----------
    coins_week : tuple of float
        Coins a week of each pocket.
    has_counters : bool
        Whether coin counters are read; otherwise hours against the pockets' own past of ``base_weeks``.
    growth : Growth, optional
        The fleet's own, as a `BalanceResult` lists it; assumed from ``habits`` otherwise.
    """
    if not coins_week or min(coins_week) <= 0 or any(w < 1 for w in weeks) or base_weeks < 1:
        raise InputError(
            "The smallest loss noticed needs each pocket's coins a week and whole weeks.",
            where="what would I see",
            mend="Give coins above zero and weeks from 1 on.",
        )
    h = counted_by(counted, habits or Habits(week_coins=float(np.median(coins_week))))
    own = cash_growth(h) if has_counters else hours_growth(h, against_cash=True)
    if growth is not None:
        own = Growth(c=growth.c, a=growth.a, b=growth.b, pockets=growth.pockets)
    at_once = msgspec.structs.replace(own, b=max(0.0, own.b - 2.0 * h.offset_coins**2 * 0.97))
    sights = tuple(_sight(own, w, coins_week, base_weeks, has_counters) for w in weeks)
    better = tuple(_sight(at_once, w, coins_week, base_weeks, has_counters) for w in weeks)
    return Noticed(has_counters=has_counters, sights=sights, at_once=better, says=_says(sights, better))


def _sight(growth: Growth, weeks: int, coins: tuple[float, ...], base: int, has_counters: bool) -> Sight:
    usual = float(np.median(coins))
    others = len(coins) - 1
    own_past = not has_counters
    pocket = _variance(growth, usual * weeks, base=usual * base, siblings=others, against_own_past=own_past, weeks=base)
    total = sum(coins)
    each = [
        (c / total) ** 2
        * _variance(growth, c * weeks, base=c * base, siblings=0, against_own_past=own_past, weeks=base)
        for c in coins
    ]
    store = sum(each)
    if own_past:
        store += STORE_RUN_SPREAD**2 * (1 / weeks + 1 / base)
    return Sight(weeks=weeks, pocket_frac=smallest_loss(pocket), store_frac=smallest_loss(store))


def _says(sights: tuple[Sight, ...], better: tuple[Sight, ...]) -> str:
    last, best = sights[-1], better[-1]
    if last.pocket_frac is None:
        return "A loss at one pocket would not be noticed with these readings."
    out = f"After {last.weeks} weeks a steady loss of {100 * last.pocket_frac:.1f} % at one pocket would be noticed"
    if last.store_frac is not None:
        out += f", and of {100 * last.store_frac:.1f} % shared by the whole store"
    out += ", four times in five."
    if best.pocket_frac is not None and best.pocket_frac < 0.85 * last.pocket_frac:
        out += f" If each box were emptied right after its counter is read, {100 * best.pocket_frac:.1f} %."
    return out
