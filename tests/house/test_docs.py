"""Docs cannot drift: the reference is made from the code, links lead somewhere, the README's session is a real run."""

import re
import subprocess

import pytest

from .write_docs import PAGES, ROOT

MARKDOWN = sorted(
    ROOT / name
    for name in subprocess.run(
        ["git", "ls-files", "*.md"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
)


@pytest.mark.parametrize("path", list(PAGES), ids=lambda p: p.name)
def test_generated_pages_are_as_the_code_is(path):
    assert path.read_text(encoding="utf-8") == PAGES[path](), "run: make docs"


@pytest.mark.parametrize("path", MARKDOWN, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_to_files_that_are_there(path):
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8")):
        if not target.startswith(("http:", "https:", "mailto:")):
            assert (path.parent / target).exists(), f"{path.name}: {target}"
