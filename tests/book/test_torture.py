"""The short form of `make torture`: over 200 kills on both databases, every commit boundary among them, and other faults.

Method of each fault: its function in torture.py. Whatever had been acknowledged must be there, nothing twice, no batch by half,
and the chain must verify; sent again, everything stands there once.
"""

from __future__ import annotations

import os
import re

import numpy as np
import pytest
import torture
from book_making import Places, postgres_bin

KILLS = {"append": 50, "import": 25, "migrate": 8, "backup": 8, "move": 8}
"""On each database: 99 kills at random moments, and 20 at the boundaries of an append; 238 in all."""


def rng(*seed: int) -> np.random.Generator:
    return np.random.default_rng([7, *seed])


@pytest.mark.slow
@pytest.mark.parametrize("name", KILLS)
def test_killed_at_any_moment_nothing_is_lost_doubled_or_half_stored(places: Places, name: str):
    work, _ = torture.FAULTS[name]
    count = work(places, KILLS[name], rng(len(name)))
    assert count.is_clean, count.row()
    assert count.tries == KILLS[name]
    assert count.struck >= count.tries // 3, f"too few struck at work to say anything: {count.row()}"


@pytest.mark.slow
def test_killed_at_every_statement_and_commit_of_an_append(places: Places):
    count = torture.kill_append_boundaries(places, 0, rng())
    assert count.is_clean, count.row()
    assert count.struck >= 10


def test_two_programs_at_once_lose_and_double_nothing(places: Places):
    count = torture.race(places, 4, rng())
    assert count.is_clean, count.row()


def test_a_server_stopped_hard_in_the_middle_loses_nothing(places: Places):
    if places.server is None:
        pytest.skip("a file has no server")
    count = torture.restart(places, 1, rng())
    assert count.is_clean, count.row()
    away_s, refused = (float(word) for word in re.findall(r"[\d.]+(?= s,| of)", count.note))
    assert refused == 0 or away_s > 6, "a short restart is waited out"


def test_a_full_disk_refuses_with_a_sentence_and_loses_nothing(places: Places):
    if places.server is not None:
        pytest.skip("the disk of a server is the server's")
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    count = torture.full_disk(places, 3, rng())
    assert count.is_clean, count.row()
    assert count.struck == 3


@pytest.mark.parametrize("damage", ["flip", "tear"])
def test_damage_that_touches_an_entry_never_passes_for_whole(places: Places, damage: str):
    if places.server is not None:
        pytest.skip("a file's bytes are damaged here")
    count = torture.FAULTS[damage][0](places, 15, rng())
    assert count.is_clean, count.row()
    assert count.struck == 15


def test_a_clock_set_back_keeps_the_chain(places: Places):
    count = torture.clock_back(places, 2, rng())
    assert count.is_clean, count.row()
    assert "noticed by verify 2 times" in count.note


class TestTheTortureItself:
    """It must notice a book that stores by halves, or it proves nothing."""

    @pytest.fixture
    def sqlite(self, tmp_path_factory: pytest.TempPathFactory) -> Places:
        return Places("sqlite", tmp_path_factory.mktemp("half"), None)

    def test_notices_batches_stored_by_halves(self, sqlite: Places, monkeypatch: pytest.MonkeyPatch):
        from drybank.book.rows import Rows

        def by_halves(self: Rows, stores: object, compose: object, kept: object = ()) -> None:
            for line in compose():  # type: ignore[operator]
                self._add([line])

        monkeypatch.setattr(Rows, "write", by_halves)
        assert torture.kill_append_boundaries(sqlite, 24, rng()).half > 0

    def test_notices_acknowledgement_before_storing(self, sqlite: Places):
        count = torture.Count("too early", "sqlite")
        with torture.begun_place(sqlite) as place:
            torture.reckon(count, place, torture.batches(2), [0])
        assert count.lost == 10

    def test_runs_on_both_databases_here_unless_there_is_a_reason(self):
        try:
            assert postgres_bin().is_dir()
        except LookupError as why:
            pytest.skip(str(why))
