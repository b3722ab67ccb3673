"""``steybrae sheet``: teaching sheets true to size, and a page to play with."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from steybrae.cli.options import Force

__all__ = ["app"]

app = typer.Typer(
    no_args_is_help=True,
    help="Teaching sheets true to size (PDF), and a page to play with (HTML). A lesson is not a field decision.",
)

Out = Annotated[Path, typer.Option("--out", help="The file to write.", metavar="FILE")]
Paper = Annotated[str, typer.Option("--paper", help="Paper: a4 or letter.")]
IndexEvery = Annotated[
    int | None,
    typer.Option("--index-every", help="Every how many contours one is thick, often 5.", metavar="N"),
]


def _write(out: Path, make: Callable[[], bytes], *, force: bool) -> None:
    """Refuse a name that cannot be written before the work, then write whole."""
    from steybrae.files.whole import check_writable, write_whole

    check_writable(out, force=force)
    data = make()
    write_whole(out, lambda path: path.write_bytes(data) and None, force=force)
    typer.echo(f"{out} written. A lesson is not a field decision.")


@app.command("scale")
def scale_(
    scale: Annotated[
        list[str], typer.Option("--scale", help="Map scale, like 1:25000; repeat for a set.", metavar="1:N")
    ],
    interval: Annotated[
        list[str],
        typer.Option(
            "--interval",
            help="Contour interval, like 10m or 40ft; one for all scales, or one for each.",
            metavar="LENGTH",
        ),
    ],
    out: Out,
    *,
    index_every: IndexEvery = None,
    slope: Annotated[
        list[str] | None,
        typer.Option("--slope", help="A slope of the combs, like 30deg; may be repeated.", metavar="SLOPE"),
    ] = None,
    copies: Annotated[int, typer.Option("--copies", help="How many of each, for a class.", min=1, max=50)] = 1,
    paper: Paper = "a4",
    force: Force = False,
) -> None:
    """Slope scales for your map, true to size: straight edge and card, to cut out or print on film."""
    from steybrae.quantities import parse_ground_length_m, parse_scale, parse_slope_deg
    from steybrae.show.sheet_scale import scale_pdf
    from steybrae.show.true_size import paper_size_mm
    from steybrae.teach.slope_scale import map_scale, scale_sheet

    paper_size_mm(paper)
    slopes = [parse_slope_deg(text) for text in slope or []]
    maps = [
        map_scale(
            parse_scale(one),
            parse_ground_length_m(height, "A contour interval"),
            interval_text=height,
            slopes_deg=slopes,
            index_every=index_every,
        )
        for one, height in _pairs(scale, interval)
    ]
    _write(out, lambda: scale_pdf(scale_sheet(maps * copies), paper=paper), force=force)


def _pairs(scales: list[str], intervals: list[str]) -> list[tuple[str, str]]:
    """Each scale with its interval.

    Raises
    ------
    QuantityError
        Neither one interval nor as many as scales.
    """
    from steybrae.errors import QuantityError

    if len(intervals) not in (1, len(scales)):
        message = (
            f"--interval is needed once, or once for each --scale; got {len(scales)} scales and "
            f"{len(intervals)} intervals. Write them in pairs."
        )
        raise QuantityError(message)
    if len(intervals) == 1:
        intervals = intervals * len(scales)
    return list(zip(scales, intervals, strict=True))


@app.command("error")
def error(
    scale: Annotated[str, typer.Option("--scale", help="Map scale, like 1:25000.", metavar="1:N")],
    interval: Annotated[
        str, typer.Option("--interval", help="Contour interval, like 10m or 40ft.", metavar="LENGTH")
    ],
    out: Out,
    *,
    paper: Paper = "a4",
    force: Force = False,
) -> None:
    """How far 0.1 to 0.5 mm on the ruler moves the answer: a picture and a table."""
    from steybrae.quantities import parse_ground_length_m, parse_scale
    from steybrae.show.sheet_error import error_pdf
    from steybrae.teach.ruler_error import error_sheet

    result = error_sheet(
        parse_scale(scale), parse_ground_length_m(interval, "A contour interval"), interval
    )
    _write(out, lambda: error_pdf(result, paper=paper), force=force)


@app.command("field")
def field(out: Out, *, paper: Paper = "a4", force: Force = False) -> None:
    """Make a blank log for readings, with the columns of the log."""
    from steybrae.show.sheet_field import field_pdf
    from steybrae.teach.field_sheet import field_sheet

    _write(out, lambda: field_pdf(field_sheet(), paper=paper), force=force)
