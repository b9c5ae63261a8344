"""From records to the kernel's arrays, with every size guarded and every mistake said plainly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from drybank.records.errors import InputError
from drybank.records.traffic import HOURS, Settings, Spread, Store
from drybank.traffic import chance
from drybank.traffic import places as pl
from drybank.traffic.checks import check_settings, check_store

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]


class World(NamedTuple):
    """A packed store: everything the kernel reads and writes."""

    ints: Ints
    floats: Floats
    people_max: int
    weeks: int
    pockets: int


def ticks(seconds: float) -> int:
    """Whole ticks of a span in seconds."""
    return int(seconds * pl.SECOND + 0.5)


def spread_row(spread: Spread, scale: float) -> list[float]:
    """One packed spread: mean of an exponential or 0, last index, values; scaled to the kernel's unit."""
    values = [v * scale for v in spread.values]
    if spread.kind == "exponential":
        return [values[0], 1.0, *([0.0] * (pl.ROW - 2))]
    if spread.kind == "constant":
        values = [values[0], values[0]]
    return [0.0, float(len(values) - 1), *values, *([values[-1]] * (pl.ROW - 2 - len(values)))]


def _spreads(store: Store) -> Floats:
    v, b = store.visits, store.buying
    rows = {
        pl.D_WLINE: (v.washer_line_max, 1.0), pl.D_PLINE: (v.pocket_line_max, 1.0),
        pl.D_PATIENCE_W: (v.patience_washer_s, pl.SECOND), pl.D_PATIENCE_P: (v.patience_pocket_s, pl.SECOND),
        pl.D_RETRY: (v.retry_after_s, pl.SECOND), pl.D_BELIEF: (b.belief, 1.0),
        pl.D_HABIT: (b.habit_extra_pieces, 1.0), pl.D_AWAY: (b.away_s, pl.SECOND),
        pl.D_TRANSFER: (b.transfer_s, pl.SECOND),
    }  # fmt: skip
    if store.breakdowns is not None:
        rows[pl.D_BETWEEN] = (store.breakdowns.between_s, pl.SECOND)
        rows[pl.D_REPAIR] = (store.breakdowns.repair_s, pl.SECOND)
    for z, load in enumerate(v.load_kg):
        rows[pl.D_MASS + z] = (load, 1000.0)
    for kind in store.washers:
        rows[pl.D_CYCLE + kind.size - 1] = (kind.cycle_s, pl.SECOND)
    out = np.zeros((pl.DISTS, pl.ROW))
    for row, (spread, scale) in rows.items():
        out[row] = spread_row(spread, scale)
    return out.reshape(-1)


def _chances(store: Store) -> Floats:
    v, b = store.visits, store.buying
    out = np.ones(pl.PROBS)
    out[: pl.PR_LOADS] = (
        v.retry_frac, v.join_frac, v.dry_only_frac, v.wash_only_frac, b.habit_frac,
        b.overbuy_frac if b.overbuy_pieces else 0.0, b.top_up_frac, b.early_frac, b.away_frac,
    )  # fmt: skip
    loads, sizes = np.cumsum(v.loads_share), np.cumsum(v.size_share)
    out[pl.PR_LOADS : pl.PR_LOADS + len(loads) - 1] = loads[:-1]
    out[pl.PR_SIZES : pl.PR_SIZES + len(sizes) - 1] = sizes[:-1]
    return out


def _rows(store: Store) -> Ints:
    """Rows of at most 64 neighbouring pockets of one bank: first pocket, bank, pockets."""
    rows: list[list[int]] = []
    for p, pocket in enumerate(store.pockets):
        if not rows or rows[-1][1] != pocket.bank or rows[-1][2] == pl.ROW_MOST:
            rows.append([p, pocket.bank, *([0] * (pl.ROW_FIELDS - 2))])
        rows[-1][2] += 1
    return np.array(rows, dtype=np.int64).reshape(-1)


def _coins(store: Store, settings: Settings) -> Ints:
    out = np.zeros((len(settings.banks), pl.COIN_FIELDS), dtype=np.int64)
    for b, bank in enumerate(settings.banks):
        coin = bank.coin
        cool, each = ticks(coin.cool_down_s), ticks(coin.piece_time_s)
        limit = ticks(coin.limit_s) if coin.limit_s else pl.LATEST
        capacity = min(p.capacity_kg for p in store.pockets if p.bank == b)
        out[b] = (
            coin.start_pieces, ticks(coin.first_time_s), each,
            limit, cool, cool if coin.cool_down_inside else 0,
            max(1, int(capacity * store.fill_frac * 1000)), len(bank.need.need_s[0]),
            max(0, (limit - ticks(coin.first_time_s)) // each) + coin.start_pieces,
            max(1, (limit - (cool if coin.cool_down_inside else 0)) // each), *([0] * 6),
        )  # fmt: skip
    return out.reshape(-1)


def _needs(settings: Settings) -> tuple[Floats, Floats, Floats, int]:
    """Need tables by bank, mass and kind in ticks, padded at the far end; mass axes; seasons."""
    most = max(len(b.need.load_kg) for b in settings.banks) + 1
    need = np.zeros((len(settings.banks), most, pl.KINDS))
    axis = np.zeros((len(settings.banks), 4))
    season = np.ones((len(settings.banks), pl.SEASON))
    for b, bank in enumerate(settings.banks):
        masses, kinds = bank.need.load_kg, len(bank.need.need_s[0])
        table = np.asarray(bank.need.need_s) * pl.SECOND
        need[b, : len(masses), :kinds] = table
        need[b, len(masses) :, :kinds] = table[-1]
        step = (masses[-1] - masses[0]) / (len(masses) - 1) if len(masses) > 1 else 1.0
        axis[b] = masses[0] * 1000, 1.0 / (step * 1000), len(masses) - 1, 1.0 / ticks(bank.coin.piece_time_s)
        season[b] = np.resize(bank.need.season, pl.SEASON)
    return need.reshape(-1), axis.reshape(-1), season.reshape(-1), most


def _rates(store: Store, settings: Settings) -> tuple[Floats, Floats, Floats]:
    """Expected arrivals a tick by stream and hour, the share that stays, and the season."""
    walk = np.asarray(store.arrivals.by_hour, dtype=float)
    factor = np.asarray(settings.demand.factor_by_hour or (1.0,) * HOURS)
    drop = np.asarray(store.arrivals.drop_off_by_hour or (0.0,) * HOURS)
    extra = walk * np.maximum(factor - 1.0, 0.0)
    rates = np.concatenate([walk, extra, drop]) / pl.HOUR
    return rates, np.minimum(factor, 1.0), np.resize(store.arrivals.season, pl.SEASON).astype(float)


def _plan(store: Store, horizon: int, warm: int) -> Ints:
    events: list[tuple[int, int, int]] = [(warm, pl.PLAN_WARM, 0)] if warm else []
    for p, pocket in enumerate(store.pockets):
        for span in pocket.out:
            events += [(ticks(span.from_s), pl.PLAN_OUT, p), (ticks(span.to_s), pl.PLAN_BACK, p)]
    attended = store.staff.attended
    if attended and store.arrivals.drop_off_by_hour:
        begins = [h for h in range(HOURS) if attended[h] and not attended[h - 1]]
        for week in range(-(-horizon // pl.WEEK)):
            events += [(week * pl.WEEK + h * pl.HOUR, pl.PLAN_STAFF, 0) for h in begins]
    events.sort()
    return np.array([*events, (pl.LATEST, pl.PLAN_WARM, 0), (pl.LATEST, 0, 0)], dtype=np.int64).reshape(-1)


def _power_of_two(n: int) -> int:
    return 1 << max(1, math.ceil(math.log2(max(n, 2))))


def _config(store: Store, settings: Settings, *, weeks: int, people: int, rows: int, need_masses: int) -> Ints:
    washers, pockets = sum(k.count for k in store.washers), len(store.pockets)
    staff = store.staff
    empties = [ticks(s) if s >= 0 else -1 for s in (staff.empty_after_s, staff.others_empty_after_s)]
    cfg = np.zeros(20, dtype=np.int64)
    cfg[pl.TREE] = _power_of_two(pl.FIRST_WASHER + washers + pockets)
    cfg[pl.PEOPLE], cfg[pl.RING] = people, max(people, _power_of_two(pockets))
    cfg[pl.FTREE] = _power_of_two(pockets)
    cfg[pl.POCKETS], cfg[pl.WASHERS], cfg[pl.ROWS] = pockets, washers, rows
    cfg[pl.SIZES] = max([len(store.visits.size_share), *(k.size for k in store.washers)])
    cfg[pl.FIRST_POCKET], cfg[pl.HORIZON] = pl.FIRST_WASHER + washers, weeks * pl.WEEK
    cfg[pl.FIRST_WEEK], cfg[pl.RETRY_MAX] = store.first_week - 1, store.visits.retry_max
    cfg[pl.EMPTY_STAFFED], cfg[pl.EMPTY_OTHERS] = empties
    cfg[pl.KEEP_FREE], cfg[pl.OVERBUY] = staff.keep_free, store.buying.overbuy_pieces
    cfg[pl.TOP_UP_MAX] = store.buying.top_up_pieces_max
    cfg[pl.EARLY_MARGIN], cfg[pl.NEED_MASSES] = ticks(store.buying.early_margin_s), need_masses
    cfg[pl.BREAKS] = store.breakdowns is not None
    return cfg


def pack(store: Store, settings: Settings, *, weeks: int, warm_weeks: int, people_max: int) -> World:
    """Arrays of one simulation; what changes while it runs is made fresh at each call."""
    check_store(store)
    check_settings(store, settings)
    total = weeks + warm_weeks
    if not (weeks >= 1 and warm_weeks >= 0 and total <= pl.MOST_WEEKS):
        raise InputError("So many weeks cannot be simulated at once.", allowed=f"1 to {pl.MOST_WEEKS} weeks")
    people = _power_of_two(people_max)
    if not 2 <= people <= 1 << pl.SLOT_BITS:
        raise InputError("So many people cannot be inside at once.", allowed=f"2 to {1 << pl.SLOT_BITS}")
    rows = _rows(store)
    need, axis, nseason, most = _needs(settings)
    n_rows = len(rows) // pl.ROW_FIELDS
    cfg = _config(store, settings, weeks=total, people=people, rows=n_rows, need_masses=most)
    rates, keep, season = _rates(store, settings)
    washers = [v for k in store.washers for _ in range(k.count) for v in (0, k.size - 1)]
    tables = {
        pl.AT_ROW: rows, pl.AT_WASHER: np.array(washers, dtype=np.int64), pl.AT_COIN: _coins(store, settings),
        pl.AT_PLAN: _plan(store, total * pl.WEEK, warm_weeks * pl.WEEK),
    }  # fmt: skip
    ints = _lay_out(cfg, tables, total)
    ints[pl.ATTENDED : pl.ATTENDED + HOURS] = store.staff.attended or 0
    fixed = {pl.PROB: _chances(store), pl.RATES: rates, pl.KEEP: keep, pl.SEASONS: season}
    floats = np.zeros(pl.FLOATS_END + len(need) + len(axis) + len(nseason))
    floats[: pl.PROB] = _spreads(store)
    for at, values in fixed.items():
        floats[at : at + len(values)] = values
    at = pl.FLOATS_END
    for name, values in ((pl.AT_NEED, need), (pl.AT_NEEDX, axis), (pl.AT_NSEASON, nseason)):
        ints[name], at = at, at + len(values)
        floats[ints[name] : at] = values
    return World(ints=ints, floats=floats, people_max=people, weeks=total, pockets=len(store.pockets))


def _lay_out(cfg: Ints, tables: dict[int, Ints], weeks: int) -> Ints:
    """One array for every integer, each part from a cache line's start, its address in the head."""
    people, pockets = int(cfg[pl.PEOPLE]), int(cfg[pl.POCKETS])
    sizes = {
        pl.AT_TREE: 2 * int(cfg[pl.TREE]), pl.AT_PTREE: 2 * people, pl.AT_FTREE: 2 * int(cfg[pl.FTREE]),
        pl.AT_PERSON: people << pl.PERSON_SHIFT, pl.AT_POOL: people, pl.AT_POCKET: pockets << pl.POCKET_SHIFT,
        pl.AT_WSTACK: pl.MOST_SIZES * max(int(cfg[pl.WASHERS]), 1), pl.AT_RING: pl.RINGS * int(cfg[pl.RING]),
        pl.AT_SERIES: weeks * pockets * pl.METERS, **{name: len(table) for name, table in tables.items()},
    }  # fmt: skip
    head, at = np.zeros(pl.ST, dtype=np.int64), -(-pl.INTS_END // 8) * 8
    head[: len(cfg)] = cfg
    for name, size in sizes.items():
        head[name], at = at, at + -(-size // 8) * 8
    ints = aligned(at)
    ints[: pl.ST] = head
    for name, table in tables.items():
        ints[head[name] : head[name] + len(table)] = table
    return ints


def aligned(n: int) -> Ints:
    """``n`` zeros that begin on a cache line."""
    room = np.zeros(n + 8, dtype=np.int64)
    skip = (-room.ctypes.data // 8) % 8
    return room[skip : skip + n]


def stream_keys(seed: int, replications: int, first: int = 0) -> npt.NDArray[np.uint64]:
    """Keys of each replication's streams (walk-in, extra, drop-off, breakdowns)."""
    root = chance.mix(seed & chance.MASK)
    rows = [[chance.draw(chance.draw(root, first + r), s) for s in range(pl.STREAMS + 1)] for r in range(replications)]
    return np.array(rows, dtype=np.uint64).reshape(replications, pl.STREAMS + 1)


def fault(code: int, people_max: int) -> InputError:
    """The plain sentence of a guard that stopped the kernel."""
    if code == pl.FAULT_PEOPLE:
        return InputError(
            f"More than {people_max:,} people were in the store at once.",
            mend="More loads arrive than the machines take and nobody loses patience: "
            "check arrivals and machines, give customers a patience, or raise people_max.",
        )
    return InputError("A waiting line outgrew its room.", mend="Raise people_max.")


def quantity(values: Sequence[float]) -> str:
    """A short list of figures for a sentence."""
    return ", ".join(f"{v:g}" for v in values)
