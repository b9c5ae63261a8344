"""Weekly histories of invented stores with known faults, as arrays.

loads ~ negative binomial (trade of store, liking of pocket, season, a shock shared by the store and
remembered from week to week); coins = start coins + Poisson extra; motor minutes = coins x minutes
x run fraction + free running + service runs + noise; the counter misses and doubles; the box lacks
what was taken and holds what fell between reading and emptying; meters are read rounded down and
counters modulo their size. Everything is drawn from the seed handed in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from drybank.records.errors import InputError
from drybank.trial.world import Fault, World

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class History:
    """What was written down, and the truth beside it. Shapes: readings (store, pocket, week + 1), the
    rest (store, pocket, week). ``hours_read`` in hours, pieces in pieces."""

    world: World
    faults: tuple[Fault, ...]
    hours_read: Floats
    counter_read: Ints
    counter_total: Ints
    slips: Ints
    counted: Ints
    rejects: Ints
    coins: Ints
    counter: Ints
    hours: Floats
    taken: Ints

    @property
    def stores(self) -> int:
        return int(self.coins.shape[0])

    @property
    def pockets(self) -> int:
        return int(self.coins.shape[1])

    @property
    def weeks(self) -> int:
        return int(self.coins.shape[2])

    def store_index(self) -> Ints:
        """Store number of each pocket, shape (store x pocket,)."""
        return np.repeat(np.arange(self.stores), self.pockets)

    def weekly_hours(self) -> Floats:
        """Hours between readings as written, shape (store x pocket, week)."""
        return np.diff(self.hours_read, axis=2).reshape(-1, self.weeks)

    def weekly_counter(self) -> Ints:
        """Counter increments modulo the counter's size, shape (store x pocket, week)."""
        step = np.mod(np.diff(self.counter_read, axis=2), self.world.counter_size)
        return step.reshape(-1, self.weeks)

    def weekly_counted(self) -> Ints:
        """Pieces counted, shape (store x pocket, week)."""
        return self.counted.reshape(-1, self.weeks)


def _paint(shape: tuple[int, int, int], faults: Sequence[Fault], kind: str, start: float = 0.0) -> Floats:
    """An array of the size of one kind of fault, where and when it holds."""
    out = np.full(shape, start)
    for f in faults:
        if f.kind == kind:
            pockets = slice(None) if f.pocket is None else f.pocket
            out[f.store, pockets, f.first_week : f.last_week] += f.size
    return out


def _check(shape: tuple[int, int, int], faults: Sequence[Fault]) -> None:
    if min(shape) < 1:
        raise InputError("A history needs at least one store, one pocket and one week.", where="trial")
    for f in faults:
        if not (0 <= f.store < shape[0] and (f.pocket is None or 0 <= f.pocket < shape[1])):
            raise InputError(
                f"The fault “{f.kind}” names store {f.store}, pocket {f.pocket}, which is not in the history.",
                where="fault",
                allowed=f"stores 0 to {shape[0] - 1}, pockets 0 to {shape[1] - 1}",
            )
        if not 0 <= f.first_week < shape[2]:
            raise InputError(
                f"The fault “{f.kind}” starts in week {f.first_week}; the history has {shape[2]} weeks.",
                where="fault",
            )


def _loads(world: World, rng: np.random.Generator, shape: tuple[int, int, int], lost: Floats) -> Ints:
    stores, pockets, weeks = shape
    trade = np.exp(rng.normal(0.0, world.trade_spread_store, (stores, 1, 1)))
    liking = np.exp(rng.normal(0.0, world.trade_spread_pocket, (stores, pockets, 1)))
    phase = rng.uniform(0.0, 52.0, (stores, 1, 1))
    season = 1.0 + world.season * np.sin(2.0 * np.pi * (np.arange(weeks)[None, None, :] + phase) / 52.0)
    shock = np.empty((stores, 1, weeks))
    fresh = rng.normal(0.0, world.shock, (stores, weeks))
    shock[:, 0, 0] = fresh[:, 0]
    keep = world.shock_memory
    for t in range(1, weeks):
        shock[:, 0, t] = keep * shock[:, 0, t - 1] + np.sqrt(1.0 - keep**2) * fresh[:, t]
    mean = world.loads_week * trade * liking * season * np.exp(shock) * (1.0 - lost)
    if world.loads_size > 0:
        mean = rng.gamma(world.loads_size, np.maximum(mean, 1e-9) / world.loads_size)
    return rng.poisson(mean)


def _hours(world: World, rng: np.random.Generator, coins: Ints, loads: Ints, faults: Sequence[Fault]) -> Floats:
    stores, pockets, weeks = coins.shape
    shape = (stores, pockets, weeks)
    per_coin = _paint(shape, faults, "minutes", world.coin_minutes)
    lasting = world.run_frac * np.exp(rng.normal(0.0, world.run_spread_pocket, (stores, pockets, 1)))
    shared = np.exp(rng.normal(0.0, world.run_spread_store_week, (stores, 1, weeks)))
    usual = world.coin_minutes * coins.mean(axis=2, keepdims=True) * world.run_frac
    free = _paint(shape, faults, "free") * usual
    service = rng.poisson(world.service_runs_week, shape) * world.service_run_minutes
    noise = world.run_noise_minutes * np.sqrt(loads) * rng.standard_normal(shape)
    return np.asarray(np.maximum(per_coin * coins * lasting * shared + free + service + noise, 0.0) / 60.0)


def _counter(world: World, rng: np.random.Generator, coins: Ints, faults: Sequence[Fault]) -> Ints:
    stores, pockets, weeks = coins.shape
    shape = (stores, pockets, weeks)
    bias = rng.normal(0.0, world.counter_bias, (stores, pockets, 1))
    twice = np.clip(_paint(shape, faults, "double", world.double) + np.maximum(bias, 0.0), 0.0, 1.0)
    never = np.clip(_paint(shape, faults, "miss", world.miss) + np.maximum(-bias, 0.0), 0.0, 1.0)
    return coins + rng.binomial(coins, twice) - rng.binomial(coins, never)


def skellam(rng: np.random.Generator, variance: Floats) -> Ints:
    """A whole-number error with mean zero and the given variance (difference of two Poisson draws)."""
    return rng.poisson(variance / 2.0) - rng.poisson(variance / 2.0)


def _counted(world: World, rng: np.random.Generator, box: Ints) -> Ints:
    if world.counted == "weight":
        n = box.astype(float)
        mass = n * (1.0 + rng.normal(0.0, world.batch_mass_cv, box.shape))
        mass += np.sqrt(n) * rng.normal(0.0, world.coin_mass_cv, box.shape)
        mass += rng.uniform(-world.scale_g, world.scale_g, box.shape) / world.coin_mass_g
        return np.maximum(np.rint(mass), 0.0).astype(np.int64)
    share = world.machine_error if world.counted == "machine" else world.hand_error
    return np.asarray(np.maximum(box + skellam(rng, np.asarray((share * box) ** 2, np.float64)), 0))


def _taken(rng: np.random.Generator, coins: Ints, faults: Sequence[Fault]) -> Ints:
    shape = (coins.shape[0], coins.shape[1], coins.shape[2])
    share = _paint(shape, faults, "theft") + _paint(shape, faults, "skim")
    burst = _paint(shape, faults, "bursts")
    if burst.any():
        burst *= 4.0 * (np.arange(shape[2]) % 4 == 2)
    return rng.binomial(coins, np.clip(share + burst, 0.0, 1.0))


def _totals(world: World, rng: np.random.Generator, counter: Ints, faults: Sequence[Fault]) -> tuple[Ints, Ints]:
    """Counter totals that never start again by themselves (resets and exchanges apart), and slips of the pen."""
    stores, pockets, weeks = counter.shape
    start = rng.integers(0, world.counter_size, (stores, pockets, 1))
    total: Ints = np.concatenate([start, start + np.cumsum(counter, axis=2)], axis=2)
    slips = np.zeros((stores, pockets, weeks + 1), np.int64)
    for f in faults:
        if f.kind in ("reset", "swap") and f.pocket is not None:
            t = f.first_week  # changed half way through this week: what fell before is lost to the counter
            half = int(counter[f.store, f.pocket, t]) // 2
            after = total[f.store, f.pocket, t + 1 :] - total[f.store, f.pocket, t] - half
            total[f.store, f.pocket, t + 1 :] = after + int(f.size)
        if f.kind == "typo" and f.pocket is not None:
            slips[f.store, f.pocket, f.first_week + 1] += int(f.size)
    return total, slips


def invent(
    world: World | None = None,
    *,
    stores: int,
    pockets: int,
    weeks: int,
    seed: int | np.random.Generator,
    faults: Sequence[Fault] = (),
) -> History:
    """Draw a history of ``stores`` x ``pockets`` x ``weeks`` with the faults planted.

    The same seed, world, sizes and faults give the same history. Raises `InputError` when a fault
    names a store, pocket or week that is not there.
    """
    world = world or World()
    shape = (stores, pockets, weeks)
    _check(shape, faults)
    rng = np.random.default_rng(seed)
    loads = _loads(world, rng, shape, np.clip(_paint(shape, faults, "avoided"), 0.0, 1.0))
    coins = world.start_coins * loads + rng.poisson(world.extra_coins * loads)
    hours = _hours(world, rng, coins, loads, faults)
    return _kept(world, rng, coins, hours, faults)


def from_use(
    coins: Ints,
    hours: Floats,
    world: World | None = None,
    *,
    seed: int | np.random.Generator,
    faults: Sequence[Fault] = (),
) -> History:
    """The same books kept over use that came from elsewhere: coins and motor hours (store, pocket, week).

    Faults of use are laid over it: lost loads thin coins and hours alike, wrong minutes and free running
    change the hours. Raises `InputError` as `invent` does.
    """
    world = world or World()
    shape = (coins.shape[0], coins.shape[1], coins.shape[2])
    _check(shape, faults)
    rng = np.random.default_rng(seed)
    left = 1.0 - np.clip(_paint(shape, faults, "avoided"), 0.0, 1.0)
    taken = rng.binomial(coins, left)
    per_coin = 1.0 + _paint(shape, faults, "minutes") / world.coin_minutes
    free = _paint(shape, faults, "free") * hours.mean(axis=2, keepdims=True)
    thinned = hours * taken / np.maximum(coins, 1)
    return _kept(world, rng, taken, np.asarray(np.maximum(thinned * per_coin + free, 0.0)), faults)


def _kept(world: World, rng: np.random.Generator, coins: Ints, hours: Floats, faults: Sequence[Fault]) -> History:
    """Counters, boxes, counts and meters over what was used."""
    stores, pockets, weeks = coins.shape
    counter = _counter(world, rng, coins, faults)
    slugs = rng.binomial(coins, np.clip(_paint((stores, pockets, weeks), faults, "slugs"), 0.0, 1.0))
    taken = _taken(rng, coins - slugs, faults)
    late = np.rint(rng.normal(0.0, world.offset_coins, (stores, pockets, weeks + 1))).astype(np.int64)
    jammed = rng.random((stores, pockets, weeks)) < world.jam_share
    jam = world.jam_coins * rng.choice((-1, 1), (stores, pockets, weeks)) * jammed
    box = np.maximum(coins - slugs - taken + np.diff(late, axis=2) + jam, 0)
    start = rng.uniform(200.0, 20_000.0, (stores, pockets, 1))
    meter = np.concatenate([start, start + np.cumsum(hours, axis=2)], axis=2)
    steps = np.floor(np.round(meter / world.meter_step_h, 9))
    total, slips = _totals(world, rng, counter, faults)
    return History(
        world=world,
        faults=tuple(faults),
        hours_read=steps * world.meter_step_h,
        counter_read=np.mod(total, world.counter_size) + slips,
        counter_total=total,
        slips=slips,
        counted=_counted(world, rng, box),
        rejects=slugs,
        coins=coins,
        counter=counter,
        hours=hours,
        taken=taken,
    )
