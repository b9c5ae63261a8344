"""The examples on the sale rule's page run and give what they show."""

import doctest
from pathlib import Path

from drybank.control import CHECKS

CONCEPTS = Path(__file__).parents[2] / "docs" / "concepts"


def test_the_sale_rules_page_shows_what_really_comes_out():
    text = (CONCEPTS / "sale-rule.md").read_text()
    found = doctest.DocTestParser().get_doctest(text, {}, "sale-rule.md", "sale-rule.md", 0)
    result = doctest.DocTestRunner(verbose=False).run(found)
    assert result.attempted >= 10
    assert result.failed == 0


def test_every_check_stands_on_its_page():
    text = (CONCEPTS / "checks.md").read_text()
    assert [key for key, _, _ in CHECKS if f"| `{key}` |" not in text] == []
