"""Statements and journal: sums that add, read by an outside program."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.records.entry import Deposited, PaidOut, PiecesCounted, Refunded, WeekClosed
from drybank.records.errors import InputError
from drybank.takings import IncomeTally, income_proof, journal, period, statement
from drybank.takings.statement import weeks_of

from .conftest import Said, make_layout

bodies = st.one_of(
    st.integers(0, 10**6).map(lambda m: PiecesCounted(bag="A", minor=m)),
    st.integers(0, 10**6).map(lambda m: Deposited(bags=("A",), minor=m)),
    st.integers(0, 10**4).map(lambda m: Refunded(pocket="1", minor=m)),
    st.tuples(st.integers(0, 10**6), st.integers(0, 10**4), st.integers(0, 10**6)).map(
        lambda x: PaidOut(
            account="card",
            period_from="2026-05-04",
            period_to="2026-05-10",
            gross_minor=x[0],
            fee_minor=x[1],
            paid_minor=x[2],
        )
    ),
)
histories = st.lists(st.tuples(bodies, st.floats(0, 25.9)), max_size=25).map(
    lambda rows: [Said(i, body, day) for i, (body, day) in enumerate(rows)]
)


@given(histories)
def test_the_weeks_of_a_month_add_to_the_month(lines):
    whole = period(make_layout(), lines, date(2026, 5, 1), date(2026, 5, 31))
    parts = statement(make_layout(), lines, date(2026, 5, 1), date(2026, 5, 31)).weeks
    for name in ("coins", "cards", "takings", "fees", "refunds", "deposits"):
        assert sum(getattr(p, name).minor for p in parts) == getattr(whole, name).minor


@given(histories)
def test_the_owners_statement_adds_to_the_cent(lines):
    told = statement(make_layout(), lines, date(2026, 5, 1), date(2026, 5, 31))
    out = told.total.tax.tax + told.total.fees + told.total.refunds + told.costs + told.shares[0].due + told.kept
    assert out == told.total.takings


def test_a_partner_sees_their_share_and_no_costs(laid):
    told = statement(
        laid, [Said(0, PiecesCounted(minor=10_000))], date(2026, 5, 1), date(2026, 5, 31), reader="Landlord"
    )
    assert told.shares[0].due.minor == 1_000
    assert told.costs.minor == 0
    assert not told.is_owner


def test_a_stranger_gets_no_statement(laid):
    with pytest.raises(InputError, match="shares with nobody"):
        statement(laid, [], date(2026, 5, 1), date(2026, 5, 31), reader="Somebody")


def test_a_span_is_cut_into_weeks_without_gap_or_overlap():
    parts = weeks_of(date(2026, 5, 1), date(2026, 5, 31))
    assert parts[0] == (date(2026, 5, 1), date(2026, 5, 3))
    assert parts[-1] == (date(2026, 5, 25), date(2026, 5, 31))
    assert sum((b - a).days + 1 for a, b in parts) == 31


@given(histories)
def test_every_transaction_of_the_journal_balances_for_an_outside_reader(lines):
    """Witness: beancount (PyPI, tests only) loads the journal and finds no unbalanced transaction."""
    from beancount import loader

    entries, errors, _ = loader.load_string(journal(make_layout(), lines))
    assert errors == []
    counted = sum(1 for x in lines if isinstance(x.body, PiecesCounted | Deposited | Refunded | PaidOut))
    assert sum(type(e).__name__ == "Transaction" for e in entries) == counted


def test_the_journal_bears_names_that_try_to_break_out_of_it(laid):
    from beancount import loader

    lines = [Said(0, PiecesCounted(bag='x" "\n2026-01-01 open Assets:Evil', minor=100))]
    entries, errors, _ = loader.load_string(journal(laid, lines))
    assert errors == []
    assert not any("Evil" in getattr(e, "account", "") for e in entries)


def test_the_proof_of_income_tells_where_fuel_and_hours_do_not_agree(laid):
    lines = [
        Said(0, PiecesCounted(minor=10_000)),
        Said(1, WeekClosed(week="2026-W19", tip="abc", taken_minor=10_000), 6),
    ]
    beside = {
        "2026-05": IncomeTally(
            pieces=400, hours=100.0, fuel=80.0, fuel_unit="therm", fuel_expected=120.0, fuel_low=100.0, fuel_high=140.0
        )
    }
    proof = income_proof(laid, lines, ["2026-05"], beside)
    assert proof.months[0].agrees == "less fuel than the hours burn"
    assert proof.total.minor == 10_000
    assert proof.seals[0].tip == "abc"
    assert any("does not prove that an entry was true" in s for s in proof.says)


def test_months_without_fuel_or_hours_are_said(laid):
    proof = income_proof(laid, [], ["2026-05", "2026-06"], {})
    assert any("No fuel bill is entered for 2026-05, 2026-06" in s for s in proof.says)
    assert any("Hours are not known" in s for s in proof.says)
