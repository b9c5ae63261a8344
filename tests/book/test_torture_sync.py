"""The short form of the sync load and its kills, on both databases: five phones at once against a served book.

The long forms are ``make torture`` (place ``sync``) and ``bench/sync.py``. A server on PostgreSQL shows on the way that
`drybank open --book postgresql://...` keeps its people, tokens and sessions beside the book there.
"""

from __future__ import annotations

import numpy as np
import pytest
import torture
import torture_sync
from book_making import Places


@pytest.mark.slow
def test_phones_at_once_and_a_server_killed_at_work_lose_and_double_nothing(places: Places):
    kills = 3
    count = torture_sync.kill_sync(places, kills, np.random.default_rng(3), torture.Count("sync", places.vendor))
    assert count.is_clean, count.row()
    assert (count.tries, count.struck >= 1) == (kills, True), count.row()


def test_the_reckoning_notices_a_server_that_answers_before_it_stores(monkeypatch: pytest.MonkeyPatch):
    """It must notice lost entries, or it proves nothing."""

    class Acknowledged:
        acknowledged, refused = {"never booked": "stored"}, []

    class Empty:
        nursery, tokens = None, ()

        def copy(self) -> str:
            return ""

        def send(self, *_: object) -> list[Acknowledged]:
            return [Acknowledged()]

        def ids(self) -> list[str]:
            return ["never booked"]

    import contextlib

    monkeypatch.setattr(torture_sync, "syncing", lambda places: contextlib.nullcontext(Empty()))
    monkeypatch.setattr(torture_sync, "in_book", lambda where: ([], True))
    monkeypatch.setattr(torture_sync, "_Server", lambda *_: type("Gone", (), {"kill": lambda self: True})())
    count = torture_sync.kill_sync(None, 1, np.random.default_rng(1), torture.Count("sync", "none"))
    assert count.lost > 0
    assert not count.is_clean
