"""What a raster file says of itself: the unit of its heights, and what another file says against it.

A sidecar (``.aux.xml``) overrules the file that it lies beside, and a virtual raster the files that it
names, without GDAL saying a word: cells twice as large make every slope half as steep. Where the two
differ the model is refused.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import pyproj
import rasterio
import rasterio.errors
from affine import Affine

from steybrae.errors import ModelError
from steybrae.files.model.tiles import RasterFile, grid_of
from steybrae.frozen import dataclass
from steybrae.quantities import FOOT_M, US_SURVEY_FOOT_M
from steybrae.terrain.dem import Grid
from steybrae.terrain.jacobian import jacobian_at

SAME_CELLS: Final = 1e-3
"""Share by which cells of two grids over the same ground may differ (our choice: it moves 45 degrees by
a sixtieth of a degree)."""

SAME_PLACE_CELLS: Final = 1.0
"""Cells by which a source may lie off its place in a virtual raster: those that are not on its grid are
put on the nearest cell (our choice)."""

SAME_PLACE_DEG: Final = 0.01
"""Degrees of latitude or longitude by which two CRS of one file may differ, as datums do (our choice)."""

RESAMPLED_CELLS: Final = 0.5
"""Cells by which the two rectangles of a source may differ in size: rounding in the text (our choice)."""


@dataclass(frozen=True)
class Part:
    """A source of a virtual raster.

    Attributes
    ----------
    name
        What GDAL opens: a path, or the text of a VRT.
    shown
        Its path.
    element
        The source in the VRT.
    """

    name: str
    shown: Path
    element: ET.Element


def check_sidecar(path: Path, data: Any) -> None:
    """Refuse a file, open as `data`, whose sidecar says another thing than the file itself.

    They may not differ in cells, place, scale, offset, height unit or no-data value.
    """
    if not path.with_name(f"{path.name}.aux.xml").is_file():
        return
    with rasterio.Env(GDAL_PAM_ENABLED="NO"), warnings.catch_warnings():
        # Where it lies may stand in the sidecar alone.
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        alone = rasterio.open(path, driver=data.driver)
    with alone:
        for what in _differences(alone, data):
            message = (
                f"The elevation model {path} and the .aux.xml beside it should say the same; they differ in "
                f"{what}. Find out which holds, and take the other away."
            )
            raise ModelError(message)


def _differences(alone: Any, data: Any) -> Iterator[str]:
    """Say in what a file alone, as far as it says anything, differs from the file as GDAL gives it."""
    itself, given = _grid(alone), _grid(data)
    if itself is not None and given is not None:
        yield from _ground_differences(itself, given)
    elif not alone.transform.is_identity and alone.transform != data.transform:
        yield f"the cells: {_cells(alone.transform)} and {_cells(data.transform)}"
    for what, none, mine, other in zip(
        ("the scale", "the offset", "the height unit", "the no-data value"),
        (1.0, 0.0, "", None),
        *((one.scales[0], one.offsets[0], band_unit(one), one.nodatavals[0]) for one in (alone, data)),
        strict=True,
    ):
        if mine not in (none, other) and not (mine != mine and other != other):  # noqa: PLR0124  NaN
            yield f"{what}: {_or_none(mine)} and {_or_none(other)}"


def _or_none(said: Any) -> str:
    return "none" if said is None else str(said)


def _ground_differences(one: Grid, other: Grid) -> Iterator[str]:
    rows, cols = one.shape
    here = (cols / 2.0, rows / 2.0)
    first, second = jacobian_at(one, *here), jacobian_at(other, *here)
    if np.abs(first - second).max() > SAME_CELLS * np.abs(first).max():
        yield f"the cells: {_metres(first)} and {_metres(second)} on the ground"
        return
    (lon, lat), (lon_2, lat_2) = one.to_wgs84(*here), other.to_wgs84(*here)
    if max(abs(float(lat - lat_2)), abs((float(lon - lon_2) + 180.0) % 360.0 - 180.0)) > SAME_PLACE_DEG:
        yield f"the place: {float(lat):.3f}, {float(lon):.3f} and {float(lat_2):.3f}, {float(lon_2):.3f}"


def _metres(jacobian: Any) -> str:
    along, down = np.hypot(*jacobian)
    return f"{along:.5g} x {down:.5g} m"


def _cells(transform: Any) -> str:
    return f"{math.hypot(transform.a, transform.d):.5g} x {math.hypot(transform.b, transform.e):.5g}"


def _grid(data: Any) -> Grid | None:
    """Give its grid; None where it does not say where it lies."""
    if data.transform.is_identity or data.crs is None:
        return None
    try:
        return grid_of(RasterFile(data.name, data))
    except ModelError:
        return None


def check_part(path: Path, whole: Any, part: Part, source: Any, *, unit_stated: bool) -> None:
    """Refuse a virtual raster that gives a source other cells, another place, scale or height unit.

    Both are open; what differs is named. Refused too is a source that GDAL would resample, or cut
    to another type.
    """
    for what in _part_differences(whole, source, part.element, unit_stated=unit_stated):
        message = (
            f"A virtual raster should say of its files what they say themselves; {path} differs from "
            f"{part.shown} in {what}. Bring its files to one grid and unit, and make it anew."
        )
        raise ModelError(message)


def _part_differences(whole: Any, source: Any, element: ET.Element, *, unit_stated: bool) -> Iterator[str]:
    band = element.findtext("SourceBand", "1")
    number = int(band) if band.isdecimal() else 0
    if not 1 <= number <= source.count:
        yield f"the bands: band {band!r:.20} of {source.count} is asked for"
        return
    held, into = (np.dtype(one.dtypes[k]) for one, k in ((source, number - 1), (whole, 0)))
    if into.kind != "f" and not np.can_cast(held, into):
        # GDAL cuts what does not fit, and leaves level ground: bytes end at 255.
        yield f"the type of its numbers: {held} become {into}"
    said, meant = ((one.scales[k], one.offsets[k]) for one, k in ((source, number - 1), (whole, 0)))
    if said not in ((1.0, 0.0), meant):
        yield f"scale and offset: {meant[0]:g} and {meant[1]:g}, and {said[0]:g} and {said[1]:g}"
    (unit, known_from), (taken, _) = (unit_of(RasterFile(one.name, one)) for one in (source, whole))
    if not unit_stated and known_from != "assumed" and not math.isclose(unit, taken, rel_tol=SAME_UNIT):
        yield f"the height unit: {taken:.6g} m and {unit:.6g} m; --z-unit says which holds"
    from_, to = _rectangle(element.find("SrcRect"), source), _rectangle(element.find("DstRect"), whole)
    # What is no number fails the comparison.
    if not (abs(from_[2] - to[2]) <= RESAMPLED_CELLS and abs(from_[3] - to[3]) <= RESAMPLED_CELLS):
        yield f"the cells: {from_[2]:g} x {from_[3]:g} of them become {to[2]:g} x {to[3]:g}"
        return
    yield from _place_differences(whole, source, from_, to)


def _rectangle(element: ET.Element | None, data: Any) -> tuple[float, float, float, float]:
    """Give column, row, columns and rows of a rectangle in a VRT; the whole raster where none is given."""
    if element is None or not element.keys():
        return 0.0, 0.0, float(data.width), float(data.height)
    left, top, wide, high = (_number(element.get(name, "")) for name in ("xOff", "yOff", "xSize", "ySize"))
    return left, top, wide, high


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _place_differences(
    whole: Any, source: Any, from_: tuple[float, ...], to: tuple[float, ...]
) -> Iterator[str]:
    if source.crs is None or whole.crs is None or source.transform.is_identity:
        return
    # Thousands of tiles have one CRS, in the same words: no need to ask PROJ.
    if source.crs.to_wkt() == whole.crs.to_wkt():
        yield from _cell_differences(whole.transform, source.transform, from_, to)
        return
    if not all(map(math.isfinite, (*from_, *to))):
        yield "the cells: a rectangle has no place"
        return
    grids = zip((_grid(source), _grid(whole)), (from_, to), strict=True)
    here = [
        grid and grid.part(round(top), round(left), max(round(high), 1), max(round(wide), 1))
        for grid, (left, top, wide, high) in grids
    ]
    if here[0] is not None and here[1] is not None:
        yield from _ground_differences(here[1], here[0])


def _cell_differences(
    whole: Affine, source: Affine, from_: tuple[float, ...], to: tuple[float, ...]
) -> Iterator[str]:
    steps = np.subtract(whole[:6], source[:6])[[0, 1, 3, 4]]
    if not np.abs(steps).max() <= SAME_CELLS * max(map(abs, (whole.a, whole.b, whole.d, whole.e))):
        yield f"the cells: {_cells(whole)} and {_cells(source)}"
        return
    if whole.determinant == 0.0:
        return  # refused elsewhere
    off = np.subtract(~whole @ (source @ from_[:2]), to[:2])
    if not np.abs(off).max() <= SAME_PLACE_CELLS:
        yield f"the place: {abs(off[0]):.5g} columns and {abs(off[1]):.5g} rows beside it"


HEIGHT_UNITS_M: Final = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet", "international foot"), FOOT_M),
    **dict.fromkeys(("usft", "us survey foot", "us survey feet", "us-ft", "ftus"), US_SURVEY_FOOT_M),
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
