"""Channels and complaints: what does not fit is found, what fits is left alone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.records.entry import Claimed, PaidOut, Refunded
from drybank.takings import clusters, rate_change, settle

from .conftest import Said


def payout(start, end, gross=1000, fee=30, paid=970, **more):
    return PaidOut(
        account="card", period_from=start, period_to=end, gross_minor=gross, fee_minor=fee, paid_minor=paid, **more
    )


def names(*bodies):
    return [f.name for f in settle([Said(i, b) for i, b in enumerate(bodies)], "USD").findings]


def test_payouts_that_add_and_follow_each_other_leave_nothing_to_ask():
    assert names(payout("2026-05-01", "2026-05-07"), payout("2026-05-08", "2026-05-14")) == []


def test_a_payout_that_does_not_add_is_found():
    assert names(payout("2026-05-01", "2026-05-07", paid=900)) == ["payout does not add"]


def test_machine_lines_that_miss_the_total_are_found():
    assert names(payout("2026-05-01", "2026-05-07", inputs=(("1.pad", 30, 900),))) == ["statement does not add"]


def test_a_gap_and_an_overlap_of_periods_are_found():
    first = payout("2026-05-01", "2026-05-07")
    assert names(first, payout("2026-05-09", "2026-05-14")) == ["payout missing"]
    assert names(first, payout("2026-05-07", "2026-05-14")) == ["payout periods overlap"]


@given(st.integers(0, 10**9), st.integers(0, 10**8), st.integers(0, 10**9))
def test_gross_is_fee_and_paid_and_what_is_missing(gross, fee, paid):
    s = settle([Said(0, payout("2026-05-01", "2026-05-07", gross, fee, paid))], "USD").settlements[0]
    assert s.gross == s.fee + s.paid + s.difference


def complaints(pocket, n, start=0):
    return [Said(start + i, Claimed(pocket=pocket, what="short time")) for i in range(n)]


USE = {str(p): 30.0 for p in range(1, 13)}


def test_a_pocket_with_many_complaints_is_named():
    found = clusters(complaints("3", 8) + complaints("5", 1, 50), USE)
    assert [f.where for f in found] == ["3"]
    assert "stop-watch" in found[0].next_check.lower()


def test_a_refund_that_answers_a_claim_counts_once():
    lines = [*complaints("3", 2), Said(9, Refunded(pocket="3", minor=100, claim="e0"))]
    assert clusters(lines, USE) == ()


def test_a_busy_pocket_may_have_more_complaints():
    busy = USE | {"3": 3000.0}
    assert clusters(complaints("3", 6) + complaints("5", 1, 50), busy) == ()


def test_honest_pockets_are_seldom_named():
    """Benjamini-Hochberg at 10 %: with no pocket at fault, any naming is a false one, at most one audit in ten."""
    rng = np.random.default_rng(20260504)
    false = 0
    for _ in range(400):
        counts = rng.poisson(1.5, 12)
        lines = [x for p, n in enumerate(counts, 1) for x in complaints(str(p), int(n), 100 * p)]
        false += bool(clusters(lines, USE))
    assert false <= 400 * 0.10 + 3 * (400 * 0.1 * 0.9) ** 0.5


def test_a_rate_that_did_not_change_is_not_surprising_and_one_that_trebled_is():
    """Against the exact binomial of scipy.stats.binomtest, the general-purpose witness."""
    from scipy.stats import binomtest

    assert rate_change(4, 100, 40, 1000) == pytest.approx(binomtest(4, 44, 100 / 1100, "greater").pvalue)
    assert rate_change(4, 100, 40, 1000) > 0.3
    assert rate_change(14, 100, 40, 1000) < 0.001
    assert rate_change(5, 0, 1, 1) == 1.0
