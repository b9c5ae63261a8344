"""The README's session is a real run: every line again, words the same, numbers the same but for another machine's last digits."""

import re

import pytest

from . import readme_session

NUMBER = re.compile(r"-?\d[\d,]*(?:\.\d+)?")


@pytest.mark.slow
def test_the_session_runs_as_it_is_printed(tmp_path):
    found = readme_session.FENCE.search(readme_session.README.read_text(encoding="utf-8"))
    told = readme_session.session(readme_session.made_book(tmp_path)).splitlines()
    printed = found[2].splitlines()
    assert len(told) == len(printed), "run: python -m tests.house.readme_session"
    for ours, theirs in zip(told, printed, strict=True):
        assert " ".join(NUMBER.sub("#", ours).split()) == " ".join(NUMBER.sub("#", theirs).split())
        for a, b in zip(NUMBER.findall(ours), NUMBER.findall(theirs), strict=True):
            x, y = (float(n.replace(",", "")) for n in (a, b))
            assert abs(x - y) <= 0.011 + 0.01 * abs(y), f"{ours!r} against {theirs!r}"
