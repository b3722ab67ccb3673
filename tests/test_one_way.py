"""What is worded or rounded for a reader stands in `steybrae.value` alone."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import steybrae

ROOT = Path(steybrae.__file__).parent
SOURCES = sorted(path for path in ROOT.rglob("*.py") if path.name not in ("value.py", "quantities.py"))
LEAST = ("at least", "or more")


def docstrings(tree: ast.Module) -> Iterator[ast.AST]:
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        for one in body if isinstance(body, list) else ():
            if isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant):
                yield one.value


def refusals(tree: ast.Module) -> Iterator[ast.AST]:
    """What an error says of a value that was typed: bounds, not measurements."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and any(getattr(to, "id", "") == "message" for to in node.targets):
            yield from ast.walk(node)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_at_least_and_roundings_stand_in_one_place(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    passed = set(docstrings(tree)) | set(refusals(tree))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in passed:
            assert not any(words in node.value for words in LEAST), f"{path.name}:{node.lineno}"
        if isinstance(node, ast.FormattedValue):
            called = {getattr(one.func, "id", "") for one in ast.walk(node) if isinstance(one, ast.Call)}
            assert not called & {"round_up", "round_down", "shown_slope_deg"}, f"{path.name}:{node.lineno}"
