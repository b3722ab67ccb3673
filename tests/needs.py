"""What a test needs from the machine, and what happens where it is not there."""

from __future__ import annotations

import os
import shutil
from typing import NoReturn

import pytest


def lacking(message: str) -> NoReturn:
    """Skip the test and say why; under CI, where everything is installed, fail it."""
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)


def program(*names: str, package: str) -> str:
    """Path of the first of some programs that is installed; `package` is Debian's name for it."""
    for name in names:
        found = shutil.which(name)
        if found is not None:
            return found
    lacking(f"{names[0]} is not there: install Debian's {package}")
