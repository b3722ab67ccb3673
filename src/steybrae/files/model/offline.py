"""No network, and no file that was not given: what GDAL and PROJ may open, and their environment."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Final

from steybrae.errors import ONE_AT_A_TIME

SOURCES: Final = ("GTiff", "HFA", "AAIGrid", "GRASSASCIIGrid", "DTED")
"""Kinds of file that a virtual raster may name. GDAL asks their drivers before any of a service."""

DRIVERS: Final = (
    *("VRT", *SOURCES, "SRTMHGT", "USGSDEM", "GSAG", "GSBG", "GS7BG", "SAGA", "XYZ", "EHdr", "ENVI"),
)
"""GDAL's drivers that read heights from a file alone, or from it and the header beside it."""

OFFLINE: Final = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "TRUE",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "GDAL_VRT_ENABLE_RAWRASTERBAND": "NO",
}
"""Behind `DRIVERS`, a second fence: nothing but the named file is listed or fetched. Files on the
network are refused by their ending, and requests go to a port where nothing listens (discard,
RFC 863)."""

_FOREIGN: Final = (
    *("AAIGRID_", "AWS_", "CPL_", "CURL_", "ESRI_", "GDAL_", "GS_", "GTIFF_", "OGR_", "OSR_", "PROJ_"),
    *("TIFF_", "USGSDEM_", "VRT_", "VSI_"),
)
"""How the names of GDAL's and PROJ's own settings begin."""

_KEPT: Final = ("GDAL_NUM_THREADS",)
_DATA: Final = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA")
_PROXIES: Final = ("no_proxy", "http_proxy", "https_proxy", "all_proxy")
_BUNDLED: Final = (("rasterio", "proj_data"), ("pyproj", "proj_dir"))
"""Packages that bring PROJ's database with them, and where."""


def own_environment() -> None:
    """Take out of this process's environment whatever would lead GDAL or PROJ astray.

    Settings that shift cells, pass over damage, load plug-ins, reach the network or name another
    PROJ's database, which is kept only where a package of ours brings none of its own.
    """
    for name in list(os.environ):
        foreign = name.upper().startswith(_FOREIGN) and name not in (*_KEPT, *_DATA)
        if foreign or name.lower() in _PROXIES:
            del os.environ[name]
    set_data = [name for name in _DATA if name in os.environ]
    if set_data and all(_has(package, folder) for package, folder in _BUNDLED):
        for name in set_data:
            del os.environ[name]
    os.environ["PROJ_NETWORK"] = "OFF"
    # A file of settings in the home folder is read where no other is named.
    os.environ["GDAL_CONFIG_FILE"] = os.devnull


def _has(package: str, folder: str) -> bool:
    from importlib.util import find_spec  # noqa: PLC0415

    found = find_spec(package)
    return found is not None and found.origin is not None and (Path(found.origin).parent / folder).is_dir()


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
