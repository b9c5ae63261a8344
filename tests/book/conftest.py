"""Every test that takes ``places`` or ``book`` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from book_making import Places, Server, begun, postgres_bin

from drybank.book import Book


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    try:
        postgres_bin()
    except LookupError as why:
        pytest.skip(str(why))
    running = Server()
    yield running
    running.close()


@pytest.fixture(scope="session", params=["sqlite", "postgresql"])
def places(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Places:
    running = request.getfixturevalue("server") if request.param == "postgresql" else None
    return Places(request.param, tmp_path_factory.mktemp("books"), running)


@pytest.fixture
def book(places: Places) -> Iterator[Book]:
    """A book in which store ``elm`` is described and nothing else is written."""
    with begun(places) as open_one:
        yield open_one
