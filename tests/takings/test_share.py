"""Tax and shares: published rules and worked examples, and sums that always add."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drybank.records.errors import InputError
from drybank.records.money import Money
from drybank.records.store import SalesTax, Share, ShareTier
from drybank.takings.share import share_out, split_tax, tax_in_force

NOTHING = Money(0, "USD")
percents = st.decimals(0, 100, places=3).map(str)
amounts = st.integers(0, 10**10).map(lambda m: Money(m, "USD"))


def tax_rule(percent, *, included, valid_from="2020-01-01"):
    return SalesTax(percent=percent, is_included=included, jurisdiction="Test", source="test", valid_from=valid_from)


@pytest.mark.facts
@pytest.mark.parametrize(
    ("sale_minor", "percent", "tax_minor"),
    [(1099, "6.25", 69), (10, "6.5", 1), (100, "4.4", 4), (100, "4.5", 5), (100, "4.6", 5)],
)
def test_rounds_up_when_the_third_decimal_is_greater_than_four(sale_minor, percent, tax_minor):
    """Streamlined Sales and Use Tax Agreement s. 324: carry to the third decimal, round up when it is greater than four
    (read in Rhode Island General Laws 44-18.1-25 and N.D. Century Code 57-39.4-25). 10.99 at 6.25 % = 0.686875 -> 0.69
    (read on a tax help page); 0.10 at 6.5 % = 0.0065 -> 0.01; the rest recomputed from the rule."""
    assert split_tax(Money(sale_minor, "USD"), tax_rule(percent, included=False)).tax == Money(tax_minor, "USD")


@given(amounts, percents, st.booleans())
def test_base_and_tax_add_to_the_total_to_the_cent(takings, percent, included):
    split = split_tax(takings, tax_rule(percent, included=included))
    assert split.base + split.tax == split.total
    assert takings in (split.base, split.total)


@given(amounts, percents)
def test_included_tax_is_the_tax_of_its_own_base(takings, percent):
    """The two ways agree: tax on the base that is left is the tax found, within the half cent that rounding may take."""
    split = split_tax(takings, tax_rule(percent, included=True))
    again = split_tax(split.base, tax_rule(percent, included=False))
    assert abs(again.tax.minor - split.tax.minor) <= 1


def test_the_rate_in_force_is_the_latest_begun():
    rates = [tax_rule("5", included=True), tax_rule("6", included=True, valid_from="2026-07-01")]
    assert tax_in_force(rates, date(2026, 6, 30)).percent == "5"
    assert tax_in_force(rates, date(2026, 7, 1)).percent == "6"
    assert tax_in_force(rates, date(2019, 1, 1)) is None


@pytest.mark.facts
def test_percentage_over_a_fixed_breakpoint_as_a_published_lease_example():
    """4 % of sales above 1,000,000 on sales of 1,100,000 gives 4,000 beside a fixed rent (read: a published glossary entry
    on percentage rent)."""
    lease = Share(name="Landlord", percent="0", tiers=(ShareTier(above_minor=100_000_000, percent="4"),))
    assert share_out(Money(110_000_000, "USD"), lease, NOTHING).due == Money(400_000, "USD")


@pytest.mark.facts
def test_percentage_over_an_artificial_and_a_natural_breakpoint():
    """Annual sales 1,200,500, 5 %, rent 60,000: over 1,000,000 pays 10,025; over the natural breakpoint 1,200,000 pays 25
    (read: a retail leasing page, Jan 2018). A guaranteed minimum of the rent is the natural breakpoint."""
    sales = Money(120_050_000, "USD")
    above = Share(name="L", percent="0", tiers=(ShareTier(above_minor=100_000_000, percent="5"),))
    assert share_out(sales, above, NOTHING).due == Money(1_002_500, "USD")
    natural = Share(name="L", percent="5", guaranteed_minor=6_000_000)
    assert share_out(sales, natural, NOTHING).due - Money(6_000_000, "USD") == Money(2_500, "USD")


def test_below_the_natural_breakpoint_the_minimum_is_due():
    out = share_out(Money(10_000, "USD"), Share(name="L", percent="5", guaranteed_minor=6_000), NOTHING)
    assert out.due == Money(6_000, "USD")
    assert out.is_guaranteed


def test_costs_come_off_first_where_the_lease_says_so():
    lease = Share(name="L", percent="50", costs_first=True)
    assert share_out(Money(10_000, "USD"), lease, Money(4_000, "USD")).due == Money(3_000, "USD")
    assert share_out(Money(1_000, "USD"), lease, Money(4_000, "USD")).due == NOTHING


@given(amounts, percents, st.lists(st.tuples(st.integers(1, 10**9), percents), max_size=3), st.integers(0, 10**8))
def test_due_and_kept_always_add_to_the_base(base, percent, tiers, minimum):
    lease = Share(
        name="L",
        percent=percent,
        guaranteed_minor=minimum,
        tiers=tuple(ShareTier(above_minor=a, percent=p) for a, p in tiers),
    )
    out = share_out(base, lease, NOTHING)
    assert out.due + out.kept == out.base
    assert out.due.minor >= minimum


@pytest.mark.parametrize("percent", ["-1", "101", "abc", "nan"])
def test_an_impossible_percentage_is_refused_in_a_sentence(percent):
    with pytest.raises(InputError):
        share_out(Money(100, "USD"), Share(name="L", percent=percent), NOTHING)
