"""What a store and its settings must hold before a week can be simulated; all mistakes at once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from drybank.records.errors import InputError, InputErrors
from drybank.records.traffic import HOURS, BankSetting, Settings, Spread, Store, Visits
from drybank.traffic import places as pl

MOST_MACHINES = (1 << pl.SLOT_BITS) - pl.FIRST_WASHER
MOST_SECONDS = pl.MOST_WEEKS * 168 * 3600


def _number(where: str, value: float, low: float, high: float) -> Iterator[InputError]:
    if not (math.isfinite(value) and low <= value <= high):
        yield InputError(f"{value:g} cannot stand.", where=where, allowed=f"{low:g} to {high:g}")


def _spread(where: str, spread: Spread, low: float, high: float) -> Iterator[InputError]:
    counts = {"constant": (1, 1), "uniform": (2, 2), "exponential": (1, 1), "quantiles": (2, pl.ROW - 3)}
    least, most = counts[spread.kind]
    if not least <= len(spread.values) <= most:
        yield InputError(
            f"A {spread.kind} spread takes {least} to {most} values, not {len(spread.values)}.", where=where
        )
        return
    for value in spread.values:
        yield from _number(where, value, low, high)
    if any(b < a for a, b in pairwise(spread.values)):
        yield InputError("Quantiles must not fall.", where=where, mend="Give the lowest first.")
    if spread.kind == "exponential" and not spread.values[0] > 0:
        yield InputError("An exponential spread needs a mean above 0.", where=where)


def _shares(where: str, shares: Sequence[float], most: int) -> Iterator[InputError]:
    if not 1 <= len(shares) <= most:
        yield InputError(f"{len(shares)} shares given.", where=where, allowed=f"1 to {most} shares")
    elif not all(math.isfinite(s) and s >= 0 for s in shares) or abs(sum(shares) - 1) > 1e-9:
        yield InputError(f"Shares add to {sum(shares):g}.", where=where, mend="They must add to 1.")


def _by_hour(where: str, values: Sequence[float], high: float) -> Iterator[InputError]:
    if len(values) != HOURS:
        yield InputError(f"{len(values)} hours given.", where=where, mend="Give 168, from Monday 00:00 on.")
        return
    bad = next((h for h, v in enumerate(values) if not (math.isfinite(v) and 0 <= v <= high)), None)
    if bad is not None:
        yield InputError(f"Hour {bad} holds {values[bad]:g}.", where=where, allowed=f"0 to {high:g}")


def _fractions(where: str, **fracs: float) -> Iterator[InputError]:
    for name, value in fracs.items():
        yield from _number(f"{where}.{name}", value, 0.0, 1.0)


def _visits(v: Visits) -> Iterator[InputError]:
    yield from _shares("visits.loads_share", v.loads_share, pl.MOST_LOADS)
    yield from _shares("visits.size_share", v.size_share, pl.MOST_SIZES)
    if len(v.load_kg) != len(v.size_share):
        yield InputError(
            f"{len(v.load_kg)} masses for {len(v.size_share)} sizes.",
            where="visits.load_kg",
            mend="Give one spread for each size in size_share.",
        )
    for load in v.load_kg[: pl.MOST_SIZES]:
        yield from _spread("visits.load_kg", load, 0.001, 200.0)
    yield from _fractions(
        "visits", dry_only_frac=v.dry_only_frac, wash_only_frac=v.wash_only_frac, join_frac=v.join_frac,
        retry_frac=v.retry_frac,
    )  # fmt: skip
    yield from _spread("visits.washer_line_max", v.washer_line_max, 0, 1e9)
    yield from _spread("visits.pocket_line_max", v.pocket_line_max, 0, 1e9)
    for name in ("patience_washer_s", "patience_pocket_s", "retry_after_s"):
        yield from _spread(f"visits.{name}", getattr(v, name), 0, MOST_SECONDS)
    yield from _number("visits.retry_max", v.retry_max, 0, 90)


def _buying(store: Store) -> Iterator[InputError]:
    b = store.buying
    yield from _spread("buying.belief", b.belief, 0, 100)
    yield from _spread("buying.habit_extra_pieces", b.habit_extra_pieces, 0, 1000)
    yield from _spread("buying.away_s", b.away_s, 0, MOST_SECONDS)
    yield from _spread("buying.transfer_s", b.transfer_s, 0, 86_400)
    yield from _fractions(
        "buying", habit_frac=b.habit_frac, overbuy_frac=b.overbuy_frac, top_up_frac=b.top_up_frac,
        early_frac=b.early_frac, away_frac=b.away_frac,
    )  # fmt: skip
    yield from _number("buying.overbuy_pieces", b.overbuy_pieces, 0, 1000)
    yield from _number("buying.top_up_pieces_max", b.top_up_pieces_max, 1, 1000)
    yield from _number("buying.early_margin_s", b.early_margin_s, 0, 86_400)


def _machines(store: Store) -> Iterator[InputError]:
    count = sum(k.count for k in store.washers)
    if not store.pockets or count + len(store.pockets) > MOST_MACHINES:
        yield InputError(
            f"{len(store.pockets)} pockets and {count} washers.",
            where="store",
            allowed=f"at least one pocket, at most {MOST_MACHINES} machines together",
        )
    sizes = [k.size for k in store.washers]
    if len(set(sizes)) != len(sizes):
        yield InputError("A washer size is given twice.", where="washers", mend="Give each size once.")
    for kind in store.washers:
        yield from _number("washers.size", kind.size, 1, pl.MOST_SIZES)
        yield from _number("washers.count", kind.count, 1, MOST_MACHINES)
        yield from _spread("washers.cycle_s", kind.cycle_s, 0, MOST_SECONDS)
    wanted = len(store.visits.size_share)
    if store.visits.dry_only_frac < 1 and max(sizes, default=0) < wanted:
        yield InputError(
            f"Loads of size {wanted} come, but no washer takes them.",
            where="washers",
            mend=f"Add a washer of size {wanted} or larger, or give fewer sizes in size_share.",
        )
    for p, pocket in enumerate(store.pockets):
        where = f"pocket {pocket.name}"
        yield from _number(f"{where} capacity_kg", pocket.capacity_kg, 0.01, 200.0)
        if p and pocket.bank < store.pockets[p - 1].bank:
            yield InputError("Pockets of a bank must stand together.", where=where)
        for span in pocket.out:
            if not (0 <= span.from_s < span.to_s <= MOST_SECONDS):
                yield InputError("An outage must end after it begins.", where=where)


def _house(store: Store) -> Iterator[InputError]:
    a, s = store.arrivals, store.staff
    yield from _by_hour("arrivals.by_hour", a.by_hour, 100_000)
    if a.drop_off_by_hour:
        yield from _by_hour("arrivals.drop_off_by_hour", a.drop_off_by_hour, 100_000)
    if not 1 <= len(a.season) <= pl.SEASON:
        yield InputError(f"{len(a.season)} weeks given.", where="arrivals.season", allowed="1 to 53 factors")
    for factor in a.season:
        yield from _number("arrivals.season", factor, 0, 100)
    if s.attended and len(s.attended) != HOURS:
        yield InputError(f"{len(s.attended)} hours given.", where="staff.attended", allowed="168 or none")
    yield from _number("staff.empty_after_s", s.empty_after_s, -1e9, MOST_SECONDS)
    yield from _number("staff.others_empty_after_s", s.others_empty_after_s, -1e9, MOST_SECONDS)
    yield from _number("staff.keep_free", s.keep_free, 0, MOST_MACHINES)
    yield from _number("store.fill_frac", store.fill_frac, 0.05, 1.0)
    yield from _number("store.first_week", store.first_week, 1, pl.SEASON)
    if store.breakdowns is not None:
        yield from _spread("breakdowns.between_s", store.breakdowns.between_s, 60, 1e10)
        yield from _spread("breakdowns.repair_s", store.breakdowns.repair_s, 1, 1e10)


def _bank(where: str, bank: BankSetting) -> Iterator[InputError]:
    coin, need = bank.coin, bank.need
    yield from _number(f"{where} start_pieces", coin.start_pieces, 1, 10_000)
    yield from _number(f"{where} first_time_s", coin.first_time_s, 1, MOST_SECONDS)
    yield from _number(f"{where} piece_time_s", coin.piece_time_s, 1, MOST_SECONDS)
    yield from _number(f"{where} cool_down_s", coin.cool_down_s, 0, 86_400)
    if coin.cool_down_inside and coin.cool_down_s >= coin.first_time_s:
        yield InputError("The cool-down leaves no heat in the first time.", where=where)
    if coin.limit_s and coin.limit_s < max(coin.first_time_s, coin.piece_time_s + coin.cool_down_s):
        yield InputError(
            f"The clock holds {coin.limit_s} s, less than a start or a piece buys.", where=f"{where} limit_s"
        )
    masses = need.load_kg
    steps = [b - a for a, b in pairwise(masses)]
    if not masses or any(s <= 0 or abs(s - steps[0]) > 1e-9 * masses[-1] for s in steps):
        yield InputError("Masses of the need table must rise in equal steps.", where=where)
    kinds = {len(row) for row in need.need_s}
    if len(need.need_s) != len(masses) or len(kinds) != 1 or not 1 <= max(kinds) <= pl.KINDS:
        yield InputError(
            "The need table must have one row for each mass, all of the same length.",
            where=where,
            allowed=f"1 to {pl.KINDS} kinds of load",
        )
    for row in need.need_s:
        for value in row:
            yield from _number(f"{where} need_s", value, 0, MOST_SECONDS)
    if not 1 <= len(need.season) <= pl.SEASON:
        yield InputError(f"{len(need.season)} weeks given.", where=f"{where} season", allowed="1 to 53 factors")
    for factor in need.season:
        yield from _number(f"{where} season", factor, 0, 100)


def _raise(errors: list[InputError]) -> None:
    if errors:
        raise errors[0] if len(errors) == 1 else InputErrors(errors)


def check_store(store: Store) -> None:
    """Raise `InputError` (or `InputErrors`) if the store cannot be simulated."""
    parts = (_visits(store.visits), _buying(store), _machines(store), _house(store))
    _raise([e for part in parts for e in part])


def check_settings(store: Store, settings: Settings) -> None:
    """Raise `InputError` if the settings do not belong to the store's banks or cannot be sold."""
    banks = max(p.bank for p in store.pockets) + 1
    if len(settings.banks) != banks or {p.bank for p in store.pockets} != set(range(banks)):
        raise InputError(
            f"The store has {banks} banks, the settings {len(settings.banks)}.",
            where="settings.banks",
            mend="Give one setting for each bank, and number banks from 0 without a gap.",
        )
    errors = [e for b, bank in enumerate(settings.banks) for e in _bank(f"bank {b + 1}:", bank)]
    if settings.demand.factor_by_hour:
        errors += _by_hour("demand.factor_by_hour", settings.demand.factor_by_hour, 100)
    _raise(errors)
