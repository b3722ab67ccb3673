"""Keeps another library's stumbles over its own messages off the screen."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

__all__ = ["quiet_messages"]


@contextmanager
def quiet_messages() -> Iterator[None]:
    """Say nothing where rasterio cannot decode a message of GDAL's, inside the ``with`` block.

    GDAL quotes a damaged file in its messages; where the quotation is not UTF-8 rasterio's
    logging fails, and Python prints that failure as a traceback beside our one sentence.
    Only that is silenced: what GDAL could not do is still raised, and every other failure
    goes to the hooks that were there.
    """
    printed, ignored = sys.excepthook, sys.unraisablehook

    # Cython has a failure inside a callback printed as if it were never caught, then as ignored.
    def print_others(kind: type[BaseException], value: BaseException, trace: TracebackType | None) -> None:
        if not issubclass(kind, UnicodeDecodeError):
            printed(kind, value, trace)

    def ignore_others(failure: sys.UnraisableHookArgs) -> None:
        if not (issubclass(failure.exc_type, UnicodeDecodeError) and "rasterio" in str(failure.object)):
            ignored(failure)

    sys.excepthook, sys.unraisablehook = print_others, ignore_others
    try:
        yield
    finally:
        sys.excepthook, sys.unraisablehook = printed, ignored
