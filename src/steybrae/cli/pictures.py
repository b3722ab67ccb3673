"""Pictures asked for by a command: formats, and writing them whole."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steybrae.screening import RouteScreening
    from steybrae.screening.ground.result import GroundAt
    from steybrae.screening.model.result import ModelExamined


def figure_format(path: Path) -> str:
    """Format of a picture by its name's ending, refused before any work is done.

    Raises
    ------
    FileWriteError
        Neither .png nor .pdf.
    """
    from steybrae.errors import FileWriteError

    ending = path.suffix.lower().lstrip(".")
    if ending not in ("png", "pdf"):
        message = f"A picture should be named .png or .pdf; got {path.name!r}. Change its ending."
        raise FileWriteError(message)
    return ending


def draw_to(path: Path, screening: RouteScreening, *, force: bool) -> None:
    """Draw map and profile of a screening that has its relief, and write it whole."""
    from steybrae.figures.route_figure import figure_bytes, picture_metadata, route_figure
    from steybrae.files.whole import write_bytes

    data = figure_bytes(route_figure(screening), figure_format(path), picture_metadata(screening))
    write_bytes(path, data, force=force)


def draw_forecast_to(path: Path, screening: RouteScreening, *, force: bool) -> None:
    """Draw the forecast beside a screened line and write it whole."""
    from steybrae.figures.forecast_figure import forecast_figure, forecast_metadata
    from steybrae.figures.route_figure import figure_bytes
    from steybrae.files.whole import write_bytes

    data = figure_bytes(forecast_figure(screening), figure_format(path), forecast_metadata(screening))
    write_bytes(path, data, force=force)


def draw_ground_to(path: Path, ground: GroundAt, *, force: bool) -> None:
    """Draw the ground at a place and write it whole, its cautions in the picture's metadata."""
    from steybrae.figures.ground_figure import ground_figure, ground_metadata
    from steybrae.figures.route_figure import figure_bytes
    from steybrae.files.whole import write_bytes

    data = figure_bytes(ground_figure(ground), figure_format(path), ground_metadata(ground))
    write_bytes(path, data, force=force)


def draw_model_to(path: Path, found: ModelExamined, *, force: bool) -> None:
    """Draw an examined model and write it whole, its cautions in the picture's metadata."""
    from steybrae.figures.model_figure import model_figure, model_metadata
    from steybrae.figures.route_figure import figure_bytes
    from steybrae.files.whole import write_bytes

    data = figure_bytes(model_figure(found), figure_format(path), model_metadata(found))
    write_bytes(path, data, force=force)
