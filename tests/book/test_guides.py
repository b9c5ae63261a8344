"""The guides' steps, run as they stand. ``sudo`` is left out (the tests run as root) and so are package installs."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from book_making import Server, first, now, open_book, postgres_bin, readings

GUIDES = Path(__file__).parents[2] / "docs" / "guides"


def steps(guide: str, fence: str) -> list[str]:
    """Every command line of the guide's blocks."""
    blocks = re.findall(rf"^```{fence}\n(.*?)^```", (GUIDES / guide).read_text(), re.MULTILINE | re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


def run(line: str, folder: Path, **env: str) -> str:
    path = f"{Path(sys.executable).parent}:{env.pop('BIN', '')}:{os.environ['PATH']}"
    said = subprocess.run(["bash", "-c", line], cwd=folder, env=os.environ | env | {"PATH": path, "DRYBANK_BY": "ann"}, capture_output=True, text=True, check=False)  # fmt: skip
    assert said.returncode == 0, f"{line}\n{said.stdout}{said.stderr}"
    return said.stdout


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_book(tmp_path / "drybank.book", create=True, clock=now) as book:
        book.append([first("millrace"), *readings(20, store="millrace")])
    (tmp_path / "backups").mkdir()
    return tmp_path


@pytest.mark.slow
def test_many_stores(folder: Path):
    try:
        binaries = postgres_bin()
    except LookupError as why:
        pytest.skip(str(why))
    fresh = Server(roles=False)
    try:
        lines = [line for line in steps("many-stores.md", "sh") if "apt-get" not in line]
        assert len(lines) > 15
        for line in lines:
            env = {"PGHOST": str(fresh.root), "BIN": str(binaries), "DRYBANK_BOOK": "drybank.book"}
            if line.startswith("sudo -u postgres "):
                line, env["PGUSER"] = line.removeprefix("sudo -u postgres "), "postgres"
            run(line, folder, **env)
    finally:
        fresh.close()


@pytest.mark.slow
def test_backup(folder: Path):
    """The names in the guide stand for the ones made here; seals of earlier weeks and a restored book are there already."""
    stick = folder / "stick"
    stick.mkdir()
    run("drybank seal >> seals.txt; drybank move saved.book; drybank move restored.book", folder)
    for line in steps("backup.md", ""):
        made = next(iter(stick.glob("*.book")), stick / "none")
        line = line.replace("/media/stick/drybank-2026-05-03-181500.book", str(made))
        run(line.replace("/media/stick", str(stick)).replace("/tmp/drill.book", "drill.book"), folder)
    run("sha256sum -c *.sha256", stick)
