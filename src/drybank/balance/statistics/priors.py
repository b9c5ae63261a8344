"""What is assumed of the noise before a fleet has shown its own.

Each figure is common practice without a published source unless a line names one; the result of
every balance lists them as assumed, and a fleet of 50 pockets outweighs half of them.
"""

from __future__ import annotations

import msgspec

from drybank.balance.statistics.growth import Growth
from drybank.records.working import Assumption


class Habits(msgspec.Struct, frozen=True, kw_only=True):
    """How a fleet is read and counted, as assumed. Standard deviations; shares are fractions."""

    offset_coins: float = 3.0  # coins dropped between reading a counter and emptying its box
    counter_bias: float = 0.001  # lasting share by which a counter is off
    counter_miss: float = 0.001
    counter_double: float = 0.0005
    jam_share: float = 0.02
    jam_coins: float = 5.0
    count_error: float = 0.0003  # machine .0003, by hand .003, weighed see below
    coin_mass_cv: float = 0.0  # weighed: spread of single coins; 0 when counted
    batch_mass_cv: float = 0.0
    scale_coins: float = 0.0  # scale error in coins
    week_coins: float = 210.0  # a usual week, to turn what happens per week into per coin
    coins_load: float = 6.0
    meter_step_h: float = 0.1
    run_spread: float = 0.015  # lasting spread of the run fraction between pockets
    run_drift: float = 0.004  # its slow change from one span to the next
    run_noise_load: float = 0.14  # noise of one load's minutes, as a share
    coin_minutes: float = 6.0
    trade_drift: float = 0.02  # slow change of a pocket's share of its store's trade


def counted_by(how: str, habits: Habits | None = None) -> Habits:
    """The habits with the errors of counting by "machine", "hand" or "weight"."""
    habits = habits or Habits()
    if how == "hand":
        return msgspec.structs.replace(habits, count_error=0.003)
    if how == "weight":
        return msgspec.structs.replace(
            habits, count_error=0.0, coin_mass_cv=0.012, batch_mass_cv=0.0015, scale_coins=0.51
        )
    return habits


def cash_growth(h: Habits) -> Growth:
    """Assumed growth of ln(counted / counter), tally in coins."""
    weekly = (h.count_error**2 + h.batch_mass_cv**2) * h.week_coins
    jams = h.jam_share * h.jam_coins**2 / h.week_coins
    scale = h.scale_coins**2 / h.week_coins
    # pieces missed or doubled one by one, a lasting bias (mean size .8 sd) among them
    slips = h.counter_miss + h.counter_double + 0.8 * h.counter_bias
    return Growth(
        c=h.counter_bias**2,
        a=weekly + jams + slips + h.coin_mass_cv**2 + scale,
        b=2.0 * h.offset_coins**2 + 1.0 / 6.0,
    )


def hours_growth(h: Habits, *, against_cash: bool) -> Growth:
    """Assumed growth of ln(hours / pieces) as a change from the pocket's own past; tally in coins.

    ``against_cash``: the pieces are those counted out of the box, not those of a counter.
    """
    step_coins = 60.0 * h.meter_step_h / h.coin_minutes
    offset = 2.0 * h.offset_coins**2 if against_cash else 0.0
    jams = h.jam_share * h.jam_coins**2 / h.week_coins if against_cash else 0.0
    return Growth(
        c=h.run_drift**2,
        a=h.run_noise_load**2 * h.coins_load + jams + h.counter_miss,
        b=step_coins**2 / 6.0 + offset,
    )


def trade_growth(h: Habits) -> Growth:
    """Assumed growth of ln(a pocket's pieces / its siblings'), as a change; tally in coins.

    Loads are nearly Poisson, each of ``coins_load`` pieces with a spread of its own: the variance of
    a sum of n pieces is about 1.1 x coins_load x n, and a week's liking wanders a little more.
    """
    return Growth(c=h.trade_drift**2, a=1.55 * h.coins_load, b=0.0)


def assumptions(h: Habits) -> tuple[Assumption, ...]:
    """The habits as lines of "assumed", for the result."""
    practice = "common practice, no published source"
    return (
        Assumption(
            name="coins dropped between reading and emptying",
            taken=f"{h.offset_coins:g} coins (standard deviation)",
            source=practice,
            low="0.5",
            high="12",
            matters="decides the smallest loss noticed within few weeks",
        ),
        Assumption(
            name="lasting bias of a counter",
            taken=f"{100 * h.counter_bias:g} %",
            source=practice,
            low="0",
            high="0.5 %",
            matters="decides the smallest loss noticed after many weeks",
        ),
        Assumption(
            name="lasting spread of the run fraction between pockets",
            taken=f"{100 * h.run_spread:g} %",
            source=practice,
            low="0.5 %",
            high="5 %",
            matters="decides what hours alone can show",
        ),
    )
