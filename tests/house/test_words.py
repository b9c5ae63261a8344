"""What no file of the project may say, and what every file for people should."""

import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]
TEXT = {".py", ".md", ".toml", ".typ", ".txt", ".html", ".css", ".js", ""}

# Words of how a text came to be, not of the job.
NOT_OURS = re.compile(r"\b(?:TODO|FIXME|XXX)\b|/work/|\b[Ii]ssue #?\d|language model|transcript")


def tracked():
    out = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for name in filter(None, out.split("\0")):
        path = ROOT / name
        if path.suffix in TEXT and path.is_file() and path != Path(__file__) and "requirements" not in path.parts:
            yield path


def test_no_file_speaks_of_anything_but_drybank():
    said = []
    for path in tracked():
        for number, line in enumerate(path.read_text(errors="replace").splitlines(), 1):
            if NOT_OURS.search(line):
                said.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}")
    assert not said
