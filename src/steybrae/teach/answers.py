"""What is asked on a practice map, the answers, and what is fair to accept.

The slope of a stretch follows from its drawn length and its gaps (`steybrae.paper.spacing`). A
pupil who reads that length too long or too short by the ruler error, which is the one that
``steybrae gap`` takes, is not wrong: the slopes that such a reading gives bound what is accepted.
The ground's own slope lies between them too; a stretch of which that is not true is never asked.

Lines counted as gaps add a gap. Where a gap is hardly wider than the ruler error the slope of that slip
lies within what is accepted: the key then names it, and the count that is asked for beside it tells.

Whoever types a printed way into a calculator gets the printed answer: every figure is reckoned from
those before it as they are printed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from steybrae.bands import Band, BandScheme
from steybrae.frozen import dataclass
from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.quantities import gradient_to_angle, round_down, round_up, shown_slope_deg
from steybrae.teach.map_ground import MapLook
from steybrae.teach.stretches import Stretch
from steybrae.value import Value, between, rise, slope

MOST_BANDS: Final = 3
"""A band is asked for only where no more neighbouring bands than these are right (our choice)."""


@dataclass(frozen=True)
class Measured:
    """One slope to be found by measuring.

    Attributes
    ----------
    what
        Which part: ``whole``, ``lower half``, ``upper half``.
    gaps, across_mm
        Gaps and the length drawn, mm, down to hundredths as it is printed.
    slope_gap_deg
        Slope by that gap, degrees.
    slope_model_deg
        Slope of the ground under it by the model, averaged along it, degrees; None without a model.
    low_deg, high_deg
        What is accepted: slopes of a length read long and short by the ruler error, degrees; 90 where nothing
        is left of the length.
    bands
        Bands of what is accepted.
    lines_deg
        Slope that lines counted as gaps give, degrees.
    height, run
        Height gained and ground below it in the map's unit, ``50 m``.
    worked
        The way to the answer, one line.
    """

    what: str
    gaps: int
    across_mm: float
    slope_gap_deg: float
    slope_model_deg: float | None
    low_deg: float
    high_deg: float
    bands: tuple[Band, ...]
    lines_deg: float
    height: str
    run: str
    worked: str

    @property
    def hides_slip(self) -> bool:
        """Whether a ruler cannot tell lines counted as gaps from what is right, both as they are written."""
        return self.gaps > 1 and self.lines_deg < shown_slope_deg(self.high_deg) + 0.05

    @property
    def slip(self) -> str:
        """What lines counted as gaps give, and whether that is within what is accepted; empty for one gap."""
        if self.gaps == 1:
            return ""
        given = f"{self.gaps + 1} lines counted as gaps give {slope(self.lines_deg).text}"
        return f"{given}: wrong, though within what is accepted" if self.hides_slip else f"{given}: refused"


def fair_range_deg(across_mm: float, rise_m: float, scale: float) -> tuple[float, float]:
    """Slopes of a length read too long and too short by the ruler error e, 0.5 mm; degrees.

    ``atan(1000 rise / ((across + e) S))`` and the same with ``across - e``; 90 where the length is
    0.5 mm or less. Rise in metres, lengths on paper in mm, S the denominator of the map scale.
    """
    rise_mm = 1000.0 * rise_m / scale
    left = across_mm - RULER_ERROR_MM
    high = 90.0 if left <= 0.0 else gradient_to_angle(rise_mm / left)
    return gradient_to_angle(rise_mm / (across_mm + RULER_ERROR_MM)), high


def run_value(run_m: float, look: MapLook) -> Value:
    """Ground length in the unit of the map's heights: hundredths, down."""
    return Value(run_m / look.unit_m, look.unit, 0.01, "down")


def measured(
    what: str,
    across_mm: float,
    gaps: int,
    slope_model_deg: float | None,
    look: MapLook,
) -> Measured:
    """Answer for a length over some gaps as drawn.

    `what` says which part of the stretch; the model's slope under it is None where no model is at
    hand.
    """
    across_mm = round_down(across_mm, 0.01)
    up, run = rise(gaps * look.interval_m / look.unit_m, look.unit), run_value(look.metres(across_mm), look)
    # What is printed leads, so that it can be checked; a unit of length goes out of a quotient.
    slope_deg = gradient_to_angle((up.shown or 0.0) / (run.shown or 0.0))
    lines_deg = gradient_to_angle((gaps + 1) * look.interval_m / look.metres(across_mm))
    low_deg, high_deg = fair_range_deg(across_mm, gaps * look.interval_m, look.scale)
    reckoned = f"atan({up.short.split()[0]} / {run.short.split()[0]})"
    worked = (
        f"{across_mm:.2f} mm over {gaps} gap{'s' * (gaps > 1)}: {up.short} up in {run.short}; "
        f"{reckoned} = {slope(slope_deg).text}"
    )
    return Measured(
        what,
        gaps,
        across_mm,
        slope_deg,
        slope_model_deg,
        low_deg,
        high_deg,
        BandScheme().between(low_deg, high_deg),
        lines_deg,
        up.short,
        run.short,
        worked,
    )


@dataclass(frozen=True)
class Blank:
    """A line to write on: its name on the pupil's sheet, and what the key takes there."""

    name: str
    accept: str


def fair_ends(low: float, high: float, step: float = 1.0) -> str:
    """``13.8 to 14.7``: lengths or heights taken, both ends inwards, so that their slopes are taken too.

    The middle alone where no two figures lie between.
    """
    first, last = round_up(low, step), round_down(high, step)
    ends = (first, last) if first < last else ((low + high) / 2.0,)
    return " to ".join(Value(end, "", step).figure for end in ends)


def blanks(part: Measured, *names: str) -> tuple[Blank, ...]:
    """Lines to write on for a slope, in the order asked for.

    Of ``length mm``, ``gaps``, ``height``, which takes the map's unit, ``slope °`` and ``band``.
    """
    ends = max(0.0, part.across_mm - RULER_ERROR_MM), part.across_mm + RULER_ERROR_MM
    height, unit = part.height.split()
    found = {
        "length mm": Blank("length mm", fair_ends(*ends, 0.1)),
        "gaps": Blank("gaps", str(part.gaps)),
        "height": Blank(f"height {unit}", height),
        "slope °": Blank("slope °", between(part.low_deg, part.high_deg)),
        "band": Blank("band", " or ".join(band.label for band in part.bands)),
    }
    return tuple(found[name] for name in names)


def accepted_text(lines: Sequence[Blank], parts: Sequence[Measured] = ()) -> str:
    """Say what the key takes on each line of a question, and which slip its ranges do not tell."""
    of = [f"{part.what}: " if len(parts) > 1 else "" for part in parts]
    slips = [f"{name}{part.slip}" for name, part in zip(of, parts, strict=True) if part.hides_slip]
    return "; ".join([*(f"{line.name}: {line.accept}" for line in lines), *slips])


Kind = Literal["even", "index", "single", "convex", "concave", "thinned", "lines", "aspect", "leg", "reading"]
KINDS: Final = ("even", "index", "single", "convex", "concave", "thinned", "lines", "aspect", "leg")
"""Kinds of questions that any ground may give; ``reading`` comes from the user's own log."""

THINNED_ASIDE_MM: Final = 6.0
"""Thin lines are left out so far round the middle of a stretch, mm (our choice)."""


@dataclass(frozen=True)
class AspectAnswer:
    """Which way the slope faces: degrees from true north, what is accepted to either side, sector."""

    aspect_true_deg: float
    tolerance_deg: float
    sector: str


@dataclass(frozen=True)
class LegLine:
    """A straight line to walk, on paper: its two ends, mm."""

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]


@dataclass(frozen=True)
class LegAnswer:
    """What there is to say of a leg.

    Attributes
    ----------
    name
        ``Leg G``, or the user's own names.
    length_m, length_tolerance_m
        Horizontal; accepted to either side.
    bearing_true_deg, bearing_tolerance_deg
        Direction of travel.
    height_change_m, height_tolerance_m
        Height of its end over its start; accepted to either side.
    track_grade_deg
        Slope along it from end to end, degrees, without sign.
    worked
        The way to that, one line.
    steepest
        Steepest ground that it crosses, by the contours up the fall line there; its
        `slope_model_deg` is the ground's at that place. None where contours do not tell it.
    """

    name: str
    length_m: float
    length_tolerance_m: float
    bearing_true_deg: float
    bearing_tolerance_deg: float
    height_change_m: float
    height_tolerance_m: float
    track_grade_deg: float
    worked: str
    steepest: Measured | None


@dataclass(frozen=True)
class Question:
    """One question and its answer.

    Attributes
    ----------
    kind
        What it is about.
    ask
        The question, whole sentences.
    blanks
        What the pupil fills in, and what is taken there.
    parts
        Slopes to find.
    stretch, leg_line
        Where; one of them is None.
    aspect, leg
        Further answers.
    remarks
        What to say when giving the answer, and where a mistake would lead.
    dropped
        Thin contours left out at the stretch, counted in intervals from height 0.
    letter
        On the map; empty until the sheet is put together.
    """

    kind: Kind
    ask: str
    blanks: tuple[Blank, ...]
    parts: tuple[Measured, ...] = ()
    stretch: Stretch | None = None
    leg_line: LegLine | None = None
    aspect: AspectAnswer | None = None
    leg: LegAnswer | None = None
    remarks: tuple[str, ...] = ()
    dropped: tuple[int, ...] = ()
    letter: str = ""

    @property
    def ticks_mm(self) -> tuple[float, ...]:
        """Ends of the stretch, and of the parts that are asked for, mm along it."""
        if self.stretch is None:
            return ()
        parts = self.parts if self.kind in ("convex", "concave") else ()
        inner = (part.across_mm for part in parts if part.what == "lower half")
        return (0.0, *inner, self.stretch.length_mm)
