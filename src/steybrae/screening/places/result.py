"""Places that matter on a line, as results. Field names are the keys of the JSON contract."""

from __future__ import annotations

from steybrae.frozen import dataclass
from steybrae.ranges import BearingDeg, LatDeg, LonDeg, NotNegative, Ordinal, SlopeDeg
from steybrae.terrain.overhead.unknown import UnknownAt


@dataclass(frozen=True)
class OnLine:
    """A spot on the line.

    Attributes
    ----------
    leg, at_m
        Number of the leg, and how far along it, metres.
    chainage_m
        Metres from the start of the line.
    lat_deg, lon_deg
        On WGS 84, degrees.
    """

    leg: Ordinal
    at_m: NotNegative
    chainage_m: NotNegative
    lat_deg: LatDeg
    lon_deg: LonDeg


@dataclass(frozen=True)
class OverheadAtPlace:
    """Steepest sight from a place up to a start zone, from outside of start zones.

    Attributes
    ----------
    deg, quantity
        The larger of the sight, open or hidden, and the path angle, degrees, and which of them it is:
        no way is shorter than the straight one, so it is the sight.
    hidden
        Whether ground between hides the start zone: it can't be checked from there.
    bearing_true_deg, distance_m, rise_m
        Where it lies, degrees from true north, horizontal distance and height difference, metres.
    lat_deg, lon_deg
        Where that ground lies, on WGS 84, degrees.
    at
        From where.
    at_least
        Whether unknown ground could stand over the place too.
    """

    deg: SlopeDeg
    quantity: str
    hidden: bool
    bearing_true_deg: BearingDeg
    distance_m: NotNegative
    rise_m: float
    lat_deg: LatDeg
    lon_deg: LonDeg
    at: OnLine
    at_least: bool


@dataclass(frozen=True)
class DropAtPlace:
    """A drop on or beside the line.

    Attributes
    ----------
    off_m
        Ground distance from the line to its nearest cell, metres.
    fall_m
        Height of the highest one there, metres.
    side
        ``left`` or ``right`` of travel, ``both`` where there are drops on both.
    """

    off_m: NotNegative
    fall_m: NotNegative
    side: str


@dataclass(frozen=True)
class CorridorAtPlace:
    """Ground in the corridor of a place.

    Attributes
    ----------
    slope_max_deg, slope_high_deg
        Steepest, never gentler than the line in it, degrees, and the upper end of its 95 % interval; None
        where they are not known.
    side, off_m
        On which side of travel it lies, or the drop where it is not known, and how far from the line it
        begins, metres.
    left_deg, right_deg
        Steepest on each side, degrees; None where nothing is known.
    drop
        None where there is none.
    at
        Where it lies abreast.
    """

    slope_max_deg: SlopeDeg | None
    slope_high_deg: SlopeDeg | None
    side: str
    off_m: NotNegative
    left_deg: SlopeDeg | None
    right_deg: SlopeDeg | None
    drop: DropAtPlace | None
    at: OnLine


@dataclass(frozen=True)
class TrapAtPlace:
    """The most marked terrain trap of a place.

    Attributes
    ----------
    kind
        ``gully``, ``flattening`` or ``cliff below``.
    bearing_true_deg, distance_m
        Where the steep ground begins, degrees from true north and metres; a gully's bed runs that way.
    slope_deg
        Of the steep ground, degrees; None for a gully.
    depth_m
        Rise of the lower side of a gully, metres; None otherwise.
    """

    kind: str
    bearing_true_deg: BearingDeg
    distance_m: NotNegative
    slope_deg: SlopeDeg | None
    depth_m: NotNegative | None


@dataclass(frozen=True)
class TrapBelow:
    """The first trap on the way down from the steepest spot of a place.

    Attributes
    ----------
    kind
        ``drop``, ``gully`` or ``flattening``.
    off_m, fall_m
        How far away, and how far down it lies, metres.
    """

    kind: str
    off_m: NotNegative
    fall_m: NotNegative


@dataclass(frozen=True)
class PlaceThatMatters:
    """A stretch of the line that a leader has to know of.

    Attributes
    ----------
    name
        A, B, C along the line; after Z, AA.
    at_length
        Whether it is told at length; the others get a line. See `steybrae.screening.places.find.ORDER_RULE`.
    kinds
        ``underfoot``, ``corridor``, ``overhead``, ``unknown``, ``trap``: those that there is a piece of.
    from_, to
        Its ends.
    worst
        Its worst 100 m, where it is longer than 500; else None.
    length_m
        Along the line, metres.
    steep_m
        Metres of it with ground of 30 degrees and more underfoot.
    slope_max_deg, slope_low_deg, slope_high_deg
        Steepest of the cells on and around the line, over their own two cells, and the largest ends of
        their 95 % intervals, degrees; None unknown.
    slope_max_at
        Where that is; None unknown.
    open_above
        Whether it may be steeper still: read "at least".
    overhead, corridor
        None where nothing of the kind is known there.
    unknown_m, unknown_near_m, unknown_on_line_m
        Metres with unknown ground on the line, in the corridor or above; on the line or in the corridor;
        and on the line alone.
    unknown_at
        Where the first unknown ground on the line begins, or where there is none in the corridor; None
        where there is neither.
    unknown_above_at
        The nearest unknown ground that could look down on it; None where there is none.
    trap
        None where there is none.
    trap_below
        None where there is none, and where the place has a trap or a drop of its own.
    aspect_sectors
        Sectors that its ground of 30 degrees and more on the line faces, longest first.
    elevation_min_m, elevation_max_m
        Of the line, metres; None unknown.
    after
        Name of the last turn point before it.
    checks
        Names of its checks.
    words
        Why it matters, a sentence for each reason.
    again
        Letter of the place told at length whose ground it is again, there and back; else empty.
    """

    name: str
    at_length: bool
    kinds: tuple[str, ...]
    from_: OnLine
    to: OnLine
    worst: tuple[OnLine, OnLine] | None
    length_m: NotNegative
    steep_m: NotNegative
    slope_max_deg: SlopeDeg | None
    slope_low_deg: SlopeDeg | None
    slope_high_deg: SlopeDeg | None
    slope_max_at: OnLine | None
    open_above: bool
    overhead: OverheadAtPlace | None
    corridor: CorridorAtPlace | None
    unknown_m: NotNegative
    unknown_near_m: NotNegative
    unknown_on_line_m: NotNegative
    unknown_at: OnLine | None
    unknown_above_at: UnknownAt | None
    trap: TrapAtPlace | None
    aspect_sectors: tuple[str, ...]
    elevation_min_m: float | None
    elevation_max_m: float | None
    after: str
    checks: tuple[str, ...]
    words: str
    trap_below: TrapBelow | None = None
    again: str = ""


@dataclass(frozen=True)
class PossibleOnly:
    """A leg without a place, with ground that may be steep within what is known of it.

    Attributes
    ----------
    leg
        Its number.
    metres
        Of it, abreast of such ground or below it.
    """

    leg: Ordinal
    metres: NotNegative
