"""Findings and book entries made of a result."""

import msgspec

from drybank.proof import TimedSale, as_entry, findings, prove_time
from drybank.records.entry import Proved


def _result(ran):
    return prove_time([TimedSale(pocket="14", kind="start", sold_s=600, ran_s=ran)])


def test_a_failed_judgement_is_one_finding_with_a_stable_key_and_a_next_check():
    one, two = findings(_result(560)), findings(_result(555))
    assert len(one) == 1
    assert one[0].key == two[0].key
    assert one[0].weight == "money"
    assert one[0].next_check
    assert one[0].size is not None


def test_undecided_and_passed_are_no_finding():
    assert findings(_result(595)) == ()
    assert findings(_result(600)) == ()


def test_the_entry_keeps_value_margin_tolerance_and_survives_the_wire():
    body = as_entry(_result(560), at="14")
    assert body.verdict == "fail"
    assert body.margin == -35
    assert "from memory" in body.tolerance
    assert msgspec.json.decode(msgspec.json.encode(body), type=Proved) == body
