"""Memory that a long-lived program with many threads gives back: the C library of Linux keeps much of it."""

from __future__ import annotations

import ctypes
import sys
from typing import Final

_M_ARENA_MAX: Final = -8
"""Number of the setting, from glibc's ``malloc.h``."""

ARENAS: Final = 2
"""Pools that memory is taken from (our choice). glibc makes one for each thread, to eight times the
processors, and what is free in one is of no use to another: 30 MB and more of a desk."""


def few_arenas() -> None:
    """Have threads share `ARENAS` pools of memory; to be called before there are threads."""
    _call("mallopt", _M_ARENA_MAX, ARENAS)


def give_back() -> None:
    """Give the system what large arrays left free, some 80 MB; takes milliseconds at the most."""
    _call("malloc_trim", 0)


def _call(name: str, *numbers: int) -> None:
    """Call a function of glibc; nothing where there is another C library."""
    if sys.platform == "linux" and (function := getattr(ctypes.CDLL(None), name, None)) is not None:
        function(*numbers)
