"""What the rasters say of themselves: colours of the bands, metadata with cautions and origin.

GDAL's persistent auxiliary metadata (``.aux.xml``): category names and a raster attribute table,
which GeoTIFF itself has no place for, and the CRS where GeoTIFF cannot say it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import Band
from steybrae.raster.job import OPEN, Layer
from steybrae.raster.overhead.layers import CODES, told_deg
from steybrae.raster.overhead.result import start_zone_words
from steybrae.raster.result import AreaResult
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG

Colour = tuple[int, int, int]

UNKNOWN_COLOUR: Final[Colour] = (255, 0, 170)
"""A colour that no band has: unknown ground must be seen, and a raster cannot be hatched."""

_LIGHT_TO_DARK: Final[tuple[Colour, ...]] = (
    (254, 232, 56), (239, 215, 72), (221, 200, 88), (204, 186, 100), (187, 173, 109), (170, 160, 115),
    (154, 147, 118), (139, 135, 120), (124, 123, 120), (110, 111, 115), (96, 100, 111), (82, 89, 109),
    (66, 78, 108), (49, 67, 109), (24, 55, 111), (0, 45, 104), (0, 34, 78),
)  # fmt: skip
"""Seventeen even steps of matplotlib's cividis, reversed; written out, for matplotlib is slow to load."""

DARKEST_DEG: Final = 45.0
"""Path angle, degrees, from which the darkest colour is used (our choice)."""

OPEN_SHARE: Final = 0.8
"""Lightness kept where unknown ground could add to an angle (our choice): greys stand apart from all tints
but the middle ones, and none looks gentler than its tint."""

_LUMA: Final = np.array([0.2126, 0.7152, 0.0722])
"""Shares of red, green and blue in the lightness of a colour (ITU-R BT.709)."""

_WHITE_SHARE: Final = (0.55, 0.22)
"""Share of white in the gentlest and in the steepest tint: the tints of every picture here, so that
relief and contours under or over them stay readable."""


def band_colours(result: AreaResult) -> dict[int, Colour]:
    """Colour of every value of ``bands.tif``: light is gentle, dark is steep, 0 is unknown."""
    values = [row.value for row in result.bands if row.band is not None]
    last = max(1, len(values) - 1)
    return {0: UNKNOWN_COLOUR, **{value: _between(k / last) for k, value in enumerate(values)}}


def raster_colours(result: AreaResult, name: str) -> dict[int, Colour] | None:
    """Colour of every value of a raster of classes, by its layer's name; None for a raster of measures."""
    if name == "bands":
        return band_colours(result)
    if name == "bands_possible":
        colours = band_colours(result)
        return colours | {int(OPEN) + value: _grey(colours[value]) for value in list(colours)[1:]}
    if name == "start_zones":
        return {
            value: UNKNOWN_COLOUR if value == 0 else _between(way)
            for value, way in enumerate((0.0, 0.0, 0.4, 0.7, 1.0))
        }
    if name == "overhead":
        return {0: UNKNOWN_COLOUR} | {code: _overhead_colour(code) for code in CODES}
    return None


def _overhead_colour(code: int) -> Colour:
    """Darker where steeper ways arrive; without a hue, and darker still, where there may be more."""
    deg = told_deg(code)
    way = 0.0 if deg is None else (deg - LEAST_SIGHT_DEG) / (DARKEST_DEG - LEAST_SIGHT_DEG)
    colour = _between(min(1.0, way))
    return colour if code < OPEN else _grey(colour)


def _grey(colour: Colour) -> Colour:
    red, green, blue = without_hue(np.array(colour)).round().astype(int).tolist()
    return red, green, blue


def without_hue(colours: NDArray[Any]) -> NDArray[Any]:
    """Grey, and darker, for colours ``[..., red green blue]``: unknown ground could add to an angle."""
    grey = OPEN_SHARE * (np.asarray(colours, np.float64) @ _LUMA)
    return np.repeat(grey[..., None], 3, axis=-1)


def _between(way: float) -> Colour:
    place = way * (len(_LIGHT_TO_DARK) - 1)
    first = min(int(place), len(_LIGHT_TO_DARK) - 2)
    low, high = _LIGHT_TO_DARK[first], _LIGHT_TO_DARK[first + 1]
    white = _WHITE_SHARE[0] + way * (_WHITE_SHARE[1] - _WHITE_SHARE[0])
    pure = (a + (b - a) * (place - first) for a, b in zip(low, high, strict=True))
    red, green, blue = (round(255.0 * white + (1.0 - white) * channel) for channel in pure)
    return red, green, blue


def metadata(result: AreaResult, layer: Layer) -> dict[str, str]:
    """Metadata of a raster, name to text; the cautions numbered, in their order."""
    model = result.model
    found = {
        "MADE_BY": f"steybrae {result.steybrae}",
        "WHAT": layer.text,
        "METHOD": f"{result.method}, engine {result.engine}, true-ground metric",
        "MODEL_FILES": ", ".join(model.files),
        "MODEL_SHA256_OF_SIZE_AND_ENDS": ", ".join(model.fingerprints),
        "MODEL_CELL_ON_THE_GROUND_M": f"{model.cell_size_m[0]:.3f} x {model.cell_size_m[1]:.3f}",
        "MODEL_HEIGHT_UNIT_M": f"{model.height_unit_m:.9g} ({model.height_unit_from})",
        "UNCERTAINTY": result.uncertainty,
    }
    if model.crs_scale is not None:
        found["GROUND_METRES_PER_CRS_METRE"] = f"{model.crs_scale:.6f}"
    found["BASELINE_M"] = f"{result.baselines_m[f'{layer.name}.tif']:.1f}"
    if layer.name in ("bands", "bands_possible"):
        rows = result.bands
        names = {row.value: row.band.label if row.band else "unknown" for row in rows}
        if layer.name == "bands_possible":
            names |= {row.value: row.words for row in result.bands_possible}
        legend = "; ".join(f"{value}: {names[value]}" for value in sorted(names))
        found["LEGEND"] = f"{legend} (degrees over {found['BASELINE_M']} m)"
        found["ROUNDING"] = "The band is that of the slope in tenths of a degree, rounded up."
    if result.overhead is not None and layer.name in ("overhead", "start_zones"):
        found["START_ZONES"] = start_zone_words(result.overhead)
    if result.unreadable:
        found["UNREADABLE_INPUT_BLOCKS"] = str(len(result.unreadable))
    found |= {f"CAUTION_{k}": caution.text for k, caution in enumerate(result.cautions, 1)}
    return found


# GDAL's numbers for the type and the use of a column of a raster attribute table.
_INTEGER, _REAL, _STRING = 0, 1, 2
_GENERIC, _COUNT, _NAME, _VALUE, _RED, _GREEN, _BLUE = 0, 1, 2, 5, 6, 7, 8


_COLUMNS: Final = (
    ("value", _INTEGER, _VALUE),
    ("cells", _INTEGER, _COUNT),
    ("name", _STRING, _NAME),
    ("low_deg", _STRING, _GENERIC),
    ("below_deg", _STRING, _GENERIC),
    ("km2", _REAL, _GENERIC),
    ("red", _INTEGER, _RED),
    ("green", _INTEGER, _GREEN),
    ("blue", _INTEGER, _BLUE),
)


def aux_xml(result: AreaResult, name: str, crs_wkt: str | None) -> str:
    """Text of the file beside a raster, by its layer's name: the classes, none of a raster of measures.

    `crs_wkt` stands where the raster itself could not hold it.
    """
    root = ET.Element("PAMDataset")
    if crs_wkt is not None:
        ET.SubElement(root, "SRS").text = crs_wkt
    if rows := _rows(result, name):
        band = ET.SubElement(root, "PAMRasterBand", band="1")
        names = ET.SubElement(band, "CategoryNames")
        named = {value: words for value, _, words, *_ in rows}
        # A name for every number from 0 up, empty where the raster has none.
        for number in range(rows[-1][0] + 1):
            ET.SubElement(names, "Category").text = named.get(number, "")
        _attribute_table(band, rows)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode") + "\n"


def _rows(result: AreaResult, name: str) -> list[tuple[Any, ...]]:
    """Give what `_COLUMNS` has of each value of a raster of classes, rising."""
    over, colours = result.overhead, raster_colours(result, name) or {}
    if name == "bands":
        return [
            (row.value, row.cells, *_of_band(row.band, result), f"{row.km2:.6f}", *colours[row.value])
            for row in sorted(result.bands, key=lambda row: row.value)
        ]
    values = {"bands_possible": result.bands_possible}
    if over is not None:
        values |= {"overhead": over.overhead_values, "start_zones": over.start_zone_values}
    return [
        (row.value, row.cells, row.words, "", "", f"{row.km2:.6f}", *colours[row.value])
        for row in values.get(name, ())
    ]


def _of_band(band: Band | None, result: AreaResult) -> tuple[str, str, str]:
    """Name and ends; an end is empty where it is open, or unknown."""
    if band is None:
        return "unknown", "", ""
    high = "" if band.high_deg is None else f"{band.high_deg:g}"
    return f"{band.label} degrees over {result.baseline_m:.1f} m", f"{band.low_deg:g}", high


def _attribute_table(band: ET.Element, rows: Sequence[tuple[Any, ...]]) -> None:
    table = ET.SubElement(band, "GDALRasterAttributeTable", tableType="thematic")
    for k, (name, kind, use) in enumerate(_COLUMNS):
        column = ET.SubElement(table, "FieldDefn", index=str(k))
        ET.SubElement(column, "Name").text = name
        ET.SubElement(column, "Type").text = str(kind)
        ET.SubElement(column, "Usage").text = str(use)
    for k, cells in enumerate(rows):
        row = ET.SubElement(table, "Row", index=str(k))
        for cell in cells:
            ET.SubElement(row, "F").text = str(cell)
