"""What a practice sheet asks and answers: results, without how they were found."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from steybrae.teach.answers import Measured
from steybrae.teach.slope_scale import LEAST_GAP_MM
from steybrae.teach.stretches import Stretch

__all__ = [
    "KINDS",
    "LEAST_GAP_MM",
    "THINNED_ASIDE_MM",
    "AspectAnswer",
    "Kind",
    "LegAnswer",
    "LegLine",
    "Question",
]

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
    steepest: Measured | None


@dataclass(frozen=True)
class Question:
    """One question and its answer.

    Attributes
    ----------
    letter
        On the map; empty until the sheet is put together.
    kind
        What it is about.
    ask
        The question, whole sentences.
    blanks
        What the pupil fills in.
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
    """

    letter: str
    kind: Kind
    ask: str
    blanks: tuple[str, ...]
    parts: tuple[Measured, ...] = ()
    stretch: Stretch | None = None
    leg_line: LegLine | None = None
    aspect: AspectAnswer | None = None
    leg: LegAnswer | None = None
    remarks: tuple[str, ...] = ()
    dropped: tuple[int, ...] = field(default=())

    @property
    def ticks_mm(self) -> tuple[float, ...]:
        """Ends of the stretch, and of the parts that are asked for, mm along it."""
        if self.stretch is None:
            return ()
        parts = self.parts if self.kind in ("convex", "concave") else ()
        inner = (part.across_mm for part in parts if part.what == "lower half")
        return (0.0, *inner, self.stretch.length_mm)
