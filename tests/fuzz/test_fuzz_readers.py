"""A short run of the fuzzer over every reader, and that it would notice."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import random
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.fuzz import fuzz_readers
from tests.fuzz.fuzz_readers import COVERED, READERS, Reader, fuzz, run, texts

import steybrae
from steybrae.errors import QuantityError

SHORT = 8000
"""Inputs over all readers: some seconds. ``python tests/fuzz/fuzz_readers.py`` runs 200 000."""


def public_readers() -> Iterator[str]:
    """Yield the public functions of the library that read a text or a file."""
    for found in pkgutil.walk_packages(steybrae.__path__, "steybrae."):
        if not found.name.startswith(("steybrae.cli", "steybrae.pages", "steybrae.__main__")):
            module = importlib.import_module(found.name)
            for name, function in inspect.getmembers(module, inspect.isfunction):
                if function.__module__ == module.__name__ and name.startswith(("parse_", "read_")):
                    yield name


def test_every_reader_is_fuzzed() -> None:
    assert set(public_readers()) - COVERED <= {reader.name for reader in READERS}


@pytest.mark.parametrize(
    "reader", {each.label: each for each in READERS}.values(), ids=lambda reader: reader.label
)
def test_nothing_but_errors_of_ours(reader: Reader) -> None:
    whole = sum(each.weight for each in READERS)
    alike = sum(each.weight for each in READERS if each.label == reader.label)
    for tally in run(SHORT * alike // whole, seed=20, only=reader.label).values():
        assert tally.crashes == {}
        assert tally.refused > 0
        assert tally.answered > 0


def test_crashes_are_seen_and_counted(tmp_path: Path) -> None:
    def read(text: str) -> float:
        if "%" in text:
            raise KeyError(text)
        if not text.isascii():
            message = "A text should be plain; it is not. Write it again."
            raise QuantityError(message)
        return 1.0

    reader = Reader("x", "read", texts("34deg", "62%"), fuzz_readers.within(0.0, 0.5), 1)
    tally = fuzz(reader, read, 300, 1, tmp_path)
    assert tally.answered == 0
    assert tally.refused > 0
    assert any(kind.startswith("KeyError at test_fuzz_readers.py") for kind in tally.crashes)
    assert any("an answer out of range" in kind for kind in tally.crashes)


def test_changes_are_many_and_repeatable() -> None:
    seed = fuzz_readers.route_seeds()
    for _ in range(2):
        chance = random.Random(3)  # noqa: S311  no secret
        changed = [fuzz_readers.change(chance, seed[0], seed) for _ in range(300)]
    again = random.Random(3)  # noqa: S311  no secret
    assert changed == [fuzz_readers.change(again, seed[0], seed) for _ in range(300)]
    assert len(set(changed)) > 250


def test_the_list_of_what_broke_names_tests_that_are_there() -> None:
    rows = re.findall(
        r"^\|.*\| (\S.*) \|$", Path(__file__).with_name("README.md").read_text("utf-8"), re.MULTILINE
    )
    named = [cell.split(", ") for cell in rows if "::" in cell]
    assert len(named) > 50
    for cell in named:
        file = ""
        for one in cell:
            file, name = one.split("::")[0] or file, one.split("::")[1]
            text = Path(__file__).parents[1].joinpath(file).read_text("utf-8")
            assert re.search(rf"\b(def|class) {name}\b", text), one
