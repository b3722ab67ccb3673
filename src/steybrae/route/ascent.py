"""Ascent and descent along a line, without counting noise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate, pairwise
from typing import Final

import numpy as np

from steybrae.frozen import dataclass
from steybrae.route.touching import cut_at_edges
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import heights_at

LEAST_REVERSAL_M: Final = 5.0
"""Smaller reversals of height do not count as ups and downs, metres (our choice: half the common
10 m contour interval)."""


@dataclass(frozen=True)
class Ascent:
    """Heights gained and lost.

    Attributes
    ----------
    up_m, down_m
        Sums, metres, both 0 or more. ``up - down`` is the height difference of the known ends,
        exactly.
    at_least
        Whether unknown ground on the line may hide more.
    """

    up_m: float
    down_m: float
    at_least: bool


def reversal_m(vertical_sd_m: float | None) -> float:
    """Smallest reversal that counts, metres: ``max(5 m, 2 sigma_z)``; 5 m where no error is stated."""
    return max(LEAST_REVERSAL_M, 2.0 * (vertical_sd_m or 0.0))


def surface_heights(heights_m: Array, col: Array, row: Array, chainage_m: Array) -> Array:
    """Heights of a line wherever the model's bilinear surface may turn under it, in walking order.

    Between four centres of cells the surface is ``a + b x + c y + d x y``, along a straight line a
    parabola: its ends and, where it lies between them, its vertex hold every top and dip. Metres,
    NaN where one of the four heights is unknown; `col` and `row` are the vertices of the line in
    cells, `chainage_m` rises.
    """
    # The centres of cells lie at halves: the meshes between them are cut where edges are whole.
    cuts = cut_at_edges(col - 0.5, row - 0.5, chainage_m)
    middle = (cuts[:-1] + cuts[1:]) / 2.0
    at, half = (
        heights_at(heights_m, np.interp(where, chainage_m, col), np.interp(where, chainage_m, row))
        for where in (cuts, middle)
    )
    first, last = at[:-1], at[1:]
    bend = 2.0 * (first + last - 2.0 * half)
    rise = last - first - bend
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip(-rise / (2.0 * bend), 0.0, 1.0)
        vertex = np.where(bend == 0.0, first, first + (rise + bend * share) * share)
    # A mesh of unknown height is unknown, though its ends are those of known ones.
    vertex[np.isnan(half)] = np.nan
    return np.append(np.stack((first, vertex), axis=1).reshape(-1), at[-1:])


def ascent(elevation_m: Array, least_m: float = LEAST_REVERSAL_M) -> Ascent:
    """Sum the ups and downs between the turning heights of a profile.

    A turning height is one from which the profile afterwards moves back by `least_m` or
    more; the first and last known heights are kept as they are. Unknown heights are passed
    over: the ground between the known ones is taken as even, and the answer is "at least".

    Parameters
    ----------
    elevation_m
        Heights in walking order, metres, shape ``(n,)``; NaN is unknown.
    least_m
        Smallest reversal that counts, metres.

    Returns
    -------
    Ascent
        Zeros where fewer than two heights are known.
    """
    (turns,) = leg_turns((elevation_m,), least_m)
    return climbed(turns, at_least=not np.isfinite(elevation_m).all())


def climbed(turns_m: Array, *, at_least: bool) -> Ascent:
    """Sum the steps up and down between turning heights."""
    steps = np.diff(turns_m)
    return Ascent(float(steps[steps > 0].sum()), float(-steps[steps < 0].sum()), at_least)


def leg_turns(profiles_m: Sequence[Array], least_m: float) -> tuple[Array, ...]:
    """Pick the turning heights of a line leg by leg, each with its first and last known height.

    They are those of the whole line: what goes down by 3 m to the end of a leg and on in the next is a
    descent, though neither leg has it alone. So the legs' sums are never below those of the line,
    wherever it is cut.

    Parameters
    ----------
    profiles_m
        Heights of each leg in walking order, metres; NaN is unknown.
    least_m
        Smallest reversal that counts, metres.
    """
    known = [profile[np.isfinite(profile)] for profile in profiles_m]
    turns = np.array(turning_points(np.concatenate(known), least_m), int)
    ends = accumulate(map(len, known), initial=0)
    inside = (turns[(turns >= start) & (turns < end)] - start for start, end in pairwise(ends))
    return tuple(np.concatenate((own[:1], own[at], own[-1:])) for own, at in zip(known, inside, strict=True))


def turning_points(heights: Array, least_m: float = LEAST_REVERSAL_M, *, ends: bool = False) -> list[int]:
    """Where a profile of known heights has its turning heights: their numbers, in order.

    With `ends` also where it may turn with what comes before and after: where it is lowest or highest
    before the first and after the last of them.
    """
    turns: list[int] = []
    known = heights.tolist()
    low = high = at = going = 0  # 1 up, -1 down, 0 while nothing that counts has happened
    for k, height in enumerate(known):
        if going == 0:
            low = k if height < known[low] else low
            high = k if height > known[high] else high
            if height - known[low] >= least_m:
                begins, at, going = low, k, 1
            elif known[high] - height >= least_m:
                begins, at, going = high, k, -1
        elif (height - known[at]) * going >= 0.0:
            at = k
        elif (known[at] - height) * going >= least_m:
            turns.append(at)
            at, going = k, -going
    if not ends:
        return turns
    return [begins, *turns, at] if going else sorted((low, high))


def contours_climbed_m(turns_m: Array, interval_m: float) -> float:
    """Ascent as counted on the map: contour lines crossed upwards times the interval, metres.

    Between turning heights (`leg_turns`), so that wiggles across one line are not counted twice.
    """
    lines = 0
    for start, end in pairwise(turns_m):
        if end > start:
            # A line at the start is stood on, not crossed.
            lines += math.floor(end / interval_m) - math.floor(start / interval_m)
    return lines * interval_m
