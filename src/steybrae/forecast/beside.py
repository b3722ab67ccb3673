"""What a bulletin says beside a line or a place. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from steybrae.cautions import Caution
from steybrae.forecast.bulletin import Bulletin, DangerValue
from steybrae.forecast.choose import Finding
from steybrae.forecast.matrix import HeightsByAspect
from steybrae.forecast.named import Crossed
from steybrae.ranges import Count, NotNegative, Ordinal, Range
from steybrae.terrain.attributes import Sector

NO_FORECAST_WORDS = (
    "No avalanche forecast was given as a bulletin: nothing here knows today's snow. Read the local one."
)
"""What every output says that has no bulletin beside it."""

Kind = Literal["danger_rating", "avalanche_problem"]


@dataclass(frozen=True)
class NamedOnLeg:
    """One rating or problem and the ground of a leg that it names.

    Attributes
    ----------
    kind
        Rating or problem.
    bulletin
        Place of its bulletin in the list, from 0.
    number
        Place in the bulletin's list of its kind, from 0.
    value
        The level or type in the standard's word.
    where
        Heights, aspects and part of the day, in words.
    meets_heights
        Whether the leg comes within its heights at all, however steep; True where the heights of
        the leg are not known.
    line
        The cells that the line touches.
    corridor
        The ground beside it.
    overhead
        Start zones that look down on it.
    """

    kind: Kind
    bulletin: Count
    number: Count
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
    within
        Whether it names ground within the circle.
    within_unknown
        Whether some of that is unknown.
    overhead
        Whether it names start zones that look down on the place.
    overhead_unknown
        Whether unknown ground may be among them.
    sectors
        Those of the named aspects that the ground within the circle may face.
    kind
        Rating or problem.
    bulletin
        Place of its bulletin in the list, from 0.
    number
        Place in the bulletin's list of its kind, from 0.
    value
        Level or type in the standard's word.
    where
        Heights, aspects and part of the day, in words.
    meets_heights
        Whether the leg or the place comes within its heights at all, however steep; true where its
        heights are not known.
    """

    kind: Kind
    bulletin: Count
    number: Count
    value: str
    where: str
    meets_heights: bool
    within: bool
    within_unknown: bool
    overhead: bool
    overhead_unknown: bool
    sectors: tuple[Sector, ...]


@dataclass(frozen=True)
class ReductionRow:
    """A published method's angle for a leg; for those trained in it, never a judgement.

    Attributes
    ----------
    level
        The highest level of those for the heights of the leg and for ground overhead.
    method_deg
        The method's angle, degrees; None where it has none.
    look_at
        Which ground the method looks at.
    line_m
        Metres of the leg of that angle or steeper on the line; None without an angle.
    corridor_m
        Metres of the leg of that angle or steeper beside it; None without an angle.
    at_least
        Whether unknown ground may add to them.
    source
        Of the method.
    """

    level: DangerValue
    method_deg: float | None
    look_at: str
    line_m: NotNegative | None
    corridor_m: NotNegative | None
    at_least: bool
    source: str


@dataclass(frozen=True)
class LegForecast:
    """One leg.

    Attributes
    ----------
    number
        As in the screening.
    from_
        Where it starts.
    to
        Where it ends.
    start
        When it is walked, ISO 8601 with zone; None where not given.
    end
        The end of that.
    findings
        What has to be seen first on this leg.
    named
        Every rating and problem of the bulletins, in their order, and what it names here.
    reduction
        None unless asked for, and where no level names the leg.
    """

    number: Ordinal
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
    file
        Name of the file.
    region_asked
        As typed; None where not.
    start
        When the ground is walked, ISO 8601 with zone; None where not given.
    end
        The end of that.
    treeline_m
        Height of the treeline as stated, metres; None where not.
    least_slope_deg
        Ground at or above this slope is matched on the line, beside it and within a circle.
    start_from_deg
        Ground overhead is matched where it may be a start zone's, from this slope on.
    findings
        What has to be seen before anything else: expired, not yet valid, other region, no rating.
    bulletins
        What the forecasters wrote.
    legs
        Of a line; empty for a place.
    place
        Of a place; empty for a line.
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
    treeline_m: NotNegative | None
    least_slope_deg: Annotated[float, Range(20, 90)]
    start_from_deg: float | None
    findings: tuple[Finding, ...]
    bulletins: tuple[Bulletin, ...]
    legs: tuple[LegForecast, ...]
    place: tuple[NamedAtPlace, ...]
    notes: tuple[str, ...]
    words: tuple[str, ...]
    cautions: tuple[Caution, ...] = field(default=(), metadata={"json": False})
    matrix: HeightsByAspect | None = field(default=None, metadata={"json": False})
