"""Options about a printed map and a gap measured on it."""

from __future__ import annotations

from dataclasses import MISSING
from typing import Final

from steybrae.bands import BandScheme
from steybrae.cli.options.groups import Group, flag, option, paper_length
from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.paper.measurement import GapMeasurement, check_index_every
from steybrae.paper.spacing import GapResult, slope_from_spacing
from steybrae.quantities import parse_ground_length_m, parse_scale

MEASURED: Final = ("--gap", "--across", "--gaps", "--index-gaps", "--index-every")
"""Options of which a gap that was measured has one at least."""


@dataclass(frozen=True)
class IndexOptions(Group, panel="The map"):
    """Thick contours of the printed map."""

    index_every: int | None = option("--index-every", "Every how many contours one is thick, often 5.", "N")


@dataclass(frozen=True)
class MapOptions(Group, panel="The map"):
    """The printed map, where it is all that a command has."""

    scale: float = option(
        "--scale", "Map scale, like 1:25000.", "1:N", default=MISSING, read=parse_scale, kept="map"
    )
    interval: str = option(
        "--interval",
        "Contour interval printed on the map, like 10m or 40ft.",
        "LENGTH",
        default=MISSING,
        kept="map",
    )

    @property
    def interval_m(self) -> float:
        """The contour interval, metres."""
        return parse_ground_length_m(self.interval, "A contour interval")


@dataclass(frozen=True)
class GapOptions(IndexOptions, panel="The gap on the map"):
    """A gap measured on a printed map."""

    gap_mm: float | None = option(
        "--gap",
        "One space between neighbouring contours, like 2.5mm.",
        "LENGTH",
        read=paper_length("A gap"),
    )
    across_mm: float | None = option(
        "--across",
        "Length on paper over several gaps, contour to contour, like 12.5mm.",
        "LENGTH",
        read=paper_length("The length of --across"),
    )
    gaps: int | None = option("--gaps", "Gaps in --across: spaces, not lines.", "N")
    index_gaps: int | None = option("--index-gaps", "Gaps between thick lines in --across.", "N")
    ruler_error_mm: float = option(
        "--ruler-error",
        "Reading error of the whole length, 95 %.",
        "LENGTH",
        default=0.5,
        shown="0.5mm",
        read=paper_length("A ruler error", zero=True),
        kept="map",
        narrows=True,
        beside=MEASURED,
    )
    ruler_only: bool = flag("--ruler-only", "Leave the contours' own height error out.")

    @property
    def measured(self) -> bool:
        """Whether any length or count was given."""
        lengths = (self.gap_mm, self.across_mm, self.gaps, self.index_gaps, self.index_every)
        return any(value is not None for value in lengths)

    def slope(self, scale: float, interval_m: float, bands: BandScheme | None = None) -> GapResult:
        """Slope of the ground on a map of that scale and contour interval."""
        return slope_from_spacing(
            self.measurement(),
            interval_m,
            scale,
            ruler_error_mm=self.ruler_error_mm,
            ruler_only=self.ruler_only,
            scheme=bands,
        )

    def measurement(self) -> GapMeasurement:
        """Tell the three ways of measuring apart, each excluding the others.

        `QuantityError` for no way, two ways mixed, or one of which a part is missing.
        """
        counts = {"--gaps": self.gaps, "--index-gaps": self.index_gaps, "--index-every": self.index_every}
        given = [name for name, count in counts.items() if count is not None]
        if self.gap_mm is not None:
            _refuse_beside_gap(given if self.across_mm is None else ["--across", *given])
            return GapMeasurement(self.gap_mm)
        if self.across_mm is None:
            got = f"only {' and '.join(given)}" if given else "neither"
            message = (
                f"A length on paper is needed, as --gap or --across; got {got}. "
                "Write --gap 2.5mm, or --across 12.5mm --gaps 5."
            )
            raise QuantityError(message)
        if self.gaps is not None and len(given) == 1:
            return GapMeasurement(self.across_mm, self.gaps, "gaps")
        if self.index_gaps is not None and self.index_every is not None and self.gaps is None:
            check_index_every(self.index_every)
            return GapMeasurement(self.across_mm, self.index_gaps, "index", self.index_every)
        message = (
            "--across needs either --gaps, or --index-gaps and --index-every together; "
            f"got {' and '.join(given) or 'neither'}. "
            "See on the sheet every how many contours one is thick; it is not assumed."
        )
        raise QuantityError(message)


def _refuse_beside_gap(others: list[str]) -> None:
    if others:
        message = (
            "--gap is one space between two lines and stands alone; "
            f"got {' and '.join(others)} too. For several gaps write --across and --gaps."
        )
        raise QuantityError(message)
