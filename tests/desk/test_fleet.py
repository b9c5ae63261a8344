"""All stores in one balance: from the columns, from the book and on a cluster the same answer, bit for bit."""

import os
import signal
from datetime import UTC, date, datetime, timedelta

import msgspec
import pytest

from drybank.balance import balance
from drybank.balance import balance_fleet as judged_together
from drybank.book import new_entry, open_book
from drybank.desk import fleet
from drybank.desk.balancing import KINDS_READ, entries_for
from drybank.desk.far import each_on
from drybank.desk.fleet import balance_fleet, fleet_results
from drybank.desk.standing import layout_at
from drybank.records.balance import Period
from drybank.records.entry import SheetDated, StoreDated
from drybank.records.errors import InputError
from tests.balance.houses import BASE, ELM, START, fault, house, story

WEEKS, POCKETS, STORES = 6, 4, 6
WHEN = START + timedelta(weeks=BASE + WEEKS, days=4)
SPAN = {"since": date(2025, 5, 27), "until": date(2025, 7, 8)}


def store_key(n):
    return f"s{n}"


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    """Six stores of four pockets; pocket 2 of store s3 loses a tenth in the last weeks."""
    path = tmp_path_factory.mktemp("fleet") / "town.book"
    with open_book(path, create=True, clock=lambda: WHEN) as book:
        for n in range(STORES):
            at = house(pockets=POCKETS, key=store_key(n), name=f"Store {n}")
            faults = [fault("theft", 2, 0.10)] if n == 3 else []
            entries, _ = story(at, *faults, weeks=WEEKS, seed=n + 11)
            begun = [StoreDated(store=at.store, from_date="2024-01-01"), SheetDated(sheet=ELM, from_date="2024-01-01")]
            first = [new_entry(store_key(n), START - timedelta(days=40), "owner", "test", b) for b in begun]
            book.append([*first, *entries])
    return path


@pytest.fixture
def book(town):
    with open_book(town, clock=lambda: WHEN) as open_one:
        yield open_one


def plain(results):
    return [msgspec.json.encode(r) for r in results]


@pytest.fixture(scope="module")
def wanted(town):
    """What the computing room says of every store's story, read from the book."""
    with open_book(town, clock=lambda: WHEN) as book:
        period = fleet._period(book, SPAN["since"], SPAN["until"], WHEN)
        stores = [
            (layout_at(book, s, WHEN), book.story(s, kinds=KINDS_READ, until=period.until))
            for s in sorted(book.stores())
        ]
        return plain(judged_together(stores, period))


def test_columns_and_book_give_the_same_to_the_last_bit(book, wanted):
    assert plain(fleet_results(book, WHEN, **SPAN, anew=True)) == wanted
    assert plain(fleet_results(book, WHEN, **SPAN)) == wanted  # from the columns that the line before kept
    assert (book.where.parent / "town.book.columns").is_dir()


def test_what_is_read_of_a_long_past_gives_the_same_balance_as_the_whole_of_it(book):
    """Two years on, only what is older than the balance looks back is left unread."""
    late = WHEN + timedelta(days=380)
    period = Period(since=late - timedelta(days=56), until=late)
    whole = book.story("s3", kinds=KINDS_READ, until=period.until)
    read = entries_for(book, "s3", period)
    assert 0 < len(read) < len(whole)
    laid = layout_at(book, "s3", WHEN)
    assert balance(laid, read, period) == balance(laid, whole, period)
    near = fleet._period(book, SPAN["since"], SPAN["until"], WHEN)
    assert entries_for(book, "s3", near) == book.story("s3", kinds=KINDS_READ, until=near.until)


def test_one_list_over_all_stores_names_the_loss_and_nothing_else(book):
    seen = []
    answer = balance_fleet(book, WHEN, **SPAN, step=lambda done, of, name: seen.append((done, of)))
    assert [(a.store, a.finding.name, a.finding.where) for a in answer.findings if a.finding.weight == "money"] == [
        ("s3", "cash short", "Pocket 2")
    ]
    assert answer.says.startswith("1 question at 1 store: 6 stores, 24 of 24 units judged")
    assert seen == [(n + 1, STORES) for n in range(STORES)]
    assert not answer.left_out


def test_a_store_that_cannot_be_laid_out_is_left_out_and_told(town, tmp_path):
    import shutil

    shutil.copy(town, tmp_path / "more.book")
    bare = house(pockets=1, key="bare", name="Bare").store
    with open_book(tmp_path / "more.book", clock=lambda: WHEN) as book:
        book.append([new_entry("bare", WHEN - timedelta(days=9), "owner", "test", StoreDated(store=bare, from_date="2024-01-01"))])  # fmt: skip
        answer = balance_fleet(book, WHEN, **SPAN)
    assert len(answer.stores) == STORES
    assert len(answer.left_out) == 1
    assert answer.left_out[0].startswith("bare: ")


def test_a_book_without_stores_says_how_to_begin(tmp_path):
    with open_book(tmp_path / "new.book", create=True) as book, pytest.raises(InputError, match="no store yet"):
        balance_fleet(book, datetime(2026, 1, 1, tzinfo=UTC))


def test_nobody_at_the_address_is_said_plainly(book, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("drybank.desk.far.ANSWERS_WITHIN_S", 0.3)
    with pytest.raises(InputError, match=r"No scheduler answers at tcp://127\.0\.0\.1:9"):
        balance_fleet(book, WHEN, cluster="tcp://127.0.0.1:9")


@pytest.fixture(scope="module")
def cluster():
    """Two worker processes on this computer."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1", silence_logs=50
    ) as running:
        yield running


def test_two_workers_and_one_killed_on_the_way_change_nothing(book, wanted, cluster, monkeypatch):
    """Sent store by store; as soon as the first is back, the process of a worker is killed outright."""
    monkeypatch.setattr(fleet, "CHUNK", 1)
    address = cluster.scheduler_address
    assert plain(fleet_results(book, WHEN, **SPAN, cluster=address)) == wanted
    killed = []

    def kill(done, of, name):
        if done == 1:
            killed.append(next(iter(cluster.workers.values())).pid)
            os.kill(killed[0], signal.SIGKILL)

    assert plain(fleet_results(book, WHEN, **SPAN, cluster=address, step=kill)) == wanted
    assert killed


def test_answers_come_in_the_items_order(cluster):
    assert list(each_on(cluster.scheduler_address, str, range(70))) == [str(n) for n in range(70)]
    assert list(each_on("", str, range(3))) == ["0", "1", "2"]


def test_weeks_and_plans_of_all_stores_are_the_same_on_the_cluster(tmp_path, cluster):
    """The demo town's first store and one that gives no opening hours; plan and week are compared to the last bit."""
    from drybank.desk import everywhere
    from drybank.desk.files import load
    from drybank.desk.houses import adopt, propose
    from drybank.desk.stamp import Pen
    from drybank.traffic.running import Work
    from tests.desk.conftest import BANK, HOUSE, STORE, demo_files

    pen = Pen(by="owner", clock=lambda: datetime(2026, 5, 4, 18, tzinfo=UTC))
    work = Work(weeks=1, replications=2, seed=3, warm_weeks=1)
    with open_book(tmp_path / "two.book", create=True, clock=pen.clock) as book:
        load(book, demo_files("lantern_row.toml", "alder.toml"), pen)
        adopt(book, propose(book, STORE, BANK, pen, texts=HOUSE), pen)
        bare = house(pockets=2, key="bare", name="Bare").store
        book.append([pen.entry("bare", b) for b in (StoreDated(store=bare, from_date="2026-01-01"), SheetDated(sheet=ELM, from_date="2026-01-01"))])  # fmt: skip
        here, far = (list(everywhere.weeks(book, pen, work, cluster=c)) for c in ("", cluster.scheduler_address))
        assert isinstance(here[0], str)
        assert here[0].startswith("bare: ")
        assert here[0] == far[0]
        assert msgspec.json.encode(here[1]) == msgspec.json.encode(far[1])
        first = everywhere._bank(book, pen, STORE, BANK)
        there = next(each_on(cluster.scheduler_address, everywhere.plan_one, [first]))
        assert msgspec.json.encode(there) == msgspec.json.encode(everywhere.plan_one(first))
