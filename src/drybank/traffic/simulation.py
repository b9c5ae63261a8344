"""The room's front door: simulate a store's weeks, and read meters as a round would."""

from __future__ import annotations

from drybank.records.errors import InputError
from drybank.records.traffic import Settings, Store, Traffic
from drybank.traffic import places as pl
from drybank.traffic.assumed import assumptions
from drybank.traffic.result import summary
from drybank.traffic.running import Counts, Ints, count


def _check(replications: int, threads: int) -> None:
    if not 1 <= replications <= 1_000_000:
        raise InputError(f"{replications} replications.", allowed="1 to 1,000,000")
    if not 1 <= threads <= 256:
        raise InputError(f"{threads} threads.", allowed="1 to 256")


def simulate_counts(
    store: Store,
    settings: Settings,
    *,
    weeks: int,
    replications: int,
    seed: int,
    warm_weeks: int = 0,
    threads: int = 1,
    people_max: int = 4096,
) -> Counts:
    """Raw counts of the weeks; see `Counts` for shapes. Same arguments and errors as `simulate`."""
    _check(replications, threads)
    return count(
        store, settings, weeks=weeks, replications=replications, seed=seed, warm_weeks=warm_weeks,
        threads=threads, people_max=people_max,
    )  # fmt: skip


def simulate(
    store: Store,
    settings: Settings,
    *,
    weeks: int,
    replications: int,
    seed: int,
    warm_weeks: int = 0,
    threads: int = 1,
    people_max: int = 4096,
) -> Traffic:
    """A store's weeks, customer by customer.

    Parameters
    ----------
    store : Store
        Who comes and what stands there.
    settings : Settings
        How each bank sells time and what loads need at its heat, in the order of the banks.
    weeks, replications : int
        Weeks counted in each replication (with ``warm_weeks`` at most 230); independent replications.
    seed : int
        The same seed brings the same customers to every setting.
    threads : int
        Threads that share the replications; the result does not depend on it.
    people_max : int
        Most people inside at once (rounded up to a power of two), 2 to 32,768.

    Raises
    ------
    InputError, InputErrors
        Something given cannot stand, or more than ``people_max`` people were inside at once.

    Notes
    -----
    Means are per week; intervals are 95 % over replications (Student's t). What the store's
    records do not give is listed in ``assumptions``.
    """
    counts = simulate_counts(
        store, settings, weeks=weeks, replications=replications, seed=seed, warm_weeks=warm_weeks,
        threads=threads, people_max=people_max,
    )  # fmt: skip
    return summary(store, counts, weeks=weeks, seed=seed, assumed=assumptions(store))


def history(store: Store, settings: Settings, *, weeks: int, seed: int, people_max: int = 4096) -> Ints:
    """One story of the store as its meters tell it.

    Returns
    -------
    array (weeks, pockets, 8)
        Whole numbers by week and pocket, in the order of `places.METER_NAMES`: starts, pieces, sold ticks, motor
        ticks, heated ticks, house pieces, refunded pieces, taken ticks (a tick is a microsecond). A run is
        booked in the week in which its owner looks at it.
    """
    return count(store, settings, weeks=weeks, replications=1, seed=seed, people_max=people_max).meters


METER_NAMES = pl.METER_NAMES
