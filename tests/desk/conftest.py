"""A book with the demo town's first store, its bank's house settings adopted; copied for each test."""

import shutil
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import pytest

from drybank.book import open_book
from drybank.desk.files import load
from drybank.desk.houses import adopt, propose
from drybank.desk.stamp import Pen

STORE, BANK = "lantern", "long wall"
HOUSE = (
    "time per piece, 25 c=6 min", "time per piece, 1.00=24 min", "first time=24 min", "start price=1.00", "temperature, Hot=74 C",
    "temperature, Warm=58 C", "temperature, Mild=46 C", "cool-down time=3 min", "door rule=clock stops",
)  # fmt: skip


class Clock:
    """A clock that moves a second at each look, so that entries have an order."""

    def __init__(self):
        self.now = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)

    def __call__(self):
        self.now += timedelta(seconds=1)
        return self.now


def demo_files(*names):
    room = files("drybank.desk.demo_town")
    return [(name, room.joinpath(name).read_bytes()) for name in names]


@pytest.fixture(scope="session")
def made_book(tmp_path_factory):
    path = tmp_path_factory.mktemp("desk") / "made.book"
    clock = Clock()
    clock.now -= timedelta(days=30)
    pen = Pen(by="owner", clock=clock)
    with open_book(path, create=True, clock=clock) as book:
        load(book, demo_files("lantern_row.toml", "alder.toml"), pen)
        adopt(book, propose(book, STORE, BANK, pen, texts=HOUSE), pen)
    return path


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def pen(clock):
    return Pen(by="tech", clock=clock)


@pytest.fixture
def book_path(made_book, tmp_path):
    return shutil.copy(made_book, tmp_path / "desk.book")


@pytest.fixture
def book(book_path, clock):
    with open_book(book_path, clock=clock) as it:
        yield it
