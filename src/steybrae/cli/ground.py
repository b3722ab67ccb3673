"""``steybrae ground``: what the ground is like at a place, within the position error."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options.common import BandOptions, OutputOptions
from steybrae.cli.options.day import ForecastOptions
from steybrae.cli.options.groups import PICTURE, TABLE, did_you_mean, written
from steybrae.cli.options.model import CheckedModel, PositionOptions, ReachOptions, screening_settings
from steybrae.cli.options.settings_file import with_taken
from steybrae.cli.progress import progress
from steybrae.frozen import dataclass

if TYPE_CHECKING:
    from steybrae.route.overhead.kept_ground import KeptPlaces
    from steybrae.route.positions.places import Place
    from steybrae.screening.ground.result import GroundAt, GroundPlaces

CONTEXT = {"ignore_unknown_options": True}
"""A place may begin with a minus, which would else be read as an option."""


@dataclass(frozen=True)
class GroundOutputs(OutputOptions):
    """Where the answer goes."""

    figure: Path | None = written("--figure", "Draw the cells and the circle, as PNG or PDF.", PICTURE)
    csv: Path | None = written("--csv", "Write the places of --places with their figures as CSV.", TABLE)


def ground(
    ctx: typer.Context,
    place: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="PLACE",
            help="Degrees (59.2234 -8.0712), degrees and minutes, UTM, MGRS or an OS grid reference.",
        ),
    ] = None,
    *,
    model: CheckedModel,
    position: PositionOptions,
    bands: BandOptions,
    zones: ReachOptions,
    forecast: ForecastOptions,
    outputs: GroundOutputs,
    places: Annotated[
        Path | None,
        typer.Option(
            "--places", help="Many places instead: a CSV of lat,lon[,name] or place[,name].", metavar="FILE"
        ),
    ] = None,
    run_out: Annotated[
        bool, typer.Option("--run-out", help="Tell published run-out angles too, for teaching.")
    ] = False,
) -> None:
    """Look at the ground at one place, or at many, around it within your position error, and above it."""
    from dataclasses import replace

    from steybrae.route.positions.places import parse_place
    from steybrae.screening.forecast.ground import with_place_forecast
    from steybrae.screening.ground.at import cross_check_ground, ground_at
    from steybrae.screening.ground.overhead import with_above
    from steybrae.screening.model.look import found_near

    text = place_text(place or [], [name for one in ctx.command.params for name in one.opts])
    _refuse_mixed(text, places, outputs)
    outputs.check(forecast.bulletin, places, *(model.dem or ()))
    asked = forecast.read()
    radius_m, note = position.radius()
    with model.opened(screening_settings(bands, model, zones), examined=False) as (dem, opened):

        def look(where: Place, kept: KeptPlaces | None = None) -> GroundAt:
            # Each place is examined by itself, so that one of many is told as it would be alone.
            settings = replace(opened, model_found=found_near(dem, [where]))
            found = ground_at(where, dem, radius_m, settings)
            found = with_above(found, where, dem, settings, published=run_out, kept=kept)
            if model.cross_check:
                checked = cross_check_ground(where, dem, found.within.radius_m, settings)
                found = replace(found, cross_check=checked)
            if asked is not None:
                found = with_place_forecast(found, where, dem, settings, *asked)
            return with_taken(found)

        if places is None:
            _tell(look(parse_place(text)), note, outputs)
        else:
            _tell_places(_each(places, look), outputs)


def _each(places: Path, look: Callable[[Place, KeptPlaces], GroundAt]) -> GroundPlaces:
    """Look at every place of a table, with a bar for who waits."""
    from steybrae.files.tables import read_places
    from steybrae.screening.ground.at import ground_places

    listed, counted = read_places(places), itertools.count(1)
    with progress() as told:

        def one(where: Place, kept: KeptPlaces) -> GroundAt:
            found = look(where, kept)
            told("places", next(counted), len(listed))
            return found

        return ground_places(listed, one, places.name)


def _refuse_mixed(text: str, places: Path | None, outputs: GroundOutputs) -> None:
    from steybrae.errors import QuantityError

    message = ""
    if (text == "") == (places is None):
        got = "none" if places is None else "both"
        message = f"A place or --places FILE is needed, one of the two; got {got}. Give one."
    elif places is None and outputs.csv is not None:
        message = "--csv belongs to --places, which is missing. Add it, or leave --csv out."
    elif places is not None and outputs.figure is not None:
        message = "--figure draws one place; with --places there are several. Leave one of them out."
    if message:
        raise QuantityError(message)


def _tell_places(found: GroundPlaces, outputs: GroundOutputs) -> None:
    from steybrae.answers.ground import places_cautions_text, places_csv_table, places_document

    if outputs.csv is not None:
        from steybrae.answers.points import cautions_path
        from steybrae.files.whole import write_text
        from steybrae.render.table import csv_text

        write_text(outputs.csv, csv_text(places_csv_table(found)), force=outputs.force)
        write_text(cautions_path(outputs.csv), places_cautions_text(found), force=outputs.force)
    outputs.show("ground places", found, places_document)


def _tell(found: GroundAt, note: str, outputs: GroundOutputs) -> None:
    from steybrae.answers.ground import ground_document

    if outputs.figure is not None:
        from steybrae.cli.options.common import write_picture
        from steybrae.figures.ground_figure import ground_figure, ground_metadata

        write_picture(outputs.figure, ground_figure(found), ground_metadata(found), force=outputs.force)
    outputs.show("ground", found, partial(ground_document, position_note=note))


def place_text(words: list[str], known: Sequence[str] = ()) -> str:
    """Join the words of a place, refusing options that no command knows: with two minus signs."""
    from steybrae.errors import QuantityError

    for word in words:
        if word.startswith("--"):
            near = did_you_mean(word, known)
            message = f"Every option should be one of this command's; it has no {word}.{near} See its --help."
            raise QuantityError(message)
    return " ".join(words)
