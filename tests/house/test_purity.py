"""The computing floor is pure. Import contracts cannot see calls, so the calls are looked for here."""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "drybank"
PURE = (
    "records",
    "drying",
    "energy",
    "control",
    "balance",
    "takings",
    "proof",
    "traffic",
    "upkeep",
    "plan",
    "learn",
    "trial",
)
FILES = sorted(p for room in PURE for p in (SOURCE / room).rglob("*.py"))
NAMES = {"open", "input", "print", "exec", "eval", "breakpoint"}
METHODS = {
    ("datetime", "now"), ("datetime", "today"), ("datetime", "utcnow"), ("date", "today"), ("time", "time"), ("time", "monotonic"),
    ("os", "environ"), ("os", "getenv"), ("random", "seed"), ("np", "seed"), ("random", "default_rng"),
}  # fmt: skip


def impure_calls(tree):
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in NAMES:
            yield f"line {node.lineno}: {called.id}()"
        if isinstance(called, ast.Attribute):
            owner = called.value.attr if isinstance(called.value, ast.Attribute) else getattr(called.value, "id", "")
            is_unseeded = called.attr == "default_rng" and not node.args and not node.keywords
            if is_unseeded or ((owner, called.attr) in METHODS and called.attr != "default_rng"):
                yield f"line {node.lineno}: {owner}.{called.attr}()"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_no_clock_file_or_unseeded_randomness(path):
    assert not list(impure_calls(ast.parse(path.read_text())))


@pytest.mark.parametrize("text", ["open('x')", "datetime.now()", "np.random.default_rng()", "print(1)", "time.time()"])
def test_a_planted_impure_call_is_seen(text):
    assert list(impure_calls(ast.parse(text)))


def test_a_seeded_generator_is_let_through():
    assert not list(impure_calls(ast.parse("np.random.default_rng(seed)")))
