"""Ids: UUIDv7 as RFC 9562 gives it."""

import uuid

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.records.ids import uuid7


def test_agrees_with_the_worked_example_of_rfc_9562_appendix_a6():
    """RFC 9562 A.6 (from memory, its fields recomputed): ms 0x017F22E279B0, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F."""
    made = uuid7(0x017F22E279B0, (0xCC3).to_bytes(2, "big") + (0x18C4DC0C0C07398F).to_bytes(8, "big"))
    assert made == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@given(st.integers(0, (1 << 48) - 1), st.binary(min_size=10, max_size=10))
def test_is_version_7_variant_rfc_and_sorts_by_time(ms, rand):
    made = uuid.UUID(uuid7(ms, rand))
    assert made.version == 7
    assert made.variant == uuid.RFC_4122
    assert made.int >> 80 == ms


def test_refuses_a_clock_beyond_48_bits():
    with pytest.raises(ValueError, match="48 bits"):
        uuid7(1 << 48, b"0" * 10)
