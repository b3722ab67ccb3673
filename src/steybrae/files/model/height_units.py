"""The unit of a model's heights: as typed, or as its files say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

import pyproj
import rasterio.errors

from steybrae.errors import ModelError
from steybrae.files.model.tiles import RasterFile
from steybrae.quantities import FOOT_M, US_SURVEY_FOOT_M

HEIGHT_UNITS_M: Final = {
    "m": 1.0,
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "ft": FOOT_M,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "international foot": FOOT_M,
    "usft": US_SURVEY_FOOT_M,
    "us survey foot": US_SURVEY_FOOT_M,
    "us survey feet": US_SURVEY_FOOT_M,
    "us-ft": US_SURVEY_FOOT_M,
    "ftus": US_SURVEY_FOOT_M,
}
"""Height units by the names that files and people use, in metres."""

SAME_UNIT: Final = 1e-4
"""Units that differ by less do not contradict each other: the two feet differ by 2e-6 (our choice)."""


def parse_height_unit(text: str) -> float:
    """Read a height unit, ``m``, ``ft`` or ``usft`` and their long names: metres in one."""
    unit = HEIGHT_UNITS_M.get(str(text).strip().lower().replace("_", " "))
    if unit is None:
        message = f"The height unit should be m, ft or usft; got {text!r}. State it with --z-unit."
        raise ModelError(message)
    return unit


def height_unit(opened: Sequence[RasterFile]) -> tuple[float, str]:
    """Metres in the height unit that all files of a model say, and what said so.

    ``CRS``, ``band`` or ``assumed`` (metres). `ModelError` for a unit that is not known, or tiles,
    or a CRS and its band, that say different ones, and for feet whose scale makes metres of them.
    """
    found = [unit_of(file) for file in opened]
    for file, (metres, _) in zip(opened, found, strict=True):
        if metres != found[0][0]:
            message = (
                f"Tiles should have one height unit; {opened[0].name} has units of {found[0][0]:.6g} m and "
                f"{file.name} of {metres:.6g} m. Bring them to one unit, or state it with --z-unit."
            )
            raise ModelError(message)
        if metres != 1.0 and math.isclose(file.data.scales[0], metres, rel_tol=SAME_UNIT):
            message = (
                f"The elevation model {file.name} should turn its heights into metres once; its scale is "
                f"{file.data.scales[0]:.6g} and its unit has {metres:.6g} m. State with --z-unit in what its "
                "heights are after the scale."
            )
            raise ModelError(message)
    # What one tile only assumes, all only assume.
    return max(found, key=lambda unit: unit[1] == "assumed")


def band_unit(data: Any) -> str | None:
    """Name of the height unit in an open raster's band, empty where it has none; None where it is no text."""
    try:
        return (data.units[0] or "").strip()
    except UnicodeDecodeError:
        return None


def unit_of(file: RasterFile) -> tuple[float, str]:
    """Metres in a file's height unit, as `height_unit`: its vertical CRS's and band's, else assumed metres.

    `ModelError` for a unit that is not known, or a CRS and its band that say different ones.
    """
    data = file.data
    try:
        metres = _vertical_m(data.crs.to_wkt()) if data.crs else None
    except rasterio.errors.CRSError:
        metres = None
    name = band_unit(data)
    if name is None:
        message = (
            f"The elevation model {file.name} should name its height unit in UTF-8; it does not. State it "
            "with --z-unit."
        )
        raise ModelError(message)
    band_m = parse_height_unit(name) if name else None
    if metres is None:
        return (1.0, "assumed") if band_m is None else (band_m, "band")
    if band_m is not None and not math.isclose(metres, band_m, rel_tol=SAME_UNIT):
        message = (
            f"The elevation model {file.name} should have one height unit; its CRS says units of "
            f"{metres:.6g} m and its band {name!r}. Find out which holds, and state it with --z-unit."
        )
        raise ModelError(message)
    return metres, "CRS"


@lru_cache(maxsize=64)
def _vertical_m(crs: str) -> float | None:
    """Metres in the unit of a CRS's third axis; None where it has none, or is none."""
    try:
        axes = pyproj.CRS.from_user_input(crs).axis_info
    except pyproj.exceptions.CRSError:
        return None
    return float(axes[2].unit_conversion_factor) if len(axes) > 2 else None
