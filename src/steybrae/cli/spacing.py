"""``steybrae spacing``: what gap a steepness makes on a printed map."""

from __future__ import annotations

from typing import Annotated

import typer

from steybrae.cli.options import Interval, Json, Scale, console, print_cautions, print_json
from steybrae.paper.chart import spacing_chart
from steybrae.quantities import parse_ground_length_m, parse_scale, parse_slope_deg

__all__ = ["spacing"]


def spacing(
    scale: Scale,
    interval: Interval,
    slope: Annotated[
        list[str] | None,
        typer.Option("--slope", help="A slope, like 30deg, 58% or 1in2; may be repeated.", metavar="SLOPE"),
    ] = None,
    index_every: Annotated[
        int | None,
        typer.Option("--index-every", help="Every how many contours one is thick, often 5.", metavar="N"),
    ] = None,
    json: Json = False,
) -> None:
    """Contour spacing on a printed map for given slopes, to hold beside the map.

    A gap as narrow as the table's, or narrower, is ground at least that steep.
    """
    chart = spacing_chart(
        parse_ground_length_m(interval, "A contour interval"),
        parse_scale(scale),
        [parse_slope_deg(text) for text in slope or []],
        index_every,
    )
    if json:
        print_json("spacing", chart)
        return
    from steybrae.show.paper_tables import print_spacing

    to = console()
    print_spacing(chart, to)
    print_cautions(chart.cautions, to)
