"""Slope and bands of a block of heights, fast: passes over a few rows that stay in the cache.

Each piece of rows is taken as one long vector whose steps down are steps of a whole row, so that
numpy runs over it without a loop per row; the two last columns of each row hold nothing and are
cut off at the end. Height differences come first and sums after, so that single precision costs
nothing: the error is a few 1e-7 of the gradient, whatever the height above the sea.

Tenths and bands are those of the one rounding rule (`steybrae.quantities.round_up`) in double precision.
Where single precision leaves a doubt, in some thousandths of the cells, the cell is done again in
double precision by the formulas that serve a planned line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.quantities import ROUNDING_SLACK, round_up
from steybrae.raster.blocks import BlockMetric, Coefficient
from steybrae.raster.tally import Pieces
from steybrae.terrain.attributes import FLAT_GRADIENT, slope_deg
from steybrae.terrain.gradients import Method, method_weights
from steybrae.terrain.jacobian import ground_gradients

Cells = NDArray[Any]

PIECE_ROWS: Final = 128
"""Rows taken at once: few enough for the processor's caches, and enough for the calls of numpy not to
count (measured: 64 rows cost 5 to 10 % more, 32 rows 15 %)."""

STEPS: Final = 2048
"""Slopes come in steps of 1/2048 degree, rounded up, but never beyond their tenth: digits beyond are noise
of any model, and cost a quarter of a packed file and half of the time to pack it (measured)."""

MARGIN: Final = 1e-6
"""Share by which single precision and the interpolated metric may be wrong: a slope so near to the next
tenth is in doubt."""

TENTHS_UNKNOWN: Final = 65535

Steps = Callable[[int, int], tuple[Cells, Cells]]
"""Gives, for a first row and a number of rows of a block, height changes per cell to the right and down,
``[row, col]`` with one column more on each side, in steps of the heights; NaN unknown."""


@dataclass(frozen=True, eq=False)
class _Buffers:
    """Working memory for pieces of one width."""

    step: Cells
    pair: Cells
    along: Cells
    down: Cells
    flag: Cells
    count: Cells


@dataclass(frozen=True, eq=False)
class _Piece:
    """Some rows of a block: heights with their ring, and what belongs to them."""

    z: Cells
    first: int
    count: int
    cols: int
    metric: BlockMetric
    unit_m: float
    given: tuple[Cells, Cells] | None


class Kernel:
    """Slope, tenths and bands of blocks; one for each thread, which keeps its buffers."""

    def __init__(self, method: Method, edges_deg: Sequence[float]) -> None:
        side = method_weights(method)[0][:, 2]
        # All three sides weigh outer : inner : outer; the common factor goes into the metric.
        self._inner_share = 2 if side[1] == 2 * side[0] else (1 if side[0] else 0)
        self._weights = method_weights(method)
        self._weight = float(side[0] or side[1])
        # Shown slopes are whole tenths.
        self._edges = [round(10.0 * round_up(edge, 0.1)) for edge in edges_deg]
        # Level ground is counted with the gentlest band, which must not be steeper than it.
        gentlest = math.tan(math.radians((self._edges[0] - 1) / 10.0))
        self._level2 = min(FLAT_GRADIENT, gentlest * (1.0 - MARGIN)) ** 2
        self._buffers: dict[tuple[int, np.dtype[Any]], _Buffers] = {}

    def fill(
        self,
        heights: Cells,
        metric: BlockMetric,
        height_unit_m: float,
        out: dict[str, Cells],
        pieces: Pieces | None = None,
        steps: Steps | None = None,
    ) -> None:
        """Fill the rasters of a block.

        Parameters
        ----------
        heights
            ``[row, col]`` float32 or float64 with one ring more than the block, C order; not
            finite is unknown.
        height_unit_m
            Metres in one step of the heights.
        out
            Any of ``slope`` (degrees, NaN unknown), ``tenths`` (65535 unknown) and ``bands`` (1
            the gentlest, 0 unknown), of the block's shape, or of its tiles' as
            ``[down, row, right, col]``; ``leading`` is a second place for the slope.
        pieces
            What counts the cells; None where no table is wanted.
        steps
            Height changes from elsewhere: of another engine, or over a longer baseline; None computes
            them here, over two cells.
        """
        rows, cols = heights.shape[0] - 2, heights.shape[1] - 2
        with np.errstate(all="ignore"):
            for first in range(0, rows, PIECE_ROWS):
                count = min(PIECE_ROWS, rows - first)
                z = heights[first : first + count + 2]
                given = None if steps is None else steps(first, count)
                self._piece(_Piece(z, first, count, cols, metric, height_unit_m, given), out, pieces)

    def _piece(self, piece: _Piece, out: dict[str, Cells], pieces: Pieces | None) -> None:
        z, count, cols = piece.z, piece.count, piece.cols
        kept = self._kept(z.shape[1], z.dtype)
        along, down = self._weighted(piece, kept) if piece.given else self._differences(z, count, kept)
        # Not a number wins in both, and infinities are at the ends.
        ends = (float(z.min()), float(z.max()))
        known = math.isfinite(ends[0]) and math.isfinite(ends[1])
        jacobian = piece.metric.jacobian(np.array(piece.first + count / 2), np.array(cols / 2))
        facing = pieces.of(along, down, z, ends, jacobian) if pieces else None
        squared = _squared_gradient(along, down, kept, piece, (self._weight * piece.unit_m) ** 2)
        if not known:
            inside = squared.reshape(count, -1)[:, :cols]
            np.copyto(inside, np.nan, where=_beside_unknown(z))
        sloping = squared >= squared.dtype.type(self._level2)
        tenths, steps = self._rounded(squared, piece, kept)
        rows = slice(piece.first, piece.first + count)
        if "bands" in out or facing is not None:
            bands = self._bands(tenths, kept)
            if "bands" in out:
                _put(out["bands"], rows, bands.reshape(count, -1)[:, :cols])
            if facing is not None and pieces is not None:
                pieces.add(facing, bands, sloping, count, cols, piece.metric.area_m2.at(piece.first, count))
        if "tenths" in out:
            shown = np.where(np.isnan(tenths), TENTHS_UNKNOWN, tenths).astype(np.uint16)
            _put(out["tenths"], rows, shown.reshape(count, -1)[:, :cols])
        slopes = [out[name] for name in ("slope", "leading") if name in out]
        if slopes:
            np.multiply(steps, steps.dtype.type(1.0 / STEPS), out=steps)
            # Level ground may be -0, whose bits are not in the order of the numbers.
            np.abs(steps, out=steps)
        for target in slopes:
            _put(target, rows, steps.reshape(count, -1)[:, :cols])

    def _rounded(self, squared: Cells, piece: _Piece, kept: _Buffers) -> tuple[Cells, Cells]:
        """Shown slope in whole tenths, and the slope in its steps; in the memory of the squared gradient."""
        number = squared.dtype.type
        np.sqrt(squared, out=squared)
        np.arctan(squared, out=squared)
        np.multiply(squared, number(10.0 * math.degrees(1.0)), out=squared)
        tenths, least = kept.step[: len(squared)], kept.pair[: len(squared)]
        np.multiply(squared, number(1.0 + MARGIN), out=tenths)
        np.subtract(tenths, number(ROUNDING_SLACK), out=tenths)
        np.ceil(tenths, out=tenths)
        np.multiply(squared, number(1.0 - MARGIN), out=least)
        np.subtract(least, number(ROUNDING_SLACK), out=least)
        np.ceil(least, out=least)
        doubtful = np.flatnonzero(tenths > least)
        np.multiply(squared, number(STEPS / 10.0 * (1.0 + MARGIN)), out=squared)
        steps = np.ceil(squared, out=squared)
        if len(doubtful):
            slope = self._exactly(doubtful, piece)
            tenths[doubtful] = np.ceil(10.0 * slope - ROUNDING_SLACK)
            steps[doubtful] = np.ceil(STEPS * (slope - 0.1 * ROUNDING_SLACK))
        np.multiply(tenths, number(STEPS / 10.0), out=least)
        np.minimum(steps, np.floor(least, out=least), out=steps)
        return tenths, steps

    def _exactly(self, cells: NDArray[np.intp], piece: _Piece) -> Cells:
        """Slopes of some cells of a piece in double precision, degrees; any number between the rows."""
        row, col = np.divmod(cells, piece.z.shape[1])
        col = np.minimum(col, piece.cols - 1)
        if piece.given is not None:
            steps = tuple(step[row, col + 1].astype(np.float64) for step in piece.given)
        else:
            window = np.arange(3)
            z = piece.z[(row[:, None] + window)[:, :, None], (col[:, None] + window)[:, None, :]]
            steps = tuple(np.einsum("kij,ij->k", z.astype(np.float64), side) for side in self._weights)
        jacobian = piece.metric.jacobian(piece.first + row + 0.5, col + 0.5)
        gradients = ground_gradients(jacobian, *(step * piece.unit_m for step in steps))
        return slope_deg(*gradients)

    def _kept(self, width: int, dtype: np.dtype[Any]) -> _Buffers:
        if (width, dtype) not in self._buffers:
            cells = (PIECE_ROWS + 2) * width
            step, pair, along, down = (np.zeros(cells, dtype) for _ in range(4))
            flag, count = np.zeros(cells, bool), np.zeros(cells, np.uint8)
            self._buffers[width, dtype] = _Buffers(step, pair, along, down, flag, count)
        return self._buffers[width, dtype]

    def _differences(self, z: Cells, count: int, kept: _Buffers) -> tuple[Cells, Cells]:
        """Sum of the weighted differences to the right and down; the common weight is left out.

        Element ``row * width + col`` is the cell whose window begins there.
        """
        flat, width = z.reshape(-1), z.shape[1]
        cells, ring = count * width, (count + 2) * width
        step, pair = kept.step, kept.pair
        np.subtract(flat[2:], flat[:-2], out=step[: ring - 2])
        self._side(step[: ring - 2], width, pair, kept.along[: cells - 2])
        np.subtract(flat[2 * width :], flat[: -2 * width], out=step[:cells])
        self._side(step[:cells], 1, pair, kept.down[: cells - 2])
        return kept.along[:cells], kept.down[:cells]

    def _weighted(self, piece: _Piece, kept: _Buffers) -> tuple[Cells, Cells]:
        """Take changes per cell from elsewhere, as `_differences` has its own."""
        assert piece.given is not None  # noqa: S101
        for step, out in zip(piece.given, (kept.along, kept.down), strict=True):
            # The first column is that of the ring; its place is at the end of each row here.
            np.divide(step.reshape(-1)[1:], self._weight, out=out[: step.size - 1], casting="same_kind")
        size = piece.given[0].size
        return kept.along[:size], kept.down[:size]

    def _side(self, step: Cells, stride: int, pair: Cells, out: Cells) -> None:
        """Add a difference to its two neighbours across it, by the method's weights."""
        n = len(out)
        if self._inner_share == 2:
            # (a + b) + (b + c)
            both = pair[: len(step) - stride]
            np.add(step[stride:], step[:-stride], out=both)
            np.add(both[stride : stride + n], both[:n], out=out)
        elif self._inner_share == 1:
            np.add(step[2 * stride : 2 * stride + n], step[:n], out=out)
            np.add(out, step[stride : stride + n], out=out)
        else:
            np.copyto(out, step[stride : stride + n])

    def _bands(self, tenths: Cells, kept: _Buffers) -> Cells:
        """Bands of a piece, flat as its tenths are; 0 unknown."""
        band, flag = kept.count[: len(tenths)], kept.flag[: len(tenths)]
        ones = flag.view(np.uint8)
        # Unknown compares as below every edge: only what is from 0 up begins in the gentlest band.
        np.greater_equal(tenths, 0, out=band.view(bool))
        for edge in self._edges:
            np.greater_equal(tenths, tenths.dtype.type(edge), out=flag)
            np.add(band, ones, out=band)
        return band


def _beside_unknown(z: Cells) -> Cells:
    """Cells of which one of the nine heights is not finite."""
    bad = ~np.isfinite(z)
    tall = bad[:-2] | bad[1:-1] | bad[2:]
    out: Cells = tall[:, :-2] | tall[:, 1:-1] | tall[:, 2:]
    return out


def _squared_gradient(along: Cells, down: Cells, kept: _Buffers, piece: _Piece, factor: float) -> Cells:
    """Form A u^2 + C v^2 + 2 B u v, in the memory of `along`."""
    metric = piece.metric

    def scaled(cells: Cells, coefficient: Coefficient) -> None:
        np.multiply(cells, coefficient.flat(piece.first, piece.count, factor, cells.dtype), out=cells)

    product = kept.pair[: len(along)]
    if metric.uv is not None:
        np.multiply(along, down, out=product)
        scaled(product, metric.uv)
    np.multiply(along, along, out=along)
    np.multiply(down, down, out=down)
    if metric.vv is None:
        np.add(along, down, out=along)
        scaled(along, metric.uu)
    else:
        scaled(along, metric.uu)
        scaled(down, metric.vv)
        np.add(along, down, out=along)
    if metric.uv is not None:
        np.add(along, product, out=along)
        np.maximum(along, 0, out=along)
    return along


def _put(out: Cells, rows: slice, cells: Cells) -> None:
    """Copy rows into a raster kept as ``[row, col]``, or tile by tile as ``[down, row, right, col]``."""
    target = out[rows]
    if out.ndim == 4:
        down, first = divmod(rows.start, out.shape[1])
        target = out[down, first : first + rows.stop - rows.start]
    np.copyto(target, cells.reshape(target.shape), casting="same_kind")
