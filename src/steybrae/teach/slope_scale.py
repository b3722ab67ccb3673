"""Slope scales for printed maps: what spacing stands for what slope, and how far a ruler's error moves it.

A *comb* is a row of lines as far apart as contours on ground of one slope: laid on a map it
says whether that ground is steeper or gentler. A *wedge* joins the combs of all slopes: its
lines close in as the slope grows. Both are made for single gaps and, where it is known which
contours are thick, for index lines. The gap is that of `steybrae.paper.spacing.gap_for_slope_mm`.

Ground of slope `s` has its contours ``w = 1000 n CI / (tan(s) S)`` mm apart over `n` gaps. A ruler
that reads ``w + e`` or ``w - e`` says ``atan(1000 n CI / ((w + e) S))`` or the same with ``w - e``; where
`e` is as large as `w`, nothing is left between the lines and the answer may be anything up to 90.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Final

from steybrae.bands import DEFAULT_EDGES_DEG
from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.paper.measurement import check_index_every
from steybrae.paper.spacing import gap_for_slope_mm
from steybrae.quantities import gradient_to_angle

SCALE_SLOPES_DEG: Final = (10.0, 15.0, 20.0, *DEFAULT_EDGES_DEG)
"""Slopes of the combs, degrees: the default band edges, and gentler ones to learn on (our choice)."""

LEAST_GAP_MM: Final = 0.3
"""Least gap that a comb is drawn with, and that is asked for on a practice map but where the trap is
that lines were left out, mm: fine printed lines are about 0.1 mm wide and gaps
below 0.15 to 0.25 mm cannot be read (common practice, no source)."""

EDGE_MM: Final = 172.0
"""Room along a straight edge, mm: the width of the paper less its margins (our choice)."""

WEDGE_MM: Final = 40.0
"""Widest wedge, mm: two go on one card (our choice)."""

COMB_ROOM_MM: Final = (6.5, 3.0)
"""Least room for a comb with its label, and the space to the next, mm (our choice)."""

MOST_SPACES: Final = 5
"""Spaces in a comb of single gaps, and in a wedge: as many as between index lines on many maps."""

MOST_INDEX_SPACES: Final = 2
"""Spaces in a comb of index lines (our choice)."""

USUAL_INDEX_EVERY: Final = 5
"""Every how many contours one is thick on most maps (common practice, no source)."""

COMMON_INTERVALS_M: Final = (5.0, 10.0, 15.0, 20.0, 25.0, 50.0, 6.096, 12.192, 15.24, 24.384, 30.48)
"""Intervals of which that holds: metres, and 20, 40, 50, 80 and 100 ft (common practice, no source)."""

STEEPEST_DEG: Final = 60.0
"""A wedge ends here, degrees, where its lines are not too close before (our choice)."""

GENTLEST_DEG: Final = 8.0
"""A wedge begins here, degrees, where it is not too wide (our choice)."""


@dataclass(frozen=True)
class Comb:
    """Lines as far apart as contours on ground of one slope: one more than spaces, unrounded."""

    slope_deg: float
    spacing_mm: float
    spaces: int

    @property
    def length_mm(self) -> float:
        """From the first line to the last, mm."""
        return self.spaces * self.spacing_mm


@dataclass(frozen=True)
class Wedge:
    """Lines, one more than spaces, whose distance falls as the slope grows, degree by degree."""

    spaces: int
    slopes_deg: tuple[float, ...]
    spacings_mm: tuple[float, ...]


@dataclass(frozen=True)
class MapScale:
    """Slope scales for one map.

    Attributes
    ----------
    name
        Scale and interval in words.
    scale, interval_m
        Denominator, metres.
    index_every
        Every how many contours one is thick; None where not said.
    combs, index_combs
        For single gaps and for index lines.
    wedge, index_wedge
        Likewise; None where no slope fits.
    notes
        Which slopes were left out, and why.
    """

    name: str
    scale: float
    interval_m: float
    index_every: int | None
    combs: tuple[Comb, ...]
    index_combs: tuple[Comb, ...]
    wedge: Wedge | None
    index_wedge: Wedge | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class ScaleSheet:
    """Slope scales for one or several maps, in the order asked for; cautions are never empty."""

    maps: tuple[MapScale, ...]
    cautions: tuple[Caution, ...]


def map_name(scale: float, interval_m: float, interval_text: str = "") -> str:
    """Scale and interval in words: ``1:25 000, contour every 10 m``; feet keep their own name."""
    grouped = f"{scale:,.0f}".replace(",", " ")
    metres = f"{interval_m:.4g} m"
    feet = re.fullmatch(r"\s*([\d.]+)\s*(ft|usft)\s*", interval_text, re.IGNORECASE)
    own = f"{feet[1]} {feet[2].lower()} ({metres})" if feet else metres
    return f"1:{grouped}, contour every {own}"


def map_scale(
    scale: float,
    interval_m: float,
    *,
    interval_text: str = "",
    slopes_deg: Sequence[float] = SCALE_SLOPES_DEG,
    index_every: int | None = None,
) -> MapScale:
    """Combs and wedges for one map, as many lines and slopes as fit on paper.

    The interval as typed names its own unit. Without `index_every`, `USUAL_INDEX_EVERY` is taken on
    maps of `COMMON_INTERVALS_M`, with a note to count on the sheet; on others the index parts are
    left out. Refused as in `gap_for_slope_mm`, for an `index_every` below 2, and for a map of which
    no slope can be drawn.
    """
    check_index_every(index_every)
    slopes = sorted(set(slopes_deg or SCALE_SLOPES_DEG))
    combs, notes = _combs(slopes, scale, interval_m, 1, MOST_SPACES)
    index_combs: tuple[Comb, ...] = ()
    if index_every is None and any(math.isclose(interval_m, one) for one in COMMON_INTERVALS_M):
        index_every = USUAL_INDEX_EVERY
        notes += (f"Every {index_every}th line is taken as thick, as is common: count on your sheet first.",)
    if index_every is not None:
        index_combs, more = _combs(slopes, scale, interval_m, index_every, MOST_INDEX_SPACES)
        notes += more
    else:
        notes += ("Index lines: not said how many contours make one, so there is no scale for them.",)
    if not combs and not index_combs:
        message = (
            f"At least one slope should have a spacing between {LEAST_GAP_MM:g} mm and {EDGE_MM:g} mm; "
            f"on {map_name(scale, interval_m, interval_text)} none of those asked for has. "
            "Check scale and interval."
        )
        raise QuantityError(message)
    return MapScale(
        name=map_name(scale, interval_m, interval_text),
        scale=scale,
        interval_m=interval_m,
        index_every=index_every,
        combs=combs,
        index_combs=index_combs,
        wedge=_wedge(scale, interval_m, 1, MOST_SPACES),
        index_wedge=None
        if index_every is None
        else _wedge(scale, interval_m, index_every, MOST_INDEX_SPACES),
        notes=notes,
    )


def _combs(
    slopes: Sequence[float], scale: float, interval_m: float, every: int, most_spaces: int
) -> tuple[tuple[Comb, ...], tuple[str, ...]]:
    """Combs that fit along one edge: fewer spaces first, then without the gentlest slopes."""
    gaps = {slope: gap_for_slope_mm(slope, interval_m, scale, every) for slope in slopes}
    readable = [slope for slope in slopes if gaps[slope] >= LEAST_GAP_MM]
    what = "single gaps" if every == 1 else f"index lines ({every} gaps)"
    notes: list[str] = []
    if len(readable) < len(slopes):
        hidden = ", ".join(f"{slope:g}°" for slope in slopes if gaps[slope] < LEAST_GAP_MM)
        notes.append(f"No comb of {what} for {hidden}: lines closer than {LEAST_GAP_MM:g} mm cannot be read.")
    spaces, kept = most_spaces, readable
    while kept and _edge_length_mm([spaces * gaps[slope] for slope in kept]) > EDGE_MM:
        if spaces > 1:
            spaces -= 1
        else:
            kept = kept[1:]
    if len(kept) < len(readable):
        wide = ", ".join(f"{slope:g}° ({gaps[slope]:.0f} mm)" for slope in readable if slope not in kept)
        notes.append(f"Too wide for the edge, {what}: {wide}. Use a ruler.")
    return tuple(Comb(slope, gaps[slope], spaces) for slope in kept), tuple(notes)


def _edge_length_mm(lengths: Sequence[float]) -> float:
    room, between = COMB_ROOM_MM
    return sum(max(length, room) + between for length in lengths)


def _wedge(scale: float, interval_m: float, every: int, most_spaces: int) -> Wedge | None:
    """Every whole degree whose lines are far enough apart and not too wide; None where fewer than 5."""
    every_deg = range(int(GENTLEST_DEG), int(STEEPEST_DEG) + 1)
    gaps = {deg: gap_for_slope_mm(deg, interval_m, scale, every) for deg in every_deg}
    for spaces in range(most_spaces, 0, -1):
        kept = [deg for deg in every_deg if gaps[deg] >= LEAST_GAP_MM and spaces * gaps[deg] <= WEDGE_MM]
        # Fewer lines, where that is what it takes to begin at a gentle slope.
        if len(kept) >= 5 and (kept[0] <= 12 or spaces == 1):
            return Wedge(spaces, tuple(float(deg) for deg in kept), tuple(gaps[deg] for deg in kept))
    return None


def scale_sheet(maps: Sequence[MapScale]) -> ScaleSheet:
    """Put the scales of several maps on one sheet; the same one several times for a class."""
    finest = min(maps, key=lambda one: one.interval_m)
    return ScaleSheet(
        tuple(maps),
        cautions_for(
            Situation(
                from_paper=True,
                lesson=True,
                interval_m=finest.interval_m,
                single_gap=True,
                thinned_lines=True,
            )
        ),
    )


ERRORS_MM: Final = (0.1, 0.2, 0.3, 0.4, 0.5)
"""Errors of a reading, mm: from a fine line's width to half a division of a ruler (our choice)."""

GAP_COUNTS: Final = (1, 5, 10)
"""Gaps measured over: one, and one and two index gaps on many maps (our choice)."""

TABLE_SLOPES_DEG: Final = (15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 55.0)
"""Slopes of the table, degrees (our choice)."""

CURVE_SLOPES_DEG: Final = tuple(float(deg) for deg in range(10, 61))
"""Slopes of the picture, degrees (our choice)."""

SHOWN_GAP_DEG: Final = 30.0
"""The gap that is drawn true to size is that of this slope, degrees: where steep begins."""


def misread_deg(
    slope_deg: float, gaps: int, interval_m: float, scale: float, error_mm: float
) -> tuple[float, float]:
    """Slopes that a ruler reads when it reads a slope over some gaps too long and too short, degrees.

    The error is that of the whole length; the second is 90 where it is as large as the length. What
    is refused: see `gap_for_slope_mm`.
    """
    across_mm = gap_for_slope_mm(slope_deg, interval_m, scale, gaps)
    rise_mm = 1000.0 * gaps * interval_m / scale
    low = gradient_to_angle(rise_mm / (across_mm + error_mm))
    left = across_mm - error_mm
    return low, 90.0 if left <= 0.0 else gradient_to_angle(rise_mm / left)


@dataclass(frozen=True)
class ErrorRow:
    """One slope.

    Attributes
    ----------
    slope_deg
        Of the ground, degrees.
    across_mm
        Length on paper over the table's gaps, mm.
    read_deg
        For each of `ERRORS_MM`: lowest and highest slope read, degrees.
    """

    slope_deg: float
    across_mm: float
    read_deg: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ErrorTable:
    """Rows for one count of gaps; `ground_30_m` is what they average over at 30 degrees, metres."""

    gaps: int
    ground_30_m: float
    rows: tuple[ErrorRow, ...]


@dataclass(frozen=True)
class ErrorCurve:
    """One error over one count of gaps, for the slopes of `CURVE_SLOPES_DEG`; degrees read."""

    gaps: int
    error_mm: float
    slopes_deg: tuple[float, ...]
    low_deg: tuple[float, ...]
    high_deg: tuple[float, ...]


@dataclass(frozen=True)
class ErrorSheet:
    """What a ruler does on one map, scale and interval in words; one gap on ground of 30 degrees, mm.

    Tables and curves are for each of `GAP_COUNTS`; curves with the largest error first. Cautions
    are never empty.
    """

    name: str
    gap_30_mm: float
    tables: tuple[ErrorTable, ...]
    curves: tuple[ErrorCurve, ...]
    cautions: tuple[Caution, ...]


def error_sheet(scale: float, interval_m: float, interval_text: str = "") -> ErrorSheet:
    """Numbers of the sheet on reading errors; the interval as typed names its own unit."""
    return ErrorSheet(
        name=map_name(scale, interval_m, interval_text),
        gap_30_mm=gap_for_slope_mm(SHOWN_GAP_DEG, interval_m, scale),
        tables=tuple(_table(gaps, interval_m, scale) for gaps in GAP_COUNTS),
        curves=tuple(
            _curve(gaps, error_mm, interval_m, scale)
            for gaps in GAP_COUNTS
            for error_mm in reversed(ERRORS_MM)
        ),
        cautions=cautions_for(
            Situation(from_paper=True, lesson=True, interval_m=interval_m, single_gap=True)
        ),
    )


def _table(gaps: int, interval_m: float, scale: float) -> ErrorTable:
    rows = tuple(
        ErrorRow(
            slope_deg,
            gap_for_slope_mm(slope_deg, interval_m, scale, gaps),
            tuple(misread_deg(slope_deg, gaps, interval_m, scale, error_mm) for error_mm in ERRORS_MM),
        )
        for slope_deg in TABLE_SLOPES_DEG
    )
    ground_m = gap_for_slope_mm(SHOWN_GAP_DEG, interval_m, scale, gaps) * scale / 1000.0
    return ErrorTable(gaps, ground_m, rows)


def _curve(gaps: int, error_mm: float, interval_m: float, scale: float) -> ErrorCurve:
    read = [misread_deg(slope_deg, gaps, interval_m, scale, error_mm) for slope_deg in CURVE_SLOPES_DEG]
    return ErrorCurve(
        gaps, error_mm, CURVE_SLOPES_DEG, tuple(low for low, _ in read), tuple(high for _, high in read)
    )
