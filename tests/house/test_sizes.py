"""Sizes: files, functions and parameter lists stay small enough to read. Exceptions stand here with a reason."""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "drybank"
FILES = sorted(p for p in SOURCE.rglob("*.py"))
FILE_STOP, FUNCTION_STOP, PARAMETER_STOP = 600, 60, 8

# Long because one compiled loop cannot be cut without paying for it at every event or step.
COMPILED = {"kernel.py"}


def _functions(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def _body_lines(node):
    body = node.body
    if (
        isinstance(body[0], ast.Expr)
        and isinstance(body[0].value, ast.Constant)
        and isinstance(body[0].value.value, str)
    ):
        body = body[1:]
    return 0 if not body else body[-1].end_lineno - body[0].lineno + 1


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_no_file_is_longer_than_the_stop(path):
    assert len(path.read_text().splitlines()) <= FILE_STOP


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_no_function_is_longer_than_the_stop(path):
    if path.name in COMPILED:
        return
    long = [f"{f.name}: {_body_lines(f)}" for f in _functions(path) if _body_lines(f) > FUNCTION_STOP]
    assert not long


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_no_function_takes_more_parameters_than_the_stop(path):
    if path.name in COMPILED or "cli" in path.parts:  # a command's options are its parameters
        return
    many = []
    for f in _functions(path):
        names = [a.arg for a in (*f.args.posonlyargs, *f.args.args, *f.args.kwonlyargs) if a.arg not in ("self", "cls")]
        if len(names) > PARAMETER_STOP:
            many.append(f"{f.name}: {len(names)}")
    assert not many
