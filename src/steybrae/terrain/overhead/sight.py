"""Which sources overhead of a place snow could come from, most sights decided by bounds of the ground.

A pair of place and source counts where the straight line between them runs above the ground,
or where the source cell's own way down the steepest neighbour passes near the place. Unknown
ground hides nothing.

A line that runs below the lowest corner of a cell it crosses is hidden there, one above the highest
ground near it is not: only what lies between has to be read between the cells. Both bounds are wider
than any rounding, so that no answer is another.
"""

from __future__ import annotations

import dataclasses
import math
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import heights_at, off, spread
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG, NEIGHBOURS, OverheadGround, Points
from steybrae.terrain.overhead.sight_pairs import Pairs, pairs_between, portions

SIGHT_MARGIN_M: Final = 2.0
"""How far the ground may rise above a sight line that still counts, metres: the eye of a person
who stands there, and what a model's cells leave uncertain (our choice)."""

FLOW_NEAR_M: Final = 50.0
"""How near to the place the way down from a source has to pass, metres: the width of a typical
slab (median 50 m; Schweizer and Luetschg (2001), Cold Reg. Sci. Technol. 33, 147-162; abstract)."""

MOST_PAIRS: Final = 100_000
"""Pairs of place and source that are tested at most; the next one then counts untested, so that
the answer is never too gentle (our choice)."""

_MOST_AT_ONCE: Final = 8192
_MOST_TRACED: Final = 1000
_FEW_SAMPLES: Final = 4
_ROUGH_SAMPLES: Final = 16
_NO_LINES: Final = np.empty(0, dtype=np.intp)
_FLAT_TO_STEEP_DEG: Final = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 90.0)


def first_open(ground: OverheadGround, points: Points, steepest: float) -> Pairs:
    """Steepest pair from which snow could come, or none.

    Pairs are taken down from the steepest, of a known tangent, until one is in sight or has its way
    down past the place. After `MOST_PAIRS` tests the next pair counts as it is.
    """
    top_deg, search = math.degrees(math.atan(steepest)), _Search(ground, points)
    below, tested = math.inf, 0
    for drop_deg in _FLAT_TO_STEEP_DEG:
        least = math.tan(math.radians(max(LEAST_SIGHT_DEG, top_deg - drop_deg)))
        pairs = pairs_between(ground, points, least, below, MOST_PAIRS - tested + 1)
        done, size = 0, 32
        while done < len(pairs.point):
            if tested >= MOST_PAIRS:
                return pairs.pick(slice(done, done + 1))
            size = min(size, MOST_PAIRS - tested)
            some = pairs.pick(slice(done, done + size))
            hit = np.flatnonzero(search.opens(some))
            if len(hit):
                return some.pick(hit[:1])
            done, tested, size = done + size, tested + size, min(size * 4, _MOST_AT_ONCE)
        below = least
        if top_deg - drop_deg <= LEAST_SIGHT_DEG:
            break
    return pairs.pick(slice(0))


@dataclasses.dataclass(eq=False)
class _Search:
    """A search for the first open pair; it counts the ways down that it has traced."""

    ground: OverheadGround
    points: Points
    traced: int = 0

    def opens(self, pairs: Pairs) -> NDArray[np.bool_]:
        """Whether snow could come, up to the first pair that is in sight; False beyond it."""
        seen = in_sight(self.ground, self.points, pairs)
        hidden = np.flatnonzero(~seen)
        if seen.any():
            hidden = hidden[hidden < np.argmax(seen)]
        if self.traced > _MOST_TRACED:
            hidden = hidden[self._passes_some[pairs.cell[hidden]]]
        self.traced += len(hidden)
        seen[hidden] = _flows_past(self.ground, self.points, pairs.pick(hidden))
        return seen

    @cached_property
    def _passes_some(self) -> NDArray[np.bool_]:
        """For each source whether its way down comes near any of the places: rules most out."""
        ground, sources = self.ground, self.ground.sources
        _, cols = ground.dem.grid.shape
        near = _near_some(ground, self.points).reshape(-1)
        down = ground.down
        # Each round looks twice as far down as the one before.
        for _ in range(math.ceil(math.log2(_most_steps(ground)))):
            near = near | near[down]
            down = down[down]
        found: NDArray[np.bool_] = near[sources.row * cols + sources.col]
        return found


def _near_some(ground: OverheadGround, points: Points) -> NDArray[np.bool_]:
    """Cells that may lie within `FLOW_NEAR_M` of any of the places, and some around."""
    near = np.zeros(ground.dem.grid.shape, dtype=bool)
    reach = math.ceil(FLOW_NEAR_M / ground.stretch_m[0]) + 1
    for col, row in zip(points.col.astype(int).tolist(), points.row.astype(int).tolist(), strict=True):
        near[max(row - reach, 0) : row + reach + 1, max(col - reach, 0) : col + reach + 1] = True
    return near


def _most_steps(ground: OverheadGround) -> int:
    return math.ceil(2.0 * ground.reach_m / min(ground.cell_m))


def in_sight(
    ground: OverheadGround, points: Points, pairs: Pairs, bounds: HeightBounds | None = None
) -> NDArray[np.bool_]:
    """Whether the straight line of a pair runs above the ground all the way.

    The line is compared with the bilinear ground at steps of one cell at most, in the middle
    of each step; ground up to `SIGHT_MARGIN_M` above it, and unknown ground, hides nothing.

    Parameters
    ----------
    ground, points, pairs
        See `first_open`.
    bounds
        Of that ground; where many pairs are asked for they spare most of the heights, and change nothing.

    Returns
    -------
    array of bool
        One for each pair.
    """
    lines = _Lines.of(ground, points, pairs)
    seen = np.ones(len(lines.steps), dtype=bool)
    if bounds is None:
        line, step = spread(np.zeros(len(seen), dtype=np.intp), lines.steps)
    else:
        line, step = _judged(lines, bounds, seen)
    for part in portions(len(line), _MOST_AT_ONCE):
        seen[line[part][lines.hidden(line[part], step[part])]] = False
    return seen


def _judged(
    lines: _Lines, bounds: HeightBounds, seen: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Clear `seen` of the lines that bounds of the ground hide; lines and steps that these leave open."""
    # A few of the steps first: most hidden lines are hidden widely.
    for samples in (_FEW_SAMPLES, _ROUGH_SAMPLES):
        left = np.flatnonzero(seen)
        steps = lines.steps[left, None]
        step = np.floor(np.minimum(np.arange(samples) * np.maximum(steps / samples, 1.0), steps - 1))
        *place, line_m = lines.at(left[:, None], step)
        seen[left] = ~bounds.hides(bounds.cells(*place), line_m).any(axis=1)
    left = np.flatnonzero(seen)
    line, run = spread(np.zeros(len(left), dtype=np.intp), -(-lines.steps[left] // RUN_STEPS))
    line = left[line]
    doubtful = bounds.near(*lines.of_runs(line, run))
    line, run = line[doubtful], run[doubtful]
    open_lines, open_steps = [_NO_LINES], [_NO_LINES]
    for part in portions(len(line), _MOST_AT_ONCE):
        of = line[part, None]
        step = np.minimum(RUN_STEPS * run[part, None] + np.arange(RUN_STEPS), lines.steps[of] - 1)
        *place, line_m = lines.at(of, step)
        cell = bounds.cells(*place)
        seen[line[part][bounds.hides(cell, line_m).any(axis=1)]] = False
        may_hide = bounds.may_hide(cell, line_m) & seen[of]
        open_steps.append(step[may_hide])
        open_lines.append(np.broadcast_to(of, step.shape)[may_hide])
    line, step = np.concatenate(open_lines), np.concatenate(open_steps)
    return line[seen[line]], step[seen[line]]


@dataclass(frozen=True, eq=False)
class _Lines:
    """Straight lines up from places to sources, in steps of one cell at most, over ground that may hide them.

    Where each begins; how far its end is off; of how many steps it is.
    """

    ground: OverheadGround
    col: Array
    row: Array
    height_m: Array
    across: Array
    down: Array
    rise_m: Array
    steps: NDArray[np.intp]

    @staticmethod
    def of(ground: OverheadGround, points: Points, pairs: Pairs) -> _Lines:
        """Lines of pairs."""
        here, sources, cell = points.pick(pairs.point), ground.sources, pairs.cell
        across = sources.col[cell] + 0.5 - here.col
        down = sources.row[cell] + 0.5 - here.row
        steps = np.ceil(np.maximum(np.maximum(np.abs(across), np.abs(down)), 1.0)).astype(np.intp)
        rise_m = sources.heights_m(cell) - here.height_m
        return _Lines(ground, here.col, here.row, here.height_m, across, down, rise_m, steps)

    def at(self, line: NDArray[np.intp], step: Array | NDArray[np.intp]) -> tuple[Array, Array, Array]:
        """Columns and rows of lines in the middle of steps, and the height above which ground hides them."""
        share = (step + 0.5) / self.steps[line]
        col, row, height_m = (whole[line] * share for whole in (self.across, self.down, self.rise_m))
        col += self.col[line]
        row += self.row[line]
        height_m += self.height_m[line] + SIGHT_MARGIN_M
        return col, row, height_m

    def of_runs(self, line: NDArray[np.intp], run: NDArray[np.intp]) -> tuple[Array, Array, Array]:
        """As `at`, in the middle of runs of `RUN_STEPS` steps; of the heights the least of each run."""
        first, middle, last = (RUN_STEPS * (run + share) / self.steps[line] for share in (0.0, 0.5, 1.0))
        rise_m = self.rise_m[line]
        return (
            self.col[line] + self.across[line] * middle,
            self.row[line] + self.down[line] * middle,
            self.height_m[line] + np.minimum(rise_m * first, rise_m * last) + SIGHT_MARGIN_M,
        )

    def hidden(self, line: NDArray[np.intp], step: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether the ground itself hides lines at steps."""
        share = (step + 0.5) / self.steps[line]
        here = heights_at(
            self.ground.dem.heights_m,
            self.col[line] + off(self.across[line] * share),
            self.row[line] + off(self.down[line] * share),
        )
        line_m = self.height_m[line] + self.rise_m[line] * share
        return np.asarray(here > line_m + SIGHT_MARGIN_M)


def _flows_past(ground: OverheadGround, points: Points, pairs: Pairs) -> NDArray[np.bool_]:
    """Whether the steepest way down from the cell passes within `FLOW_NEAR_M` of the place.

    The way goes from cell to the neighbour of the eight with the steepest fall and ends in a
    pit, where it leaves the reach of the place, or after twice the reach.
    """
    near = np.zeros(len(pairs.point), dtype=bool)
    on = np.arange(len(pairs.point))
    col, row = (axis[pairs.cell].astype(np.intp) for axis in (ground.sources.col, ground.sources.row))
    for _ in range(_most_steps(ground)):
        at = pairs.point[on]
        apart = np.hypot(*ground.offset_m(col + 0.5 - points.col[at], row + 0.5 - points.row[at]))
        near[on[apart <= FLOW_NEAR_M]] = True
        col_next, row_next = _down(ground, col, row)
        moving = (apart > FLOW_NEAR_M) & (apart <= ground.reach_m) & ((col_next != col) | (row_next != row))
        on, col, row = on[moving], col_next[moving], row_next[moving]
        if len(on) == 0:
            break
    return near


def _down(
    ground: OverheadGround, col: NDArray[np.intp], row: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Neighbour with the steepest fall, the cell itself where there is none."""
    rows, cols = ground.dem.grid.shape
    steps = NEIGHBOURS
    length = np.hypot(*ground.offset_m(steps[:, 0], steps[:, 1]))
    i, j = col[:, None] + steps[:, 0], row[:, None] + steps[:, 1]
    inside = (i >= 0) & (i < cols) & (j >= 0) & (j < rows)
    there = ground.dem.heights_m[np.clip(j, 0, rows - 1), np.clip(i, 0, cols - 1)]
    fall = np.where(inside, (ground.dem.heights_m[row, col][:, None] - there) / length, -np.inf)
    fall = np.nan_to_num(fall, nan=-np.inf, neginf=-np.inf)
    best = np.argmax(fall, axis=1)
    goes = fall[np.arange(len(col)), best] > 0.0
    return np.where(goes, col + steps[best, 0], col), np.where(goes, row + steps[best, 1], row)


RUN_STEPS: Final = 8
"""Steps of a line, of one cell at most each, whose ground is bounded at once (our choice)."""

ROOM_M: Final = 0.01
"""What bounds leave for rounding, metres: heights of single precision and places to 2^-32 of a cell."""

_NEAR: Final = RUN_STEPS // 2 + 1
"""How far from the cell in the middle of a run its ground is read, cells: its outermost samples are half a
step nearer, one corner further."""


@dataclass(frozen=True, eq=False)
class HeightBounds:
    """Bounds of the ground near cells, in single precision.

    Attributes
    ----------
    floor_m, top_m
        Lowest and highest of the four heights that ground is read from, by ``floor(col + 0.5)`` and
        ``floor(row + 0.5)``, shape ``(rows + 1, cols + 1)``. The lowest is minus infinity at the edge and
        beside unknown ground, which hides nothing.
    ceiling_m
        Highest known ground that a run of `RUN_STEPS` steps round a cell is read from, ``(rows, cols)``;
        minus infinity where all of it is unknown.
    """

    floor_m: NDArray[np.float32]
    top_m: NDArray[np.float32]
    ceiling_m: NDArray[np.float32]

    @staticmethod
    def of(heights_m: Array) -> HeightBounds:
        """Bounds of a window of heights, ``[row, col]``, NaN unknown."""
        rows, cols = heights_m.shape
        unknown = np.isnan(heights_m)
        heights = np.where(unknown, -np.inf, heights_m).astype(np.float32)
        floor = np.full((rows + 1, cols + 1), -np.inf, dtype=np.float32)
        floor[1:-1, 1:-1] = _of_windows(heights, 2, np.minimum)
        if unknown.any():
            # A place on the edge of a cell may be read from the cell beside it.
            beside = np.pad(floor, 1, constant_values=np.inf)
            floor[np.isneginf(_of_windows(beside, 3, np.minimum))] = -np.inf
        walled = np.pad(heights, _NEAR, constant_values=-np.inf)
        inner = walled[_NEAR - 1 : rows + _NEAR + 1, _NEAR - 1 : cols + _NEAR + 1]
        top = _of_windows(inner, 2, np.maximum)
        return HeightBounds(floor, top, _of_windows(walled, 2 * _NEAR + 1, np.maximum))

    def cells(self, col: Array, row: Array) -> NDArray[np.intp]:
        """Cells, of four heights each, that places lie in."""
        cell: NDArray[np.intp] = (row + 0.5).astype(np.intp)
        cell *= self.floor_m.shape[1]
        cell += (col + 0.5).astype(np.intp)
        return cell

    def hides(self, cell: NDArray[np.intp], line_m: Array) -> NDArray[np.bool_]:
        """Whether the ground in cells surely lies above a height there."""
        return np.asarray(self.floor_m.take(cell, mode="clip") > line_m + ROOM_M)

    def may_hide(self, cell: NDArray[np.intp], line_m: Array) -> NDArray[np.bool_]:
        """Whether it may."""
        return np.asarray(self.top_m.take(cell, mode="clip") > line_m - ROOM_M)

    def near(self, col: Array, row: Array, line_m: Array) -> NDArray[np.bool_]:
        """Whether ground of runs round places may lie above a height."""
        rows, cols = self.ceiling_m.shape
        i, j = (np.clip(at, 0, size - 1).astype(np.intp) for at, size in ((col, cols), (row, rows)))
        may: NDArray[np.bool_] = self.ceiling_m[j, i] > line_m - ROOM_M
        return may


def _of_windows(numbers: NDArray[np.float32], size: int, least_or_most: np.ufunc) -> NDArray[np.float32]:
    """Least or most of each square window of so many cells that lies within."""
    for _ in range(2):
        wide = 1
        while wide < size:
            step = min(wide, size - wide)
            numbers, wide = least_or_most(numbers[:-step], numbers[step:]), wide + step
        numbers = numbers.T
    return np.ascontiguousarray(numbers)
