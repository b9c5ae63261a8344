"""The import rule is a test: each contract holds, covers every room, and breaks when a fault is planted."""

import configparser
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINT = Path(sys.executable).parent / "lint-imports"


def lint(folder):
    return subprocess.run(
        [LINT, "--no-logo", "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(folder / "src")},
        check=False,
    )


def test_every_room_has_its_floor():
    rules = configparser.ConfigParser()
    rules.read(ROOT / ".importlinter")
    placed = rules["importlinter:contract:floors"]["layers"].replace("|", " ").split()
    rooms = {p.name for p in (ROOT / "src" / "drybank").iterdir() if p.is_dir() and p.name != "__pycache__"}
    assert rooms == set(placed)


@pytest.mark.parametrize(
    ("room", "line", "broken"),
    [
        ("records", "import drybank.balance", "floors"),
        ("balance", "import drybank.proof", "floors"),
        ("plan", "import drybank.learn", "floors"),
        ("desk", "import django.db", "Django".lower()),
        ("balance", "import sqlite3", "pure"),
        ("traffic", "import os", "pure"),
    ],
)
@pytest.mark.slow
def test_a_planted_import_breaks_a_contract(tmp_path, room, line, broken):
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / ".importlinter", tmp_path)
    (tmp_path / "src" / "drybank" / room / "planted.py").write_text(line + "\n")
    done = lint(tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "BROKEN" in done.stdout
    assert "planted" in done.stdout
