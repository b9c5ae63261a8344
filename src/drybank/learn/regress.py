"""Ordinary least squares with Student's intervals, and what a later mean should be."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np

from drybank.learn.compare import t_edge
from drybank.records.errors import NotIdentified
from drybank.records.learn import F64
from drybank.records.working import Estimate, Interval

ILL: Final = 1e6
"""Condition of the scaled columns beyond which they are the same column twice."""


class Fitted(NamedTuple):
    """Coefficients (p,), their covariance (p, p), residual variance and degrees of freedom."""

    beta: F64
    cov: F64
    variance: float
    df: int

    def of(self, row: F64) -> tuple[float, float]:
        """A linear combination of the coefficients and its standard error."""
        return float(row @ self.beta), math.sqrt(max(float(row @ self.cov @ row), 0.0))

    def estimate(self, row: F64, unit: str) -> Estimate:
        value, se = self.of(row)
        half = t_edge(self.df) * se
        return Estimate(value=value, unit=unit, interval=Interval(value - half, value + half), how="learned")


def least_squares(columns: F64, y: F64) -> Fitted:
    """Fit y (n,) by columns (n, p). Raises `NotIdentified` with too few rows, or columns that say the same."""
    n, p = columns.shape
    if n < p + 2:
        raise NotIdentified(f"{n} rows cannot tell {p} figures; it takes {p + 2}.")
    scale = np.sqrt((columns**2).sum(axis=0))
    if (scale == 0).any():
        raise NotIdentified("A column holds nothing but nought.")
    q, r = np.linalg.qr(columns / scale)
    if np.linalg.cond(r) > ILL:
        raise NotIdentified("Two columns say the same, so their shares cannot be told apart.")
    beta = np.linalg.solve(r, q.T @ y)
    rest = y - (columns / scale) @ beta
    variance = float(rest @ rest) / (n - p)
    inverse = np.linalg.inv(r)
    cov = variance * (inverse @ inverse.T) / np.outer(scale, scale)
    return Fitted(np.asarray(beta / scale, np.float64), np.asarray(cov, np.float64), variance, n - p)


def ratio(fit: Fitted, top: F64, bottom: F64) -> Estimate:
    """Quotient of two linear combinations, Fieller's interval; none where the bottom may be nothing."""
    (a, _), (b, sb) = fit.of(top), fit.of(bottom)
    edge = t_edge(fit.df)
    vt, vb, cov = (float(x @ fit.cov @ y) for x, y in ((top, top), (bottom, bottom), (top, bottom)))
    if b <= edge * sb:
        return Estimate(value=a / b if b else math.nan, unit="fraction", how="learned")
    qa, qb, qc = b**2 - edge**2 * vb, a * b - edge**2 * cov, a**2 - edge**2 * vt
    root = math.sqrt(max(qb**2 - qa * qc, 0.0))
    return Estimate(
        value=a / b, unit="fraction", interval=Interval((qb - root) / qa, (qb + root) / qa), how="learned"
    )  # fmt: skip
