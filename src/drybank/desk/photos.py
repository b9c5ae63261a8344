"""Photos of entries: kept beside the chain under the salted hash that an entry names, seen by right, erased for good."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import msgspec

from drybank.book import Told
from drybank.desk.intake_past import past_of
from drybank.desk.pictures import Sort, look_at
from drybank.records.errors import Missing

if TYPE_CHECKING:
    from drybank.book import Book


class PhotoKept(msgspec.Struct, frozen=True, kw_only=True):
    """What became of a photo: kept now, kept before, or erased here and so not kept again."""

    sha256: str
    said: Literal["stored", "already", "erased"]


class Photo(msgspec.Struct, frozen=True, kw_only=True):
    sort: Sort
    content: bytes


def named_by(book: Book, store: str, sha256: str) -> Told:
    """The entry of this store that names a photo; `Missing` where none does."""
    past = past_of(book, store)
    with past.lock:
        past.refresh(book, store)
        found = past.photo(sha256)
    if found is None:
        raise Missing("No entry of this store names this photo. Send the entry first, then its photos.")
    return found


def keep_photo(book: Book, store: str, sha256: str, salt: bytes, content: bytes) -> PhotoKept:
    """Keep a photo that an entry names, once, however often it is sent.

    Raises
    ------
    InputError
        No photo, one that tells its place, or not the one that the hash stands for.
    Missing
        No entry of this store names it.
    """
    named_by(book, store, sha256)
    look_at(content)
    try:
        there = book.kept(sha256)
    except Missing:
        book.keep_under(sha256, "photo", salt, content)
        return PhotoKept(sha256=sha256, said="stored")
    return PhotoKept(sha256=sha256, said="erased" if there is None else "already")


def photo(book: Book, store: str, sha256: str, *, only_of: str = "") -> Photo:
    """A photo of this store, of one person's entries only where ``only_of`` names one; `Missing` where there is none."""
    told = named_by(book, store, sha256)
    if only_of and told.by != only_of:
        raise Missing("No entry of yours names this photo.")
    content = book.kept(sha256)
    if content is None:
        raise Missing("This photo was erased.")
    return Photo(sort=look_at(content).sort, content=content)


def erase_photo(book: Book, store: str, sha256: str) -> None:
    """Erase a photo of this store for good; the entry that names it stays, and the chain still holds."""
    named_by(book, store, sha256)
    book.erase(sha256)
