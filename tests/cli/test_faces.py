"""Every command answers help with an example, quickly; faults are one plain sentence with the right exit code."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

DRYBANK = Path(sys.executable).parent / "drybank"


def run(*words, book=None, **kwargs):
    env = os.environ | ({"DRYBANK_BOOK": str(book)} if book else {}) | {"DRYBANK_BY": "tester", "COLUMNS": "200"}
    return subprocess.run([DRYBANK, *words], capture_output=True, text=True, env=env, check=False, **kwargs)


def every_command():
    import typer

    import drybank.cli.commands  # noqa: F401
    from drybank.cli.main import app

    def walk(command, words):
        found = getattr(command, "commands", None)
        if found is None:
            yield words, command
            return
        for name, child in sorted(found.items()):
            yield from walk(child, (*words, name))

    yield from walk(typer.main.get_command(app), ())


COMMANDS = list(every_command())


@pytest.mark.parametrize("words", [w for w, _ in COMMANDS], ids=" ".join)
def test_every_command_has_help_with_an_example(words):
    command = dict(COMMANDS)[words]
    assert (command.epilog or "").startswith("Example: drybank ")
    assert command.help


@pytest.mark.parametrize("words", [w for w, _ in COMMANDS if w != ("open",)], ids=" ".join)
def test_every_command_speaks_json(words):
    assert any("--json" in p.opts for p in dict(COMMANDS)[words].params)


def test_help_costs_under_half_a_second():
    """Processor time of the process, the least of five: what it takes on a machine with nothing else to do."""
    best = 9.0
    for _ in range(5):
        before = os.times()
        assert run("--help").returncode == 0
        after = os.times()
        best = min(best, after.children_user + after.children_system - before.children_user - before.children_system)
    assert best < 0.5


def test_help_imports_nothing_heavy():
    code = "import sys; import drybank.cli.commands; print([m for m in ('numpy','numba','scipy','django','msgspec','typst','vl_convert') if m in sys.modules])"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("balance", "nowhere"), 2, "no book"),
        (("check", "/nowhere/at/all.toml"), 2, "no such file"),
        (("close", "x", "2026-99"), 2, "no book"),
    ],
)
def test_a_fault_is_a_sentence_and_an_exit_code(words, code, said, tmp_path):
    done = run(*words, book=tmp_path / "none.book")
    assert done.returncode == code, done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_fault_in_json_is_json(tmp_path):
    done = run("check", "/nowhere.toml", "--json")
    assert json.loads(done.stdout)["exit"] == 2


def test_an_unknown_command_names_what_there_is():
    done = run("wash")
    assert done.returncode == 2
    assert "No such command" in done.stderr
