"""The search's maths, one load at a time and one setting after the other, in whole numbers of Python.

Slow on purpose: this is what the kernel is held against, and what says in the plainest way what a setting brings.
"""

from __future__ import annotations

from collections.abc import Iterator

from drybank.plan.search.problem import Choice, Problem


def pieces_for(need_s: int, *, start: int, time_s: int, heated_at_start_s: int) -> int:
    """Fewest pieces that give a need its heated seconds."""
    missing = need_s - heated_at_start_s
    return start if missing <= 0 else start + -(-missing // time_s)


def worth_micro(problem: Problem, choice: Choice) -> int:
    """What a setting brings from all loads, in millionths of a minor unit; lost visits are taken off.

    A load pays for the heat it is thought to need and walks away when that costs more than its limit. Dried, it brings its
    pieces, what its visit brings, less fuel to dry, idle fire and motor over the seconds it was given, and wear.
    """
    time_s, start = int(problem.times_s[choice.time]), int(problem.starts[choice.start])
    cool_s = int(problem.cools_s[choice.cool])
    first_s = start * time_s if problem.is_sum else int(problem.firsts_s[choice.first])
    heated_at_start_s = first_s - (cool_s if problem.cool_is_inside else 0)
    total = -problem.lost_micro
    for j in range(problem.need_s.shape[0]):
        heat = int(problem.heat[j])
        level = choice.levels[heat]
        pieces = pieces_for(
            int(problem.need_s[j, level]), start=start, time_s=time_s, heated_at_start_s=heated_at_start_s
        )
        price = pieces * problem.piece_minor
        if price > problem.limit_minor[j]:
            continue
        heated_s = heated_at_start_s + (pieces - start) * time_s
        brings = price * 1_000_000 + int(problem.fixed_micro[j, level])
        brings -= int(problem.rate_micro_s[heat, level]) * heated_s + problem.rate_cool_micro_s * cool_s
        total += int(problem.weight[j]) * brings
    return total


def ladders(problem: Problem) -> Iterator[tuple[int, ...]]:
    """Ordered choices of levels in the order of their codes."""

    def rest(k: int, ceiling: int) -> Iterator[tuple[int, ...]]:
        if k == problem.allowed.shape[0]:
            yield ()
            return
        for level in range(ceiling + 1):
            if problem.allowed[k, level]:
                for tail in rest(k + 1, level - problem.least_gap):
                    yield (level, *tail)

    yield from rest(0, problem.allowed.shape[1] - 1)


def is_allowed(problem: Problem, choice: Choice) -> bool:
    """Whether a setting keeps every constraint."""
    time_s, start = int(problem.times_s[choice.time]), int(problem.starts[choice.start])
    cool_s = int(problem.cools_s[choice.cool]) if problem.cool_is_inside else 0
    first_s = start * time_s if problem.is_sum else int(problem.firsts_s[choice.first])
    if not problem.stands[choice.time, choice.start, choice.first] or first_s - cool_s < problem.least_heated_s:
        return False
    if not all(problem.allowed[k, level] for k, level in enumerate(choice.levels)):
        return False
    if problem.normal_heat < 0:
        return True
    need = int(problem.normal_need_s[choice.levels[problem.normal_heat]])
    pieces = pieces_for(need, start=start, time_s=time_s, heated_at_start_s=first_s - cool_s)
    return pieces <= problem.normal_pieces


def choices(problem: Problem) -> Iterator[Choice]:
    """Every setting of the grid that keeps every constraint, in the order of codes."""
    nt, ns, nf, nc = problem.shape
    for time in range(nt):
        for start in range(ns):
            for first in range(nf):
                for cool in range(nc):
                    for levels in ladders(problem):
                        choice = Choice(time, start, first, cool, levels)
                        if is_allowed(problem, choice):
                            yield choice


def search(problem: Problem, keep: int) -> list[tuple[int, Choice]]:
    """The best settings by brute force: more worth first, then the earlier on the grid."""
    ranked = [(worth_micro(problem, choice), place, choice) for place, choice in enumerate(choices(problem))]
    ranked.sort(key=lambda x: (-x[0], x[1]))
    return [(worth, choice) for worth, _, choice in ranked[:keep]]
