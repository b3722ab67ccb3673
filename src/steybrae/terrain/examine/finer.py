"""Cells made finer by interpolation: how many times.

Between the cells that were there before, interpolated heights follow a polynomial, so that the size of
their differences along a row goes up and down with the old cells: differences of even order vanish or
shrink between the old centres, those of odd order tell two cells apart within one old cell. The
periodogram of that size has a line at ``1 / k`` for cells made k times finer (Gallagher (2005), Proc.
2nd Canadian Conf. Computer and Robot Vision, 65-72, doi:10.1109/CRV.2005.33; Mahdian and Saic (2008),
IEEE Trans. Inf. Forensics Security 3(3), 529-538, doi:10.1109/TIFS.2008.2004287; both from memory).
Ground has no such line. A line at ``1 / k`` also stands for ``k / (k - 1)`` times finer, which hardly
matters; the two are told apart by how deep the line is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import median

WINDOW: Final = 128
"""Cells of a window of the periodogram (our choice): lines of 1/6 and 1/7 stand three steps apart."""

STRIP: Final = 32
"""Rows over which sizes are averaged (our choice): few enough where a model is turned against its source."""

ORDERS: Final = (2, 3, 4)
"""Orders of the differences."""

LEAST_SIDE: Final = WINDOW + max(ORDERS)
"""Cells along a side below which nothing can be told along it."""

LEAST_LINE: Final = 20.0
"""Power of a line over the median beside it (our choice: untouched models stay below 10, copies made 2 to
6 times finer have 60 and more)."""

LEAST_FREQUENCY: Final = 0.1
"""Least frequency of a first line, per cell (our choice): below, ground itself has some."""

LEAST_FINER: Final = 1.4
"""Fewest times finer that are told (our choice): below, a model was only moved to another grid."""

ONE_READING: Final = 2.6
"""Period, cells, up to which both readings of a line say nearly the same."""

NEAR_THREE: Final = 3.5
"""Period, cells, up to which fourth differences span more than one old cell, and never vanish."""

BESIDE: Final = 10
"""Steps to either side of a line that its power is held against."""

DEEP_SECOND: Final = 0.35
"""Amplitude of a line over the mean, for second differences, from which they vanish between the old centres,
as straight interpolation has it (our choice: 0.4 to 0.9 on such copies, 0.2 and less on others)."""

DEEP_FOURTH: Final = 0.3
"""The same for fourth differences and cubic interpolation, from 4 times on (our choice: 0.35 and more on such
copies, 0.24 and less on those made 1.25 and 1.33 times finer)."""

THIRD_LEADS: Final = 1.4
"""Fourth over third order's amplitude up to which a period near 3 cells is taken as it stands (our choice:
up to 1.3 on cubic copies made 3 times finer, 1.5 and more on most made 1.5 times)."""

LEAST_DEPTH: Final = 0.12
"""Amplitude over the mean below which a line only tells of a model moved to another grid (our choice)."""


@dataclass(frozen=True, eq=False)
class Periods:
    """Sums over windows along one axis.

    Attributes
    ----------
    power
        Periodogram of the size of differences, ``[order, frequency]``, over all windows.
    windows
        How many.
    """

    power: Array
    windows: int

    def __add__(self, other: Periods) -> Periods:
        """Put the sums of two blocks together."""
        return Periods(self.power + other.power, self.windows + other.windows)


def periods_of(heights_m: Array) -> Periods:
    """Periodogram of the size of differences along the columns of a block.

    The size of a difference d is ``|d| / (|d| + r)`` with r its root mean square in the block, so that a
    few crags do not outweigh the rest; it is averaged over strips of rows.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; NaN unknown. Transpose it for the other axis.

    Returns
    -------
    Periods
        Without windows where the block is smaller than one, or mostly unknown.
    """
    power, windows = np.zeros((len(ORDERS), WINDOW // 2 + 1)), 0
    for k, order in enumerate(ORDERS):
        size = np.abs(np.diff(heights_m, order, axis=1))
        known = size[np.isfinite(size)]
        root = float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
        if root > 0.0:
            power[k], windows = _summed(size / (size + root))
    return Periods(power, windows)


def _summed(size: Array) -> tuple[Array, int]:
    rows, cols = size.shape[0] // STRIP, size.shape[1]
    if rows == 0 or cols < WINDOW:
        return np.zeros(WINDOW // 2 + 1), 0
    strips = size[: rows * STRIP].reshape(rows, STRIP, cols)
    count = np.isfinite(strips).sum(axis=1)
    mean = np.nansum(strips, axis=1) / np.maximum(count, 1)
    first = range(0, cols - WINDOW + 1, WINDOW // 2)
    cut = np.stack([mean[:, c : c + WINDOW] for c in first])
    enough = np.stack([(count[:, c : c + WINDOW] >= STRIP // 4).all(axis=1) for c in first])
    power = np.abs(np.fft.rfft(cut[enough] * np.hanning(WINDOW))) ** 2
    return power.sum(axis=0), int(enough.sum())


def finer_times(found: Periods) -> float:
    """How many times finer than they were before the cells along an axis are.

    Parameters
    ----------
    found
        Sums over blocks.

    Returns
    -------
    float
        1 where no line tells of it, or less than `LEAST_FINER` does.
    """
    if found.windows == 0:
        return 1.0
    strength = _strength(found.power)
    first = round(LEAST_FREQUENCY * WINDOW)
    best = first + int(np.argmax(strength[first:]))
    if strength[best] < LEAST_LINE:
        return 1.0
    at = next((line for line in _parts_of(strength, best) if _deep(found.power, line)), best)
    period, depth = WINDOW / at, _depth(found.power, at)
    if period < ONE_READING or _deep(found.power, at):
        times = period
    else:
        times = period / (period - 1.0) if depth.max() >= LEAST_DEPTH else 1.0
    return times if times >= LEAST_FINER else 1.0


def _depth(power: Array, at: int) -> Array:
    """Amplitude of a line over the mean, for each order."""
    near = power[:, max(at - 1, 0) : at + 2].max(axis=1)
    return np.asarray(np.sqrt(near / np.maximum(power[:, 0], 1e-300)))


def _deep(power: Array, at: int) -> bool:
    """Whether a line tells of as many times finer as its period is long, and not of hardly any."""
    second, third, fourth = map(float, _depth(power, at))
    if WINDOW / at < NEAR_THREE:
        return second >= DEEP_SECOND or fourth <= THIRD_LEADS * third
    return second >= DEEP_SECOND or fourth >= DEEP_FOURTH


def _strength(power: Array) -> Array:
    """Power of each line over the median beside it, the largest of the orders."""
    lines = power.shape[1]
    beside = np.stack([median(power[:, max(k - BESIDE, 2) : k + BESIDE + 1]) for k in range(lines)], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(beside > 0.0, power / beside, np.where(power > 0.0, np.inf, 0.0))
    return np.asarray(found.max(axis=0))


def _parts_of(strength: Array, best: int) -> list[int]:
    """Lines of which the strongest is a multiple, the lowest first."""
    found = []
    for part in (8, 7, 6, 5, 4, 3, 2):
        low = round(best / part) - 1
        if low >= 3 and strength[low : low + 3].max() >= LEAST_LINE:
            found.append(low + int(np.argmax(strength[low : low + 3])))
    return found
