"""Options about a printed map, a gap measured on it, and sheets true to size."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import MISSING
from pathlib import Path
from typing import Final

import typer

from steybrae.bands import BandScheme
from steybrae.cli.options.groups import PAGE, SHEET, Group, flag, option, paper_length, written
from steybrae.cli.options.settings_file import taken_caution
from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.paper.measurement import GapMeasurement, check_index_every
from steybrae.paper.spacing import GapResult, slope_from_spacing
from steybrae.papers import papers
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


SEED_HELP: Final = "Same seed, same sheet; another one, another."


@dataclass(frozen=True)
class ChosenMap(MapOptions):
    """The printed map that a page begins with; another may be chosen on it."""

    scale: float = option(
        "--scale",
        "Map scale chosen at first.",
        "1:N",
        default=25_000.0,
        shown="1:25000",
        read=parse_scale,
        kept="map",
    )
    interval: str = option(
        "--interval", "Its contour interval, like 10m or 40ft.", "LENGTH", default="10m", kept="map"
    )


@dataclass(frozen=True)
class SheetOutput(Group, panel="Outputs"):
    """The sheet as a file."""

    out: Path = written("--out", "The file to write.", PAGE, "FILE", default=MISSING)
    force: bool = flag("--force", "Replace output files that exist.")

    def check(self, *inputs: Path | None, answers: Path | None = None) -> None:
        """Refuse at once an output that is an input, exists, is named twice or cannot be written."""
        from steybrae.files.whole import check_ending, check_outputs

        if answers is not None:
            check_ending(answers, *SHEET)
        outputs = [path for path in (self.out, answers) if path is not None]
        check_outputs(outputs, [path for path in inputs if path is not None], force=self.force)

    def write(self, make: Callable[[], bytes], out: Path | None = None) -> None:
        """Refuse a name that cannot be written before the work, then write whole."""
        from steybrae.files.whole import check_writable, write_bytes

        path = out or self.out
        check_writable(path, force=self.force)
        write_bytes(path, make(), force=self.force)
        typer.echo(f"Written: {path}. A lesson is not a field decision.")
        kept = taken_caution()
        if kept is not None:
            typer.echo(kept.text)


@dataclass(frozen=True)
class PaperOutput(SheetOutput):
    """The sheet as a file, and its paper."""

    out: Path = written("--out", "The file to write.", SHEET, "FILE", default=MISSING)
    paper: str = option("--paper", f"Paper: {' or '.join(papers())}.", "PAPER", default="a4", kept="paper")

    def write_with_key(
        self, make: Callable[[], bytes], make_key: Callable[[], bytes], answers: Path | None
    ) -> None:
        """Write the pupils' sheets, and the teacher's in a file of their own where one was named.

        The command has asked `check` for both before.
        """
        from steybrae.papers import paper_size_mm

        paper_size_mm(self.paper)
        self.write(make)
        if answers is None:
            typer.echo("The key is not in it: give --answers FILE with the same settings and seed.")
        else:
            self.write(make_key, answers)


@dataclass(frozen=True)
class LogOutput(PaperOutput):
    """The log as a file, and its paper: the checks of a plan go on a small one too."""

    paper: str = option(
        "--paper",
        f"Paper: {' or '.join(papers())}; for the checks of a plan {', '.join(papers(small=True))}.",
        "PAPER",
        default="a4",
        kept="paper",
    )


@dataclass(frozen=True)
class OwnOptions(Group, panel="Your own ground"):
    """What questions are asked about, besides a model."""

    plan: Path | None = option(
        "--plan", "Ask about the legs of your saved plan; on its own ground, without --dem.", "PLAN"
    )
    log: Path | None = option("--log", "Ask about your own logged readings.", "LOG")
    measured: Path | None = option(
        "--measured",
        "Stretches measured on your own map (CSV: name,length_mm,gaps or index_gaps): key, band and range.",
        "FILE",
    )

    def check_alone(self, given: Sequence[tuple[str, object]]) -> None:
        """Refuse beside `--measured` what asks about a model."""
        beside = [name for name, value in (("--plan", self.plan), ("--log", self.log), *given) if value]
        if self.measured is not None and beside:
            message = (
                f"--measured is about your printed map and needs no model; got {' and '.join(beside)} too. "
                "Make two sheets."
            )
            raise QuantityError(message)


@dataclass(frozen=True)
class PracticeOptions(Group):
    """Which questions, and how many sheets of them."""

    questions: int = option("--questions", "How many questions, 1 to 16.", "N", default=8)
    level: str = option("--level", "first, practice or assessment.", "LEVEL", default="practice")
    seed: int = option("--seed", SEED_HELP, "N", default=1, limits={"min": 0})
    copies: int = option(
        "--copies",
        "So many sheets, each with a seed of its own.",
        "N",
        default=1,
        limits={"min": 1, "max": 30},
    )
    answers: Path | None = written("--answers", "Write the key of all copies here.", SHEET, "FILE")
    index_every: int = option(
        "--index-every", "Every how many contours one is drawn thick.", "N", default=5, limits={"min": 2}
    )
    at: str | None = option("--at", "Middle of the map, like '59.2 -8.0'.", "PLACE")
