"""The compiled one-pass sums against their plain form, on any rows."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.balance import reference
from drybank.balance.kernel import fleet_sums
from drybank.records.errors import InputError


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 12), max_size=8), st.integers(0, 2**32 - 1), st.sampled_from([np.int32, np.int64]))
def test_compiled_sums_equal_the_plain_ones(lengths, seed, kind):
    rng = np.random.default_rng(seed)
    start = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    rows = int(start[-1])
    columns = tuple(rng.integers(0, 1000, rows).astype(kind) for _ in range(3))
    sizes = np.full(len(lengths), 1000), np.full(len(lengths), 1000)
    for threads in (1, 2):
        got = fleet_sums(start, columns, *sizes, threads=threads)
        for one, other in zip(got, reference.fleet_sums(start, columns, *sizes), strict=True):
            np.testing.assert_array_equal(one, other)


def test_a_roll_over_is_bridged_by_the_counters_own_size():
    columns = (np.array([9_990, 10]), np.array([99_999, 3]), np.array([0, 18]))
    pieces, steps, cash, lowest = fleet_sums(np.array([0, 2]), columns, np.array([10_000]), np.array([100_000]))
    assert (pieces[0], steps[0], cash[0], lowest[0]) == (20, 4, 18, -2)


@pytest.mark.parametrize("start", [np.array([0, 5]), np.array([3, 0]), np.array([-1, 2])])
def test_rows_that_are_not_there_are_refused(start):
    columns = (np.zeros(3, np.int64),) * 3
    with pytest.raises(InputError, match="same length"):
        fleet_sums(start, columns, np.array([10]), np.array([10]))
