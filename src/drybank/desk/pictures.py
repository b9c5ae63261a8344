"""What a photo must be before it is kept: JPEG, PNG or WebP all through, of sane size, and silent on where it was taken.

Only the frame of the file is walked, never the picture itself, so no picture can be a bomb here and no picture library is
needed. The bytes are kept as they came, because the chain holds their hash; so a photo that tells its place is refused
rather than changed behind its owner's back. A phone that draws it anew (a canvas does) takes the place out by that.

Layouts: JPEG segments (ITU-T T.81, annex B), PNG chunks (RFC 2083 and the W3C's PNG text, eXIf among them), RIFF and WebP
(RFC 9649), Exif tags in TIFF directories (CIPA DC-008); all from memory, held against files made by Pillow in the tests.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Literal

import msgspec

from drybank.records.errors import InputError

Sort = Literal["image/jpeg", "image/png", "image/webp"]
LARGEST_BYTES = 3_000_000
MOST_PIXELS = 60_000_000
WIDEST = 20_000
MOST_PARTS = 20_000
GPS_IFD, LATITUDE, LONGITUDE = 0x8825, 2, 4


class Picture(msgspec.Struct, frozen=True, kw_only=True):
    """What a photo is by its own frame."""

    sort: Sort
    width: int
    height: int


def look_at(raw: bytes) -> Picture:
    """The photo's sort and size; `InputError` where it is not a whole photo, is too large, or tells where it was taken."""
    if not 0 < len(raw) <= LARGEST_BYTES:
        raise InputError(
            f"the photo has {len(raw):,} bytes.", allowed=f"up to {LARGEST_BYTES:,}", mend="Send it smaller."
        )
    try:
        seen = _seen(raw)
    except (struct.error, IndexError) as bad:
        raise _broken() from bad
    if not (0 < seen.width <= WIDEST and 0 < seen.height <= WIDEST and seen.width * seen.height <= MOST_PIXELS):
        raise InputError(
            f"the photo is {seen.width:,} by {seen.height:,} dots.",
            allowed=f"up to {MOST_PIXELS:,} dots",
            mend="Send it smaller.",
        )
    return seen


def _seen(raw: bytes) -> Picture:
    if raw[:3] == b"\xff\xd8\xff":
        return _jpeg(raw)
    if raw[:8] == b"\x89PNG\r\n\x1a\n":
        return _png(raw)
    if raw[:4] == b"RIFF" and raw[8:12] == b"WEBP":
        return _webp(raw)
    raise InputError("this is no photo that is kept here.", allowed="JPEG, PNG, WebP")


def _broken() -> InputError:
    return InputError("the photo is broken: its parts do not fit together.", mend="Take or send it again.")


def _refuse_place() -> InputError:
    return InputError(
        "the photo tells where it was taken.",
        mend="Send it without its place: a phone's page draws it anew, which takes that out.",
    )


def _jpeg(raw: bytes) -> Picture:
    at, size = 2, (0, 0)
    for _ in range(MOST_PARTS):
        if raw[at] != 0xFF:
            raise _broken()
        mark = raw[at + 1]
        if mark == 0xFF:  # filling
            at += 1
            continue
        if mark == 0xD9:
            break
        (length,) = struct.unpack_from(">H", raw, at + 2)
        part = raw[at + 4 : at + 2 + length]
        if length < 2 or len(part) != length - 2:
            raise _broken()
        if 0xC0 <= mark <= 0xCF and mark not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack_from(">HH", part, 1)
            size = (width, height)
        is_exif = mark == 0xE1 and part[:6] == b"Exif\0\0"
        _check_part(part, is_exif=is_exif, exif_at=6, is_words=mark in (0xE1, 0xED, 0xFE))
        at = at + 2 + length if mark != 0xDA else _after_scan(raw, at + 2 + length)
    if size == (0, 0) or raw[at : at + 2] != b"\xff\xd9" or raw[at + 2 :].strip(b"\0"):
        raise _broken()  # a second picture behind the first could tell what the first does not
    return Picture(sort="image/jpeg", width=size[0], height=size[1])


def _after_scan(raw: bytes, at: int) -> int:
    """Where the next mark stands behind the coded dots; 00 and the restart marks belong to them."""
    while True:
        at = raw.find(b"\xff", at)
        if at < 0 or at + 1 >= len(raw):
            raise _broken()
        if raw[at + 1] != 0 and not 0xD0 <= raw[at + 1] <= 0xD7:
            return at
        at += 2


def _png(raw: bytes) -> Picture:
    size, name = (0, 0), b""
    for name, part in _png_parts(raw):
        if size == (0, 0):
            if name != b"IHDR" or len(part) != 13:
                raise _broken()
            size = struct.unpack_from(">II", part)
        packed = name == b"zTXt" or (name == b"iTXt" and part[part.find(b"\0") + 1 : part.find(b"\0") + 2] == b"\1")
        if packed:
            raise InputError("the photo carries packed words.", mend="Send it without them: draw it anew.")
        _check_part(part, is_exif=name == b"eXIf", exif_at=0, is_words=name in (b"tEXt", b"iTXt"))
    if name != b"IEND":
        raise _broken()
    return Picture(sort="image/png", width=size[0], height=size[1])


def _png_parts(raw: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 8
    for _ in range(MOST_PARTS):
        if at >= len(raw):
            return
        length, name = struct.unpack_from(">I4s", raw, at)
        if not name.isalpha() or at + 12 + length > len(raw):
            raise _broken()
        at += 12 + length
        yield name, raw[at - 4 - length : at - 4]
    raise _broken()


def _webp(raw: bytes) -> Picture:
    (length,) = struct.unpack_from("<I", raw, 4)
    if length + 8 != len(raw):
        raise _broken()
    at, size = 12, (0, 0)
    for _ in range(MOST_PARTS):
        if at >= len(raw):
            break
        name, length = struct.unpack_from("<4sI", raw, at)
        part = raw[at + 8 : at + 8 + length]
        if len(part) != length:
            raise _broken()
        size = size if size != (0, 0) else _webp_size(name, part)
        _check_part(
            part, is_exif=name == b"EXIF", exif_at=6 if part[:6] == b"Exif\0\0" else 0, is_words=name == b"XMP "
        )
        at += 8 + length + length % 2
    if size == (0, 0) or at != len(raw):
        raise _broken()
    return Picture(sort="image/webp", width=size[0], height=size[1])


def _webp_size(name: bytes, part: bytes) -> tuple[int, int]:
    if name == b"VP8X":
        return 1 + int.from_bytes(part[4:7], "little"), 1 + int.from_bytes(part[7:10], "little")
    if name == b"VP8 " and part[3:6] == b"\x9d\x01\x2a":
        width, height = struct.unpack_from("<HH", part, 6)
        return width & 0x3FFF, height & 0x3FFF
    if name == b"VP8L" and part[:1] == b"\x2f":
        (bits,) = struct.unpack_from("<I", part, 1)
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    return 0, 0


def _check_part(part: bytes, *, is_exif: bool, exif_at: int, is_words: bool) -> None:
    """Refuse a part that tells the place, as a directory of numbers or in words."""
    if is_exif and _tells_place(part[exif_at:]):
        raise _refuse_place()
    if (
        is_words
        and not is_exif
        and any(w in part for w in (b"GPSLatitude", b"GPSLongitude", b"GPSPosition", b"geo:lat"))
    ):
        raise _refuse_place()


def _tells_place(tiff: bytes) -> bool:
    """Whether a TIFF directory holds latitude or longitude; one that cannot be read is a broken photo."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(tiff[:4])
    if order is None:
        raise _broken()
    (first,) = struct.unpack_from(f"{order}I", tiff, 4)
    place = next((value for tag, value in _directory(tiff, first, order) if tag == GPS_IFD), 0)
    return bool(place) and any(tag in (LATITUDE, LONGITUDE) for tag, _ in _directory(tiff, place, order))


def _directory(tiff: bytes, at: int, order: str) -> list[tuple[int, int]]:
    (count,) = struct.unpack_from(f"{order}H", tiff, at)
    rows = (struct.unpack_from(f"{order}HHII", tiff, at + 2 + 12 * n) for n in range(count))
    return [(tag, value) for tag, _kind, _number, value in rows]
