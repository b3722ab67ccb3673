"""``steybrae area``: slope, bands and aspect of a whole elevation model."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, cast

import typer

from steybrae.cli.options.common import BandOptions, OutputOptions
from steybrae.cli.options.groups import Group, flag, ground_length, option
from steybrae.cli.options.model import CheckedModel, StartZoneOptions, screening_settings
from steybrae.cli.options.settings_file import taken, with_taken
from steybrae.cli.progress import progress
from steybrae.frozen import dataclass

if TYPE_CHECKING:
    from steybrae.raster.files.outputs import Compress
    from steybrae.raster.job import AreaJob
    from steybrae.raster.result import AreaResult

NEEDS: Final = dict.fromkeys(("--start-slopes", "--start-area"), ("--overhead",))
"""Options that say nothing without others."""


@dataclass(frozen=True)
class Rasters(Group, panel="Rasters"):
    """Which rasters are made."""

    slope: bool = flag("--slope", "Write slope.tif (degrees).")
    tenths: bool = flag("--tenths", "Write tenths.tif: slope in tenths of a degree, rounded up, small.")
    banded: bool = flag("--bands", "Write bands.tif (angle bands over about 20 m, in colours).")
    possible: bool = flag(
        "--bands-possible", "Write bands_possible.tif (bands that the ground may reach, 95 %)."
    )
    aspect: bool = flag("--aspect", "Write aspect.tif.")
    curvature: bool = flag("--curvature", "Write curvature.tif (where ground rolls over).")
    overhead: bool = flag(
        "--overhead",
        "Write overhead.tif and start_zones.tif: each cell's overhead angle, and the start zones.",
    )
    baseline_m: float | None = option(
        "--baseline",
        "What slope.tif and tenths.tif are over, like 20m; two of the model's cells if not given.",
        "LENGTH",
        read=ground_length("The baseline"),
    )

    @property
    def layers(self) -> tuple[str, ...]:
        """Their names; slope, bands and possible bands where none is named."""
        wanted = {
            "slope": self.slope,
            "tenths": self.tenths,
            "bands": self.banded,
            "bands_possible": self.possible,
            "aspect": self.aspect,
            "curvature": self.curvature,
        }
        named = tuple(name for name, chosen in wanted.items() if chosen)
        layers = named or ("slope", "bands", "bands_possible")
        return (*layers, "overhead", "start_zones") if self.overhead else layers

    def check(self, zones: StartZoneOptions) -> None:
        """Refuse what would change nothing: rules of start zones without these, a baseline without slopes."""
        from steybrae.errors import QuantityError

        rules = zones.given()
        if rules and not self.overhead:
            message = (
                f"{rules[0]} says what counts as a start zone, which area looks for with --overhead alone; "
                f"it is missing. Add --overhead, or leave {rules[0]} out."
            )
            raise QuantityError(message)
        if self.baseline_m is not None and not {"slope", "tenths"} & set(self.layers):
            message = (
                "--baseline is that of slope.tif and tenths.tif; neither is made. Add --slope, or leave "
                "--baseline out."
            )
            raise QuantityError(message)


@dataclass(frozen=True)
class WorkOptions(Group, panel="The work"):
    """How the work is done."""

    compress: str = option("--compress", "How rasters are packed: deflate or none.", "HOW", default="deflate")
    threads: int | None = option("--threads", "Blocks at once; one for each processor if not given.", "N")
    cluster: str | None = option(
        "--cluster", "Dask scheduler to work on, or local:N for N workers here.", "ADDRESS"
    )
    unknown_where_unreadable: bool = flag(
        "--unknown-where-unreadable", "Damaged blocks become unknown instead of stopping."
    )
    resume: bool = flag("--resume", "Continue with work that was cut short.")


@dataclass(frozen=True)
class AreaOutputs(OutputOptions):
    """Where the answer goes."""

    figure: Path | None = option("--figure", "Draw it (PNG, PDF or SVG).", "FILE")


def area(
    out: Annotated[Path, typer.Option("--out", help="Folder for the outputs.", metavar="DIR")],
    model: CheckedModel,
    rasters: Rasters,
    zones: StartZoneOptions,
    bands: BandOptions,
    work: WorkOptions,
    outputs: AreaOutputs,
) -> None:
    """Make rasters of slope and angle bands of a whole elevation model of any size.

    Slope, bands and possible bands if no raster is named. It measures; it decides nothing.
    """
    from steybrae.answers.area import area_document
    from steybrae.library.area import make_rasters

    rasters.check(zones)
    job = _job(model, rasters, zones, bands, work)
    outputs.check()
    with progress(0.0) as told:
        found = make_rasters(
            job,
            out,
            also=() if outputs.figure is None else (outputs.figure,),
            threads=work.threads,
            cluster=work.cluster,
            resume=work.resume,
            force=outputs.force,
            told=told,
            finish=with_taken,
            settings_file=taken(),
        )
    if outputs.figure is not None:
        _draw(found, out, outputs.figure, force=outputs.force)
    outputs.show("area", found, area_document)


def _job(
    model: CheckedModel,
    rasters: Rasters,
    zones: StartZoneOptions,
    bands: BandOptions,
    work: WorkOptions,
) -> AreaJob:
    from steybrae.raster.job import AreaJob

    return AreaJob(
        paths=tuple(path.absolute() for path in model.paths),
        layers=rasters.layers,
        settings=screening_settings(model, bands, zones),
        z_unit=model.z_unit,
        compress=cast("Compress", work.compress),
        unknown_where_unreadable=work.unknown_where_unreadable,
        cross_check=model.cross_check,
        baseline_m=rasters.baseline_m,
    )


def _draw(found: AreaResult, out: Path, figure: Path, *, force: bool) -> None:
    from steybrae.figures.area_figure import write_area_figure
    from steybrae.library.area import drawing

    write_area_figure(found, *drawing(found, out), figure, force=force)
