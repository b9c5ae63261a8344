"""Runs the exact search, decodes what it kept, and evaluates every winner again by the plain maths."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

from drybank.plan.search.problem import MICRO, Choice, Problem
from drybank.records.errors import DrybankError
from drybank.records.plan import F64, I64

EXACT_BELOW = 9.0e15
"""Whole numbers up to here are exact in a double."""
TABLES_AT_MOST = 5.0e8
"""Bytes that the tables of one search may take."""


@dataclass(frozen=True)
class Found:
    """A setting of the list: worth in millionths of a minor unit, lost visits taken off."""

    worth_micro: int
    choice: Choice


@dataclass(frozen=True)
class Ranking:
    """The best settings, best first. ``is_all`` says that nothing was cut; else whatever was not kept brings at most as
    much as the last one."""

    found: tuple[Found, ...]
    is_all: bool


def search(problem: Problem, keep: int = 64, *, recheck: int = 3) -> Ranking:
    """The ``keep`` best settings of the grid; the first ``recheck`` are evaluated again, load by load.

    Raises DrybankError when a re-evaluation differs, which would be a fault of Drybank.
    """
    values, codes, is_all = best_codes(problem, keep)
    places = decode(problem, codes)
    found = tuple(Found(int(v) - problem.lost_micro, choice_at(row)) for v, row in zip(values, places, strict=True))
    if found and recheck and (values_micro(problem, places[:recheck]) != values[:recheck] - problem.lost_micro).any():
        raise DrybankError("The search and its check disagree on a setting; this is a fault of Drybank.")
    return Ranking(found, is_all)


def best_codes(problem: Problem, keep: int) -> tuple[F64, I64, bool]:
    """Worth (lost visits not taken off) and codes of the best settings, best first; whether nothing was cut."""
    if problem.times_s.size == 0 or problem.starts.size == 0 or not problem.stands.any():
        return np.empty(0), np.empty(0, np.int64), True
    _stay_exact(problem)
    order, starts = _by_limit(problem)
    values, codes = np.empty(keep), np.empty(keep, np.int64)
    size = _run(problem, order, starts, values, codes)
    best = np.lexsort((codes[:size], -values[:size]))
    return values[best], codes[best], size < keep


def decode(problem: Problem, codes: I64) -> I64:
    """Places that setting codes stand for, one row each: time, start, first, cool, then a level for each heat."""
    heats, levels = problem.allowed.shape
    _, ns, nf, nc = problem.shape
    rest = codes.copy()
    rungs = []
    for _ in range(heats):
        rest, level = np.divmod(rest, levels)
        rungs.append(level)
    rest, cool = np.divmod(rest, nc)
    if problem.is_sum:
        time, pieces = np.divmod(rest, int(problem.starts.max()) if problem.starts.size else 1)
        start, first = np.searchsorted(problem.starts, pieces + 1), np.zeros_like(time)
    else:
        rest, first = np.divmod(rest, nf)
        time, start = np.divmod(rest, ns)
    return np.stack([time, start, first, cool, *reversed(rungs)], axis=1).astype(np.int64)


def values_micro(problem: Problem, places: I64) -> F64:
    """Worth of settings evaluated load by load, lost visits taken off, in whole millionths; rows as `decode` gives them.

    Settings that differ in heats only share their loads' sums, heat by heat.
    """
    leave_blas_out()
    from drybank.plan.search.kernel import worth_by_level

    bases, which = np.unique(places[:, :4], axis=0, return_inverse=True)
    times, starts, cools = problem.times_s[bases[:, 0]], problem.starts[bases[:, 1]], problem.cools_s[bases[:, 3]]
    firsts = starts * times if problem.is_sum else problem.firsts_s[bases[:, 2]]
    heat_count, level_count = problem.allowed.shape
    used = np.zeros((heat_count, level_count), np.bool_)
    heats = np.arange(heat_count)
    used[np.tile(heats, (len(places), 1)), places[:, 4:]] = True
    out = np.empty((len(bases), heat_count, level_count))
    worth_by_level(
        problem.need_s, problem.fixed_micro.astype(np.float64), problem.weight.astype(np.float64), problem.heat,
        problem.limit_minor, problem.piece_minor, problem.rate_micro_s.astype(np.float64),
        float(problem.rate_cool_micro_s), times, starts, firsts - (cools if problem.cool_is_inside else 0), cools, used, out,
    )  # fmt: skip
    total: F64 = out[which.reshape(-1)[:, None], heats[None, :], places[:, 4:]].sum(axis=1) - problem.lost_micro
    return total


def leave_blas_out() -> None:
    """Let numba load without BLAS: it looks for one by importing scipy's linear algebra, a quarter of a second, and no kernel
    of Drybank multiplies matrices. What is left out is put back at once, to be looked for when somebody does."""
    if "numba.np.arraymath" in sys.modules:
        return
    linalg: Any = import_module("numba.np.linalg")
    looks = linalg.ensure_blas

    def no_blas() -> None:
        raise ImportError("not looked for")

    linalg.ensure_blas = no_blas
    try:
        arraymath: Any = import_module("numba.np.arraymath")
        arraymath.ensure_blas, arraymath._HAVE_BLAS = looks, True
    finally:
        linalg.ensure_blas = looks


def choice_at(row: I64) -> Choice:
    """A row of places as a choice."""
    time, start, first, cool, *levels = (int(x) for x in row)
    return Choice(time, start, first, cool, tuple(levels))


def places_of(choice: Choice) -> I64:
    """One choice as a row of places."""
    return np.array([[choice.time, choice.start, choice.first, choice.cool, *choice.levels]], np.int64)


def _stay_exact(problem: Problem) -> None:
    """Sums of the search stay whole numbers that a double holds."""
    weight = float(problem.weight.sum())
    heated = float(problem.need_s.max() + problem.times_s.max() + problem.cools_s.max())
    heated += float(problem.times_s.max() * problem.starts.max())
    pieces = float(problem.limit_minor.max()) * MICRO
    largest = weight * (float(np.abs(problem.fixed_micro).max()) + pieces + float(problem.rate_micro_s.max()) * heated)
    if largest * 4.0 > EXACT_BELOW:
        raise DrybankError("The sums of this plan are too large to be exact; use fewer loads or smaller weights.")


def _by_limit(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """Loads sorted by how many pieces they pay at most, and where each limit starts."""
    pieces = problem.limit_minor // problem.piece_minor
    longest = max(int(pieces.max()), int(problem.starts.max()))
    order = np.argsort(pieces, kind="stable")
    starts = np.searchsorted(pieces[order], np.arange(longest + 2)).astype(np.int64)
    return order, starts


def _columns(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """Table columns of the levels that are allowed, heat by heat."""
    flat = problem.allowed.ravel()
    column = np.where(flat, np.cumsum(flat) - 1, -1).reshape(problem.allowed.shape)
    edges = np.concatenate([[0], np.cumsum(problem.allowed.sum(axis=1))])
    return column.astype(np.int64), edges.astype(np.int64)


def _run(problem: Problem, order: np.ndarray, starts: np.ndarray, values: np.ndarray, codes: np.ndarray) -> int:
    leave_blas_out()
    from drybank.plan.search.kernel import search_first, search_sum

    step = problem.step_s
    column, edges = _columns(problem)
    common = (
        np.ascontiguousarray(-(-problem.need_s[order] // step)),
        np.ascontiguousarray(problem.fixed_micro[order].astype(np.float64)),
        problem.weight[order].astype(np.float64),
        problem.heat[order],
        starts,
        column,
        edges,
        float(problem.piece_minor * MICRO),
        (problem.rate_micro_s[problem.allowed] * step).astype(np.float64),
        float(problem.rate_cool_micro_s * step),
        problem.least_gap,
        problem.normal_heat,
        -(-problem.normal_need_s // step),
        problem.normal_pieces,
        -(-problem.least_heated_s // step),
        problem.times_s // step,
    )
    if problem.is_sum:
        most = int(problem.starts.max())
        may_start = np.zeros((problem.times_s.size, most), np.bool_)
        may_start[:, problem.starts - 1] = problem.stands[:, :, 0]
        cools = problem.cools_s // step
        return int(search_sum(*common, may_start, cools, int(problem.cool_is_inside), values, codes))
    _stay_small(problem, starts, edges)
    heated, cools, places = pairs(problem)
    stands = np.ascontiguousarray(problem.stands[:, :, places // problem.cools_s.size])
    room = problem.firsts_s.size * problem.cools_s.size
    starts_at = (problem.starts, heated // step, cools // step, places)
    return int(search_first(*common, *starts_at, stands, room, values, codes))


def pairs(problem: Problem) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Every pair of first time and cool-down: heated seconds at the start, cool-down seconds, place."""
    firsts = np.repeat(problem.firsts_s, problem.cools_s.size)
    cools = np.tile(problem.cools_s, problem.firsts_s.size)
    heated = firsts - cools if problem.cool_is_inside else firsts
    return heated, cools, np.arange(firsts.size)


def _stay_small(problem: Problem, starts: np.ndarray, edges: np.ndarray) -> None:
    """Tables of the search fit into half a gigabyte."""
    steps = int(problem.need_s.max()) // problem.step_s + 2
    size = float(steps) * 3.0 * float(edges[-1]) * 8.0 * float(starts.size)
    if size > TABLES_AT_MOST:
        raise DrybankError(
            f"This grid would need tables of {size / 1e9:.1f} GB. Post minutes in halves or wholes, or take a larger coin."
        )
