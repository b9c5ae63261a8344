"""Planning from the book: what was learned takes the place of what was assumed; adopting keeps what was expected."""

from drybank.desk.learning import WALK_AWAY
from drybank.desk.planning import adopt_plan, inputs_of, plan_bank
from drybank.records.entry import PlanAdopted, ValueLearned

from .conftest import BANK, STORE


def test_the_plan_uses_what_was_kept_as_learned_and_says_so(book, pen):
    before = inputs_of(book, STORE, BANK, pen).price_answer.walk_away_minor
    body = ValueLearned(
        name=WALK_AWAY, at=BANK, value=240.0, low=220.0, high=265.0, unit="minor CAD", method="price change",
        data_from="2026-01-05", data_to="2026-03-01",
    )  # fmt: skip
    book.append([pen.entry(STORE, body)])
    after = inputs_of(book, STORE, BANK, pen).price_answer.walk_away_minor
    assert before.how != "learned"
    assert (after.how, after.value, after.low, after.high) == ("learned", 240.0, 220.0, 265.0)
    assert "2026-01-05" in after.source


def test_an_adopted_plan_is_settable_and_keeps_what_it_should_bring(book, pen):
    plan = plan_bank(book, STORE, BANK, pen)
    done = adopt_plan(book, plan, pen)
    assert done.proposal.is_settable
    entry = book.find(done.entry).entry.body
    assert isinstance(entry, PlanAdopted)
    assert entry.expected["contribution"] == plan.figure("contribution").proposed.value
    assert book.house_at(STORE, BANK, pen.clock()) == plan.house


def test_the_same_book_gives_the_same_plan(book, pen):
    assert plan_bank(book, STORE, BANK, pen).house == plan_bank(book, STORE, BANK, pen).house
