"""The room's front door: simulate a store's weeks, and read meters as a round would."""

from __future__ import annotations

from drybank.records.errors import InputError
from drybank.records.traffic import Settings, Store, Traffic, WhatIf
from drybank.traffic import places as pl
from drybank.traffic.assumed import assumptions
from drybank.traffic.changes import difference
from drybank.traffic.result import summary
from drybank.traffic.running import Counts, Ints, Work, count, count_many


def check_work(work: Work) -> None:
    """Raise `InputError` for amounts of work that cannot stand."""
    if not 1 <= work.replications <= 1_000_000:
        raise InputError(f"{work.replications} replications.", allowed="1 to 1,000,000")
    if not 1 <= work.threads <= 256:
        raise InputError(f"{work.threads} threads.", allowed="1 to 256")


def simulate_counts(store: Store, settings: Settings, work: Work) -> Counts:
    """Raw counts of the weeks; see `Counts` for shapes. Errors as `simulate`."""
    check_work(work)
    return count(store, settings, work)


def simulate(
    store: Store, settings: Settings, *, weeks: int, replications: int, seed: int, threads: int = 1, cluster: str = ""
) -> Traffic:
    """A store's weeks, customer by customer.

    Parameters
    ----------
    store : Store
        Who comes and what stands there.
    settings : Settings
        How each bank sells time and what loads need at its heat, in the order of the banks.
    weeks, replications : int
        Weeks counted in each replication (1 to 230); independent replications.
    seed : int
        The same seed brings the same customers to every setting.
    threads : int
        Threads that share the replications; the result does not depend on it.
    cluster : str
        Address of a dask scheduler to send the replications to; the result does not depend on it.

    Raises
    ------
    InputError, InputErrors
        Something given cannot stand, or more than 4,096 people were inside at once.

    Notes
    -----
    Means are per week; intervals are 95 % over replications (Student's t). What the store's
    records do not give is listed in ``assumptions``.
    """
    work = Work(weeks=weeks, replications=replications, seed=seed, threads=threads, cluster=cluster)
    counts = simulate_counts(store, settings, work)
    return summary(store, counts, weeks=weeks, seed=seed, assumed=assumptions(store))


def history(store: Store, settings: Settings, *, weeks: int, seed: int) -> Ints:
    """One story of the store as its meters tell it.

    Returns
    -------
    array (weeks, pockets, 8)
        Whole numbers by week and pocket, in the order of `METER_NAMES`: starts, pieces, sold ticks, motor
        ticks, heated ticks, house pieces, refunded pieces, taken ticks (a tick is a microsecond). A run is
        booked in the week in which its owner looks at it.
    """
    return count(store, settings, Work(weeks=weeks, replications=1, seed=seed)).meters


def what_if(change: str, before: tuple[Store, Settings], after: tuple[Store, Settings], work: Work) -> WhatIf:
    """What a change does: both sides meet the same customers, so the difference is sharper than either.

    `changes` makes the usual ones: one more pocket, one broken, a promotion, another price.
    """
    check_work(work)
    one, other = count_many([before, after], work)
    return difference(change, (before[0], one), (after[0], other), weeks=work.weeks)


METER_NAMES = pl.METER_NAMES
