"""Virtual rasters (VRT): what GDAL would call 0 where it knows nothing is made unknown.

GDAL fills cells that no source covers, and what a source's own mask or no-data value leaves out,
with 0 unless the VRT declares a no-data value. Its text is therefore amended before GDAL sees it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final
from xml.etree import ElementTree as ET

from steybrae.errors import FileReadError

__all__ = ["amended", "is_vrt"]

HEAD_BYTES: Final = 4096
"""Where GDAL and we look for a VRT's first element."""

SINGLE: Final = ("Byte", "Int8", "UInt16", "Int16", "Float32")
"""Types that single precision holds exactly."""


def is_vrt(path: Path) -> bool:
    """Tell a virtual raster by how its text begins."""
    with path.open("rb") as file:
        return b"<VRTDataset" in file.read(HEAD_BYTES)


def amended(path: Path) -> str:
    """Text of a virtual raster in which unknown ground is NaN.

    Parameters
    ----------
    path
        The VRT.

    Returns
    -------
    str
        Its sources by their places on the disk, their masks and no-data values used, and NaN
        where none is, unless it declares another number for that.

    Raises
    ------
    FileReadError
        It is no XML, or has a DOCTYPE.
    """
    text = path.read_bytes()
    try:
        # With what could define entities cut out, those that are used are an error.
        root = ET.fromstring(text.replace(b"<!DOCTYPE", b"<?"))  # noqa: S314
    except (ET.ParseError, ValueError, LookupError) as error:
        message = (
            f"The virtual raster {path} should be XML without a DOCTYPE; it is not, or is damaged. "
            "Check the file."
        )
        raise FileReadError(message) from error
    for name in root.iter("SourceFilename"):
        if name.get("relativeToVRT") == "1":
            name.text = str(path.absolute().parent / (name.text or ""))
            name.set("relativeToVRT", "0")
    for band in root.findall("VRTRasterBand"):
        if band.get("subClass") in (None, "VRTSourcedRasterBand"):
            _amend(band)
    return ET.tostring(root, encoding="unicode")


def _amend(band: ET.Element) -> None:
    for hidden in band.findall("HideNoDataValue"):
        band.remove(hidden)
    if band.find("NoDataValue") is None:
        ET.SubElement(band, "NoDataValue").text = "nan"
        band.set("dataType", "Float32" if band.get("dataType", "Byte") in SINGLE else "Float64")
    for source in [*band.findall("SimpleSource"), *band.findall("ComplexSource")]:
        source.tag = "ComplexSource"
        # GDAL takes one or the other.
        if source.find("NODATA") is None and source.find("UseMaskBand") is None:
            ET.SubElement(source, "UseMaskBand").text = "true"
