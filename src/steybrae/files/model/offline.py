"""No network, and no file that was not given: what GDAL and PROJ may open, and their environment."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

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
