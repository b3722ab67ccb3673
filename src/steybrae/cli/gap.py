"""``steybrae gap``: how steep a gap on a printed map is."""

from __future__ import annotations

from typing import Annotated

import typer

from steybrae.bands import BandScheme, parse_edges
from steybrae.cli.options import Edges, Interval, Json, Scale, console, print_cautions, print_json
from steybrae.errors import QuantityError
from steybrae.paper.spacing import GapMeasurement, slope_from_spacing
from steybrae.quantities import parse_ground_length_m, parse_paper_length_mm, parse_scale

__all__ = ["gap", "read_measurement"]


def gap(
    scale: Scale,
    interval: Interval,
    gap: Annotated[
        str | None,
        typer.Option("--gap", help="One space between neighbouring contours, like 2.5mm.", metavar="LENGTH"),
    ] = None,
    across: Annotated[
        str | None,
        typer.Option(
            "--across",
            help="Length on paper over several gaps, contour to contour, like 12.5mm.",
            metavar="LENGTH",
        ),
    ] = None,
    gaps: Annotated[
        int | None,
        typer.Option("--gaps", help="Gaps in --across: spaces, not lines.", metavar="N"),
    ] = None,
    index_gaps: Annotated[
        int | None,
        typer.Option("--index-gaps", help="Gaps between thick lines in --across.", metavar="N"),
    ] = None,
    index_every: Annotated[
        int | None,
        typer.Option("--index-every", help="Every how many contours one is thick, often 5.", metavar="N"),
    ] = None,
    ruler_error: Annotated[
        str,
        typer.Option("--ruler-error", help="Reading error of the whole length, 95 %.", metavar="LENGTH"),
    ] = "0.5mm",
    ruler_only: Annotated[
        bool,
        typer.Option("--ruler-only", help="Leave the contours' own height error out."),
    ] = False,
    edges: Edges = None,
    json: Json = False,
) -> None:
    """Slope of the ground between contours measured on a printed map, with its 95 % interval.

    Measure at right angles to the contours, over several even gaps, best from index line to
    index line: --across 12.5mm --gaps 5, or --across 12.5mm --index-gaps 2 --index-every 5.
    """
    result = slope_from_spacing(
        read_measurement(gap, across, gaps, index_gaps, index_every),
        parse_ground_length_m(interval, "A contour interval"),
        parse_scale(scale),
        ruler_error_mm=parse_paper_length_mm(ruler_error, "A ruler error", zero=True),
        ruler_only=ruler_only,
        scheme=BandScheme() if edges is None else parse_edges(edges),
    )
    if json:
        print_json("gap", result)
        return
    from steybrae.show.paper_tables import print_gap

    to = console()
    print_gap(result, to)
    print_cautions(result.cautions, to)


def read_measurement(
    gap: str | None,
    across: str | None,
    gaps: int | None,
    index_gaps: int | None,
    index_every: int | None,
) -> GapMeasurement:
    """Tell the three ways of measuring apart, each excluding the others.

    Parameters
    ----------
    gap, across
        Lengths on paper as typed, or None.
    gaps, index_gaps, index_every
        Counts, or None.

    Returns
    -------
    GapMeasurement

    Raises
    ------
    QuantityError
        No way, two ways mixed, or one of which a part is missing.
    """
    counts = {"--gaps": gaps, "--index-gaps": index_gaps, "--index-every": index_every}
    given = [name for name, count in counts.items() if count is not None]
    if gap is not None:
        _refuse_beside_gap(given if across is None else ["--across", *given])
        return GapMeasurement(parse_paper_length_mm(gap, "A gap"))
    if across is None:
        got = f"only {' and '.join(given)}" if given else "neither"
        message = (
            f"A length on paper is needed, as --gap or --across; got {got}. "
            "Write --gap 2.5mm, or --across 12.5mm --gaps 5."
        )
        raise QuantityError(message)
    across_mm = parse_paper_length_mm(across, "The length of --across")
    if gaps is not None and len(given) == 1:
        return GapMeasurement(across_mm, gaps, "gaps")
    if index_gaps is not None and index_every is not None and gaps is None:
        _check_index_every(index_every)
        return GapMeasurement(across_mm, index_gaps, "index", index_every)
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


def _check_index_every(index_every: int) -> None:
    if index_every < 2:
        message = (
            f"--index-every should be 2 or more; got {index_every}. "
            "Count from one thick line to the next on the sheet, often 5."
        )
        raise QuantityError(message)
