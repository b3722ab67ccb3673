"""What takes long to make, made once for all workers of a run."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

try:
    import fcntl
except ImportError:  # a system without them: each worker makes its own
    fcntl = None  # type: ignore[assignment]


def once_for_all(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """Folder that the first worker to ask fills with `make` while the others wait; only to be read."""
    if fcntl is None or "PYTEST_XDIST_WORKER" not in os.environ:
        folder = factory.mktemp(name)
        make(folder)
        return folder
    folder = factory.getbasetemp().parent / name
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            half = folder.with_suffix(".half")
            half.mkdir()
            make(half)
            half.rename(folder)
    return folder
