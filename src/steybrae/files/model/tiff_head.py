"""The head of a TIFF, read before GDAL makes room for what it claims."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, Final

MOST_DIRECTORIES: Final = 64
"""Images in one file that are looked at: heights, a mask and their overviews (our choice)."""

MOST_TAGS: Final = 4096
"""Entries of one directory that are looked at (our choice; a TIFF has some tens)."""

_MAGIC: Final = {b"II*\0": "<", b"MM\0*": ">", b"II+\0": "<", b"MM\0+": ">"}
_WIDTH, _LENGTH, _BITS, _COMPRESSION, _SAMPLES, _STRIP_ROWS, _TILE_WIDTH, _TILE_LENGTH = (
    *(256, 257, 258, 259, 277, 278, 322, 323),
)
_TAGS: Final = (*range(256, 260), 277, 278, 322, 323)
_TYPES: Final = {1: "B", 3: "H", 4: "I", 16: "Q"}
"""Whole numbers in a TIFF by the code of their type (TIFF 6.0, BigTIFF)."""


def is_tiff(path: Path) -> bool:
    """Tell a TIFF by its first four bytes."""
    with path.open("rb") as file:
        return file.read(4) in _MAGIC


def largest_block_bytes(path: Path) -> int:
    """Bytes of the largest strip or tile, unpacked, of any image in a TIFF.

    Parameters
    ----------
    path
        A TIFF or BigTIFF.

    Returns
    -------
    int
        0 where the head says nothing that can be read. A lone strip that is not packed counts
        as one row, for it is read so.
    """
    with path.open("rb") as file:
        magic = file.read(4)
        try:
            return max((_block_bytes(tags) for tags in _directories(file, magic)), default=0)
        except (struct.error, KeyError):
            return 0


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
