"""``steybrae ground``: what the ground is like at a place, within the position error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from steybrae.cli.options import parsed
from steybrae.cli.options.common import BandOptions, OutputOptions
from steybrae.cli.options.forecast import ForecastOptions
from steybrae.cli.options.groups import did_you_mean
from steybrae.cli.options.model import CheckedModel, PositionOptions, ReachOptions, screening_settings
from steybrae.cli.options.settings_file import with_taken

__all__ = ["CONTEXT", "ground", "place_text"]

CONTEXT = {"ignore_unknown_options": True}
"""A place may begin with a minus, which would else be read as an option."""


@dataclass(frozen=True)
class GroundOutputs(OutputOptions):
    """Where the answer goes."""

    figure: Path | None = parsed.picture("--figure", "Draw the cells and the circle, as PNG or PDF.")


def ground(
    ctx: typer.Context,
    place: Annotated[
        list[str],
        typer.Argument(
            metavar="PLACE",
            help="Degrees (59.2234 -8.0712), degrees and minutes, UTM, MGRS or an OS grid reference.",
        ),
    ],
    model: CheckedModel,
    position: PositionOptions,
    bands: BandOptions,
    zones: ReachOptions,
    forecast: ForecastOptions,
    outputs: GroundOutputs,
    *,
    run_out: Annotated[
        bool, typer.Option("--run-out", help="Tell published run-out angles too, for teaching.")
    ] = False,
) -> None:
    """Look at the ground at one place, around it within your position error, and above it."""
    from dataclasses import replace

    from steybrae.answers.ground import ground_document
    from steybrae.cli.options.common import print_json
    from steybrae.cli.pictures import draw_ground_to
    from steybrae.render.terminal import print_document
    from steybrae.route.positions.places import parse_place
    from steybrae.screening.forecast.ground import with_place_forecast
    from steybrae.screening.ground.at import cross_check_ground, ground_at
    from steybrae.screening.ground.overhead import with_above

    outputs.check(forecast.bulletin, *(model.dem or ()))
    asked = forecast.read()
    radius_m, note = position.radius()
    where = parse_place(place_text(place, [name for one in ctx.command.params for name in one.opts]))
    with model.opened(screening_settings(bands, model, zones)) as (dem, settings):
        found = ground_at(where, dem, radius_m, settings)
        found = with_above(found, where, dem, settings, published=run_out)
        if model.cross_check:
            checked = cross_check_ground(where, dem, found.within.radius_m, settings)
            found = replace(found, cross_check=checked)
        if asked is not None:
            found = with_place_forecast(found, where, dem, settings, *asked)
    found = with_taken(found)
    if outputs.figure is not None:
        draw_ground_to(outputs.figure, found, force=outputs.force)
    if outputs.as_json:
        print_json("ground", found)
        return
    print_document(ground_document(found, note))


def place_text(words: list[str], known: Sequence[str] = ()) -> str:
    """Join the words of a place, refusing options that no command knows.

    Raises
    ------
    QuantityError
        A word begins with two minus signs.
    """
    from steybrae.errors import QuantityError

    for word in words:
        if word.startswith("--"):
            near = did_you_mean(word, known)
            message = f"Every option should be one of this command's; it has no {word}.{near} See its --help."
            raise QuantityError(message)
    return " ".join(words)
