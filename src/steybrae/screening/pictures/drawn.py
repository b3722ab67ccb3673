"""Map and profile of a screened line, described once for all who draw: lines, areas, marks and labels.

Positions on a map are those of the model's CRS; along a profile they are metres from the start and metres
of height or degrees of slope. What ink, dashes and letters a thing has is chosen by its kind, by who draws.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.screening.pictures.picture import UNKNOWN, Profile, Relief
from steybrae.screening.pictures.relief import lines_on_map
from steybrae.screening.result import ModelFacts, RouteScreening
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.gradients import runs, true_runs

LineKind = Literal[
    "contour", "index contour", "edge of known ground", "start zones", "corridor", "beside", "way off",
    "sight", "leg",
]  # fmt: skip
MarkKind = Literal["start", "turn point", "steepest", "place"]
LabelKind = Literal["leg", "place", "line"]

_SPARE: Final = (0.25, 0.28)
"""Room under and over the heights of a profile, share of their span: for words and for numbers of legs."""

_LEAST_SPAN_M: Final = 20.0
_TOP_DEG: Final = 45.0
_OVER_DEG: Final = 6.0
_STEPS: Final = (1.0, 2.0, 5.0)


@dataclass(frozen=True, eq=False)
class Line:
    """A line on a map, in pieces ``(n, 2)``; a contour is named by its height, a leg by its number."""

    kind: LineKind
    name: str
    parts: tuple[Array, ...]


@dataclass(frozen=True)
class Mark:
    """A sign at a place; `name` is its leg's number, or the place's letter."""

    kind: MarkKind
    name: str
    at: tuple[float, float]


@dataclass(frozen=True)
class Label:
    """Words at a place; `strong` ones tell more than a name."""

    kind: LabelKind
    name: str
    text: str
    at: tuple[float, float]
    strong: bool = False


@dataclass(frozen=True, eq=False)
class DrawnMap:
    """What lies on a map over its bands, in the order in which it is drawn; legs stand in theirs."""

    lines: tuple[Line, ...]
    marks: tuple[Mark, ...]
    labels: tuple[Label, ...]

    def of(self, *kinds: LineKind) -> tuple[Line, ...]:
        """Lines of some kinds."""
        return tuple(line for line in self.lines if line.kind in kinds)


def relief_of(screening: RouteScreening, what: str) -> Relief:
    """Ground round a line, which `what` is to be made from; `QuantityError` where the screening has none."""
    if screening.relief is None:
        message = (
            f"{what} should be made from a screening that holds the ground round the line; this one does "
            "not. Screen it again with --figure, --report or --save."
        )
        raise QuantityError(message)
    return screening.relief


def drawn_map(screening: RouteScreening, relief: Relief) -> DrawnMap:
    """Describe the map of a screened line."""
    legs, beside = relief.legs, lines_on_map(screening, relief.grid)
    lines = [
        *_ground_lines(relief),
        *(Line("way off" if one.way_off else "beside", one.name, (_both(one.x, one.y),)) for one in beside),
        *(Line("leg", str(leg.number), (_both(leg.x, leg.y),)) for leg in legs),
        *(
            Line("sight", place.text.split()[0], (np.array([place.at, place.source]),))
            for place in relief.places
            if place.source is not None
        ),
    ]
    marks = [
        *(Mark("turn point", str(leg.number), (float(leg.x[-1]), float(leg.y[-1]))) for leg in legs),
        Mark("start", "", (float(legs[0].x[0]), float(legs[0].y[0]))),
        *(Mark("steepest", str(leg.number), leg.steepest) for leg in legs if leg.steepest),
        *(Mark("place", place.text.split()[0], place.at) for place in relief.places),
    ]
    labels = [
        *(Label("leg", str(leg.number), str(leg.number), leg.middle) for leg in legs),
        *(
            Label("place", name, place.text, place.at, strong=place.text != name)
            for place in relief.places
            for name in place.text.split()[:1]
        ),
        *(Label("line", one.name, one.name, _middle(one.x, one.y)) for one in beside),
    ]
    return DrawnMap(tuple(lines), tuple(marks), tuple(labels))


def _both(x: Array, y: Array) -> Array:
    return np.column_stack((x, y))


def _middle(x: Array, y: Array) -> tuple[float, float]:
    return float(x[len(x) // 2]), float(y[len(y) // 2])


@lru_cache(maxsize=1)
def _ground_lines(relief: Relief) -> tuple[Line, ...]:
    """Lines of equal value; a picture and a page of one result ask for them in turn."""
    known = np.isfinite(relief.slope_deg).astype(float)
    levels, zones = relief.contours, relief.zones
    heavy = levels.index_levels_m or levels.levels_m
    thin = [level for level in levels.levels_m if level not in heavy]
    heights: dict[LineKind, Sequence[float]] = {"contour": thin, "index contour": heavy}
    return (
        *_isolines(relief.grid, relief.heights_m, heights),
        *_isolines(relief.grid, known, {"edge of known ground": (0.5,)}),
        *(_isolines(zones.grid, zones.source.astype(float), {"start zones": (0.5,)}) if zones else ()),
        *_isolines(relief.corridor_grid, relief.beyond_corridor_m, {"corridor": (0.0,)}),
    )


def _isolines(grid: Grid, values: Array, kinds: Mapping[LineKind, Sequence[float]]) -> Iterator[Line]:
    """Lines of equal value, one for each level that has any, of each kind."""
    from contourpy import contour_generator  # noqa: PLC0415  small commands do not pay for it

    finite = values[np.isfinite(values)]
    low, high = finite.min(initial=math.inf), finite.max(initial=-math.inf)
    here = [(kind, level) for kind, levels in kinds.items() for level in levels if low < level < high]
    if not here or min(values.shape) < 2:
        return
    rows, cols = values.shape
    x, y = np.broadcast_arrays(*grid.xy(np.arange(cols)[None, :] + 0.5, np.arange(rows)[:, None] + 0.5))
    known = np.ma.masked_invalid(values)
    found = contour_generator(x, y, known, corner_mask=True, line_type="Separate")
    for kind, level in here:
        parts = tuple(np.asarray(part) for part in found.lines(level))
        if parts:
            yield Line(kind, f"{level:g}", parts)


def bar_m(relief: Relief, most_mm: float) -> float:
    """Ground length of a scale bar: 1, 2 or 5 times a power of ten, at most as long as there is room."""
    wanted_m = most_mm * relief.scale_denominator / 1000.0
    power = 10.0 ** math.floor(math.log10(wanted_m))
    return max(step * power for step in _STEPS if step * power <= wanted_m * (1.0 + 1e-6))


@dataclass(frozen=True, eq=False)
class Stretch:
    """Ground of one band, by its position or `UNKNOWN`, along a profile.

    `surface` is metres along the line and height, ``(n, 2)``; NaN unknown.
    """

    start_m: float
    end_m: float
    band: int
    surface: Array


@dataclass(frozen=True, eq=False)
class DrawnProfile:
    """A profile: heights over slopes.

    Attributes
    ----------
    whole_m
        Length of the line.
    low_m, high_m, top_deg
        Ends of the axes; slopes begin at 0.
    stretches
        Bands along the line.
    heights, slope, corridor
        Lines, each a tuple of pieces ``(n, 2)``; broken where a value is unknown.
    interval
        Closed areas ``(n, 2)`` of the 95 % interval.
    edges_deg
        Edges of bands below the top.
    turns_m
        Turn points between the ends.
    legs
        Number of each leg and where its middle is.
    steepest
        Number, place and slope of each leg's steepest cell.
    """

    whole_m: float
    low_m: float
    high_m: float
    top_deg: float
    stretches: tuple[Stretch, ...]
    heights: tuple[Array, ...]
    slope: tuple[Array, ...]
    corridor: tuple[Array, ...]
    interval: tuple[Array, ...]
    edges_deg: tuple[float, ...]
    turns_m: tuple[float, ...]
    legs: tuple[tuple[int, float], ...]
    steepest: tuple[tuple[int, float, float], ...]

    @property
    def unit(self) -> tuple[str, float]:
        """Unit of the distances, and its metres."""
        return ("km", 1000.0) if self.whole_m >= 2000.0 else ("m", 1.0)

    @property
    def unknown(self) -> tuple[Stretch, ...]:
        """Stretches of unknown ground."""
        return tuple(part for part in self.stretches if part.band == UNKNOWN)


def drawn_profile(screening: RouteScreening, profile: Profile) -> DrawnProfile:
    """Describe the profile of a screened line."""
    at, turns = profile.edges_m, profile.turns_m
    surface = _both(at, profile.elevation_m)
    low_m, high_m = _height_range(profile.elevation_m)
    slopes = np.concatenate((profile.slope_deg, profile.slope_high_deg, profile.corridor_deg, [_TOP_DEG]))
    top_deg = float(min(90.0, np.nanmax(slopes) + _OVER_DEG))
    return DrawnProfile(
        float(at[-1]),
        low_m,
        high_m,
        top_deg,
        tuple(_stretches(profile.band, surface)),
        tuple(surface[first:last] for first, last in true_runs(np.isfinite(profile.elevation_m))),
        tuple(_steps(at, profile.slope_deg)),
        tuple(_steps(at, profile.corridor_deg)),
        tuple(
            np.concatenate((_both(x, high), _both(x, low)[::-1]))
            for x, low, high in _doubled(at, profile.slope_low_deg, profile.slope_high_deg)
        ),
        tuple(edge for edge in screening.settings.edges_deg if edge < top_deg),
        tuple(turns[1:-1].tolist()),
        tuple(
            (leg.number, float(start + end) / 2.0)
            for leg, start, end in zip(screening.legs, turns[:-1], turns[1:], strict=True)
        ),
        tuple(
            (leg.number, float(where), leg.slope_max_deg)
            for leg, where in zip(screening.legs, profile.steepest_m, strict=True)
            if leg.slope_max_deg is not None
        ),
    )


def _height_range(elevation_m: Array) -> tuple[float, float]:
    if not np.isfinite(elevation_m).any():
        return 0.0, 1.0
    low, high = float(np.nanmin(elevation_m)), float(np.nanmax(elevation_m))
    span = max(high - low, _LEAST_SPAN_M)
    return low - _SPARE[0] * span, high + _SPARE[1] * span


def _stretches(band: NDArray[np.intp], surface: Array) -> Iterator[Stretch]:
    for start, length in zip(*runs(band), strict=True):
        piece = surface[start : start + length + 1]
        yield Stretch(float(piece[0, 0]), float(piece[-1, 0]), int(band[start]), piece)


def _doubled(edges: Array, *values: Array) -> Iterator[tuple[Array, ...]]:
    """Bins as steps: both ends of each, and its values twice, where all of them are known."""
    for first, last in true_runs(np.all(np.isfinite(values), axis=0)):
        across = np.repeat(edges[first : last + 1], 2)[1:-1]
        yield (across, *(np.repeat(column[first:last], 2) for column in values))


def _steps(edges: Array, values: Array) -> Iterator[Array]:
    """Line through bins."""
    for across, heights in _doubled(edges, values):
        yield _both(across, heights)


def map_slope_words(model: ModelFacts) -> str:
    """Name what the map's slopes are over: ``slope of the ground over 20 m, two cells where steeper``."""
    over_m = max(model.corridor_baseline_m)
    short = ", two cells where steeper" if over_m > 2.01 * max(model.cell_size_m) else ""
    return f"slope of the ground over {over_m:.0f} m{short}"


def map_notes(relief: Relief) -> tuple[str, ...]:
    """Say what a map leaves out, and what its dots stand for."""
    notes: list[str] = []
    if relief.zones is None:
        notes.append("start zones are not drawn: their outlines lie too close, or the map is too large")
    if relief.cells > 1:
        notes.append(f"each dot of the map has the steepest of {relief.cells} × {relief.cells} cells")
    if relief.thinned > 1:
        notes.append(
            f"for the map only one height in {relief.thinned} each way was read, so its ground looks gentler "
            "than it is; the figures of the line rest on all"
        )
    return tuple(notes)


def slope_sign_words(known: bool) -> str:
    """Name the signs of the profile's lower panel; no interval is explained that is not there."""
    return "slope and its 95 % interval" if known else "slope; 95 % interval not known"


def interval_drawn(profile: Profile) -> bool:
    """Whether a 95 % interval is known anywhere along the line."""
    return bool((np.isfinite(profile.slope_low_deg) & np.isfinite(profile.slope_high_deg)).any())


def with_room(ticks_deg: Sequence[float], apart_deg: float) -> list[float]:
    """Those of some slopes whose figures do not touch; the nearest to steep ground first."""
    told: list[float] = []
    for tick in sorted(ticks_deg, key=lambda at: abs(at - STEEP_DEG)):
        if all(abs(tick - other) >= apart_deg for other in told):
            told.append(tick)
    return told


def contour_words(relief: Relief) -> str:
    """Interval of the contours in words, with what was left out of the user's own."""
    contours = relief.contours
    if not contours.levels_m:
        return "no contours: heights unknown or level"
    if contours.every == 1:
        return f"contours every {contours.interval_m:g} m"
    own_m = contours.interval_m / contours.every
    return f"contours every {contours.interval_m:g} m (1 in {contours.every} of your map's {own_m:g} m)"
