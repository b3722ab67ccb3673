"""Loops over whole rasters that numba compiles; it is imported here alone, where a run has such loops."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile on the first call, and keep the code for later runs where a folder can be written."""
    try:
        made: Function = numba.njit(function, nogil=True, cache=True)
    except RuntimeError:
        # No folder for the code: it is compiled in every run.
        made = numba.njit(function, nogil=True)
    return made
