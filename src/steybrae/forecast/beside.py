"""What a bulletin says beside a line or a place, and its ratings by height and aspect.

Field names are the keys of the JSON contract.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import field
from itertools import pairwise
from typing import Annotated, Final, Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.cautions import Caution
from steybrae.forecast.bulletin import Bulletin, DangerValue, Part
from steybrae.forecast.choose import Finding
from steybrae.forecast.named import Crossed, GroundCells, LegGrounds, aspect_bits, plain_range_m
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, Count, NotNegative, Ordinal, Range
from steybrae.terrain.attributes import SECTORS, Sector
from steybrae.terrain.dem import Array

STEP_M: Final = 100.0
"""Least height of a row, metres: the standard's own resolution of bounds (CAAML v6)."""

_MOST_ROWS: Final = 10
"""Rows that have room for their three figures each (our choice); more ground has higher ones."""


@dataclass(frozen=True, eq=False)
class HeightsByAspect:
    """Metres of a line by height and aspect; arrays ``[row, sector]``, the lowest row first.

    Attributes
    ----------
    height_edges_m
        Shape ``(rows + 1,)``.
    line_m, corridor_m, overhead_m
        Metres of all legs on, beside and below ground of that height and aspect, the slope asked
        for or steeper; what lies within its uncertainty of an edge counts on both sides, so that
        they add up to more than the line.
    named
        ``[part, row, sector]``: what each rating and problem names, bounds as written.
    """

    height_edges_m: Array
    line_m: Array
    corridor_m: Array
    overhead_m: Array
    named: NDArray[np.bool_]


def heights_by_aspect(
    grounds: Sequence[LegGrounds], parts: Sequence[Part], least_deg: float, treeline_m: float | None
) -> HeightsByAspect | None:
    """Lay the grounds of all legs out by height and aspect; None where no leg has such ground.

    `parts` are ratings and problems; `least_deg` is the least slope on the line and beside it.
    """
    kinds = [
        [ground.line for ground in grounds],
        [ground.corridor for ground in grounds],
        [ground.overhead for ground in grounds],
    ]
    leasts = (least_deg, least_deg, 0.0)
    low, high = math.inf, -math.inf
    for cells_of, least in zip(kinds, leasts, strict=True):
        for cells in cells_of:
            some = cells.slope_deg >= least
            low = min(low, float(cells.low_m[some].min(initial=math.inf)))
            high = max(high, float(cells.high_m[some].max(initial=-math.inf)))
    if low > high:
        return None
    step = STEP_M * math.ceil((high - low) / STEP_M / _MOST_ROWS or 1)
    edges: Array = np.arange(math.floor(low / step), math.ceil(high / step) + 1, dtype=np.float64) * step
    if len(edges) == 1:
        edges = np.array([edges[0], edges[0] + step])
    line, corridor, overhead = (
        sum((_metres(cells, edges, least) for cells in cells_of), np.zeros((len(edges) - 1, len(SECTORS))))
        for cells_of, least in zip(kinds, leasts, strict=True)
    )
    found = HeightsByAspect(edges, line, corridor, overhead, _named(edges, parts, treeline_m))
    for array in (found.height_edges_m, found.line_m, found.corridor_m, found.overhead_m, found.named):
        array.flags.writeable = False
    return found


def _metres(cells: GroundCells, edges_m: Array, least_deg: float) -> Array:
    """Metres of a leg with ground of each height and aspect, as `crossed` has them, ``[row, sector]``."""
    steep, length_m = cells.slope_deg >= least_deg, np.diff(cells.edges_m)
    out = np.zeros((len(edges_m) - 1, len(SECTORS)))
    for row, (bottom, top) in enumerate(pairwise(edges_m.tolist())):
        here = np.flatnonzero(steep & (cells.high_m >= bottom) & (cells.low_m <= top))
        if len(here):
            bits = np.zeros(len(length_m), dtype=np.uint8)
            np.bitwise_or.at(bits, cells.at[here], cells.sectors[here])
            out[row] = [length_m[(bits & 1 << k) > 0].sum() for k in range(len(SECTORS))]
    return out


def _named(edges_m: Array, parts: Sequence[Part], treeline_m: float | None) -> NDArray[np.bool_]:
    out = np.zeros((len(parts), len(edges_m) - 1, len(SECTORS)), dtype=bool)
    for k, part in enumerate(parts):
        low, high = plain_range_m(part.elevation, treeline_m)
        rows = (edges_m[1:] > low) & (edges_m[:-1] < high)
        bits = aspect_bits(part.aspects)
        sectors = np.array([bool(bits >> s & 1) for s in range(len(SECTORS))])
        out[k] = rows[:, None] & sectors
    return out


NO_FORECAST_WORDS = (
    "No avalanche forecast was given as a bulletin: nothing here knows today's snow. Read the local one."
)
"""What every output says that has no bulletin beside it."""

Kind = Literal["danger_rating", "avalanche_problem"]


@dataclass(frozen=True)
class Named:
    """One rating or problem of a bulletin, and whether ground lies at its heights.

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
        Whether the leg or the place comes within its heights at all, however steep; True where its
        heights are not known.
    """

    kind: Kind
    bulletin: Count
    number: Count
    value: str
    where: str
    meets_heights: bool


@dataclass(frozen=True)
class NamedOnLeg(Named):
    """One rating or problem and the ground of a leg that it names.

    Attributes
    ----------
    line
        The cells that the line touches.
    corridor
        The ground beside it.
    overhead
        Start zones that look down on it.
    """

    line: Crossed
    corridor: Crossed
    overhead: Crossed

    @property
    def touches(self) -> bool:
        """Whether it names any of the three grounds."""
        return any(ground.length_m > 0.0 for ground in (self.line, self.corridor, self.overhead))

    @property
    def may_touch(self) -> bool:
        """Whether it does, or unknown ground could be among what it names."""
        return self.touches or any(ground.at_least for ground in (self.line, self.corridor, self.overhead))


@dataclass(frozen=True)
class NamedAtPlace(Named):
    """One rating or problem and whether it names ground at a place.

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
    """

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
        The highest level of those for the heights of the leg and for ground beside and above it,
        known or not.
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
    cautions: tuple[Caution, ...] = field(default=(), metadata=NOT_JSON)
    matrix: HeightsByAspect | None = field(default=None, metadata=NOT_JSON)


def caution_lines(cautions: Iterable[Caution], forecast: ForecastBeside | None) -> str:
    """Say cautions for a file beside a table: each key once, a tab, its text; a missing forecast too."""
    every = {caution.key: caution.text for caution in cautions}
    if forecast is None:
        every["no_forecast"] = NO_FORECAST_WORDS
    return "".join(f"{key}\t{text}\n" for key, text in every.items())
