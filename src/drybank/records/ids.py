"""Ids that a writer makes for itself: UUIDv7 (RFC 9562), from a clock and random bytes handed in."""

from __future__ import annotations


def uuid7(unix_ms: int, random_10: bytes) -> str:
    """UUID version 7 as text, from milliseconds since 1970 (48 bits) and ten random bytes."""
    if not 0 <= unix_ms < 1 << 48 or len(random_10) != 10:
        raise ValueError("uuid7 needs 48 bits of milliseconds and ten bytes")
    rand_a = int.from_bytes(random_10[:2], "big") & 0x0FFF
    rand_b = int.from_bytes(random_10[2:], "big") & (1 << 62) - 1
    value = unix_ms << 80 | 7 << 76 | rand_a << 64 | 0b10 << 62 | rand_b
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"
