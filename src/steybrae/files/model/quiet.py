"""Keeps another library's stumbles over its own messages off the screen."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Any

from steybrae.hush import ONE_AT_A_TIME

_before: list[tuple[Callable[..., Any], Callable[..., Any]]] = []
"""The hooks that were there, once for each block that is open, in whichever thread."""


@contextmanager
def quiet_messages() -> Iterator[None]:
    """Say nothing where rasterio cannot decode a message of GDAL's, inside the ``with`` block.

    GDAL quotes a damaged file in its messages; where the quotation is not UTF-8 rasterio's
    logging fails, and Python prints that failure as a traceback beside our one sentence.
    Only that is silenced: what GDAL could not do is still raised, and every other failure
    goes to the hooks that were there. Blocks in several threads share one pair of hooks, and the
    last to end takes them away.
    """
    with ONE_AT_A_TIME:
        _before.append(_before[0] if _before else (sys.excepthook, sys.unraisablehook))
        sys.excepthook, sys.unraisablehook = _print_others, _ignore_others
    try:
        yield
    finally:
        with ONE_AT_A_TIME:
            printed, ignored = _before.pop()
            if not _before:
                sys.excepthook, sys.unraisablehook = printed, ignored


# Cython has a failure inside a callback printed as if it were never caught, then as ignored.
def _print_others(kind: type[BaseException], value: BaseException, trace: TracebackType | None) -> None:
    if not issubclass(kind, UnicodeDecodeError):
        _hooks()[0](kind, value, trace)


def _ignore_others(failure: sys.UnraisableHookArgs) -> None:
    if not (issubclass(failure.exc_type, UnicodeDecodeError) and "rasterio" in str(failure.object)):
        _hooks()[1](failure)


def _hooks() -> tuple[Callable[..., Any], Callable[..., Any]]:
    return _before[0] if _before else (sys.__excepthook__, sys.__unraisablehook__)
