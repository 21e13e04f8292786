"""Rooms, files and functions stay small enough to be read at a sitting: own choice of limits."""

import ast

import pytest

from tests.helpers.places import ROOT

ENTRIES_MAX, FILE_LINES_MAX, FUNCTION_LINES_MAX = 12, 450, 50
SOURCES = sorted(path for package in ("swarm", "targets") for path in (ROOT / package).rglob("*.py"))


def long_functions(text: str) -> list[str]:
    """Functions of more lines than the limit, decorators not counted."""
    functions = [
        node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    lengths = {function: function.end_lineno - function.lineno + 1 for function in functions}
    return [
        f"line {function.lineno}: {function.name} has {length} lines"
        for function, length in lengths.items()
        if length > FUNCTION_LINES_MAX
    ]


def test_the_package_has_few_entries():
    entries = [path.name for path in (ROOT / "swarm").iterdir() if path.name != "__pycache__"]
    assert len(entries) <= ENTRIES_MAX, sorted(entries)


@pytest.mark.parametrize("path", SOURCES, ids=[str(path.relative_to(ROOT)) for path in SOURCES])
def test_files_and_functions_are_short(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= FILE_LINES_MAX
    assert long_functions(text) == []


@pytest.mark.parametrize(("lines", "too_long"), [(FUNCTION_LINES_MAX, False), (FUNCTION_LINES_MAX + 1, True)])
def test_the_rule_sees_a_long_function(lines, too_long):
    body = "    pass\n" * (lines - 1)
    assert bool(long_functions(f"def long():\n{body}")) == too_long
