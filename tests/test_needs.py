"""A missing program skips its test, and fails it under CI."""

from __future__ import annotations

import shutil

import pytest
from tests.needs import program

MESSAGE = r"^no-such-program is not there: install Debian's no-package$"


def test_a_missing_program_skips(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match=MESSAGE):
        program("no-such-program", package="no-package")


def test_under_ci_it_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match=MESSAGE):
        program("no-such-program", package="no-package")


def test_the_first_that_is_there_is_taken() -> None:
    assert program("no-such-program", "sh", package="dash") == shutil.which("sh")
