"""The command in a shell: alone, missed by a letter, completed, and how it ends."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.conftest import Run

ROOT = Path(__file__).resolve().parents[2]


def test_alone_it_shows_three_questions_whose_commands_work(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, err = run()
    assert (status, err) == (0, "")
    lines = out.splitlines()
    commands = [line.strip() for line in lines if line.startswith("    steybrae ")]
    assert [lines[lines.index(f"    {command}") - 1][-1] for command in commands] == ["?"] * 3
    for command in commands:
        assert run(*shlex.split(command)[1:])[0] == 0, command
    assert "decides nothing" in out
    assert "local avalanche forecast" in out


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (("rout", "--sample"), "No such command 'rout'. Did you mean route? See steybrae --help."),
        (("xyz",), "No such command 'xyz'. See steybrae --help."),
        (("sheet", "scal"), "No such command 'scal'. Did you mean 'scale'? See steybrae sheet --help."),
        (
            ("route", "--samle"),
            "No such option: --samle. Did you mean --sample? See steybrae route --help.",
        ),
        (("gap", "--zzzz"), "No such option: --zzzz. See steybrae gap --help."),
        (
            ("ground", "--wihtin", "20m", "59.2240", "-8.0574"),
            "Every option should be one of this command's; it has no --wihtin. Did you mean --within? "
            "See its --help.",
        ),
    ],
)
def test_a_near_miss_is_answered_with_the_near_one(run: Run, typed: tuple[str, ...], sentence: str) -> None:
    assert run(*typed) == (2, "", f"steybrae: {sentence}\n")


def module(*typed: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run ``python -m steybrae``."""
    return subprocess.run(
        [sys.executable, "-m", "steybrae", *typed],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **more},
    )


def test_it_runs_as_a_module() -> None:
    ran = module("gap", "--scale", "1:25000", "--interval", "10m", "--gap", "2.5mm")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "Slope 9.1°" in ran.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell", "pwsh"])
@pytest.mark.parametrize(
    ("typed", "last", "found"),
    [("steybrae rou", "rou", "route"), ("steybrae route --vert", "--vert", "--vertical-error")],
)
def test_shells_complete_commands_and_options(shell: str, typed: str, last: str, found: str) -> None:
    words = {
        "_STEYBRAE_COMPLETE": f"complete_{shell}",
        "COMP_WORDS": typed,
        "COMP_CWORD": str(len(typed.split()) - 1),
        "_TYPER_COMPLETE_ARGS": typed,
        "_TYPER_COMPLETE_WORD_TO_COMPLETE": last,
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
    }
    ran = module(**words)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert found in ran.stdout


def test_the_readme_tells_exit_statuses_and_the_file_of_settings() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    for words in ("| 0 |", "| 1 |", "| 2 |", "| 130 |", "--install-completion", "`steybrae.toml`"):
        assert words in text, words
