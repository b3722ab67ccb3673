"""The energy line: how flat a line from a source, along the way that snow takes, still arrives.

For a fixed angle a every source cell starts with a head H equal to its height, and

    H(cell) = max over its 16 neighbours of H(neighbour) - tan(a) * step

Snow goes on from a cell while ``H >= height``: over small rises and pits, for a head carries
over them. A place is reached where one of its neighbours brings it a head of at least its own
height. The *path angle* of a place is the largest a at which it is reached: it falls as a
grows, so that a few angles, then ever closer ones, find it. One label of height and length for
each cell cannot give it, for a short steep way would hide a long one that carries further.

Neighbours: the eight around and the eight knight's moves, whose middle has to be passed too
(the mean height of the two cells that it crosses). On an open slope such a way is up to 2.7 %
longer than the straight one, 1/cos(13.3 degrees), and its angle up to 0.8 degree flatter; so
the way that is found is pulled straight where the ground lets it, and the steeper answer is
told. Snow does not spread sideways but by these steps. Unknown ground stops nothing.

*Run-out*: alpha is the angle from the end of the debris up to the top of the release, *beta* that from
the point where the path's profile falls to 10 degrees. Lied and Bakkehoi (1980), J. Glaciol.
26(94), 165-177, doi:10.1017/S0022143000010704, found them related in 111 of 423 avalanches
(correlation 0.95, standard deviation 2.3 degrees); Bakkehoi, Domaas and Lied (1983), Ann.
Glaciol. 4, 24-29, doi:10.3189/S0260305500005188, in 206 (0.92, 2.3 degrees). Both abstracts were
read; the coefficients below, and 10 degrees for beta, are from memory. On 48 short Canadian
paths beta was taken at 24 degrees instead (Jones and Jamieson (2004), Ann. Glaciol. 38).

The relation tells of the largest slides of about a hundred years on tall paths. It predicts
nothing for a slope or a day, and ground beyond it is not out of reach.
"""

from __future__ import annotations

import math
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import ModelError
from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import heights_at, off
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG, OverheadGround
from steybrae.terrain.overhead.sight_pairs import useful_box

Index: TypeAlias = NDArray[np.intp]
"""Whole numbers that point into arrays."""

STEPS: Final = np.array(
    [(i, j) for j in (-1, 0, 1) for i in (-1, 0, 1) if i or j]
    + [(i, j) for j in (-2, -1, 1, 2) for i in (-2, -1, 1, 2) if abs(i) != abs(j)]
)
"""Steps in column and row: eight to the neighbours, then eight knight's moves."""

_BOUND_CELLS: Final = 8
"""Side of the blocks for which the distance to the nearest target is kept."""


@dataclass(frozen=True, eq=False)
class PathBox:
    """Part of a window, with a wall of two cells round it; cells are numbered by row.

    `height` is infinite in the wall, minus infinite where unknown. `block` gives the block of
    each cell; `floor` the least head, per angle and block, from which a target can be reached.
    """

    col: int
    row: int
    wide: int
    height: Array
    source: Index
    target: Index
    inside: NDArray[np.bool_]
    block: NDArray[np.int32]
    floor: Array
    step_m: Array

    @property
    def size(self) -> int:
        """How many cells."""
        return len(self.height)


def path_box(
    ground: OverheadGround, col: Index, row: Index, loss: Array, asked: NDArray[np.bool_]
) -> PathBox:
    """Cut out what can matter: no way that arrives leaves it."""
    heights = ground.dem.heights_m
    some = asked.any(axis=0)
    inside = useful_box(ground, ground.centres(col[some], row[some]), float(loss[0])) if some.any() else None
    # Targets outside are not asked or cannot be reached; any cell stands for them.
    left, right, top, bottom = inside or (0, 0, 0, 0)
    part = heights[top : bottom + 1, left : right + 1]
    walled = np.pad(np.where(np.isnan(part), -np.inf, part), 2, constant_values=np.inf)
    high, wide = walled.shape
    source = np.pad(ground.zones.source[top : bottom + 1, left : right + 1] & ~np.isnan(part), 2)
    target = np.clip(col - left + 2, 2, wide - 3), np.clip(row - top + 2, 2, high - 3)
    at = target[1] * wide + target[0]
    there = (target[0] == col - left + 2) & (target[1] == row - top + 2) & (inside is not None)
    block, floor = _floors(ground, (high, wide), target, asked & there, loss, heights[row, col])
    step_m = np.hypot(*ground.offset_m(STEPS[:, 0], STEPS[:, 1]))
    return PathBox(
        left, top, wide, walled.reshape(-1), np.flatnonzero(source), at, there, block, floor, step_m
    )


def _floors(
    ground: OverheadGround,
    shape: tuple[int, int],
    target: tuple[Index, Index],
    asked: NDArray[np.bool_],
    loss: Array,
    height_m: Array,
) -> tuple[NDArray[np.int32], Array]:
    """Least useful head per angle and block: lowest target asked + loss * distance to the nearest."""
    high, wide = (-(-n // _BOUND_CELLS) for n in shape)
    j, i = np.divmod(np.arange(high * wide), wide)
    half = (_BOUND_CELLS - 1) / 2.0
    east, north = ground.offset_m(
        (i * _BOUND_CELLS + half)[:, None] - target[0], (j * _BOUND_CELLS + half)[:, None] - target[1]
    )
    corner_m = math.hypot(*(half * np.abs(ground.jacobian).sum(axis=1)))
    apart = np.maximum(np.hypot(east, north) - corner_m, 0.0)
    floor = np.full((len(loss), high * wide), np.inf)
    for a, some in enumerate(asked):
        if some.any():
            nearest_m = apart[:, some].min(axis=1)
            least_m = height_m[some].min() + loss[a] * nearest_m
            floor[a] = np.where(nearest_m <= ground.reach_m, least_m, np.inf)
    row_block = np.arange(shape[0]) // _BOUND_CELLS * wide
    block = (row_block[:, None] + np.arange(shape[1]) // _BOUND_CELLS).astype(np.int32)
    return block.reshape(-1), floor


@dataclass(frozen=True, eq=False)
class EnergyLines:
    """Which targets are reached at which angles.

    Attributes
    ----------
    angles_deg
        Shape ``(a,)``, rising.
    reached
        ``(a, targets)``.
    length_m
        Length of the way of the snow with the highest head, ``(a, targets)``, metres; NaN where not reached.
    """

    angles_deg: Array
    reached: NDArray[np.bool_]
    length_m: Array
    _box: PathBox
    _parent: NDArray[np.int32]
    _last: Index

    def way(self, angle: int, target: int) -> tuple[Index, Index]:
        """Columns and rows of the cells from the source to a target that is reached."""
        state = int(self._last[angle, target])
        cells = [self._box.target[target]]
        while state >= 0:
            cells.append(state % self._box.size)
            state = int(self._parent[state])
        flat = np.array(cells[::-1])
        return flat % self._box.wide - 2 + self._box.col, flat // self._box.wide - 2 + self._box.row


def energy_lines(
    ground: OverheadGround,
    col: Index,
    row: Index,
    angles_deg: Array | tuple[float, ...] = PATH_ANGLES_DEG,
    sight_deg: Array | None = None,
) -> EnergyLines:
    """Which cells are reached by snow from the sources, at each of several angles.

    Heads are settled from the highest down: in a band of heads as high as the smallest loss
    of a step no cell can raise another, so that whole bands are settled at once.

    Parameters
    ----------
    ground
        Where; its sources start.
    col, row
        Targets: indexes of cells, shape ``(n,)``, of known height.
    angles_deg
        Rising, above 0.
    sight_deg
        Upper bound of each target's angle, its unfiltered sight angle; targets do not ask at
        angles above it. None asks everywhere.

    Returns
    -------
    EnergyLines
        A source that is a target counts as reached only from another cell.
    """
    angles = np.asarray(angles_deg, dtype=float)
    bound = np.full(len(col), 90.0) if sight_deg is None else np.asarray(sight_deg, dtype=float)
    asked = bound >= angles[:, None] - 1e-9
    loss = np.tan(np.radians(angles))
    box = path_box(ground, col, row, loss, asked)
    head, parent = _settle(box, loss)
    return _arrivals(box, angles, asked, head, parent)


def _settle(box: PathBox, loss: Array) -> tuple[Array, NDArray[np.int32]]:
    """Heads of all cells at all angles, and the state that each came from.

    A state is ``angle * size + cell``. Heads start just below what is worth having, so that
    one comparison asks for the ground, for use to a target and for more than before.
    """
    size = box.size
    worth = np.maximum(box.floor[:, box.block], box.height).reshape(-1)
    head = np.nextafter(worth, -np.inf)
    parent = np.full(len(head), -1, dtype=np.int32)
    seed = (np.arange(len(loss))[:, None] * size + box.source).reshape(-1)
    start = box.height[seed % size]
    useful = start >= worth[seed]
    seed, start = seed[useful], start[useful]
    if len(seed) == 0:
        return head, parent
    head[seed] = start
    top = float(start.max())
    width = loss * box.step_m.min() * (1.0 - 1e-12)
    band = ((top - start) / width[seed // size]).astype(np.int32)
    order = np.argsort(band, kind="stable")
    seed, ends = seed[order], np.cumsum(np.bincount(band))
    waiting: dict[int, list[Index]] = {}
    done = np.zeros(len(head), dtype=bool)
    mark = np.empty(len(head), dtype=np.int32)
    now = -1
    while now + 1 < len(ends) or waiting:
        now += 1
        begin = ends[now - 1] if 0 < now <= len(ends) else 0
        fresh = seed[begin : ends[now]] if now < len(ends) else seed[:0]
        state = np.concatenate([fresh, *waiting.pop(now, [])])
        state = state[~done[state]]
        if len(state) == 0:
            continue
        # Each state once, whichever of its copies wrote last.
        mark[state] = np.arange(len(state), dtype=np.int32)
        state = state[mark[state] == np.arange(len(state))]
        done[state] = True
        raised = _spread(box, loss, head, parent, state)
        later = np.maximum(((top - head[raised]) / width[raised // size]).astype(np.int32), now + 1)
        for further in np.flatnonzero(np.bincount(later - now)).tolist():
            waiting.setdefault(now + further, []).append(raised[later == now + further])
    return head, parent


def _spread(box: PathBox, loss: Array, head: Array, parent: NDArray[np.int32], state: Index) -> Index:
    """Bring the heads of settled states to their neighbours; the states that were raised."""
    offset = STEPS[:, 1] * box.wide + STEPS[:, 0]
    angle = state // box.size
    to = state[:, None] + offset
    brought = head[state][:, None] - loss[angle][:, None] * box.step_m
    one, step = np.nonzero(brought > head[to])
    to, brought = to[one, step], brought[one, step]
    knight = step >= 8
    passes = np.ones(len(to), dtype=bool)
    passes[knight] = _middle_passed(box, loss, head, state[one[knight]], step[knight])
    to, brought, one = to[passes], brought[passes], one[passes]
    np.maximum.at(head, to, brought)
    won = head[to] == brought
    parent[to[won]] = state[one[won]]
    raised: Index = to[won]
    return raised


def _middle_passed(box: PathBox, loss: Array, head: Array, state: Index, step: Index) -> NDArray[np.bool_]:
    """Whether the middle of knight's moves lies below the head there."""
    i, j = STEPS[step, 0], STEPS[step, 1]
    cell = state % box.size
    # Of the longer leg one cell, of the shorter none or one: the two cells that are crossed.
    near = cell + (j // 2) * box.wide * (abs(j) == 2) + (i // 2) * (abs(i) == 2)
    far = near + np.where(abs(i) == 2, j * box.wide, i)
    ground = (box.height[near] + box.height[far]) / 2.0
    passed: NDArray[np.bool_] = head[state] - loss[state // box.size] * box.step_m[step] / 2.0 >= ground
    return passed


def _arrivals(
    box: PathBox, angles: Array, asked: NDArray[np.bool_], head: Array, parent: NDArray[np.int32]
) -> EnergyLines:
    """Take what the neighbours of the targets bring them."""
    loss = np.tan(np.radians(angles))
    offset = STEPS[:, 1] * box.wide + STEPS[:, 0]
    shape = (len(angles), len(box.target), len(STEPS))
    cell = box.target[:, None] - offset
    state = np.arange(len(angles))[:, None, None] * box.size + cell
    # A head that nothing brought is the mark just below what is worth having.
    angle = np.arange(len(angles))[:, None, None]
    real = head[state] >= np.maximum(box.floor[angle, box.block[cell]], box.height[cell])
    brought = np.where(real, head[state] - loss[:, None, None] * box.step_m, -np.inf)
    step = np.broadcast_to(np.arange(len(STEPS)), shape)
    knight = real & (step >= 8)
    brought[knight] = np.where(
        _middle_passed(box, loss, head, state[knight], step[knight]), brought[knight], -np.inf
    )
    best = np.argmax(brought, axis=2)
    top = np.take_along_axis(brought, best[..., None], axis=2)[..., 0]
    reached = (top >= box.height[box.target]) & asked & box.inside
    last = np.where(reached, np.take_along_axis(state, best[..., None], axis=2)[..., 0], -1)
    source = last.copy()
    while True:
        before = np.where(source >= 0, parent[source], -1)
        if (before < 0).all():
            break
        source = np.where(before >= 0, before, source)
    flat = np.where(reached, source % box.size, 0)
    length = np.where(reached, (box.height[flat] - top) / loss[:, None], np.nan)
    return EnergyLines(angles, reached, length, box, parent, last)


@dataclass(frozen=True, eq=False)
class Way:
    """A way from a source, the first of its corners in the window, to a place, pulled straight.

    `length_m` is on the map; `deg` the largest angle at which snow gets along it.
    """

    col: Array
    row: Array
    length_m: float
    deg: float


def pulled(ground: OverheadGround, col: Index, row: Index, angle_deg: float) -> Way:
    """Pull a way of cells, the source first, straight wherever the energy line passes over the ground.

    Never longer than the way of the cells. Its angle is the least of ``atan(fall / length)`` over
    all that it passes, the ground taken bilinear; `angle_deg` is at which it arrived.
    """
    x, y = col.astype(np.float64) + 0.5, row.astype(np.float64) + 0.5
    heights = ground.dem.heights_m
    top, loss = float(heights[row[0], col[0]]), math.tan(math.radians(angle_deg))
    corner, length, tangent = [0], 0.0, math.inf
    while corner[-1] < len(x) - 1:
        at = corner[-1]
        to = np.arange(at + 1, len(x))
        span_c, span_r = x[to] - x[at], y[to] - y[at]
        apart = np.hypot(*ground.offset_m(span_c, span_r))
        samples = int(max(np.abs(span_c).max(), np.abs(span_r).max(), 1.0))
        share = np.arange(1, samples + 1) / samples
        here = heights_at(heights, x[at] + off(span_c[:, None] * share), y[at] + off(span_r[:, None] * share))
        run = length + apart[:, None] * share
        blocked = (top - loss * run < here - 1e-9).any(axis=1)
        free = np.flatnonzero(~blocked)
        pick = int(free[-1]) if len(free) else 0
        corner.append(int(to[pick]))
        falls = (top - here[pick]) / run[pick]
        tangent = min(tangent, float(np.nanmin(falls, initial=math.inf)))
        length += float(apart[pick])
    # A step between two cells that the bilinear ground would stop was allowed by the cells.
    deg = max(math.degrees(math.atan(tangent)), angle_deg)
    return Way(x[corner], y[corner], length, deg)


def straight_deg(ground: OverheadGround, col: Array, row: Array, top_m: float) -> float:
    """Largest angle at which snow gets along a straight way, the source's end first, from its height.

    The least of ``atan(fall / length)`` over all that it passes, at steps of one cell at most;
    below 0 where ground stands above the source.
    """
    span_c, span_r = float(col[1] - col[0]), float(row[1] - row[0])
    samples = math.ceil(max(abs(span_c), abs(span_r), 1.0))
    share = np.arange(1, samples + 1) / samples
    here = heights_at(ground.dem.heights_m, col[0] + off(span_c * share), row[0] + off(span_r * share))
    run = np.hypot(*ground.offset_m(np.asarray(span_c), np.asarray(span_r))) * share
    return math.degrees(math.atan(float(np.nanmin((top_m - here) / run, initial=math.inf))))


ALPHA_SLOPE: Final = 0.96
"""Factor of beta (from memory)."""

ALPHA_OFFSET_DEG: Final = -1.4
"""Degrees added (from memory)."""

ALPHA_SD_DEG: Final = 2.3
"""Standard deviation of alpha about the relation, degrees (Bakkehoi, Domaas and Lied 1983)."""

BETA_SLOPE_DEG: Final = 10.0
"""Slope of the profile at the beta point, degrees (from memory)."""


def alpha_deg(beta_deg: float, standard_deviations: float = 0.0) -> float:
    """Run-out angle by the published relation, degrees: ``0.96 beta - 1.4 - n * 2.3``.

    Beta is the angle from the beta point up to the top of the release, above 0 and below 90, or a
    `ModelError`; n how many standard deviations farther out than the mean. For teaching; not a
    prediction.
    """
    if not 0.0 < beta_deg < 90.0:
        message = (
            f"The angle beta should lie between 0 and 90 degrees; got {beta_deg:g}. Measure it from "
            "where the path flattens to 10 degrees up to the top of the release."
        )
        raise ModelError(message)
    return ALPHA_SLOPE * beta_deg + ALPHA_OFFSET_DEG - standard_deviations * ALPHA_SD_DEG


def reach_m(fall_m: float, angle_deg: float) -> float:
    """Horizontal distance at which a fall is seen under an angle, metres: ``fall / tan(angle)``.

    `ModelError` for a negative fall, or an angle not above 0 and below 90.
    """
    if not (fall_m >= 0.0 and 0.0 < angle_deg < 90.0):
        message = (
            f"A fall should be 0 m or more and its angle between 0 and 90 degrees; got {fall_m:g} m and "
            f"{angle_deg:g} degrees. Give the height difference as a positive number."
        )
        raise ModelError(message)
    return fall_m / math.tan(math.radians(angle_deg))


def beta_point(distance_m: Array, height_m: Array, slope_deg: float = BETA_SLOPE_DEG) -> int | None:
    """First point of a profile from which the path goes on flatter than the beta slope; its index.

    The profile runs from the top of the release downwards, its distances on the map. Flat ground
    above the first steeper piece does not count. None where it never gets steeper, or never flatter
    again.
    """
    fall_deg = np.degrees(np.arctan2(-np.diff(height_m), np.diff(distance_m)))
    steeper = fall_deg > slope_deg
    if not steeper.any():
        return None
    first = int(np.argmax(steeper))
    flatter = np.flatnonzero(fall_deg[first:] <= slope_deg)
    return None if len(flatter) == 0 else first + int(flatter[0])
