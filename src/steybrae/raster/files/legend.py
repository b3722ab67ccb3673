"""Names, colours and areas of a raster's values, in the file that GIS programs read beside it.

GDAL's persistent auxiliary metadata (``.aux.xml``): category names and a raster attribute table,
which GeoTIFF itself has no place for, and the CRS where GeoTIFF cannot say it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree import ElementTree as ET

# GDAL's numbers for the type and the use of a column of a raster attribute table.
_INTEGER, _REAL, _STRING = 0, 1, 2
_GENERIC, _COUNT, _NAME, _VALUE, _RED, _GREEN, _BLUE = 0, 1, 2, 5, 6, 7, 8


@dataclass(frozen=True)
class Value:
    """One value of a raster of classes.

    Attributes
    ----------
    value
        The number in the raster.
    name
        In words.
    colour
        Red, green, blue, 0 to 255.
    cells, km2
        How much of it there is.
    low_deg, high_deg
        Its slopes; None without a bound, or unknown.
    """

    value: int
    name: str
    colour: tuple[int, int, int]
    cells: int
    km2: float
    low_deg: float | None
    high_deg: float | None


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


def aux_xml(*, crs_wkt: str | None, values: Sequence[Value]) -> str:
    """Text of the file beside a raster.

    Parameters
    ----------
    crs_wkt
        CRS where the raster itself could not hold it.
    values
        The classes, rising; empty for a raster of measures.

    Returns
    -------
    str
        XML.
    """
    root = ET.Element("PAMDataset")
    if crs_wkt is not None:
        ET.SubElement(root, "SRS").text = crs_wkt
    if values:
        band = ET.SubElement(root, "PAMRasterBand", band="1")
        names = ET.SubElement(band, "CategoryNames")
        named = {value.value: value.name for value in values}
        # A name for every number from 0 up, empty where the raster has none.
        for number in range(values[-1].value + 1):
            ET.SubElement(names, "Category").text = named.get(number, "")
        _attribute_table(band, values)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode") + "\n"


def _attribute_table(band: ET.Element, values: Sequence[Value]) -> None:
    table = ET.SubElement(band, "GDALRasterAttributeTable", tableType="thematic")
    for k, (name, kind, use) in enumerate(_COLUMNS):
        column = ET.SubElement(table, "FieldDefn", index=str(k))
        ET.SubElement(column, "Name").text = name
        ET.SubElement(column, "Type").text = str(kind)
        ET.SubElement(column, "Usage").text = str(use)
    for k, value in enumerate(values):
        row = ET.SubElement(table, "Row", index=str(k))
        low, high = ("" if deg is None else f"{deg:g}" for deg in (value.low_deg, value.high_deg))
        cells = (value.value, value.cells, value.name, low, high, f"{value.km2:.6f}", *value.colour)
        for cell in cells:
            ET.SubElement(row, "F").text = str(cell)
