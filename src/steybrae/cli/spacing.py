"""``steybrae spacing``: what gap a steepness makes on a printed map."""

from __future__ import annotations

from typing import Annotated

import typer

from steybrae.cli.options.common import AnswerOptions
from steybrae.cli.options.paper import IndexOptions, MapOptions
from steybrae.cli.options.settings_file import with_taken
from steybrae.paper.spacing import spacing_chart
from steybrae.quantities import parse_slope_deg


def spacing(
    sheet: MapOptions,
    thick: IndexOptions,
    answer: AnswerOptions,
    *,
    slope: Annotated[
        list[str] | None,
        typer.Option("--slope", help="A slope, like 30deg, 58% or 1in2; may be repeated.", metavar="SLOPE"),
    ] = None,
) -> None:
    """Contour spacing on a printed map for given slopes, to hold beside the map.

    A gap as narrow as the table's, or narrower, is ground at least that steep.
    """
    from steybrae.answers.paper import spacing_document

    slopes_deg = [parse_slope_deg(text) for text in slope or []]
    chart = spacing_chart(sheet.interval_m, sheet.scale, slopes_deg, thick.index_every)
    answer.show("spacing", with_taken(chart), spacing_document)
