"""Virtual rasters (VRT): what GDAL would call 0 where it knows nothing is made unknown.

GDAL fills cells that no source covers, and what a source's own mask or no-data value leaves out,
with 0 unless the VRT declares a no-data value. Its text is therefore amended before GDAL sees it.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Collection, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO, Final
from xml.etree import ElementTree as ET

import numpy as np

from steybrae.errors import FileReadError, ModelError
from steybrae.files.model.declared import Part

HEAD_BYTES: Final = 4096
"""Where GDAL and we look for a VRT's first element."""

MOST_BYTES: Final = 64 * 2**20
"""Largest VRT read, bytes (our choice: a country's of 100 000 files has 60 million)."""

MOST_MARKS: Final = 5_000_000
"""Most tags and attributes of a VRT (our choice: those 100 000 files have 3 million); each takes some 150
bytes of memory."""

MOST_DEEP: Final = 4
"""VRTs that may name one another, one within the other (our choice)."""

MOST_PART: Final = 255
"""Longest name of a file or folder, characters (that of the usual file systems)."""

SINGLE: Final = ("Byte", "Int8", "UInt16", "Int16", "Float32")
"""Types that single precision holds exactly."""

_NO_HEIGHTS: Final = frozenset(
    {"CategoryNames", "ColorTable", "GCPList", "Histograms", "Metadata", "Overview", "OverviewList"}
)
"""Elements that are left out: they say nothing of heights and may hold anything."""

_ELEMENTS: Final = frozenset(
    {
        *("VRTDataset", "SRS", "GeoTransform", "MaskBand", "VRTRasterBand", "Description", "ColorInterp"),
        *("NoDataValue", "HideNoDataValue", "Offset", "Scale", "UnitType", "BlockXSize", "BlockYSize"),
        *("SimpleSource", "ComplexSource", "SourceFilename", "SourceBand", "SourceProperties", "SrcRect"),
        *("DstRect", "NODATA", "UseMaskBand"),
    }
)
"""Elements that are understood. GDAL tells no capitals from small letters; here they must be as
GDAL writes them, so that none passes by us."""


def is_vrt(path: Path) -> bool:
    """Tell a virtual raster by how its text begins."""
    with path.open("rb") as file:
        return b"<VRTDataset" in file.read(HEAD_BYTES)


def amended(
    path: Path,
    given: Collection[Path],
    check: Callable[[Path], None],
    agree: Callable[[Path, str, list[Part]], None],
    within: tuple[Path, ...] = (),
) -> str:
    """Text of a virtual raster in which unknown ground is NaN.

    Parameters
    ----------
    path
        The VRT.
    given
        Files that the user named, resolved; a source is one of them or lies beside or below the
        VRT that names it.
    check
        Called with every source; it raises where one is refused.
    agree
        Called with every VRT, its text as amended, and its sources; it raises where they contradict each
        other.
    within
        VRTs that led here.

    Returns
    -------
    str
        Its sources by their places on the disk, VRTs among them amended too, their masks and
        no-data values used, and NaN where none is, unless it declares another number for that.

    Raises
    ------
    FileReadError
        It is no XML, has a DOCTYPE, or is too large; or a source is missing.
    ModelError
        It holds what is not understood here, or names what is no file or lies elsewhere.
    """
    root = _parsed(path)
    _check_elements(path, root)
    shown: dict[str, Path] = {}
    for name in root.iter("SourceFilename"):
        source = _source(path, name, given)
        name.text, name.attrib = str(source), {"relativeToVRT": "0"}
        if not source.is_file():
            # GDAL says so once, then gives what no source covers while a virtual raster is open anywhere.
            message = (
                f"The virtual raster {path} should name files that are there; {source} is not. Get it, or "
                "make the virtual raster anew, with gdalbuildvrt, of those that are."
            )
            raise FileReadError(message)
        check(source)
        if is_vrt(source) and len(within) + 1 < MOST_DEEP:
            name.text = amended(source, given, check, agree, (*within, path))
        elif is_vrt(source):
            message = (
                f"Virtual rasters should name one another at most {MOST_DEEP} deep; {path} names another. "
                "Name the files themselves."
            )
            raise ModelError(message)
        shown[name.text or ""] = source
    for band in root.findall("VRTRasterBand"):
        _amend(band)
    text = ET.tostring(root, encoding="unicode")
    sources = [
        (one, one.findtext("SourceFilename", "")) for one in root.findall("VRTRasterBand/ComplexSource")
    ]
    agree(path, text, [Part(name, shown[name], one) for one, name in sources])
    return text


def _parsed(path: Path) -> ET.Element:
    if path.stat().st_size > MOST_BYTES:
        message = (
            f"A virtual raster should have at most {MOST_BYTES // 2**20} MB; {path} has more. "
            "Name fewer files in it."
        )
        raise FileReadError(message)
    text = path.read_bytes()
    if text.count(b"<") + text.count(b"=") > MOST_MARKS:
        message = (
            f"A virtual raster should have at most {MOST_MARKS} elements and attributes; {path} has more. "
            "Name fewer files in it."
        )
        raise FileReadError(message)
    try:
        # With what could define entities cut out, those that are used are an error.
        return ET.fromstring(text.replace(b"<!DOCTYPE", b"<?"))  # noqa: S314
    except (ET.ParseError, ValueError, LookupError) as error:
        message = (
            f"The virtual raster {path} should be XML without a DOCTYPE; it is not, or is damaged. "
            "Check the file."
        )
        raise FileReadError(message) from error


def _check_elements(path: Path, root: ET.Element) -> None:
    """Refuse what computes, opens in another way or is not understood; leave out what is no height."""
    for parent in root.iter():
        kind = next((value for key, value in parent.items() if key.lower() == "subclass"), None)
        if parent.tag not in _ELEMENTS or kind not in (None, "VRTSourcedRasterBand"):
            what = f"{parent.tag!s:.60}" if kind is None else f"{kind:.60}"
            message = (
                f"The virtual raster {path} should put files of heights side by side; it has a {what!a}. "
                "Make it a GeoTIFF first, for instance with gdal_translate."
            )
            raise ModelError(message)
        for child in [child for child in parent if child.tag in _NO_HEIGHTS]:
            parent.remove(child)


def _source(path: Path, name: ET.Element, given: Collection[Path]) -> Path:
    """Place on the disk of a source, without looking whether it is there."""
    text = (name.text or "").strip()
    relative = any(key.lower() == "relativetovrt" and value.strip() == "1" for key, value in name.items())
    folder = path.absolute().parent
    source = Path(os.path.normpath(folder / text if relative else Path(text).absolute()))
    odd = (
        not text
        or len(name)
        or max(map(len, source.parts)) > MOST_PART
        or "\0" in text
        or text.startswith(("/vsi", "<"))
        or "://" in text
    )
    beside = os.path.normpath(folder) in map(str, source.parents)
    if odd or str(source).startswith("/vsi") or not (beside or source.resolve() in given):
        message = (
            f"A virtual raster should name files beside or below it, or files given with --dem too; {path} "
            f"names {text[:80]!a}. Put the file there, or give it."
        )
        raise ModelError(message)
    return source


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


MOST_DIRECTORIES: Final = 64
"""Images in one file that are looked at: heights, a mask and their overviews (our choice)."""

MOST_TAGS: Final = 4096
"""Entries of one directory that are looked at (our choice; a TIFF has some tens)."""

MOST_PLACE: Final = 2**40
"""Bytes from its beginning that no file we read reaches (our choice: a thousand of the largest models);
the usual file systems seek at least as far."""

_MAGIC: Final = {b"II*\0": "<", b"MM\0*": ">", b"II+\0": "<", b"MM\0+": ">"}
_WIDTH, _LENGTH, _BITS, _COMPRESSION, _SAMPLES, _STRIP_ROWS, _TILE_WIDTH, _TILE_LENGTH = (
    *(256, 257, 258, 259, 277, 278, 322, 323),
)
_TAGS: Final = (*range(256, 260), 277, 278, 322, 323)
_TYPES: Final = {1: "B", 3: "H", 4: "I", 16: "Q"}
"""Whole numbers in a TIFF by the code of their type (TIFF 6.0, BigTIFF)."""
_PLACES: Final = (273, 324)
_LONG: Final = (16, 17, 18)
_SIZES: Final = {3: 2, 4: 4, 5: 8, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
"""Tags that name strips and tiles, types of 8 bytes that do, and bytes of a value of each type."""


def is_tiff(path: Path) -> bool:
    """Tell a TIFF by its first four bytes."""
    with path.open("rb") as file:
        return file.read(4) in _MAGIC


def largest_block_bytes(path: Path) -> int:
    """Bytes of the largest strip or tile, unpacked, of any image in a TIFF or BigTIFF.

    0 where the head says nothing that can be read. A lone strip that is not packed counts as one
    row, for it is read so.
    """
    with path.open("rb") as file:
        magic = file.read(4)
        largest = 0
        # What was read before the head broke off counts; seeking takes not every place of 64 bits.
        with suppress(struct.error, KeyError, ValueError, OSError):
            for tags in _directories(file, magic):
                largest = max(largest, _block_bytes(tags))
        return largest


def names_lost_places(path: Path) -> bool:
    """Tell a BigTIFF that says it holds something farther in than any file is long (`MOST_PLACE`).

    Where a system seeks no such place, libtiff writes a line of its own on stderr. Other files have
    no such places.
    """
    with path.open("rb") as file:
        head = file.read(16)
        if len(head) < 16 or head[:4] not in _MAGIC or 43 not in head[2:4]:
            return False
        order = _MAGIC[head[:4]]
        at, most = struct.unpack(f"{order}Q", head[8:])[0], max(MOST_PLACE, path.stat().st_size)
        with suppress(struct.error):
            for _ in range(MOST_DIRECTORIES):
                if not 0 < at < most:
                    return bool(at)
                file.seek(at)
                (count,) = struct.unpack(f"{order}Q", file.read(8))
                held = file.read(20 * min(count, MOST_TAGS))
                after = file.read(8)
                entries = struct.iter_unpack(f"{order}HHQQ", held[: len(held) // 20 * 20])
                if any(_far(file, order, entry, most) for entry in entries):
                    return True
                (at,) = struct.unpack(f"{order}Q", after)
    return False


def _far(file: BinaryIO, order: str, entry: tuple[Any, ...], most: int) -> bool:
    """Whether the values of an entry, or the strips and tiles that it names, lie too far in."""
    tag, kind, count, value = entry
    if count * _SIZES.get(kind, 1) > 8:
        if value >= most:
            return True
        if tag in _PLACES and kind in _LONG:
            file.seek(value)
            held = file.read(min(8 * count, MOST_BYTES))
            return bool((np.frombuffer(held[: len(held) // 8 * 8], f"{order}u8") >= most).any())
    return tag in _PLACES and kind in _LONG and count == 1 and value >= most


def _directories(file: BinaryIO, magic: bytes) -> Iterator[dict[int, int]]:
    order, big = _MAGIC[magic], magic[2:3] == b"+" or magic[3:] == b"+"
    counts, entries, place = ("Q", "HHQ8s", "Q") if big else ("H", "HHI4s", "I")

    def take(form: str) -> Any:
        form = order + form
        return struct.unpack(form, file.read(struct.calcsize(form)))

    if big:
        take("HH")
    (at,) = take(place)
    for _ in range(MOST_DIRECTORIES):
        if not at:
            return
        file.seek(at)
        (count,) = take(counts)
        tags = {}
        for _ in range(min(count, MOST_TAGS)):
            tag, kind, _, value = take(entries)
            if tag in _TAGS and kind in _TYPES:
                (tags[tag],) = struct.unpack_from(order + _TYPES[kind], value)
        yield tags
        (at,) = take(place)


def _block_bytes(tags: dict[int, int]) -> int:
    width, length = tags.get(_WIDTH, 0), tags.get(_LENGTH, 0)
    if _TILE_WIDTH in tags:
        cells = tags[_TILE_WIDTH] * tags.get(_TILE_LENGTH, 0)
    else:
        rows = min(tags.get(_STRIP_ROWS, length), length)
        cells = width * (1 if rows == length and tags.get(_COMPRESSION, 1) == 1 else rows)
    # Bits of several samples stand elsewhere; a sample has at most 128. GDAL gives masks as bytes.
    bits = max(tags.get(_BITS, 8), 8) if tags.get(_SAMPLES, 1) == 1 else 128
    return cells * min(bits, 128) // 8
