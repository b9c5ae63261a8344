"""Prints the table of agreements when the outside checks are asked for (``pytest -m facts``)."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))


def pytest_terminal_summary(terminalreporter, config):
    if "facts" not in (config.option.markexpr or ""):
        return
    from tests.facts import report

    if report.ROWS:
        terminalreporter.section("outside figures and ours")
        for line in report.lines():
            terminalreporter.write_line(line)
