"""GeoTIFF from tiles that arrive in any order, from several writers; a small picture of a finished one.

A raster is computed block by block, by threads or by machines, and may be taken up again after a
kill. GDAL keeps the index of a file's tiles in memory until it closes the file; here tiles are
appended to a part file as they are ready, their places are kept by the caller, and the
directories (the full raster and its overviews) are written last. Every tag that says what the
raster is (CRS, transform, colours, metadata) is GDAL's own, taken from a small file it wrote.

Layout: TIFF 6.0, and BigTIFF where offsets pass 4 GiB (libtiff's BigTIFF design note). Packed tiles
are zlib streams (RFC 1950; Adobe Photoshop TIFF Technical Notes, 2002), behind a predictor: section
14 of TIFF 6.0 for whole numbers, Adobe's TIFF Technical Note 3 (2005) for floating point.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from io import BufferedRandom
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
from isal import isal_zlib
from numpy.typing import NDArray
from rasterio.io import MemoryFile

from steybrae.frozen import dataclass

TILE: Final = 256
"""Side of a tile, cells."""

HEADER_BYTES: Final = 4096
"""Room left for a header in front of the tiles. A BigTIFF's needs 16, but tiles that begin with a page of
the system's memory are written in a quarter of the time (measured: 0.13 s for 0.7 GB on ext4, not 0.58)."""

CLASSIC_BYTES: Final = 2**32 - 2**20
"""Larger files become BigTIFF; the room is for the directories' own fields."""

LEVEL: Final = 1
"""How hard tiles are packed by ISA-L, 0 to 3. Slopes take a third of libtiff's time at zlib's level 1
and 1.5 % more room (measured)."""

_NO_PREDICTOR, _HORIZONTAL, _FLOATING = 1, 2, 3

Tags = dict[int, tuple[int, int, bytes]]
"""TIFF tag -> field type, count, raw little-endian values."""

_WIDTH, _HEIGHT, _TILE_OFFSETS, _TILE_COUNTS, _SUBFILE = 256, 257, 324, 325, 254
_PER_RASTER: Final = (_WIDTH, _HEIGHT, _TILE_OFFSETS, _TILE_COUNTS, _SUBFILE)
_FULL_ONLY: Final = (33550, 33922, 34264, 34735, 34736, 34737, 270, 305, 306)
"""Georeference and texts, which the overviews leave to the full raster."""

_LONG, _LONG8 = 4, 16
_TYPE_BYTES: Final = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 16: 8, 17: 8}


@dataclass(frozen=True, eq=False)
class Level:
    """The full raster or one of its overviews: size in cells; offset and bytes of each tile in the file."""

    rows: int
    cols: int
    offsets: NDArray[np.uint64]
    sizes: NDArray[np.uint64]


def encode_tiles(cells: NDArray[Any], compress: str) -> tuple[bytes | memoryview, list[int]]:
    """Tiles of an array, row by row, end to end as they stand in a file, and the size of each, bytes.

    ``[row, col]``, both sizes whole multiples of `TILE`; or tile by tile,
    ``[down, row, right, col]``. `compress` is ``none`` or ``deflate``.
    """
    if cells.ndim == 2:
        cells = cells.reshape(cells.shape[0] // TILE, TILE, cells.shape[1] // TILE, TILE)
    tiles = np.ascontiguousarray(cells.swapaxes(1, 2)).reshape(-1, TILE, TILE)
    if compress == "none":
        each = TILE * TILE * cells.dtype.itemsize
        return tiles.reshape(-1).view(np.uint8).data, [each] * len(tiles)
    packed = [isal_zlib.compress(tile.data, LEVEL) for tile in _predicted(tiles)]
    return b"".join(packed), [len(tile) for tile in packed]


def _predictor(dtype: np.dtype[Any]) -> int:
    """Tell which predictor suits the numbers, as the tag has it."""
    return _FLOATING if dtype.kind == "f" else (_HORIZONTAL if dtype.itemsize > 1 else _NO_PREDICTOR)


def _predicted(tiles: NDArray[Any]) -> NDArray[Any]:
    """Make of each tile what is packed, ``[tile, row, column]``: differences along its rows."""
    predictor = _predictor(tiles.dtype)
    if predictor == _NO_PREDICTOR:
        return tiles
    rows = _byte_planes(tiles) if predictor == _FLOATING else tiles
    out = np.empty_like(rows)
    out[..., 0] = rows[..., 0]
    np.subtract(rows[..., 1:], rows[..., :-1], out=out[..., 1:])
    return out


def _byte_planes(tiles: NDArray[Any]) -> NDArray[np.uint8]:
    """All most significant bytes of each row first, then all of the next significance."""
    bits, many = tiles.view(f"u{tiles.itemsize}"), tiles.itemsize
    planes = np.empty((*tiles.shape[:2], many, TILE), np.uint8)
    for k in range(many):
        np.right_shift(bits, bits.dtype.type(8 * (many - 1 - k)), out=planes[:, :, k], casting="unsafe")
    return planes.reshape(*tiles.shape[:2], -1)


def _options(dtype: np.dtype[Any], compress: str) -> dict[str, Any]:
    """Give the options of GDAL that make its tags those of our tiles."""
    return {} if compress == "none" else {"compress": "deflate", "predictor": _predictor(dtype)}


def _by_gdal(cells: NDArray[Any], **options: Any) -> bytes:
    """Write a file in memory, as GDAL does."""
    with MemoryFile() as memory:
        tags, colours = options.pop("tags", None), options.pop("colours", None)
        scale, unit, text = (options.pop(key, None) for key in ("scale", "unit", "text"))
        rows, cols = cells.shape
        # A place of its own: GDAL would warn of a raster without one.
        options.setdefault("transform", rasterio.Affine(1.0, 0.0, 0.0, 0.0, -1.0, float(rows)))
        with memory.open(
            driver="GTiff",
            height=rows,
            width=cols,
            count=1,
            dtype=cells.dtype,
            tiled=True,
            blockxsize=TILE,
            blockysize=TILE,
            **options,
        ) as made:
            if tags:
                made.update_tags(**tags)
            if colours:
                made.write_colormap(1, dict(colours))
            if scale is not None:
                made.scales = (scale,)
            if unit:
                made.units = (unit,)
            if text:
                made.descriptions = (text,)
            made.write(cells, 1)
        return bytes(memory.getbuffer())


def _directory(raw: bytes) -> Tags:
    """Tags of the first directory of a little-endian classic TIFF."""
    (start,) = struct.unpack_from("<I", raw, 4)
    (count,) = struct.unpack_from("<H", raw, start)
    tags: Tags = {}
    for k in range(count):
        at = start + 2 + 12 * k
        tag, kind, many = struct.unpack_from("<HHI", raw, at)
        size = _TYPE_BYTES[kind] * many
        place = at + 8 if size <= 4 else struct.unpack_from("<I", raw, at + 8)[0]
        tags[tag] = (kind, many, raw[place : place + size])
    return tags


def _numbers(field: tuple[int, int, bytes]) -> list[int]:
    kind, many, raw = field
    return [int(n) for n in np.frombuffer(raw, dtype=f"<u{_TYPE_BYTES[kind]}", count=many)]


def raster_tags(
    dtype: str,
    compress: str,
    crs_wkt: str,
    transform: Sequence[float],
    *,
    nodata: float | None,
    tags: Mapping[str, str],
    text: str,
    unit: str = "",
    scale: float | None = None,
    colours: Mapping[int, tuple[int, int, int]] | None = None,
) -> tuple[Tags, bool]:
    """Tags that say what a raster is, as GDAL writes them.

    Parameters
    ----------
    dtype, compress
        Numbers of the raster and how its tiles are packed.
    crs_wkt, transform
        Where it lies, as `steybrae.terrain.dem.Grid` has it.
    nodata
        The value that says unknown; None where the raster says it otherwise.
    tags
        Metadata, name to text.
    text, unit, scale
        Description of the band, unit of its values, value of one step.
    colours
        Value to red, green, blue, 0 to 255.

    Returns
    -------
    tuple of Tags and bool
        The tags, and whether they hold the CRS: GeoTIFF cannot say every one.
    """
    wanted = rasterio.CRS.from_user_input(crs_wkt)
    raw = _by_gdal(
        np.zeros((TILE, TILE), dtype),
        crs=wanted,
        transform=rasterio.Affine(*transform),
        nodata=nodata,
        tags=dict(tags),
        text=text,
        unit=unit,
        scale=scale,
        colours=colours,
        **_options(np.dtype(dtype), compress),
    )
    with MemoryFile(raw) as memory, memory.open() as back:
        holds = back.crs == wanted
    return {tag: field for tag, field in _directory(raw).items() if tag not in _PER_RASTER}, holds


def write_directories(file: BufferedRandom, tags: Tags, levels: Sequence[Level]) -> None:
    """Append the directories of a raster and its overviews, and put the header in front.

    The file is open for reading and writing: `HEADER_BYTES` of room, then the tiles. The full
    raster is first, then its overviews, each half the one before.
    """
    end = file.seek(0, 2)
    room = sum(24 * level.offsets.size + 2048 for level in levels) + sum(len(f[2]) for f in tags.values())
    big = end + room * 2 > CLASSIC_BYTES
    if end % 8:
        end += file.write(bytes(8 - end % 8))
    first = end
    for k, level in enumerate(levels):
        own = tags if k == 0 else {tag: field for tag, field in tags.items() if tag not in _FULL_ONLY}
        block = _directory_bytes({**own, **_level_tags(level, big=big, reduced=k > 0)}, end, big=big)
        if k == len(levels) - 1:
            block = _without_next(block, big=big)
        end += file.write(block)
    header = struct.pack("<2sHHHQ", b"II", 43, 8, 0, first) if big else struct.pack("<2sHI", b"II", 42, first)
    file.seek(0)
    file.write(header)
    file.flush()


def _level_tags(level: Level, *, big: bool, reduced: bool) -> Tags:
    kind, dtype = (_LONG8, "<u8") if big else (_LONG, "<u4")
    count = level.offsets.size
    return {
        _SUBFILE: (_LONG, 1, struct.pack("<I", int(reduced))),
        _WIDTH: (_LONG, 1, struct.pack("<I", level.cols)),
        _HEIGHT: (_LONG, 1, struct.pack("<I", level.rows)),
        _TILE_OFFSETS: (kind, count, level.offsets.astype(dtype).tobytes()),
        _TILE_COUNTS: (_LONG, count, level.sizes.astype("<u4").tobytes()),
    }


def _directory_bytes(tags: Tags, at: int, *, big: bool) -> bytes:
    """One directory that begins at a place, its long values behind it, its successor right after."""
    head, entry, word = ("<Q", "<HHQ", 8) if big else ("<H", "<HHI", 4)
    each = 4 + 2 * word
    size = struct.calcsize(head) + each * len(tags) + word
    out, behind = [struct.pack(head, len(tags))], []
    place = at + size
    for tag, (kind, many, raw) in sorted(tags.items()):
        padded = raw + bytes(-len(raw) % 8)
        if len(raw) <= word:
            value = raw.ljust(word, b"\0")
        else:
            value = place.to_bytes(word, "little")
            behind.append(padded)
            place += len(padded)
        out.append(struct.pack(entry, tag, kind, many) + value)
    place += -place % 8
    body = b"".join(out) + place.to_bytes(word, "little") + b"".join(behind)
    return body.ljust(place - at, b"\0")


def _without_next(block: bytes, *, big: bool) -> bytes:
    """Clear the pointer to the next directory."""
    head, each, word = (8, 20, 8) if big else (2, 12, 4)
    (count,) = struct.unpack_from("<Q" if big else "<H", block, 0)
    at = head + each * count
    return block[:at] + bytes(word) + block[at + word :]


MOST_CELLS: Final = 1_000_000
"""Of a preview (our choice)."""


@dataclass(frozen=True, eq=False)
class Preview:
    """A raster of classes, thinned, 0 unknown, and its ground size in its middle."""

    cells: NDArray[np.uint8]
    width_km: float
    height_km: float


def read_preview(path: Path, cell_size_m: tuple[float, float]) -> Preview:
    """Read the finest overview of ``bands.tif`` or ``overhead.tif`` with no more than `MOST_CELLS`.

    `cell_size_m` are the ground lengths of a column and a row.
    """
    with rasterio.open(path) as whole:
        rows, cols = whole.height, whole.width
        factors = [1, *whole.overviews(1)]
    level = next((k for k, f in enumerate(factors) if rows * cols <= MOST_CELLS * f * f), len(factors) - 1)
    options: dict[str, Any] = {"overview_level": level - 1} if level else {}
    with rasterio.open(path, **options) as data:
        cells = data.read(1)
    cells.flags.writeable = False
    return Preview(cells, cols * cell_size_m[0] / 1000.0, rows * cell_size_m[1] / 1000.0)
