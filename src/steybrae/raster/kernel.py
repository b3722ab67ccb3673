"""Slope and bands of a block of heights, fast: passes over a few rows that stay in the cache.

Each piece of rows is taken as one long vector whose steps down are steps of a whole row, so that
numpy runs over it without a loop per row; the two last columns of each row hold nothing and are
cut off at the end. Height differences come first and sums after, so that single precision costs
nothing: the error is a few 1e-7 of the gradient, whatever the height above the sea.

Bands follow the one rounding rule without an arc tangent: the *shown* slope reaches an edge e
where the slope passes e - 0.1 (e in tenths, rounded up), and the gradient of that is a constant.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.quantities import ROUNDING_SLACK, round_up
from steybrae.raster.metric import BlockMetric, Coefficient
from steybrae.raster.tally import Pieces
from steybrae.terrain.attributes import FLAT_GRADIENT
from steybrae.terrain.gradients import Method, method_weights

__all__ = ["MARGIN", "PIECE_ROWS", "Kernel", "band_thresholds"]

Cells = NDArray[Any]

PIECE_ROWS: Final = 128
"""Rows taken at once: few enough for the processor's caches, and enough for the calls of numpy not to
count (measured: 64 rows cost 5 to 10 % more, 32 rows 15 %)."""

STEPS: Final = 2048
"""Slopes come in steps of 1/2048 degree, rounded up: digits beyond are noise of any model, and cost
a quarter of a packed file and half of the time to pack it (measured)."""

MARGIN: Final = 5e-6
"""Share by which a slope is lifted before it is rounded up. It covers what single precision and the
interpolated metric lose, so that no slope is told lower, and no band gentler, than double precision
has them. With the step it makes less than 0.001 degrees."""

TENTHS_UNKNOWN: Final = 65535


def band_thresholds(edges_deg: Sequence[float]) -> tuple[float, ...]:
    """Square of the gradient above which the shown slope reaches each edge.

    The shown slope is ``ceil(10 s - 1e-6) / 10``: it reaches the edge where s, in its `STEPS` and
    lifted by `MARGIN`, passes the tenth below the edge by 1e-7 degrees.

    Parameters
    ----------
    edges_deg
        Band edges, degrees.

    Returns
    -------
    tuple of float
        ``tan^2``, for each edge.
    """
    tenths = (max(round_up(edge, 0.1) - 0.1 + 0.1 * ROUNDING_SLACK, 0.0) for edge in edges_deg)
    steps = (math.floor(STEPS * tenth) / STEPS for tenth in tenths)
    return tuple(math.tan(math.radians(step / (1.0 + MARGIN))) ** 2 for step in steps)


@dataclass(frozen=True, eq=False)
class _Buffers:
    """Working memory for pieces of one width."""

    step: Cells
    pair: Cells
    along: Cells
    down: Cells
    flag: Cells
    count: Cells


class Kernel:
    """Slope, tenths and bands of blocks; one for each thread, which keeps its buffers.

    Parameters
    ----------
    method
        Slope method.
    edges_deg
        Band edges, degrees.
    """

    def __init__(self, method: Method, edges_deg: Sequence[float]) -> None:
        side = method_weights(method)[0][:, 2]
        # All three sides weigh outer : inner : outer; the common factor goes into the metric.
        self._inner_share = 2 if side[1] == 2 * side[0] else (1 if side[0] else 0)
        self._weight2 = float(side[0] or side[1]) ** 2
        self._thresholds = band_thresholds(edges_deg)
        # Level ground is counted with the gentlest band, which must not be steeper than it.
        self._level2 = min(FLAT_GRADIENT**2, self._thresholds[0])
        self._buffers: dict[tuple[int, np.dtype[Any]], _Buffers] = {}

    def fill(
        self,
        heights: Cells,
        metric: BlockMetric,
        height_unit_m: float,
        out: dict[str, Cells],
        pieces: Pieces | None = None,
        steps: tuple[Cells, Cells] | None = None,
    ) -> None:
        """Fill the rasters of a block.

        Parameters
        ----------
        heights
            ``[row, col]`` float32 or float64 with one ring more than the block, C order; not
            finite is unknown.
        metric
            Of the block.
        height_unit_m
            Metres in one step of the heights.
        out
            Any of ``slope`` (degrees, NaN unknown), ``tenths`` (65535 unknown) and ``bands`` (1
            the gentlest, 0 unknown), of the block's shape, or of its tiles' as
            ``[down, row, right, col]``.
        pieces
            What counts the cells; None where no table is wanted.
        steps
            Height changes per cell to the right and down, of the shape of `heights`, where another
            engine computed them; None computes them here.
        """
        rows, cols = heights.shape[0] - 2, heights.shape[1] - 2
        factor = self._weight2 * height_unit_m**2
        with np.errstate(all="ignore"):
            for first in range(0, rows, PIECE_ROWS):
                count = min(PIECE_ROWS, rows - first)
                z = heights[first : first + count + 2]
                given = None if steps is None else [step[first + 1 : first + 1 + count] for step in steps]
                self._piece(z, first, count, metric, factor, out, cols, pieces, given)

    def _piece(
        self,
        z: Cells,
        first: int,
        count: int,
        metric: BlockMetric,
        factor: float,
        out: dict[str, Cells],
        cols: int,
        pieces: Pieces | None,
        given: list[Cells] | None,
    ) -> None:
        kept = self._kept(z.shape[1], z.dtype)
        along, down = self._differences(z, count, kept) if given is None else self._weighted(given, kept)
        # Not a number wins in both, and infinities are at the ends.
        ends = (float(z.min()), float(z.max()))
        unknown = None if math.isfinite(ends[0]) and math.isfinite(ends[1]) else _beside_unknown(z)
        facing = pieces.of(along, down, z, ends, metric.jacobian(first + count / 2)) if pieces else None
        squared = _squared_gradient(along, down, kept, metric, first, count, factor)
        if unknown is not None:
            np.copyto(squared.reshape(count, -1)[:, :cols], np.nan, where=unknown)
        rows = slice(first, first + count)
        if "bands" in out or facing is not None:
            bands = self._bands(squared, kept, count, cols, unknown)
            if "bands" in out:
                target = _rows(out["bands"], rows)
                np.copyto(target, bands.reshape(count, -1)[:, :cols].reshape(target.shape))
            if facing is not None and pieces is not None:
                sloping = squared >= squared.dtype.type(self._level2)
                pieces.add(facing, bands, sloping, count, cols, metric.area_m2.at(first, count))
        if "slope" in out or "tenths" in out:
            steps = _slope_steps(squared)
            if "tenths" in out:
                target = _rows(out["tenths"], rows)
                tenths = _tenths(steps * steps.dtype.type(10.0 / STEPS))
                np.copyto(target, tenths.reshape(count, -1)[:, :cols].reshape(target.shape))
            if "slope" in out:
                target = _rows(out["slope"], rows)
                np.multiply(steps, steps.dtype.type(1.0 / STEPS), out=steps)
                # A second pass, for arithmetic into rows of tiles takes twice as long as copying.
                slopes = steps.reshape(count, -1)[:, :cols].reshape(target.shape)
                np.copyto(target, slopes, casting="same_kind")

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

    def _weighted(self, given: list[Cells], kept: _Buffers) -> tuple[Cells, Cells]:
        """Another engine's changes per cell, as `_differences` has its own."""
        for step, out in zip(given, (kept.along, kept.down), strict=True):
            # The ring's first column is no cell; its place is at the end of each row here.
            np.divide(step.reshape(-1)[1:], math.sqrt(self._weight2), out=out[: step.size - 1])
        return kept.along[: given[0].size], kept.down[: given[0].size]

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

    def _bands(self, squared: Cells, kept: _Buffers, count: int, cols: int, unknown: Cells | None) -> Cells:
        """Bands of a piece, flat as its gradients are."""
        band, flag = kept.count[: len(squared)], kept.flag[: len(squared)]
        ones = flag.view(np.uint8)
        band.fill(1)
        for threshold in self._thresholds:
            np.greater(squared, squared.dtype.type(threshold), out=flag)
            np.add(band, ones, out=band)
        if unknown is not None:
            # Unknown compares as below every edge; it must not stay in the gentlest band.
            np.copyto(band.reshape(count, -1)[:, :cols], np.uint8(0), where=unknown)
        return band


def _beside_unknown(z: Cells) -> Cells:
    """Cells of which one of the nine heights is not finite."""
    bad = ~np.isfinite(z)
    tall = bad[:-2] | bad[1:-1] | bad[2:]
    out: Cells = tall[:, :-2] | tall[:, 1:-1] | tall[:, 2:]
    return out


def _squared_gradient(
    along: Cells, down: Cells, kept: _Buffers, metric: BlockMetric, first: int, count: int, factor: float
) -> Cells:
    """Form A u^2 + C v^2 + 2 B u v, in the memory of `along`."""

    def scaled(cells: Cells, coefficient: Coefficient) -> None:
        np.multiply(cells, coefficient.flat(first, count, factor, cells.dtype), out=cells)

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


def _rows(out: Cells, rows: slice) -> Cells:
    """Rows of a raster that is kept as ``[row, col]``, or tile by tile as ``[down, row, right, col]``."""
    found: Cells
    if out.ndim == 2:
        found = out[rows]
        return found
    down, first = divmod(rows.start, out.shape[1])
    found = out[down, first : first + rows.stop - rows.start]
    return found


def _slope_steps(squared: Cells) -> Cells:
    """Slope in its steps, rounded up to whole ones, in the memory of the squared gradient."""
    np.sqrt(squared, out=squared)
    np.arctan(squared, out=squared)
    np.multiply(squared, squared.dtype.type(math.degrees(1.0) * STEPS * (1.0 + MARGIN)), out=squared)
    return np.ceil(squared, out=squared)


def _tenths(tenths: Cells) -> Cells:
    """Tenths, rounded up; a whole number of steps is exact in single precision, and so are ten of them."""
    return np.where(np.isnan(tenths), TENTHS_UNKNOWN, np.ceil(tenths)).astype(np.uint16)
