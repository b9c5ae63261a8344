"""Photos by their frame alone, held against Pillow, a picture library of its own: what it writes is taken, and sized alike."""

import contextlib
import io
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from drybank.desk.pictures import LARGEST_BYTES, look_at
from drybank.records.errors import InputError

SORTS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
LATITUDE = {1: "N", 2: (43.0, 39.0, 0.0), 3: "W", 4: (79.0, 23.0, 0.0)}


def photo(sort="JPEG", size=(64, 48), exif=None, **how):
    out = io.BytesIO()
    Image.effect_noise(size, 80).convert("RGB").save(out, sort, **({"exif": exif} if exif is not None else {}), **how)
    return out.getvalue()


def exif_of(place=None, words="dryer 14"):
    made = Image.Exif()
    made[0x010E] = words
    if place:
        made.get_ifd(0x8825).update(place)
    return made


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.parametrize("size", [(1, 1), (640, 481), (3000, 17)])
def test_size_and_sort_as_the_library_wrote_them(sort, size):
    seen = look_at(photo(sort, size))
    assert (seen.sort, seen.width, seen.height) == (SORTS[sort], *size)


@pytest.mark.parametrize(
    "how", [{"progressive": True}, {"quality": 100, "subsampling": 0}, {"restart_marker_blocks": 4}]
)
def test_every_build_of_jpeg(how):
    assert look_at(photo("JPEG", (200, 100), **how)).width == 200


@pytest.mark.parametrize("how", [{"lossless": True}, {"lossless": False}, {"exif": exif_of()}])
def test_every_build_of_webp(how):
    assert look_at(photo("WEBP", (200, 100), **how)).height == 100


@pytest.mark.parametrize("sort", SORTS)
def test_a_photo_that_tells_its_place_is_refused_and_one_with_other_words_is_not(sort):
    assert look_at(photo(sort, exif=exif_of())).width == 64
    with pytest.raises(InputError, match="where it was taken"):
        look_at(photo(sort, exif=exif_of(LATITUDE)))


def test_a_place_in_words_is_found_too():
    words = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description exif:GPSLatitude="43,39N"/></x:xmpmeta>'
    with pytest.raises(InputError, match="where it was taken"):
        look_at(photo("JPEG", xmp=words))


def test_a_second_picture_behind_the_first_is_refused():
    with pytest.raises(InputError, match="broken"):
        look_at(photo() + photo(exif=exif_of(LATITUDE)))


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\xff\xd8\xff",
        b"GIF89a" + bytes(20),
        b"<svg onload=alert(1)>",
        b"RIFF\0\0\0\0WEBP",
        b"\x89PNG\r\n\x1a\n",
        b"%PDF-1.7",
    ],
)
def test_what_is_no_photo_is_refused(raw):
    with pytest.raises(InputError):
        look_at(raw)


def test_a_bomb_is_refused_by_its_size_alone():
    import struct
    import zlib

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    bomb = (
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I4s", 13, b"IHDR") + head + struct.pack(">I", zlib.crc32(b"IHDR" + head))
    )
    bomb += struct.pack(">I4sI", 0, b"IEND", zlib.crc32(b"IEND"))
    with pytest.raises(InputError, match="60,000 by 60,000"):
        look_at(bomb)
    with pytest.raises(InputError, match="bytes"):
        look_at(bytes(LARGEST_BYTES + 1))


WHOLE = [photo(sort, exif=exif_of()) for sort in SORTS]


@settings(max_examples=300)
@given(st.data())
def test_a_photo_bent_anywhere_is_taken_or_refused_in_words(data):
    """Bytes changed, cut out, doubled: never a traceback of another kind, never slow."""
    raw = bytearray(data.draw(st.sampled_from(WHOLE)))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(raw) - 1))
        how = data.draw(st.sampled_from(("set", "cut", "double")))
        if how == "set":
            raw[at] = data.draw(st.integers(0, 255))
        elif how == "cut":
            del raw[at : at + data.draw(st.integers(1, 40))]
        else:
            raw[at:at] = raw[at : at + 40]
        if not raw:
            break
    begun = time.perf_counter()
    with contextlib.suppress(InputError):  # refused, never broken
        look_at(bytes(raw))
    assert time.perf_counter() - begun < 0.5


@pytest.mark.parametrize("raw", [
    b"\xff\xd8" + b"\xff" * 2_000_000, b"\xff\xd8\xff\xe0\x00\x02" * 500_000,
    b"\xff\xd8\xff\xda\x00\x02" + b"\xff\x00" * 1_400_000, b"\x89PNG\r\n\x1a\n" + b"\0\0\0\0IHDR\0\0\0\0" * 200_000,
])  # fmt: skip
def test_megabytes_of_nothing_take_no_time(raw):
    begun = time.perf_counter()
    with pytest.raises(InputError):
        look_at(raw)
    assert time.perf_counter() - begun < 1
