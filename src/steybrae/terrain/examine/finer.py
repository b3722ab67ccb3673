"""Cells made finer by interpolation: how many times.

Between the cells that were there before, interpolated heights follow a polynomial, so that the size of
their differences along a row goes up and down with the old cells: differences of even order vanish or
shrink between the old centres, those of odd order tell two cells apart within one old cell. The
periodogram of that size has a line at ``1 / k`` for cells made k times finer (Gallagher (2005), Proc.
2nd Canadian Conf. Computer and Robot Vision, 65-72, doi:10.1109/CRV.2005.33; Mahdian and Saic (2008),
IEEE Trans. Inf. Forensics Security 3(3), 529-538, doi:10.1109/TIFS.2008.2004287; both from memory).
Ground has no such line. A line at ``1 / k`` also stands for ``k / (k - 1)`` times finer, which hardly
matters; the two are told apart by how deep the line is.

Noise and rounding hide the line, and how deep it is, but not that detail ends: the spectrum of ground
falls off evenly, with the third to fourth power of frequency (measured here on seven models: 2.4 to 4.5,
once 5.1), that of interpolated heights far more steeply about ``1 / 4 k``, and less again where noise
or the images of interpolation are all that is left. A model that was smoothed shows no more than cells as
large as those where its detail ends, and is told by the same.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import median, true_runs

WINDOW: Final = 128
"""Cells of a window of the periodogram (our choice): lines of 1/6 and 1/7 stand three steps apart."""

LEAST_RUN: Final = WINDOW // 2
"""Fewest known cells in a row that make a window where few are whole (our choice)."""

LEAST_WINDOWS: Final = 2
"""Fewest windows of narrow strips that tell anything (our choice: of pieces of ground with one, one in a
hundred has a line by chance)."""

MANY_WINDOWS: Final = 5
"""Windows of narrow strips that are many (our choice: more than one square of a window has). Where whole ones
are fewer, parts of windows are taken too; where all are, nothing is told without a line, for ground may fall
off as steeply by chance."""

STRIPS: Final = (32, 192)
"""Rows over which sizes are averaged (our choice): few enough where a model is turned against its source,
and enough for noise to go."""

ORDERS: Final = (2, 3, 4)
"""Orders of the differences."""

LEAST_SIDE: Final = WINDOW + max(ORDERS)
"""Cells along a side below which much stays unseen: only a line tells, and none below half of it."""

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

BANDS: Final = (3, 4, 6, 8, 11, 16, 23, 32, 45)
"""Where bands of frequency of the spectrum begin and end, in steps: half an octave each."""

END_OF_DETAIL: Final = 0.3
"""Frequency at which the spectrum is steepest, in old cells (0.25 to 0.35 on copies 3 to 8 times finer)."""

STEEP_LINE: Final = 4.4
"""Power of frequency that a spectrum falls with from which a line tells of detail that ends (our choice)."""

STEEP_ALONE: Final = 5.5
"""The same without a line (our choice: 5.7 and more on most copies with noise, 5.1 and less on ground)."""

EASED: Final = 0.5
"""What the other axis may lack: of the powers, and as a share of the line (our choice)."""

STEEP_LATE: Final = 6.0
"""The same where detail ends in the octaves next to the last (our choice: up to 5.7 on ground)."""

SMOOTH: Final = 6.5
"""The same where a model was smoothed, whatever is left (our choice: 6.6 and more on lidar smoothed over 2
cells, 1 SD, 6.4 and less on ground, the invented massif among it)."""

SMOOTH_LATE: Final = 9.5
"""The same in the octave before the last (our choice: 9.8 and more, 8.9 and less)."""

MOST_LEFT: Final = 2.5
"""Power that the last octave falls off with where noise is all that is left (our choice: 0 by itself)."""

LEAST_FALL: Final = -1.0
"""Power below which a spectrum rises with waves of the ground's own, or of a lattice, and tells nothing."""

BEGUN: Final = 5.2
"""Power from which detail has begun to end, where it ends without a line (our choice)."""

END_BEGINS: Final = (0.15, 0.32)
"""Frequency, in old cells, from which a spectrum may first fall as steeply as `STEEP_LINE`."""

END_NEAR_TWO: Final = (0.25, 0.45)
"""The same for periods up to `ONE_READING`: the last octaves are wide."""

LONGEST: Final = 8.5
"""Period, cells, up to which the spectrum is asked: its lowest octave is there."""

LEAST_SPIKED: Final = 0.62
"""Skewness of a line (`_spiked`) that tells of few large differences between many small ones (our choice:
0.65 to 1.1 on straight copies made 3, 5, 6 and 8 times finer, 0.57 and less on those made 1.25 and 1.33)."""

SPIKED_LATER: Final = 0.04
"""By how much later detail may begin to end where a line is so (our choice: straight lines hide less)."""

LEAST_DIP: Final = 1.8
"""By how much less a spectrum falls beyond, where noise or images are all that is left (our choice)."""


@dataclass(frozen=True, eq=False)
class Periods:
    """Sums over windows along one axis.

    Attributes
    ----------
    power
        Periodogram of the size of differences, ``[strip, order, frequency]``, over all windows.
    spectrum
        Periodogram of the gradients, ``[frequency]``, over all windows.
    triple
        Of the size of second differences X, narrow strips: real part of ``X(f)^2 X*(2f)``, ``[frequency]``.
    windows
        How many the narrow strips have.
    """

    power: Array
    spectrum: Array
    triple: Array
    windows: int

    def __add__(self, other: Periods) -> Periods:
        """Put the sums of two blocks together."""
        return Periods(
            self.power + other.power,
            self.spectrum + other.spectrum,
            self.triple + other.triple,
            self.windows + other.windows,
        )


def periods_of(heights_m: Array, *, runs: bool = False) -> Periods:
    """Periodogram of the size of differences along the columns of a block, and of the gradients.

    The size of a difference d is ``|d| / (|d| + r)`` with r its root mean square in the block, so
    that a few crags do not outweigh the rest; it is averaged over strips of rows. Transpose
    `heights_m` for the other axis. No windows where the block is smaller than one, or mostly unknown;
    with `runs` those that are known in part, and those of smaller blocks.
    """
    power = np.zeros((len(STRIPS), len(ORDERS), WINDOW // 2 + 1))
    triple, windows = np.zeros(WINDOW // 2 + 1), 0
    for k, order in enumerate(ORDERS):
        size = np.abs(np.diff(heights_m, order, axis=1))
        known = size[np.isfinite(size)]
        root = float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
        if root > 0.0:
            narrow, wide = (_transformed(size / (size + root), strip, runs) for strip in STRIPS)
            power[:, k] = [(np.abs(one) ** 2).sum(axis=0) for one in (narrow, wide)]
            windows = len(narrow)
            if order == min(ORDERS):
                triple = _triple(narrow)
    spectrum = np.abs(_tapered(np.diff(heights_m, axis=1), runs)) ** 2
    return Periods(power, np.asarray(spectrum.sum(axis=0)), triple, windows)


def _transformed(size: Array, strip: int, runs: bool) -> NDArray[np.complex128]:
    """Transform the windows of all strips that know enough: ``[window, frequency]``."""
    rows, cols = size.shape[0] // strip, size.shape[1]
    strips = size[: rows * strip].reshape(rows, strip, cols)
    count = np.isfinite(strips).sum(axis=1)
    mean = np.nansum(strips, axis=1) / np.maximum(count, 1)
    return _tapered(np.where(count >= strip // 4, mean, np.nan), runs)


def _triple(transformed: NDArray[np.complex128]) -> Array:
    twice = 2 * np.arange(WINDOW // 2 + 1)
    # Beyond half a cycle per cell the transform comes back, mirrored.
    beyond = twice > WINDOW // 2
    at_twice = transformed[:, np.where(beyond, WINDOW - twice, twice)]
    at_twice[:, beyond] = at_twice[:, beyond].conj()
    return np.asarray((transformed**2 * at_twice.conj()).real.sum(axis=0))


def _tapered(rows: Array, runs: bool) -> NDArray[np.complex128]:
    """Transform windows along rows, each half over the last: ``[window, frequency]``.

    Those that are known from end to end, or, with `runs`, of the others, and of one at the end of the
    row, the longest run that is known, of `LEAST_RUN` cells and more, tapered to its own ends.
    """
    cols = max(rows.shape[1], WINDOW)
    if cols > rows.shape[1]:
        rows = np.pad(rows, ((0, 0), (0, cols - rows.shape[1])), constant_values=np.nan)
    starts = range(0, cols - WINDOW + 1, WINDOW // 2)
    cut = np.concatenate([rows[:, c : c + WINDOW] for c in starts])
    whole = np.isfinite(cut).all(axis=1)
    if runs:
        last = rows[:, cols - WINDOW :] if starts[-1] < cols - WINDOW else rows[:0, :WINDOW]
        cut = np.concatenate((cut[~whole], last))
        taper = np.array([_taper(one) for one in np.isfinite(cut)]).reshape(cut.shape)
        some = taper.any(axis=1)
        cut, taper = np.nan_to_num(cut[some]), taper[some]
    else:
        cut, taper = cut[whole], np.broadcast_to(np.hanning(WINDOW), cut[whole].shape)
    # The mean by itself: of a short run its line is broad.
    total = taper.sum(axis=1, keepdims=True)
    mean = (cut * taper).sum(axis=1, keepdims=True) / total
    out = np.fft.rfft((cut - mean) * taper)
    out[:, :1] = mean * total
    return np.asarray(out)


def _taper(known: NDArray[np.bool_]) -> Array:
    """Taper over the longest run of known cells; 0 where it is too short."""
    first, last = max(true_runs(known).tolist(), key=lambda one: one[1] - one[0], default=(0, 0))
    taper = np.zeros(len(known))
    if last - first >= LEAST_RUN:
        taper[first:last] = np.hanning(last - first)
    return taper


def finer_times(found: Periods) -> float:
    """How many times finer than they were before the cells along an axis are, by the line of interpolation.

    1 where no line in the sums over blocks tells of it, or less than `LEAST_FINER` does.
    """
    lines = _strongest(found.power[0]) if found.windows >= LEAST_WINDOWS else []
    if not lines:
        return 1.0
    at = next((line for line in lines if _ends_at(found, line) or _deep(found, line)), None)
    if at is not None:
        times = WINDOW / at
    elif (period := WINDOW / lines[-1]) < ONE_READING:
        times = period
    else:
        times = period / (period - 1.0) if _depth(found, lines[-1]).max() >= LEAST_DEPTH else 1.0
    return times if times >= LEAST_FINER else 1.0


def finer_times_in_noise(axes: tuple[Periods, Periods]) -> tuple[float, float]:
    """Tell the same of both axes, along rows and columns, where noise or rounding hides the lines.

    By lines of wide strips, and by where detail ends. One axis proves little, for smooth ground may
    look so: the other should at least point to it. 1 and 1 where that does not tell of it, or of
    less than `LEAST_FINER`.
    """
    one, other = (_in_noise(along, 0.0) for along in axes)
    if max(one, other) == 1.0 or min(_in_noise(along, EASED) for along in axes) == 1.0:
        return 1.0, 1.0
    return one, other


def _in_noise(found: Periods, eased: float) -> float:
    if found.windows < LEAST_WINDOWS:
        return 1.0
    lines = _strongest(found.power[1], (1.0 - eased) * LEAST_LINE)
    at = next((line for line in lines if _ends_at(found, line, eased)), None)
    if at is None and found.windows < MANY_WINDOWS:
        return 1.0
    times = _by_end_of_detail(found.spectrum, eased) if at is None else WINDOW / at
    return times if times >= LEAST_FINER else 1.0


def _strongest(power: Array, least: float = LEAST_LINE) -> list[int]:
    """Give the strongest line, and before it those that it may be a multiple of; none where it is weak."""
    strength = _strength(power)
    first = round(LEAST_FREQUENCY * WINDOW)
    best = first + int(np.argmax(strength[first:]))
    return [*_parts_of(strength, best, least), best] if strength[best] >= least else []


def _falls(spectrum: Array) -> tuple[Array, Array]:
    """Give the power of frequency that heights fall off with, octave by octave: ``(frequencies, powers)``."""
    frequency = np.arange(len(spectrum)) / WINDOW
    heights = spectrum / np.maximum(4.0 * np.sin(np.pi * frequency) ** 2, 1e-9)
    edges = np.array(BANDS)
    middle = np.sqrt(edges[:-1] * (edges[1:] - 1.0)) / WINDOW
    level = np.log(np.maximum([heights[a:b].mean() for a, b in pairwise(BANDS)], 1e-300))
    fall = (level[:-2] - level[2:]) / np.log(middle[2:] / middle[:-2])
    return np.sqrt(middle[2:] * middle[:-2]), np.asarray(fall)


def _ends_at(found: Periods, line: int, eased: float = 0.0) -> bool:
    """Whether detail begins to end where it does with old cells as long as the period of a line."""
    period, spiked = WINDOW / line, _spiked(found, line) >= LEAST_SPIKED
    at, fall = _falls(found.spectrum)
    # What is steep by itself says where, even where less would do.
    steep = fall >= min(STEEP_LINE, max(fall.max(), STEEP_LINE - eased))
    begun = int(np.argmax(steep))
    low, high = END_BEGINS if period > ONE_READING else END_NEAR_TWO
    if spiked:
        high += SPIKED_LATER
    if (
        fall.min() < LEAST_FALL
        or period > LONGEST
        or not steep.any()
        or not low <= at[begun] * period <= high
    ):
        return False
    # Noise makes a line shallow. Where it is not, smooth ground may fall off as steeply, but goes on so.
    if spiked or period < NEAR_THREE or _depth(found, line).max() < LEAST_DEPTH:
        return True
    steepest = begun + int(np.argmax(fall[begun : begun + 3]))
    return bool(fall[steepest] - fall[steepest:].min() >= LEAST_DIP)


def _by_end_of_detail(spectrum: Array, eased: float) -> float:
    """Tell times finer where no line does, by where detail ends: in noise, or more steeply than ground's."""
    at, fall = _falls(spectrum)
    steepest = 1 + int(np.argmax(fall[1:-2]))
    # The last octaves cannot show what is left where detail ends in them.
    last = steepest == len(fall) - 3
    least, most_left = (STEEP_LATE, fall[steepest] - LEAST_DIP) if last else (STEEP_ALONE, MOST_LEFT)
    in_noise = fall[steepest] >= least - eased and fall[-1] <= most_left + eased
    smooth = fall[steepest] >= SMOOTH - eased or fall[-2] >= SMOOTH_LATE - eased
    if fall.min() < LEAST_FALL or not (in_noise or smooth):
        return 1.0
    return float(END_OF_DETAIL / at[int(np.argmax(fall >= min(BEGUN, fall.max()) - eased))])


def _depth(found: Periods, at: int) -> Array:
    """Amplitude of a line over the mean in the narrow strips, for each order."""
    power = found.power[0]
    near = power[:, max(at - 1, 0) : at + 2].max(axis=1)
    return np.asarray(np.sqrt(near / np.maximum(power[:, 0], 1e-300)))


def _deep(found: Periods, at: int) -> bool:
    """Whether a line tells of as many times finer as its period is long, and not of hardly any."""
    second, third, fourth = map(float, _depth(found, at))
    if WINDOW / at < NEAR_THREE:
        return second >= DEEP_SECOND or fourth <= THIRD_LEADS * third
    return second >= DEEP_SECOND or fourth >= DEEP_FOURTH


def _spiked(found: Periods, at: int) -> float:
    """Skewness along a line: near 1 for few large sizes between small ones, near -1 for few small ones.

    ``X(f)^2 X*(2f)`` over the amplitudes of both. It is 0 where every second harmonic is missing: at 4
    times finer two cells of four are large.
    """
    power = found.power[0, 0]
    near = np.arange(max(at - 1, 0), min(at + 2, len(power)))
    twice = np.minimum(2 * near, WINDOW - 2 * near)
    size = power[near].sum() * np.sqrt(power[twice].max() / max(found.windows, 1))
    return float(found.triple[near].sum() / max(size, 1e-300))


def _strength(power: Array) -> Array:
    """Power of each line over the median beside it, the largest of the orders."""
    lines = power.shape[1]
    beside = np.stack([median(power[:, max(k - BESIDE, 2) : k + BESIDE + 1]) for k in range(lines)], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(beside > 0.0, power / beside, np.where(power > 0.0, np.inf, 0.0))
    return np.asarray(found.max(axis=0))


def _parts_of(strength: Array, best: int, least: float) -> list[int]:
    """Lines of which the strongest is a multiple, the lowest first."""
    found = []
    for part in (8, 7, 6, 5, 4, 3, 2):
        low = round(best / part) - 1
        if low >= 3 and strength[low : low + 3].max() >= least:
            found.append(low + int(np.argmax(strength[low : low + 3])))
    return found
