"""Whole elevation models as rasters on disk, of any size."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Unpack

from steybrae.answers.area import area_csv, area_document, area_readme
from steybrae.errors import ModelError, QuantityError
from steybrae.files.model.rasters import open_model
from steybrae.files.results import json_text
from steybrae.files.whole import check_not_read
from steybrae.library.answer import Answer, shown
from steybrae.library.given import GivenModel, How, settings_of
from steybrae.library.route import needed_path
from steybrae.quantities import several
from steybrae.raster.files.outputs import WORK, Workspace
from steybrae.raster.job import LAYERS, AreaJob, Told
from steybrae.raster.result import AreaResult
from steybrae.raster.run import job_identity, output_names, run_area
from steybrae.render.terminal import terminal_text
from steybrae.screening.model.look import found_near

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

    from steybrae.document import Document
    from steybrae.screening.origin import SettingsFile

__all__ = ["Area", "area", "drawing", "make_rasters"]

OVERHEAD = ("overhead", "start_zones")
"""Layers that are asked for together."""

README_WIDE = 110
"""Letters in a line of README.txt."""


def make_rasters(
    job: AreaJob,
    out: Path,
    *,
    also: Iterable[Path] = (),
    threads: int | None = None,
    cluster: str | None = None,
    resume: bool = False,
    force: bool = False,
    told: Told | None = None,
    finish: Callable[[AreaResult], AreaResult] | None = None,
    settings_file: SettingsFile | None = None,
) -> AreaResult:
    """Make every raster of a job and the texts beside them, whole or not at all.

    Parameters
    ----------
    job
        What is asked for.
    out
        Folder for the outputs.
    also
        Further outputs, which may be no part of the model either.
    threads, cluster, told
        As for `steybrae.raster.run.run_area`; all processors where `threads` is left out.
    resume, force
        Go on with work that was cut short; replace outputs that exist.
    finish
        What is added to the result before it is written.
    settings_file
        What was taken from a file of settings, for the JSON.

    Raises
    ------
    SteybraeError
        As `run_area`; or an output that may not be written.
    """
    if threads is not None and not (isinstance(threads, int) and threads >= 1):
        message = f"The number of threads should be 1 or more; got {threads!r:.60}. Leave it out to take all."
        raise QuantityError(message)
    if cluster is not None:
        from steybrae.raster.cluster import check_cluster  # noqa: PLC0415  an optional extra

        check_cluster(cluster)
    with open_model(job.paths, job.z_unit) as model:
        job = replace(job, settings=replace(job.settings, model_found=found_near(model)))
        identity = job_identity(job, model.info)
    read = [file for files in model.info.parts for file in files]
    outputs = [*(out / name for name in output_names(job)), *also]
    # The working folder is thrown away at the end.
    check_not_read([*outputs, out / WORK], [*read, *{folder for file in read for folder in file.parents}])
    with Workspace(out, identity, output_names(job), resume=resume, force=force) as place:
        found = run_area(job, place, threads=threads or os.cpu_count() or 1, cluster=cluster, told=told)
        names = [f"{layer}.tif" for layer in LAYERS if layer not in job.layers]
        found = replace(found, earlier_outputs=tuple(name for name in names if (out / name).exists()))
        found = found if finish is None else finish(found)
        place.write_text("table.csv", area_csv(found))
        place.write_text("table.json", json_text("area", found, settings_file) + "\n")
        place.write_text("README.txt", terminal_text(area_readme(found), README_WIDE))
        place.publish()
    return found


def drawing(found: AreaResult, out: Path) -> tuple[Any, Any]:
    """Read what a picture shows of the finished rasters: bands and overhead angles, None where not made."""
    from steybrae.raster.files.tiff import read_preview  # noqa: PLC0415

    bands, overhead = (
        read_preview(out / name, found.model.cell_size_m) if name in found.outputs else None
        for name in ("bands.tif", "overhead.tif")
    )
    return bands, overhead


class Area(Answer[AreaResult]):
    """Rasters of a whole model, and how much ground lies in each band.

    Attributes
    ----------
    result
        With ``bands``, ``rows`` by band, aspect and height, and the names of the ``outputs``.
    folder
        Where they are.

    Examples
    --------
    >>> found = steybrae.area(steybrae.sample().model, "district")
    >>> found.outputs, (found.folder / "bands.tif").is_file()
    (('slope.tif', 'bands.tif', 'bands_possible.tif'), True)
    """

    _command = "area"
    _rows = "rows"

    def __init__(self, result: AreaResult, folder: Path) -> None:
        super().__init__(result)
        self.folder = folder

    @property
    def document(self) -> Document:
        """What was written, and how much ground lies in each band; cautions."""
        return area_document(self.result)

    def figure(self) -> Figure:
        """Draw the bands on the ground, and how much of each there is.

        Returns
        -------
        matplotlib.figure.Figure
            Of no pyplot; yours to change.

        Examples
        --------
        >>> steybrae.area(steybrae.sample().model, "drawn").figure().savefig("area.png")
        """
        from steybrae.figures.area_figure import area_figure  # noqa: PLC0415
        from steybrae.figures.style import picture_style  # noqa: PLC0415

        with picture_style():
            return shown(area_figure(self.result, *drawing(self.result, self.folder)))


def area(
    model: Any,
    out: str | os.PathLike[str],
    *,
    layers: Iterable[str] = ("slope", "bands", "bands_possible"),
    overhead: bool = False,
    compress: Literal["deflate", "none"] = "deflate",
    threads: int | None = None,
    resume: bool = False,
    force: bool = False,
    z_unit: str | None = None,
    **how: Unpack[How],
) -> Area:
    """Make rasters of slope and angle bands of a whole elevation model of any size.

    Parameters
    ----------
    model
        A path or several: it is read block by block, so that it must lie on disk.
    out
        Folder for the outputs.
    layers
        Of ``slope``, ``tenths``, ``bands``, ``bands_possible``, ``aspect``, ``curvature``.
    overhead
        Make each cell's overhead angle and the start zones too.
    compress
        ``deflate`` or ``none``.
    threads
        Blocks at once; one for each processor where left out.
    resume, force
        Go on with work that was cut short; replace outputs that exist.
    z_unit
        Unit of the model's heights, where it does not say its own.
    **how
        ``edges_deg``, ``method``, ``engine``, ``vertical_error_m``, ``correlation_m``, ``model_kind``,
        ``start_slopes_deg``, ``start_area_m2``.

    Raises
    ------
    SteybraeError
        A model that is not on disk, or a value or an output that cannot be used.

    Examples
    --------
    >>> found = steybrae.area(steybrae.sample().model, "bands only", layers=["bands"], edges_deg=(30,))
    >>> [row.band.label for row in found.bands if row.band]
    ['<30', '30+']
    """
    given, settings = GivenModel(model, z_unit), settings_of(how)
    if not given.paths:
        message = (
            "A whole raster is read from disk, block by block; got a model in memory. Give its path, or "
            "take slopes() for arrays."
        )
        raise ModelError(message)
    job = AreaJob(
        paths=tuple(path.absolute() for path in given.paths),
        layers=tuple(dict.fromkeys(several(layers, "The layers") + (OVERHEAD if overhead else ()))),
        settings=settings,
        z_unit=z_unit,
        compress=compress,
    )
    folder = needed_path(out)
    found = make_rasters(job, folder, threads=threads, resume=resume, force=force)
    return Area(found, folder)
