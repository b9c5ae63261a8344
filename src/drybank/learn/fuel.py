"""Fuel of a heated hour: bills against hours, outdoor air, washes and dated changes.

Each bill is divided by its hours, so that a long month weighs no more than a short one:

    fuel / hours = hour + standing x days / hours + air x (REF_C - outdoor air) + wash x washes / hours + change x share after

A meter that also feeds the washers' water heater needs the washes; without them no share of the bill can be told to be
the dryers', and the physics with its band stands instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from drybank.learn.compare import t_edge
from drybank.learn.regress import Fitted, least_squares, ratio
from drybank.records.errors import InputError, InputErrors, NotIdentified
from drybank.records.finding import Cause, Finding
from drybank.records.learn import F64, FuelBill, FuelLearned
from drybank.records.working import Estimate, Input, Interval, Working

REF_C: Final = 20.0
"""Outdoor air at which the hour is stated; degrees below it are counted."""
LAST_BILLS: Final = 3
LEAST_BILLS: Final = 6
LEAST_SPREAD_C: Final = 2.0
"""Spread of bills' outdoor air below which a degree's share is not asked for."""
WIDEST_FRAC: Final = 0.50
"""Half-width of the hour's fuel beyond which bills have told nothing."""
CAUSES: Final = (
    "lint in screen, cabinet or duct", "too little make-up air or a choked duct", "burner or gas pressure",
    "a door seal that leaks", "wetter loads: washers that spin less well", "colder or damper air than the bills before had",
)  # fmt: skip


def learn_fuel(
    bills: Sequence[FuelBill],
    *,
    fuel: str,
    unit: str,
    is_shared: bool,
    physics: Estimate,
    changes: Sequence[str] = (),
    at: str = "store",
) -> FuelLearned:
    """Fuel of a heated hour from bills, or the physics' band with "cannot tell".

    ``changes`` name the dated services or settings of `FuelBill.share_after`, in order. Raises `InputErrors` for bills that
    cannot be.
    """
    _refuse(bills, len(changes))
    span = (bills[0].first, bills[-1].last) if bills else ("", "")
    if is_shared and any(b.washes is None for b in bills):
        why = "The meter also feeds the washers' water heater, and washes are not counted: enter wash counts, or a hot-water meter."
        return _cannot(why, fuel, unit, len(bills), span, physics)
    if len(bills) < LEAST_BILLS:
        return _cannot(
            f"{len(bills)} bills are too few; it takes {LEAST_BILLS}.", fuel, unit, len(bills), span, physics
        )
    names, columns, notes = _columns(bills, is_shared)
    y = np.array([b.quantity / b.hours for b in bills])
    try:
        fit, names, columns, dropped = _fit(names, columns, y, bills, changes)
    except NotIdentified as no:
        return _cannot(no.sentence(), fuel, unit, len(bills), span, physics)
    hour = fit.estimate(_hour(names, columns), f"{unit} an hour")
    assert hour.interval is not None
    if hour.value <= 0 or hour.interval.high - hour.value > WIDEST_FRAC * hour.value:
        return _cannot("The bills scatter too much to tell the hour's fuel.", fuel, unit, len(bills), span, physics)
    off, findings = _last_off(names, columns, y, at)
    base = _hour(names, columns, without=changes)
    moved = tuple((n, ratio(fit, _row(names, n), base)) for n in changes if n in names)
    return FuelLearned(
        fuel=fuel, unit=unit, verdict="learned", per_hour=_worked(hour, names, bills), bills=len(bills),
        per_day=_one(fit, names, "days", f"{unit} a day"), per_degree_hour=_one(fit, names, "air", f"{unit} an hour a degree"),
        per_wash=_one(fit, names, "washes", f"{unit} a wash"), changes=moved, last_off=off, data_from=span[0], data_to=span[1],
        says=_says(hour, unit, moved), findings=(*findings, *_after_changes(moved, at)), notes=(*notes, *dropped),
    )  # fmt: skip


def _refuse(bills: Sequence[FuelBill], changes: int) -> None:
    wrong = [
        InputError(f"The bill {b.first} to {b.last} has {b.hours:g} hours, {b.days:g} days and {b.quantity:g} on it.",
                   mend="Leave out bills without hours; enter readings about their days.")
        for b in bills
        if not (np.isfinite([b.hours, b.days, b.quantity]).all() and b.hours > 0 and b.days > 0 and b.quantity >= 0)
        or len(b.share_after) != changes
    ]  # fmt: skip
    if wrong:
        raise InputErrors(wrong)


def _columns(bills: Sequence[FuelBill], is_shared: bool) -> tuple[list[str], F64, list[str]]:
    hours = np.array([b.hours for b in bills])
    names, columns, notes = ["hour"], [np.ones(len(bills))], []
    if is_shared:
        names.append("washes")
        columns.append(np.array([b.washes or 0.0 for b in bills]) / hours)
    air = np.array([np.nan if b.air_c is None else b.air_c for b in bills])
    if np.isfinite(air).all() and air.std() >= LEAST_SPREAD_C:
        names.append("air")
        columns.append(REF_C - air)
    else:
        notes.append("Outdoor air is not taken out: it is not known for every bill, or hardly differs.")
    names.append("days")
    columns.append(np.array([b.days for b in bills]) / hours)
    return names, np.column_stack(columns), notes


def _fit(
    names: list[str], columns: F64, y: F64, bills: Sequence[FuelBill], changes: Sequence[str]
) -> tuple[Fitted, list[str], F64, list[str]]:
    """The fullest fit that bills can carry: what stands whatever runs goes first, then the air."""
    shares = np.array([b.share_after for b in bills]).reshape(len(bills), len(changes))
    use = [i for i in range(len(changes)) if 0.5 < shares[:, i].sum() < len(bills) - 0.5]
    dropped = [f"{changes[i]}: all bills lie on one side of it." for i in range(len(changes)) if i not in use]
    names = names + [changes[i] for i in use]
    columns = np.column_stack([columns, shares[:, use]]) if use else columns
    ratio_spread = columns[:, names.index("days")].std() / columns[:, names.index("days")].mean()
    leave = ["days"] if ratio_spread < 0.03 else []
    for name in (*leave, "days", "air"):
        if name in names and (name in leave or len(bills) < len(names) + 3):
            keep = [i for i, n in enumerate(names) if n != name]
            names, columns = [names[i] for i in keep], columns[:, keep]
            dropped.append(f"What {'burns whether or not dryers run' if name == 'days' else 'outdoor air does'} cannot be told from these bills; it is in the hour's figure.")  # fmt: skip
            leave = []
    return least_squares(columns, y), names, columns, dropped


def _hour(names: Sequence[str], columns: F64, without: Sequence[str] = ()) -> F64:
    """The hour at the bills' own mean air, with the latest changes in force."""
    row = np.zeros(len(names))
    row[0] = 1.0
    for i, name in enumerate(names):
        if name == "air":
            row[i] = columns[:, i].mean()
        elif name not in ("hour", "days", "washes") and name not in without:
            row[i] = 1.0
    return row


def _row(names: Sequence[str], name: str) -> F64:
    return np.array([1.0 if n == name else 0.0 for n in names])


def _one(fit: Fitted, names: Sequence[str], name: str, unit: str) -> Estimate | None:
    return fit.estimate(_row(names, name), unit) if name in names else None


def _last_off(names: Sequence[str], columns: F64, y: F64, at: str) -> tuple[Estimate | None, tuple[Finding, ...]]:
    """The last bills against what those before make of them, with the prediction's own interval."""
    early, late = columns[:-LAST_BILLS], columns[-LAST_BILLS:]
    varies = [i for i in range(len(names)) if i == 0 or np.ptp(early[:, i]) > 0]
    try:
        fit = least_squares(early[:, varies], y[:-LAST_BILLS])
    except NotIdentified:
        return None, ()
    if any(np.ptp(columns[:, i]) > 0 for i in range(len(names)) if i not in varies):
        return None, ()  # something was changed within the last bills: that change has its own figure
    row = late[:, varies].mean(axis=0)
    expected, se = fit.of(row)
    half = t_edge(fit.df) * float(np.sqrt(se**2 + fit.variance / LAST_BILLS))
    if expected <= 0:
        return None, ()
    off = float(y[-LAST_BILLS:].mean()) - expected
    estimate = Estimate(
        value=off / expected, unit="fraction", interval=Interval((off - half) / expected, (off + half) / expected)
    )
    says = (
        f"The last {LAST_BILLS} bills burned {100 * off / expected:+.0f} % an hour against the ones before "
        f"(give or take {100 * half / expected:.0f})."
    )
    return estimate, (_finding(says, estimate, f"learn/fuel/{at}", at),) if off > half else ()


def _after_changes(moved: Sequence[tuple[str, Estimate]], at: str) -> tuple[Finding, ...]:
    return tuple(
        _finding(f"Since {name} an hour burns {100 * e.value:.0f} % more ({100 * e.interval.low:.0f} to {100 * e.interval.high:.0f}).",
                 e, f"learn/fuel/{at}/{name}", at)
        for name, e in moved
        if e.interval is not None and e.interval.low > 0
    )  # fmt: skip


def _finding(says: str, size: Estimate, key: str, at: str) -> Finding:
    return Finding(
        key=key, room="learn", name="fuel per hour", where=at, says=says, weight="money", size=size,
        certainty="beyond chance at 2.5 %", causes=tuple(Cause(name=n, chance=None) for n in CAUSES),
        next_check="Clean lint screens and cabinets, then clock the gas meter on each pocket; weigh a load as it leaves a washer.",
    )  # fmt: skip


def _says(hour: Estimate, unit: str, moved: Sequence[tuple[str, Estimate]]) -> str:
    assert hour.interval is not None
    text = f"A heated hour burns {hour.value:.3g} {unit} (give or take {(hour.interval.high - hour.interval.low) / 2:.2g})."
    for name, e in moved:
        if e.interval is not None:
            seen = "" if not e.interval.low <= 0 <= e.interval.high else ", which may be chance"
            text += f" Since {name} it is {100 * e.value:+.0f} % ({100 * e.interval.low:+.0f} to {100 * e.interval.high:+.0f}){seen}."
    return text


def _worked(hour: Estimate, names: Sequence[str], bills: Sequence[FuelBill]) -> Estimate:
    working = Working(
        figure="fuel of a heated hour",
        formula="least squares of fuel over hours on: " + ", ".join(names),
        inputs=(
            Input(name="bills", value=f"{len(bills)}, {bills[0].first} to {bills[-1].last}", how="measured"),
            Input(name="hours", value=f"{sum(b.hours for b in bills):.0f}", unit="h", how="measured"),
        ),
    )
    return Estimate(value=hour.value, unit=hour.unit, interval=hour.interval, how="learned", working=working)


def _cannot(why: str, fuel: str, unit: str, bills: int, span: tuple[str, str], physics: Estimate) -> FuelLearned:
    band = physics.assumption
    words = "" if band is None else f" ({band.low:.3g} to {band.high:.3g}, assumed)"
    return FuelLearned(
        fuel=fuel, unit=unit, verdict="cannot tell", per_hour=physics, per_day=None, per_degree_hour=None, per_wash=None,
        bills=bills, data_from=span[0], data_to=span[1],
        says=f"Fuel of an hour cannot be told from the bills. {why} By the drying runs it is {physics.value:.3g} {unit}{words}.",
    )  # fmt: skip
