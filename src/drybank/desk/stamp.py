"""Clock and ids for what is written at this desk: the one place that reads them."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime

import msgspec

from drybank.records.entry import AnyBody, Entry
from drybank.records.ids import uuid7


def now() -> datetime:
    """This moment, aware, in UTC, to the millisecond."""
    moment = datetime.now(UTC)
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)


def new_id() -> str:
    """A fresh UUIDv7."""
    return uuid7(int(datetime.now(UTC).timestamp() * 1000), os.urandom(10))


class Pen(msgspec.Struct, frozen=True, kw_only=True):
    """Who writes, from where; ``entry`` makes a signed entry of a body. Clock and ids can be handed in."""

    by: str
    origin: str = "desk"
    clock: Callable[[], datetime] = now
    ids: Callable[[], str] = new_id

    def entry(self, store: str, body: AnyBody, happened: datetime | None = None) -> Entry:
        when = happened if happened is not None else self.clock()
        return Entry(
            id=self.ids(), store=store, happened=when.astimezone(UTC), by=self.by, origin=self.origin, body=body
        )
