"""``steybrae model``: what an elevation model is, and how far it can be trusted for this."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from steybrae.cli.options.common import OutputOptions
from steybrae.cli.options.groups import PICTURE, written
from steybrae.cli.options.model import ModelOptions, screening_settings
from steybrae.cli.options.settings_file import with_taken
from steybrae.cli.progress import progress
from steybrae.frozen import dataclass


@dataclass(frozen=True)
class ModelOutputs(OutputOptions):
    """Where the answer goes."""

    figure: Path | None = written(
        "--figure", "Draw its slopes, a piece at full size and its intervals (PNG, PDF).", PICTURE
    )


def model(
    files: Annotated[
        list[Path] | None,
        typer.Argument(metavar="DEM...", help="The elevation model; tiles act as one. The same as --dem."),
    ] = None,
    *,
    stated: ModelOptions,
    outputs: ModelOutputs,
) -> None:
    """Examine an elevation model before it is believed.

    What it is; what was found in how its heights were made; how much of it is steep; and the interval to be
    expected on smooth, middling and rough ground. It finds what is plain; it proves no model right.
    """
    from dataclasses import replace

    from steybrae.answers.model import model_document
    from steybrae.screening.model.examine import examine_model

    stated = replace(stated, dem=[*(files or ()), *(stated.dem or ())] or None)
    outputs.check(*(stated.dem or ()))
    with stated.opened(screening_settings(stated), examined=False) as (dem, settings), progress() as told:
        found = examine_model(dem, settings, pictured=outputs.figure is not None, told=told)
    found = with_taken(found)
    if outputs.figure is not None:
        from steybrae.cli.options.common import write_picture
        from steybrae.figures.model_figure import model_figure, model_metadata

        write_picture(outputs.figure, model_figure(found), model_metadata(found), force=outputs.force)
    outputs.show("model", found, model_document)
