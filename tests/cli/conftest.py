"""The command run in this process, for all tests of commands."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest

from steybrae.cli.app import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["steybrae", *arguments])
        with pytest.raises(SystemExit) as stop:
            main()
        printed = capsys.readouterr()
        return int(stop.value.code or 0), printed.out, printed.err

    return call
