"""Custody: every cent collected is somewhere."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from drybank.records.entry import AnyBody, BoxesEmptied, Deposited, HandedOver, Pieces, PiecesCounted, Refunded
from drybank.takings.custody import CustodyRule, follow

MONDAY = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


class Said:
    """One effective entry, as a story tells it."""

    def __init__(self, number: int, body: AnyBody, day: float = 0, by: str = "r") -> None:
        self.id, self.body, self.by = f"e{number}", body, by
        self.versions, self.is_taken_back = (), False
        self.happened = self.booked = MONDAY + timedelta(days=day)


def said(*bodies, days=()):
    return [Said(i, body, days[i] if i < len(days) else i * 0.1) for i, body in enumerate(bodies)]


def quarters(n):
    return (Pieces(piece_minor=25, count=n),)


def followed(lines, now_day=1.0, **rule):
    return follow(lines, currency="USD", now=MONDAY + timedelta(days=now_day), rule=CustodyRule(**rule))


def names(custody):
    return [f.name for f in custody.findings]


def test_a_bag_counted_and_deposited_whole_leaves_nothing_to_ask():
    done = followed(
        said(
            BoxesEmptied(boxes=("1",), bag="A"),
            PiecesCounted(bag="A", pieces=quarters(40)),
            Deposited(bags=("A",), minor=1000),
        )
    )
    assert names(done) == []
    assert (done.counted.minor, done.deposited.minor, done.on_the_way.minor) == (1000, 1000, 0)


def test_what_is_counted_but_not_deposited_is_on_the_way():
    done = followed(
        said(
            BoxesEmptied(boxes=("1",), bag="A"),
            PiecesCounted(bag="A", pieces=quarters(40)),
            HandedOver(bag="A", to="k", seal_number="7"),
        )
    )
    assert done.on_the_way.minor == 1000
    assert done.bags[0].state == "handed over"
    assert done.bags[0].seal_number == "7"


def test_a_deposit_short_of_its_bags_is_a_finding_with_its_amount():
    done = followed(
        said(
            BoxesEmptied(boxes=("1",), bag="A"),
            PiecesCounted(bag="A", pieces=quarters(40)),
            Deposited(bags=("A",), minor=975),
        )
    )
    assert names(done) == ["deposit short"]
    assert done.short.minor == 25


def test_a_deposit_over_its_bags_is_tracked_as_carefully():
    done = followed(
        said(
            BoxesEmptied(boxes=("1",), bag="A"),
            PiecesCounted(bag="A", pieces=quarters(40)),
            Deposited(bags=("A",), minor=1025),
        )
    )
    assert names(done) == ["deposit over"]


def test_cash_refunds_explain_what_a_deposit_lacks():
    done = followed(said(
        BoxesEmptied(boxes=("1",), bag="A"), PiecesCounted(bag="A", pieces=quarters(40)), Refunded(pocket="1", minor=75), Deposited(bags=("A",), minor=925)
    ))  # fmt: skip
    assert names(done) == []
    assert done.refunded.minor == 75


def test_a_bag_that_waits_longer_than_the_store_asks_is_late():
    done = followed(said(BoxesEmptied(boxes=("1",), bag="A"), PiecesCounted(bag="A", pieces=quarters(4))), now_day=9.0)
    assert names(done) == ["deposit late"]


def test_a_bag_in_two_deposits_and_a_bag_nobody_knows_are_found():
    done = followed(said(
        BoxesEmptied(boxes=("1",), bag="A"), PiecesCounted(bag="A", pieces=quarters(4)), Deposited(bags=("A",), minor=100), Deposited(bags=("A", "Z"), minor=0)
    ))  # fmt: skip
    assert sorted(names(done)) == ["bag in two deposits", "bag not known"]


def test_one_counter_where_the_store_asks_for_two_is_told_without_a_name():
    done = followed(
        said(BoxesEmptied(boxes=("1",), bag="A"), PiecesCounted(bag="A", pieces=quarters(4))), asks_two=True
    )
    assert names(done) == ["counted by one"]
    assert " r " not in done.findings[0].says


def test_boxes_counted_without_a_bag_are_followed_by_their_collection():
    done = followed(
        said(
            BoxesEmptied(boxes=("1", "2")),
            PiecesCounted(boxes=("1",), pieces=quarters(4)),
            Deposited(bags=("collection e0",), minor=100),
        )
    )
    assert done.short.minor == 0
    assert done.bags[0].state == "deposited"


bags = st.sampled_from(["A", "B", "C", "D"])
bodies = st.one_of(
    bags.map(lambda b: BoxesEmptied(boxes=(b.lower(),), bag=b)),
    st.tuples(bags, st.integers(0, 5000)).map(lambda x: PiecesCounted(bag=x[0], pieces=quarters(x[1]))),
    st.tuples(bags, st.integers(0, 10**6)).map(lambda x: PiecesCounted(bag=x[0], minor=x[1])),
    st.integers(0, 5000).map(lambda m: Refunded(pocket="1", minor=m)),
    st.tuples(st.lists(bags, max_size=4), st.integers(0, 10**6)).map(lambda x: Deposited(bags=tuple(x[0]), minor=x[1])),
    bags.map(lambda b: HandedOver(bag=b, to="k")),
)


@given(st.lists(bodies, max_size=30))
def test_every_cent_is_somewhere_whatever_happens(history):
    """counted + over = deposited + refunded + short + on the way, to the minor unit, and each deposit by itself."""
    done = followed(said(*history))
    for m in done.deposits:
        assert m.counted.minor == m.deposited.minor + m.refunded.minor + m.short.minor - m.over.minor
        assert 0 in (m.short.minor, m.over.minor)
    assert done.counted.minor + done.over.minor == (
        done.deposited.minor + done.refunded.minor + done.short.minor + done.on_the_way.minor
    )


def test_a_bag_number_used_again_does_not_hide_what_its_first_round_still_holds():
    bag = (BoxesEmptied(boxes=("1",), bag="A"), PiecesCounted(bag="A", pieces=quarters(40)))
    assert followed(said(*bag, *bag)).on_the_way.minor == 2000
