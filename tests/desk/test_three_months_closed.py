"""A quarter of an invented store with a house owners' share and an app: thirteen weeks closed one after the other.

The demo's own model tells the history (seeded); planted are one bag that reaches the bank nine days late, two coin boxes that
change places, and seven refunds at one pocket in two weeks. The closes must say what was missing when they were made, the
findings must name what was planted and nothing else, and the shares must add.
"""

from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from drybank.book import Seal, open_book
from drybank.control import layout
from drybank.desk import demo
from drybank.desk.demo_history import first_visit, told
from drybank.desk.demo_town.records import PlantedFault
from drybank.desk.stamp import Pen
from drybank.desk.takings import close, money_trail, proof_of_income, statement_of
from drybank.records.entry import PartReplaced, Refunded, SheetDated, StoreDated

STORE, WEEKS, FIRST = "saddle", 13, 91
SAID = {"size_is": "", "says": ""}
PLANTED = (
    PlantedFault(key="late", store=STORE, kind="late deposit", from_week=94, until_week=95, size=9, **SAID),
    PlantedFault(key="many", store=STORE, kind="refunds", pocket="3", from_week=96, until_week=98, size=7, **SAID),
)


def saddle():
    """The demo's third store, its two shared boxes numbered."""
    laid, houses = next(pair for pair in demo.town() if pair[0].store.key == STORE)
    numbers = {"box 5+6": "B56", "box 7+8": "B78"}
    boxes = tuple(msgspec.structs.replace(b, number=numbers.get(b.key, "")) for b in laid.store.boxes)
    return layout(msgspec.structs.replace(laid.store, boxes=boxes), laid.sheets), houses


class Clock:
    now = datetime(2024, 11, 1, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture(scope="module")
def quarter(tmp_path_factory):
    laid, houses = saddle()
    start = first_visit(laid.store.time_zone)
    begun = start + timedelta(weeks=FIRST)
    history = [e for e in told(laid, {b.bank: b.values for b in houses.banks}, PLANTED) if e.happened >= begun]
    clock, closes = Clock(), []
    pen = Pen(by="owner", clock=clock)
    clock.now = begun - timedelta(days=7)
    with open_book(tmp_path_factory.mktemp("quarter") / "q.book", create=True, clock=clock) as book:
        when = clock.now.date().isoformat()
        book.append(
            [
                pen.entry(STORE, StoreDated(store=laid.store, from_date=when)),
                *(pen.entry(STORE, SheetDated(sheet=s, from_date=when)) for s in laid.sheets.values()),
            ]
        )
        for week in range(FIRST, FIRST + WEEKS):
            monday = (start + timedelta(weeks=week)).date()
            ends = start + timedelta(weeks=week + 1, hours=-4)  # Tuesday to Monday: the week's round is on its Monday
            clock.now = ends
            book.append([e for e in history if ends - timedelta(weeks=1) <= e.happened < ends])
            if week == 97:
                for at, number in (("box 5+6", "B78"), ("box 7+8", "B56")):
                    book.append([pen.entry(STORE, PartReplaced(part="coin box", at=at, new_number=number))])
            clock.now = start + timedelta(weeks=week + 1)
            closes.append(close(book, STORE, f"{monday:%G-W%V}", pen, although_missing=True))
        clock.now = max(clock.now, history[-1].happened + timedelta(days=1))
        book.append([e for e in history if e.happened >= ends])
        yield book, closes, clock.now


def test_each_close_froze_the_chain_under_a_seal_of_its_own(quarter):
    book, closes, _ = quarter
    assert len({c.seal for c in closes}) == WEEKS
    assert book.verify(STORE, [Seal.read(c.seal) for c in closes]).is_whole


def test_the_proof_of_income_shows_the_seals_as_they_were_handed_out(quarter):
    """A buyer compares line with line, and gives one to `drybank verify --seal`."""
    book, closes, when = quarter
    proof = proof_of_income(book, STORE, "2026-08", "2026-11", when)
    assert [s.line for s in proof.seals] == [c.seal for c in closes]


def test_the_close_says_that_the_late_bag_is_not_in_a_deposit_and_no_other_week_does(quarter):
    _, closes, _ = quarter
    late = [c.week.week for c in closes if any("not in a deposit" in m for m in c.week.missing)]
    planted = first_visit("America/Denver") + timedelta(weeks=94)
    assert late == [f"{planted:%G-W%V}"]


def test_the_late_bag_the_swapped_boxes_and_the_refund_cluster_are_found_and_nothing_else(quarter):
    book, _, when = quarter
    found = money_trail(book, STORE, when).findings
    assert {f.name for f in found} == {"deposit late", "boxes changed places", "many complaints"}
    assert {f.where for f in found if f.name == "many complaints"} == {"3"}
    assert {f.where[-4:] for f in found if f.name == "deposit late"} == {"-w94"}
    swap = next(f for f in found if f.name == "boxes changed places")
    assert "B56" in swap.says
    assert "B78" in swap.says


def test_closes_statements_and_custody_tell_the_same_money(quarter):
    """Thirteen closes, three months and one quarter add to the same takings; shares and kept add to each base."""
    book, closes, when = quarter
    first, last = closes[0].week.starts.date(), closes[-1].week.ends.date() - timedelta(days=1)
    whole = statement_of(book, STORE, f"{first}..{last}", when)
    assert sum(c.week.takings.minor for c in closes) == whole.total.takings.minor
    assert sum(w.takings.minor for w in whole.weeks) == whole.total.takings.minor
    custody = money_trail(book, STORE, when).custody
    paid_in = custody.deposited + custody.refunded + custody.short + custody.on_the_way
    assert custody.counted + custody.over == paid_in
    for month in ("2026-09", "2026-10"):
        told_of = statement_of(book, STORE, month, when)
        out = told_of.total.fees + told_of.total.refunds + told_of.costs + told_of.kept
        for share in told_of.shares:
            assert share.due + share.kept == share.base
            out = out + share.due
        assert out + told_of.total.tax.tax == told_of.total.takings
    partner = statement_of(book, STORE, "2026-10", when, reader="House owners")
    assert partner.shares[0] == statement_of(book, STORE, "2026-10", when).shares[0]


def test_card_money_stands_beside_coins_each_month(quarter):
    book, _, when = quarter
    assert statement_of(book, STORE, "2026-10", when).total.cards.minor > 0
    assert not any(f.name.startswith("payout") for f in money_trail(book, STORE, when).findings)


def test_a_refund_entered_for_a_closed_week_is_told_now_and_the_month_stays(quarter):
    book, _, when = quarter
    before = statement_of(book, STORE, "2026-09", when)
    pen = Pen(by="owner", clock=lambda: when)
    book.append([pen.entry(STORE, Refunded(pocket="2", minor=150), happened=datetime(2026, 9, 9, 18, tzinfo=UTC))])
    assert statement_of(book, STORE, "2026-09", when) == before
    month = f"{when.astimezone(UTC):%Y-%m}"
    assert statement_of(book, STORE, month, when).total.refunds.minor >= 150
