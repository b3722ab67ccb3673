"""What a bulletin says beside a line or a place. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from steybrae.cautions import Caution
from steybrae.forecast.bulletin import Bulletin
from steybrae.forecast.choose import Finding
from steybrae.forecast.matrix import HeightsByAspect
from steybrae.forecast.named import Crossed

__all__ = [
    "NO_FORECAST_WORDS",
    "ForecastBeside",
    "LegForecast",
    "NamedAtPlace",
    "NamedOnLeg",
    "ReductionRow",
]

NO_FORECAST_WORDS = (
    "No avalanche forecast was given (--bulletin): none of this takes today's snow into account. Read the "
    "local forecast."
)
"""What every output says that has no bulletin beside it."""

Kind = Literal["danger_rating", "avalanche_problem"]


@dataclass(frozen=True)
class NamedOnLeg:
    """One rating or problem and the ground of a leg that it names.

    Attributes
    ----------
    kind, bulletin, number
        Which: its kind, and its place in `ForecastBeside.bulletins` and in that one's list, from 0.
    value
        The level or type in the standard's word.
    where
        Heights, aspects and part of the day, in words.
    meets_heights
        Whether the leg comes within its heights at all, however steep; True where the heights of
        the leg are not known.
    line, corridor, overhead
        The three grounds.
    """

    kind: Kind
    bulletin: int
    number: int
    value: str
    where: str
    meets_heights: bool
    line: Crossed
    corridor: Crossed
    overhead: Crossed

    @property
    def touches(self) -> bool:
        """Whether it names any of the three grounds."""
        return any(ground.length_m > 0.0 for ground in (self.line, self.corridor, self.overhead))


@dataclass(frozen=True)
class NamedAtPlace:
    """One rating or problem and whether it names ground at a place; as `NamedOnLeg`.

    Attributes
    ----------
    within, within_unknown
        Whether it names ground within the circle of the position error, and whether some of
        that is unknown.
    overhead, overhead_unknown
        The same of start zones that look down on the place.
    sectors
        Those of the named aspects that the ground within the circle may face.
    """

    kind: Kind
    bulletin: int
    number: int
    value: str
    where: str
    meets_heights: bool
    within: bool
    within_unknown: bool
    overhead: bool
    overhead_unknown: bool
    sectors: tuple[str, ...]


@dataclass(frozen=True)
class ReductionRow:
    """What a published method has for the highest level that names a leg.

    Attributes
    ----------
    level, method_deg, look_at
        The level is the highest of those for the leg's heights and for ground overhead; see
        `steybrae.forecast.levels.ReductionAngle`.
    line_m, corridor_m
        Metres of the leg of that angle or steeper, on the line and beside it, at any height and
        aspect; None without an angle.
    at_least
        Whether unknown ground may add to them.
    source
        Of the method.
    """

    level: str
    method_deg: float | None
    look_at: str
    line_m: float | None
    corridor_m: float | None
    at_least: bool
    source: str


@dataclass(frozen=True)
class LegForecast:
    """One leg.

    Attributes
    ----------
    number, from_, to
        As in the screening.
    start, end
        When it is walked, ISO 8601; None where not given.
    findings
        What has to be seen first on this leg.
    named
        Every rating and problem of the bulletins, in their order, and what it names here.
    reduction
        Only where asked for.
    """

    number: int
    from_: str
    to: str
    start: str | None
    end: str | None
    findings: tuple[Finding, ...]
    named: tuple[NamedOnLeg, ...]
    reduction: ReductionRow | None


@dataclass(frozen=True, eq=False)
class ForecastBeside:
    """What a bulletin says beside a line or a place.

    Attributes
    ----------
    file, region_asked
        Name of the file; region as typed, None where not.
    start, end
        When the ground is walked, ISO 8601; None where not given.
    treeline_m
        As stated; None where not.
    least_slope_deg
        Ground at or above this slope is matched on the line, beside it and within a circle.
    start_from_deg
        Ground overhead is matched where it may be a start zone's, from this slope on.
    findings
        What has to be seen before anything else.
    bulletins
        What the forecasters wrote.
    legs
        Of a line.
    place
        Of a place.
    notes
        How the file was read, and what was passed over.
    words
        What matching means and what it does not.
    cautions
        Those that the bulletin brings with it, the findings among them: so they reach every output
        that carries cautions.
    matrix
        Ground of the whole line by height and aspect, for pictures; None of a place, and where no
        ground is as steep as asked for.
    """

    file: str
    region_asked: str | None
    start: str | None
    end: str | None
    treeline_m: float | None
    least_slope_deg: float
    start_from_deg: float | None
    findings: tuple[Finding, ...]
    bulletins: tuple[Bulletin, ...]
    legs: tuple[LegForecast, ...]
    place: tuple[NamedAtPlace, ...]
    notes: tuple[str, ...]
    words: tuple[str, ...]
    cautions: tuple[Caution, ...] = field(default=(), metadata={"json": False})
    matrix: HeightsByAspect | None = field(default=None, metadata={"json": False})
