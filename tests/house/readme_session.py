"""The README's session: its commands run on the demo's book. `python -m tests.house.readme_session` writes it anew."""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
FENCE = re.compile(r"(<!-- session:[^\n]*-->\n```\n)(.*?)(\n```)", re.DOTALL)
SHOWN_OF = {"plan": 18}
"""Lines of a long answer that the README keeps; the rest is left out and said."""


def commands() -> list[str]:
    found = FENCE.search(README.read_text(encoding="utf-8"))
    assert found, "the README has no session"
    return [line[2:] for line in found[2].splitlines() if line.startswith("$ ")]


def run(command: str, book: Path) -> str:
    drybank = Path(sys.executable).parent / "drybank"
    env = os.environ | {"DRYBANK_BOOK": str(book), "COLUMNS": "100"}
    done = subprocess.run(
        ["bash", "-c", command.replace("drybank", str(drybank), 1)],
        capture_output=True,
        text=True,
        env=env,
        check=False,
    )
    lines = [line.rstrip() for line in (done.stdout + done.stderr).strip("\n").splitlines()]
    keep = next((n for word, n in SHOWN_OF.items() if command.split()[1] == word), None)
    if keep and len(lines) > keep:
        lines = [*lines[:keep], "..."]
    return "\n".join(lines)


def session(book: Path) -> str:
    return "\n\n".join(f"$ {command}\n{run(command, book)}" for command in commands())


def made_book(folder: Path) -> Path:
    from drybank.desk.demo import make_demo

    path = folder / "quillmere.book"
    make_demo(path)
    return path


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        told = session(made_book(Path(folder)))
    text = README.read_text(encoding="utf-8")
    README.write_text(FENCE.sub(lambda m: m[1] + told + m[3], text), encoding="utf-8")
