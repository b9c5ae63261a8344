"""Photos of entries: sent after the entry that names them, seen by who may, erased by the owner."""

from __future__ import annotations

from base64 import b64decode

from django.http import HttpRequest, HttpResponse

from drybank.desk import photos as desk
from drybank.desk.photos import PhotoKept
from drybank.desk.pictures import LARGEST_BYTES
from drybank.records.errors import InputError
from drybank.web import site
from drybank.web.api.app import describes
from drybank.web.api.calls.entries import body_of
from drybank.web.api.guard import ApiSeat
from drybank.web.rights import SEES_PHOTOS

SORTS = ("image/jpeg", "image/png", "image/webp")
SALT = "X-Salt"


@describes(gives=PhotoKept, takes_kinds=SORTS, headers={SALT: "The 32 random bytes of the hash's salt, in base64."})
def put(request: HttpRequest, seat: ApiSeat, sha256: str) -> PhotoKept:
    """Keep a photo that an entry names by SHA-256(salt + bytes); again is harmless."""
    raw = body_of(request, LARGEST_BYTES)
    try:
        salt = b64decode(request.headers.get(SALT, ""), validate=True)
    except ValueError as bad:
        raise InputError("the salt is not in base64.", where=SALT) from bad
    return desk.keep_photo(site.book(), seat.store, sha256, salt, raw)


@describes(gives_kinds=SORTS)
def get(_request: HttpRequest, seat: ApiSeat, sha256: str) -> HttpResponse:
    """A photo. Who only goes on rounds, collects or counts sees their own."""
    only_of = "" if seat.roles & set(SEES_PHOTOS) else seat.person.handle
    found = desk.photo(site.book(), seat.store, sha256, only_of=only_of)
    headers = {"Cache-Control": "private, no-store", "Content-Disposition": f'inline; filename="{sha256[:12]}"'}
    return HttpResponse(found.content, content_type=found.sort, headers=headers)


@describes(gives=PhotoKept)
def erase(_request: HttpRequest, seat: ApiSeat, sha256: str) -> PhotoKept:
    """Erase a photo for good; its entry stays and the chain still holds. Backups made earlier still have it."""
    desk.erase_photo(site.book(), seat.store, sha256)
    return PhotoKept(sha256=sha256, said="erased")
