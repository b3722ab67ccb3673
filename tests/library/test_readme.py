"""What the README says of the library runs as it stands, and is what there is."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from tests.library.reference import README, in_readme, page

import steybrae

TEXT = README.read_text("utf-8")
SECTION = TEXT.split("## The library\n")[1].split("### What there is")[0]
BLOCKS = re.findall(r"(?:^    .*\n|^\n(?=    ))+", SECTION, re.MULTILINE)
EXAMPLES = [re.sub(r"^    ", "", block, flags=re.MULTILINE).strip("\n") for block in BLOCKS]


def test_there_are_three_examples_each_under_ten_lines() -> None:
    assert len(EXAMPLES) == 3
    assert all(len(example.splitlines()) < 10 for example in EXAMPLES)


@pytest.mark.parametrize("example", EXAMPLES, ids=["line", "array", "class"])
def test_an_example_runs_by_itself(
    example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})  # noqa: S102
    assert capsys.readouterr().out
    for name in re.findall(r'savefig\("(.*?)"\)', example):
        assert (tmp_path / name).stat().st_size > 10_000


def test_the_reference_is_made_from_the_docstrings() -> None:
    assert in_readme(TEXT) == page(), "run python -m tests.library.reference"


def test_the_citation_names_the_version_and_the_licence() -> None:
    assert f"    version: {steybrae.__version__}\n" in TEXT
    project = tomllib.loads((README.parent / "pyproject.toml").read_text("utf-8"))["project"]
    assert f"    license: {project['license']}\n" in TEXT
