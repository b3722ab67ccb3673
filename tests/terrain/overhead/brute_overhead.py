"""The same definitions as the package, written again and plainly: loops, every source by itself."""

from __future__ import annotations

import heapq
import math

import numpy as np

EIGHT = [(i, j) for j in (-1, 0, 1) for i in (-1, 0, 1) if i or j]
KNIGHT = [(i, j) for j in (-2, -1, 1, 2) for i in (-2, -1, 1, 2) if abs(i) != abs(j)]


def neighbours(z, cell_m, row, col):
    """Cells one step away with the length of the step and what has to be passed in its middle."""
    rows, cols = z.shape
    for i, j in EIGHT + KNIGHT:
        r, c = row + j, col + i
        if not (0 <= r < rows and 0 <= c < cols):
            continue
        middle = -math.inf
        if abs(i) + abs(j) == 3:
            crossed = [(row, col + i // 2), (row + j, col + i // 2)] if abs(i) == 2 else None
            crossed = crossed or [(row + j // 2, col), (row + j // 2, col + i)]
            heights = [z[at] for at in crossed]
            middle = -math.inf if any(map(math.isnan, heights)) else sum(heights) / 2.0
        yield r, c, cell_m * math.hypot(i, j), middle


def steps_table(z, cell_m):
    return {(r, c): list(neighbours(z, cell_m, r, c)) for r in range(z.shape[0]) for c in range(z.shape[1])}


def heads_from(z, table, source, angle_deg):
    """Highest head with which the snow of one source gets to each cell; NaN where it does not."""
    loss = math.tan(math.radians(angle_deg))
    head = np.full(z.shape, np.nan)
    arrived = np.full(z.shape, np.nan)
    queue = [(-z[source], source)]
    while queue:
        minus, at = heapq.heappop(queue)
        if not math.isnan(head[at]):
            continue
        head[at] = -minus
        for r, c, step_m, middle in table[at]:
            if -minus - loss * step_m / 2.0 < middle:
                continue
            there = -minus - loss * step_m
            if math.isnan(z[r, c]) or there >= z[r, c]:
                arrived[r, c] = np.fmax(arrived[r, c], there)
                if math.isnan(head[r, c]):
                    heapq.heappush(queue, (-there, (r, c)))
    return arrived


def path_angles(z, cell_m, source, targets, angles_deg):
    """Largest of the angles at which each target is reached from another cell; NaN for none.

    Every source is run by itself. Only sources that could carry as far as a target are tried:
    those whose straight sight angle from it is not below the angle.
    """
    table = steps_table(z, cell_m)
    out = np.full(len(targets), np.nan)
    cells = list(zip(*np.nonzero(source & ~np.isnan(z)), strict=True))
    for angle in angles_deg:
        loss = math.tan(math.radians(angle))
        for s in cells:
            useful = [
                k
                for k, (r, c) in enumerate(targets)
                if not out[k] >= angle
                and z[s] - z[r, c] >= loss * cell_m * math.hypot(s[0] - r, s[1] - c) > 0
            ]
            if not useful:
                continue
            arrived = heads_from(z, table, s, angle)
            for k in useful:
                if arrived[targets[k]] >= z[targets[k]]:
                    out[k] = angle
    return out


def heads_from_all(z, cell_m, source, angle_deg):
    """As `heads_from`, from all sources at once: each cell from all 16, until none rises."""
    loss = math.tan(math.radians(angle_deg))
    rows, cols = z.shape

    def at(cells, i, j):
        return cells[2 + j : 2 + j + rows, 2 + i : 2 + i + cols]

    least = np.where(np.isnan(z), -np.inf, z)
    ring = np.pad(z, 2, constant_values=np.nan)
    head = np.pad(np.where(source, least, -np.inf), 2, constant_values=-np.inf)
    own, steps = at(head, 0, 0), []
    for i, j in EIGHT + KNIGHT:
        middle = np.full(z.shape, -np.inf)
        if abs(i) + abs(j) == 3:
            near = (i // 2, 0) if abs(i) == 2 else (0, j // 2)
            middle = (at(ring, *near) + at(ring, i - near[0], j - near[1])) / 2.0
            middle[np.isnan(middle)] = -np.inf
        steps.append((at(head, i, j), loss * cell_m * math.hypot(i, j), middle))
    while True:
        arrived = np.full(z.shape, -np.inf)
        for before, lost_m, middle in steps:
            there = before - lost_m
            passes = (there >= least) & (before - lost_m / 2.0 >= middle)
            np.maximum(arrived, there, out=arrived, where=passes)
        if not (arrived > own).any():
            return arrived
        np.maximum(own, arrived, out=own)


def sight(z, cell_m, source, place, reach_m):
    """Steepest sight to any source: degrees and the cell."""
    col, row, height = place
    best, cell = -math.inf, None
    for r, c in zip(*np.nonzero(source & ~np.isnan(z)), strict=True):
        d = cell_m * math.hypot(c + 0.5 - col, r + 0.5 - row)
        if cell_m / 2.0 <= d <= reach_m:
            deg = math.degrees(math.atan2(z[r, c] - height, d))
            if deg > best:
                best, cell = deg, (r, c)
    return best, cell


def bilinear(z, col, row):
    x, y = col - 0.5, row - 0.5
    if not (0 <= x <= z.shape[1] - 1 and 0 <= y <= z.shape[0] - 1):
        return math.nan
    i, j = min(int(x), z.shape[1] - 2), min(int(y), z.shape[0] - 2)
    fx, fy = x - i, y - j
    top = z[j, i] * (1 - fx) + z[j, i + 1] * fx
    return top * (1 - fy) + (z[j + 1, i] * (1 - fx) + z[j + 1, i + 1] * fx) * fy


def line_clear(z, place, cell, margin_m, samples):
    """Whether no sample of the ground stands above the line by more than a margin."""
    col, row, height = place
    r, c = cell
    for k in range(samples):
        u = (k + 0.5) / samples
        here = bilinear(z, col + (c + 0.5 - col) * u, row + (r + 0.5 - row) * u)
        if here > height + (z[r, c] - height) * u + margin_m:
            return False
    return True


def flow_passes(z, cell_m, place, cell, near_m):
    """Whether the steepest way down from a cell comes near a place."""
    col, row, _ = place
    r, c = cell
    while True:
        if cell_m * math.hypot(c + 0.5 - col, r + 0.5 - row) <= near_m:
            return True
        falls = [
            ((z[r, c] - z[r + j, c + i]) / math.hypot(i, j), r + j, c + i)
            for i, j in EIGHT
            if 0 <= r + j < z.shape[0] and 0 <= c + i < z.shape[1] and not math.isnan(z[r + j, c + i])
        ]
        steepest = max((f for f, _, _ in falls), default=0.0)
        if steepest <= 0.0:
            return False
        _, r, c = next(f for f in falls if f[0] == steepest)


def least_heads(z, cell_m, target, angle_deg, highest_m):
    """Least height from which snow started in each cell would reach a target; NaN above a height.

    The same definition seen from the target: ``need(cell) = max(height, need(next) + tan(a) step)``,
    so that every source is judged by itself.
    """
    loss = math.tan(math.radians(angle_deg))
    need = np.full(z.shape, np.nan)
    beside = np.full(z.shape, np.inf)
    queue = [(z[target], target)]
    while queue:
        least, at = heapq.heappop(queue)
        if not math.isnan(need[at]) or least > highest_m:
            continue
        need[at] = least
        for r, c, step_m, middle in neighbours(z, cell_m, *at):
            start = max(least + loss * step_m, middle + loss * step_m / 2.0)
            beside[r, c] = min(beside[r, c], start)
            start = start if math.isnan(z[r, c]) else max(start, z[r, c])
            if math.isnan(need[r, c]):
                heapq.heappush(queue, (start, (r, c)))
    return beside


def reached(z, cell_m, source, target, angle_deg):
    """Whether any source but the target itself reaches a target at an angle."""
    others = source & ~np.isnan(z)
    others[target] = False
    if not others.any():
        return False
    need = least_heads(z, cell_m, target, angle_deg, z[others].max())
    return bool((z[others] >= need[others]).any())


def largest_deg(lines):
    """Largest angle at which each target of `EnergyLines` is reached; NaN for none."""
    angles = np.where(lines.reached, lines.angles_deg[:, None], -np.inf)
    return np.where(lines.reached.any(axis=0), angles.max(axis=0), np.nan)
