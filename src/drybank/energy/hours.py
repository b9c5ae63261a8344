"""Hourly use sorted into a tariff's day parts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drybank.records.energy import DayPart, Peak, Tariff, Usage
from drybank.records.errors import InputError

Hours = NDArray[np.floating[Any]]


def day_part_of(tariff: Tariff, moment: dt.datetime, *, holidays: Collection[dt.date] = ()) -> str:
    """Name of the day part that an hour belongs to, by the store's local clock; the first fit takes it."""
    for part in tariff.day_parts:
        if _fits(part, moment, moment.date() in holidays):
            return part.name
    return tariff.other_hours


def usage_from_hours(
    tariff: Tariff,
    first_hour: dt.datetime,
    hourly_quantity: Hours,
    *,
    holidays: Collection[dt.date] = (),
    earlier_peaks: tuple[Peak, ...] = (),
) -> Usage:
    """A usage from use hour by hour, in the tariff's unit, with peaks and day parts.

    ``first_hour`` is local clock; hours follow each other. Demand is the highest hourly mean:
    a supplier who measures quarter hours bills the same or more, so this is a lower bound.
    """
    values = np.asarray(hourly_quantity, dtype=np.float64)
    if values.ndim != 1 or values.size == 0 or not np.isfinite(values).all() or (values < 0).any():
        raise InputError("hourly use must be a row of numbers of zero or more.", where="hourly use")
    parts = [day_part_of(tariff, first_hour + dt.timedelta(hours=i), holidays=holidays) for i in range(values.size)]
    names = np.array(parts)
    by_part = {name: _thousandths(values[names == name].sum()) for name in dict.fromkeys(parts)}
    electric = tariff.fuel == "electricity" and tariff.unit == "kWh"
    peaks = {n: _thousandths(values[names == n].max()) for n in by_part} if electric else {}
    return Usage(
        first_day=first_hour.date(),
        last_day=(first_hour + dt.timedelta(hours=values.size - 1)).date(),
        quantity=sum(by_part.values(), Decimal(0)),
        by_day_part=by_part if tariff.day_parts else {},
        demand_kw=max(peaks.values(), default=Decimal(0)),
        demand_kw_by_day_part=peaks if tariff.day_parts else {},
        earlier_peaks=earlier_peaks,
    )


def _fits(part: DayPart, moment: dt.datetime, is_holiday: bool) -> bool:
    weekday = moment.isoweekday()
    if is_holiday and part.holidays_count_as is not None:
        weekday = part.holidays_count_as
    if weekday not in part.weekdays or moment.month not in part.months:
        return False
    if part.from_hour < part.to_hour:
        return part.from_hour <= moment.hour < part.to_hour
    return moment.hour >= part.from_hour or moment.hour < part.to_hour


def _thousandths(value: float) -> Decimal:
    return Decimal(round(value * 1000)).scaleb(-3)
