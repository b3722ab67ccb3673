"""Warnings of other libraries put aside for a moment, one thread at a time."""

from __future__ import annotations

import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

ONE_AT_A_TIME = threading.RLock()
"""Held while anything is changed that a whole process shares, and put back after."""


@contextmanager
def hushed() -> Iterator[None]:
    """Let filters of warnings be changed inside the ``with`` block.

    Python keeps one list of filters for all threads: two that changed it at once would leave a
    caller with the filters of the other.
    """
    with ONE_AT_A_TIME, warnings.catch_warnings():
        yield
