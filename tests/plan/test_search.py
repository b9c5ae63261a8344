"""The exact search against brute force, one load and one setting at a time."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.plan.search import reference
from drybank.plan.search.problem import Problem, count_ladders, problem
from drybank.plan.search.running import search
from drybank.records.errors import DrybankError, InputErrors

sys.path.insert(0, str(Path(__file__).parent))
from cast import grid, inputs


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Random small grids: every kind of start, cool-down, heat ladder, mask and constraint."""
    heats, levels, n = draw(st.integers(1, 3)), draw(st.integers(1, 4)), draw(st.integers(1, 14))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    unit = draw(st.sampled_from([1, 6, 15, 30]))
    times = np.unique(rng.integers(1, 40, draw(st.integers(1, 5)))) * unit
    starts = np.unique(rng.integers(1, 7, draw(st.integers(1, 4))))
    is_sum = draw(st.booleans())
    firsts = np.array([], np.int64) if is_sum else np.unique(rng.integers(0, 80, draw(st.integers(1, 4)))) * unit
    cools = np.unique(rng.integers(0, 12, draw(st.integers(1, 3)))) * unit
    allowed = rng.random((heats, levels)) < draw(st.sampled_from([0.6, 1.0]))
    shape = (times.size, starts.size, max(firsts.size, 1))
    normal = draw(st.sampled_from([-1, *range(heats)]))
    many_ties = draw(st.booleans())  # round worths and free seconds, so that settings come out exactly alike
    coarse, dear = (10**9, 1) if many_ties else (1, 10**5)
    return Problem(
        need_s=rng.integers(1, 90 * unit, (n, levels)),
        fixed_micro=rng.integers(-(10**8), 10**9, (n, levels)) // coarse * coarse,
        weight=rng.integers(1, 5, n),
        heat=rng.integers(0, heats, n),
        limit_minor=rng.integers(0, 300, n),
        lost_micro=int(rng.integers(0, 10**9)),
        piece_minor=draw(st.sampled_from([5, 10, 25, 100])),
        rate_micro_s=rng.integers(0, dear, (heats, levels)),
        rate_cool_micro_s=int(rng.integers(0, dear)),
        times_s=times,
        starts=starts,
        firsts_s=firsts,
        cools_s=cools,
        cool_is_inside=draw(st.booleans()),
        allowed=allowed,
        stands=rng.random(shape) < draw(st.sampled_from([0.5, 1.0])),
        least_gap=draw(st.integers(0, 1)),
        normal_heat=normal,
        normal_need_s=rng.integers(1, 90 * unit, levels),
        normal_pieces=draw(st.integers(1, 9)) if normal >= 0 else 0,
        least_heated_s=draw(st.sampled_from([0, 0, 10 * unit])),
    )


class TestAgainstBruteForce:
    @settings(max_examples=400, deadline=None)
    @given(problems(), st.sampled_from([1, 3, 50, 4000]))
    def test_the_list_of_the_best_is_the_same_to_the_last_digit_and_tie(self, question, keep):
        """Equal, not near: worth is whole millionths of a minor unit, ties fall to the earlier setting."""
        got = search(question, keep, recheck=0)
        want = reference.search(question, keep)
        assert [(f.worth_micro, f.choice) for f in got.found] == want

    def test_on_a_bank_of_ordinary_shape(self):
        question = problem(
            inputs(grid=grid(time_per_piece_s=(240, 300, 360), start_pieces=(2, 4), cool_down_s=(0, 120)))
        )
        assert [(f.worth_micro, f.choice) for f in search(question, 20).found] == reference.search(question, 20)

    def test_every_winner_is_evaluated_again(self, monkeypatch):
        """A kernel that came to another figure would be refused, not shown."""
        monkeypatch.setattr("drybank.plan.search.running.values_micro", lambda _, rows: np.full(len(rows), 1.0))
        with pytest.raises(DrybankError, match="fault of Drybank"):
            search(problem(inputs()), 5)


class TestWhatItCovers:
    @settings(max_examples=60, deadline=None)
    @given(problems())
    def test_the_count_of_settings_is_the_number_there_are(self, question):
        assert count_ladders(question.allowed, question.least_gap) == sum(1 for _ in reference.ladders(question))

    def test_nothing_is_cut_when_the_list_is_long_enough(self):
        question = problem(inputs(grid=grid(time_per_piece_s=(300, 360), cool_down_s=(0,))))
        ranking = search(question, 1000)
        assert ranking.is_all
        assert len(ranking.found) == question.settings

    def test_a_grid_without_a_time_is_refused(self):
        with pytest.raises(InputErrors, match="no control value is left for time per piece"):
            problem(inputs(grid=grid(time_per_piece_s=())))

    def test_sums_too_large_to_be_exact_are_refused(self):
        from dataclasses import replace

        with pytest.raises(DrybankError, match="too large to be exact"):
            search(replace(problem(inputs()), weight=np.full(400, 10**9)))
