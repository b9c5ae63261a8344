"""Writes the reference pages that are made from the code: `make docs`. A test fails where a page differs."""

import sys
from pathlib import Path

import click
import typer

ROOT = Path(__file__).parents[2]
CLI_PAGE = ROOT / "docs" / "reference" / "cli.md"
INTRO = """# The command

`drybank COMMAND --help` says the same. Made from the commands themselves (`make docs`); do not edit by hand.

Options that most commands share: `--book` (or `DRYBANK_BOOK`) is the book, a file or a `postgresql://` address; `--by` (or
`DRYBANK_BY`) who writes; `--json` gives the result for machines, with the keys of the result's own record; amounts in
`..._minor` are whole minor units of the store's currency. Exit codes: 0 done, 2 something given is wrong, 3 there are
findings, 1 a fault.
"""


def walk(command: click.Command, words: tuple[str, ...] = ("drybank",)):
    children = getattr(command, "commands", None)
    if children is None:
        yield words, command
    else:
        for name, child in children.items():
            yield from walk(child, (*words, name))


def page() -> str:
    import drybank.cli.commands  # noqa: F401
    from drybank.cli.main import app

    parts = [INTRO]
    for words, command in walk(typer.main.get_command(app)):
        parts.append(f"\n## {' '.join(words)}\n\n{' '.join((command.help or '').split())}\n")
        rows = [row for p in command.params if (row := parameter(p))]
        if rows:
            parts.append("\n| word | what | default |\n| --- | --- | --- |\n" + "\n".join(rows) + "\n")
        if command.epilog:
            parts.append(f"\n`{command.epilog.removeprefix('Example: ')}`\n")
    return "".join(parts)


def parameter(p: click.Parameter) -> str:
    said = getattr(p, "help", None)
    if not said or (p.name or "") == "help":
        return ""
    name = f"`{', '.join(p.opts)}`" if p.param_type_name == "option" else f"`{(p.name or '').upper()}`"
    default = p.default
    shown = f"`{default}`" if isinstance(default, str | int | float) and default not in ("", False, True) else ""
    return f"| {name} | {said.replace('|', '/')} | {shown} |"


def file_page(name: str):
    from drybank.book.files.reference import page_of

    path = ROOT / "docs" / "reference" / name
    return lambda: page_of(name, path.read_text(encoding="utf-8"))


FILE_PAGES = ("store-file.md", "sheet-file.md", "history-file.md")
PAGES = {CLI_PAGE: page} | {ROOT / "docs" / "reference" / name: file_page(name) for name in FILE_PAGES}

if __name__ == "__main__":
    for path, make in PAGES.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(make(), encoding="utf-8")
        sys.stdout.write(f"wrote {path.relative_to(ROOT)}\n")
