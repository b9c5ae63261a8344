"""Runs the exact search, decodes what it kept, and evaluates every winner again by the plain maths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drybank.plan.problem import MICRO, Choice, Problem
from drybank.plan.reference import worth_micro
from drybank.records.errors import DrybankError

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
    """The ``keep`` best settings of the grid; the first ``recheck`` are evaluated again by the reference.

    Raises DrybankError when a re-evaluation differs, which would be a fault of Drybank.
    """
    _stay_exact(problem)
    order, starts = _by_limit(problem)
    values, codes = np.empty(keep), np.empty(keep, np.int64)
    size = _run(problem, order, starts, values, codes)
    ranked = sorted(range(size), key=lambda i: (-values[i], codes[i]))
    found = tuple(Found(int(values[i]) - problem.lost_micro, decode(problem, int(codes[i]))) for i in ranked)
    for one in found[:recheck]:
        if worth_micro(problem, one.choice) != one.worth_micro:
            raise DrybankError("The search and its check disagree on a setting; this is a fault of Drybank.")
    return Ranking(found, is_all=size < keep)


def decode(problem: Problem, code: int) -> Choice:
    """The places that a kernel's setting code stands for."""
    heats, levels = problem.allowed.shape
    _, ns, nf, nc = problem.shape
    places = []
    for _ in range(heats):
        code, level = divmod(code, levels)
        places.append(level)
    code, cool = divmod(code, nc)
    if problem.is_sum:
        time, pieces = divmod(code, int(problem.starts.max()))
        start = int(np.searchsorted(problem.starts, pieces + 1))
        return Choice(time, start, 0, cool, tuple(reversed(places)))
    code, first = divmod(code, nf)
    time, start = divmod(code, ns)
    return Choice(time, start, first, cool, tuple(reversed(places)))


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
    from drybank.plan.kernel import search_first, search_sum

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
