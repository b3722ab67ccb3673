"""Readings of an inclinometer: their mean and how well it is known.

A hand inclinometer errs in angle: its index, its scale and the hand that holds it all
turn the reading by some degrees, the same on a gentle slope as on a steep one. So the
ends of a reading are formed in angle, ``mean - U`` and ``mean + U``. (Forming them in
gradient would always put the upper end lower, to the reader's disadvantage.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, fmean
from typing import Final

from steybrae.errors import QuantityError
from steybrae.field.limits import READING_ERROR_95_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import parse_percent_or_deg

BIAS_SHARE: Final = 2.0 / 4.0
"""Part of the error of one reading that all readings share (index, scale, habit). The same
paper: several readings reduce the error but do not remove it; the size is our choice."""

RANDOM_SHARE: Final = math.sqrt(3.0) / 2.0
"""The other part, which averages out: the squares of both shares add up to 1."""

MOST_ERROR_DEG: Final = 45.0
"""Largest stated error taken as meant, degrees (our choice)."""

SCATTER_LEVEL: Final = 0.99
"""Readings that scatter more than this share of honest sets do are believed to scatter,
and the uncertainty grows to fit (our choice)."""

SCATTER_QUANTILE: Final = NormalDist().inv_cdf(SCATTER_LEVEL)
"""Standard normal deviate of that share, 2.326."""

UNITS: Final = ("degrees", "percent")


def reading_uncertainty_95_deg(
    count: float, error_95_deg: float = READING_ERROR_95_DEG, scatter_deg: float = 0.0
) -> float:
    """Give the expanded uncertainty of the mean of some readings.

    ``U^2 = bias^2 + random^2 / n``, where bias is 1/2 and random sqrt(3)/2 of the error of
    one reading. With 4 degrees that is ``U = 2 sqrt(1 + 3/n)``: 4.0 for one reading, 2.65
    for four, 2.0 however many.

    Parameters
    ----------
    count
        Number of readings, from 1; `ReadingSet.effective_count` where up and down sights
        are not equally many.
    error_95_deg
        Expanded error of one reading, degrees, above 0.
    scatter_deg
        Standard deviation of the readings, where it is to stand for the random share;
        it never makes that share smaller.

    Returns
    -------
    float
        Degrees, 95 % (k = 2).
    """
    bias_deg = BIAS_SHARE * error_95_deg
    random_deg = max(RANDOM_SHARE * error_95_deg, 2.0 * scatter_deg)
    return math.hypot(bias_deg, random_deg / math.sqrt(count))


@dataclass(frozen=True)
class ReadingSet:
    """One or many readings of one slope.

    Attributes
    ----------
    up_deg
        Readings looking up the slope, or laid on it, degrees, 0 to 90.
    down_deg
        Readings looking down it, without their sign, degrees, 0 to 90.
    error_95_deg
        Expanded (95 %) error of one reading, degrees.
    units
        For each reading, ups first, the scale it was read on: ``degrees`` or ``percent``;
        empty means degrees throughout.

    Raises
    ------
    QuantityError
        No reading, one out of range, an error out of range, or units that do not match.
    """

    up_deg: tuple[float, ...]
    down_deg: tuple[float, ...] = ()
    error_95_deg: float = READING_ERROR_95_DEG
    units: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what is no set of readings."""
        if not self.readings_deg:
            message = "At least one reading should be given; got none. Write it like 34deg."
            raise QuantityError(message)
        for reading_deg in self.readings_deg:
            if not 0.0 <= reading_deg <= 90.0:
                message = (
                    f"A reading should lie between 0 and 90 degrees; got {reading_deg:g}. "
                    "Check value and scale."
                )
                raise QuantityError(message)
        if not 0.0 < self.error_95_deg <= MOST_ERROR_DEG:
            message = (
                f"The error of a reading should be above 0 and at most {MOST_ERROR_DEG:g} degrees; "
                f"got {self.error_95_deg:g}. Give the 95 % error of one reading, like 4deg."
            )
            raise QuantityError(message)
        if self.units and (len(self.units) != self.count or set(self.units) - set(UNITS)):
            message = (
                f"Units should be 'degrees' or 'percent', one for each of {self.count} readings; "
                f"got {self.units!r}. Leave them out for degrees."
            )
            raise QuantityError(message)

    @property
    def readings_deg(self) -> tuple[float, ...]:
        """All readings without their sign, ups first, degrees."""
        return self.up_deg + self.down_deg

    @property
    def count(self) -> int:
        """How many readings there are."""
        return len(self.readings_deg)

    @property
    def mean_deg(self) -> float:
        """Mean; of the up mean and the down mean where both were sighted.

        ``(up + |down|) / 2`` cancels an index error, which adds to one and takes from the
        other: up 33 and down 31 is 32 (the levelling argument; common practice, no source).
        """
        groups = [group for group in (self.up_deg, self.down_deg) if group]
        return fmean(fmean(group) for group in groups)

    @property
    def index_error_deg(self) -> float | None:
        """Half of up minus down, degrees; None without sights both ways."""
        if not (self.up_deg and self.down_deg):
            return None
        return (fmean(self.up_deg) - fmean(self.down_deg)) / 2.0

    @property
    def effective_count(self) -> float:
        """Number of equal readings whose mean is as good: ``4 / (1/up + 1/down)``."""
        if not (self.up_deg and self.down_deg):
            return float(self.count)
        return 4.0 / (1.0 / len(self.up_deg) + 1.0 / len(self.down_deg))

    @property
    def scatter_deg(self) -> float | None:
        """Standard deviation about the mean of each direction, degrees; None where unknown."""
        groups = [group for group in (self.up_deg, self.down_deg) if group]
        freedom = self.count - len(groups)
        if freedom == 0:
            return None
        squares = sum((value - fmean(group)) ** 2 for group in groups for value in group)
        return math.sqrt(squares / freedom)

    @property
    def scattered(self) -> bool:
        """Whether the readings scatter more than the stated error explains.

        True where the variance exceeds the 99 % point of chi-squared over its degrees of
        freedom (Wilson and Hilferty's cube-root form, within 1 % of exact).
        """
        freedom = self.count - bool(self.up_deg) - bool(self.down_deg)
        if self.scatter_deg is None:
            return False
        ninth = 2.0 / (9.0 * freedom)
        cube_root = 1.0 - ninth + SCATTER_QUANTILE * math.sqrt(ninth)
        expected_deg = RANDOM_SHARE * self.error_95_deg / 2.0
        return self.scatter_deg > expected_deg * math.sqrt(cube_root**3)

    @property
    def both_ways_apart(self) -> bool:
        """Whether up and down differ by more than twice the stated error: no index explains so much."""
        return abs(self.index_error_deg or 0.0) > self.error_95_deg

    @property
    def leading_deg(self) -> float:
        """What stands for them, degrees: the mean, or the steepest where they may lie on different ground."""
        return max(self.readings_deg) if self.scattered or self.both_ways_apart else self.mean_deg

    @property
    def uncertainty_95_deg(self) -> float:
        """Expanded uncertainty of the mean, degrees; see `reading_uncertainty_95_deg`.

        The shared part is kept whole where up and down sights cancel the index error, for
        how much of it was index error is not known. Readings that scatter more than the
        stated error explains count with the scatter seen, and up and down so far apart with half of that.
        """
        scatter_deg = self.scatter_deg if self.scattered else None
        found_deg = reading_uncertainty_95_deg(self.effective_count, self.error_95_deg, scatter_deg or 0.0)
        return math.hypot(found_deg, (self.index_error_deg or 0.0) if self.both_ways_apart else 0.0)

    @property
    def slope_low_deg(self) -> float:
        """Lower 95 % end, degrees, not below 0."""
        return max(0.0, self.mean_deg - self.uncertainty_95_deg)

    @property
    def slope_high_deg(self) -> float:
        """Upper 95 % end, degrees, not above 90."""
        return min(90.0, self.mean_deg + self.uncertainty_95_deg)

    @property
    def mixed_units(self) -> bool:
        """Whether some were read in degrees and some in percent."""
        return len(set(self.units)) > 1


def parse_readings(
    up: Sequence[str], down: Sequence[str] = (), error_95_deg: float = READING_ERROR_95_DEG
) -> ReadingSet:
    """Read readings as typed, ``34deg 62%``; those looking down may carry a minus.

    Parameters
    ----------
    up
        Readings looking up, or laid on the slope.
    down
        Readings looking down.
    error_95_deg
        Expanded error of one reading, degrees.

    Returns
    -------
    ReadingSet
        With the scale each was read on.

    Raises
    ------
    QuantityError
        Unreadable, out of range, or none.
    """
    up_read = [parse_percent_or_deg(text) for text in up]
    down_read = [parse_percent_or_deg(text.strip().removeprefix("-")) for text in down]
    return ReadingSet(
        up_deg=tuple(slope_deg for slope_deg, _ in up_read),
        down_deg=tuple(slope_deg for slope_deg, _ in down_read),
        error_95_deg=error_95_deg,
        units=tuple(unit for _, unit in (*up_read, *down_read)),
    )


def reading_basis(readings: ReadingSet, *, stated: bool) -> str:
    """Say what the error of one reading rests on: whether it was stated, or is the usual one."""
    shared = "half of it is taken to be shared by all readings, and does not average out"
    if stated:
        return f"A reading: {readings.error_95_deg:g}° (95 %), as stated; {shared}."
    return (
        f"A reading: {readings.error_95_deg:g}° (95 %), our reading of what was found for current "
        f"inclinometers under ideal conditions (McCammon 2023); {shared}."
    )
