"""A command as it is typed, run in this process."""

from __future__ import annotations

import io
import sys
from contextlib import redirect_stderr, redirect_stdout

import pytest

from steybrae.cli.app import main


def typed(*arguments: object) -> tuple[int, str, str]:
    """Exit status, stdout and stderr of a command: a process of its own takes half a second to begin."""
    before, sys.argv = sys.argv, ["steybrae", *map(str, arguments)]
    out, err = io.StringIO(), io.StringIO()
    try:
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as stop:
            main()
    finally:
        sys.argv = before
    return int(stop.value.code or 0), out.getvalue(), err.getvalue()
