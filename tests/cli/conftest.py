"""The terminal in this process: `drybank(*words)` gives its exit code, what it said and what it complained of."""

import sys

import pytest


@pytest.fixture
def drybank(request, town, monkeypatch, capsys):
    """On the module's own ``town``; a module that sets COLUMNS has a terminal of that width."""
    from drybank.cli.main import run

    def call(*words):
        monkeypatch.setenv("DRYBANK_BOOK", town)
        if hasattr(request.module, "COLUMNS"):
            monkeypatch.setenv("COLUMNS", request.module.COLUMNS)
        monkeypatch.setattr(sys, "argv", ["drybank", *words])
        with pytest.raises(SystemExit) as left:
            run()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return call
