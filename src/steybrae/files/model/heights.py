"""From what GDAL gives to heights: one rule for every reader, and whether tiles that overlap agree.

A number is a height where the file says nothing against it. What a mask, the declared no-data
value or a block that was never written leaves out is unknown, and so is what no land has. Two things
count as such: a 0 where no land of the file comes near it, for programs write it for ground that they
lack; and what lies in planes where all other ground is uneven, for programs lay them across gaps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import rasterio.errors
import rasterio.windows
from numpy.typing import NDArray
from rasterio.enums import MaskFlags

from steybrae.cautions import SAME_CELLS
from steybrae.errors import FileReadError
from steybrae.files.model.tiles import MOST_REASON, Tile
from steybrae.quantities import LAND_HEIGHTS_M
from steybrae.terrain.dem import Array
from steybrae.terrain.examine.planes import GAP_SIDE, WIDEST_RULE, gap_squares

STRIP_ROWS: Final = 64
"""Rows searched at once, which stay in the processor's cache."""

_NO_HEIGHT: Final = np.inf
"""Stands for what no land has, till it is counted and made unknown."""

Cells = NDArray[Any]


def stored_numbers(tile: Tile, window: Any, out: Cells) -> Cells | None:
    """Read the numbers of a window, in the file's own rows and columns, as they stand there, into `out`.

    True where the file has no number, by its mask or because the block was never written; None
    where it has them all. For `make_unknown`. A damaged block is an error of rasterio; see
    `damaged`.
    """
    data = tile.data
    whole = _of_whole_squares(tile, window)
    numbers = out if whole == window else np.empty((whole.height, whole.width), out.dtype)
    try:
        # A view, for rasterio changes the shape of what it is given, and leaves it so after an error.
        data.read(1, window=whole, out=numbers[...])
    except rasterio.errors.RasterioError:
        if numbers is out:
            raise
        whole, numbers = window, out
        data.read(1, window=window, out=out[...])
    if np.dtype(data.dtypes[0]).kind == "f":
        _leave_gaps_out(tile, whole, numbers)
    if numbers is not out:
        top, left = window.row_off - whole.row_off, window.col_off - whole.col_off
        out[...] = numbers[top : top + out.shape[0], left : left + out.shape[1]]
    flags = data.mask_flag_enums[0]
    missing = None
    if MaskFlags.per_dataset in flags or MaskFlags.alpha in flags:
        missing = data.read_masks(1, window=window) == 0
    if not out.all():
        if data.driver == "GTiff":
            missing = _never_written(data, window, out, missing)
        if _nodata(data) != 0.0 and tile.zero_is_missing:
            out[out == 0.0] = _NO_HEIGHT
    return missing


def _of_whole_squares(tile: Tile, window: Any) -> Any:
    """Widen a window to whole squares that may be gaps, so that all windows leave out the same cells."""
    if np.dtype(tile.data.dtypes[0]).kind != "f":
        return window
    ends = (window.row_off, window.height, tile.data.height), (window.col_off, window.width, tile.data.width)
    (top, high), (left, wide) = (
        (first := at // GAP_SIDE * GAP_SIDE, min(-(-(at + size) // GAP_SIDE) * GAP_SIDE, most) - first)
        for at, size, most in ends
    )
    return rasterio.windows.Window(left, top, wide, high)


def _leave_gaps_out(tile: Tile, window: Any, numbers: Cells) -> None:
    """Put a number that no land has where a gap was filled up with planes."""
    where = tile.step_m, int(window.row_off), int(window.col_off)
    # What tells the rule takes longer than a window: only where there might be a gap, and once.
    asked = "gap_rule" in vars(tile) or len(gap_squares(numbers, *where, WIDEST_RULE)) > 0
    if not asked or tile.gap_rule is None:
        return
    for row, col in gap_squares(numbers, *where, tile.gap_rule).tolist():
        numbers[row : row + GAP_SIDE, col : col + GAP_SIDE] = _NO_HEIGHT


def _never_written(data: Any, window: Any, out: Cells, missing: Cells | None) -> Cells | None:
    """Add the blocks of a TIFF that have no place in the file: GDAL gives them as zeros."""
    high, wide = data.block_shapes[0]
    top, left = int(window.row_off), int(window.col_off)
    for row in range(top // high, (top + out.shape[0] - 1) // high + 1):
        for col in range(left // wide, (left + out.shape[1] - 1) // wide + 1):
            place = tuple(
                slice(max(block * size - first, 0), (block + 1) * size - first)
                for block, size, first in ((row, high, top), (col, wide, left))
            )
            if out[place].any() or data.get_tag_item(f"BLOCK_OFFSET_{col}_{row}", "TIFF", bidx=1) is not None:
                continue
            missing = np.zeros(out.shape, np.bool_) if missing is None else missing
            missing[place] = True
    return missing


def make_unknown(tile: Tile, out: Cells, missing: Cells | None) -> int:
    """Put NaN in place of every number that is no height, after `stored_numbers`.

    How many were no heights of land (`LAND_HEIGHTS_M`; `Tile.zero_is_missing`, `Tile.gap_rule`)
    although the file says nothing against them.
    """
    if missing is not None:
        out[missing] = np.nan
    low, high = sorted((end - tile.offset_m) / tile.step_m for end in LAND_HEIGHTS_M)
    nodata = _nodata(tile.data)
    declared = low <= nodata <= high
    absurd = 0
    for first in range(0, len(out), STRIP_ROWS):
        part = out[first : first + STRIP_ROWS]
        # NaN fails the comparison too.
        if not (part.min() >= low and part.max() <= high) or declared:
            part[part == nodata] = np.nan
            bad = ~((part >= low) & (part <= high) | np.isnan(part))
            absurd += int(np.count_nonzero(bad))
            part[bad] = np.nan
    return absurd


def same_cells(numbers: Cells) -> int:
    """Count the cells in squares of one identical number, `SAME_CELLS` a side, side by side from the first.

    A stretch twice as long and as wide holds one wherever it lies. NaN is none.
    """
    return len(same_squares(numbers, 0, 0)) * SAME_CELLS**2


def same_squares(numbers: Cells, row: int, col: int) -> NDArray[np.intp]:
    """Rows and columns of squares of one identical number in a window, ``(n, 2)``; NaN is none.

    Squares lie side by side from the first cell of the model, so that a window, which begins at
    `row` and `col` of it, holds those of any wider one that lie in it.
    """
    first = -row % SAME_CELLS, -col % SAME_CELLS
    rows, cols = (max(size - at, 0) // SAME_CELLS for size, at in zip(numbers.shape, first, strict=True))
    whole = numbers[first[0] : first[0] + rows * SAME_CELLS, first[1] : first[1] + cols * SAME_CELLS]
    squares = whole.reshape(rows, SAME_CELLS, cols, SAME_CELLS)
    corner, last = squares[:, 0, :, 0], SAME_CELLS - 1
    # Few squares that differ have five like numbers.
    like = [squares[:, down, :, on] == corner for down, on in ((0, last), (last, 0), (last, last), (3, 4))]
    down, on = np.nonzero(np.logical_and.reduce(like))
    alike = (squares[down, :, on] == corner[down, on, None, None]).all(axis=(1, 2))
    found: NDArray[np.intp] = np.stack((down, on), axis=1)[alike] * SAME_CELLS
    found += np.array((row + first[0], col + first[1]))
    return found


def _nodata(data: Any) -> float:
    """Give the declared no-data value as the band's own type holds it; NaN where there is none."""
    nodata, kind = data.nodatavals[0], np.dtype(data.dtypes[0])
    with np.errstate(over="ignore"):
        return float("nan") if nodata is None else float(kind.type(nodata) if kind.kind == "f" else nodata)


def damaged(tile: Tile, window: Any, error: BaseException) -> FileReadError:
    """Error that names the first block of an open file, under a window, that cannot be read."""
    while error.__cause__ is not None:
        error = error.__cause__
    row, col = _bad_block(tile.data, window)
    message = (
        f"The elevation model {tile.name} should be readable throughout; its block at row {row}, column "
        f"{col} is not ({' '.join(str(error).split())[:MOST_REASON]}). Get the file again."
    )
    return FileReadError(message)


def _bad_block(data: Any, window: Any) -> tuple[int, int]:
    """First row and column of the first block under a window that cannot be read."""
    block_rows, block_cols = data.block_shapes[0]
    top, left = (int(window.row_off) // block_rows, int(window.col_off) // block_cols)
    for row in range(top * block_rows, int(window.row_off + window.height), block_rows):
        for col in range(left * block_cols, int(window.col_off + window.width), block_cols):
            try:
                data.read(1, window=rasterio.windows.Window(col, row, 1, 1))
            except rasterio.errors.RasterioError:
                return row, col
    return int(window.row_off), int(window.col_off)


DIFFERENT_M: Final = 1.0
"""Heights further apart than this, metres, are of different surveys, or of another unit or datum (our choice:
parts of one survey differ by their rounding)."""

SAME_M: Final = 1e-3
"""Heights as near as this, metres, are one (our choice: on cells of half a metre they turn no slope by more
than the tenth of a degree that is shown)."""

MOST_ROWS: Final = 16
"""Most rows of an overlap that are looked at, evenly spread (our choice): models are opened often."""


def tiles_differ(tiles: Sequence[Tile]) -> bool:
    """Whether any two tiles that overlap have heights there that differ by more than `DIFFERENT_M`.

    Blocks that cannot be read are passed over: who needs their heights is told.
    """
    ends = np.array([(t.row, t.col, t.row + t.data.height, t.col + t.data.width) for t in tiles])
    for k, tile in enumerate(tiles):
        first, last = np.maximum(ends[k, :2], ends[:k, :2]), np.minimum(ends[k, 2:], ends[:k, 2:])
        for other in np.flatnonzero((first < last).all(axis=1)).tolist():
            (top, left), (bottom, right) = first[other].tolist(), last[other].tolist()
            rows = np.unique(np.linspace(top, bottom - 1, min(MOST_ROWS, bottom - top)).astype(int)).tolist()
            apart = (_apart_m(tiles[other], tile, row, left, row + 1, right) for row in rows)
            if any(DIFFERENT_M < most_m < math.inf for most_m in apart):
                return True
    return False


def apart_m(one: Tile, other: Tile, row: int, col: int, rows: int, cols: int) -> float:
    """Largest difference between the heights of two tiles in a window, metres; 0 where they share none.

    Infinite where a block cannot be read: who reads its heights is told.
    """
    top, left, bottom, right = one.shared_with(row, col, rows, cols)
    top, left, bottom, right = other.shared_with(top, left, bottom - top, right - left)
    return _apart_m(one, other, top, left, bottom, right) if top < bottom and left < right else 0.0


def _apart_m(one: Tile, other: Tile, top: int, left: int, bottom: int, right: int) -> float:
    """Compare where both have heights; infinite where a block cannot be read."""
    try:
        first_m, other_m = (_heights_m(tile, top, left, bottom, right) for tile in (one, other))
    except rasterio.errors.RasterioError:
        return math.inf
    return float(np.fmax.reduce(np.abs(first_m - other_m), axis=None, initial=0.0))


def _heights_m(tile: Tile, top: int, left: int, bottom: int, right: int) -> Array:
    """Heights of a piece of the whole grid, metres."""
    window = rasterio.windows.Window(left - tile.col, top - tile.row, right - left, bottom - top)
    found: Array = np.empty((bottom - top, right - left))
    make_unknown(tile, found, stored_numbers(tile, window, found))
    return np.asarray(found * tile.step_m + tile.offset_m)
