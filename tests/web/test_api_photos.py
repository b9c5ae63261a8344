"""Photos: named by an entry first, kept once, seen by right, erased for good while the chain still holds."""

import hashlib
import os
from base64 import b64encode

import pytest

from tests.desk.test_pictures import LATITUDE, exif_of, photo

from .conftest import STORE
from .test_api_entries import made, post, said


def hashed(raw):
    salt = os.urandom(32)
    return salt, hashlib.sha256(salt + raw).hexdigest()


def put(client, sha256, salt, raw, store=STORE):
    path = f"/api/v1/stores/{store}/photos/{sha256}"
    return client.put(path, raw, content_type="image/jpeg", headers={"X-Salt": b64encode(salt).decode()})


def entry_naming(sha256):
    return made({"kind": "note", "at": "14", "says": "worn belt", "kept": [{"what": "photo", "sha256": sha256}]})


@pytest.fixture
def kept(as_):
    raw = photo()
    salt, sha256 = hashed(raw)
    assert said(post(as_("technician"), [entry_naming(sha256)])) == ["stored"]
    assert put(as_("technician"), sha256, salt, raw).json()["said"] == "stored"
    return raw, salt, sha256


def test_a_photo_comes_back_byte_for_byte_and_is_kept_once(as_, kept):
    raw, salt, sha256 = kept
    assert put(as_("technician"), sha256, salt, raw).json()["said"] == "already"
    seen = as_("manager").get(f"/api/v1/stores/{STORE}/photos/{sha256}")
    assert (seen.content, seen["Content-Type"]) == (raw, "image/jpeg")
    assert seen["X-Content-Type-Options"] == "nosniff"


def test_a_photo_that_no_entry_names_is_not_kept(as_):
    raw = photo()
    salt, sha256 = hashed(raw)
    answer = put(as_("technician"), sha256, salt, raw)
    assert (answer.status_code, "Send the entry first" in answer.json()["error"]) == (404, True)


@pytest.mark.parametrize("bend", ["other bytes", "other salt", "short salt", "place"])
def test_what_the_hash_does_not_stand_for_or_tells_its_place_is_refused(as_, bend):
    raw = photo(exif=exif_of(LATITUDE)) if bend == "place" else photo()
    salt, sha256 = hashed(raw)
    assert said(post(as_("technician"), [entry_naming(sha256)])) == ["stored"]
    salt = {"other salt": os.urandom(32), "short salt": salt[:8]}.get(bend, salt)
    answer = put(as_("technician"), sha256, salt, photo() if bend == "other bytes" else raw)
    assert answer.status_code == 422
    from drybank.records.errors import Missing
    from drybank.web import site

    with pytest.raises(Missing):
        site.book().kept(sha256)


@pytest.mark.parametrize(
    ("handle", "status"),
    [("accountant", 200), ("collector", 404), ("counter", 404), ("partner", 404), ("stranger", 404)],
)
def test_who_sees_a_photo_of_another(as_, kept, handle, status):
    assert as_(handle).get(f"/api/v1/stores/{STORE}/photos/{kept[2]}").status_code == status


def test_a_collector_sees_their_own(as_):
    raw = photo()
    salt, sha256 = hashed(raw)
    assert said(post(as_("collector"), [entry_naming(sha256)])) == ["stored"]
    assert put(as_("collector"), sha256, salt, raw).status_code == 200
    assert as_("collector").get(f"/api/v1/stores/{STORE}/photos/{sha256}").content == raw


def test_erased_is_gone_for_good_and_the_chain_holds(as_, kept):
    raw, salt, sha256 = kept
    path = f"/api/v1/stores/{STORE}/photos/{sha256}"
    assert as_("manager").delete(path).status_code == 404
    assert as_("owner").delete(path).json()["said"] == "erased"
    assert as_("owner").get(path).status_code == 404
    assert put(as_("technician"), sha256, salt, raw).json()["said"] == "erased", (
        "a phone that sends it late brings nothing back"
    )
    from drybank.web import site

    assert site.book().kept(sha256) is None
    assert site.book().verify(STORE).is_whole


def test_too_large_is_refused_before_it_is_read(as_):
    assert put(as_("technician"), "0" * 64, bytes(32), bytes(3_000_001)).status_code == 413
