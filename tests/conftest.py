"""Prints the table of agreements when the outside checks are asked for (``pytest -m facts``)."""

import os
import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

# No deadline: a busy machine is not a fault. In CI the same examples each time, so that red means a change was wrong.
settings.register_profile("any", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "any")


def pytest_collection_modifyitems(items):
    """Files with slow tests first, so that the last worker is not left alone with them; order inside a file stays."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)


def pytest_terminal_summary(terminalreporter, config):
    if "facts" not in (config.option.markexpr or ""):
        return
    from tests.facts import report

    if report.ROWS:
        terminalreporter.section("outside figures and ours")
        for line in report.lines():
            terminalreporter.write_line(line)
