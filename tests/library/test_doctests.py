"""Every example in a public docstring runs, and every public name has one."""

from __future__ import annotations

import doctest
import inspect
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.screened import screened_once

import steybrae
import steybrae.library.route

FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def public() -> Iterator[tuple[str, Any]]:
    """Every public name, and every method of a public class that is its own."""
    yield "steybrae", steybrae
    for name in steybrae.__all__:
        thing = getattr(steybrae, name)
        yield name, thing
        for inner, member in vars(thing).items() if inspect.isclass(thing) else ():
            found = getattr(member, "__func__", member)
            if not inner.startswith("_") and inspect.isfunction(found):
                yield f"{name}.{inner}", found


NAMES = dict(public())


def examples(name: str) -> list[doctest.Example]:
    return doctest.DocTestParser().get_examples(inspect.getdoc(NAMES[name]) or "")


def test_about_25_names() -> None:
    assert 20 <= len(steybrae.__all__) <= 27
    assert set(steybrae.__all__) <= set(dir(steybrae))


@pytest.mark.parametrize("name", NAMES)
def test_has_an_example_that_runs(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = examples(name)
    assert found, f"{name} should have an example"
    monkeypatch.chdir(tmp_path)
    test = doctest.DocTest(found, {"steybrae": steybrae}, name, None, None, None)
    said: list[str] = []
    with screened_once(steybrae.library.route):  # most begin with the same line
        doctest.DocTestRunner(optionflags=FLAGS).run(test, out=said.append)
    assert not said, "".join(said)
