"""Simulated fleets: weekly hours of pockets by a seeded model that the forecast does not know.

Loads a week are negative binomial about a mean = store trade x pocket popularity x season x store-week shock
(first-order autoregressive); hours are loads times time. Constants are common practice, no source.
"""

from datetime import date, timedelta

import numpy as np

from drybank.records.upkeep import Span

FIRST = date(2023, 1, 2)


def store_hours(rng, *, pockets=12, weeks=156, loads=35.0, season=0.08, shock=0.06, rho=0.6, drift_sd=0.0):
    """Hours (pockets, weeks) of one store."""
    t = np.arange(weeks)
    phase = rng.uniform(0, 2 * np.pi)
    log = season * np.cos(2 * np.pi * t / 52.18 + phase) + np.cumsum(rng.normal(0, drift_sd, weeks))
    e = np.zeros(weeks)
    for k in range(1, weeks):
        e[k] = rho * e[k - 1] + rng.normal(0, shock * np.sqrt(1 - rho**2))
    mean = loads * np.exp(rng.normal(0, 0.4)) * np.exp(rng.normal(0, 0.2, pockets))[:, None] * np.exp(log + e)
    r = 80.0
    n = rng.poisson(mean * rng.gamma(r, 1 / r, mean.shape))
    return n * rng.normal(0.6, 0.01, pockets)[:, None]


def spans_of(hours, first=FIRST):
    """One span a week, the meter read in whole hours."""
    read = np.floor(np.concatenate([[0.0], np.cumsum(hours)]))
    used = np.diff(read)
    return [
        Span(first=first + timedelta(weeks=k), last=first + timedelta(weeks=k + 1), amount=float(a))
        for k, a in enumerate(used)
    ]
