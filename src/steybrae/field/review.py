"""What a log of readings says about its instruments and observers.

Reading minus reference is looked at as Bland and Altman do (1986, The Lancet 327:307-310,
doi:10.1016/S0140-6736(86)90837-8): its mean is the bias, its standard deviation s the spread,
and the limits of agreement are those between which 95 % of further differences lie. From n rows
bias and spread are estimates, so that the limits are ``bias +- t s sqrt(1 + 1/n)`` with Student's
t of n - 1 degrees of freedom (the prediction interval of one more difference), not 2 s, between
which two rows would have 65 %; both are alike for many rows. Standard errors are
``s / sqrt(n)`` for the bias and ``sqrt(3 s^2 / n)`` for a limit (same paper), times t. A
difference holds the errors of both sides: a bias is that of the reading against the reference,
not of the instrument alone.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import field, replace
from statistics import NormalDist, fmean, stdev
from typing import Final

from steybrae.cautions import Cautions, Situation, cautions_for
from steybrae.errors import LogError
from steybrae.field.log import DamagedRow, LogRow
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, Count, NotNegative, SlopeDeg
from steybrae.value import lower, slope

LIMIT_VARIANCE: Final = 3.0
"""Variance of a limit in units of s^2/n (same paper: approximately 3)."""

HALF_WIDTH_DEG: Final = 1.0
"""Half-width of the interval of the bias that is worth working for, degrees (our choice)."""

LEVEL: Final = 0.95
"""Share of cases that the intervals hold, as everywhere."""

MANY: Final = 1000
"""From so many degrees of freedom on the series for Student's t is good to 1e-8."""


def student_t(freedom: int) -> float:
    """Two-sided 95 % quantile of Student's t: ``P(|T| <= t) = 0.95``, from 1 degree of freedom.

    Up to 1000 degrees of freedom the exact finite sums for whole degrees (Abramowitz and Stegun
    1964, 26.7.3 and 26.7.4) are inverted by halving; above, the expansion about the normal quantile
    (26.7.5) is used. 12.706 for 1 degree of freedom, 1.960 for infinitely many.
    """
    if freedom > MANY:
        z = NormalDist().inv_cdf(0.5 + LEVEL / 2.0)
        first = (z**3 + z) / (4.0 * freedom)
        return z + first + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * freedom**2)
    low, high = 0.0, math.pi / 2.0
    while True:
        middle = (low + high) / 2.0
        if middle in (low, high):
            return math.sqrt(freedom) * math.tan(middle)
        if _central_probability(middle, freedom) < LEVEL:
            low = middle
        else:
            high = middle


def _central_probability(theta: float, freedom: int) -> float:
    """``P(|T| <= sqrt(freedom) tan(theta))`` as a finite sum in theta (radians)."""
    sine, square = math.sin(theta), math.cos(theta) ** 2
    odd = freedom % 2
    term = total = 0.0 if freedom == 1 else (math.cos(theta) if odd else 1.0)
    for power in range(2 + odd, freedom - 1, 2):
        term *= square * (power - 1) / power
        total += term
    return 2.0 / math.pi * (theta + sine * total) if odd else sine * total


def readings_needed(spread_deg: float, *, of_limit: bool = False) -> int:
    """Count the rows that bring a 95 % interval of the bias, or of a limit, down to `HALF_WIDTH_DEG`.

    Smallest n, from 2 (one row has no spread), with ``t(n - 1) * s * sqrt(c / n) <= half-width``; c
    is 1 for the bias and 3 for a limit of agreement.
    """
    variance = spread_deg**2 * (LIMIT_VARIANCE if of_limit else 1.0)

    def enough(count: int) -> bool:
        return student_t(count - 1) * math.sqrt(variance / count) <= HALF_WIDTH_DEG

    # Student's t is above the normal quantile, so the answer is not below this.
    normal = NormalDist().inv_cdf(0.5 + LEVEL / 2.0)
    count = max(2, math.floor(variance * (normal / HALF_WIDTH_DEG) ** 2))
    while not enough(count):
        count += 1
    return count


MOST_ROWS: Final = 20_000
"""Most rows that are looked at, those that are none among them (our choice)."""

MOST_NAMES: Final = 1000
"""Most instruments, observers or places of a log that are looked at (our choice: each is a line)."""


@dataclass(frozen=True)
class Agreement:
    """Readings of one instrument or observer against their references.

    Attributes
    ----------
    kind
        ``instrument`` or ``observer``.
    name
        Which; ``not named`` where the log has none.
    observer
        Of an instrument: the one who took all its rows and no others, so that one bias may be of either and
        counts once; else None.
    count
        Rows with a reference; only they count below.
    without_reference
        Rows without one.
    means_deg
        Mean of reading and reference for each counted row, degrees.
    differences_deg
        Reading minus reference for each, degrees.
    bias_deg
        Mean difference; None without a row.
    bias_low_deg
        Lower end of its 95 % interval, degrees; None below two rows.
    bias_high_deg
        Upper end of its 95 % interval, degrees; None below two rows.
    spread_deg
        Standard deviation of the differences (n - 1); None below two rows.
    limit_low_deg
        Lower limit of agreement, degrees; None below two rows.
    limit_high_deg
        Upper limit of agreement, degrees: 95 % of further differences lie between the two.
    limit_half_width_deg
        Half-width of the 95 % interval of either limit; None below two rows.
    half_width_deg
        What the two numbers below are for.
    needed_for_bias
        Rows in all that bring the interval of the bias down to half_width_deg; None below two rows.
    needed_for_limits
        Rows in all that bring the interval of a limit down to half_width_deg; None below two rows.
    """

    kind: str
    name: str
    observer: str | None
    count: Count
    without_reference: Count
    means_deg: tuple[float, ...] = field(metadata=NOT_JSON)
    differences_deg: tuple[float, ...] = field(metadata=NOT_JSON)
    bias_deg: float | None
    bias_low_deg: float | None
    bias_high_deg: float | None
    spread_deg: NotNegative | None
    limit_low_deg: float | None
    limit_high_deg: float | None
    limit_half_width_deg: NotNegative | None
    half_width_deg: NotNegative
    needed_for_bias: Count | None
    needed_for_limits: Count | None

    @property
    def who(self) -> tuple[str, ...]:
        """``instrument clino``, ``observer Ana``, or both where all their rows are the same."""
        observer = () if self.observer is None else (f"observer {self.observer}",)
        return (f"{self.kind} {self.name}", *observer)

    @property
    def sentence(self) -> str:
        """What the rows say, in plain words."""
        who = " and ".join(self.who)
        if self.bias_deg is None:
            return f"{who}: no reading with a reference yet, so nothing can be said."
        # To the nearest tenth, as the picture does: neither side of it is the careful one.
        side = "gentler" if self.bias_deg < 0.0 else "steeper"
        reads = f"reads {abs(self.bias_deg):.1f}° {side} than the references"
        if self.spread_deg is None or self.bias_low_deg is None or self.bias_high_deg is None:
            return f"{who}: one reading {reads}; one difference shows neither bias nor spread."
        if self.spread_deg == 0.0:
            return (
                f"{who}: on average of {self.count} {reads}, all alike; so even a spread is more "
                "likely copied or rounded than real."
            )
        if self.limit_low_deg is None or self.limit_high_deg is None:
            return f"{who}: its limits are not known."
        low, high = lower(self.limit_low_deg).signed, slope(self.limit_high_deg).signed
        known = self.bias_low_deg > 0.0 or self.bias_high_deg < 0.0
        verdict = "more than chance explains" if known else "which chance alone could do"
        return (
            f"{who}: on average of {self.count} {reads}, {verdict}; 95 % of further "
            f"readings fall within about {low}° to {high}° of them, and "
            f"{self.needed_for_bias} readings in all would give the average to "
            f"{self.half_width_deg:g}°."
        )


@dataclass(frozen=True)
class PlaceReading:
    """One row at a place.

    Attributes
    ----------
    observer, instrument
        Who, and with what.
    mean_deg
        Mean of their readings, degrees.
    uncertainty_95_deg
        Half-width of its 95 % interval, degrees.
    """

    observer: str
    instrument: str
    mean_deg: SlopeDeg
    uncertainty_95_deg: NotNegative


@dataclass(frozen=True)
class PlaceReadings:
    """What several people read at one place.

    Attributes
    ----------
    name
        The check's, with its plan; else the position, else what it was compared with.
    reference_low_deg
        Least reference slope of its rows, degrees; None without one.
    reference_high_deg
        Greatest reference slope of its rows, degrees; None without one.
    readings
        In the order of observers and instruments.
    """

    name: str
    reference_low_deg: SlopeDeg | None
    reference_high_deg: SlopeDeg | None
    readings: tuple[PlaceReading, ...]


@dataclass(frozen=True)
class Review:
    """What a log of readings says, or those of a class, and which lines are damaged.

    Attributes
    ----------
    rows
        Number of rows looked at.
    doubled
        Rows that stood in several logs alike, and count once.
    places
        Readings by place, by name.
    agreements
        First the instruments by name, then the observers, save those whose rows are all those of one
        instrument and who stand with it; empty without rows.
    damaged
        Lines of the log that are no rows.
    cautions
        Those that apply.
    """

    rows: Count
    doubled: Count
    places: tuple[PlaceReadings, ...]
    agreements: tuple[Agreement, ...]
    damaged: tuple[DamagedRow, ...]
    cautions: Cautions


def review(
    rows: Sequence[LogRow],
    damaged: Sequence[DamagedRow] = (),
    *,
    doubled: int = 0,
    names: bool = True,
) -> Review:
    """Look at a log by instrument, by observer and by place.

    Parameters
    ----------
    rows
        The log, or those of a class by `merged_rows`.
    doubled
        Rows that `merged_rows` left out.
    names
        Whether observers are named; else they are numbered, in the order of the log.

    Raises
    ------
    LogError
        More than `MOST_ROWS` rows, or `MOST_NAMES` instruments, observers or places.
    """
    if len(rows) + len(damaged) > MOST_ROWS:
        raise LogError(_too_many(MOST_ROWS, "rows", len(rows) + len(damaged)))
    for what, many in (
        ("instruments", {row.instrument for row in rows}),
        ("observers", {row.observer for row in rows}),
        ("places", {_place_name(row) for row in rows}),
    ):
        if len(many) > MOST_NAMES:
            raise LogError(_too_many(MOST_NAMES, what, len(many)))
    if not names:
        numbers: dict[str, str] = {}
        for row in rows:
            numbers.setdefault(row.observer.strip(), f"person {len(numbers) + 1}")
        rows = [replace(row, observer=numbers[row.observer.strip()]) for row in rows]
    instruments = _groups(rows, lambda row: row.instrument)
    observers = _groups(rows, lambda row: row.observer)
    alone = {
        instrument: observer
        for instrument, those in instruments.items()
        for observer, their in observers.items()
        if those == their
    }
    agreements = [
        _agreement("instrument", name, alone.get(name), those) for name, those in instruments.items()
    ]
    agreements += [
        _agreement("observer", name, None, their)
        for name, their in observers.items()
        if name not in alone.values()
    ]
    cautions = cautions_for(Situation(from_reading=True))
    return Review(len(rows), doubled, _places(rows), tuple(agreements), tuple(damaged), cautions)


def _groups(rows: Sequence[LogRow], name_of: Callable[[LogRow], str]) -> dict[str, list[LogRow]]:
    groups: dict[str, list[LogRow]] = {}
    for row in rows:
        groups.setdefault(name_of(row).strip() or "not named", []).append(row)
    return dict(sorted(groups.items(), key=lambda item: in_order(item[0])))


def _too_many(most: int, what: str, found: int) -> str:
    return (
        f"Logs to look at should have at most {most} {what}; these have {found}. Take those of one class or "
        "one season."
    )


def merged_rows(logs: Sequence[Sequence[LogRow]]) -> tuple[list[LogRow], int]:
    """Rows of several logs, those that were copied from one into another once.

    The rows in order, a row that is equal in every cell as often as it stands in that log which
    holds it most often; and how many were left out.
    """
    rows: list[LogRow] = []
    kept: Counter[LogRow] = Counter()
    for log in logs:
        here: Counter[LogRow] = Counter()
        for row in log:
            here[row] += 1
            if here[row] > kept[row]:
                kept[row] += 1
                rows.append(row)
    return rows, sum(map(len, logs)) - len(rows)


def _places(rows: Sequence[LogRow]) -> tuple[PlaceReadings, ...]:
    found = []
    for name, here in _groups(rows, _place_name).items():
        known = [row.reference_slope_deg for row in here if row.reference_slope_deg is not None]
        readings = [
            PlaceReading(row.observer.strip(), row.instrument.strip(), row.mean_deg, row.uncertainty_95_deg)
            for row in here
        ]
        found.append(
            PlaceReadings(
                name,
                min(known, default=None),
                max(known, default=None),
                tuple(sorted(readings, key=lambda one: (in_order(one.observer), in_order(one.instrument)))),
            )
        )
    return tuple(found)


def _place_name(row: LogRow) -> str:
    if row.check.strip():
        plan = row.plan.strip()
        return f"check {row.check.strip()}{f' of {plan}' if plan else ''}"
    if row.lat_deg is not None and row.lon_deg is not None:
        return f"{row.lat_deg:.4f}, {row.lon_deg:.4f}"  # within some 10 m
    return row.reference_source.strip() or "place not said"


def in_order(name: str) -> list[tuple[int, str]]:
    """Sort key that has check 9 before check 10, and person 9 before person 10."""
    return [(int(part), "") if part.isdigit() else (0, part) for part in re.split(r"(\d+)", name)]


def _agreement(kind: str, name: str, observer: str | None, rows: Sequence[LogRow]) -> Agreement:
    pairs = [(row.mean_deg, row.reference_slope_deg) for row in rows if row.reference_slope_deg is not None]
    differences = tuple(reading - reference for reading, reference in pairs)
    count = len(pairs)
    bias = fmean(differences) if count else None
    spread = limit_half = bias_half = reach = None
    if count > 1:
        spread = stdev(differences)
        t = student_t(count - 1)
        reach = t * spread * math.sqrt(1.0 + 1.0 / count)
        bias_half = t * spread / math.sqrt(count)
        limit_half = t * math.sqrt(LIMIT_VARIANCE / count) * spread

    def beside(half: float | None) -> float | None:
        return None if bias is None or half is None else bias + half

    def minus(half: float | None) -> float | None:
        return None if half is None else -half

    return Agreement(
        kind=kind,
        name=name,
        observer=observer,
        count=count,
        without_reference=len(rows) - count,
        means_deg=tuple((reading + reference) / 2.0 for reading, reference in pairs),
        differences_deg=differences,
        bias_deg=bias,
        bias_low_deg=beside(minus(bias_half)),
        bias_high_deg=beside(bias_half),
        spread_deg=spread,
        limit_low_deg=beside(minus(reach)),
        limit_high_deg=beside(reach),
        limit_half_width_deg=limit_half,
        half_width_deg=HALF_WIDTH_DEG,
        needed_for_bias=None if spread is None else readings_needed(spread),
        needed_for_limits=None if spread is None else readings_needed(spread, of_limit=True),
    )
